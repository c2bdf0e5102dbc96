"""What falls due at each building by week, counted with the occurrences, so that no list has to.

The counts of a building stand packed in one value of one row: all buildings are read by one query,
narrowed and added up as arrays. Days go by without any of it changing: late is what is past its
latest day.
"""

import struct
import zlib
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from contractors import bulk
from inspections.catalogue import Catalogue
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Act
from inspections.intervals import Span
from inspections.models import Visit
from scheduling.deriving import Place
from scheduling.models import Occurrence, Workload

if TYPE_CHECKING:
    from scheduling.owing import Timed

KINDS = ("inspection", "test", "maintenance")

# What is counted apart, and how it is packed: small, for lists read it for all buildings. Days are
# counted from `_FIRST`, minutes in tenths, so that sums are exact.
_KEY = ("by_owner", "kind", "often", "system", "qualification", "monday", "latest")
_FORMATS = ("<i1", "<i1", "<i2", "<u2", "<u2", "<u2", "<u2", "<i4", "<i4")
COUNT = np.dtype(list(zip((*_KEY, "count", "tenths"), _FORMATS, strict=True)))
_PACKED = struct.Struct("<bbhHHHHii")
_FIRST = date(1950, 1, 1).toordinal()
_LAST = 2**16 - 1

_NEVER = -(2**15)

# What of an occurrence is counted apart, beside who does it and the kind of its activity.
_WORK = ("system__kind", "qualification", "frequency", "due_on", "latest_on", "adds")
# What is counted apart, packed: the columns of `_KEY`.
_Apart = tuple[bool, int, int, int, int, int, int]
# A building, and a visit to it or None.
_Whose = tuple[UUID, UUID | None]
Rows = NDArray[np.void]
Ints = NDArray[np.int64]


# A programme falls due on few days, and asks for their weeks again and again.
@lru_cache(maxsize=20_000)
def monday_of(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


@lru_cache(maxsize=1_000)
def code(word: str) -> int:
    """Return the number that stands for a kind of system or a qualification; no two share one."""
    return zlib.crc32(word.encode()) & 0xFFFF


@lru_cache(maxsize=1_000)
def often(frequency: str) -> int:
    """Return the number that stands for a frequency: its months, or its days below zero.

    What is no frequency has a number that no work has.
    """
    try:
        span = Span.parse(frequency) if frequency else Span()
    except ValueError:
        return _NEVER
    number = -span.days or span.months
    return max(_NEVER + 1, min(number, -_NEVER - 1))


def number(day: date) -> int:
    """Return a day as it is packed; what lies before 1950 or after 2129 counts as the end there."""
    return max(0, min(day.toordinal() - _FIRST, _LAST))


def day_of(number: int) -> date:
    """Return the day that a packed number stands for."""
    return date.fromordinal(_FIRST + number)


def weighed(owed: Iterable["Timed"], rules: Catalogue) -> list[tuple["Timed", float]]:
    """Return what is owed at a building, each with what it adds to the minutes of its week.

    Set-up counts once for each kind of work and system in a week, and so do members of one family
    on one item: one of the rows carries it, and their sum is the work of the week.
    """
    weeks: dict[tuple[bool, date], list[Timed]] = defaultdict(list)
    for one in sorted(owed, key=lambda one: (one.activity.id, one.applied.owed.item.id)):
        weeks[one.by_owner, monday_of(one.window.due)].append(one)
    return [
        (one, round(minutes, 1))
        for together in weeks.values()
        for one, minutes in zip(together, rules.added(map(_act_of, together)), strict=True)
    ]


def _act_of(one: "Timed") -> Act:
    item = one.applied.subject
    place = item.system_id.hex if item and item.system_id else ""
    return Act(one.activity, one.applied.owed.item.id, place, one.how_many)


# --- kept ------------------------------------------------------------------------------------


def keep(places: Sequence[Place], taken: Mapping[tuple[UUID, str], UUID]) -> None:
    """Make what is counted of buildings that of their occurrences; only changes are written.

    Parameters
    ----------
    taken
        The visits under way that do some of them, by item and activity.
    """
    wanted: dict[_Whose, tuple[str, bytes]] = {}
    for place in places:
        rows = list(_of_place(place))
        area = place.building.area
        wanted[place.building.pk, None] = area, packed(rows)
        in_visits = defaultdict(list)
        for one, row in zip(place.owed, rows, strict=True):
            visit_id = taken.get((one.subject_id, one.activity))
            if visit_id:
                in_visits[visit_id].append(row)
        wanted |= {
            (place.building.pk, pk): (area, packed(found)) for pk, found in in_visits.items()
        }
    _write(Workload.objects.filter(building__among=[one.building.pk for one in places]), wanted)


def count_visits(visits: Collection[Visit]) -> None:
    """Count what of the work that falls due is in visits."""
    kinds = {one.id: one.kind for one in catalogue().activities.values()}
    found: defaultdict[_Whose, list[tuple[_Apart, int]]] = defaultdict(list)
    areas = {one.building_id: one.building.area for one in visits}
    ids = [one.pk for one in visits]
    rows = Occurrence.objects.filter(visit__among=ids).order_by()
    columns = ("building_id", "visit_id", "by_owner", "activity", *_WORK)
    for building_id, visit_id, by_owner, activity, *work in rows.values_list(*columns):
        found[building_id, visit_id].append(counted(by_owner, kinds[activity], *work))
    wanted = {key: (areas[key[0]], packed(rows)) for key, rows in found.items()}
    _write(Workload.objects.filter(visit__among=ids), wanted)


def _write(rows: Any, wanted: dict[_Whose, tuple[str, bytes]]) -> None:
    """Make rows the wanted ones: of each its district and its counts."""
    changed, gone = [], []
    columns = ("pk", "building_id", "visit_id", "area", "counts")
    for pk, building_id, visit_id, *before in rows.values_list(*columns):
        now = wanted.pop((building_id, visit_id), None)
        if now is None:
            gone.append(pk)
        elif tuple(before) != now:
            changed.append((pk, *now))
    if gone:
        Workload.objects.filter(pk__among=gone).delete()
    bulk.change(Workload, ("area", "counts"), changed)
    fresh = [(*key, *now) for key, now in wanted.items()]
    bulk.add(Workload, ("building_id", "visit_id", "area", "counts"), fresh)


def _of_place(place: Place) -> Iterator[tuple[_Apart, int]]:
    activities, by_id = catalogue().activities, place.inventory.by_id
    for row in place.owed:
        system = by_id.get(row.system_id) if row.system_id else None
        yield counted(
            row.by_owner,
            activities[row.activity].kind,
            system.attributes.get("kind", system.kind) if system else None,
            *(row.qualification, row.frequency, row.due_on, row.latest_on, row.adds),
        )


def counted(
    by_owner: bool,
    kind: str,
    system_kind: str | None,
    qualification: str,
    frequency: str,
    due_on: date,
    latest_on: date,
    adds: float,
) -> tuple[_Apart, int]:
    """Return what of an occurrence is counted apart, and its minutes in tenths."""
    key = _key(by_owner, kind, system_kind or "", qualification, frequency, due_on, latest_on)
    return key, round(adds * 10)


# Like items of a building, and of many, fall due on the same days.
@lru_cache(maxsize=50_000)
def _key(
    by_owner: bool,
    kind: str,
    system_kind: str,
    qualification: str,
    frequency: str,
    due_on: date,
    latest_on: date,
) -> _Apart:
    return (
        by_owner,
        KINDS.index(kind),
        often(frequency),
        code(system_kind),
        code(qualification),
        number(monday_of(due_on)),
        number(latest_on),
    )


def packed(rows: Iterable[tuple[_Apart, int]]) -> bytes:
    """Return counts added up and packed; the same come to the same bytes."""
    found: defaultdict[_Apart, list[int]] = defaultdict(list)
    for key, tenths in rows:
        found[key].append(tenths)
    return b"".join(_PACKED.pack(*key, len(found[key]), sum(found[key])) for key in sorted(found))


# --- read ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Counts:
    """What falls due, counted.

    Attributes
    ----------
    buildings, areas
        Ids, ascending, and the district of each.
    rows
        Counts, building by building.
    at
        Of each row, the place of its building.
    """

    buildings: Sequence[UUID]
    areas: Sequence[str]
    rows: Rows
    at: Ints

    def where(self, wanted: Any) -> "Counts":
        """Return the rows that are wanted, given as truths or places."""
        # A record is taken by its place in a fraction of the time that truths need.
        places = np.flatnonzero(wanted) if wanted.dtype == bool else wanted
        return Counts(self.buildings, self.areas, self.rows.take(places), self.at.take(places))

    @property
    def starts(self) -> Ints:
        """Return where the rows of each building begin that has any."""
        return np.flatnonzero(np.diff(self.at, prepend=-1))

    @property
    def count(self) -> int:
        """Return how many occurrences these are."""
        return int(self.rows["count"].sum())

    @property
    def minutes(self) -> float:
        """Return their minutes, own estimate."""
        return int(self.rows["tenths"].sum()) / 10


def read() -> Counts:
    """Return what falls due at all buildings."""
    rows = Workload.objects.filter(visit=None).order_by("building_id")
    columns = rows.values_list("building_id", "area", "counts")
    told = bulk.read(columns)
    buildings, areas, counts = zip(*told, strict=True) if told else ((), (), ())
    return Counts(buildings, areas, *_unpacked(counts, range(len(buildings))))


def in_visits(among: Counts) -> Counts:
    """Return what falls due at these buildings and is in planned or open visits."""
    place_of = {building: place for place, building in enumerate(among.buildings)}
    rows = Workload.objects.filter(visit__state__in=Visit.UNDER_WAY).order_by("building_id")
    told = bulk.read(rows.values_list("building_id", "counts"))
    # What was derived only now is not among them yet.
    there = [(place_of[building], counts) for building, counts in told if building in place_of]
    places, counts = zip(*there, strict=True) if there else ((), ())
    return Counts(among.buildings, among.areas, *_unpacked(counts, places))


def _unpacked(counts: Sequence[bytes], places: Sequence[int]) -> tuple[Rows, Ints]:
    """Return the rows of packed values, and of each row the place of its building."""
    sizes = np.fromiter(map(len, counts), np.int64, len(counts)) // COUNT.itemsize
    at = np.repeat(np.fromiter(places, np.int64, len(counts)), sizes)
    return np.frombuffer(b"".join(counts), COUNT), at


def less(counts: Counts, others: Counts) -> Counts:
    """Return counts without others that are among them."""
    has = np.zeros(len(counts.buildings), bool)
    has[others.at] = True
    touched = has[counts.at]
    those = counts.where(touched)
    rows = np.concatenate([those.rows, others.rows])
    at = np.concatenate([those.at, others.at])
    for name in ("count", "tenths"):
        rows[name][len(those.rows) :] *= -1
    order = np.lexsort([*(rows[name] for name in _KEY), at])
    rows, at = rows.take(order), at.take(order)
    new = np.diff(at, prepend=-1) != 0
    for name in _KEY:
        new[1:] |= rows[name][1:] != rows[name][:-1]
    starts = np.flatnonzero(new)
    left = rows.take(starts)
    for name in ("count", "tenths"):
        left[name] = np.add.reduceat(rows[name], starts) if len(starts) else 0
    rest = counts.where(~touched)
    rows, at = np.concatenate([rest.rows, left]), np.concatenate([rest.at, at.take(starts)])
    order = np.argsort(at, kind="stable")
    order = order[rows["count"].take(order) > 0]
    return Counts(counts.buildings, counts.areas, rows.take(order), at.take(order))
