"""A building's year as a calendar: for each system and activity, what stands in which month."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspections.models import Result
from scheduling.programme import LATER, Line, Performed, Programme, Subject

MONTHS = 12
PLANNED = "planned"
# What a mark says -> (state of `look.STATES` whose shape it takes, words); the worst first. Each
# has a shape and words of its own.
KINDS: dict[str, tuple[str, Any]] = {
    "overdue": ("overdue", gettext_lazy("overdue")),
    "failed": ("failed", gettext_lazy("failed")),
    "finding": ("finding_open", gettext_lazy("done, with a finding")),
    "could_not": ("no_access", gettext_lazy("could not be done")),
    "not_known_yet": ("not_known_yet", gettext_lazy("not known yet")),
    "due_by": ("due_by", gettext_lazy("due now")),
    "in_order": ("due_later", gettext_lazy("due later")),
    PLANNED: ("visit_not_closed", gettext_lazy("in a visit")),
    LATER: ("foreseen", gettext_lazy("foreseen")),
    "done": ("in_order", gettext_lazy("done")),
}
_ANSWERS = {
    Result.Answer.IN_ORDER: "done",
    Result.Answer.PASS: "done",
    Result.Answer.FINDING: "finding",
    Result.Answer.FAIL: "failed",
    Result.Answer.COULD_NOT: "could_not",
}


@dataclass(slots=True)
class Mark:
    """What stands in one month: of one kind, on so many items.

    Attributes
    ----------
    item, days
        The first item, and the first and last day.
    """

    kind: str
    item: UUID
    days: list[date] = field(default_factory=list)

    @property
    def state(self) -> str:
        """Return the state whose shape the mark takes."""
        return KINDS[self.kind][0]

    @property
    def words(self) -> str:
        """Return what the mark says."""
        count = len(self.days)
        words = str(KINDS[self.kind][1])
        return words if count == 1 else _("%(n)s %(words)s") % {"words": words, "n": count}

    @property
    def span(self) -> tuple[date, date | None]:
        """Return the first day, and the last where it is another."""
        first, last = min(self.days), max(self.days)
        return first, last if last != first else None


@dataclass(slots=True)
class Row:
    """An activity of a system with its marks by month."""

    activity: str
    task: str
    frequency: str
    by_owner: bool
    months: list[dict[str, Mark]]

    @property
    def cells(self) -> list[list[Mark]]:
        """Return the marks by month, the worst first."""
        return [[cell[kind] for kind in KINDS if kind in cell] for cell in self.months]


@dataclass(slots=True)
class Part:
    """A system, or what hangs on the building itself."""

    name: str
    rows: dict[str, Row] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Year:
    """Months across, activities of each system down."""

    months: list[date]
    parts: list[Part]
    counts: Mapping[str, int]

    @property
    def by_month(self) -> list[tuple[date, list[tuple[Part, Row, Mark]]]]:
        """Return the same month by month, for a narrow screen."""
        return [
            (
                month,
                [
                    (part, row, mark)
                    for part in self.parts
                    for row in part.rows.values()
                    for mark in row.cells[place]
                ],
            )
            for place, month in enumerate(self.months)
        ]


def months_from(first: date, count: int = MONTHS) -> list[date]:
    """Return the first days of so many months."""
    found = [first.replace(day=1)]
    while len(found) < count:
        found.append(next_month(found[-1]))
    return found


def next_month(day: date) -> date:
    """Return the first day of the month after."""
    return (day.replace(day=28) + timedelta(days=4)).replace(day=1)


def months_back(day: date, count: int = MONTHS) -> date:
    """Return the first day of the month so many months before."""
    place = day.year * 12 + day.month - 1 - count
    return date(place // 12, place % 12 + 1, 1)


def year(
    found: Programme,
    names: Mapping[UUID, str],
    planned: Mapping[tuple[UUID, str], date | None],
) -> Year:
    """Return a programme as a calendar of the months from its first day to its last.

    Parameters
    ----------
    names
        Of the building's systems, as the water flows.
    planned
        Item and activity that are in a planned or open visit, with the visit's day, if it has one.

    What is open from before the first month stands in the first, with its own day.
    """
    months = months_from(found.first, _months_between(found.first, found.last))
    parts = {system: Part(name) for system, name in names.items()}
    apart = Part(_("At the building itself"))
    counts: dict[str, int] = defaultdict(int)
    for subject, activity, task, kind, day, more in _told(found, planned):
        if day > found.last:
            continue
        place = max(0, _months_between(found.first, day) - 1)
        part = parts.get(subject.system, apart) if subject.system else apart
        row = part.rows.get(activity)
        if row is None:
            row = part.rows[activity] = Row(activity, task, "", False, [{} for _month in months])
        row.frequency, row.by_owner = more or (row.frequency, row.by_owner)
        row.months[place].setdefault(kind, Mark(kind, subject.id)).days.append(day)
        counts[kind] += 1
    everything = [part for part in (*parts.values(), apart) if part.rows]
    return Year(months, everything, counts)


def _told(
    found: Programme, planned: Mapping[tuple[UUID, str], date | None]
) -> Iterable[tuple[Subject, str, str, str, date, tuple[str, bool] | None]]:
    one: Line | Performed
    for one in found.lines:
        kind, day = one.status, one.due
        key = (one.subject.id, one.activity)
        if kind != LATER and kind != "overdue" and key in planned:
            kind, day = PLANNED, planned[key] or day
        yield one.subject, one.activity, one.task, kind, day, (one.frequency, one.by_owner)
    for one in found.performed:
        kind = _ANSWERS.get(Result.Answer(one.answer), "")
        if kind:
            yield one.subject, one.activity, one.task, kind, one.on, None


def _months_between(first: date, last: date) -> int:
    """Return how many months from one day's to another's, both counted."""
    return (last.year - first.year) * 12 + last.month - first.month + 1
