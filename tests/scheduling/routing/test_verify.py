"""The checker must see every broken rule: a good plan is broken in one way at a time."""

from dataclasses import replace

import pytest

from scheduling.routing.plan import Plan, Reason, Unplanned
from scheduling.routing.problem import DAY, Appointment, Licence, Placement
from scheduling.routing.solve import Effort, solve
from scheduling.routing.verify import Rule, verify
from tests.scheduling.routing.problems import HOUR, office_hours, problem, technician, visit

APPOINTMENT = Appointment(earliest=DAY + 13 * HOUR, latest=DAY + 14 * HOUR)
LOCK = Placement(technician="ann", day=2, start=2 * DAY + 10 * HOUR)
GOOD = problem(
    [
        technician("ann", licences=(Licence(name="riser", expires=2),)),
        technician("ben", home=1, licences=("riser", "pump"), days=(0, 1, 2)),
    ],
    [
        visit("riser", place=2, licences=("riser",), due=0),
        visit("pump", place=3, licences=("pump",), due=0, load=2),
        visit("promised", place=4, appointment=APPOINTMENT),
        visit("locked", place=5, locked=LOCK),
        visit("double", place=6, two_technicians=True, due=1, licences=("pump",)),
    ],
)
PLAN = solve(GOOD, Effort(iterations=100))


def rules(problem_, plan):
    return {violation.rule for violation in verify(problem_, plan)}


def with_visit(name, **changes):
    visits = tuple(replace(v, **changes) if v.id == name else v for v in GOOD.visits)
    return GOOD.with_visits(visits)


def with_technician(name, **changes):
    crew = tuple(replace(t, **changes) if t.id == name else t for t in GOOD.technicians)
    return replace(GOOD, technicians=crew)


def with_route(of, **changes):
    routes = tuple(replace(r, **changes) if r is of else r for r in PLAN.routes)
    return replace(PLAN, routes=routes)


def route_of(name):
    return next(r for r in PLAN.routes if any(s.visit == name for s in r.stops))


def test_the_good_plan_plans_everything_and_breaks_nothing():
    assert verify(GOOD, PLAN) == ()
    assert PLAN.unplanned == ()


def test_a_visit_that_is_nowhere_twice_or_unknown_is_seen():
    assert rules(GOOD, Plan()) == {Rule.ONCE}
    both = replace(PLAN, unplanned=(Unplanned(visit="riser", reason=Reason.NO_CAPACITY),))
    assert rules(GOOD, both) == {Rule.ONCE}
    assert rules(GOOD.with_visits(GOOD.visits[1:]), PLAN) >= {Rule.ONCE}


def test_half_a_double_visit_is_seen():
    assert Rule.ONCE in rules(with_visit("double", two_technicians=False), PLAN)


def test_work_on_a_day_off_is_seen():
    day = route_of("pump").day
    left = tuple(s for s in GOOD.technicians[1].shifts if s.day != day)
    assert Rule.DUTY in rules(with_technician("ben", shifts=left), PLAN)


def test_two_routes_in_one_shift_are_seen():
    twice = replace(PLAN, routes=(*PLAN.routes, PLAN.routes[0]))
    assert Rule.DUTY in rules(GOOD, twice)


@pytest.mark.parametrize("field", ["leaves", "returns", "travel", "metres"])
def test_sums_that_do_not_follow_from_the_travel_times_are_seen(field):
    route = PLAN.routes[0]
    assert Rule.CLOCK in rules(GOOD, with_route(route, **{field: getattr(route, field) + 1}))


@pytest.mark.parametrize("field", ["arrival", "start", "end", "wait", "travel"])
def test_times_of_a_stop_that_do_not_follow_are_seen(field):
    route = PLAN.routes[0]
    stop = replace(route.stops[0], **{field: getattr(route.stops[0], field) + 1})
    assert Rule.CLOCK in rules(GOOD, with_route(route, stops=(stop, *route.stops[1:])))


def test_longer_travel_than_planned_with_is_seen():
    slower = tuple(tuple(2 * s for s in row) for row in GOOD.seconds)
    assert Rule.CLOCK in rules(replace(GOOD, seconds=slower), PLAN)


@pytest.mark.parametrize(
    "changes", [{"start": 12 * HOUR}, {"seconds": 600, "overtime": 0}, {"home_by": 9 * HOUR}]
)
def test_a_day_outside_its_shift_is_seen(changes):
    day = route_of("pump").day
    ben = GOOD.technicians[1]
    shifts = tuple(replace(s, **changes) if s.day == day else s for s in ben.shifts)
    assert Rule.SHIFT in rules(with_technician("ben", shifts=shifts), PLAN)


def test_a_licence_not_held_or_run_out_is_seen():
    assert rules(with_technician("ben", licences=()), PLAN) == {Rule.LICENCE}
    run_out = (Licence(name="riser"), Licence(name="pump", expires=-1))
    assert rules(with_technician("ben", licences=run_out), PLAN) == {Rule.LICENCE}


def test_a_day_outside_the_window_is_seen():
    day = route_of("riser").day
    assert rules(with_visit("riser", earliest=day + 1, due=day + 1), PLAN) == {Rule.DAY}
    assert rules(with_visit("riser", closed=(day,)), PLAN) == {Rule.DAY}
    after = with_visit("double", earliest=-1, due=-1, latest=-1)
    assert rules(after, PLAN) == set()  # overdue: allowed from today on


def test_work_outside_the_access_hours_is_seen():
    stop = next(s for s in route_of("riser").stops if s.visit == "riser")
    closes = office_hours(opens=0, closes=stop.end - 1)
    assert rules(with_visit("riser", access=closes), PLAN) == {Rule.ACCESS}
    opens = office_hours(opens=stop.start + 1, closes=20 * HOUR)
    assert rules(with_visit("riser", access=opens), PLAN) == {Rule.ACCESS}
    assert rules(with_visit("riser", access=office_hours(6)), PLAN) == {Rule.ACCESS}


def test_a_broken_promise_is_seen():
    later = Appointment(earliest=APPOINTMENT.latest + 1, latest=APPOINTMENT.latest + HOUR)
    assert rules(with_visit("promised", appointment=later), PLAN) == {Rule.APPOINTMENT}


@pytest.mark.parametrize("changes", [{"technician": "ben"}, {"start": LOCK.start + 1}])
def test_a_moved_lock_is_seen(changes):
    assert rules(with_visit("locked", locked=replace(LOCK, **changes)), PLAN) == {Rule.LOCK}


def test_two_technicians_who_do_not_start_together_are_seen():
    first, _second = (r for r in PLAN.routes if any(s.visit == "double" for s in r.stops))
    stops = tuple(
        replace(s, start=s.start + 60, end=s.end + 60) if s.visit == "double" else s
        for s in first.stops
    )
    assert Rule.TOGETHER in rules(GOOD, with_route(first, stops=stops))


def test_an_overloaded_van_is_seen():
    assert rules(with_technician("ben", capacity=1), PLAN) == {Rule.LOAD}


def test_a_start_before_now_is_seen():
    assert Rule.PAST in rules(replace(GOOD, now=PLAN.routes[0].leaves + 1), PLAN)
