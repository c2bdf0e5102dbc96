"""Readings over the years with their limit, their trend and its forecast."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from matplotlib.lines import Line2D

from inspections.pictures.canvas import (
    AIR,
    BAND,
    FORECAST,
    INK,
    INK_2,
    LIMIT,
    NARROW,
    SHEET,
    WATER,
    Picture,
    finished,
    label,
    sheet,
)
from inspections.pictures.reader import ANYBODY, Reader

# A look for each point: in black and white by mark and line.
_LOOKS: Sequence[tuple[str, str, Any]] = (
    (WATER, "o", "-"),
    (AIR, "s", (0, (5, 2))),
    (INK_2, "^", (0, (2, 2))),
    (FORECAST, "D", (0, (5, 2, 1, 2))),
)


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece of a trend: ends by day and value; `sure` gives its band's values there."""

    on: tuple[date, date]
    values: tuple[float, float]
    low: tuple[float, float] | None = None
    high: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class History:
    """What a history shows; values in the reader's unit.

    Attributes
    ----------
    title, unit, words
        Heading, unit of the values, and the finding in words.
    points
        Day, value, and the value as the reader reads it.
    left_out
        The same with the reason why it is not used.
    limit
        Figure and its words ("least 63 psi"), or None.
    trend
        Pieces of the line through the readings: one for a slope, two for a step.
    forecast
        From the newest reading on, with its band.
    crossing
        When the limit is crossed.
    """

    title: str
    unit: str
    words: str
    points: Sequence[tuple[date, float, str]]
    left_out: Sequence[tuple[date, float, str, str]] = ()
    limit: tuple[float, str] | None = None
    trend: Sequence[Line] = ()
    forecast: Line | None = None
    crossing: date | None = None


@dataclass(frozen=True, slots=True)
class Abreast:
    """One kind of reading at several points over the years, small; values in the reader's unit.

    Attributes
    ----------
    title, unit, words
        As of a history.
    points
        For each point its name ("" where there is one only) and its readings: day, value, shown.
    limits
        What readings at a point keep, by its name.
    begins
        Look of the first point: one that is left out takes its look along.
    """

    title: str
    unit: str
    words: str
    points: Sequence[tuple[str, Sequence[tuple[date, float, str]]]]
    limits: Mapping[str, float] = field(default_factory=dict)
    begins: int = 0


def of_data(data: Mapping[str, Any]) -> History:
    """Return a history from its JSON data, days as ISO 8601 texts, figures as numbers or texts."""

    def line(one: Mapping[str, Any]) -> Line:
        first, last = (date.fromisoformat(day) for day in one["on"])
        ends = {name: _pair(one[name]) for name in ("low", "high") if one[name]}
        return Line((first, last), _pair(one["values"]), **ends)

    points = [(date.fromisoformat(on), float(value), shown) for on, value, shown in data["points"]]
    left = [(date.fromisoformat(on), float(value), *said) for on, value, *said in data["left_out"]]
    limit, crossing = data["limit"], data["crossing"]
    return History(
        data["title"],
        data["unit"],
        data["words"],
        points,
        left,
        (float(limit[0]), limit[1]) if limit else None,
        [line(one) for one in data["trend"]],
        line(data["forecast"]) if data["forecast"] else None,
        date.fromisoformat(crossing) if crossing else None,
    )


def _pair(two: Sequence[Any]) -> tuple[float, float]:
    return float(two[0]), float(two[1])


def draw(given: History, reader: Reader = ANYBODY) -> Picture:
    """Return the picture of a history."""
    say = reader.say
    figure, axes = sheet("", given.unit, reader)
    days = [float(date2num(day)) for day, _value, _shown in given.points]
    values = [value for _day, value, _shown in given.points]
    axes.plot(
        days, values, color=WATER, linewidth=0.8, marker="o", markersize=5, label=say("reading")
    )
    if given.left_out:
        left = [float(date2num(one[0])) for one in given.left_out]
        axes.plot(
            left,
            [one[1] for one in given.left_out],
            linestyle="none",
            marker="o",
            markersize=5,
            markerfacecolor=SHEET,
            markeredgecolor=INK_2,
            label=say("not used"),
        )
    for place, line in enumerate(given.trend):
        name = say("trend") if place == 0 else "_trend"
        _line(axes, line, INK, "-", name)
    if given.forecast:
        words = say("if it goes on, 95 percent band")
        _line(axes, given.forecast, FORECAST, (0, (5, 3)), words)
    if given.limit:
        axes.axhline(given.limit[0], color=LIMIT, linewidth=1.6, linestyle=(0, (8, 2, 2, 2)))
        axes.add_line(
            Line2D(
                [],
                [],
                color=LIMIT,
                linewidth=1.6,
                linestyle=(0, (8, 2, 2, 2)),
                label=given.limit[1],
            )
        )
    if given.crossing and given.limit:
        at = (float(date2num(given.crossing)), given.limit[0])
        axes.plot(*at, marker="D", markersize=6, color=FORECAST, linestyle="none")
        label(axes, at, given.crossing.isoformat(), color=FORECAST, ha="right", offset=(-6, -13))
    _room(axes, _values(given))
    _days(axes, most=5 if reader.is_narrow else 9)
    rows = [(day.isoformat(), shown, "") for day, _value, shown in given.points]
    rows += [(day.isoformat(), shown, why) for day, _value, shown, why in given.left_out]
    columns = 3 if given.left_out else 2
    return finished(
        figure,
        axes,
        title=given.title,
        words=given.words,
        head=(say("Day"), say("Reading"), say("Remark"))[:columns],
        rows=[row[:columns] for row in sorted(rows)],
    )


def _line(axes: Axes, line: Line, color: str, style: Any, name: str) -> None:
    days = [float(date2num(day)) for day in line.on]
    if line.low and line.high:
        axes.fill_between(days, line.low, line.high, color=BAND, linewidth=0, zorder=0.5)
    axes.plot(days, line.values, color=color, linewidth=1.6, linestyle=style, label=name)


def draw_abreast(given: Abreast, reader: Reader = ANYBODY) -> Picture:
    """Return the small picture of one kind of reading at several points."""
    say = reader.say
    figure, axes = sheet("", given.unit, reader, wide=NARROW, high=2.2, left=0.6)
    for (name, readings), (color, marker, style) in zip(
        given.points, itertools.islice(itertools.cycle(_LOOKS), given.begins, None), strict=False
    ):
        axes.plot(
            [float(date2num(day)) for day, _value, _shown in readings],
            [value for _day, value, _shown in readings],
            color=color,
            marker=marker,
            linestyle=style,
            linewidth=1.2,
            markersize=4.5,
            label=name or "_only",
        )
    for limit in given.limits.values():
        axes.axhline(limit, color=LIMIT, linewidth=1.2, linestyle=(0, (8, 2, 2, 2)))
    drawn = [value for _name, readings in given.points for _day, value, _shown in readings]
    _room(axes, [*drawn, *given.limits.values()])
    _days(axes, most=5)
    rows = [
        (day.isoformat(), name, shown)
        for name, readings in given.points
        for day, _value, shown in readings
    ]
    head = (say("Day"), say("Point"), say("Reading"))
    return finished(figure, axes, title=given.title, words=given.words, head=head, rows=rows)


def _days(axes: Axes, most: int) -> None:
    locator = AutoDateLocator(minticks=3, maxticks=most)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, show_offset=False))


def _values(given: History) -> list[float]:
    """Return every value that a history draws."""
    values = [one[1] for one in given.points] + [one[1] for one in given.left_out]
    for line in (*given.trend, *([given.forecast] if given.forecast else ())):
        values += line.values
    return [*values, *([given.limit[0]] if given.limit else ())]


def _room(axes: Axes, values: Sequence[float]) -> None:
    """Leave room around what is drawn, and show pressures from zero where they come near it."""
    if not values:
        return
    low, high = min(values), max(values)
    room = max(0.12 * (high - low), 0.02 * max(abs(high), abs(low)), 1e-9)
    least = low - room
    axes.set_ylim(0.0 if least < 0.0 <= low or 0.0 <= low < 0.3 * high else least, high + room)
