"""What the pictures of flow, pump and trip tests show, and their numbers as a table.

Knows no drawing library, so that a page can show the table beneath at once.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from inspections.pictures.reader import ANYBODY, Reader

CHURN_MOST, OVERLOAD_LEAST, OVERLOAD_FLOW, ANNUAL_LEAST = 1.40, 0.65, 1.50, 0.95
EXPONENT = 1.85
FIRST, RAW, TESTED = "first curve", "as read", "tested"

Point = tuple[float, float]
Table = tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]


@dataclass(frozen=True, slots=True)
class Pump:
    """A pump test; flows and net pressures in the reader's units.

    Attributes
    ----------
    rated
        Flow and net pressure of the nameplate, both > 0.
    tested
        Flow and net pressure of each point, at rated speed where that is known.
    raw
        The same as read, where the speed was not the rated one.
    base
        The acceptance or shop curve, or the first test on record.
    corrected
        Whether the points are at rated speed.
    """

    title: str
    words: str
    pressure_unit: str
    flow_unit: str
    rated: Point
    tested: Sequence[Point]
    raw: Sequence[Point] = ()
    base: Sequence[Point] = ()
    corrected: bool = True

    @property
    def marks(self) -> dict[str, Point]:
        """The nameplate and its limits, by their words."""
        flow, pressure = self.rated
        return {
            "rated": (flow, pressure),
            "churn, at most": (0.0, CHURN_MOST * pressure),
            "150 percent flow, at least": (OVERLOAD_FLOW * flow, OVERLOAD_LEAST * pressure),
        }

    def table(self, reader: Reader = ANYBODY) -> Table:
        """Return the heading and the rows of the numbers."""
        say = reader.say
        groups = ((FIRST, self.base), (RAW, self.raw), (TESTED, self.tested))
        named = [(name, point) for name, points in groups for point in sorted(points)]
        rows = [(say(name), *self._shown(point)) for name, point in (*named, *self.marks.items())]
        flow, net = say("Flow"), say("Net pressure")
        head = ("", f"{flow}, {self.flow_unit}", f"{net}, {self.pressure_unit}")
        return head, tuple(rows)

    def _shown(self, point: Point) -> tuple[str, str]:
        digits = 2 if self.pressure_unit == "bar" else 1
        return f"{point[0]:.0f}", f"{point[1]:.{digits}f}"


@dataclass(frozen=True, slots=True)
class Run:
    """One trip test: its name and its moments, each word with seconds from the opening."""

    name: str
    moments: Sequence[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Trip:
    """Runs of a trip test, newest first, with the time that water may take at most."""

    title: str
    words: str
    runs: Sequence[Run]
    limit: tuple[float, str] | None = None

    def table(self, reader: Reader = ANYBODY) -> Table:
        """Return the heading and the rows of the numbers."""
        say = reader.say
        rows = [
            (run.name, word, seconds(at))
            for run in self.runs
            for word, at in sorted(run.moments, key=lambda one: one[1])
        ]
        limit = [("", self.limit[1], seconds(self.limit[0]))] if self.limit else []
        return (say("Test"), say("Moment"), say("Time")), (*rows, *limit)


@dataclass(frozen=True, slots=True)
class Supply:
    """A flow test with a demand; pressures and flows in the reader's units.

    Attributes
    ----------
    static, residual, flow
        Of the flow test.
    demand
        Flow without hose and pressure at the same point, or None.
    hose
        Hose allowance on top of the demand.
    earlier
        Day, static, residual and flow of the test before, drawn thin beside it.
    """

    title: str
    words: str
    pressure_unit: str
    flow_unit: str
    static: float
    residual: float
    flow: float
    demand: tuple[float, float] | None = None
    hose: float = 0.0
    earlier: tuple[str, float, float, float] | None = None

    @property
    def drop(self) -> float:
        """The drop of pressure over the flow to the power of 1.85."""
        return float((self.static - self.residual) / self.flow**EXPONENT)

    def table(self, reader: Reader = ANYBODY) -> Table:
        """Return the heading and the rows of the numbers."""
        say = reader.say
        digits = 2 if self.pressure_unit == "bar" else 1
        rows = [
            (say("static"), "0", f"{self.static:.{digits}f}"),
            (say("flow test"), f"{self.flow:.0f}", f"{self.residual:.{digits}f}"),
        ]
        if self.earlier:
            day, static, residual, flow = self.earlier
            rows.append((day, f"{flow:.0f}", f"{static:.{digits}f}, {residual:.{digits}f}"))
        if self.demand:
            flow, pressure = self.demand
            total = flow + self.hose
            left = self.static - self.drop * total**EXPONENT
            rows += [
                (say("demand"), f"{flow:.0f}", f"{pressure:.{digits}f}"),
                (say("supply at demand with hose"), f"{total:.0f}", f"{left:.{digits}f}"),
                (say("margin"), "", f"{left - pressure:+.{digits}f}"),
            ]
        across, up = say("Flow"), say("Pressure")
        return ("", f"{across}, {self.flow_unit}", f"{up}, {self.pressure_unit}"), tuple(rows)


def seconds(at: float) -> str:
    """Write a time to the second, halves upwards as pages do."""
    return f"{math.floor(at + 0.5)} s"


def of_data(data: Mapping[str, Any]) -> Pump | Trip | Supply:
    """Return a test from its JSON data, figures as numbers or texts; `picture` says which."""
    if data.get("picture", "supply") == "supply":
        return supply_of(data)
    if data["picture"] == "trip":
        limit = data["limit"]
        return Trip(
            title=str(data["title"]),
            words=str(data["words"]),
            runs=[
                Run(str(name), [(str(word), float(at)) for word, at in moments])
                for name, moments in data["runs"]
            ],
            limit=(float(limit[0]), str(limit[1])) if limit else None,
        )
    return Pump(
        title=str(data["title"]),
        words=str(data["words"]),
        pressure_unit=str(data["pressure_unit"]),
        flow_unit=str(data["flow_unit"]),
        rated=_point(data["rated"]),
        tested=[_point(one) for one in data["tested"]],
        raw=[_point(one) for one in data["raw"]],
        base=[_point(one) for one in data["base"]],
        corrected=bool(data["corrected"]),
    )


def supply_of(data: Mapping[str, Any]) -> Supply:
    """Return a supply from its JSON data, figures as numbers or texts."""
    demand, earlier = data["demand"], data["earlier"]
    return Supply(
        title=str(data["title"]),
        words=str(data["words"]),
        pressure_unit=str(data["pressure_unit"]),
        flow_unit=str(data["flow_unit"]),
        static=float(data["static"]),
        residual=float(data["residual"]),
        flow=float(data["flow"]),
        demand=(float(demand[0]), float(demand[1])) if demand else None,
        hose=float(data["hose"]),
        earlier=(str(earlier[0]), float(earlier[1]), float(earlier[2]), float(earlier[3]))
        if earlier
        else None,
    )


def _point(two: Sequence[Any]) -> Point:
    return float(two[0]), float(two[1])
