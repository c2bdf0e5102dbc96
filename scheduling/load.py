"""What falls due by week and district, against what the technicians have time for."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Case, Count, Min, Q, Sum, Value, When

from buildings.models import Building
from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from inspections.models import Rule, Visit
from scheduling import bundle, crew, due
from scheduling.models import Occurrence, WeekLoad
from scheduling.week_loads import monday_of

WEEKS = 8
OVERDUE = "overdue"
KINDS = ("inspection", "test", "maintenance")
WHO = ("us", "owner")
STATES = ("free", "in_visit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a list of occurrences is narrowed to; empty text: not narrowed.

    Attributes
    ----------
    week
        Monday of a week as ISO date, or ``overdue``.
    who
        ``us`` or ``owner``.
    state
        ``free``: in no planned or open visit; ``in_visit``.
    """

    district: str = ""
    system_kind: str = ""
    kind: str = ""
    qualification: str = ""
    frequency: str = ""
    who: str = "us"
    state: str = ""
    week: str = ""
    building: str = ""

    @property
    def of_activities(self) -> bool:
        """Say whether it asks for what the weeks are not counted by."""
        return any((self.system_kind, self.qualification, self.frequency, self.state))


@dataclass(frozen=True, slots=True)
class Week:
    """A column: its Monday, what is there to do and what there is time for, minutes."""

    monday: date
    capacity: int
    load: float

    @property
    def over(self) -> float:
        """Return the minutes beyond capacity; negative: what is free."""
        return self.load - self.capacity


@dataclass(slots=True)
class District:
    """A row: minutes by week, and what is overdue."""

    name: str
    weeks: list[float] = field(default_factory=lambda: [0.0] * WEEKS)
    overdue: int = 0
    overdue_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Grid:
    """Weeks across, districts down; minutes are own estimates of work at the buildings."""

    weeks: list[Week]
    districts: list[District]
    activities: int
    minutes: float
    buildings: int
    overdue: int
    overdue_minutes: float
    oldest: date | None

    @property
    def most(self) -> float:
        """Return the tallest week, load or capacity; what a bar is drawn against."""
        return max([1.0, *(w.load for w in self.weeks), *(w.capacity for w in self.weeks)])

    @property
    def widest(self) -> float:
        """Return the largest cell."""
        return max([1.0, *(m for d in self.districts for m in d.weeks)])


def frequencies() -> list[str]:
    """Return how often work may come round, by the catalogue and the contractor's own rules."""
    found = {due.iso(one) for one in catalogue().activities.values()}
    own = Rule.objects.exclude(frequency="").values_list("frequency", flat=True)
    found |= {due.iso_of(Span.parse(one)) for one in own.order_by().distinct()}
    return sorted(found - {""}, key=bundle.months_of)


def narrowed(asked: Asked, today: date) -> Any:
    """Return the occurrences that are asked for.

    An occurrence belongs to the week of its due day; one that is past its due day and not past its
    latest belongs to this week.
    """
    rows = _placed(Occurrence.objects.all(), "due_on", asked, today)
    if asked.system_kind:
        rows = rows.filter(system__kind=asked.system_kind)
    if asked.kind:
        rows = rows.filter(activity__in=of_kind(asked.kind))
    if asked.qualification:
        rows = rows.filter(qualification=asked.qualification)
    if asked.frequency:
        rows = rows.filter(frequency=asked.frequency)
    if asked.state:
        rows = rows.filter(bundle.FREE) if asked.state == "free" else rows.exclude(bundle.FREE)
    return rows


def _placed(rows: Any, day: str, asked: Asked, today: date) -> Any:
    """Narrow rows to places, doers and weeks; `day` is the column that says when one is due."""
    if asked.district:
        rows = rows.filter(building__area=asked.district)
    if asked.building:
        rows = rows.filter(building_id=asked.building)
    if asked.who:
        rows = rows.filter(by_owner=asked.who == "owner")
    return rows.filter(_in_week(asked.week, day, today)) if asked.week else rows


def _in_week(week: str, day: str, today: date) -> Q:
    if week == OVERDUE:
        return Q(latest_on__lt=today)
    monday = date.fromisoformat(week)
    falls = Q((f"{day}__gte", monday), (f"{day}__lt", monday + timedelta(days=7)))
    if monday == monday_of(today):
        falls |= Q((f"{day}__lt", monday))
    return falls & Q(latest_on__gte=today)


def horizon(today: date) -> date:
    """Return the first day that the list leaves out unless its week is asked for."""
    return monday_of(today) + timedelta(days=7 * WEEKS)


def shown(asked: Asked, today: date) -> Any:
    """Return the occurrences that the list shows: of the week asked for, else of all its weeks."""
    rows = narrowed(asked, today)
    return rows if asked.week else rows.filter(due_on__lt=horizon(today))


@dataclass(frozen=True, slots=True)
class _Counted:
    """What is added up: the weeks kept, or occurrences one by one where only some are asked for."""

    rows: Any
    day: str
    count: Any
    minutes: Any


def _counted(asked: Asked, today: date) -> _Counted:
    if asked.of_activities:
        return _Counted(shown(asked, today), "due_on", Count("building"), Sum("adds"))
    rows = _placed(WeekLoad.objects.all(), "monday", asked, today)
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    if not asked.week:
        rows = rows.filter(monday__lt=horizon(today))
    return _Counted(rows, "monday", Sum("count"), Sum("minutes"))


@lru_cache(maxsize=8)
def of_kind(kind: str) -> tuple[str, ...]:
    """Return the ids of the catalogue's inspections, tests or maintenance."""
    return tuple(one.id for one in catalogue().activities.values() if one.kind == kind)


def grid(asked: Asked, today: date) -> Grid:
    """Return what falls due by week and district; what is overdue has a column of its own.

    Added up by the database; weeks, single buildings and districts that are asked for don't narrow
    it.
    """
    asked = replace(asked, week="", district="", building="")
    from_, first = _counted(asked, today), monday_of(today)
    ends = [(n, first + timedelta(days=7 * (n + 1))) for n in range(WEEKS)]
    place = Case(
        When(latest_on__lt=today, then=Value(-1)),
        *(When(**{f"{from_.day}__lt": end}, then=Value(n)) for n, end in ends),
    )
    rows = from_.rows.annotate(place=place).order_by().values_list("building__area", "place")
    districts: dict[str, District] = {}
    activities, oldest = 0, None
    for area, week, count, minutes, latest in rows.annotate(
        counted=from_.count, lasts=from_.minutes, latest=Min("latest_on")
    ):
        district = districts.setdefault(area, District(area))
        activities += count
        if week < 0:
            district.overdue, district.overdue_minutes = count, minutes
            oldest = min(oldest or latest, latest)
        else:
            district.weeks[week] = minutes
    return Grid(
        weeks=_weeks(first, today, list(districts.values())),
        districts=sorted(districts.values(), key=lambda d: d.name),
        activities=activities,
        minutes=sum(d.overdue_minutes + sum(d.weeks) for d in districts.values()),
        buildings=from_.rows.order_by().values("building").distinct().count(),
        overdue=sum(d.overdue for d in districts.values()),
        overdue_minutes=sum(d.overdue_minutes for d in districts.values()),
        oldest=oldest,
    )


def _weeks(first: date, today: date, districts: Sequence[District]) -> list[Week]:
    people = crew.technicians(today)
    found = []
    for place in range(WEEKS):
        monday = first + timedelta(days=7 * place)
        time = crew.capacity(people, max(monday, today), monday + timedelta(days=6))
        found.append(Week(monday, time, sum(d.weeks[place] for d in districts)))
    return found


def total(asked: Asked, today: date, grid: Grid) -> tuple[int, float]:
    """Return how many occurrences the list shows, and their minutes; the grid's where it can."""
    if not (asked.week or asked.district or asked.building):
        return grid.activities, grid.minutes
    from_ = _counted(asked, today)
    sums = from_.rows.aggregate(counted=from_.count, lasts=from_.minutes)
    return sums["counted"] or 0, sums["lasts"] or 0.0


# --- the list --------------------------------------------------------------------------------


class Spot(NamedTuple):
    """Where a building stands in the list: by its most urgent day, then by its id."""

    latest_on: date
    building_id: UUID

    @classmethod
    def read(cls, text: str | None) -> "Spot | None":
        """Return the spot as an address names it; None when it names none."""
        day, _dot, building = (text or "").partition(".")
        try:
            return cls(date.fromisoformat(day), UUID(building))
        except ValueError:
            return None

    def __str__(self) -> str:
        return f"{self.latest_on}.{self.building_id}"


class Place(NamedTuple):
    """A building of the list: its most urgent day, how many occurrences, and their minutes."""

    building: Building
    latest_on: date
    activities: int
    minutes: float

    @property
    def spot(self) -> Spot:
        """Return where it stands in the list."""
        return Spot(self.latest_on, self.building.pk)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some buildings of the list one after another, and the spots from which to go on."""

    places: list[Place]
    before: Spot | None = None
    after: Spot | None = None


def stretch(
    asked: Asked, today: date, size: int, *, after: Spot | None = None, before: Spot | None = None
) -> Stretch:
    """Return the buildings after or before a spot of the list, the most urgent first.

    Spots are places in the order, not numbers: what is done meanwhile moves nothing else from one
    page to another. Where nothing is beyond a spot any more, the list begins anew.
    """
    back = before is not None and after is None
    found = _beyond(asked, today, size + 1, before if back else after, back=back)
    more = len(found) > size
    places = found[-size:] if back else found[:size]
    if (after or before) and (not places or (back and len(places) < size)):
        return stretch(asked, today, size)
    if not places:
        return Stretch([])
    first, last = places[0].spot, places[-1].spot
    if back:
        return Stretch(places, first if more else None, last)
    return Stretch(places, first if after else None, last if more else None)


def _beyond(asked: Asked, today: date, most: int, spot: Spot | None, *, back: bool) -> list[Place]:
    """Return the places nearest beyond a spot, in the order of the list."""
    from_ = _counted(asked, today)
    rows = from_.rows.order_by().values_list("building_id")
    rows = rows.annotate(first=Min("latest_on"), counted=from_.count, lasts=from_.minutes)
    if spot:
        way = "lt" if back else "gt"
        further = Q((f"first__{way}", spot.latest_on))
        same_day = Q(("first", spot.latest_on), (f"building_id__{way}", spot.building_id))
        rows = rows.filter(further | same_day)
    order = ("-first", "-building_id") if back else ("first", "building_id")
    found = list(rows.order_by(*order)[:most])
    there = Building.objects.in_bulk([row[0] for row in found])
    places = [Place(there[pk], first, count, lasts) for pk, first, count, lasts in found]
    return places[::-1] if back else places


@dataclass(slots=True)
class Line:
    """One activity at a building, over all the items it falls due on."""

    occurrences: list[Occurrence]

    @property
    def first(self) -> Occurrence:
        """Return the most urgent occurrence."""
        return self.occurrences[0]

    @property
    def activity(self) -> Any:
        """Return the catalogue's activity."""
        return bundle.activity_of(self.first)

    @property
    def pick(self) -> str:
        """Return what a tick in the list sends."""
        return f"{self.first.building_id}:{self.first.activity}"

    @property
    def minutes(self) -> float:
        """Return the minutes of the line alone; own estimate."""
        return bundle.minutes_of(self.occurrences)

    @property
    def how_often(self) -> str:
        """Return the frequency in words."""
        return bundle.frequency_words(self.first.frequency)

    @property
    def visit(self) -> Visit | None:
        """Return the planned or open visit that does it, if any."""
        visit: Visit | None = self.first.visit
        return visit if visit and visit.state in bundle.UNDER_WAY else None


def lines(rows: Any) -> list[Line]:
    """Return the occurrences of a building by activity and visit, the most urgent first."""
    found: dict[tuple[str, Any], list[Occurrence]] = {}
    whole = rows.select_related("building", "system", "visit")
    for row in whole.order_by("latest_on", "activity", "pk"):
        taken = row.visit_id if row.visit and row.visit.state in bundle.UNDER_WAY else None
        found.setdefault((row.activity, taken), []).append(row)
    return [Line(rows) for rows in found.values()]


def picked(picks: Iterable[str], asked: Asked, today: date) -> list[UUID]:
    """Return the occurrences behind ticks of the list, narrowed as the list was."""
    chosen = Q(pk=None)
    for pick in picks:
        building, _colon, activity = pick.partition(":")
        try:
            chosen |= Q(building_id=UUID(building), activity=activity)
        except ValueError:
            continue
    rows = narrowed(asked, today).filter(chosen, bundle.FREE)
    return list(rows.values_list("pk", flat=True))
