"""A tablet's entries reach the record once and whole, whatever was lost, doubled or forged."""

import gzip
import json
from datetime import timedelta
from uuid import UUID

import pytest
import time_machine
from django.utils import timezone

from contractors.models import new_id
from inspections import projections, settling
from inspections.models import (
    Event,
    Finding,
    Impairment,
    Quarantined,
    Reading,
    Result,
    Visit,
)
from inspections.models import Tablet as TabletRow
from tests.inspections import tablets
from tests.inspections.tablets import PUSH, Tablet

pytestmark = pytest.mark.django_db


@pytest.fixture
def stranger(theirs, api):
    return Tablet(api(theirs.technician), theirs.technician)


def test_a_visit_is_worked_signed_and_handed_in(ours, tablet, visit):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    assert tablet.statuses(*entries) == ["applied"] * 6
    assert tablet.statuses(tablet.hand_in(visit.pk, entries)) == ["applied"]
    with ours.scope():
        visit.refresh_from_db()
        assert visit.state == Visit.State.HANDED_IN
        assert Result.objects.get(visit=visit).answer == "pass"
        assert sorted(row.typed for row in Reading.objects.filter(visit=visit)) == [
            "64 psi",
            "82 psi",
        ]
        row = Event.objects.filter(visit_id=visit.pk).order_by("received_at").first()
        assert (row.via, row.seq, str(row.tablet)) == ("tablet", 1, tablet.id)


def test_where_the_review_is_waived_it_is_sealed_at_once(ours, tablet, visit):
    ours.contractor.review_waived = True
    ours.contractor.save()
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    tablet.push(*entries, tablet.hand_in(visit.pk, entries))
    with ours.scope():
        visit.refresh_from_db()
        assert visit.state == Visit.State.SEALED
        assert visit.number == 1


def test_the_same_batch_five_times_changes_nothing(ours, tablet, visit):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    entries.append(tablet.hand_in(visit.pk, entries))
    assert tablet.statuses(*entries) == ["applied"] * 7
    with ours.scope():
        chained = list(Event.objects.values_list("id", "chain_hash").order_by("id"))
    for _again in range(4):
        results = tablet.push(*entries)
        assert {(one["status"], one["first"]) for one in results} == {("duplicate", "applied")}
        assert tablet.next == 8
    with ours.scope():
        assert list(Event.objects.values_list("id", "chain_hash").order_by("id")) == chained
        assert Quarantined.objects.count() == 0


def test_entries_out_of_order_wait_for_the_one_before(ours, tablet, visit):
    first, second, third, fourth = tablets.worked(tablet, ours, visit.pk)
    results = tablet.push(third, first, fourth)
    assert [one["status"] for one in results] == ["deferred", "applied", "deferred"]
    assert results[0]["expected"] == 1
    assert results[2] == {
        "id": fourth["id"],
        "status": "deferred",
        "reason": "gap",
        "expected": 2,
    }
    assert tablet.next == 2
    assert tablet.statuses(first, second, third, fourth) == ["duplicate", *["applied"] * 3]


def test_a_hand_in_waits_for_the_entries_that_it_names(ours, tablet, visit):
    other = Tablet(tablet.client, ours.technician)
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    hand_in = other.hand_in(visit.pk, entries)
    tablet.push(*entries[:-1])
    waits = other.push(hand_in)[0]
    assert (waits["status"], waits["reason"]) == ("deferred", "missing")
    assert waits["missing"] == [entries[-1]["id"]]
    tablet.push(entries[-1])
    assert other.statuses(hand_in) == ["applied"]


def test_a_hand_in_with_something_missing_is_refused_with_what_is_missing(ours, tablet, visit):
    entries = [tablets.opened(tablet, visit.pk)]
    tablet.push(*entries)
    refused = tablet.push(tablet.hand_in(visit.pk, entries))[0]
    assert refused["status"] == "rejected"
    assert refused["reason"].endswith("not recorded yet")
    lacks = [one["lack"] for one in refused["missing"]]
    assert lacks[-2:] == ["not_signed", "owner_not_signed"]
    assert refused["missing"][0]["subject"] == tablets.subject(ours)
    with ours.scope():
        visit.refresh_from_db()
        assert visit.state == Visit.State.OPEN
    rest = tablets.tested(tablet, ours, visit.pk)
    rest += tablets.signed(tablet, visit.pk, entries + rest)
    tablet.push(*rest)
    assert tablet.statuses(tablet.hand_in(visit.pk, entries + rest)) == ["applied"]


def test_a_hand_in_of_other_entries_than_it_shows_is_refused(ours, tablet, visit):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    tablet.push(*entries)
    hand_in = tablet.hand_in(visit.pk, entries)
    hand_in["payload"]["shown"] = "0" * 64
    refused = tablet.push(hand_in)[0]
    assert refused["status"] == "rejected"
    assert "payload.shown" in refused["reason"]


def test_a_hand_in_that_names_another_visits_entry_is_refused_and_not_deferred_for_ever(
    ours, tablet, visit
):
    elsewhere = tablets.opened(tablet, tablets.planned(ours).pk)
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    tablet.push(elsewhere, *entries)
    refused = tablet.push(tablet.hand_in(visit.pk, [*entries, elsewhere]))[0]
    assert refused["status"] == "rejected"
    assert "payload.manifest.events" in refused["reason"]
    assert tablet.statuses(tablet.hand_in(visit.pk, entries)) == ["applied"]


def test_a_hand_in_that_names_a_refused_entry_is_refused_and_not_deferred_for_ever(
    ours, tablet, visit
):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries[1]["payload"]["value"]["unit"] = "gpm"
    entries += tablets.signed(tablet, visit.pk, entries)
    results = tablet.push(*entries, tablet.hand_in(visit.pk, entries))
    assert results[1]["status"] == "rejected"
    assert results[-1]["status"] == "rejected"
    assert "was refused" in results[-1]["reason"]


def test_work_after_the_hand_in_is_late_and_goes_back_to_the_review(ours, tablet, visit):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    tablet.push(*entries, tablet.hand_in(visit.pk, entries))
    late = tablets.reading(tablet, ours, visit.pk, "restored_pressure", "81")
    assert tablet.statuses(late) == ["late"]
    again = tablet.push(late)[0]
    assert (again["status"], again["first"]) == ("duplicate", "late")


def test_a_second_hand_in_is_kept_aside_as_late(ours, tablet, visit):
    entries = tablets.worked(tablet, ours, visit.pk)
    entries += tablets.signed(tablet, visit.pk, entries)
    tablet.push(*entries, tablet.hand_in(visit.pk, entries))
    second = tablet.hand_in(visit.pk, entries)
    result = tablet.push(second)[0]
    assert result["status"] == "late"
    assert "already_closed" in result["reason"]
    with ours.scope():
        assert json.loads(Quarantined.objects.get(event_id=second["id"]).text) == second
    assert tablet.push(second)[0]["first"] == "late"


def test_work_on_a_cancelled_visit_is_held_for_the_manager(ours, tablet, visit):
    opened = tablets.opened(tablet, visit.pk)
    tablet.push(opened)
    tablets.cancel(ours, visit)
    answer = tablets.answer(tablet, ours, visit.pk, "pass")
    assert tablet.statuses(answer, tablet.hand_in(visit.pk, [opened])) == ["held", "held"]
    with ours.scope():
        assert not Result.objects.filter(visit=visit).exists()
        assert Event.objects.get(id=answer["id"]).status == "held"


def test_work_on_a_visit_given_to_somebody_else_still_counts(ours, tablet, visit):
    with ours.scope():
        Visit.objects.filter(pk=visit.pk).update(technician=ours.people["manager"])
    assert tablet.statuses(*tablets.worked(tablet, ours, visit.pk)) == ["applied"] * 4


def test_two_people_who_disagree_leave_a_conflict_with_the_worse_answer(ours, api, tablet, visit):
    first = tablets.answer(tablet, ours, visit.pk, "pass")
    tablet.push(tablets.opened(tablet, visit.pk) | {"seq": 1}, first | {"seq": 2})
    other = Tablet(api(ours.manager), ours.manager)
    assert other.statuses(tablets.answer(other, ours, visit.pk, "fail")) == ["conflict"]
    with ours.scope():
        result = Result.objects.get(visit=visit)
        assert (result.answer, result.disputed) == ("fail", True)


def test_what_the_office_decides_in_the_same_moment_still_counts(ours, api, tablet, visit):
    with time_machine.travel(timezone.now(), tick=False):
        good = tablets.answer(tablet, ours, visit.pk, "pass")
        tablet.push(tablets.opened(tablet, visit.pk) | {"seq": 1}, good | {"seq": 2})
        other = Tablet(api(ours.manager), ours.manager)
        bad = tablets.answer(other, ours, visit.pk, "fail")
        assert other.statuses(bad) == ["conflict"]
        chosen = {"choice": UUID(good["id"]), "reason": "Seen again", "by": ours.manager}
        with ours.scope():
            settling.settle(Visit.objects.get(pk=visit.pk), UUID(bad["id"]), **chosen)
            projections.visit(visit.pk)
            result = Result.objects.get(visit=visit)
    assert (result.answer, result.disputed) == ("pass", False)


def test_an_answer_that_names_the_one_before_replaces_it(ours, tablet, visit):
    opened = tablets.opened(tablet, visit.pk)
    first = tablets.answer(tablet, ours, visit.pk, "fail")
    second = tablets.answer(tablet, ours, visit.pk, "pass", seen=[first["id"]])
    assert tablet.statuses(opened, first, second) == ["applied"] * 3
    with ours.scope():
        assert Result.objects.get(visit=visit).answer == "pass"


def test_a_found_impairment_starts_its_clock(ours, tablet, visit):
    finding = str(new_id())
    payload = {
        "finding": finding,
        "subject": tablets.subject(ours),
        "class": "impairment",
        "text": "Control valve found shut",
    }
    assert tablet.statuses(tablet.entry(visit.pk, "finding.add", payload)) == ["applied"]
    with ours.scope():
        assert Finding.objects.get(pk=finding).visit_id == visit.pk
        assert Impairment.objects.get(finding=finding).ended_at is None


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "visit.dance"}, "event.kind"),
        ({"kind": "visit.seal", "payload": {}}, "event.kind"),
        ({"kind": "visit.review", "payload": {"verdict": "accept"}}, "event.kind"),
        ({"payload": {"at": "yesterday"}}, "payload.at"),
        ({"payload": {"at": tablets.WALL, "contact": "\x00"}}, "payload.contact"),
        ({"payload": {"at": tablets.WALL, "\x00": "1"}}, "payload."),
        ({"payload": {"at": tablets.WALL, "contact": "\ud800"}}, "payload.contact"),
        ({"payload": {"at": "0001-01-01T00:00:00+14:00"}}, "payload.at"),
        ({"payload": {"at": "9999-12-31T23:59:59-14:00"}}, "payload.at"),
        ({"payload": "all of it"}, "payload"),
        ({"visit": None}, "event.visit"),
        ({"wall": None}, "event.wall"),
        ({"version": 99}, "event.version"),
        ({"by": str(new_id())}, "event.by"),
        ({"by": ""}, "event.by"),
    ],
)
def test_what_cannot_be_an_entry_is_kept_aside_and_blocks_nothing(
    ours, tablet, visit, change, field
):
    bad = tablets.opened(tablet, visit.pk) | change
    good = tablets.opened(tablet, visit.pk)
    results = tablet.push(bad, good)
    assert [one["status"] for one in results] == ["rejected", "applied"]
    assert field in results[0]["reason"]
    with ours.scope():
        kept = Quarantined.objects.get(event_id=bad["id"])
        assert json.loads(kept.text) == bad
        assert field in kept.reason
    assert tablet.push(bad)[0]["first"] == "rejected"


def test_a_value_that_no_column_can_hold_is_refused_and_blocks_nothing(ours, tablet, visit):
    long = tablets.reading(tablet, ours, visit.pk, "n" * 80, "62")
    long["payload"]["point"] = "p" * 80
    unknown = tablets.reading(tablet, ours, visit.pk, "residual_pressure", "62")
    unknown["payload"] |= {"activity": "nobody-knows", "value": {"value": "1", "unit": "furlong"}}
    good = tablets.opened(tablet, visit.pk)
    statuses = tablet.statuses(long, unknown, good)
    assert statuses[1:] == ["rejected", "applied"]
    assert statuses[0] in ("applied", "rejected")


def test_an_entry_that_trips_over_our_own_mistake_is_kept_aside_and_blocks_nothing(
    ours, tablet, visit, monkeypatch
):
    def mistaken(name, *others):
        raise KeyError(name)

    monkeypatch.setattr("inspections.readings.check_unit", mistaken)
    reading = tablets.reading(tablet, ours, visit.pk, "static_pressure", "82")
    results = tablet.push(reading, tablets.opened(tablet, visit.pk))
    assert [one["status"] for one in results] == ["rejected", "applied"]
    assert "its own mistake" in results[0]["reason"]
    with ours.scope():
        assert json.loads(Quarantined.objects.get(event_id=reading["id"]).text) == reading


def test_what_goes_by_is_not_laid_at_the_entrys_door(ours, tablet, visit, monkeypatch):
    def full(*given, **more):
        raise OSError("no space left on device")

    first, second = tablets.worked(tablet, ours, visit.pk)[:2]
    with monkeypatch.context() as broken:
        broken.setattr("inspections.readings.check_unit", full)
        with pytest.raises(OSError, match="no space"):
            tablet.push(first, second)
    with ours.scope():
        assert not Quarantined.objects.exists()
    statuses = tablet.statuses(first, second)
    assert statuses[1] == "applied"


def test_an_id_used_for_something_else_is_refused(ours, tablet, visit):
    first = tablets.opened(tablet, visit.pk)
    other = tablets.answer(tablet, ours, visit.pk, "pass") | {"id": first["id"]}
    assert tablet.statuses(first, other) == ["applied", "rejected"]
    assert tablet.next == 3


def test_every_text_that_came_under_one_id_is_kept(ours, tablet, visit):
    first = tablets.opened(tablet, visit.pk)
    others = [
        tablets.reading(tablet, ours, visit.pk, "static_pressure", psi) | {"id": first["id"]}
        for psi in ("80", "81")
    ]
    assert tablet.statuses(first, *others, *others) == ["applied", *["rejected"] * 4]
    with ours.scope():
        kept = [json.loads(row.text) for row in Quarantined.objects.all()]
        assert sorted(kept, key=lambda one: one["seq"]) == others
        assert all("id_reused" in row.reason for row in Quarantined.objects.all())


def test_the_id_of_a_refused_entry_stands_for_nothing_else(ours, tablet, visit):
    refused = tablets.opened(tablet, visit.pk) | {"version": 99}
    other = tablets.opened(tablet, visit.pk) | {"id": refused["id"]}
    results = tablet.push(refused, other, refused)
    assert [one["status"] for one in results] == ["rejected", "rejected", "duplicate"]
    assert "id_reused" in results[1]["reason"]
    with ours.scope():
        kept = [json.loads(row.text) for row in Quarantined.objects.all()]
        assert sorted(kept, key=lambda one: one["seq"]) == [refused, other]


def test_a_number_used_for_something_else_is_refused(ours, tablet, visit):
    first = tablets.opened(tablet, visit.pk)
    other = tablets.answer(tablet, ours, visit.pk, "pass") | {"seq": 1}
    results = tablet.push(first, other)
    assert results[1]["status"] == "rejected"
    assert "seq_reused" in results[1]["reason"]


def test_after_a_reinstall_the_same_entries_are_duplicates_under_the_new_tablet(
    ours, tablet, visit
):
    entries = tablets.worked(tablet, ours, visit.pk)
    tablet.push(*entries)
    fresh = Tablet(tablet.client, ours.technician)
    again = [entry | {"tablet": fresh.id} for entry in entries]
    assert fresh.statuses(*again) == ["duplicate"] * 4
    assert fresh.next == 5


def test_another_contractors_ids_answer_as_ids_that_nobody_has(ours, theirs, tablet, visit):
    foreign = tablets.planned(theirs)
    theirs_entry = tablets.opened(tablet, foreign.pk)
    nobodys = tablets.opened(tablet, new_id())
    results = tablet.push(theirs_entry, nobodys)
    words = [
        {**one, "id": "", "reason": one["reason"].replace(entry["visit"], "")}
        for one, entry in zip(results, (theirs_entry, nobodys), strict=True)
    ]
    assert words[0] == words[1]
    assert words[0]["status"] == "rejected"
    foreign_subject = tablets.answer(tablet, theirs, visit.pk, "pass")
    unknown_subject = tablets.answer(tablet, ours, visit.pk, "pass")
    unknown_subject["payload"]["subject"] = {"kind": "riser", "id": str(new_id())}
    results = tablet.push(foreign_subject, unknown_subject)
    assert {one["status"] for one in results} == {"rejected"}
    with theirs.scope():
        assert not Event.objects.exists()
        foreign.refresh_from_db()
        assert foreign.state == Visit.State.PLANNED


def test_another_contractors_tablet_answers_as_one_that_nobody_has(tablet, stranger, visit):
    entry = tablets.opened(tablet, visit.pk)
    for tablet_id in (stranger.id, str(new_id())):
        body = tablet.batch([entry | {"tablet": tablet_id}], tablet=tablet_id)
        assert tablet.client.post(PUSH, body, format="json").status_code == 404
        pull = tablet.client.get(f"/api/v1/sync/pull/?tablet={tablet_id}")
        receipts = tablet.client.get(f"/api/v1/sync/receipts/?tablet={tablet_id}")
        assert pull.status_code == receipts.status_code == 404


def test_an_id_that_another_contractor_used_is_free_here(ours, theirs, tablet, stranger, visit):
    entry = stranger.entry(tablets.planned(theirs).pk, "visit.open", {"at": tablets.WALL})
    assert stranger.statuses(entry) == ["applied"]
    mine = tablets.opened(tablet, visit.pk) | {"id": entry["id"]}
    assert tablet.statuses(mine) == ["applied"]


def test_a_finding_of_another_building_takes_no_entry_of_this_visit(ours, tablet, visit):
    from buildings import inventory
    from buildings.models import Building

    with ours.scope():
        other = Building(
            code="B-2", name="Barn", address="1", city="S", taken_over_on=timezone.now().date()
        )
        inventory.add([other], by=None, reason="taken over", tell=False)
        visit_there = Visit.objects.create(building=other, planned_on=timezone.now().date())
    finding = str(new_id())
    subject = {"kind": "building", "id": str(other.pk)}
    there = {"finding": finding, "subject": subject, "class": "critical", "text": "leaks"}
    here = there | {"subject": tablets.subject(ours), "class": "impairment"}
    results = tablet.push(
        tablet.entry(visit_there.pk, "finding.add", there),
        tablet.entry(visit.pk, "finding.add", here),
    )
    assert [one["status"] for one in results] == ["applied", "rejected"]
    with ours.scope():
        assert not Impairment.objects.exists()


@pytest.mark.parametrize(
    "change",
    [
        {"tablet": "mine"},
        {"boot": None},
        {"mono": -1},
        {"wall": "now"},
        {"events": "none"},
        {"events": [1]},
        {"events": [{"id": "x", "seq": 1}]},
    ],
)
def test_a_push_that_cannot_be_read_takes_nothing(ours, tablet, visit, change):
    body = tablet.batch([tablets.opened(tablet, visit.pk)]) | change
    answer = tablet.client.post(PUSH, body, format="json")
    assert answer.status_code == 400
    assert answer.data["errors"][0]["field"]
    with ours.scope():
        assert not Event.objects.exists()


def test_entries_of_two_tablets_do_not_come_in_one_push(ours, tablet, visit):
    other = Tablet(tablet.client, ours.technician)
    body = tablet.batch([tablets.opened(tablet, visit.pk), tablets.opened(other, visit.pk)])
    assert tablet.client.post(PUSH, body, format="json").status_code == 400
    with ours.scope():
        assert not Event.objects.exists()


@pytest.mark.parametrize("text", [b"{", b"[" * 100_000, b'{"events": NaN}', b"\xff", b"null"])
def test_no_json_is_a_bad_request(tablet, text):
    answer = tablet.client.post(PUSH, text, content_type="application/json")
    assert answer.status_code == 400


def test_a_push_has_its_limits_and_may_be_packed(ours, tablet, visit):
    entry = tablets.opened(tablet, visit.pk)
    body = json.dumps(tablet.batch([entry])).encode()
    packed = gzip.compress(body)
    answer = tablet.client.post(
        PUSH, packed, content_type="application/json", HTTP_CONTENT_ENCODING="gzip"
    )
    assert answer.data["results"][0]["status"] == "applied"
    bomb = gzip.compress(b" " * (8 * 2**20))
    for content, encoding in ((b" " * (2**20 + 1), ""), (bomb, "gzip")):
        answer = tablet.client.post(
            PUSH, content, content_type="application/json", HTTP_CONTENT_ENCODING=encoding
        )
        assert answer.status_code == 413
    many = tablet.batch([entry] * 201)
    assert tablet.client.post(PUSH, many, format="json").status_code == 400


def test_a_tablet_out_of_use_brings_nothing(ours, tablet, visit):
    with ours.scope():
        TabletRow.objects.filter(pk=tablet.id).update(revoked_at=timezone.now())
    body = tablet.batch([tablets.opened(tablet, visit.pk)])
    answer = tablet.client.post(PUSH, body, format="json")
    assert (answer.status_code, answer.data["code"]) == (403, "tablet_revoked")


def test_owners_office_and_trainers_hold_no_tablet(ours, api):
    for door in (ours.access, ours.office, ours.trainer):
        assert api(door).post("/api/v1/sync/tablets/", {}).status_code == 403


def test_a_tablet_keeps_its_id_and_another_members_is_not_given_away(ours, api, tablet):
    same = tablet.client.post("/api/v1/sync/tablets/", {"tablet": tablet.id})
    assert same.data["tablet"] == tablet.id
    other = api(ours.manager).post("/api/v1/sync/tablets/", {"tablet": tablet.id})
    assert other.data["tablet"] != tablet.id
    assert other.data["next"] == 1


def test_when_it_happened_is_reckoned_from_stopwatch_and_clock(ours, tablet, visit):
    made = tablets.opened(tablet, visit.pk)
    forty = timedelta(minutes=40)
    now = timezone.now()
    wall = (now - forty).isoformat()
    with ours.scope():
        TabletRow.objects.filter(pk=tablet.id).update(registered_at=now - 2 * forty)
    made |= {"wall": wall, "ticket": "forged", "mono": 1000}
    body = tablet.batch([made], mono=1000 + 40 * 60_000, wall=now.isoformat())
    assert tablet.client.post(PUSH, body, format="json").status_code == 200
    with ours.scope():
        row = Event.objects.get(id=made["id"])
        assert abs(row.happened_at - (row.received_at - forty)) < timedelta(seconds=2)
        assert not row.time_uncertain


def test_a_clock_that_was_moved_leaves_the_time_uncertain(ours, tablet, visit):
    made = tablets.opened(tablet, visit.pk)
    now = timezone.now()
    with ours.scope():
        TabletRow.objects.filter(pk=tablet.id).update(registered_at=now - timedelta(days=1))
    made |= {"wall": (now - timedelta(hours=9)).isoformat(), "ticket": "forged", "mono": 1000}
    body = tablet.batch([made], mono=61_000, wall=now.isoformat())
    tablet.client.post(PUSH, body, format="json")
    with ours.scope():
        row = Event.objects.get(id=made["id"])
        assert row.time_uncertain
        assert row.happened_at <= row.received_at


def test_the_page_of_the_app_is_for_those_who_go_out(
    as_technician, as_manager, as_office, as_owner, as_member, ours
):
    page = as_technician.get("/tablet/")
    assert page.status_code == as_manager.get("/tablet/").status_code == 200
    assert "csrftoken" in page.cookies
    assert as_office.get("/tablet/").status_code == as_owner.get("/tablet/").status_code == 403
    assert as_member(ours.trainer).get("/tablet/").status_code == 403
