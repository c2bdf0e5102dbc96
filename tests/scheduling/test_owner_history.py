"""What an owner is told of the past: since when a word holds, and nothing after their time."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
import time_machine

from buildings.models import Engagement
from contractors.models import Owner
from contractors.scope import owner_scope
from scheduling import due, rooms
from scheduling.models import PublishedStanding, Standing, StandingInterval
from scheduling.standing import stretches

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
DAYS = [datetime(2026, 5, day, 4, tzinfo=UTC) for day in range(1, 6)]


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def test_neighbours_of_one_word_are_one_stretch_and_a_gap_ends_it():
    first, second, third, fourth, fifth = DAYS
    said = [
        ("due_by", first, second, date(2026, 6, 1)),
        ("due_by", second, third, date(2026, 6, 8)),
        ("overdue", third, fourth, None),
        ("overdue", fifth, None, None),
    ]
    due_by, overdue, again = stretches(said)
    assert (due_by.word, due_by.begun, due_by.ended) == (Standing.DUE_BY, first, third)
    assert due_by.due_by == date(2026, 6, 8)
    assert (overdue.begun, overdue.ended) == (third, fourth)
    assert (again.begun, again.ended) == (fifth, None)


@pytest.mark.django_db
def test_a_word_holds_since_its_first_day_however_often_its_reasons_changed(
    ours, as_owner, api, clock
):
    with ours.scope():
        due.derive(ours.building)
        known = list(PublishedStanding.objects.filter(known_to=None).order_by("from_at"))
    last_other = max(place for place, row in enumerate(known) if row.word != known[-1].word)
    assert len(known) - last_other > 2, "reasons have to have changed while the word held"
    address = f"owner/buildings/{ours.building.pk}/"
    told = api(ours.access).get(f"/api/v1/{address}").data
    since = known[last_other + 1].from_at
    assert datetime.fromisoformat(told["since"]) == since
    assert told["reasons"] == known[-1].reasons
    words = [told["word"], *(one["word"] for one in told["before"])]
    assert all(one != other for one, other in pairwise(words))
    assert datetime.fromisoformat(told["before"][-1]["begun"]) == known[0].from_at
    page = as_owner.get(f"/portfolio/{ours.building.pk}/")
    assert page.context["stands"].since == since
    assert [one.word for one in page.context["before"]] == words[1:9]
    listed = api(ours.access).get("/api/v1/owner/buildings/").data["results"][0]
    assert listed["since"] == told["since"]


def engaged(ours, from_on, until_on=None):
    owner = Owner.objects.create(code=f"second-{from_on}", name="Second Holdings")
    Engagement.objects.create(
        building=ours.building, owner=owner, from_on=from_on, until_on=until_on
    )
    return owner


@pytest.mark.django_db
@pytest.mark.parametrize("until_on", [None, date(2025, 3, 31)])
def test_two_owners_at_once_make_no_interval_twice(ours, clock, until_on):
    with ours.scope():
        due.derive(ours.building)
        alone = [(row.from_at, row.to_at, row.word) for row in StandingInterval.objects.all()]
        second = engaged(ours, date(2024, 6, 1), until_on)
        due.derive(ours.building)
        rows = StandingInterval.objects.filter(known_to=None)
        assert [(row.from_at, row.to_at, row.word) for row in rows] == alone
        due.derive(ours.building, NOW + timedelta(hours=1))
        assert not StandingInterval.objects.exclude(known_to=None).exists()
    with owner_scope(second.pk):
        assert rooms.portfolio()[0].word == ("not_with_us" if until_on else alone[-1][2])


@pytest.mark.django_db
def test_an_owner_who_left_learns_nothing_of_the_next_one(ours, clock):
    with ours.scope():
        due.derive(ours.building)
        Engagement.objects.update(until_on=date(2026, 10, 31))
        second = engaged(ours, date(2026, 11, 1))
        due.derive(ours.building)
        assert StandingInterval.objects.filter(known_to=None, to_at=None).exists()
    with owner_scope(ours.owner.pk):
        (row,) = rooms.portfolio()
        assert (row.word, row.since, row.reasons) == ("not_with_us", None, [])
        assert row.building.facts["next"] == []
        ended = datetime(2026, 11, 1, 4, tzinfo=UTC)
        last = rooms.building(row.building.building_id, date(2026, 10, 31))
        assert last.word == "overdue"
        assert row.before[0].ended == ended
        told = PublishedStanding.objects.filter(known_to=None)
        assert not told.filter(from_at__gte=ended).exists()
    with owner_scope(second.pk):
        assert rooms.portfolio()[0].word == "overdue"


@pytest.mark.django_db
def test_an_access_ends_with_the_owners_day_and_not_before(ours, as_owner, clock):
    assert ours.owner.time_zone == "America/New_York"
    ours.access.until_on = date(2026, 11, 24)
    ours.access.save(update_fields=["until_on"])
    clock.move_to(datetime(2026, 11, 25, 4, 59, tzinfo=UTC))
    assert as_owner.get("/portfolio/").status_code == 200
    clock.move_to(datetime(2026, 11, 25, 5, tzinfo=UTC))
    assert as_owner.get("/portfolio/").status_code == 302
