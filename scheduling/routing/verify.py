"""An independent check of a finished plan: every hard rule, recomputed from the problem alone."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from scheduling.routing.plan import Plan, Route, Stop
from scheduling.routing.problem import DAY, Problem, Shift, Technician, Visit


class Rule(StrEnum):
    """The hard rules a plan keeps."""

    ONCE = "once"
    """Each visit is planned once or listed as left out; a two-technician visit on two routes."""
    DUTY = "duty"
    """The technician works that day, once."""
    CLOCK = "clock"
    """Travel, arrival, work and return follow each other with the travel times of the problem."""
    SHIFT = "shift"
    """The day lies within the shift and is no longer than shift and overtime."""
    LICENCE = "licence"
    """The licences are held and valid on that day."""
    DAY = "day"
    """The day lies in the visit's window and the building isn't closed."""
    ACCESS = "access"
    """The whole service lies in one access window."""
    APPOINTMENT = "appointment"
    """Work starts when promised."""
    LOCK = "lock"
    """A locked visit stays where it is."""
    TOGETHER = "together"
    """Both technicians of a two-technician visit start together."""
    LOAD = "load"
    """The van carries what the day needs."""
    PAST = "past"
    """Nothing starts before now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """A broken rule: where, and in plain words."""

    rule: Rule
    detail: str
    visit: str | None = None
    technician: str | None = None
    day: int | None = None


def verify(problem: Problem, plan: Plan) -> tuple[Violation, ...]:
    """Return every hard rule that the plan breaks; nothing: the plan may be shown and saved."""
    found = list(_counted(problem, plan))
    seen: set[tuple[str, int]] = set()
    for route in plan.routes:
        technician = problem.technician_by_id.get(route.technician)
        shift = technician.shift_on(route.day) if technician else None
        key = (route.technician, route.day)
        if technician is None or shift is None or key in seen:
            found.append(_broken(Rule.DUTY, route, None, "no shift, or two routes in one shift"))
            continue
        seen.add(key)
        found.extend(_day(problem, technician, shift, route))
        for stop in route.stops:
            if visit := problem.visit_by_id.get(stop.visit):
                found.extend(_stop(problem, route, stop, visit))
    found.extend(_crews(problem, plan))
    return tuple(found)


def _broken(rule: Rule, route: Route, visit: str | None, detail: str) -> Violation:
    return Violation(
        rule=rule, detail=detail, visit=visit, technician=route.technician, day=route.day
    )


def _counted(problem: Problem, plan: Plan) -> Iterator[Violation]:
    stops: dict[str, int] = {}
    for route in plan.routes:
        for stop in route.stops:
            stops[stop.visit] = stops.get(stop.visit, 0) + 1
    left_out = [entry.visit for entry in plan.unplanned]
    for visit in problem.visits:
        planned, left = stops.pop(visit.id, 0), left_out.count(visit.id)
        want = (2 if visit.two_technicians else 1, 0)
        if (planned, left) not in (want, (0, 1)):
            detail = f"on {planned} routes and {left} times among those left out"
            yield Violation(rule=Rule.ONCE, detail=detail, visit=visit.id)
    for unknown in [*stops, *(v for v in left_out if v not in problem.visit_by_id)]:
        yield Violation(rule=Rule.ONCE, detail="not a visit of the problem", visit=unknown)


def _day(
    problem: Problem, technician: Technician, shift: Shift, route: Route
) -> Iterator[Violation]:
    yield from _walk(problem, technician, shift, route)
    if route.leaves < shift.day * DAY + shift.start:
        yield _broken(Rule.SHIFT, route, None, "leaves before the shift")
    limit = shift.seconds + shift.overtime
    home_by = shift.start + limit if shift.home_by is None else shift.home_by
    if route.returns > shift.day * DAY + home_by:
        yield _broken(Rule.SHIFT, route, None, "returns after the shift and its overtime")
    if (length := route.returns - route.leaves) > limit:
        yield _broken(Rule.SHIFT, route, None, f"day of {length} s; {limit} s allowed")
    visits = [problem.visit_by_id[s.visit] for s in route.stops if s.visit in problem.visit_by_id]
    load = sum(visit.load for visit in visits)
    if technician.capacity is not None and load > technician.capacity:
        yield _broken(Rule.LOAD, route, None, f"load {load}; {technician.capacity} allowed")
    if route.leaves < problem.now:
        yield _broken(Rule.PAST, route, None, "leaves before now")


def _walk(
    problem: Problem, technician: Technician, shift: Shift, route: Route
) -> Iterator[Violation]:
    place = technician.home if shift.start_place is None else shift.start_place
    clock, travel, metres = route.leaves, 0, 0
    if not route.stops:
        yield _broken(Rule.CLOCK, route, None, "a route without stops")
    for stop in route.stops:
        visit = problem.visit_by_id.get(stop.visit)
        if visit is None:
            return
        leg = problem.seconds[place][visit.place]
        right = (clock + leg, stop.start - clock - leg, stop.start + visit.seconds, leg)
        if (stop.arrival, stop.wait, stop.end, stop.travel) != right or stop.wait < 0:
            yield _broken(Rule.CLOCK, route, stop.visit, "times don't follow from the travel times")
        travel, metres = travel + leg, metres + problem.metres[place][visit.place]
        clock, place = stop.end, visit.place
    leg = problem.seconds[place][technician.home]
    sums = (clock + leg, travel + leg, metres + problem.metres[place][technician.home])
    if (route.returns, route.travel, route.metres) != sums:
        yield _broken(Rule.CLOCK, route, None, "return or sums don't follow from the travel times")


def _stop(problem: Problem, route: Route, stop: Stop, visit: Visit) -> Iterator[Violation]:
    if visit.locked:
        if route.technician not in visit.locked.crew or stop.start != visit.locked.start:
            yield _broken(Rule.LOCK, route, visit.id, "locked elsewhere")
        return
    if visit.appointment:
        if not visit.appointment.earliest <= stop.start <= visit.appointment.latest:
            yield _broken(Rule.APPOINTMENT, route, visit.id, "not when promised")
        return
    day = stop.start // DAY
    near = (day, day - 1) if visit.access else (day,)  # a window may have opened the evening before
    days = [day for day in near if _open(problem, visit, stop, day)]
    if not days:
        yield _broken(Rule.ACCESS, route, visit.id, "not within the access hours of that day")
    elif not any(_in_window(problem, visit, day) for day in days):
        yield _broken(Rule.DAY, route, visit.id, "outside its days, or the building is closed")


def _open(problem: Problem, visit: Visit, stop: Stop, day: int) -> bool:
    midnight = day * DAY
    if not visit.access:
        return True
    weekday = (problem.first_day.weekday() + day) % 7
    return any(
        a.weekday == weekday
        and midnight + a.opens <= stop.start
        and stop.start + visit.seconds <= midnight + a.closes
        for a in visit.access
    )


def _in_window(problem: Problem, visit: Visit, day: int) -> bool:
    today = problem.now // DAY
    last = problem.days - 1
    if visit.latest is not None and visit.latest >= today:
        last = min(last, visit.latest)
    return max(visit.earliest, today) <= day <= last and day not in visit.closed


def _crews(problem: Problem, plan: Plan) -> Iterator[Violation]:
    crews: dict[str, list[tuple[Route, Stop]]] = {}
    for route in plan.routes:
        for stop in route.stops:
            crews.setdefault(stop.visit, []).append((route, stop))
    for visit in problem.visits:
        crew = crews.get(visit.id, [])
        if not crew:
            continue
        held = {name for route, _ in crew for name in _held(problem, route)}
        if not set(visit.licences) <= held:
            detail = f"{', '.join(visit.licences)}: not held or not valid on that day"
            yield _broken(Rule.LICENCE, crew[0][0], visit.id, detail)
        if len({stop.start for _, stop in crew}) > 1:
            yield _broken(Rule.TOGETHER, crew[0][0], visit.id, "different starts")


def _held(problem: Problem, route: Route) -> set[str]:
    technician = problem.technician_by_id.get(route.technician)
    if technician is None:
        return set()
    return {x.name for x in technician.licences if x.expires is None or route.day <= x.expires}
