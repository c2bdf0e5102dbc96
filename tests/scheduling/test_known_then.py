"""The programme of a past day, as it was known then: engagements, samples, what was shut."""

from datetime import UTC, date, datetime, timedelta

import pytest
import time_machine

from buildings.models import Engagement
from inspections import projections
from inspections.models import Sample
from scheduling import due, programme
from scheduling.standing import standing
from tests.buildings.portfolio_rows import small
from tests.buildings.test_portfolio import bring_in
from tests.inspections.test_sampling import group, reported, sent

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def hours(count):
    return NOW + timedelta(hours=count)


def test_an_end_written_down_later_was_not_known_before(ours, now):
    with ours.scope():
        day = TODAY - timedelta(days=10)
        due.derive(ours.building, NOW)
        Engagement.objects.update(
            until_on=day - timedelta(days=5), recorded_at=NOW, end_recorded_at=hours(2)
        )
        now.move_to(hours(3))
        due.derive(ours.building, hours(3))
        assert not programme.programme(ours.building, day).with_us
        assert not programme.programme(ours.building, day, hours(3)).with_us
        known = programme.programme(ours.building, day, hours(1))
        assert known.with_us
        assert known.lines
        assert standing(ours.building, day, hours(1)).word != "not_with_us"
        assert standing(ours.building, day).word == "not_with_us"
        # Nobody engaged us yet, as far as was known.
        first = programme.programme(ours.building, day, NOW - timedelta(hours=1))
        assert not first.lines


def test_a_result_of_the_laboratory_told_later_was_not_known_before(ours, now):
    with ours.scope():
        old = group(ours, "G-1", 1300, 2004)
        due.derive(ours.building, NOW)
        now.move_to(hours(1))
        sample = sent(ours, old)
        now.move_to(hours(2))
        reported(ours, sample)
        now.move_to(hours(3))
        ids = [ours.building.pk]
        assert projections.samples_known(ids, NOW) == []
        (waiting,) = projections.samples_known(ids, hours(1.5))
        assert (waiting.pk, waiting.state) == (sample.pk, Sample.State.AT_LABORATORY)
        (told,) = projections.samples_known(ids, hours(3))
        stored = Sample.objects.get()
        for name in ("state", "outcome", "pieces", "taken_on", "reported_on", "groups"):
            assert getattr(told, name) == getattr(stored, name)

        def last(known_at=None):
            lines = programme.programme(ours.building, TODAY, known_at).lines
            line = next(one for one in lines if one.activity == sample.activity)
            return line.why.last and line.why.last.on

        assert last() == last(hours(3)) == stored.taken_on
        assert last(hours(1.5)) is None


def test_an_import_writes_down_when_it_learned_of_an_engagement_and_of_its_end(ours, now):
    bring_in(ours, small())
    now.move_to(hours(1))
    ends = {"building": "A-1", "owner": "alder-estates", "from": "2025-01-15"}
    bring_in(ours, {"engagements": [{**ends, "until": "2026-12-31"}]})
    with ours.scope():
        found = Engagement.objects.get(building__code="A-1")
        assert (found.recorded_at, found.end_recorded_at) == (NOW, hours(1))
        assert found.last_known(NOW) is None
        assert found.last_known() == date(2026, 12, 31)
