"""Draws data as SVG: one file for page and PDF, light by itself and dark where the reader is dark.

Lettering becomes outlines of the house's typeface, so that every reader shows the same. Colours
are presentation attributes; a media query exchanges them in the dark and a printer never sees it.
The same data give the same bytes.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib as mpl
from fontTools.ttLib import TTFont
from fontTools.varLib.instancer import instantiateVariableFont
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties

from inspections.pictures.reader import Reader

FONT = (
    Path(__file__).resolve().parents[2]
    / "contractors/static/contractors/fonts"
    / "atkinson-hyperlegible-next-latin-wght-normal.woff2"
)
# Light to dark, the tokens of the pages.
INK, INK_2, RULE, LINE = "#13202a", "#3b4954", "#c2ccce", "#64737d"
WATER, AIR, LIMIT, FORECAST = "#0072b2", "#9a6b00", "#842500", "#6a2660"
BAND, SHEET = "#b9dcef", "#fbfcfb"
DARK = {
    INK: "#eef4f5",
    INK_2: "#bccad2",
    RULE: "#2b3f4c",
    LINE: "#7c929f",
    WATER: "#56b4e9",
    AIR: "#e0b04a",
    LIMIT: "#ffad8c",
    FORECAST: "#ecb4e0",
    BAND: "#1d4c69",
    SHEET: "#12202a",
}
_WIDE, _HIGH, _DPI = 7.2, 3.9, 100
NARROW = 3.6
_ABREAST = 4


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with what it says in words and in numbers.

    Attributes
    ----------
    svg
        The file; its title and description are inside.
    title, words
        The alternative text: what it is, and what can be seen.
    head, rows
        The numbers as a table, to stand beneath.
    """

    svg: str
    title: str
    words: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...] = field(default=())


@cache
def lettering() -> str:
    """Return the file of the house's typeface as the drawing library reads it."""
    # The library reads no compressed fonts; beside its other caches, made once for each release.
    made = Path(mpl.get_cachedir()) / f"{FONT.stem}-{FONT.stat().st_size}.ttf"
    if not made.is_file():
        font = instantiateVariableFont(TTFont(FONT), {"wght": 420})
        font.flavor = None
        begun = made.with_suffix(f".{id(font)}.part")
        font.save(begun)
        begun.replace(made)
    return str(made)


def letters(size: float = 9.0) -> FontProperties:
    """Return the house's typeface in a size, points."""
    return FontProperties(fname=lettering(), size=size)


def sheet(
    across: str,
    up: str,
    reader: Reader,
    *,
    wide: float | None = None,
    high: float = _HIGH,
    left: float = 0.68,
) -> tuple[Figure, Axes]:
    """Return an empty drawing with its two axes named.

    Parameters
    ----------
    across, up
        What is along and what is up, with the unit.
    wide, high
        Width, by itself what suits the reader's screen, and height, in.
    left
        Room for the words at the left edge, in.
    """
    wide = wide or (NARROW if reader.is_narrow else _WIDE)
    figure = Figure(figsize=(wide, high), dpi=_DPI)
    figure.patch.set_alpha(0.0)
    axes = figure.add_axes((left / wide, 0.54 / high, 1.0 - (left + 0.15) / wide, 1 - 0.72 / high))
    axes.patch.set_alpha(0.0)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(LINE)
    axes.tick_params(colors=LINE, labelcolor=INK_2, length=3.0)
    axes.grid(visible=True, color=RULE, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.set_xlabel(across, fontproperties=letters(), color=INK_2)
    axes.set_ylabel(up, fontproperties=letters(), color=INK_2)
    return figure, axes


def label(
    axes: Axes,
    at: tuple[float, float],
    text: str,
    *,
    color: str = INK,
    offset: tuple[int, int] = (5, 5),
    **more: Any,
) -> None:
    """Write a word beside a point, never upon the frame's edge."""
    axes.annotate(
        text,
        at,
        xytext=offset,
        textcoords="offset points",
        fontproperties=letters(8.5),
        color=color,
        **more,
    )


def finished(
    figure: Figure,
    axes: Axes,
    *,
    title: str,
    words: str,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
) -> Picture:
    """Return a drawing as a picture."""
    for tick in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        tick.set_fontproperties(letters(8.5))
    _name(figure, axes)
    made = io.StringIO()
    # Fixed names of parts and no day: the same data give the same bytes.
    with mpl.rc_context({"svg.hashsalt": "maindrain", "svg.fonttype": "path"}):
        FigureCanvasSVG(figure).print_svg(
            made, metadata={"Date": None, "Creator": None, "Format": None, "Type": None}
        )
    table = tuple(tuple(row) for row in rows)
    return Picture(_cleaned(made.getvalue(), title, words), title, words, tuple(head), table)


def _name(figure: Figure, axes: Axes) -> None:
    """Write what the marks mean above the drawing, as many names in a row as fit."""
    handles, names = axes.get_legend_handles_labels()
    place, high = axes.get_position(), figure.get_figheight()
    begins = place.x0 if figure.get_figwidth() > NARROW else 0.02
    for abreast in range(min(_ABREAST, len(names)), 0, -1):
        legend = figure.legend(
            handles,
            names,
            prop=letters(8.5),
            labelcolor=INK_2,
            frameon=False,
            loc="upper left",
            bbox_to_anchor=(begins, 1.0 - 0.02 / high),
            borderaxespad=0.0,
            borderpad=0.0,
            ncols=abreast,
            handlelength=2.4,
            columnspacing=1.4,
        )
        if abreast == 1 or legend.get_window_extent().x1 <= figure.bbox.width:
            lines = -(-len(names) // abreast)
            room = (0.2 * lines + 0.08) / high
            axes.set_position((place.x0, place.y0, place.width, 1.0 - place.y0 - room))
            return
        legend.remove()


def _cleaned(svg: str, title: str, words: str) -> str:
    """Return a drawing with plain attributes, few digits, its words, and its dark colours."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<style.*?</style>", "", body, flags=re.DOTALL)
    body = re.sub(r' style="([^"]*)"', _as_attributes, body)
    body = re.sub(r"-?\d+\.\d{3,}", _few_digits, body)
    body = re.sub(r"\s*\n\s*(?=[MLQCz])", "", body)
    body = re.sub(r"\s*\n\s*", "\n", body)
    body = re.sub(r"([MLQC]) (?=[-\d])", r"\1", body)
    body = body.replace("AtkinsonHyperlegibleNext-Regular-", "a-")
    shape = re.search(r'viewBox="([^"]*)"', body)
    assert shape is not None
    wide, high = (float(side) for side in shape[1].split()[2:])
    dark = "".join(
        f'[fill="{light}"]{{fill:{night}}}[stroke="{light}"]{{stroke:{night}}}'
        for light, night in DARK.items()
        if light in body
    )
    # Without a fill or a stroke of its own a part is black, whatever surrounds it.
    start = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{shape[0]} width="{wide / 0.72:.0f}" height="{high / 0.72:.0f}" '
        'stroke-linejoin="round" stroke-linecap="butt" role="img">'
        f"<title>{escape(title)}</title><desc>{escape(words)}</desc>"
        f"<style>@media (prefers-color-scheme:dark){{{dark}}}</style>"
    )
    return start + body[body.index(">") + 1 :].strip() + "\n"


def _few_digits(found: re.Match[str]) -> str:
    """Return a number to a hundredth of a point; scales, which are small, to four places."""
    number = float(found[0])
    return f"{number:.{2 if abs(number) >= 1.0 else 4}f}".rstrip("0").rstrip(".")


def _as_attributes(found: re.Match[str]) -> str:
    pairs = (part.split(":", 1) for part in found[1].split(";") if ":" in part)
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
