"""A series of readings as a trend may use it: split where the item changed, invalid ones left out.

Values are in SI. Nothing is thrown away: what is not used is listed with the reason in words.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

SAME_TIMES = 3
"""So many equal readings in a row call for a question."""


@dataclass(frozen=True, slots=True)
class Point:
    """One reading.

    Attributes
    ----------
    on
        Day of the reading.
    value
        In SI.
    typed
        As it was entered; readings are compared to the last digit by it.
    invalid
        Why it must not be used ("drain not fully open", "instrument out of calibration"), or "".
    """

    on: date
    value: float
    typed: str = ""
    invalid: str = ""


@dataclass(frozen=True, slots=True)
class Split:
    """A day from which readings no longer compare with those before.

    Attributes
    ----------
    on
        First day of the new state.
    why
        In words: "device replaced", "trim changed", "acceptance test".
    """

    on: date
    why: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A reading that the trend does not use, and why."""

    point: Point
    why: str


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one item and kind in order of days, ready for a trend.

    Attributes
    ----------
    points
        Those that are used, oldest first.
    left_out
        Those that are not, with the reason.
    since
        The split that began this series, or None.
    repeated
        The newest readings that are equal to the last digit, `SAME_TIMES` of them or more.
    """

    points: tuple[Point, ...]
    left_out: tuple[LeftOut, ...] = ()
    since: Split | None = None
    repeated: tuple[Point, ...] = ()

    @property
    def baseline(self) -> Point | None:
        """Return the first reading of the series: what later ones compare with."""
        return self.points[0] if self.points else None

    @property
    def question(self) -> str:
        """Return what to ask about equal readings, or an empty string."""
        if not self.repeated:
            return ""
        return (
            f"The last {len(self.repeated)} readings are the same to the last digit. "
            "Is the gauge shut off, or was a value copied?"
        )


def series(points: Iterable[Point], splits: Sequence[Split] = ()) -> Series:
    """Return the series since the last split.

    Parameters
    ----------
    points
        Readings in any order.
    splits
        Days on which the item, its trim or its baseline changed.

    Notes
    -----
    A split after the last reading leaves no point: the next reading sets the baseline.
    """
    ordered = sorted(points, key=lambda point: point.on)
    since = max(splits, key=lambda split: split.on, default=None)
    used: list[Point] = []
    left: list[LeftOut] = []
    for point in ordered:
        if point.invalid:
            left.append(LeftOut(point, point.invalid))
        elif since is not None and point.on < since.on:
            left.append(LeftOut(point, f"before: {since.why}"))
        else:
            used.append(point)
    return Series(tuple(used), tuple(left), since, _repeated(used))


def _repeated(points: Sequence[Point]) -> tuple[Point, ...]:
    same: list[Point] = []
    for point in reversed(points):
        if same and (point.value != same[-1].value or point.typed != same[-1].typed):
            break
        same.append(point)
    return tuple(reversed(same)) if len(same) >= SAME_TIMES else ()
