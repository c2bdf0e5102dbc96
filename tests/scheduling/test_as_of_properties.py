"""Whatever was recorded: as of now is what is live, and deriving again changes nothing."""

from collections import namedtuple
from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildings import inventory as stock
from buildings.models import System
from inspections.applies import How
from scheduling import due, programme, standing
from scheduling.applicable import Judges, applied
from scheduling.models import Occurrence, Question, StandingInterval
from tests.scheduling.recording import done

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
records = st.lists(
    st.tuples(
        st.integers(0, 500),
        st.dates(date(2023, 11, 20), TODAY),
        st.sampled_from(["pass", "finding", "pass", "fail"]),
    ),
    max_size=6,
)
Subject = namedtuple("Subject", "pk subject_kind")
searched = settings(max_examples=4, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def work(ours):
    """What the calendar schedules at the building: the item and the activity.

    A third of it is done by turns, on three systems.
    """
    with ours.scope():
        more = [
            System(
                building=ours.building,
                code=f"S{n}",
                name=f"Floor {n}, wet",
                kind="wet",
                position=n,
                attributes={"kind": "wet"},
                in_service_from=date(2015, 1, 1),
            )
            for n in (5, 6)
        ]
        stock.add(more, by=None, reason="surveyed", tell=False)
        found = stock.inventory(ours.building, TODAY)
        judge = Judges().at(found)
        scheduled = [
            (Subject(one.subject_id, one.subject_kind), one.owed.activity.id)
            for one in applied(found, judge)
            if one.owed.how is How.CALENDAR and one.subject is not None
        ]
        by_turns = [one for one in scheduled if one[1] in judge.catalogue.alternating]
        return scheduled + by_turns * (len(scheduled) // (2 * len(by_turns)))


def written(ours, work, history):
    """Record a history in the order in which it was drawn."""
    for place, day, answer in history:
        subject, activity = work[place % len(work)]
        done(ours, subject, activity, day, answer)


def stored():
    """All that is derived, but for its own ids."""
    return [
        sorted(
            repr(sorted((n, v) for n, v in row.items() if n != "id"))
            for row in model.objects.values()
        )
        for model in (Occurrence, Question, StandingInterval)
    ]


@searched
@given(history=records)
def test_as_of_now_is_what_is_live(ours, work, history):
    later = NOW + timedelta(minutes=1)
    with ours.scope(), transaction.atomic():
        written(ours, work, history)
        due.derive(ours.building, NOW)
        with time_machine.travel(later, tick=False):
            live = programme.programme(ours.building)
            then = programme.programme(ours.building, TODAY, later)
        assert then.data() == live.data() | {"known_at": then.data()["known_at"]}
        kept = {
            (row.subject_id, row.activity): (row.earliest_on, row.due_on, row.latest_on)
            for row in Occurrence.objects.all()
        }
        assert {
            (x.subject.id, x.activity): (x.earliest, x.due, x.latest) for x in live.open
        } == kept
        today = standing.standing(ours.building, TODAY)
        assert standing.standing(ours.building, TODAY, later) == today
        transaction.set_rollback(True)


@searched
@given(history=records)
def test_what_is_derived_again_or_anew_is_the_same(ours, work, history):
    with ours.scope(), transaction.atomic():
        written(ours, work, history)
        due.derive(ours.building, NOW)
        once = stored()
        due.derive(ours.building, NOW)
        assert stored() == once
        for model in (Occurrence, Question, StandingInterval):
            model.objects.all().delete()
        due.derive(ours.building, NOW)
        assert stored() == once
        transaction.set_rollback(True)
