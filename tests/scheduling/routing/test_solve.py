import json
from dataclasses import replace

import pytest
from hypothesis import given, settings

from scheduling.routing.model import build
from scheduling.routing.plan import Plan, Reason
from scheduling.routing.problem import DAY, Appointment, Licence, Placement, Problem
from scheduling.routing.solve import Effort, choose_pairs, solve
from scheduling.routing.verify import verify
from scheduling.routing.wire import from_json, to_json
from tests.scheduling.routing.problems import (
    HOUR,
    METRES,
    SECONDS,
    office_hours,
    problem,
    problems,
    technician,
    visit,
)

FEW = Effort(iterations=60)


def planned(plan):
    return {stop.visit for route in plan.routes for stop in route.stops}


def left_out(plan):
    return {entry.visit: entry.reason for entry in plan.unplanned}


@given(problems())
@settings(max_examples=60)
def test_every_plan_keeps_every_hard_rule_and_accounts_for_every_visit(given_problem):
    plan = solve(given_problem, FEW)
    assert verify(given_problem, plan) == ()
    assert planned(plan) | set(left_out(plan)) == {v.id for v in given_problem.visits}
    assert planned(plan).isdisjoint(left_out(plan))


@given(problems())
@settings(max_examples=25)
def test_problem_and_plan_survive_the_trip_through_json(given_problem):
    plan = solve(given_problem, Effort(iterations=5))
    assert from_json(Problem, json.loads(json.dumps(to_json(given_problem)))) == given_problem
    assert from_json(Plan, json.loads(json.dumps(to_json(plan)))) == plan


@given(problems())
@settings(max_examples=15)
def test_the_same_seed_and_iterations_give_the_same_plan(given_problem):
    effort = Effort(iterations=80, seed=7)
    assert solve(given_problem, effort) == solve(given_problem, effort)


@given(problems())
@settings(max_examples=15)
def test_a_plan_started_from_another_costs_no_more(given_problem):
    first = solve(given_problem, FEW)
    again = solve(given_problem, FEW, start=first)
    assert again.cost.unplanned <= first.cost.unplanned
    assert verify(given_problem, again) == ()


def test_an_overdue_visit_is_done_today_and_priced_late():
    late = problem([technician()], [visit("v", earliest=-30, due=-10)])
    plan = solve(late, FEW)
    (route,) = plan.routes
    assert route.day == 0
    assert plan.cost.late == late.weights.late_day


def test_a_visit_that_finds_no_room_in_time_is_done_late_rather_than_never():
    day_long = [visit(f"v{i}", seconds=7 * HOUR, due=1) for i in range(3)]
    plan = solve(problem([technician()], day_long), FEW)
    assert plan.unplanned == ()
    assert plan.cost.late == 7_200


def test_too_much_work_leaves_an_honest_list_and_no_broken_rule():
    day_long = [visit(f"v{i}", place=2 + i % 5, seconds=7 * HOUR) for i in range(12)]
    crowded = problem([technician(), technician("ben", home=1)], day_long)
    plan = solve(crowded, Effort(iterations=300))
    assert len(planned(plan)) == 10
    assert set(left_out(plan).values()) == {Reason.NO_CAPACITY}
    assert verify(crowded, plan) == ()


def test_when_not_all_fit_the_emergency_goes_before_the_usual_visit():
    both = [visit("usual", due=0, latest=0, seconds=7 * HOUR)]
    both.append(visit("emergency", due=0, latest=0, seconds=7 * HOUR, priority=4))
    plan = solve(problem([technician()], both), FEW)
    assert planned(plan) == {"emergency"}


def test_a_licence_that_runs_out_is_no_licence_on_the_days_after():
    runs_out = technician(licences=(Licence(name="riser", expires=1),))
    early = visit("early", licences=("riser",))
    late = visit("late", licences=("riser",), earliest=2)
    plan = solve(problem([runs_out], [early, late]), FEW)
    (route,) = plan.routes
    assert route.day <= 1
    assert left_out(plan) == {"late": Reason.NO_LICENCE}


def test_the_preferred_technician_is_sent_unless_the_detour_is_too_long():
    crew = [technician("ann"), technician("ben", home=1)]
    near = problem(crew, [visit("v", place=2, preferred="ben")])
    assert solve(near, FEW).routes[0].technician == "ben"
    days_off = problem([technician("ann"), technician("ben", days=())], near.visits)
    assert solve(days_off, FEW).cost.not_preferred == near.weights.not_preferred


def test_both_technicians_of_a_double_visit_start_together_and_one_holds_the_licence():
    crew = [technician("ann"), technician("ben", home=1, licences=())]
    double = visit("double", two_technicians=True, licences=("riser",))
    plan = solve(problem(crew, [double, visit("other", place=5)]), FEW)
    crews = [r.technician for r in plan.routes for s in r.stops if s.visit == "double"]
    starts = {s.start for r in plan.routes for s in r.stops if s.visit == "double"}
    assert sorted(crews) == ["ann", "ben"]
    assert len(starts) == 1


def test_a_double_visit_keeps_the_pair_and_start_of_the_plan_it_starts_from():
    crew = [technician(n) for n in ("ann", "ben", "cat")]
    double = problem(crew, [visit("double", two_technicians=True)])
    first = choose_pairs(double)
    plan = solve(double, FEW)
    assert choose_pairs(double, plan) == first == plan.placements()


def test_a_locked_visit_stays_where_it_is():
    at = 2 * DAY + 10 * HOUR + 120
    lock = Placement(technician="ben", day=2, start=at)
    crew = [technician("ann"), technician("ben", home=1)]
    plan = solve(problem(crew, [visit("v", locked=lock), visit("w", place=6)]), FEW)
    assert plan.placements()["v"] == lock


def test_a_double_visit_locked_to_a_pair_without_the_licence_is_left_out():
    lock = Placement(technician="ann", day=0, start=9 * HOUR, partner="ben")
    crew = [technician("ann", licences=()), technician("ben", licences=())]
    double = visit("v", two_technicians=True, locked=lock, licences=("riser",))
    plan = solve(problem(crew, [double]), FEW)
    assert left_out(plan) == {"v": Reason.LOCK}


def test_two_technicians_of_a_night_shift_meet_after_midnight():
    night = {"days": (0,), "start": 20 * HOUR}
    at_one = office_hours(1, opens=HOUR, closes=3 * HOUR)
    double = visit("v", two_technicians=True, access=at_one, due=1, latest=1)
    plan = solve(problem([technician("ann", **night), technician("ben", **night)], [double]), FEW)
    assert plan.placements()["v"].start >= DAY + HOUR


def test_an_appointment_is_kept_whatever_the_due_window_says():
    hours = Appointment(earliest=3 * DAY + 13 * HOUR, latest=3 * DAY + 14 * HOUR)
    plan = solve(problem([technician()], [visit("v", due=1, appointment=hours)]), FEW)
    assert hours.earliest <= plan.placements()["v"].start <= hours.latest


def test_starts_are_early_in_their_windows_and_on_five_minutes_where_there_is_room():
    hours = Appointment(earliest=13 * HOUR, latest=13 * HOUR)
    first = visit("first", access=office_hours(opens=8 * HOUR, closes=10 * HOUR), due=0)
    second = visit("second", place=3, appointment=hours)
    plan = solve(problem([technician()], [first, second]), FEW)
    stops = {stop.visit: stop for stop in plan.routes[0].stops}
    assert stops["first"].start == 8 * HOUR
    assert all(stop.start % 300 == 0 == stop.shown - stop.start for stop in stops.values())


def test_the_van_carries_no_more_than_it_can():
    small_van = replace(technician(days=(0,)), capacity=5)
    loads = [visit(f"v{i}", load=3) for i in range(2)]
    plan = solve(problem([small_van], loads), FEW)
    assert len(planned(plan)) == 1


def test_a_long_horizon_with_many_forbidden_places_ends_at_its_iteration_limit():
    # Edges as long as the library's own "forbidden" value overflow and never return.
    crew = [technician(f"t{i}", licences=(f"l{i}",), days=range(56)) for i in range(4)]
    work = [
        visit(f"v{i}", place=2 + i % 6, licences=(f"l{i % 5}",), due=40, seconds=2 * HOUR)
        for i in range(40)
    ]
    apart = tuple(tuple(0 if i == j else 2**44 for j in range(8)) for i in range(8))
    for seconds in (SECONDS, apart):
        long = problem(crew, work, days=56, seconds=seconds)
        plan = solve(long, Effort(iterations=20))
        assert verify(long, plan) == ()
    data = build(problem(crew, work, days=56, seconds=apart), {}, frozenset()).data
    for profile in range(data.num_profiles):
        assert data.duration_matrix(profile).max() <= 57 * DAY
        assert data.distance_matrix(profile).max() <= 57 * DAY


def test_days_on_which_nobody_could_start_between_two_windows_make_one_interval():
    always = visit("v", access=())
    model = build(problem([technician()], [always]), {}, frozenset())
    assert model.data.num_clients == 1
    twice = office_hours(opens=8 * HOUR, closes=10 * HOUR)
    twice += office_hours(opens=13 * HOUR, closes=15 * HOUR)
    split = build(problem([technician()], [visit("v", access=twice)]), {}, frozenset())
    assert split.data.num_clients == 10


def test_nothing_to_do_and_nobody_to_do_it_are_plans_too():
    assert solve(problem([technician()], []), FEW) == Plan()
    plan = solve(problem([], [visit("v")]), FEW)
    assert left_out(plan) == {"v": Reason.NO_SHIFT}


@pytest.mark.parametrize(
    ("effort", "name"),
    [
        ({}, "effort.seconds"),
        ({"seconds": 0.0}, "effort.seconds"),
        ({"iterations": 0}, "effort.iterations"),
        ({"iterations": 1, "seed": -1}, "effort.seed"),
    ],
)
def test_a_senseless_effort_is_refused_by_name(effort, name):
    with pytest.raises(ValueError, match=name):
        Effort(**effort)


def test_metres_of_a_route_add_up_over_the_way_home():
    plan = solve(problem([technician()], [visit("v", place=5)]), FEW)
    assert plan.routes[0].metres == METRES[0][5] + METRES[5][0]
