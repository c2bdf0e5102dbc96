"""The programme of a building on any day, as known then, and why something is not on it."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from uuid import uuid4

import pytest
import time_machine

from buildings.models import Engagement
from scheduling import due, programme
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
SWITCH = "waterflow-vane-test"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


def line(found, subject, activity, place=0):
    lines = [x for x in found.lines if (x.subject.id, x.activity) == (subject.pk, activity)]
    return lines[place]


def test_today_it_says_what_is_stored(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        due.derive(ours.building, NOW)
        found = programme.programme(ours.building)
        stored = {
            (row.subject_id, row.activity): (row.earliest_on, row.due_on, row.latest_on)
            for row in ours.building.occurrences.all()
        }
        told = {(x.subject.id, x.activity): (x.earliest, x.due, x.latest) for x in found.open}
        assert told == stored
        assert len(stored) > 20


def test_each_line_tells_its_reason_in_words_and_as_data(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        why = line(programme.programme(ours.building), ours.devices["wet_flow"], SWITCH).why
        assert why.last.on == date(2026, 9, 10)
        assert why.last.result is not None
        assert why.edition == 2020
        assert why.regimes[0].name == "nfpa25"
        assert why.source
        assert any("2026-09-10" in sentence for sentence in why.words)
        weekly = next(x for x in programme.programme(ours.building).lines if x.why.decided)
        assert weekly.why.decided[0].name


def test_what_follows_the_open_one_is_foreseen_up_to_the_last_day(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        found = programme.programme(ours.building, first=date(2026, 12, 1), last=date(2028, 11, 30))
        days = [
            x.due
            for x in found.lines
            if (x.subject.id, x.activity) == (ours.devices["wet_flow"].pk, SWITCH)
        ]
        assert len(days) == 4
        assert days == sorted(days)
        assert all(60 <= (b - a).days <= 245 for a, b in pairwise(days))
        assert [x.status for x in found.lines if x.status == "later"]


def test_a_past_day_is_seen_without_what_was_done_later(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 3, 10))
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        then = line(
            programme.programme(ours.building, date(2026, 6, 1)), ours.devices["wet_flow"], SWITCH
        )
        assert then.why.last.on == date(2026, 3, 10)
        assert then.status == "in_order"


def test_what_was_recorded_late_is_not_known_before(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 3, 10))
        with time_machine.travel(NOW + timedelta(days=2), tick=False):
            done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
            before = programme.programme(ours.building, TODAY, NOW + timedelta(days=1))
            after = programme.programme(ours.building, TODAY)
        assert line(before, ours.devices["wet_flow"], SWITCH).why.last.on == date(2026, 3, 10)
        assert line(after, ours.devices["wet_flow"], SWITCH).why.last.on == date(2026, 9, 10)


def test_as_of_now_equals_live(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        with time_machine.travel(NOW + timedelta(hours=1), tick=False):
            live = programme.programme(ours.building)
            as_of = programme.programme(ours.building, TODAY, NOW + timedelta(hours=1))
        assert as_of.data() == live.data() | {"known_at": as_of.data()["known_at"]}


def test_a_day_to_come_is_seen_as_if_nothing_were_done_till_then(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        found = line(
            programme.programme(ours.building, date(2027, 12, 1)), ours.devices["wet_flow"], SWITCH
        )
        assert found.status == "overdue"


def test_after_the_engagement_nothing_is_owed_and_the_record_stays(ours):
    with ours.scope():
        done(ours, ours.devices["wet_flow"], SWITCH, date(2026, 9, 10))
        Engagement.objects.update(until_on=date(2026, 10, 31))
        found = programme.programme(ours.building, first=date(2026, 9, 1), last=TODAY)
        assert not found.with_us
        assert found.lines == ()
        assert [row.on for row in found.performed] == [date(2026, 9, 10)]
        told = programme.why_not(ours.building, ours.devices["wet_flow"].pk, SWITCH)
        assert (told.owed, told.how) == (False, "not_with_us")
        assert "2026-10-31" in told.words[0]


def test_what_is_absent_says_why(ours):
    with ours.scope():
        switch = ours.devices["wet_flow"].pk
        assert programme.why_not(ours.building, switch, SWITCH).owed
        other = programme.why_not(ours.building, switch, "waterflow-mechanical-test")
        assert (other.owed, other.how) == (False, "off")
        assert other.decided
        never = programme.why_not(ours.building, switch, "main-drain-annual")
        assert never.how == "unknown_here"
        nobody = programme.why_not(ours.building, uuid4(), SWITCH)
        assert nobody.how == "not_there"


def test_every_absent_activity_of_the_catalogue_has_a_reason(ours):
    with ours.scope():
        found = programme.programme(ours.building)
        there = {(x.subject.id, x.activity) for x in found.open}
        switch = ours.devices["wet_flow"]
        seen = programme.why_nots(ours.building, switch.pk)
        assert len(seen) > 300
        for one in seen:
            assert one.words
            assert all(one.words)
            assert one.owed == ((one.item, one.activity) in there)


def test_the_api_gives_the_same(ours, api):
    with ours.scope():
        expected = programme.programme(ours.building).data()
    client = api(ours.technician)
    path = f"/api/v1/buildings/{ours.building.pk}/programme/"
    answer = client.get(path, {"on": "2026-11-25"})
    assert answer.status_code == 200
    assert answer.json() == expected
    narrow = client.get(path, {"from": "2027-01-01", "until": "2027-02-01"}).json()
    assert len(narrow["lines"]) < len(expected["lines"])
    switch = ours.devices["wet_flow"].pk
    why = client.get(
        f"/api/v1/buildings/{ours.building.pk}/why/", {"item": str(switch), "activity": SWITCH}
    )
    assert why.json()["owed"]
    assert why.json()["lines"][0]["why"]["source"]


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"on": "2026-13-01"}, "on"),
        ({"known_at": "2027-01-01T00:00:00Z"}, "known_at"),
        ({"from": "2027-01-01", "until": "2026-01-01"}, "until"),
        ({"until": "2050-01-01"}, "until"),
    ],
)
def test_a_span_that_is_none_is_refused_by_name(ours, api, given, field):
    path = f"/api/v1/buildings/{ours.building.pk}/programme/"
    answer = api(ours.technician).get(path, given)
    assert answer.status_code == 400
    assert field in str(answer.json())
