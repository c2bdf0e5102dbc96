"""Planning again when the day goes otherwise: as few visits as possible move.

Visits done or under way stay. What the news displaces is first put where nothing else moves; only
then may the other visits of the plan shift, within an hour and at a price. Whatever would move them
to another day is offered as a choice and never done silently; no visit of the plan is dropped.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from scheduling.routing.draft import Draft
from scheduling.routing.explain import finished
from scheduling.routing.plan import SHOWN_TO, Plan, Route
from scheduling.routing.problem import DAY, Placement, Problem, Shift, Visit, accept
from scheduling.routing.run import PlanCancelled, PlanFailed, Search, plan
from scheduling.routing.timing import Piece

KEPT_PRIORITY = 3
NOTICED = 1_800
"""A start moved by more than this many seconds is a change people notice."""
NOTICED_PRICE = 1_800
QUICK_UPDATES = 50
FREED_DAYS = (3, 7)
LEAST_SECONDS = 0.5


class Why(StrEnum):
    """Why a visit stands elsewhere than in the published plan."""

    ABSENT = "absent"
    """Its technician is absent."""
    RUNNING_LATE = "running_late"
    """The day runs late and no longer reaches it as published."""
    NEW = "new"
    """It is new, or was left out before."""
    MADE_ROOM = "made_room"
    """It made room for another."""


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """What changed since the plan was published.

    Attributes
    ----------
    now
        Plan clock of the published problem; nothing before it changes.
    absences
        (technician, day) of shifts that fall away; what has begun that day stays.
    new_visits
        Visits to be added. An emergency: an `appointment` from now to its response limit and
        priority 4.
    cancelled
        Visits to be taken out.
    """

    now: int
    absences: tuple[tuple[str, int], ...] = ()
    new_visits: tuple[Visit, ...] = ()
    cancelled: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One visit that stands elsewhere than published; None: not in that plan."""

    visit: str
    before: Placement | None
    after: Placement | None
    why: Why


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A plan that places more by moving other visits; taken only when a person says so."""

    problem: Problem
    plan: Plan
    places: tuple[str, ...]
    changes: tuple[Change, ...]

    @property
    def moves(self) -> int:
        """Number of other visits that move to another technician or day, or by over 30 minutes."""
        return sum(_noticed(c.before, c.after) for c in self.changes if c.why is Why.MADE_ROOM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Replan:
    """The rest of the plan from now on.

    Attributes
    ----------
    problem
        What is still to be planned: visits not begun, shifts from now on.
    plan
        Its plan; checked. Stops of the published plan that are not `begun` give way to it.
    begun
        Visits done or under way; their published stops stay.
    changes
        Every visit whose technician, day or shown start changed, and why.
    choices
        Plans that place more, each moving other visits to other days; fewest moves first.
    """

    problem: Problem
    plan: Plan
    begun: tuple[str, ...]
    changes: tuple[Change, ...]
    choices: tuple[Choice, ...] = ()


def replan(
    problem: Problem,
    published: Plan,
    news: News,
    *,
    seconds: float = 5.0,
    seed: int = 0,
    is_cancelled: Callable[[], bool] | None = None,
    search: Search | None = None,
) -> Replan:
    """Return the plan from now on, moving as few visits as possible.

    Parameters
    ----------
    problem, published
        What the published plan was made from, and that plan.
    news
        What changed.
    seconds
        Time limit of all searches together, > 0. When nothing has to move there is no search.
    seed, is_cancelled, search
        As in `run.plan`; its updates come sooner.

    Raises
    ------
    PlanCancelled
        When `is_cancelled` said so.
    ValueError
        When the news names a technician, shift or visit that doesn't exist, or a new visit twice.
    """
    _check(problem, news)
    rest, base = _standing(problem, published, news)
    standing = published.placements()
    displaced = {v.id for v in rest.visits if v.id in standing and not (v.kept or v.locked)}
    known = standing.keys() | {entry.visit for entry in published.unplanned}
    untouched = {v.id for v in rest.visits if v.kept}
    base.fill()

    quick = replace(search or Search(), updates=QUICK_UPDATES)

    def searched(of: Problem, start: Plan, share: float) -> Plan | None:
        limit = max(LEAST_SECONDS, share * seconds)
        try:
            found = plan(
                of, seconds=limit, seed=seed, is_cancelled=is_cancelled, start=start, search=quick
            )
        except PlanCancelled:
            raise
        except PlanFailed:
            return None  # what stands without a search is legal too
        dropped = untouched - found.placements().keys()
        return None if dropped else _settled(of, published, found)

    best = finished(rest, base.plan(), base.missing())
    choices: list[Choice] = []
    if displaced or any(v.id not in known for v in rest.visits):
        found = searched(rest, best, 0.35)
        if found is not None and _score(found, published) < _score(best, published):
            best = found
        for days in FREED_DAYS:
            if any(choice.plan.unplanned == () for choice in choices) or not best.unplanned:
                break
            freed = _freed(rest, best, days)
            found = searched(freed, best, 0.2)
            places = _gained(best, found)
            if found is not None and places:
                changes = _changes(freed, published, found, news, displaced)
                choices.append(Choice(problem=freed, plan=found, places=places, changes=changes))
    return Replan(
        problem=rest,
        plan=best,
        begun=under_way(published, news.now),
        changes=_changes(rest, published, best, news, displaced),
        choices=tuple(sorted(choices, key=lambda choice: choice.moves)),
    )


def under_way(published: Plan, now: int) -> tuple[str, ...]:
    """Return the visits done, begun, or being driven to at that instant of the plan clock."""
    return tuple(
        stop.visit
        for route in published.routes
        for stop in route.stops
        if stop.arrival - stop.travel <= now
    )


def remaining(problem: Problem, published: Plan, news: News) -> Problem:
    """Return what is still to be planned from now on.

    Visits of the published plan are kept to their day and, within an hour, to their start; those of
    absent technicians are free. Technicians in the field begin where their begun stop ends.
    """
    gone = {*under_way(published, news.now), *news.cancelled}
    standing = published.placements()
    absent = set(news.absences)
    routes = {(route.technician, route.day): route for route in published.routes}
    technicians = tuple(
        replace(
            technician,
            shifts=tuple(
                rest
                for shift in technician.shifts
                if (key := (technician.id, shift.day)) not in absent
                and (rest := _rest(problem, shift, routes.get(key), news.now))
            ),
        )
        for technician in problem.technicians
    )
    on_duty = {(t.id, s.day) for t in technicians for s in t.shifts}
    visits = (_kept(v, standing.get(v.id), on_duty) for v in problem.visits if v.id not in gone)
    return replace(
        problem,
        technicians=technicians,
        visits=(*visits, *news.new_visits),
        now=news.now,
    )


def _check(problem: Problem, news: News) -> None:
    accept(news.now >= problem.now, "news.now", news.now, f"{problem.now} or later")
    for technician, day in news.absences:
        who = problem.technician_by_id.get(technician)
        accept(who is not None, "news.absences", technician, "a technician of the problem")
        accept(0 <= day < problem.days, "news.absences day", day, f"0 to {problem.days - 1}")
    for visit in news.cancelled:
        accept(visit in problem.visit_by_id, "news.cancelled", visit, "a visit of the problem")
    for new in news.new_visits:
        accept(new.id not in problem.visit_by_id, "news.new_visits", new.id, "a new id")


def _rest(problem: Problem, shift: Shift, route: Route | None, now: int) -> Shift | None:
    if shift.ends <= now:
        return None
    begun = [s for s in route.stops if s.arrival - s.travel <= now] if route else []
    if route is None or not begun:
        return shift
    spent = begun[-1].end - route.leaves
    if spent >= shift.longest or begun[-1].end >= shift.ends:
        return None
    ordinary = max(1, shift.seconds - spent)
    return Shift(
        day=shift.day,
        start=begun[-1].end - shift.day * DAY,
        seconds=ordinary,
        overtime=shift.longest - spent - ordinary,
        home_by=shift.ends - shift.day * DAY,
        start_place=problem.visit_by_id[begun[-1].visit].place,
    )


def _kept(visit: Visit, stands: Placement | None, on_duty: set[tuple[str, int]]) -> Visit:
    holds = stands and all((member, stands.day) in on_duty for member in stands.crew)
    if visit.locked:
        return visit if holds or stands is None else replace(visit, locked=None)
    if stands is None or not holds:
        return visit
    return replace(visit, kept=stands, priority=min(100, KEPT_PRIORITY * visit.priority))


def _standing(problem: Problem, published: Plan, news: News) -> tuple[Problem, Draft]:
    """Return what remains, and the published routes as far as they can still be driven.

    A visit that falls off its route because the day runs late is set free.
    """
    rest = remaining(problem, published, news)
    draft = _driven(rest, published)
    fallen = {visit.id for visit in draft.missing() if visit.kept}
    if fallen:
        rest = _set_free(rest, fallen)
        draft = _driven(rest, published)
    return rest, draft


def _driven(rest: Problem, published: Plan) -> Draft:
    draft = Draft(rest)
    for route in published.routes:
        key = (route.technician, route.day)
        if not draft.has(key):
            continue
        stops = [(s.visit, s.start) for s in route.stops if _stands(rest, s.visit)]
        pieces = _pieces(draft, key, stops)
        if not draft.put(key, pieces):
            for piece in pieces:
                draft.append(key, piece)
    for visit in draft.missing():
        draft.remove(visit.id)
    return draft


def _stands(rest: Problem, visit_id: str) -> bool:
    visit = rest.visit_by_id.get(visit_id)
    return visit is not None and bool(visit.kept or visit.locked)


def _pieces(draft: Draft, key: tuple[str, int], stops: Iterable[tuple[str, int]]) -> list[Piece]:
    visits = draft.problem.visit_by_id
    found = []
    for visit, start in [(visits[v], start) for v, start in stops if v in visits]:
        fixed = visit.two_technicians or visit.locked
        piece = Piece(visit, ((start, start),)) if fixed else draft.piece(visit, key, start)
        if piece is not None:
            found.append(piece)
    return found


def _settled(of: Problem, published: Plan, found: Plan) -> Plan:
    """Return the plan with the published order and starts back wherever they still hold."""
    draft = Draft(of)
    starts = {
        (stop.visit, route.technician, route.day): stop.start
        for route in published.routes
        for stop in route.stops
    }
    orders = {(r.technician, r.day): [s.visit for s in r.stops] for r in published.routes}
    left = {visit.id for visit in of.visits}
    for route in found.routes:
        key = (route.technician, route.day)
        visits = [stop.visit for stop in route.stops]
        old = [visit for visit in orders.get(key, []) if visit in left]
        as_found = [(stop.visit, stop.start) for stop in route.stops]
        tries = [
            [(v, starts.get((v, *key), start)) for v, start in as_found],
            as_found,
        ]
        if sorted(old) == sorted(visits):
            tries.insert(0, [(v, starts[(v, *key)]) for v in old])
        any(draft.put(key, _pieces(draft, key, order)) for order in tries)
    return finished(of, draft.plan(), draft.missing())


def _score(found: Plan, published: Plan) -> int:
    before, after = published.placements(), found.placements()
    noticed = sum(_noticed(before[v], after[v]) for v in before if v in after)
    return found.cost.total + NOTICED_PRICE * noticed


def _noticed(before: Placement | None, after: Placement | None) -> bool:
    if before is None or after is None:
        return before is not after
    elsewhere = (before.day, set(before.crew)) != (after.day, set(after.crew))
    return elsewhere or abs(before.start - after.start) > NOTICED


def _freed(rest: Problem, best: Plan, days: int) -> Problem:
    """Return the problem with the visits of the days nearest to the ones left out movable."""
    draft = Draft(rest)
    left = {entry.visit for entry in best.unplanned}
    wanted = sorted({s.day for v in left for s in draft.slots(rest.visit_by_id[v])})
    near = set(range(wanted[0], wanted[0] + days)) if wanted else set()
    return rest.with_visits(
        tuple(replace(v, movable=True) if v.kept and v.kept.day in near else v for v in rest.visits)
    )


def _set_free(rest: Problem, visits: set[str]) -> Problem:
    return rest.with_visits(
        tuple(replace(v, kept=None) if v.id in visits else v for v in rest.visits)
    )


def _gained(best: Plan, found: Plan | None) -> tuple[str, ...]:
    if found is None:
        return ()
    now_left = {entry.visit for entry in found.unplanned}
    return tuple(entry.visit for entry in best.unplanned if entry.visit not in now_left)


def _changes(
    rest: Problem, published: Plan, found: Plan, news: News, displaced: set[str]
) -> tuple[Change, ...]:
    before, after = published.placements(), found.placements()
    absent = set(news.absences)
    changes = []
    for visit in rest.visits:
        old, new = before.get(visit.id), after.get(visit.id)
        if _same(old, new):
            continue
        why = _why(visit.id, old, absent, displaced)
        changes.append(Change(visit=visit.id, before=old, after=new, why=why))
    return tuple(changes)


def _same(old: Placement | None, new: Placement | None) -> bool:
    if old is None or new is None:
        return old is new
    crew = set(old.crew) == set(new.crew)
    return crew and old.day == new.day and abs(old.start - new.start) < SHOWN_TO


def _why(
    visit: str, old: Placement | None, absent: set[tuple[str, int]], displaced: set[str]
) -> Why:
    if old is None:
        return Why.NEW
    if any((member, old.day) in absent for member in old.crew):
        return Why.ABSENT
    return Why.RUNNING_LATE if visit in displaced else Why.MADE_ROOM
