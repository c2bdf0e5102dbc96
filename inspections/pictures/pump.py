"""A fire pump's curve: the tested points, the nameplate, and the limits."""

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes

from inspections.pictures.canvas import AIR, INK, INK_2, LIMIT, WATER, Picture, finished, sheet
from inspections.pictures.reader import ANYBODY, Reader
from inspections.pictures.tested import ANNUAL_LEAST, FIRST, RAW, Point, Pump


def draw(given: Pump, reader: Reader = ANYBODY) -> Picture:
    """Return the picture of a pump test."""
    say = reader.say
    across, up = say("flow"), say("net pressure")
    figure, axes = sheet(f"{across}, {given.flow_unit}", f"{up}, {given.pressure_unit}", reader)
    if given.base:
        base = sorted(given.base)
        _curve(axes, base, INK_2, say(FIRST), marker="s", linewidth=1.2)
        least = [(q, ANNUAL_LEAST * p) for q, p in base]
        dashed = (0, (8, 2, 2, 2))
        _curve(axes, least, LIMIT, say(f"95 percent of {FIRST}"), linewidth=1.2, linestyle=dashed)
    if given.raw:
        _curve(axes, sorted(given.raw), AIR, say(RAW), marker="^", linestyle=(0, (2, 2)))
    tested = "tested, at rated speed" if given.corrected else "tested, as read"
    _curve(axes, sorted(given.tested), WATER, say(tested), marker="o", linewidth=2.0)
    for (name, (q, p)), marker in zip(given.marks.items(), ("D", "v", "^"), strict=True):
        color = INK if name == "rated" else LIMIT
        axes.plot(
            [q],
            [p],
            linestyle="none",
            marker=marker,
            markersize=8,
            color=color,
            clip_on=False,
            label=say(name),
            markerfacecolor="none",
            markeredgewidth=1.6,
        )
    every = [*given.tested, *given.raw, *given.base, *given.marks.values()]
    axes.set_xlim(0.0, 1.05 * max(q for q, _p in every))
    axes.set_ylim(0.0, 1.1 * max(p for _q, p in every))
    head, rows = given.table(reader)
    return finished(figure, axes, title=given.title, words=given.words, head=head, rows=rows)


def _curve(axes: Axes, points: Sequence[Point], color: str, name: str, **more: Any) -> None:
    axes.plot(
        [q for q, _p in points],
        [p for _q, p in points],
        color=color,
        label=name,
        clip_on=False,
        **more,
    )
