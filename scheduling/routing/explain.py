"""Why a visit was left out, and what moving a stop by hand does."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement

from scheduling.routing.cost import cost
from scheduling.routing.draft import Draft
from scheduling.routing.plan import Cost, Plan, Reason, Unplanned
from scheduling.routing.problem import Problem, Technician, Visit, accept
from scheduling.routing.timing import forced, timed
from scheduling.routing.verify import Violation, verify
from scheduling.routing.windows import crew_holds, on_duty


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """What moving one stop by hand gives: the plan, its cost before and after, what it breaks."""

    plan: Plan
    before: Cost
    after: Cost
    violations: tuple[Violation, ...]


def finished(problem: Problem, plan: Plan, left_out: Iterable[Visit]) -> Plan:
    """Return the plan with a proved reason for each visit left out, and with its cost."""
    unplanned = tuple(
        sorted((reason_for(problem, visit) for visit in left_out), key=lambda u: u.visit)
    )
    plan = replace(plan, unplanned=unplanned)
    return replace(plan, cost=cost(problem, plan))


def reason_for(problem: Problem, visit: Visit) -> Unplanned:
    """Return why a visit can't be planned, proved by trying it alone on every day.

    `NO_CAPACITY` is the answer when it would fit alone: then it is the other visits that leave no
    room, on the days named.
    """
    alone = Draft(problem)
    slots = alone.slots(visit)
    days = tuple(sorted({slot.day for slot in slots}))
    if not slots:
        return Unplanned(visit=visit.id, reason=Reason.NO_DAY)
    fits = _pair_days(alone, visit) if visit.two_technicians else _days_alone(problem, visit)
    if fits:
        return Unplanned(visit=visit.id, reason=Reason.NO_CAPACITY, days=fits)
    if visit.locked:
        return Unplanned(visit=visit.id, reason=Reason.LOCK, days=days)
    crews = [(technician, day) for day in days for technician, _ in on_duty(problem, day)]
    if not crews:
        return Unplanned(visit=visit.id, reason=Reason.NO_SHIFT, days=days)
    if not _held_by_a_crew(visit, crews):
        licences = tuple(sorted(visit.licences))
        return Unplanned(visit=visit.id, reason=Reason.NO_LICENCE, days=days, licences=licences)
    reason = Reason.NO_PAIR if visit.two_technicians else Reason.NO_FIT
    return Unplanned(visit=visit.id, reason=reason, days=days)


def _held_by_a_crew(visit: Visit, crews: list[tuple[Technician, int]]) -> bool:
    """Say whether one person on duty, or two together where two go, hold what a visit asks."""
    if not visit.two_technicians:
        return any(crew_holds(visit, (technician,), day) for technician, day in crews)
    by_day: dict[int, list[Technician]] = {}
    for technician, day in crews:
        by_day.setdefault(day, []).append(technician)
    return any(
        crew_holds(visit, pair, day)
        for day, there in by_day.items()
        for pair in combinations_with_replacement(there, 2)
    )


def move(
    problem: Problem,
    plan: Plan,
    visit_id: str,
    technician: str,
    day: int,
    *,
    position: int | None = None,
    start: int | None = None,
) -> Move:
    """Return the plan with one visit moved by hand to a route of another technician or day.

    Parameters
    ----------
    problem, plan
        The plan in force and what it was made from; the plan itself is not changed.
    visit_id
        A visit of the problem, planned or left out.
    technician, day
        Whose shift it goes to.
    position
        Number of stops before it on that route, 0 or more; None: by `start`, or where the detour
        is shortest.
    start
        Wanted start on the plan clock; None: as early as the day allows.

    Returns
    -------
    Move
        Nothing is refused: what the move breaks is listed, and the plan is timed as well as it can
        be. The partner of a two-technician visit comes along: whoever else of its crew works that
        day, starting at the same time if the rest of the day lets them.

    Raises
    ------
    ValueError
        When the visit, the shift or the position doesn't exist.
    """
    accept(visit_id in problem.visit_by_id, "visit", visit_id, "a visit of the problem")
    accept(technician in problem.technician_by_id, "technician", technician, "one of the problem")
    who = problem.technician_by_id[technician]
    shift = who.shift_on(day)
    accept(shift is not None, f"day of technician {technician}", day, "a day with a shift")
    draft = Draft(problem)
    orders = _orders(plan, visit_id)
    key = (technician, day)
    order = orders.get(key, [])
    visit = problem.visit_by_id[visit_id]
    at = _position(draft, visit, key, order, position, start)
    orders[key] = [*order[:at], (visit_id, start), *order[at:]]
    moved = _timed_anyhow(problem, plan, orders, visit_id)
    other = _partner(problem, plan, visit_id, key)
    if visit.two_technicians and other is not None:
        begins = next(
            stop.start
            for route in moved.routes
            if (route.technician, route.day) == key
            for stop in route.stops
            if stop.visit == visit_id
        )
        order = orders.get((other, day), [])
        at = _position(draft, visit, (other, day), order, None, begins)
        orders[other, day] = [*order[:at], (visit_id, begins), *order[at:]]
        moved = _timed_anyhow(problem, plan, orders, visit_id, {(other, day): begins})
    return Move(plan=moved, before=plan.cost, after=moved.cost, violations=verify(problem, moved))


def _partner(problem: Problem, plan: Plan, visit: str, key: tuple[str, int]) -> str | None:
    crew = [r.technician for r in plan.routes for stop in r.stops if stop.visit == visit]
    others = (one for one in crew if one != key[0])
    return next((o for o in others if problem.technician_by_id[o].shift_on(key[1])), None)


def _days_alone(problem: Problem, visit: Visit) -> tuple[int, ...]:
    draft, days = Draft(problem), set()
    for technician in problem.technicians:
        for shift in technician.shifts:
            if visit.locked and technician.id != visit.locked.technician:
                continue
            piece = draft.piece(visit, (technician.id, shift.day))
            if piece is None or not crew_holds(visit, (technician,), shift.day):
                continue
            if timed(problem, technician, shift, [piece]):
                days.add(shift.day)
    return tuple(sorted(days))


def _pair_days(alone: Draft, visit: Visit) -> tuple[int, ...]:
    places = alone.cheapest_pair(visit)
    return (places[0].key[1],) if places else ()


def _orders(plan: Plan, without: str) -> dict[tuple[str, int], list[tuple[str, int | None]]]:
    return {
        (route.technician, route.day): [
            (s.visit, s.start) for s in route.stops if s.visit != without
        ]
        for route in plan.routes
    }


def _position(
    draft: Draft,
    visit: Visit,
    key: tuple[str, int],
    order: list[tuple[str, int | None]],
    position: int | None,
    start: int | None,
) -> int:
    if position is not None:
        accept(0 <= position <= len(order), "position", position, f"0 to {len(order)}")
        return position
    if start is not None:
        return sum(1 for _, other in order if other is not None and other < start)
    return draft.cheapest_position(visit, key, [stands for stands, _ in order])


def _timed_anyhow(
    problem: Problem,
    plan: Plan,
    orders: dict[tuple[str, int], list[tuple[str, int | None]]],
    moved: str,
    exact: Mapping[tuple[str, int], int] | None = None,
) -> Plan:
    draft, routes = Draft(problem), []
    old = {(route.technician, route.day): route for route in plan.routes}
    for key, order in orders.items():
        before = old.get(key)
        if before and [s.visit for s in before.stops] == [visit for visit, _ in order]:
            routes.append(before)
        elif order:
            technician = problem.technician_by_id[key[0]]
            shift = technician.shift_on(key[1])
            assert shift is not None
            pieces = [draft.piece_anyhow(problem.visit_by_id[v], key, wish) for v, wish in order]
            begins = (exact or {}).get(key)
            if begins is not None:
                pieces = [
                    p._replace(intervals=((begins, begins),)) if p.visit.id == moved else p
                    for p in pieces
                ]
            route = timed(problem, technician, shift, pieces)
            routes.append(route or forced(problem, technician, shift, pieces))
    unplanned = tuple(entry for entry in plan.unplanned if entry.visit != moved)
    routes.sort(key=lambda r: (r.day, r.technician))
    made = Plan(routes=tuple(routes), unplanned=unplanned)
    return replace(made, cost=cost(problem, made))
