"""What a plan's pages draw: windows with their planned day, and days as time lines to scale."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from contractors.models import Person
from inspections.models import Visit
from scheduling import crew, plans, problems
from scheduling.marks import Bar, Strip, rounded
from scheduling.models import Plan, Stop

DAY_WIDTH = 20
# A day's time lines: drawing units, minutes.
LINE_WIDTH = 960
LINE_HEIGHT = 58
LEFT = 8
FIRST_MINUTE, LAST_MINUTE = 6 * 60, 18 * 60
LETTER = 7.2


def zone_of(plan: Plan) -> ZoneInfo:
    """Return the zone of a plan's clock."""
    return ZoneInfo(plan.summary.get("zone") or "UTC")


# --- windows ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """A visit with its window and where it is planned; `why` says why it is not."""

    visit: Visit
    bar: Bar
    planned: float | None
    stops: tuple[Stop, ...]
    latest: date | None
    why: str

    @property
    def first(self) -> Stop | None:
        """Return the stop of the technician who leads."""
        return self.stops[0] if self.stops else None


@dataclass(frozen=True, slots=True)
class Windows:
    """Districts down, days across."""

    strip: Strip
    heads: tuple[tuple[date, int, bool], ...]
    districts: tuple[tuple[str, tuple[Row, ...]], ...]


def windows(plan: Plan, stops: Sequence[Stop], today: date) -> Windows:
    """Return a plan's visits by district, each as wide as what is left of its window."""
    days = (plan.to_on - plan.from_on).days + 1
    strip = Strip(plan.from_on, days, days * DAY_WIDTH)
    by_visit: dict[UUID, list[Stop]] = defaultdict(list)
    for stop in stops:
        by_visit[stop.visit_id].append(stop)
    why = {one["visit"]: plans.reason_words(one) for one in plan.unplanned}
    left = Visit.objects.filter(pk__in=why).select_related("building")
    visits = {s.visit_id: s.visit for s in stops} | {v.pk: v for v in left}
    asked = problems.windows_of(list(visits.values()))
    rows: dict[str, list[Row]] = defaultdict(list)
    for visit in visits.values():
        one = asked[str(visit.pk)]
        latest = one.due or plan.to_on
        earliest = min(max(one.earliest or plan.from_on, today), max(latest, today))
        there = tuple(by_visit.get(visit.pk, ()))
        bar = strip.bar(earliest, latest, None, today)
        planned = strip.at(there[0].on) if there else None
        row = Row(visit, bar, planned, there, one.due, why.get(str(visit.pk), ""))
        rows[visit.building.area].append(row)
    ordered = tuple(
        (
            area,
            tuple(
                sorted(found, key=lambda r: (bool(r.stops), r.latest or plan.to_on, str(r.visit)))
            ),
        )
        for area, found in sorted(rows.items())
    )
    return Windows(strip, tuple(_heads(plan, days)), ordered)


def _heads(plan: Plan, days: int) -> Iterable[tuple[date, int, bool]]:
    """Yield the columns' headings: day by day for three weeks, else week by week."""
    if days <= 21:
        for n in range(days):
            day = plan.from_on + timedelta(days=n)
            yield day, 1, day.weekday() > 4
        return
    at = 0
    while at < days:
        day = plan.from_on + timedelta(days=at)
        span = min(7 - day.weekday(), days - at)
        yield day, span, False
        at += span


# --- days ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Block:
    """A stop on a time line: where it lies, what is written in it."""

    stop: Stop
    x: float
    width: float
    words: str
    number: int
    start: datetime
    end: datetime
    chosen: bool


@dataclass(slots=True)
class Line:
    """A technician's day."""

    person: Person
    y: float
    on_duty: tuple[float, float] | None
    blocks: list[Block] = field(default_factory=list)
    drive: tuple[float, float] | None = None
    drive_s: int = 0
    leaves: datetime | None = None
    returns: datetime | None = None

    @property
    def work_s(self) -> int:
        """Return the seconds at buildings."""
        return sum(int((b.stop.end_at - b.stop.start_at).total_seconds()) for b in self.blocks)


@dataclass(frozen=True, slots=True)
class Day:
    """Time lines of a day, drawn to scale: hours across, technicians down."""

    on: date
    zone: ZoneInfo
    hours: tuple[tuple[str, float], ...]
    lines: tuple[Line, ...]
    height: float
    first: int
    scale: float
    now: float | None


def day(plan: Plan, stops: Sequence[Stop], on: date, now: datetime, chosen: str = "") -> Day:
    """Return the time lines of one day of a plan."""
    zone = zone_of(plan)
    there = [stop for stop in stops if stop.on == on]
    people = crew.technicians(on)
    spans = _spans(plan, on)
    axis = _axis(zone, on, spans.values())
    lines = []
    for place, one in enumerate(people):
        theirs = [stop for stop in there if stop.technician_id == one.id]
        hours = one.hours_on(on)
        duty = (axis.x(hours.starts), axis.x(hours.ends)) if hours else None
        line = Line(one.person, 28 + place * LINE_HEIGHT, duty)
        line.blocks = [_block(stop, axis, chosen) for stop in theirs]
        if theirs and str(one.id) in spans:
            line.leaves, line.returns, line.drive_s = spans[str(one.id)]
            line.drive = (axis.at(line.leaves), axis.at(line.returns))
        lines.append(line)
    return Day(
        on=on,
        zone=zone,
        hours=tuple(axis.hours()),
        lines=tuple(lines),
        height=28 + len(lines) * LINE_HEIGHT,
        first=axis.first,
        scale=axis.scale,
        now=axis.at(now) if now.astimezone(zone).date() == on else None,
    )


@dataclass(frozen=True, slots=True)
class _Axis:
    on: date
    zone: ZoneInfo
    first: int
    last: int

    @property
    def scale(self) -> float:
        return (LINE_WIDTH - 2 * LEFT) / (self.last - self.first)

    def x(self, minute: float) -> float:
        return round(LEFT + (minute - self.first) * self.scale, 1)

    def at(self, moment: datetime) -> float:
        return self.x(_minute(moment, self.on, self.zone))

    def hours(self) -> Iterable[tuple[str, float]]:
        for minute in range(self.first, self.last + 1, 60):
            yield f"{minute // 60:02}", self.x(minute)


Span = tuple[datetime, datetime, int]


def _spans(plan: Plan, on: date) -> dict[str, Span]:
    """Return when each technician leaves and returns on a day, and the seconds of driving."""
    found = {}
    for key, told in plan.summary.get("days", {}).items():
        technician, _colon, day = key.partition(":")
        if day == on.isoformat():
            leaves, returns = (datetime.fromisoformat(told[n]) for n in ("leaves", "returns"))
            found[technician] = (leaves, returns, told["drive_s"])
    return found


def _axis(zone: ZoneInfo, on: date, spans: Iterable[Span]) -> _Axis:
    minutes = [_minute(end, on, zone) for span in spans for end in span[:2]]
    first = min([FIRST_MINUTE, *minutes]) // 60 * 60
    last = -(-max([LAST_MINUTE, *minutes]) // 60) * 60
    return _Axis(on, zone, first, last)


def _minute(moment: datetime, on: date, zone: ZoneInfo) -> int:
    wall = moment.astimezone(zone)
    return (wall.date() - on).days * 1440 + wall.hour * 60 + wall.minute


def _block(stop: Stop, axis: _Axis, chosen: str) -> Block:
    left, right = axis.at(stop.start_at), axis.at(stop.end_at)
    width = round(max(right - left, 4), 1)
    room = int((width - 24) / LETTER)
    name = stop.visit.building.name
    words = name if len(name) <= room else (f"{name[: room - 1]}…" if room > 4 else "")
    return Block(
        stop=stop,
        x=left,
        width=width,
        words=words,
        number=stop.position,
        start=rounded(stop.start_at).astimezone(axis.zone),
        end=rounded(stop.end_at).astimezone(axis.zone),
        chosen=str(stop.visit_id) == chosen,
    )


def days_with_stops(plan: Plan, stops: Sequence[Stop]) -> list[tuple[date, int]]:
    """Return the days of a plan on which somebody works, and how many stops each has."""
    counted: dict[date, int] = defaultdict(int)
    for stop in stops:
        counted[stop.on] += 1
    return sorted(counted.items())


def map_of(stops: Sequence[Stop], on: date) -> dict[str, Any]:
    """Return a day's routes as GeoJSON (RFC 7946): stops and depots as points, routes as lines."""
    features = []
    by_person: dict[Person, list[Stop]] = defaultdict(list)
    for stop in stops:
        if stop.on == on and stop.visit.building.longitude is not None:
            by_person[stop.technician].append(stop)
    for person, theirs in sorted(by_person.items(), key=lambda pair: pair[0].code):
        points = [_point(stop.visit.building) for stop in theirs]
        home = _point(person.office) if person.office else None
        way = [home, *points, home] if home else points
        features.append(_feature("LineString", way, technician=person.code, name=person.name))
        for stop, point in zip(theirs, points, strict=True):
            label = f"{person.code} {stop.position}"
            name = stop.visit.building.name
            features.append(
                _feature("Point", point, technician=person.code, label=label, name=name)
            )
    offices = {person.office for person in by_person if person.office}
    features += [_feature("Point", _point(o), depot=True, name=o.name) for o in offices]
    return {"type": "FeatureCollection", "features": features}


def _point(place: Any) -> list[float]:
    return [place.longitude, place.latitude]


def _feature(kind: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def local_start(on: date, at: time | None, zone: ZoneInfo) -> datetime | None:
    """Return the instant of a time of day on a day of a plan; None without one."""
    return datetime.combine(on, at, tzinfo=zone) if at else None
