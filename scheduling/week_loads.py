"""What falls due at each building by week, counted and kept, so that no list has to add it up.

Derived with the occurrences, in the same transaction: each row counts those of one week, latest
day, doer and kind. Days go by without any of it changing: late is what is past its latest day.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from buildings.models import Building
from contractors import bulk
from inspections.catalogue import Catalogue
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Act
from scheduling.deriving import Open
from scheduling.models import WeekLoad

if TYPE_CHECKING:
    from scheduling.due import Timed

_Key = tuple[UUID, bool, str, date, date]


def monday_of(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())


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


def keep(buildings: Sequence[Building], rows: Iterable[Open]) -> None:
    """Make what is counted of buildings that of these occurrences; only changes are written."""
    adds: dict[_Key, list[float]] = defaultdict(list)
    activities = catalogue().activities
    for row in rows:
        kind, monday = activities[row.activity].kind, monday_of(row.due_on)
        adds[row.building_id, row.by_owner, kind, monday, row.latest_on].append(row.adds)
    wanted = {key: (len(found), round(sum(found), 1)) for key, found in adds.items()}
    gone, changed = [], []
    for row in WeekLoad.objects.filter(building__among=buildings):
        key = (row.building_id, row.by_owner, row.kind, row.monday, row.latest_on)
        counted = wanted.pop(key, None)
        if counted is None:
            gone.append(row.pk)
        elif counted != (row.count, row.minutes):
            changed.append((row.pk, *counted))
    if gone:
        WeekLoad.objects.filter(pk__among=gone).delete()
    bulk.change(WeekLoad, ("count", "minutes"), changed)
    bulk.add(WeekLoad, _COLUMNS, [(*key, *counted) for key, counted in wanted.items()])


_COLUMNS = ("building_id", "by_owner", "kind", "monday", "latest_on", "count", "minutes")
