"""A fire pump's flow test as it was read: its points, its nameplate and its first curve, in SI."""

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from buildings.kinds import kinds
from inspections import computed
from inspections.conditions.units import UNITS
from inspections.hydraulics.pump import affinity_flow, affinity_head
from inspections.models import Reading

FLOW, SUCTION, DISCHARGE, SPEED = "flow", "suction_pressure", "discharge_pressure", "speed"
NAMES = (FLOW, SUCTION, DISCHARGE, SPEED)
NET = "net_pressure"
KIND, COMPUTATION = "fire_pump", "fire_pump_test"
FLOW_TEST = "fp-annual-flow"
CHURN, RATED, PEAK = "churn", "rated", "peak"
POINTS: Mapping[str, str] = {
    CHURN: "at no flow",
    RATED: "at rated flow",
    PEAK: "at peak flow, 150 percent where the supply gives it",
}
# Churn, rated flow and overload: fewer points are no curve to compare with.
WHOLE = 3

Curve = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Nameplate:
    """Rated flow, m3/s, net pressure, Pa, and speed, rad/s (None where it is not known)."""

    flow_m3s: float
    net_pa: float
    speed: float | None


@dataclass(frozen=True, slots=True)
class Point:
    """One point as read: flow, m3/s, net pressure between the gauges, Pa, speed, rad/s or None."""

    flow_m3s: float
    net_pa: float
    speed: float | None

    def at(self, rated: float | None) -> tuple[float, float]:
        """Return flow and net pressure at rated speed; as read where a speed is not known."""
        if not rated or not self.speed:
            return self.flow_m3s, self.net_pa
        return (
            affinity_flow(self.flow_m3s, self.speed, rated),
            affinity_head(self.net_pa, self.speed, rated),
        )


def points_read(activity_id: str, name: str) -> tuple[str, ...]:
    """Return at which points of a test a reading is taken; "" where it is taken once.

    At no flow there is no flow to read.
    """
    if activity_id != FLOW_TEST:
        return ("",)
    return tuple(point for point in POINTS if (name, point) != (FLOW, CHURN))


def nameplate_of(attributes: Mapping[str, Any]) -> Nameplate | None:
    """Return the nameplate of a pump from its attributes; None without flow and pressure."""
    known = {
        name: UNITS[kinds()[KIND].attributes[name].unit].to_si(float(attributes[name]))
        for name in ("rated_flow", "rated_pressure", "rated_speed")
        if isinstance(attributes.get(name), int | float) and attributes[name] > 0
    }
    if "rated_flow" not in known or "rated_pressure" not in known:
        return None
    return Nameplate(known["rated_flow"], known["rated_pressure"], known.get("rated_speed"))


def points_of(rows: Iterable[Reading]) -> list[Point]:
    """Return the points of one test, each with flow and both gauges; the newest reading counts."""
    read: dict[str, dict[str, float]] = defaultdict(dict)
    for row in rows:
        if row.name in NAMES:
            read[row.point][row.name] = row.value_si
    found = []
    for name, values in read.items():
        flow = values.get(FLOW, 0.0 if name == CHURN else None)
        if flow is not None and {SUCTION, DISCHARGE} <= values.keys():
            net_pa = values[DISCHARGE] - values[SUCTION]
            found.append(Point(flow, net_pa, values.get(SPEED) or None))
    return sorted(found, key=lambda one: one.flow_m3s)


def nets(
    rows: Iterable[Reading], attributes: Mapping[str, Any], invalid: Container[UUID]
) -> list[Reading]:
    """Return the net pressure at rated speed of each point of flow tests, as unsaved readings.

    Parameters
    ----------
    rows
        Of one pump, the oldest first; the newest reading of a test counts.
    attributes
        Of the pump. Without its rated speed, or that of a point, nothing compares.
    invalid
        Entries of readings that must not be used: a net pressure of such a one is such a one.
    """
    plate = nameplate_of(attributes)
    if plate is None or not plate.speed:
        return []
    tests: dict[tuple[UUID, str], dict[str, Reading]] = defaultdict(dict)
    for row in rows:
        if row.activity == FLOW_TEST and row.name in NAMES:
            tests[row.visit_id, row.point][row.name] = row
    return [
        _net(read, plate.speed, invalid)
        for read in tests.values()
        if {SUCTION, DISCHARGE, SPEED} <= read.keys() and read[SPEED].value_si > 0.0
    ]


def _net(read: Mapping[str, Reading], rated: float, invalid: Container[UUID]) -> Reading:
    used = [read[name] for name in (DISCHARGE, SUCTION, SPEED)]
    counts = next((row for row in used if row.event_id in invalid), used[0])
    between_pa = read[DISCHARGE].value_si - read[SUCTION].value_si
    return Reading(
        name=NET,
        point=used[0].point,
        activity=FLOW_TEST,
        unit=used[0].unit,
        value_si=affinity_head(between_pa, read[SPEED].value_si, rated),
        read_on=used[0].read_on,
        visit=used[0].visit,
        event_id=counts.event_id,
    )


def first_curve(rows: Iterable[Reading], plate: Nameplate) -> Curve:
    """Return the curve of the oldest whole test in earlier readings at rated speed, or nothing."""
    tests: dict[UUID, list[Reading]] = defaultdict(list)
    for row in sorted(rows, key=lambda one: (one.read_on, one.read_at)):
        tests[row.visit_id].append(row)
    for test in tests.values():
        points = points_of(test)
        if len(points) >= WHOLE and all(one.speed for one in points):
            return [one.at(plate.speed) for one in points]
    return []


def judged(
    rows: Iterable[Reading],
    earlier: Iterable[Reading],
    attributes: Mapping[str, Any],
    system: str,
) -> dict[str, Any] | None:
    """Return what the computation says to a test, as it is kept; None where it cannot be asked.

    Parameters
    ----------
    rows, earlier
        The readings of the test, and those of earlier visits at the same pump.
    attributes
        Of the pump: its nameplate.
    system
        "us" or "metric": how reason and refusal write values.
    """
    plate, points = nameplate_of(attributes), points_of(rows)
    if plate is None or plate.speed is None or not points or not all(p.speed for p in points):
        return None
    inputs: dict[str, Any] = {
        "rated_flow": plate.flow_m3s,
        "rated_net": plate.net_pa,
        "rated_speed": plate.speed,
        "points": [[one.flow_m3s, one.net_pa, one.speed] for one in points],
    }
    first = first_curve(earlier, plate)
    if first:
        inputs["baseline"] = [list(point) for point in first]
    return computed.of_test(COMPUTATION, inputs, system)
