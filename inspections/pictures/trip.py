"""A dry pipe trip test on one line of time: what happened when, beside last time and limits."""

from inspections.pictures.canvas import INK_2, LIMIT, WATER, Picture, finished, label, sheet
from inspections.pictures.reader import ANYBODY, Reader
from inspections.pictures.tested import Trip, seconds


def draw(given: Trip, reader: Reader = ANYBODY) -> Picture:
    """Return the timeline of a trip test."""
    count = len(given.runs)
    figure, axes = sheet(
        reader.say("seconds from opening"),
        "",
        reader,
        high=1.3 + 0.62 * count,
        left=1.0,
    )
    furthest = max((at for run in given.runs for _word, at in run.moments), default=1.0)
    for place, run in enumerate(given.runs):
        color = WATER if place == 0 else INK_2
        last = max((at for _word, at in run.moments), default=0.0)
        axes.plot([0.0, last], [place, place], color=color, linewidth=2.4)
        for at_place, (word, at) in enumerate(sorted(run.moments, key=lambda one: one[1])):
            axes.plot([at], [place], marker="o", markersize=7, color=color, linestyle="none")
            offset = (0, 8) if at_place % 2 == 0 else (0, -15)
            side = "right" if at > 0.85 * furthest else "left"
            label(axes, (at, place), f"{word} {seconds(at)}", color=color, ha=side, offset=offset)
    if given.limit:
        dashes = (0, (8, 2, 2, 2))
        axes.axvline(
            given.limit[0], color=LIMIT, linewidth=1.6, linestyle=dashes, label=given.limit[1]
        )
    axes.set_yticks(range(count), [run.name for run in given.runs])
    axes.set_ylim(count - 0.4, -0.6)
    axes.set_xlim(0.0, 1.08 * max(furthest, given.limit[0] if given.limit else 0.0))
    axes.grid(visible=False, axis="y")
    head, rows = given.table(reader)
    return finished(figure, axes, title=given.title, words=given.words, head=head, rows=rows)
