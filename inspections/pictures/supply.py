"""Supply and demand on the N^1.85 scale, on which a supply is a straight line."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from inspections.pictures.canvas import INK, INK_2, LIMIT, WATER, Picture, finished, label, sheet
from inspections.pictures.reader import ANYBODY, Reader
from inspections.pictures.tested import EXPONENT, Supply


def draw(given: Supply, reader: Reader = ANYBODY) -> Picture:
    """Return the picture of a supply with its demand.

    Raises
    ------
    ValueError
        When the residual is not under the static, or the flow is not above zero.
    """
    if not (given.static > given.residual >= 0.0 and given.flow > 0.0):
        raise ValueError("residual; under the static, with a flow; a flow test has a drop")
    say = reader.say
    across, up = say("flow"), say("pressure")
    figure, axes = sheet(f"{across}, {given.flow_unit}", f"{up}, {given.pressure_unit}", reader)
    drop = given.drop
    total = given.demand[0] + given.hose if given.demand else 0.0
    ends = min((given.static / drop) ** (1 / EXPONENT), 1.25 * max(given.flow, total) + 1e-9)
    axes.set_xscale("function", functions=(_forward, _back))
    supplied = np.array([0.0, ends])
    axes.plot(
        supplied,
        given.static - drop * supplied**EXPONENT,
        color=WATER,
        linewidth=2.0,
        label=say("supply"),
    )
    tested = ([0.0, given.flow], [given.static, given.residual])
    axes.plot(*tested, linestyle="none", marker="o", markersize=6, color=WATER, label=say("tested"))
    digits = 2 if given.pressure_unit == "bar" else 1
    label(axes, (given.flow, given.residual), say("flow test"), color=WATER)
    if given.earlier:
        _draw_earlier(axes, given.earlier, ends)
    if given.demand:
        flow, pressure = given.demand
        axes.plot([0.0, flow], [0.0, pressure], color=INK, linewidth=1.0, linestyle=(0, (2, 2)))
        axes.plot(
            [flow, total],
            [pressure, pressure],
            color=INK,
            linewidth=1.6,
            marker="s",
            markersize=6,
            label=say("demand, with hose" if given.hose else "demand"),
        )
        left = given.static - drop * total**EXPONENT
        short = left < pressure
        axes.annotate(
            "",
            (total, left),
            (total, pressure),
            arrowprops={"arrowstyle": "<->", "color": LIMIT if short else INK, "linewidth": 1.2},
        )
        words = f"{left - pressure:+.{digits}f} {given.pressure_unit}"
        label(
            axes,
            (total, (left + pressure) / 2),
            words,
            color=LIMIT if short else INK,
            offset=(6, -4),
        )
    axes.set_xlim(0.0, ends)
    highest = [given.static, *given.demand[1:]] if given.demand else [given.static]
    axes.set_ylim(0.0, 1.12 * max([*highest, *given.earlier[1:2]] if given.earlier else highest))
    axes.set_xticks(_ticks(ends, 4 if reader.is_narrow else 8))
    head, rows = given.table(reader)
    return finished(figure, axes, title=given.title, words=given.words, head=head, rows=rows)


def _draw_earlier(axes: Axes, earlier: tuple[str, float, float, float], ends: float) -> None:
    """Draw the line of the test before."""
    day, static, residual, flow = earlier
    drop = (static - residual) / flow**EXPONENT
    shown = np.array([0.0, min(ends, (static / drop) ** (1 / EXPONENT))])
    dashes = (0, (5, 3))
    line = static - drop * shown**EXPONENT
    axes.plot(shown, line, color=INK_2, linewidth=1.2, linestyle=dashes, label=day)


def _forward(flow: object) -> object:
    return np.maximum(np.asarray(flow, dtype=float), 0.0) ** EXPONENT


def _back(scaled: object) -> object:
    return np.maximum(np.asarray(scaled, dtype=float), 0.0) ** (1 / EXPONENT)


def _ticks(ends: float, most: int) -> Sequence[float]:
    """Return round flows that do not crowd at the low end of the scale."""
    for step in (s * 10**p for p in range(6) for s in (1, 2, 2.5, 5)):
        if ends / step <= most:
            break
    every = [step * i for i in range(int(ends / step) + 1)]
    return [flow for flow in every if flow == 0.0 or flow >= 0.19 * ends]
