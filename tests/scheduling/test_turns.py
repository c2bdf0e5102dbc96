"""Every other wet system is opened in each cycle, the rest in the next; a finding opens all.

Source: NFSA articles of 2023-07-19 and 2025-03-21 on the internal assessment of NFPA 25.
"""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from uuid import uuid4

import pytest
import time_machine
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from buildings import inventory
from buildings.models import System, TurnOrder
from contractors.models import AuditEntry, OutboxMessage
from contractors.refusal import FieldRefused
from inspections import rules
from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from scheduling import due, programme, standing, terms, turn_orders
from scheduling.models import Occurrence, Standing
from scheduling.recurrence import Clock
from scheduling.standing import _phases
from scheduling.turns import Chosen, Member, turns
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


def windows(*days, findings=(), chosen=()):
    of = members(*days)
    made = turns(of, sorted(findings), SOON, chosen)
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


def test_those_chosen_go_first_and_the_rest_one_cycle_later():
    found = windows((), (), (), (), chosen=[Chosen(FIRST, frozenset({1, 2}))])
    assert [one.due.year for one in found] == [2030, 2025, 2025, 2030]
    assert found[1].reason.startswith("By turns, as chosen from 2020-01-01 on: its turn.")
    assert "this time Wet 1, Wet 2; this one in the next" in found[0].reason


def test_a_choice_puts_nobody_off_who_was_passed_over():
    day = date(2025, 3, 1)
    found = windows([day], (), [day], (), chosen=[Chosen(date(2026, 1, 1), frozenset({0, 2}))])
    assert [one.due for one in found] == [date(2035, 3, 1), date(2030, 3, 1)] * 2
    assert "Passed over in the cycle of 2025-03-01: its turn now." in found[1].reason
    # Where all were done in one cycle, nobody is left over.
    choice = Chosen(date(2026, 1, 1), frozenset({1, 2}))
    found = windows([day], [day], [day], [day], chosen=[choice])
    assert [one.due.year for one in found] == [2035, 2030, 2030, 2035]


def test_a_choice_judges_no_cycle_before_its_day():
    history = [date(2025, 3, 1)], (), (), ()
    plain = turns(members(*history), [], SOON)
    later = [Chosen(date(2025, 3, 2), frozenset({1, 3}))]
    assert [one.passed for one in turns(members(*history), [], SOON, later)] == [
        one.passed for one in plain
    ]
    before = [Chosen(date(2025, 3, 1), frozenset({0, 3}))]
    made = turns(members(*history), [], SOON, before)
    assert [bool(one.passed) for one in made] == [False, True, True, False]


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


@given(
    HISTORY,
    st.lists(st.tuples(st.integers(0, 12_000), st.integers(0, 4)), max_size=2),
    st.lists(st.tuples(st.integers(0, 12_000), st.frozensets(st.integers(0, 4))), max_size=2),
)
@settings(max_examples=150)
def test_a_second_reading_comes_to_the_same_turns(history, found, choices):
    days = [sorted(FIRST + timedelta(days=n) for n in own) for own in history]
    findings = sorted((FIRST + timedelta(days=n), place % len(days)) for n, place in found)
    among = frozenset(range(len(days)))
    chosen = [
        (FIRST + timedelta(days=n), first & among)
        for n, first in sorted(choices, key=lambda one: one[0])
    ]
    made = turns(members(*days), findings, SOON, [Chosen(*one) for one in chosen])
    least = FIVE_YEARS.rule.least
    firsts = [first for _day, first in chosen]
    for place, turn in enumerate(made):
        said = plain_rules.turn(place, days, findings, least.after, firsts)
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


@pytest.fixture
def chosen(ours, wet_systems):
    """Return the choice of the two that would otherwise wait."""
    with time_machine.travel(NOW, tick=False), ours.scope():
        return turn_orders.choose(
            ours.building,
            ASSESSMENT,
            [wet_systems[1].pk, wet_systems[3].pk],
            valid_from=NOW.date(),
            by=ours.manager,
        )


def years_of(scene, systems):
    due.derive(scene.building)
    rows = windows_of(scene)
    return [rows[one.pk].due_on.year for one in systems]


@pytest.mark.django_db
def test_those_chosen_for_a_building_go_first_from_that_day_on(ours, wet_systems, chosen):
    with time_machine.travel(NOW, tick=False), ours.scope():
        assert years_of(ours, wet_systems) == [2034, 2029, 2034, 2029]
        reason = windows_of(ours)[wet_systems[0].pk].reason["window"]
        assert "as chosen from 2026-11-25 on" in reason
        assert chosen.then == [str(wet_systems[0].pk), str(wet_systems[2].pk)]
        (entry,) = AuditEntry.objects.filter(action="turn_order.chosen")
        assert (entry.member, entry.facts["first"]) == (ours.manager, ["S5", "S7"])
        assert OutboxMessage.objects.filter(kind="building.changed").exists()
        day_before = date(2026, 11, 24)
        told = programme.why_not(ours.building, wet_systems[1].pk, ASSESSMENT, on=day_before)
        assert told.lines[0].due.year == 2034
        for minutes, known in ((-1, ()), (1, (chosen,))):
            known_at = NOW + timedelta(minutes=minutes)
            assert terms.terms_of(ours.building, NOW.date(), known_at).turn_orders == known


@pytest.mark.django_db
def test_a_system_that_comes_later_joins_the_smaller_half(ours, wet_systems, chosen):
    with time_machine.travel(NOW, tick=False), ours.scope():
        made = []
        for n in (9, 10):
            more = System(
                building=ours.building,
                code=f"S{n}",
                name=f"Annex {n}",
                kind="wet",
                position=n,
                attributes={"kind": "wet", "metallic_pipe": True},
                in_service_from=date(2016, n, 1),
            )
            inventory.add([more], by=None, reason="surveyed", tell=False)
            made.append(more)
        assert years_of(ours, made) == [2029, 2034]
        assert years_of(ours, wet_systems) == [2034, 2029, 2034, 2029]


@pytest.mark.django_db
def test_only_half_of_those_that_take_turns_can_be_chosen(ours, wet_systems):
    ids = [one.pk for one in wet_systems]
    with time_machine.travel(NOW, tick=False), ours.scope():
        for first in ([], ids[:1], ids[:3], [ids[0], ours.preaction.pk], [ids[0], uuid4()]):
            with pytest.raises(FieldRefused, match="2 of 4") as refused:
                turn_orders.choose(
                    ours.building, ASSESSMENT, first, valid_from=NOW.date(), by=ours.manager
                )
            assert refused.value.facts["field"] == "first"
        with pytest.raises(FieldRefused, match=ASSESSMENT):
            turn_orders.choose(
                ours.building, "main-drain-test", ids[:2], valid_from=NOW.date(), by=ours.manager
            )
        assert not TurnOrder.objects.exists()


@pytest.mark.django_db
def test_the_choice_is_made_on_its_page_and_stands_among_the_settings(ours, wet_systems, as_member):
    with time_machine.travel(NOW, tick=False):
        manager, page = as_member(ours.manager), reverse("terms", args=[ours.building.pk])
        assert "Every other one, as installed" in manager.get(page).content.decode()
        address = reverse("turn_order_new", args=[ours.building.pk])
        form = manager.get(address).content.decode()
        assert all(one.name in form for one in wet_systems)
        assert "Floor 8, wet" not in form
        first = [str(wet_systems[1].pk), str(wet_systems[2].pk)]
        told = {"activity": ASSESSMENT, "first": first[:1], "valid_from": "2026-11-25"}
        refused = manager.post(address, told)
        assert refused.status_code == 422
        assert "Half of these, 2 of 4" in refused.content.decode()
        assert manager.post(address, {**told, "first": first}).url == page
        text = manager.get(page).content.decode()
        assert "S5 Floor 5, wet; S6 Floor 6, wet" in text
        assert as_member(ours.office).get(address).status_code == 403


@pytest.mark.django_db
def test_a_building_without_turns_offers_no_choice(ours, as_member):
    manager, page = as_member(ours.manager), reverse("terms", args=[ours.building.pk])
    assert "Work by turns" not in manager.get(page).content.decode()
    form = manager.get(reverse("turn_order_new", args=[ours.building.pk])).content.decode()
    assert "nothing goes by turns here" in form


@pytest.mark.django_db
def test_the_choice_is_made_by_the_api(ours, wet_systems, api):
    with time_machine.travel(NOW, tick=False):
        manager = api(ours.manager)
        first = [str(wet_systems[2].pk), str(wet_systems[3].pk)]
        body = {
            "building": str(ours.building.pk),
            "activity": ASSESSMENT,
            "first": first,
            "valid_from": "2026-12-01",
        }

        def post(told, key):
            address = "/api/v1/turn-orders/"
            return manager.post(address, told, format="json", HTTP_IDEMPOTENCY_KEY=key)

        made = post(body, "once")
        assert made.status_code == 201
        assert made.json() == post(body, "once").json()
        assert made.json()["first"] == first
        (row,) = manager.get(f"/api/v1/turn-orders/?building={ours.building.pk}").json()["results"]
        assert row == made.json()
        refused = post({**body, "first": first[:1]}, "twice")
        assert refused.status_code == 400
        assert "2 of 4" in str(refused.json())
        assert api(ours.technician).get("/api/v1/turn-orders/").status_code == 403
        with ours.scope():
            assert years_of(ours, wet_systems) == [2029, 2034, 2029, 2034]
    with time_machine.travel(datetime(2026, 12, 1, 15, tzinfo=UTC), tick=False), ours.scope():
        assert years_of(ours, wet_systems) == [2034, 2034, 2029, 2029]
