"""What the readings of an item say over the years: trend, limit, hints and pictures."""

import json
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from buildings import units
from buildings.models import Building
from inspections import drawings, pinned, pump_tests, readings
from inspections.criteria import Filled
from inspections.hydraulics.tables import limit as listed
from inspections.incomparable import Splits
from inspections.models import Event, Reading, Result, Visit
from inspections.pictures.reader import Reader
from inspections.trends.causes import TESTS
from inspections.trends.hints import Diagnosis, diagnose
from inspections.trends.series import Point, Series, series
from inspections.trends.trend import Change, Limit, Side, Trend, trend

MAIN_DRAIN = "main-drain"
# A fall of 10 percent in the flowing pressure against acceptance wants a cause (NFPA 25 annex).
DRAIN_KEEPS = 0.9
# Test of the hints -> fact -> reading. The newest visit against the first of the series.
ASKED: Mapping[str, Mapping[str, str]] = {
    "main_drain": {
        "static": "static_pressure",
        "residual": "residual_pressure",
        "return_time": "restore_time",
    },
    "dry_trip": {
        "trip": "trip_time",
        "delivery": "delivery_time",
        "air": "air_pressure_initial",
        "trip_air": "trip_air_pressure",
    },
    "waterflow": {"time": "time_to_alarm"},
    "backflow": {"inlet": "inlet_pressure"},
}
LEADS = {
    "main_drain": "residual_pressure",
    "dry_trip": "trip_time",
    "waterflow": "time_to_alarm",
    "backflow": "outlet_pressure",
}
WATERFLOW_MOST_S = 90.0


@dataclass(frozen=True)
class Line:
    """One kind of reading of an item over the years.

    Attributes
    ----------
    name, point
        Of the readings.
    quantity
        Of the units' table.
    limit_words
        "at least 63 psi", or "".
    """

    name: str
    point: str
    activity: str
    quantity: str
    system: str
    given: Series
    trend: Trend
    limit_words: str

    @property
    def words(self) -> str:
        """Return the name as people read it."""
        return f"{self.noun}, {self.at}" if self.point else self.noun

    @property
    def noun(self) -> str:
        """Return what was read."""
        return self.name.replace("_", " ").capitalize()

    @property
    def at(self) -> str:
        """Return at which point of a test, as people read it; "" where there are none."""
        return self.point.replace("_", " ")

    @property
    def newest(self) -> str:
        """Return the newest reading with its unit."""
        value = self.trend.value
        return "" if value is None else self.show(value)

    def show(self, value_si: float) -> str:
        """Return a value in the reader's units."""
        return units.show(value_si, self.quantity, self.system)


@dataclass(frozen=True)
class Hints:
    """What can explain the newest test of an item against the first one of the series."""

    test: str
    words: str
    on: date
    against: date
    found: Diagnosis


@dataclass(frozen=True)
class Past:
    """Everything that the history page of an item shows."""

    lines: tuple[Line, ...]
    hints: tuple[Hints, ...]

    def line(self, name: str, point: str = "") -> Line | None:
        """Return the line of that reading, or None."""
        return next((x for x in self.lines if (x.name, x.point) == (name, point)), None)


def of_item(item: Any, until: date | None = None) -> Past:
    """Return the past of one system, riser or device; see `of_items`."""
    return of_items([item], until)[item.pk]


def of_items(
    asked: Sequence[Any], until: date | None = None, names: Collection[str] = ()
) -> dict[UUID, Past]:
    """Return the past of systems, risers and devices of one building, by id.

    Parameters
    ----------
    asked
        The items, with their building.
    until
        Last day that counts; None: all.
    names
        The readings wanted; empty: all.

    Notes
    -----
    A steady number of queries for all items and readings; those that find the rules once for each
    visit that a newest reading is of.
    """
    items = {item.pk: item for item in asked}
    rows = Reading.objects.filter(subject_id__in=items)
    rows = rows.exclude(unit=readings.WORD_UNIT).exclude(visit__state=Visit.State.CANCELLED)
    if until is not None:
        rows = rows.filter(read_on__lte=until)
    found = list(rows.select_related("visit").order_by("read_on", "read_at", "id"))
    if not found:
        return {pk: Past((), ()) for pk in items}
    by_item: dict[UUID, list[Reading]] = defaultdict(list)
    for row in found:
        row.visit.building = items[row.subject_id].building
        by_item[row.subject_id].append(row)
    told = _Told(_invalid(found), Splits(list(items.values())))
    return {pk: _past(item, by_item[pk], told, names) for pk, item in items.items()}


@dataclass(frozen=True)
class _Told:
    """What is told of several items at once: why readings do not count, splits, rules."""

    invalid: Mapping[UUID, str]
    splits: Splits
    rules: dict[UUID, pinned.Pinned] = field(default_factory=dict)

    def under(self, visit: Visit) -> pinned.Pinned:
        if visit.pk not in self.rules:
            self.rules[visit.pk] = pinned.of_visit(visit)
        return self.rules[visit.pk]


def _past(item: Any, found: Sequence[Reading], told: _Told, names: Collection[str]) -> Past:
    groups: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for row in (*found, *pump_tests.nets(found, item.attributes, told.invalid)):
        if not names or row.name in names:
            groups[row.name, row.point].append(row)
    lines = [_line(item, group, found, told) for group in groups.values()]
    used = tuple(sorted(lines, key=_place))
    return Past(used, tuple(_hints(used)))


def _place(line: Line) -> tuple[int, str, int, str]:
    """Return where a line stands: what has most readings first, points as a test goes."""
    points = list(pump_tests.POINTS)
    at = points.index(line.point) if line.point in points else 0
    return -len(line.given.points), line.name, at, line.point


def _line(item: Any, group: Sequence[Reading], every: Sequence[Reading], told: _Told) -> Line:
    newest = group[-1]
    building: Building = item.building
    quantity = units.quantity_of(newest.unit)
    points = [
        Point(r.read_on, r.value_si, r.typed, told.invalid.get(r.event_id, "")) for r in group
    ]
    given = series(points, told.splits.of(item, newest.name))
    limit = _limit(item, newest, every, given, told)
    show = partial(units.show, quantity=quantity, system=building.units)
    words = ""
    if limit:
        side = _("at least") if limit.side is Side.LEAST else _("at most")
        words = f"{side} {show(limit.value)}"
    said = trend(given, limit, show)
    return Line(
        newest.name, newest.point, newest.activity, quantity, building.units, given, said, words
    )


def _limit(
    item: Any, newest: Reading, every: Sequence[Reading], given: Series, told: _Told
) -> Limit | None:
    """Return the hardest plain bound that the catalogue's criterion puts on a reading."""
    if newest.activity.startswith(MAIN_DRAIN) and newest.name == "residual_pressure":
        base = given.baseline
        return Limit(DRAIN_KEEPS * base.value, Side.LEAST) if base else None
    if newest.name == pump_tests.NET:
        # At peak flow the curve falls so steeply that two flows never compare.
        base = given.baseline if newest.point != pump_tests.PEAK else None
        return Limit(listed("pump_annual") * base.value, Side.LEAST) if base else None
    under = told.under(newest.visit)
    activity = under.activity(newest.activity)
    if activity is None or activity.criterion is None:
        return None
    history: dict[str, list[Reading]] = defaultdict(list)
    for row in every:
        if row.visit_id != newest.visit_id:
            history[row.name].append(row)
    facts = readings.Facts(under, newest, {}, history, item)
    bounds = Filled(activity, under.rules, facts).bounds().get(newest.name, ())
    if not bounds:
        return None
    side = bounds[0].side
    hardest = (max if side == "least" else min)(one.si for one in bounds if one.side == side)
    return Limit(hardest, Side(side))


def _invalid(rows: Sequence[Reading]) -> dict[UUID, str]:
    """Return why readings must not be used, by their entry in the record."""
    visits = {row.visit_id for row in rows}
    undone = set(
        Result.objects.filter(visit__in=visits, answer=Result.Answer.COULD_NOT).values_list(
            "visit_id", "subject_id", "activity"
        )
    )
    said = {
        row.event_id: _("the test could not be done")
        for row in rows
        if (row.visit_id, row.subject_id, row.activity) in undone
    }
    amended = Event.objects.filter(kind="visit.amend", visit_id__in=visits)
    for body in amended.values_list("body", flat=True):
        payload = json.loads(body)["payload"]
        if payload.get("reason") == "instrument_fault":
            said[UUID(payload["target"])] = _("instrument at fault")
    return said


def _hints(lines: Sequence[Line]) -> list[Hints]:
    by_name = {line.name: line for line in lines if not line.point}
    found = []
    for test, asked in ASKED.items():
        lead = by_name.get(LEADS[test])
        if lead is None or len(lead.given.points) < 2:
            continue
        first, last = lead.given.points[0], lead.given.points[-1]
        facts: dict[str, float | None] = {}
        for fact, name in asked.items():
            for when, suffix in ((last.on, ""), (first.on, "_before")):
                if fact + suffix in TESTS[test].facts:
                    facts[fact + suffix] = _value(by_name.get(name), when)
        if test == "waterflow":
            facts["limit"] = lead.trend.limit.value if lead.trend.limit else WATERFLOW_MOST_S
        if test == "backflow":
            facts |= {
                "loss": _loss(by_name, last.on),
                "loss_expected": _loss(by_name, first.on),
            }
        diagnosis = diagnose(TESTS[test], facts)
        if diagnosis.seen:
            found.append(Hints(test, TESTS[test].words, last.on, first.on, diagnosis))
    return found


def _value(line: Line | None, on: date) -> float | None:
    points = [p.value for p in line.given.points if p.on == on] if line else []
    return points[-1] if points else None


def _loss(by_name: Mapping[str, Line], on: date) -> float | None:
    inlet = _value(by_name.get("inlet_pressure"), on)
    outlet = _value(by_name.get("outlet_pressure"), on)
    return inlet - outlet if inlet is not None and outlet is not None else None


# --- for programs and pictures -------------------------------------------------------------------


def as_data(line: Line) -> dict[str, Any]:
    """Return a line as JSON data, values in the building's units with their unit."""
    said, named = line.trend, partial(units.named, quantity=line.quantity, system=line.system)
    slope, step, crossing = said.slope, said.step, said.crossing
    return {
        "name": line.name,
        "point": line.point,
        "activity": line.activity,
        "change": said.change.value,
        "verdict": said.verdict,
        "reason": said.reason,
        "missing": said.missing,
        "question": said.question,
        "value": named(said.value) if said.value is not None else None,
        "limit": named(said.limit.value) if said.limit else None,
        "side": said.limit.side.value if said.limit else "",
        "per_year": slope
        and {
            "value": _step_of(line, slope.per_year),
            "low": _step_of(line, slope.low),
            "high": _step_of(line, slope.high),
        },
        "step": step
        and {
            "after": step.after,
            "until": step.until,
            "size": _step_of(line, step.size),
            "low": _step_of(line, step.low),
            "high": _step_of(line, step.high),
        },
        "crossing": crossing
        and {
            "on": crossing.on,
            "earliest": crossing.earliest,
            "latest": crossing.latest,
        },
        "since": line.given.since and {"on": line.given.since.on, "why": line.given.since.why},
        "readings": [{"on": p.on, "value": named(p.value)} for p in line.given.points],
        "left_out": [
            {"on": one.point.on, "value": named(one.point.value), "why": one.why}
            for one in line.given.left_out
        ],
    }


def _step_of(line: Line, difference_si: float) -> Any:
    """Return a difference in the shown unit: without the zero point of a temperature."""
    unit = units.named(0.0, line.quantity, line.system)["unit"]
    at = partial(units.from_si, unit=str(unit), quantity=line.quantity)
    return {"value": at(300.0 + difference_si) - at(300.0), "unit": unit}


def drawing(line: Line, title: str) -> dict[str, Any]:
    """Return what the picture of a line is drawn from as JSON data, to be kept in a report.

    Figures are texts, which have one written form only: a frozen report has a digest.
    """
    text = json.dumps(asdict(_drawn(line, title)), default=str)
    return json.loads(text, parse_float=str)  # type: ignore[no-any-return]


def picture(line: Line, title: str, reader: Reader) -> Any:
    """Return the picture of a line, drawn once for the same readings.

    Parameters
    ----------
    title
        Heading: the reading and the item.
    """
    # The drawing library takes seconds to load: only where something is drawn.
    from inspections.pictures import history

    return drawings.kept(_drawn(line, title), history.draw, reader)


def _drawn(line: Line, title: str) -> Any:
    from inspections.pictures import history

    unit = str(units.named(0.0, line.quantity, line.system)["unit"])

    def at(value_si: float) -> float:
        return round(units.from_si(value_si, unit, line.quantity), 9)

    said, points = line.trend, line.given.points
    pieces: list[history.Line] = []
    ahead = None
    if points and said.step and said.change is Change.STEP:
        step = said.step
        pieces = [
            history.Line((points[0].on, step.after), (at(step.before_level),) * 2),
            history.Line((step.until, points[-1].on), (at(step.level),) * 2),
        ]
    elif points and said.slope and said.change in (Change.SLOPE, Change.EITHER):
        slope, ends = said.slope, (points[0].on, points[-1].on)
        pieces = [history.Line(ends, (at(slope.at(ends[0])), at(slope.at(ends[1]))))]
        if said.crossing:
            far = max(said.crossing.latest or said.crossing.on, said.crossing.on)
            span = (ends[1], far + timedelta(days=90))
            low, through, high = (
                (at(slope.at(span[0], one)), at(slope.at(span[1], one)))
                for one in (slope.low, slope.per_year, slope.high)
            )
            ahead = history.Line(span, through, low, high)
    return history.History(
        title=title,
        unit=unit,
        words=said.reason,
        points=[(p.on, at(p.value), line.show(p.value)) for p in points],
        left_out=[
            (one.point.on, at(one.point.value), line.show(one.point.value), one.why)
            for one in line.given.left_out
        ],
        limit=(at(said.limit.value), line.limit_words) if said.limit else None,
        trend=pieces,
        forecast=ahead,
        crossing=said.crossing.on if said.crossing else None,
    )
