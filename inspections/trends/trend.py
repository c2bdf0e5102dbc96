"""Is a series steady, sliding or stepped, and when does it cross its limit.

Robust statistics (Theil-Sen slope, Kendall's test, a permutation test for one step) on SI values
and days. A series that is too short gets no verdict: the answer says how many readings are missing.
"""

import inspect
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from functools import cache, lru_cache
from typing import Any

import numpy as np
import scipy

from inspections.trends.series import Point, Series

YEAR_DAYS = 365.25
FALSE_ALARM = 0.05
"""Chance that a steady series is said to change; halved between the slope's and the step's test."""
FEWEST_FOR_SLOPE = 5
"""With four readings Kendall's test cannot get under 5 percent whatever they are (2/4! = 0.083)."""
FEWEST_FOR_STEP = 9
"""With eight the permutation test cannot get under 2.5 percent (2/C(8,4) = 0.029)."""
SHUFFLES = 1999
CONFIDENCE = 0.95
FARTHEST_AHEAD = 2.0
"""A forecast reaches no farther than this many times the span of the series."""


class Change(StrEnum):
    """What a series does."""

    TOO_FEW = "too few"
    STEADY = "steady"
    SLOPE = "slope"
    STEP = "step"
    EITHER = "either"


class Side(StrEnum):
    """Which side of the limit is the good one."""

    LEAST = "least"
    GREATEST = "greatest"


@dataclass(frozen=True, slots=True)
class Limit:
    """A figure that readings must keep (SI), met at equality."""

    value: float
    side: Side

    def kept_by(self, value: float) -> bool:
        """Tell whether a value keeps the limit (relative guard 1e-9)."""
        guard = 1e-9 * max(abs(value), abs(self.value))
        if self.side is Side.LEAST:
            return value >= self.value - guard
        return value <= self.value + guard


@dataclass(frozen=True, slots=True)
class Slope:
    """Theil-Sen slope a year with its 95 percent interval, through the medians of day and value."""

    per_year: float
    low: float
    high: float
    middle_on: date
    middle_value: float
    p: float

    def at(self, day: date, per_year: float | None = None) -> float:
        """Return the value of the line on a day, with its own or another slope."""
        years = (day - self.middle_on).days / YEAR_DAYS
        return self.middle_value + years * (self.per_year if per_year is None else per_year)


@dataclass(frozen=True, slots=True)
class Step:
    """One change of level between two readings.

    Attributes
    ----------
    after, until
        Day of the last reading on the old level and of the first on the new one.
    before_level, level
        Medians of both sides.
    size, low, high
        Hodges-Lehmann shift with its 95 percent interval.
    p
        Chance of so clear a step in a series of the same values in random order.
    """

    after: date
    until: date
    before_level: float
    level: float
    size: float
    low: float
    high: float
    p: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """When the line crosses a limit that is still kept: likely day, band of the slope's interval.

    `latest` is None where the flattest slope of the interval never crosses within reach.
    """

    on: date
    earliest: date
    latest: date | None


@dataclass(frozen=True, slots=True)
class Trend:
    """What a series says.

    Attributes
    ----------
    value
        The newest reading, SI; None where there is none.
    limit, margin
        What it must keep and how far it is on the good side; None without a limit.
    verdict
        "fail" (newest reading beyond the limit), "look into it" (changing), "pass" (steady and
        long enough to say so), "" (no verdict).
    missing
        How many more readings the tests need before there is a verdict.
    reason
        Sentences.
    """

    change: Change
    value: float | None
    limit: Limit | None
    margin: float | None
    verdict: str
    reason: str
    missing: int
    slope: Slope | None
    step: Step | None
    crossing: Crossing | None
    question: str


def trend(
    given: Series, limit: Limit | None = None, show: Callable[[float], str] = "{:.6g}".format
) -> Trend:
    """Return what a series does and when it crosses its limit.

    Parameters
    ----------
    given
        Readings in SI.
    limit
        What they must keep, in the same unit.
    show
        Writes a value or a difference in the sentences of the reason.

    Notes
    -----
    Slope: Theil-Sen, called when Kendall's test is under half of `FALSE_ALARM`. Step: greatest
    difference of the means of both sides over all places, against the same values in random
    order, under the other half. When both speak, the better fit by the Bayesian information
    criterion is named; within 2 of each other both are left open. Readings of one season and
    hour compare best: a regular swing of the supply looks like noise, never like a step of its own.
    """
    points = given.points
    change, slope, step = _change(points)
    newest = points[-1].value if points else None
    margin = None
    if limit and newest is not None:
        margin = newest - limit.value if limit.side is Side.LEAST else limit.value - newest
    beyond = limit is not None and newest is not None and not limit.kept_by(newest)
    crossing = None
    if limit and slope and not beyond and change in (Change.SLOPE, Change.EITHER):
        crossing = crosses(slope, limit, points)
    missing = max(0, FEWEST_FOR_SLOPE - len(points))
    return Trend(
        change=change,
        value=newest,
        limit=limit,
        margin=margin,
        verdict=_verdict(change, beyond),
        reason=_reason(given, change, slope, step, crossing, limit if beyond else None, show),
        missing=missing,
        slope=slope,
        step=step,
        crossing=crossing,
        question=given.question,
    )


def _change(points: Sequence[Point]) -> tuple[Change, Slope | None, Step | None]:
    if len(points) < FEWEST_FOR_SLOPE or len({point.on for point in points}) < FEWEST_FOR_SLOPE:
        return Change.TOO_FEW, None, None
    slope, step = slope_of(points), step_of(points)
    slides, steps = slope.p <= FALSE_ALARM / 2, step is not None and step.p <= FALSE_ALARM / 2
    if not slides and not steps:
        return Change.STEADY, slope, None
    if len(points) < FEWEST_FOR_STEP:
        return Change.EITHER, slope, None
    if not (slides and steps):
        return (Change.STEP, slope, step) if steps else (Change.SLOPE, slope, None)
    better = _better_line(points)
    if abs(better) < 2.0:
        return Change.EITHER, slope, step
    return (Change.STEP, slope, step) if better < 0.0 else (Change.SLOPE, slope, None)


def slope_of(points: Sequence[Point]) -> Slope:
    """Return the robust slope of readings.

    Parameters
    ----------
    points
        `FEWEST_FOR_SLOPE` or more, on as many days.
    """
    days, values = _arrays(points)
    years = days / YEAR_DAYS
    fit = _statistic("theilslopes")(values, years, alpha=CONFIDENCE)
    flat = bool(np.all(values == values[0]))
    p = 1.0 if flat else float(_statistic("kendalltau")(years, values).pvalue)
    middle = points[0].on + timedelta(days=round(float(np.median(days))))
    low, high = float(fit.low_slope), float(fit.high_slope)
    slope = float(fit.slope)
    at = float(
        np.median(values) + slope * ((middle - points[0].on).days - np.median(days)) / 365.25
    )
    return Slope(slope, min(low, slope), max(high, slope), middle, at, p)


def step_of(points: Sequence[Point]) -> Step | None:
    """Return the clearest step of readings with its chance, or None under `FEWEST_FOR_STEP`."""
    if len(points) < FEWEST_FOR_STEP:
        return None
    _days, values = _arrays(points)
    centred = values - values.mean()
    at, clear = _clearest(centred[None, :])
    chance = _clearest(centred[_orders(len(values))])[1]
    p = (1.0 + float(np.sum(chance >= clear[0] * (1.0 - 1e-12)))) / (SHUFFLES + 1.0)
    k = int(at[0])
    before, after = values[:k], values[k:]
    size, low, high = _shift(before, after)
    return Step(
        points[k - 1].on,
        points[k].on,
        float(np.median(before)),
        float(np.median(after)),
        size,
        low,
        high,
        p,
    )


@lru_cache(maxsize=32)
def _orders(n: int) -> np.ndarray[Any, Any]:
    """Return the random orders of so many values, made once.

    The seed makes one series give one answer; the order of shuffles carries no meaning.
    """
    places = np.tile(np.arange(n, dtype=np.int16), (SHUFFLES, 1))
    return np.random.default_rng(1).permuted(places, axis=1)


@cache
def _statistic(name: str) -> Callable[..., Any]:
    """Return a function of the statistics library on plain rows of numbers.

    What is wrapped around it sees to missing values and to axes, and takes longer than it does.
    """
    found: Callable[..., Any] = inspect.unwrap(getattr(scipy.stats, name))
    return found


@cache
def _deviations() -> float:
    """Return how many standard deviations the confidence reaches to either side."""
    return float(scipy.stats.norm.ppf(0.5 + CONFIDENCE / 2))


def _clearest(rows: np.ndarray[Any, Any]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Return for each row where its clearest step is, and how much of its squares that explains.

    Parameters
    ----------
    rows
        (m, n): values less their mean.
    """
    n = rows.shape[1]
    places = np.arange(2, n - 1)
    sums = np.cumsum(rows[:, : n - 2], axis=1)[:, 1:]
    between = sums**2 * (n / (places * (n - places)))
    best = between.argmax(axis=1)
    return places[best], between[np.arange(len(rows)), best]


def _shift(before: np.ndarray[Any, Any], after: np.ndarray[Any, Any]) -> tuple[float, float, float]:
    """Return the Hodges-Lehmann shift and its interval by the rank-sum distribution."""
    pairs = np.sort(np.subtract.outer(after, before).ravel())
    m, n = len(before), len(after)
    spread = _deviations() * math.sqrt(m * n * (m + n + 1) / 12)
    skip = max(0, min(round(m * n / 2 - spread), (len(pairs) - 1) // 2))
    return float(np.median(pairs)), float(pairs[skip]), float(pairs[len(pairs) - 1 - skip])


def _better_line(points: Sequence[Point]) -> float:
    """Return how much better a step fits than a line (negative: the step), in BIC."""
    days, values = _arrays(points)
    n = len(values)
    at = int(_clearest(values[None, :] - values.mean())[0][0])
    sides = (values[:at], values[at:])
    step_rss = sum(float(((side - side.mean()) ** 2).sum()) for side in sides)
    level, rise = np.polynomial.polynomial.polyfit(days, values, 1)
    line_rss = float(((values - level - rise * days) ** 2).sum())
    least = 1e-12 * max(float(((values - values.mean()) ** 2).sum()), 1e-300)
    ratio = max(step_rss, least) / max(line_rss, least)
    return n * math.log(ratio) + math.log(n)


def crosses(slope: Slope, limit: Limit, points: Sequence[Point]) -> Crossing | None:
    """Return when a line crosses a limit after the newest reading; None out of reach or never.

    Parameters
    ----------
    slope
        Of the readings.
    limit
        In their unit.
    points
        The readings, oldest first: the forecast reaches `FARTHEST_AHEAD` times their span.
    """
    newest = points[-1].on
    reach = newest + timedelta(days=round(FARTHEST_AHEAD * (newest - points[0].on).days))
    falls = limit.side is Side.LEAST
    on = _day(slope, slope.per_year, limit, falls)
    if on is None or on > reach:
        return None
    fastest, flattest = (slope.low, slope.high) if falls else (slope.high, slope.low)
    first = _day(slope, fastest, limit, falls) or on
    last = _day(slope, flattest, limit, falls)
    ends = sorted((first, on) if last is None else (first, on, last))
    latest = None if last is None or last > reach else max(ends[-1], newest)
    return Crossing(max(on, newest), max(ends[0], newest), latest)


def _day(slope: Slope, per_year: float, limit: Limit, falls: bool) -> date | None:
    if per_year == 0.0 or (per_year < 0.0) != falls:
        return None
    days = (limit.value - slope.middle_value) / per_year * YEAR_DAYS
    if not -1e5 < days < 1e5:
        return None
    return slope.middle_on + timedelta(days=math.ceil(days))


def _arrays(points: Sequence[Point]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    days = np.array([(point.on - points[0].on).days for point in points], dtype=float)
    return days, np.array([point.value for point in points], dtype=float)


# --- in words ----------------------------------------------------------------------------------


def _verdict(change: Change, beyond: bool) -> str:
    if beyond:
        return "fail"
    return {Change.TOO_FEW: "", Change.STEADY: "pass"}.get(change, "look into it")


def _reason(
    given: Series,
    change: Change,
    slope: Slope | None,
    step: Step | None,
    crossing: Crossing | None,
    beyond: Limit | None,
    show: Callable[[float], str],
) -> str:
    words = [_said(given, change, slope, step, show)]
    if beyond:
        words.insert(0, f"The newest reading is beyond its limit of {show(beyond.value)}.")
    elif crossing:
        words.append(_crossing_said(crossing))
    if given.left_out:
        words.append(f"Not used: {len(given.left_out)} (see the table).")
    return " ".join(words)


def _said(
    given: Series,
    change: Change,
    slope: Slope | None,
    step: Step | None,
    show: Callable[[float], str],
) -> str:
    n = len(given.points)
    if slope is None:
        need = max(1, FEWEST_FOR_SLOPE - n)
        return f"No trend: {n} of {FEWEST_FOR_SLOPE} readings, {need} more needed."
    yearly = f"{show(slope.per_year)} a year{_between(slope, show)}"
    if change is Change.STEADY:
        more = FEWEST_FOR_STEP - n
        unsaid = f" A step is not looked for under {FEWEST_FOR_STEP} readings." if more > 0 else ""
        return f"Steady over {n} readings: no change beyond chance.{unsaid}"
    if change is Change.SLOPE:
        return f"Changes steadily by {yearly}."
    if step is None:
        need = FEWEST_FOR_STEP - n
        readings = "reading tells" if need == 1 else "readings tell"
        return f"Changes by {yearly}; {need} more {readings} a step from a slope."
    stepped = (
        f"by {show(step.size)}{_between(step, show)} between "
        f"{step.after.isoformat()} and {step.until.isoformat()}"
    )
    if change is Change.STEP:
        return f"Stepped {stepped}, from {show(step.before_level)} to {show(step.level)}."
    return f"Changed: either a step {stepped}, or steadily by {yearly}."


def _between(change: Slope | Step, show: Callable[[float], str]) -> str:
    """Say the band of a change, unless rounding leaves nothing of it."""
    low, high = show(change.low), show(change.high)
    return "" if low == high else f" ({low} to {high})"


def _crossing_said(crossing: Crossing) -> str:
    until = crossing.latest.isoformat() if crossing.latest else "much later or never"
    return (
        f"If it goes on, the limit is crossed about {crossing.on.isoformat()} "
        f"({crossing.earliest.isoformat()} to {until})."
    )
