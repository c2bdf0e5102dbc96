"""Every other wet system is opened in each cycle, the rest in the next; a finding opens all.

Source: NFSA articles of 2023-07-19 and 2025-03-21 on the internal assessment of NFPA 25.
"""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
import time_machine
from hypothesis import given, settings
from hypothesis import strategies as st

from buildings import inventory
from buildings.models import System
from inspections import rules
from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from scheduling import due, programme, standing
from scheduling.models import Occurrence, Standing
from scheduling.recurrence import Clock
from scheduling.standing import _phases
from scheduling.turns import Member, turns
from scheduling.windows import Bound, Bounds, following, open_window
from tests.published import plain_rules
from tests.scheduling.recording import done

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
ASSESSMENT = "internal-assessment"
SOON = Span(days=30)
FIVE_YEARS = Bounds(
    rules=(Bound(name="nfpa25", rule=catalogue().window_rule("nfpa25", 2020, Span(months=60))),),
    clock=Clock(start=date(2020, 1, 1)),
)
FIRST = date(2020, 1, 1)


def members(*days):
    return [
        Member(name=f"Wet {n}", bounds=FIVE_YEARS, days=tuple(sorted(own)))
        for n, own in enumerate(days)
    ]


def windows(*days, findings=()):
    of = members(*days)
    made = turns(of, sorted(findings), SOON)
    return [
        open_window(Bounds(rules=one.bounds.rules, clock=one.bounds.clock, turn=turn), one.days)
        for one, turn in zip(of, made, strict=True)
    ]


def test_at_first_every_other_one_is_owed_and_the_rest_one_cycle_later():
    found = windows((), (), (), ())
    assert [one.due.year for one in found] == [2025, 2030, 2025, 2030]
    assert "this time Wet 0, Wet 2; this one in the next" in found[1].reason
    assert found[2].reason.startswith("By turns, every other one in a cycle: its turn.")


def test_those_passed_over_come_first_next_time():
    found = windows([date(2025, 3, 1)], (), [date(2025, 9, 1)], ())
    assert [one.due for one in found[1::2]] == [date(2030, 3, 1)] * 2
    assert "Passed over in the cycle of 2025-03-01: its turn now." in found[1].reason
    assert [one.due for one in found[::2]] == [date(2035, 3, 1), date(2035, 9, 1)]


def test_one_left_out_in_its_turn_stays_owed():
    found = windows([date(2025, 3, 1)], (), (), ())
    assert found[2].latest == FIVE_YEARS.rule.greatest.after(FIRST)


def test_a_finding_makes_all_of_them_owed_until_each_was_done():
    day = date(2025, 3, 1)
    found = windows([day], (), (), (), findings=[(day, 0)])
    assert [one.due for one in found[1:]] == [day, date(2025, 1, 1), day]
    assert [one.latest for one in found[1:]] == [date(2025, 3, 31)] * 3
    assert "A finding at Wet 0 on 2025-03-01" in found[1].reason
    after = windows([day], [date(2025, 3, 9)], [day], [day], findings=[(day, 0)])
    assert [one.due.year for one in after] == [2030, 2035, 2030, 2035]


def test_a_day_gone_by_keeps_whose_turn_it_was():
    """One not in its turn was not overdue meanwhile; one opened by a finding was, from then on."""
    late, made_good = date(2026, 6, 1), date(2027, 2, 1)
    of = members([late], [made_good], (), ())
    today = date(2028, 1, 1)
    spoken = {}
    for place, turn in enumerate(turns(of, [(late, 0)], SOON)):
        bounds = Bounds(rules=FIVE_YEARS.rules, clock=FIVE_YEARS.clock, turn=turn)
        spoken[place] = [
            (one.begun, one.ended)
            for one in _phases(bounds, of[place].days, None, None, today)
            if one.word == Standing.OVERDUE and one.begun <= today
        ]
    due = FIVE_YEARS.rule.greatest.after(FIRST) + timedelta(days=1)
    owed = SOON.after(late) + timedelta(days=1)
    assert spoken == {
        0: [(due, late)],
        1: [(owed, made_good)],
        2: [(due, None)],
        3: [(owed, None)],
    }


def test_those_foreseen_skip_every_other_cycle():
    of = members((), ())
    bounds = [
        Bounds(rules=FIVE_YEARS.rules, clock=FIVE_YEARS.clock, turn=turn)
        for turn in turns(of, [], SOON)
    ]
    years = [
        [one.due.year for one in following(each, (), FIRST, date(2050, 1, 1))] for each in bounds
    ]
    assert years == [[2025, 2035, 2045], [2030, 2040, 2050]]


HISTORY = st.lists(
    st.lists(st.integers(0, 12_000), max_size=4, unique=True), min_size=2, max_size=5
)


@given(HISTORY, st.lists(st.tuples(st.integers(0, 12_000), st.integers(0, 4)), max_size=2))
@settings(max_examples=150)
def test_a_second_reading_comes_to_the_same_turns(history, found):
    days = [sorted(FIRST + timedelta(days=n) for n in own) for own in history]
    findings = sorted((FIRST + timedelta(days=n), place % len(days)) for n, place in found)
    made = turns(members(*days), findings, SOON)
    least = FIVE_YEARS.rule.least
    for place, turn in enumerate(made):
        said = plain_rules.turn(place, days, findings, least.after)
        owed_out_of_turn = turn.why.startswith("A finding")
        assert said == ("opened" if owed_out_of_turn else "waits" if turn.waits else "turn")


@given(st.integers(2, 6), st.lists(st.integers(-170, 180), min_size=60, max_size=60))
@settings(max_examples=40)
def test_whoever_keeps_the_windows_opens_half_each_cycle_and_all_in_two(count, off):
    days = [[] for _ in range(count)]
    shifts = iter(off)
    for _ in range(5 * count):
        found = windows(*days)
        place = min(range(count), key=lambda n: (found[n].due, n))
        window = found[place]
        day = window.due + timedelta(days=next(shifts))
        earliest = max(window.earliest or FIRST, *(own[-1] for own in days if own), FIRST)
        days[place].append(min(max(day, earliest), window.latest))
    greatest = FIVE_YEARS.rule.greatest
    every = sorted(day for own in days for day in own)
    assert all(after <= greatest.after(before) for before, after in pairwise(every))
    for own in days:
        for before, after in pairwise([FIRST, *own]):
            assert after <= greatest.times(2).after(before)


@pytest.fixture
def wet_systems(ours):
    """Return the wet system that is there and three more of metal; one of plastic is there too."""
    with ours.scope():
        more = [
            System(
                building=ours.building,
                code=f"S{n}",
                name=f"Floor {n}, wet",
                kind="wet",
                position=n,
                attributes={"kind": "wet", "metallic_pipe": metal},
                in_service_from=date(2015, n - 4, 1),
            )
            for n, metal in ((5, True), (6, True), (7, True), (8, False))
        ]
        inventory.add(more, by=None, reason="surveyed", tell=False)
    return [ours.wet, *more[:3]]


def windows_of(scene):
    return {
        row.subject_id: row for row in Occurrence.objects.filter(activity=ASSESSMENT).order_by("pk")
    }


@pytest.mark.django_db
def test_a_building_is_scheduled_by_turns_and_a_finding_opens_all(ours, wet_systems):
    with time_machine.travel(NOW, tick=False), ours.scope():
        due.derive(ours.building)
        rows = windows_of(ours)
        assert [rows[one.pk].due_on.year for one in wet_systems] == [2029, 2034, 2029, 2034]
        assert "By turns" in rows[wet_systems[1].pk].reason["window"]
        assert rows[ours.preaction.pk].due_on.year == 2029
        done(ours, wet_systems[1], ASSESSMENT, date(2026, 6, 3), "finding")
        due.derive(ours.building)
        rows = windows_of(ours)
        others = [rows[one.pk] for one in wet_systems if one is not wet_systems[1]]
        assert {(row.due_on, row.latest_on) for row in others} == {
            (date(2026, 6, 3), date(2026, 7, 3))
        }
        assert rows[wet_systems[3].pk].last_done_on is None
        told = programme.why_not(ours.building, wet_systems[3].pk, ASSESSMENT)
        assert told.owed
        assert f"A finding at {wet_systems[1].code} {wet_systems[1].name} on" in told.words[0]
        before = programme.why_not(
            ours.building, wet_systems[3].pk, ASSESSMENT, on=date(2026, 6, 2)
        )
        assert before.lines[0].due.year == 2034
        assert "this one in the next" in before.words[0]
        assert standing.standing(ours.building, date(2026, 6, 2)).word != Standing.NOT_WITH_US


@pytest.mark.django_db
def test_a_shorter_frequency_that_somebody_set_is_meant_for_each_system(ours, wet_systems):
    with time_machine.travel(NOW, tick=False), ours.scope():
        told = {"source": "policy of the insurer, s.4", "from_on": NOW.date(), "by": ours.manager}
        rules.tighten(activity=ASSESSMENT, frequency="P3Y", **told)
        due.derive(ours.building)
        rows = windows_of(ours)
        assert {rows[one.pk].due_on for one in wet_systems} == {rows[ours.preaction.pk].due_on}
        assert "By turns" not in rows[ours.wet.pk].reason["window"]
