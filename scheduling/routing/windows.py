"""When a visit may start: due window, weekdays, access hours and promises as intervals."""

from typing import NamedTuple

from scheduling.routing.problem import DAY, Problem, Shift, Technician, Visit

KEPT_WITHIN = 3_600


class Slot(NamedTuple):
    """An interval in which a visit may start, on the plan clock, and what its lateness costs."""

    day: int
    earliest: int
    latest: int
    price: int


def slots(problem: Problem, visit: Visit) -> tuple[Slot, ...]:
    """Return the intervals in which the visit may start, in order of time, whoever comes."""
    if visit.locked:
        exact = visit.locked.start
        return (Slot(exact // DAY, exact, exact, late_price(problem, visit, exact // DAY)),)
    if visit.appointment:
        day = visit.appointment.earliest // DAY
        price = late_price(problem, visit, day)
        found = [Slot(day, visit.appointment.earliest, visit.appointment.latest, price)]
    else:
        found = _access_slots(problem, visit)
    now, end = problem.now, problem.span
    if visit.kept is None:
        return _cut(found, now, end)
    least, most = visit.kept.start - KEPT_WITHIN, visit.kept.start + KEPT_WITHIN
    kept = _cut(found, max(now, least), most)
    if not visit.movable:
        return kept
    dearer = [slot._replace(price=slot.price + problem.weights.moved) for slot in found]
    before = _cut(dearer, now, least - 1)
    return tuple(sorted((*before, *kept, *_cut(dearer, max(now, most + 1), end))))


def moved_in_time(visit: Visit, start: int) -> bool:
    """Say whether a start lies more than an hour from where the published plan has the visit."""
    return visit.kept is not None and abs(start - visit.kept.start) > KEPT_WITHIN


def late_price(problem: Problem, visit: Visit, day: int) -> int:
    """Return what doing the visit on that day costs for lateness.

    A visit whose due day has passed counts its days from today, so that sooner stays better.
    """
    days_late = day - max(visit.due, problem.today - 1)
    if days_late <= 0:
        return 0
    return min(days_late * problem.weights.late_day, problem.weights.late_most)


def allowed_days(problem: Problem, visit: Visit) -> range:
    """Return the days from the earliest to the last one allowed, late days included."""
    last = problem.days - 1
    if visit.latest is not None and visit.latest >= problem.today:
        last = min(last, visit.latest)
    return range(max(visit.earliest, problem.today), last + 1)


def crew_holds(visit: Visit, crew: tuple[Technician, ...], day: int) -> bool:
    """Say whether the crew together holds, on that day, every licence the visit needs."""
    return all(
        any(technician.holds((name,), day) for technician in crew) for name in visit.licences
    )


def on_duty(problem: Problem, day: int) -> list[tuple[Technician, Shift]]:
    """Return who works a shift that begins on the day."""
    pairs = ((technician, technician.shift_on(day)) for technician in problem.technicians)
    return [(technician, shift) for technician, shift in pairs if shift]


def _cut(found: list[Slot], least: int, most: int) -> tuple[Slot, ...]:
    cut = (s._replace(earliest=max(s.earliest, least), latest=min(s.latest, most)) for s in found)
    return tuple(sorted(s for s in cut if s.earliest <= s.latest))


def _access_slots(problem: Problem, visit: Visit) -> list[Slot]:
    found = []
    for day in allowed_days(problem, visit):
        if day in visit.closed:
            continue
        price = late_price(problem, visit, day)
        for opens, latest in _start_hours(problem, visit, day):
            found.append(Slot(day, day * DAY + opens, day * DAY + latest, price))
    return found


def _start_hours(problem: Problem, visit: Visit, day: int) -> list[tuple[int, int]]:
    if not visit.access:
        return [(0, DAY - 1)]
    weekday = problem.weekday(day)
    hours = [(a.opens, a.closes - visit.seconds) for a in visit.access if a.weekday == weekday]
    return [(opens, latest) for opens, latest in hours if opens <= latest]
