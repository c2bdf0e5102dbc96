"""What falls due at each building by week, counted with the occurrences, so that no list has to.

The counts of a building stand packed in one value of one row: all buildings are read by one query,
narrowed and added up as arrays. Days go by without any of it changing: late is what is past its
latest day.
"""

import struct
import zlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
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
from scheduling.deriving import Place
from scheduling.models import Workload

if TYPE_CHECKING:
    from scheduling.owing import Timed

KINDS = ("inspection", "test", "maintenance")

# What is counted apart, and how it is packed; days as `date.toordinal` counts them, minutes in
# tenths, so that sums are exact.
_KEY = ("by_owner", "kind", "system", "qualification", "often", "monday", "latest")
_FORMATS = ("<i2", "<i2", "<u4", "<u4", "<i4", "<i4", "<i4", "<i4", "<i4")
COUNT = np.dtype(list(zip((*_KEY, "count", "tenths"), _FORMATS, strict=True)))
_PACKED = struct.Struct("<hhIIiiiii")

_NEVER = -(10**9)

Rows = NDArray[np.void]
Ints = NDArray[np.int64]


def monday_of(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


@lru_cache(maxsize=1_000)
def code(word: str) -> int:
    """Return the number that stands for a kind of system or a qualification; no two share one."""
    return zlib.crc32(word.encode())


@lru_cache(maxsize=1_000)
def often(frequency: str) -> int:
    """Return the number that stands for a frequency: its months, or its days below zero.

    What is no frequency has a number that no work has.
    """
    try:
        span = Span.parse(frequency) if frequency else Span()
    except ValueError:
        return _NEVER
    return -span.days or span.months


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
    return Act(one.activity, one.applied.owed.item.id, place, one.count)


# --- kept ------------------------------------------------------------------------------------


def keep(places: Sequence[Place]) -> None:
    """Make what is counted of buildings that of their occurrences; only changes are written."""
    wanted = {place.building.pk: packed(_of_place(place)) for place in places}
    changed = []
    rows = Workload.objects.filter(building__among=list(wanted))
    for pk, building_id, counts in rows.values_list("pk", "building_id", "counts"):
        now = wanted.pop(building_id)
        if counts != now:
            changed.append((pk, now))
    bulk.change(Workload, ("counts",), changed)
    bulk.add(Workload, ("building_id", "counts"), list(wanted.items()))


def _of_place(place: Place) -> Iterator[tuple[Any, ...]]:
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
) -> tuple[Any, ...]:
    """Return an occurrence as a row of counts."""
    return (
        by_owner,
        KINDS.index(kind),
        code(system_kind or ""),
        code(qualification),
        often(frequency),
        monday_of(due_on).toordinal(),
        latest_on.toordinal(),
        1,
        round(adds * 10),
    )


def packed(rows: Iterable[tuple[Any, ...]]) -> bytes:
    """Return rows of counts added up and packed; the same rows come to the same bytes."""
    found: defaultdict[tuple[Any, ...], list[int]] = defaultdict(lambda: [0, 0])
    for *key, count, tenths in rows:
        sums = found[tuple(key)]
        sums[0] += count
        sums[1] += tenths
    return b"".join(_PACKED.pack(*key, *found[key]) for key in sorted(found))


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
        return Counts(self.buildings, self.areas, self.rows[wanted], self.at[wanted])

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
    rows = Workload.objects.order_by("building_id")
    columns = rows.values_list("building_id", "building__area", "counts")
    told = bulk.read(columns, ("uuid", "text", "bytea"))
    buildings, areas, counts = zip(*told, strict=True) if told else ((), (), ())
    sizes = [len(one) // COUNT.itemsize for one in counts]
    at = np.repeat(np.arange(len(sizes)), sizes)
    return Counts(buildings, areas, np.frombuffer(b"".join(counts), COUNT), at)


def of_occurrences(rows: Any, among: Counts) -> Counts:
    """Return occurrences of these buildings as counts of one each, building by building."""
    kinds = {one.id: one.kind for one in catalogue().activities.values()}
    place_of = {building: place for place, building in enumerate(among.buildings)}
    told = rows.order_by("building_id").values_list(
        *("building_id", "by_owner", "activity", "system__kind", "qualification", "frequency"),
        *("due_on", "latest_on", "adds"),
    )
    at: list[int] = []
    found: list[tuple[Any, ...]] = []
    for building, by_owner, activity, *work in told:
        # One that was derived only now is not among them yet.
        if building in place_of:
            at.append(place_of[building])
            found.append(counted(by_owner, kinds[activity], *work))
    return Counts(among.buildings, among.areas, np.array(found, COUNT), np.array(at, np.int64))


def less(counts: Counts, others: Counts) -> Counts:
    """Return counts without others that are among them."""
    has = np.zeros(len(counts.buildings), bool)
    has[others.at] = True
    touched = has[counts.at]
    rows = np.concatenate([counts.rows[touched], others.rows])
    at = np.concatenate([counts.at[touched], others.at])
    for name in ("count", "tenths"):
        rows[name][touched.sum() :] *= -1
    order = np.lexsort([*(rows[name] for name in _KEY), at])
    rows, at = rows[order], at[order]
    new = at[1:] != at[:-1]
    for name in _KEY:
        new |= rows[name][1:] != rows[name][:-1]
    starts = np.flatnonzero(np.concatenate([[True], new])[: len(rows)])
    left = rows[starts]
    for name in ("count", "tenths"):
        left[name] = np.add.reduceat(rows[name], starts) if len(starts) else 0
    rows = np.concatenate([counts.rows[~touched], left])
    at = np.concatenate([counts.at[~touched], at[starts]])
    order = np.argsort(at, kind="stable")
    order = order[rows["count"][order] > 0]
    return Counts(counts.buildings, counts.areas, rows[order], at[order])
