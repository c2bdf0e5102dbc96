"""What falls due by week and district, against what the technicians have time for."""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property, lru_cache
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np
from django.db.models import Q

from buildings.models import Building
from inspections.catalogue_files import catalogue
from inspections.intervals import Span
from inspections.models import Rule, Visit
from scheduling import bundle, crew, owing, week_loads
from scheduling.models import Occurrence
from scheduling.week_loads import KINDS, Counts, day_of, monday_of, number

WEEKS = 8
OVERDUE = "overdue"
FEW = 500
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
    found = {owing.iso(one) for one in catalogue().activities.values()}
    own = Rule.objects.exclude(frequency="").values_list("frequency", flat=True)
    found |= {owing.iso_of(Span.parse(one)) for one in own.order_by().distinct()}
    return sorted(found - {""}, key=bundle.months_of)


def narrowed(asked: Asked, today: date) -> Any:
    """Return the occurrences that are asked for.

    An occurrence belongs to the week of its due day; one that is past its due day and not past its
    latest belongs to this week.
    """
    rows = Occurrence.objects.all()
    if asked.district:
        rows = rows.filter(building__area=asked.district)
    if asked.building:
        rows = rows.filter(building_id=asked.building)
    if asked.who:
        rows = rows.filter(by_owner=asked.who == "owner")
    if asked.system_kind:
        rows = rows.filter(system__kind=asked.system_kind)
    if asked.kind:
        rows = rows.filter(activity__in=of_kind(asked.kind))
    if asked.qualification:
        rows = rows.filter(qualification=asked.qualification)
    if asked.frequency:
        rows = rows.filter(frequency=asked.frequency)
    if asked.state:
        rows = rows.filter(bundle.FREE if asked.state == "free" else bundle.IN_VISIT)
    return rows.filter(_in_week(asked.week, today)) if asked.week else rows


def _in_week(week: str, today: date) -> Q:
    if week == OVERDUE:
        return Q(latest_on__lt=today)
    monday = date.fromisoformat(week)
    falls = Q(due_on__gte=monday, due_on__lt=monday + timedelta(days=7))
    if monday == monday_of(today):
        falls |= Q(due_on__lt=monday)
    return falls & Q(latest_on__gte=today)


def horizon(today: date) -> date:
    """Return the first day that the list leaves out unless its week is asked for."""
    return monday_of(today) + timedelta(days=7 * WEEKS)


def shown(asked: Asked, today: date) -> Any:
    """Return the occurrences that the list shows: of the week asked for, else of all its weeks."""
    rows = narrowed(asked, today)
    return rows if asked.week else rows.filter(due_on__lt=horizon(today))


@lru_cache(maxsize=8)
def of_kind(kind: str) -> tuple[str, ...]:
    """Return the ids of the catalogue's inspections, tests or maintenance."""
    return tuple(one.id for one in catalogue().activities.values() if one.kind == kind)


def counted(asked: Asked, today: date) -> Counts:
    """Return what is counted of the work that is asked for, at all places and in all its weeks."""
    end = horizon(today)
    if asked.week not in ("", OVERDUE):
        end = max(end, date.fromisoformat(asked.week) + timedelta(days=7))
    everything = week_loads.read()
    if asked.state == "in_visit":
        return _of_work(week_loads.in_visits(everything), asked, end)
    found = _of_work(everything, asked, end)
    if asked.state == "free":
        return week_loads.less(found, _of_work(week_loads.in_visits(everything), asked, end))
    return found


def _of_work(counts: Counts, asked: Asked, end: date = date.max) -> Counts:
    rows = counts.rows
    wanted = rows["monday"] < number(end)
    if asked.who:
        wanted &= rows["by_owner"] == (asked.who == "owner")
    if asked.kind:
        wanted &= rows["kind"] == KINDS.index(asked.kind)
    if asked.system_kind:
        wanted &= rows["system"] == week_loads.code(asked.system_kind)
    if asked.qualification:
        wanted &= rows["qualification"] == week_loads.code(asked.qualification)
    if asked.frequency:
        wanted &= rows["often"] == week_loads.often(asked.frequency)
    return counts.where(wanted)


def few(asked: Asked) -> list[UUID] | None:
    """Return the buildings with work that is asked for, of whatever week; None for many.

    Work that is hardly anywhere is found soon at its buildings; what is at many of them is found
    soon in the order of the days.
    """
    counts = week_loads.read()
    found = _of_work(counts, asked)
    at = found.at[found.starts].tolist()
    return [counts.buildings[place] for place in at] if len(at) <= FEW else None


def listed(counts: Counts, asked: Asked, today: date) -> Counts:
    """Return what of the counts the list shows: of the places and the week asked for."""
    rows, wanted = counts.rows, np.ones(len(counts.rows), bool)
    if asked.district:
        there = [area == asked.district for area in counts.areas]
        wanted &= np.array(there, bool)[counts.at]
    if asked.building:
        building = UUID(asked.building)
        wanted &= np.array([one == building for one in counts.buildings], bool)[counts.at]
    late = rows["latest"] < number(today)
    if asked.week == OVERDUE:
        wanted &= late
    elif asked.week:
        monday, this = number(date.fromisoformat(asked.week)), number(monday_of(today))
        mondays = np.maximum(rows["monday"], this) if monday == this else rows["monday"]
        wanted &= (mondays == monday) & ~late
    else:
        wanted &= rows["monday"] < number(horizon(today))
    return counts.where(wanted)


def grid(counts: Counts, today: date) -> Grid:
    """Return what falls due by week and district; what is overdue has a column of its own."""
    counts = listed(counts, Asked(), today)
    rows, first = counts.rows, monday_of(today)
    names = sorted(set(counts.areas))
    numbers = {name: number for number, name in enumerate(names)}
    district_of = np.array([numbers[area] for area in counts.areas], np.int64)
    late = rows["latest"] < number(today)
    overdue = counts.where(late)
    weeks = (np.maximum(rows["monday"], number(first)) - number(first)) // 7
    cells = district_of[counts.at] * (WEEKS + 1) + np.where(late, WEEKS, weeks)
    count, tenths = (
        np.bincount(cells, rows[name], len(names) * (WEEKS + 1)).reshape(len(names), WEEKS + 1)
        for name in ("count", "tenths")
    )
    districts = [
        District(name, (lasts[:WEEKS] / 10).tolist(), int(found[WEEKS]), float(lasts[WEEKS]) / 10)
        for name, found, lasts in zip(names, count, tenths, strict=True)
        if found.any()
    ]
    return Grid(
        weeks=_weeks(first, today, districts),
        districts=districts,
        activities=counts.count,
        minutes=counts.minutes,
        buildings=len(counts.starts),
        overdue=overdue.count,
        overdue_minutes=overdue.minutes,
        oldest=day_of(int(overdue.rows["latest"].min())) if late.any() else None,
    )


def _weeks(first: date, today: date, districts: Sequence[District]) -> list[Week]:
    people = crew.technicians(today)
    found = []
    for place in range(WEEKS):
        monday = first + timedelta(days=7 * place)
        time = crew.capacity(people, max(monday, today), monday + timedelta(days=6))
        found.append(Week(monday, time, sum(d.weeks[place] for d in districts)))
    return found


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
    counts: Counts, size: int, *, after: Spot | None = None, before: Spot | None = None
) -> Stretch:
    """Return the buildings after or before a spot of the list, the most urgent first.

    Spots are places in the order, not numbers: what is done meanwhile moves nothing else from one
    page to another. Where nothing is beyond a spot any more, the list begins anew.
    """
    starts = counts.starts
    if not len(starts):
        return Stretch([])
    at, latest = counts.at[starts], np.minimum.reduceat(counts.rows["latest"], starts)
    order = np.argsort(latest, kind="stable")
    first = 0
    if after:
        first = _passed(counts, at[order], latest[order], after, itself=True)
    elif before:
        first = _passed(counts, at[order], latest[order], before, itself=False) - size
    first = first if 0 <= first < len(order) else 0
    chosen = order[first : first + size]
    sums = [np.add.reduceat(counts.rows[name], starts)[chosen] for name in ("count", "tenths")]
    ids = [counts.buildings[place] for place in at[chosen]]
    there = Building.objects.in_bulk(ids)
    columns = ([*one.tolist()] for one in (latest[chosen], *sums))
    places = [
        Place(there[pk], day_of(day), count, tenths / 10)
        for pk, day, count, tenths in zip(ids, *columns, strict=True)
    ]
    more = first + size < len(order)
    return Stretch(
        places,
        before=places[0].spot if first else None,
        after=places[-1].spot if more else None,
    )


def _passed(counts: Counts, at: Any, latest: Any, spot: Spot, *, itself: bool) -> int:
    """Return how many buildings of the list stand before a spot, or with `itself` up to it."""
    day = number(spot.latest_on)
    start, end = (int(np.searchsorted(latest, day, side)) for side in ("left", "right"))
    place = bisect_left(counts.buildings, spot.building_id)
    if itself and counts.buildings[place : place + 1] == (spot.building_id,):
        place += 1
    return start + int(np.searchsorted(at[start:end], place))


@dataclass
class Line:
    """One activity at a building, over all the items it falls due on."""

    occurrences: list[Occurrence]

    @property
    def first(self) -> Occurrence:
        """Return the most urgent occurrence."""
        return self.occurrences[0]

    @cached_property
    def activity(self) -> Any:
        """Return the catalogue's activity."""
        return bundle.activity_of(self.first)

    @property
    def pick(self) -> str:
        """Return what a tick in the list sends."""
        return f"{self.first.building_id}:{self.first.activity}"

    @cached_property
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
        return visit if visit and visit.state in Visit.UNDER_WAY else None


def lines(rows: Any) -> list[Line]:
    """Return the occurrences of a building by activity and visit, the most urgent first."""
    found: dict[tuple[str, Any], list[Occurrence]] = {}
    whole = rows.select_related("building", "system", "visit")
    for row in whole.order_by("latest_on", "activity", "pk"):
        taken = row.visit_id if row.visit and row.visit.state in Visit.UNDER_WAY else None
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
