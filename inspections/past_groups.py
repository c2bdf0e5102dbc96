"""How the history page lays out what was read on an item: what changes first, the rest by noun."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from buildings import units
from inspections import drawings, pump_tests
from inspections.past import Line, Past
from inspections.pictures.reader import Reader
from inspections.trends.trend import Change

BEYOND, CHANGES, STANDS = range(3)
# As many pictures are seen at once without folding.
FEW = 4
_TITLES = {
    "net": _lazy("Net pressure"),
    "rotation": _lazy("Speed"),
    "electrical": _lazy("Electrical"),
    "gauges": _lazy("Suction and discharge"),
    "pressure": _lazy("Pressure"),
    "flow": _lazy("Flow"),
    "time": _lazy("Time"),
    "other": _lazy("Other readings"),
}
_NOUNS = {
    pump_tests.NET: "net",
    pump_tests.SUCTION: "gauges",
    pump_tests.DISCHARGE: "gauges",
    "voltage": "electrical",
    "current": "electrical",
}
_POINTS = list(pump_tests.POINTS)
_SAID = {
    Change.STEP: _lazy("stepped"),
    Change.SLOPE: _lazy("slides"),
    Change.EITHER: _lazy("changed"),
    Change.STEADY: _lazy("steady"),
    Change.TOO_FEW: _lazy("too few readings for a trend"),
}


@dataclass(frozen=True)
class Row:
    """One day in numbers: what was read at each point, and what of it is not used and why."""

    on: date
    shown: tuple[str, ...]
    not_used: str


@dataclass(frozen=True)
class Kind:
    """One kind of reading at all its points."""

    lines: tuple[Line, ...]

    @property
    def name(self) -> str:
        """Return the name of the readings."""
        return self.lines[0].name

    @property
    def words(self) -> str:
        """Return the name as people read it."""
        return self.lines[0].noun

    @property
    def points(self) -> list[str]:
        """Return the points as people read them; one empty text where there are none."""
        return [line.at for line in self.lines]

    @property
    def common(self) -> str:
        """Return what is said of every point alike, or an empty text."""
        return _alike(line.trend.reason for line in self.lines)

    @property
    def question(self) -> str:
        """Return what is asked of every point alike, or an empty text."""
        return _alike(line.trend.question for line in self.lines)

    @property
    def said(self) -> str:
        """Return what the picture shows, in words: its alternative text."""
        if self.common:
            return self.common
        return " ".join(f"{one.at}: {one.trend.reason}".lstrip(": ") for one in self.lines)

    @property
    def count(self) -> int:
        """Return how many readings there are."""
        return sum(len(one.given.points) + len(one.given.left_out) for one in self.lines)

    @property
    def rank(self) -> int:
        """Return how much it wants to be seen; see `rank`."""
        return min(map(rank, self.lines))

    def rows(self) -> list[Row]:
        """Return every reading by day, the newest first."""
        cells: dict[date, list[list[str]]] = defaultdict(lambda: [[] for _line in self.lines])
        why: dict[date, list[str]] = defaultdict(list)
        for place, line in enumerate(self.lines):
            for point in line.given.points:
                cells[point.on][place].append(line.show(point.value))
            for left in line.given.left_out:
                cells[left.point.on][place].append(line.show(left.point.value))
                why[left.point.on].append(f"{line.at}: {left.why}".lstrip(": "))
        return [
            Row(on, tuple("; ".join(cell) for cell in cells[on]), "; ".join(why[on]))
            for on in sorted(cells, reverse=True)
        ]


@dataclass(frozen=True)
class Group:
    """Kinds of readings that go together: the electrical ones, the gauges."""

    noun: str
    kinds: tuple[Kind, ...]
    is_open: bool

    @property
    def title(self) -> str:
        """Return the heading."""
        return str(_TITLES[self.noun])

    @property
    def said(self) -> str:
        """Return in a few words what its readings do, the worst first."""
        lines = sorted((line for kind in self.kinds for line in kind.lines), key=rank)
        return ", ".join(dict.fromkeys(_short(line) for line in lines))


def rank(line: Line) -> int:
    """Return how much a line wants to be seen: beyond its limit, changing, standing."""
    if line.trend.verdict == "fail":
        return BEYOND
    changes = line.trend.change in (Change.SLOPE, Change.STEP, Change.EITHER)
    return CHANGES if changes else STANDS


def lead(found: Past) -> Line | None:
    """Return the line to be seen first: the one beyond its limit, else one that changes."""
    return min(found.lines, key=lambda line: (rank(line), _order(line)), default=None)


def kinds(found: Past) -> list[Kind]:
    """Return the kinds of readings, each with the lines of its points."""
    by_name: dict[str, list[Line]] = defaultdict(list)
    for line in found.lines:
        by_name[line.name].append(line)
    return [Kind(tuple(lines)) for lines in by_name.values()]


def groups(found: Past, shown: Line | None) -> list[Group]:
    """Return the kinds of readings by noun, those that change first.

    Parameters
    ----------
    shown
        A line that stands above them; its kind isn't repeated unless it has other points.
    """
    by_noun: dict[str, list[Kind]] = defaultdict(list)
    for kind in kinds(found):
        if kind.lines != (shown,):
            by_noun[_noun(kind.lines[0])].append(kind)
    ordered = sorted(
        by_noun.items(),
        key=lambda one: (min(kind.rank for kind in one[1]), list(_TITLES).index(one[0])),
    )
    are_few = sum(len(there) for _noun_, there in ordered) <= FEW
    return [
        Group(
            noun,
            tuple(sorted(there, key=lambda kind: kind.rank)),
            place == 0 or are_few,
        )
        for place, (noun, there) in enumerate(ordered)
    ]


def picture(kind: Kind, title: str, reader: Reader) -> Any:
    """Return the small picture of a kind, drawn once for the same readings."""
    # The drawing library takes seconds to load: only where something is drawn.
    from inspections.pictures import history

    first = kind.lines[0]
    unit = str(units.named(0.0, first.quantity, first.system)["unit"])
    at = partial(units.from_si, unit=unit, quantity=first.quantity)
    given = history.Abreast(
        title=title,
        unit=unit,
        words=kind.said,
        points=[
            (
                line.at,
                [(p.on, round(at(p.value), 9), line.show(p.value)) for p in line.given.points],
            )
            for line in kind.lines
        ],
        begins=_POINTS.index(first.point) if first.point in _POINTS else 0,
        limits={
            line.at: round(at(line.trend.limit.value), 9) for line in kind.lines if line.trend.limit
        },
    )
    return drawings.kept(given, history.draw_abreast, reader)


def _alike(texts: Iterable[str]) -> str:
    said = set(texts)
    return said.pop() if len(said) == 1 else ""


def _noun(line: Line) -> str:
    noun = _NOUNS.get(line.name) or line.quantity
    return noun if noun in _TITLES else "other"


def _order(line: Line) -> int:
    return list(_TITLES).index(_noun(line))


def _short(line: Line) -> str:
    return _("beyond its limit") if rank(line) == BEYOND else str(_SAID[line.trend.change])
