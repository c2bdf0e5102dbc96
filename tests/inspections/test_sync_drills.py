"""What goes wrong in the field, tried on the real endpoints: clocks, calendars, people, storage."""

import errno
import os
from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from contractors.models import new_id
from inspections import projections
from inspections.events import envelope, kinds
from inspections.events.fields import Field, Record, Text
from inspections.events.kind import Kind
from inspections.models import Event, Outage, Quarantined, Visit
from tests.inspections import tablets
from tests.inspections.bundles import bundle
from tests.inspections.queued import BEGINNING, Queued, World
from tests.inspections.test_held import take_over

pytestmark = [pytest.mark.django_db, pytest.mark.once]

YEAR = timedelta(days=365)


@pytest.fixture
def world(monkeypatch):
    made = World()
    monkeypatch.setattr(timezone, "now", made.now)
    return made


@pytest.fixture
def visit(ours):
    return tablets.planned(ours, planned_on=BEGINNING.date())


@pytest.fixture
def tablet(ours, api, visit, world):
    made = Queued(world, api(ours.technician), ours.technician, visit.pk)
    made.register()
    return made


def wait(tablet, **span):
    tablet.world.at += timedelta(**span)
    tablet.awake += timedelta(**span)


def tell(tablet, kind, payload, *named, **more):
    """Record something, with moments as this tablet's clock has them now."""
    told = {name: tablet.stamp()["wall"] for name in named}
    return tablet.record(kind, payload | told, **more)


def sent(tablet):
    answer = tablet.push(tablet.body())
    assert answer.status_code == 200, answer.content
    tablet.settle(answer.data)
    return [row.status for row in tablet.rows]


def shut(tablet, ours):
    outage = str(new_id())
    about = {"subject": tablets.subject(ours), "extent": "wet riser"}
    payload = {"outage": outage, **about, "attended": True, "person": "Sam"}
    on = {"stream": "impairment", "stream_id": outage}
    tell(tablet, "outage.start", payload, "started_at", **on)
    return outage, on


@pytest.mark.parametrize("wrong_by", [YEAR, -YEAR, timedelta(minutes=-40)])
def test_a_tablet_whose_clock_is_wrong_dates_nothing_wrong(ours, tablet, visit, wrong_by):
    tablet.wrong_by = wrong_by
    wait(tablet, hours=1)
    arrived = tablet.world.at
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    wait(tablet, minutes=20)
    outage, _on = shut(tablet, ours)
    wait(tablet, hours=3)
    assert set(sent(tablet)) == {"applied"}
    with ours.scope():
        visit.refresh_from_db()
        assert abs(visit.opened_at - arrived) < timedelta(seconds=5)
        assert visit.performed_on == arrived.astimezone(visit.building.zone).date()
        since = Outage.objects.get(pk=outage).started_at
        assert abs(since - arrived - timedelta(minutes=20)) < timedelta(seconds=5)


def test_a_tablet_that_slept_with_a_right_clock_is_believed(ours, tablet, visit):
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    tablet.world.at += timedelta(days=3)
    sent(tablet)
    with ours.scope():
        opened = Event.objects.get(kind="visit.open")
        assert (opened.happened_at, opened.time_uncertain) == (BEGINNING, True)
        visit.refresh_from_db()
        assert visit.performed_on == BEGINNING.date()


def test_over_midnight_and_the_change_of_clocks_no_hour_is_lost_or_won(ours, tablet, visit):
    tablet.world.at = datetime(2026, 11, 1, 3, 30, tzinfo=UTC)  # 23:30 on Saturday in New York
    with ours.scope():
        assert visit.building.time_zone == "America/New_York"
    tablet.register()
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    wait(tablet, hours=1, minutes=45)  # 01:15, before the clocks go back
    first, _on = shut(tablet, ours)
    wait(tablet, hours=1)  # 01:15 once more
    answer = {**tablet_item(ours), "answer": "pass"}
    tablet.record("item.set", answer)
    assert set(sent(tablet)) == {"applied"}
    with ours.scope():
        visit.refresh_from_db()
        assert visit.performed_on == date(2026, 10, 31)
        begun = Outage.objects.get(pk=first).started_at
        assert tablet.world.at - begun == timedelta(hours=1)


def tablet_item(ours):
    return {"subject": tablets.subject(ours), "activity": "main-drain-annual"}


def test_a_visit_given_away_or_cancelled_without_signal_keeps_its_work(ours, tablet, visit, api):
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    tablet.record("item.set", {**tablet_item(ours), "answer": "fail"})
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(technician=ours.people["manager"])
    assert sent(tablet) == ["applied", "applied"]
    told = tablet.client.get(f"/api/v1/sync/pull/?tablet={tablet.id}").data
    assert [one["visit"]["id"] for one in told["visits"]] == []
    tablets.cancel(ours, visit)
    tablet.record("item.set", {**tablet_item(ours), "answer": "pass"})
    assert sent(tablet)[-1] == "held"
    with ours.scope():
        assert Event.objects.filter(visit_id=visit.pk, status="held").count() == 1


def test_work_of_somebody_who_left_meanwhile_leaves_by_a_file_and_waits(ours, tablet, visit, api):
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    tablet.record("item.set", {**tablet_item(ours), "answer": "fail"})
    ours.technician.ended_on = BEGINNING.date() - timedelta(days=1)
    ours.technician.save()
    assert tablet.push(tablet.body()).status_code in (401, 403)
    entries = [row.event for row in tablet.rows]
    answer = take_over(api(ours.manager), bundle(ours.technician, entries))
    assert (answer.status_code, answer.data["kept"]) == (201, 2)
    with ours.scope():
        assert not Event.objects.filter(visit_id=visit.pk).exists()
        assert [row.by for row in Quarantined.objects.all()] == [ours.technician] * 2


def test_an_entry_of_an_older_version_is_read_anew_and_hashed_as_recorded(
    ours, tablet, visit, monkeypatch
):
    newer = Record(Field("words", Text(longest=4000)))
    upgraded = Kind(name="note.add", version=2, payload=newer, work=True)
    monkeypatch.setitem(kinds.KINDS, ("note.add", 2), upgraded)
    monkeypatch.setitem(kinds.CURRENT, "note.add", 2)
    step = {"note.add": lambda payload: {"words": payload["text"]}}["note.add"]
    monkeypatch.setitem(envelope.UPGRADES, ("note.add", 1), step)
    tell(tablet, "visit.open", {"contact": "the caretaker"}, "at")
    tablet.record("note.add", {"text": "The drain is slow."})
    shown = tablets.shown_hash(envelope.check(row.event) for row in tablet.rows)
    assert sent(tablet) == ["applied", "applied"]
    with ours.scope():
        seen = projections.picture(visit.pk)
        assert [dict(one.payload) for one in seen.notes] == [{"words": "The drain is slow."}]
        assert seen.shown == shown


def test_a_full_disk_keeps_what_came_and_the_photo_comes_when_there_is_room(
    ours, tablet, visit, monkeypatch, settings, tmp_path
):
    settings.MEDIA_ROOT = tmp_path
    content, blob = tablets.picture(), str(new_id())
    tablets.begin(tablet.client, blob, content)
    half = len(content) // 2

    def full(_descriptor):
        raise OSError(errno.ENOSPC, "no space left")

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        answer = tablets.send(tablet.client, blob, content[:half], 0)
        assert (answer.status_code, answer.data["code"]) == (507, "no_room")
        whole = tablets.begin(tablet.client, blob, content)
        at = int(whole["Upload-Offset"])
        assert tablets.send(tablet.client, blob, content[at:], at).status_code == 507
    stored = [path for path in tmp_path.rglob("*") if path.is_file() and "coming" not in path.parts]
    assert stored == []
    assert tablets.begin(tablet.client, blob, content).status_code == 200
    assert not [path for path in (tmp_path / "coming").rglob("*") if path.is_file()]
