"""Who can be sent: technicians, their working weeks and absences, and what they may do."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from contractors.models import Person
from contractors.models.people import minutes_of
from contractors.refusal import FieldRefused
from inspections.licensed import held_by, keeps_releases, needs_of

__all__ = [
    "Hours",
    "Technician",
    "add_absence",
    "capacity",
    "day_minutes",
    "keeps_releases",
    "needs_of",
    "shown",
    "technician",
    "technicians",
    "week_of",
]

# Out of a shift of this length or more, a break is taken: common practice, no source.
BREAK_AFTER_MINUTES = 6 * 60
BREAK_MINUTES = 30
OVERTIME_MINUTES = 60
# Of the working time, what is spent at buildings rather than driving; and the driving that a day
# with a single long visit still needs: own estimates.
ON_SITE_SHARE = 0.75
LEAST_DRIVING_MINUTES = 60
USUAL_DAY_MINUTES = 8 * 60


@dataclass(frozen=True, slots=True)
class Hours:
    """A working day: from and to in minutes after midnight, the break still in it."""

    starts: int
    ends: int

    @property
    def minutes(self) -> int:
        """Return the minutes worked, the break taken off."""
        length = self.ends - self.starts
        return length - BREAK_MINUTES if length >= BREAK_AFTER_MINUTES else length


@dataclass(frozen=True, slots=True)
class Technician:
    """One of the contractor's people who goes out, and until when each qualification holds."""

    person: Person
    week: Mapping[int, Hours]
    absent: frozenset[date]
    held: Mapping[str, date]

    @property
    def id(self) -> UUID:
        """Return the person's id."""
        found: UUID = self.person.pk
        return found

    def hours_on(self, day: date) -> Hours | None:
        """Return the working hours of a day, or None on a day off."""
        return None if day in self.absent else self.week.get(day.weekday())

    def holds(self, needs: Iterable[str], day: date) -> bool:
        """Say whether every qualification is held on a day."""
        return all(self.held.get(name, date.min) >= day for name in needs)


def technicians(on: date) -> list[Technician]:
    """Return everybody who goes out and has a working week, with what they hold on a day."""
    rows = Person.objects.filter(is_technician=True).select_related("office").order_by("code")
    people = list(rows.prefetch_related("licences"))
    return [one for one in (technician(person, on) for person in people) if one.week]


def technician(person: Person, on: date) -> Technician:
    """Return one person as planning sees them."""
    days = frozenset(date.fromisoformat(day) for day in person.absences)
    return Technician(person, week_of(person), days, held_by(person, on))


def week_of(person: Person) -> dict[int, Hours]:
    """Return a person's working week by weekday, 0 Monday.

    Raises
    ------
    FieldRefused
        When the stored week cannot be read; it names the day and what is accepted.
    """
    found = {}
    for day, span in (person.week or {}).items():
        try:
            starts, ends = (minutes_of(clock) for clock in span)
        except (TypeError, ValueError):
            accepted = "Start and end such as 07:00 and 16:00."
            raise FieldRefused(f"working week of {person}, day {day}", span, accepted) from None
        if ends > starts:
            found[int(day)] = Hours(starts, ends)
    return found


def day_minutes(people: Iterable[Technician]) -> int:
    """Return the minutes of the longest visit that fits a working day with its driving."""
    longest = (hours.minutes for one in people for hours in one.week.values())
    return max(longest, default=USUAL_DAY_MINUTES) - LEAST_DRIVING_MINUTES


def capacity(people: Iterable[Technician], first: date, last: date) -> int:
    """Return the minutes at buildings that the people have from one day to another, both in."""
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    worked = (one.hours_on(day) for one in people for day in days)
    return round(sum(hours.minutes for hours in worked if hours) * ON_SITE_SHARE)


def add_absence(person: Person, days: Iterable[date]) -> None:
    """Write down days on which a person does not work."""
    person.absences = sorted({*person.absences, *(day.isoformat() for day in days)})
    person.save(update_fields=["absences"])


def shown(person: Any) -> str:
    """Return a person as a list shows them."""
    return f"{person.name} ({person.code})"
