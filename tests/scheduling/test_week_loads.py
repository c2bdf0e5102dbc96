"""What is counted of work that falls due comes to what a plain count of occurrences comes to."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from random import Random
from uuid import uuid4

import pytest
import time_machine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from buildings.models import System
from inspections.catalogue_files import catalogue, versions
from inspections.models import Visit
from scheduling import bundle, due, load, week_loads
from scheduling.models import Occurrence, Workload
from scheduling.week_loads import monday_of
from tests.scheduling.planning import NOW, TODAY, add_buildings, count_anew

STATES = ("planned", "open", "handed_in", "cancelled")


def test_no_two_words_or_frequencies_share_a_number():
    words = {"", *System.Kind.values}
    for version in versions():
        words |= {one.qualification for one in version.catalogue.activities.values()}
    assert len({week_loads.code(word) for word in words}) == len(words)
    spans = [
        f"P{n}{unit}" for unit, most in (("D", 800), ("M", 11), ("Y", 80)) for n in range(1, most)
    ]
    assert len({week_loads.often(one) for one in ["", *spans]}) == len(spans) + 1


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


def workloads():
    rows = Workload.objects.values_list("building_id", "visit_id", "counts")
    return {(building, visit): bytes(counts) for building, visit, counts in rows}


@pytest.fixture
def portfolio(ours):
    """Five buildings whose work falls due on odd days, some of it in visits of every state."""
    chance = Random(7)
    with ours.scope():
        due.derive(ours.building, NOW)
        pattern = list(Occurrence.objects.all())
        buildings = [ours.building, *add_buildings(ours)]
        systems = [ours.wet, ours.preaction, None]
        Occurrence.objects.all().delete()
        made = []
        for building in buildings:
            visits = [Visit.objects.create(building=building, state=state) for state in STATES]
            for one in chance.choices(pattern, k=60):
                row = Occurrence.objects.model(
                    **{
                        field.attname: getattr(one, field.attname)
                        for field in one._meta.concrete_fields
                        if field.name not in ("id", "building", "system", "visit")
                    }
                )
                row.building, row.subject_id = building, uuid4()
                row.system = chance.choice(systems)
                row.visit = chance.choice([None, None, *visits])
                row.due_on = TODAY + timedelta(days=chance.randrange(-60, 90))
                row.latest_on = row.due_on + timedelta(days=chance.randrange(0, 40))
                row.by_owner = chance.random() < 0.3
                row.adds = round(chance.random() * 90, 1)
                made.append(row)
        Occurrence.objects.bulk_create(made)
        count_anew()
    return ours


def test_what_is_counted_when_deriving_is_what_the_occurrences_come_to(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        made = bundle.make_all(TODAY, by=ours.office)
        assert made
        by_hand = workloads()
        assert len(by_hand) == 1 + len(made)
        due.derive(ours.building, NOW)
        assert workloads() == by_hand
        count_anew()
        assert workloads() == by_hand


def test_whatever_is_picked_for_visits_is_counted_in_them(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        rows = Occurrence.objects.filter(by_owner=False).order_by("activity", "pk")
        picked = list(rows.values_list("pk", flat=True))
        bundle.make_visits(picked[:4], today=TODAY, by=ours.office)
        bundle.add_to_planned(picked[4:7], by=ours.office)
        by_hand = workloads()
        held = load.counted(load.Asked(state="in_visit", who="", week=""), date(2120, 1, 1))
        assert held.count == 7
        count_anew()
        assert workloads() == by_hand


def test_a_visit_that_is_over_holds_nothing_that_falls_due(ours):
    with ours.scope():
        due.derive(ours.building, NOW)
        visit, *_others = bundle.make_all(TODAY, by=ours.office)
        assert load.counted(load.Asked(state="in_visit"), TODAY).count
        Visit.objects.exclude(pk=visit.pk).update(state="cancelled")
        only = load.counted(load.Asked(state="in_visit", who=""), TODAY)
        soon = Occurrence.objects.filter(visit=visit, due_on__lt=load.horizon(TODAY))
        assert only.count == soon.count()
        Visit.objects.update(state="handed_in")
        assert not load.counted(load.Asked(state="in_visit"), TODAY).count
        due.derive(ours.building, NOW)
        assert [key[1] for key in workloads()] == [None]


MONDAYS = [(monday_of(TODAY) + timedelta(days=7 * n)).isoformat() for n in (-1, 0, 1, 5)]
ASKED = st.builds(
    load.Asked,
    district=st.sampled_from(["", "", "Hill", "Riverside", "Nowhere"]),
    system_kind=st.sampled_from(["", "", "wet", "preaction", "deluge"]),
    kind=st.sampled_from(["", "", *week_loads.KINDS]),
    qualification=st.sampled_from(["", "", "inspector", "fire_alarm", "laboratory"]),
    frequency=st.sampled_from(["", "", "P3M", "P1Y", "P5Y", "P7D"]),
    who=st.sampled_from(["", "us", "owner"]),
    state=st.sampled_from(["", *load.STATES]),
    week=st.sampled_from(["", "", load.OVERDUE, *MONDAYS]),
)


@pytest.mark.django_db
@settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(asked=ASKED, whole=st.booleans(), size=st.integers(1, 4))
def test_every_narrowing_comes_to_a_plain_count(portfolio, asked, whole, size):
    with portfolio.scope():
        if not whole:
            asked = replace(asked, building=str(portfolio.building.pk))
        everything = list(Occurrence.objects.select_related("building", "system", "visit"))
        of_work = [row for row in everything if of_the_work(row, asked)]
        shown = [row for row in of_work if in_the_list(row, asked)]
        listed_ids = set(load.shown(asked, TODAY).values_list("pk", flat=True))
        assert {row.pk for row in shown} == listed_ids

        counts = load.counted(asked, TODAY)
        grid, listed = load.grid(counts, TODAY), load.listed(counts, asked, TODAY)
        assert (listed.count, listed.minutes) == (len(shown), minutes_of(shown))

        within = [row for row in of_work if in_the_list(row, load.Asked())]
        late = [row for row in within if row.latest_on < TODAY]
        assert (grid.activities, grid.minutes) == (len(within), minutes_of(within))
        assert grid.buildings == len({row.building_id for row in within})
        assert (grid.overdue, grid.overdue_minutes) == (len(late), minutes_of(late))
        assert grid.oldest == min((row.latest_on for row in late), default=None)
        for one in grid.districts:
            there = [row for row in within if row.building.area == one.name]
            assert there
            assert one.overdue == sum(row in late for row in there)
            for week, lasts in zip(grid.weeks, one.weeks, strict=True):
                assert lasts == minutes_of(r for r in there if falls_in(r, week.monday))
        assert {one.name for one in grid.districts} == {row.building.area for row in within}

        assert [place for page in forwards(listed, size) for place in page] == by_place(shown)
        assert backwards(listed, size) == by_place(shown)


def of_the_work(row, asked):
    taken = row.visit is not None and row.visit.state in ("planned", "open")
    return (
        (not asked.who or row.by_owner == (asked.who == "owner"))
        and (not asked.kind or catalogue().activities[row.activity].kind == asked.kind)
        and asked.system_kind in ("", row.system.kind if row.system else None)
        and asked.qualification in ("", row.qualification)
        and asked.frequency in ("", row.frequency)
        and (not asked.state or taken == (asked.state == "in_visit"))
    )


def in_the_list(row, asked):
    if asked.district not in ("", row.building.area):
        return False
    if asked.building not in ("", str(row.building_id)):
        return False
    if not asked.week:
        return row.due_on < monday_of(TODAY) + timedelta(days=7 * load.WEEKS)
    if asked.week == load.OVERDUE:
        return row.latest_on < TODAY
    return falls_in(row, monday_of(TODAY).fromisoformat(asked.week))


def falls_in(row, monday):
    own = monday_of(row.due_on)
    if monday == monday_of(TODAY):
        own = max(own, monday)
    return row.latest_on >= TODAY and own == monday


def minutes_of(rows):
    return sum(round(row.adds * 10) for row in rows) / 10


def by_place(rows):
    at = defaultdict(list)
    for row in rows:
        at[row.building_id].append(row)
    found = [
        (min(row.latest_on for row in of_it), building, len(of_it), minutes_of(of_it))
        for building, of_it in at.items()
    ]
    return sorted(found)


def told(some):
    return [(one.latest_on, one.building.pk, one.activities, one.minutes) for one in some.places]


def forwards(listed, size):
    some = load.stretch(listed, size)
    yield told(some)
    while some.after:
        some = load.stretch(listed, size, after=some.after)
        yield told(some)


def backwards(listed, size):
    some = load.stretch(listed, size)
    while some.after:
        some = load.stretch(listed, size, after=some.after)
    found = told(some)
    while some.before:
        some = load.stretch(listed, size, before=some.before)
        # The first page is a whole one again.
        found = [one for one in told(some) if one not in found] + found
    return found
