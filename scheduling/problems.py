"""From visits and technicians to a routing problem, and from its plan back to stops."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from itertools import groupby
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from buildings.models import OffLimits
from contractors.models.people import minutes_of
from inspections import licensed
from inspections.catalogue_files import catalogue
from inspections.models import Visit, VisitLine
from scheduling import crew, off_limits
from scheduling.models import Occurrence, Plan, Stop
from scheduling.routing.cost import cost
from scheduling.routing.plan import Plan as Routes
from scheduling.routing.plan import Reason, Unplanned
from scheduling.routing.problem import (
    DAY,
    Access,
    Appointment,
    Licence,
    Placement,
    Problem,
    Shift,
    Technician,
)
from scheduling.routing.problem import Visit as Task
from scheduling.routing.timing import Piece, route_from
from scheduling.travel import Places
from scheduling.windows import free_part

LEAST_SECONDS = 15 * 60
PRIORITY = {Visit.Kind.EMERGENCY: 4, Visit.Kind.FOLLOW_UP: 3}
PROMISED = 3
NO_PLACE = "no_place"


@dataclass(frozen=True, slots=True)
class Asked:
    """When a visit is to be done: first day, last day in time; None: any day."""

    earliest: date | None
    due: date | None
    needs: tuple[str, ...] = ()
    two: bool = False


@dataclass(frozen=True, slots=True)
class Setting:
    """A routing problem beside the rows that it was made from; its clock is in `zone`."""

    problem: Problem
    first_day: date
    zone: ZoneInfo
    people: Mapping[str, crew.Technician]
    visits: Mapping[str, Visit]
    asked: Mapping[str, Asked]
    apart: tuple[Visit, ...] = ()

    def at(self, second: int) -> datetime:
        """Return the instant of a second of the plan clock."""
        day = self.first_day + timedelta(days=second // DAY)
        wall = datetime.combine(day, time()) + timedelta(seconds=second % DAY)
        return wall.replace(tzinfo=self.zone)

    def second(self, instant: datetime) -> int:
        """Return the second of the plan clock of an instant."""
        return second_of(instant, self.first_day, self.zone)

    def day(self, second: int) -> date:
        """Return the date of a second of the plan clock."""
        return self.first_day + timedelta(days=second // DAY)


def second_of(instant: datetime, first_day: date, zone: ZoneInfo) -> int:
    """Return the second of a plan's clock, which counts every day as 24 hours."""
    wall = instant.astimezone(zone)
    return (wall.date() - first_day).days * DAY + wall.hour * 3600 + wall.minute * 60 + wall.second


def candidates(first: date, last: date, today: date) -> Any:
    """Return the visits to plan: in those days, on no day yet, or on a day that went by."""
    rows = Visit.objects.filter(state=Visit.State.PLANNED).select_related(
        "building__jurisdiction", "technician", "second"
    )
    return (
        rows.filter(planned_on=None)
        | rows.filter(planned_on__gte=first, planned_on__lte=last)
        | rows.filter(planned_on__lt=today)
    )


def of_plan(plan: Plan) -> list[Visit]:
    """Return the visits that a searched plan holds, planned or left out."""
    ids = {stop.visit_id for stop in plan.stops.all()}
    ids |= {UUID(one["visit"]) for one in plan.unplanned}
    return list(
        Visit.objects.filter(pk__in=ids).select_related(
            "building__jurisdiction", "technician", "second"
        )
    )


def build(
    first: date,
    last: date,
    visits: Iterable[Visit],
    now: datetime,
    *,
    despite_absences: bool = False,
) -> Setting:
    """Return the problem of planning visits on some days.

    Parameters
    ----------
    now
        Nothing is planned before it.
    despite_absences
        Plan technicians on days off too; re-planning then takes those days away.
    """
    rows = sorted(visits, key=lambda v: str(v.pk))
    zone = _zone(rows)
    days = _Days(first, last, zone, max(0, second_of(now, first, zone)))
    people = {str(one.id): one for one in crew.technicians(first)}
    places, asked = Places(), windows_of(rows)
    homes = {key: places.row(one.person.office) for key, one in people.items()}
    hands = _Hands(people.values(), rows, first)
    by_place = [(visit, places.row(visit.building)) for visit in rows]
    under_way = _under_way(places)
    technicians = tuple(
        _technician(one, home, days, under_way, hands, despite_absences=despite_absences)
        for key, one in people.items()
        if (home := homes[key]) is not None
    )
    tasks = tuple(
        _locked(
            _task(visit, place, hands.placed(visit, asked[str(visit.pk)]), days, technicians),
            visit,
            days,
            technicians,
        )
        for visit, place in by_place
        if place is not None
    )
    seconds, metres = places.matrix()
    problem = Problem(
        first_day=first,
        days=days.count,
        technicians=technicians,
        visits=tasks,
        seconds=seconds,
        metres=metres,
        now=days.now,
    )
    apart = tuple(visit for visit, place in by_place if place is None)
    by_id = {str(row.pk): row for row in rows}
    return Setting(problem, first, zone, people, by_id, asked, apart)


class _Hands:
    """What people hold where the visits go, in words that the search compares.

    A licence that counts at some of the places only is told apart by a number for the place.
    """

    def __init__(
        self, people: Iterable[crew.Technician], rows: Iterable[Visit], first: date
    ) -> None:
        self.first = first
        self.places = sorted({licensed.place_of(row.building) for row in rows}, key=sorted)
        self.limited = any(
            licensed.held_by(one.person, first, place) != one.held
            for one in people
            for place in self.places
        )

    def placed(self, visit: Visit, asked: Asked) -> Asked:
        """Return what a visit asks, by the words of its place."""
        if not self.limited:
            return asked
        number = self.places.index(licensed.place_of(visit.building))
        return replace(asked, needs=tuple(f"{name}@{number}" for name in asked.needs))

    def held(self, one: crew.Technician) -> dict[str, date]:
        """Return what somebody holds, by the words of the places."""
        if not self.limited:
            return dict(one.held)
        return {
            f"{name}@{number}": until
            for number, place in enumerate(self.places)
            for name, until in licensed.held_by(one.person, self.first, place).items()
        }


def plain(need: str) -> str:
    """Return a qualification without its place."""
    return need.partition("@")[0]


@dataclass(frozen=True, slots=True)
class _Days:
    first: date
    last: date
    zone: ZoneInfo
    now: int

    @property
    def count(self) -> int:
        return (self.last - self.first).days + 1

    def number(self, day: date) -> int:
        return (day - self.first).days


def _zone(rows: Sequence[Visit]) -> ZoneInfo:
    """Return the time zone of most buildings; the plan's clock runs in it."""
    counted = Counter(row.building.time_zone for row in rows)
    return ZoneInfo(counted.most_common(1)[0][0]) if counted else ZoneInfo("UTC")


def windows_of(rows: Sequence[Visit]) -> dict[str, Asked]:
    """Return when each visit is to be done and by whom, from its lines and their occurrences."""
    ids = [row.pk for row in rows]
    lines: dict[UUID, list[VisitLine]] = defaultdict(list)
    for line in VisitLine.objects.filter(visit_id__in=ids).select_related("system"):
        lines[line.visit_id].append(line)
    opened: dict[UUID, list[date]] = defaultdict(list)
    opens = Occurrence.objects.filter(visit_id__in=ids, earliest_on__isnull=False)
    for visit_id, earliest in opens.values_list("visit_id", "earliest_on"):
        opened[visit_id].append(earliest)
    releases = crew.keeps_releases()
    kept = off_limits.at(list({row.building_id: row.building for row in rows}.values()))
    found = {}
    for row in rows:
        asked = _asked(row, lines[row.pk], opened[row.pk], releases=releases)
        found[str(row.pk)] = _off(asked, kept[row.building_id], lines[row.pk])
    return found


def _off(asked: Asked, kept: Sequence[OffLimits], lines: Iterable[VisitLine]) -> Asked:
    """Return what is asked without the days on which such work is not wanted."""
    if not kept or asked.due is None:
        return asked
    acts = (catalogue().activities.get(line.activity) for line in lines)
    flows = any(act is not None and act.water_flow != "none" for act in acts)
    spans = off_limits.of_work(kept, flows=flows)
    earliest, due = free_part(asked.earliest, asked.due, spans)
    return replace(asked, earliest=earliest, due=due)


def _asked(
    visit: Visit, lines: Sequence[VisitLine], opened: Sequence[date], *, releases: bool
) -> Asked:
    latest = [day for line in lines if (day := line.latest_on or line.due_on)]
    needs: set[str] = set()
    outside = visit.second if visit.second and visit.second.firm else None
    two = visit.second_id is not None and outside is None
    for line in lines:
        activity = catalogue().activities.get(line.activity)
        if activity is not None:
            kind = line.system.kind if line.system else ""
            needs |= crew.needs_of(activity, kind, releases=releases)
            two = two or (activity.people > 1 and outside is None)
    due = min(latest) if latest else None
    earliest = max(opened) if opened else None
    if outside is not None and visit.planned_on is not None:
        place = licensed.place_of(visit.building)
        needs -= set(licensed.held_by(outside, visit.planned_on, place))
    if earliest and due and earliest > due:
        earliest = due
    return Asked(earliest, due, tuple(sorted(needs)), two)


def _task(
    visit: Visit, place: int, asked: Asked, days: _Days, technicians: Sequence[Technician]
) -> Task:
    earliest = days.number(asked.earliest) if asked.earliest else 0
    due = days.number(asked.due) if asked.due else max(days.count - 1, earliest)
    if visit.kind == Visit.Kind.EMERGENCY and asked.due is None:
        due = max(0, earliest)
    wanted = str(visit.technician_id)
    preferred = wanted if wanted in {one.id for one in technicians} else None
    return Task(
        id=str(visit.pk),
        place=place,
        seconds=max(LEAST_SECONDS, visit.planned_minutes * 60),
        earliest=min(earliest, due),
        due=due,
        access=_access(visit.building, days.zone),
        licences=asked.needs,
        preferred=preferred,
        two_technicians=asked.two,
        priority=PROMISED if visit.locked else PRIORITY.get(Visit.Kind(visit.kind), 1),
    )


def _access(building: Any, zone: ZoneInfo) -> tuple[Access, ...]:
    """Return a building's hours on the plan's clock, which may run in another time zone."""
    noon = datetime.combine(date(2000, 1, 1), time(12))
    apart = noon.replace(tzinfo=building.zone) - noon.replace(tzinfo=zone)
    found = []
    for weekday, spans in (building.hours or {}).items():
        for span in spans:
            start, _dash, end = span.partition("-")
            opens = minutes_of(start) * 60 + int(apart.total_seconds())
            length = (minutes_of(end) - minutes_of(start)) * 60
            shift = opens // DAY
            if length > 0:
                day, opens = (int(weekday) + shift) % 7, opens % DAY
                found.append(Access(weekday=day, opens=opens, closes=opens + length))
    return tuple(found)


def _under_way(places: Places) -> dict[tuple[UUID, date], tuple[int | None, datetime]]:
    """Return, for technicians at an open visit, where they are and when they will be free."""
    found = {}
    rows = Visit.objects.filter(state=Visit.State.OPEN, technician__isnull=False)
    for visit in rows.select_related("building"):
        begun = visit.opened_at or visit.planned_start
        if begun is not None:
            free = begun + timedelta(minutes=visit.planned_minutes)
            day = begun.astimezone(visit.building.zone).date()
            found[visit.technician_id, day] = (places.row(visit.building), free)
    return found


def _technician(
    one: crew.Technician,
    home: int,
    days: _Days,
    under_way: Mapping[tuple[UUID, date], tuple[int | None, datetime]],
    hands: _Hands,
    *,
    despite_absences: bool,
) -> Technician:
    shifts = []
    for number in range(days.count):
        day = days.first + timedelta(days=number)
        hours = one.week.get(day.weekday()) if despite_absences else one.hours_on(day)
        shift = _shift(number, hours) if hours else None
        place, free = under_way.get((one.id, day), (None, None))
        if shift and place is not None and free is not None:
            shift = _after(shift, place, second_of(free, days.first, days.zone))
        if shift and shift.ends > days.now:
            shifts.append(shift)
    held = sorted(hands.held(one).items())
    licences = tuple(Licence(name=name, expires=days.number(until)) for name, until in held)
    return Technician(id=str(one.id), home=home, shifts=tuple(shifts), licences=licences)


def _shift(day: int, hours: crew.Hours) -> Shift:
    overtime = crew.OVERTIME_MINUTES * 60
    return Shift(day=day, start=hours.starts * 60, seconds=hours.minutes * 60, overtime=overtime)


def _after(shift: Shift, place: int, free: int) -> Shift | None:
    """Return what is left of a shift once the visit under way is done; None: nothing."""
    spent = free - shift.begins
    if spent <= 0:
        return replace(shift, start_place=place)
    if spent >= shift.longest:
        return None
    ordinary = max(1, shift.seconds - spent)
    return Shift(
        day=shift.day,
        start=free - shift.day * DAY,
        seconds=ordinary,
        overtime=shift.longest - spent - ordinary,
        start_place=place,
    )


def _locked(task: Task, visit: Visit, days: _Days, people: Sequence[Technician]) -> Task:
    """Hold a visit to the appointment that was promised, where it can still be kept."""
    if not visit.locked or visit.planned_start is None:
        return task
    start = second_of(visit.planned_start, days.first, days.zone)
    if start < 0:
        return task
    day = start // DAY
    on_duty = {one.id for one in people if one.shift_on(day)}
    crew_ids = [str(visit.technician_id), *([str(visit.second_id)] if visit.second_id else [])]
    fits = len(crew_ids) == (2 if task.two_technicians else 1)
    if fits and on_duty.issuperset(crew_ids):
        partner = crew_ids[1] if len(crew_ids) > 1 else None
        place = Placement(technician=crew_ids[0], day=day, start=start, partner=partner)
        return replace(task, locked=place)
    return replace(task, appointment=Appointment(earliest=start, latest=start))


# --- and back --------------------------------------------------------------------------------


def routes_of(setting: Setting, plan: Plan, stops: Iterable[Stop] | None = None) -> Routes:
    """Return a stored plan as the planner sees it; stops of days without a shift are left out."""
    problem, made = setting.problem, []
    rows = list(plan.stops.all() if stops is None else stops)
    rows.sort(key=lambda s: (s.on, str(s.technician_id), s.position))
    for (on, technician_id), group in groupby(rows, key=lambda s: (s.on, str(s.technician_id))):
        technician = problem.technician_by_id.get(technician_id)
        shift = technician.shift_on((on - setting.first_day).days) if technician else None
        there = [s for s in group if str(s.visit_id) in problem.visit_by_id]
        if technician is None or shift is None or not there:
            continue
        starts = [setting.second(stop.start_at) for stop in there]
        tasks = [problem.visit_by_id[str(stop.visit_id)] for stop in there]
        pieces = [Piece(task, ((start, start),)) for task, start in zip(tasks, starts, strict=True)]
        made.append(route_from(problem, technician, shift, pieces, starts))
    made.sort(key=lambda route: (route.day, route.technician))
    left_out = tuple(
        Unplanned(visit=one["visit"], reason=Reason(one["reason"]))
        for one in plan.unplanned
        if one["reason"] != NO_PLACE and one["visit"] in problem.visit_by_id
    )
    found = Routes(routes=tuple(made), unplanned=left_out)
    return replace(found, cost=cost(problem, found))


def stops_of(
    setting: Setting, routes: Routes, plan: Plan, by_hand: Iterable[str] = ()
) -> list[Stop]:
    """Return the stops of a plan's routes, not stored yet."""
    moved = set(by_hand)
    return [
        Stop(
            plan=plan,
            visit_id=UUID(stop.visit),
            technician_id=UUID(route.technician),
            on=setting.first_day + timedelta(days=route.day),
            position=position,
            arrival_at=setting.at(stop.arrival),
            start_at=setting.at(stop.start),
            end_at=setting.at(stop.end),
            travel_seconds=stop.travel,
            moved_by_hand=stop.visit in moved,
        )
        for route in routes.routes
        for position, stop in enumerate(route.stops, start=1)
    ]


def renumbered(plan: Plan, kept: Sequence[Stop], fresh: Sequence[Stop]) -> list[Stop]:
    """Return the stops that stay and the new ones as one plan, numbered by start."""
    stays = [
        Stop(
            plan=plan,
            visit_id=s.visit_id,
            technician_id=s.technician_id,
            on=s.on,
            position=s.position,
            arrival_at=s.arrival_at,
            start_at=s.start_at,
            end_at=s.end_at,
            travel_seconds=s.travel_seconds,
            moved_by_hand=s.moved_by_hand,
        )
        for s in kept
    ]
    everything = sorted([*stays, *fresh], key=lambda s: s.start_at)
    counted: Counter[tuple[UUID, date]] = Counter()
    for stop in everything:
        counted[stop.technician_id, stop.on] += 1
        stop.position = counted[stop.technician_id, stop.on]
    return everything


def left_out(setting: Setting, routes: Routes) -> list[dict[str, Any]]:
    """Return the visits left out with their proved reasons, as a plan stores them."""
    found = [
        {
            "visit": one.visit,
            "reason": str(one.reason),
            "days": [(setting.first_day + timedelta(days=day)).isoformat() for day in one.days],
            "licences": sorted({plain(name) for name in one.licences}),
        }
        for one in routes.unplanned
    ]
    nowhere = [
        {"visit": str(visit.pk), "reason": NO_PLACE, "days": [], "licences": []}
        for visit in setting.apart
    ]
    return [*found, *nowhere]
