import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.routing.cost import cost
from scheduling.routing.explain import move, reason_for
from scheduling.routing.plan import Reason
from scheduling.routing.problem import DAY, Placement
from scheduling.routing.solve import Effort, solve
from scheduling.routing.verify import Rule, verify
from tests.scheduling.routing.problems import (
    HOUR,
    office_hours,
    problem,
    problems,
    technician,
    visit,
)

FEW = Effort(iterations=60)
CREW = [technician("ann"), technician("ben", home=1, licences=())]
LOCKED_OFF = Placement(technician="ann", day=0, start=3 * HOUR)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"earliest": 9, "due": 12}, Reason.NO_DAY),
        ({"access": office_hours(6)}, Reason.NO_DAY),
        ({"closed": (0, 1, 2, 3, 4)}, Reason.NO_DAY),
        ({"seconds": 10 * HOUR}, Reason.NO_DAY),
        ({"licences": ("crane",)}, Reason.NO_LICENCE),
        ({"access": (), "seconds": 12 * HOUR}, Reason.NO_FIT),
        ({"access": office_hours(opens=HOUR, closes=3 * HOUR)}, Reason.NO_FIT),
        ({"locked": LOCKED_OFF}, Reason.LOCK),
        ({"two_technicians": True, "seconds": 12 * HOUR, "access": ()}, Reason.NO_PAIR),
    ],
)
def test_each_reason_is_told_for_its_own_cause(changes, reason):
    plan = solve(problem(CREW, [visit("v", **changes)]), FEW)
    assert [entry.reason for entry in plan.unplanned] == [reason]


def test_nobody_on_duty_on_the_allowed_days_is_told():
    plan = solve(problem([technician(days=(0,))], [visit("v", earliest=2)]), FEW)
    assert plan.unplanned[0].reason is Reason.NO_SHIFT
    assert plan.unplanned[0].days == (2, 3, 4)


def test_the_licences_nobody_holds_are_named():
    plan = solve(problem(CREW, [visit("v", licences=("riser", "crane"))]), FEW)
    assert plan.unplanned[0].licences == ("crane", "riser")


def test_no_capacity_names_the_days_on_which_it_would_fit_alone():
    full = [visit(f"v{i}", seconds=7 * HOUR, latest=4) for i in range(6)]
    crowded = problem([technician(days=(1, 3))], full)
    plan = solve(crowded, FEW)
    assert {(u.reason, u.days) for u in plan.unplanned} == {(Reason.NO_CAPACITY, (1, 3))}


@given(problems())
@settings(max_examples=30)
def test_no_capacity_is_claimed_only_for_visits_that_alone_are_planned(given_problem):
    for one in given_problem.visits:
        alone = solve(given_problem.with_visits((one,)), Effort(iterations=5))
        fits = alone.unplanned == ()
        assert (reason_for(given_problem, one).reason is Reason.NO_CAPACITY) == fits


def test_a_move_by_hand_tells_what_it_costs():
    given_problem = problem([technician("ann"), technician("ben", home=1)], [visit("v", place=2)])
    plan = solve(given_problem, FEW)
    moved = move(given_problem, plan, "v", "ben", 3)
    assert moved.plan.placements()["v"].technician == "ben"
    assert moved.before == plan.cost
    assert moved.after.travel > moved.before.travel
    assert moved.violations == ()


def test_a_move_that_breaks_rules_is_shown_with_what_it_breaks():
    work = [visit("v", licences=("riser",), access=office_hours(0, 1))]
    given_problem = problem(CREW, work)
    plan = solve(given_problem, FEW)
    moved = move(given_problem, plan, "v", "ben", 2)
    assert {violation.rule for violation in moved.violations} == {Rule.LICENCE, Rule.ACCESS}
    assert moved.plan.placements()["v"].day == 2


def test_a_move_keeps_to_a_wanted_start_where_the_day_allows_it():
    given_problem = problem([technician()], [visit("v"), visit("w", place=3)])
    plan = solve(given_problem, FEW)
    wanted = 2 * DAY + 11 * HOUR
    moved = move(given_problem, plan, "v", "ann", 2, start=wanted)
    assert moved.plan.placements()["v"].start == wanted
    assert moved.violations == ()


def test_a_visit_left_out_can_be_put_in_by_hand():
    full = [visit(f"v{i}", seconds=5 * HOUR, latest=4) for i in range(2)]
    given_problem = problem([technician(days=(0,))], full)
    plan = solve(given_problem, FEW)
    (left,) = plan.unplanned
    moved = move(given_problem, plan, left.visit, "ann", 0, position=0)
    assert moved.plan.routes[0].stops[0].visit == left.visit
    assert moved.plan.unplanned == ()
    assert Rule.SHIFT in {violation.rule for violation in moved.violations}


@given(problems(), st.data())
@settings(max_examples=40)
def test_a_move_accounts_for_every_visit_and_lists_just_what_the_checker_finds(given_problem, data):
    plan = solve(given_problem, Effort(iterations=20))
    singles = [v.id for v in given_problem.visits if not v.two_technicians]
    shifts = [(t.id, s.day) for t in given_problem.technicians for s in t.shifts]
    if not singles:
        return
    who, day = data.draw(st.sampled_from(shifts))
    moved = move(given_problem, plan, data.draw(st.sampled_from(singles)), who, day)
    assert moved.violations == verify(given_problem, moved.plan)
    assert moved.after == cost(given_problem, moved.plan)
    assert not {Rule.ONCE, Rule.CLOCK, Rule.DUTY} & {v.rule for v in moved.violations}


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (("x", "ann", 0), "visit"),
        (("v", "x", 0), "technician"),
        (("v", "ann", 6), "day of technician ann"),
    ],
)
def test_a_move_to_nowhere_is_refused_by_name(arguments, name):
    given_problem = problem(CREW, [visit("v")])
    plan = solve(given_problem, FEW)
    with pytest.raises(ValueError, match=name):
        move(given_problem, plan, *arguments)
    with pytest.raises(ValueError, match="position"):
        move(given_problem, plan, "v", "ann", 1, position=5)


def test_the_partner_of_a_two_technician_visit_comes_along_and_starts_at_the_same_time():
    given_problem = problem(
        [technician("ann"), technician("ben")], [visit("v", two_technicians=True)]
    )
    plan = solve(given_problem, FEW)
    before = plan.placements()["v"]
    day = next(d for d in (0, 1, 2) if d != before.day)
    moved = move(given_problem, plan, "v", before.technician, day)
    after = moved.plan.placements()["v"]
    assert (after.day, set(after.crew)) == (day, {"ann", "ben"})
    assert moved.violations == ()


def test_a_partner_off_duty_on_the_new_day_is_missed():
    crew = [technician("ann"), technician("ben", days=(0,))]
    plan = solve(problem(crew, [visit("v", two_technicians=True)]), FEW)
    moved = move(problem(crew, [visit("v", two_technicians=True)]), plan, "v", "ann", 1)
    assert [one.rule for one in moved.violations] == [Rule.ONCE]
