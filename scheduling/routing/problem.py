"""What is to be planned: technicians, their shifts and licences, visits, travel, and what counts.

All times are whole seconds. The **plan clock** counts from 00:00 local time of `Problem.first_day`;
day `d` begins at `d * 86_400` on it (days of a clock change are planned as if they had 24 hours).
Days are numbers relative to `first_day`: 0 is the first day of the plan, -3 lies three days before.
Places are row numbers of the travel matrix, so that nothing here knows coordinates.
"""

from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any

DAY = 86_400


def accept(holds: bool, name: str, value: Any, accepted: str) -> None:
    """Raise ValueError naming the field, its value and what is accepted, unless `holds`."""
    if not holds:
        raise ValueError(f"{name} is {value!r}; accepted: {accepted}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """What counts how much, each in seconds of a technician's time; travel counts 1 a second.

    Attributes
    ----------
    overtime
        For each second of a day beyond the shift; >= 0.
    not_preferred
        For a visit done by another than its preferred technician; >= 0.
    late_day
        For each day after the due day; >= 0. For a visit already overdue the days count from today.
    late_most
        The most that lateness of one visit counts; < `unplanned`: late is better than never.
    unplanned
        For a visit left out, times the visit's priority; > 0.
    moved
        When re-planning: for a visit moved to another technician, and again for one moved by more
        than an hour; >= 0.
    """

    overtime: int = 2
    not_preferred: int = 1_800
    late_day: int = 7_200
    late_most: int = 72_000
    unplanned: int = 86_400
    moved: int = 7_200

    def __post_init__(self) -> None:
        for name in ("overtime", "not_preferred", "late_day", "late_most", "moved"):
            value = getattr(self, name)
            accept(0 <= value <= 10_000_000, f"weights.{name}", value, "0 to 10000000")
        accept(
            self.late_most < self.unplanned <= 10_000_000,
            "weights.unplanned",
            self.unplanned,
            f"more than late_most ({self.late_most}), at most 10000000",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """One working day of one technician; a day off is a day without a shift.

    Attributes
    ----------
    day
        Day the shift begins on; 0 <= day < `Problem.days`.
    start
        Earliest second of that day at which the technician may leave; 0 to 86 399.
    seconds
        Length of the day that counts as ordinary time, leaving home to being home again; > 0.
        Give it net of breaks.
    overtime
        How much longer the day may become at most; >= 0, priced by `Weights.overtime`.
    home_by
        Second from 00:00 of `day` (may exceed 86 400) by which the technician must be home; None:
        start + seconds + overtime. A later value lets the day begin later, not grow longer.
    start_place
        Row of the travel matrix where the day begins; None: at home. For one in the field.
    """

    day: int
    start: int
    seconds: int
    overtime: int = 0
    home_by: int | None = None
    start_place: int | None = None

    def __post_init__(self) -> None:
        accept(self.day >= 0, "shift.day", self.day, "0 or more")
        accept(0 <= self.start < 2 * DAY, "shift.start", self.start, "0 to 172799")
        accept(self.seconds > 0, "shift.seconds", self.seconds, "more than 0")
        accept(self.overtime >= 0, "shift.overtime", self.overtime, "0 or more")
        if self.home_by is not None:
            accept(self.home_by > self.start, "shift.home_by", self.home_by, "after start")

    @property
    def begins(self) -> int:
        """Earliest departure on the plan clock."""
        return self.day * DAY + self.start

    @property
    def longest(self) -> int:
        """Longest day allowed, overtime included, in seconds."""
        return self.seconds + self.overtime

    @property
    def ends(self) -> int:
        """Latest return on the plan clock."""
        if self.home_by is None:
            return self.begins + self.longest
        return self.day * DAY + self.home_by


@dataclass(frozen=True, slots=True, kw_only=True)
class Licence:
    """A licence or qualification a technician holds; `expires` is its last day, None: open."""

    name: str
    expires: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Technician:
    """Who can be sent.

    Attributes
    ----------
    id
        Unique text.
    home
        Row of the travel matrix where days begin and end.
    shifts
        Working days, at most one a day; they don't overlap.
    licences
        What the technician holds, with the last valid day of each.
    capacity
        How much the van carries in the unit of `Visit.load`; None: no limit.
    """

    id: str
    home: int
    shifts: tuple[Shift, ...]
    licences: tuple[Licence, ...] = ()
    capacity: int | None = None

    def __post_init__(self) -> None:
        accept(bool(self.id), "technician.id", self.id, "text that is not empty")
        days = [shift.day for shift in self.shifts]
        accept(len(set(days)) == len(days), f"shifts of technician {self.id}", days, "one a day")
        in_order = sorted(self.shifts, key=lambda shift: shift.begins)
        for one, next_one in pairwise(in_order):
            name = f"shift.start of technician {self.id} on day {next_one.day}"
            after = f"after the shift before has ended ({one.ends - next_one.day * DAY})"
            accept(next_one.begins >= one.ends, name, next_one.start, after)
        if self.capacity is not None:
            accept(self.capacity >= 0, "technician.capacity", self.capacity, "0 or more")

    def shift_on(self, day: int) -> Shift | None:
        """Return the shift that begins on the day, or None on a day off."""
        return next((shift for shift in self.shifts if shift.day == day), None)

    def holds(self, licences: tuple[str, ...], day: int) -> bool:
        """Say whether every one of the licences is held and valid on the day."""
        valid = {x.name for x in self.licences if x.expires is None or x.expires >= day}
        return valid.issuperset(licences)


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """Hours in which a building lets a technician work: the whole service must fit in one window.

    Attributes
    ----------
    weekday
        Day of the week on which the window opens; 0 Monday to 6 Sunday.
    opens, closes
        Seconds from 00:00 of that day; closes may lie on the next day (up to 172 800).
    """

    weekday: int
    opens: int
    closes: int

    def __post_init__(self) -> None:
        accept(0 <= self.weekday <= 6, "access.weekday", self.weekday, "0 (Monday) to 6 (Sunday)")
        accept(0 <= self.opens < DAY, "access.opens", self.opens, "0 to 86399")
        accept(self.opens < self.closes <= 2 * DAY, "access.closes", self.closes, "opens to 172800")


@dataclass(frozen=True, slots=True, kw_only=True)
class Appointment:
    """An arrival promised to the owner: work starts between the two instants of the plan clock."""

    earliest: int
    latest: int

    def __post_init__(self) -> None:
        accept(self.earliest >= 0, "appointment.earliest", self.earliest, "0 or more")
        accept(self.latest >= self.earliest, "appointment.latest", self.latest, "from earliest on")


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where a visit stands: whose route, on which shift day, starting when (plan clock).

    `partner` is the second technician of a two-technician visit.
    """

    technician: str
    day: int
    start: int
    partner: str | None = None

    @property
    def crew(self) -> tuple[str, ...]:
        """The technician, and the partner where there is one."""
        return (self.technician,) if self.partner is None else (self.technician, self.partner)


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One visit to one building.

    Attributes
    ----------
    id
        Unique text.
    place
        Row of the travel matrix.
    seconds
        Time on site; >= 0.
    earliest, due
        First day allowed and last day in time. For what a programme asks for: the occurrence's
        earliest and *latest* date. Both may lie in the past: the visit is then allowed from today
        on and counts as late.
    latest
        Last day allowed at all, e.g. the end of an agreement; None, or a day in the past: the end
        of the plan. Days after `due` are priced by `Weights.late_day`.
    access
        Access windows; none: any hour of any day.
    closed
        Days on which the building can't be entered whatever its windows say.
    licences
        Licences that must all be held on that day, by the technician or by two together.
    preferred
        Technician the visit should rather go to.
    appointment
        Promised arrival; replaces the due window and the access windows.
    two_technicians
        Two technicians start together; between them they hold the licences.
    locked
        Where the visit must stay: exactly this crew and start, or not planned at all.
    kept
        Re-planning: where the published plan has it. It stays on that day, within an hour of that
        start; another technician costs `Weights.moved`.
    movable
        The day and hour of `kept` are no bounds but cost `Weights.moved` too when not kept.
    priority
        Multiplies what leaving it out costs; 1 usual, 3 promised, 4 emergency; 1 to 100.
    load
        What the van must carry for it, in the unit of `Technician.capacity`; >= 0.
    """

    id: str
    place: int
    seconds: int
    earliest: int
    due: int
    latest: int | None = None
    access: tuple[Access, ...] = ()
    closed: tuple[int, ...] = ()
    licences: tuple[str, ...] = ()
    preferred: str | None = None
    appointment: Appointment | None = None
    two_technicians: bool = False
    locked: Placement | None = None
    kept: Placement | None = None
    movable: bool = False
    priority: int = 1
    load: int = 0

    def __post_init__(self) -> None:
        who = f"visit {self.id}: "
        accept(bool(self.id), "visit.id", self.id, "text that is not empty")
        accept(self.seconds >= 0, who + "seconds", self.seconds, "0 or more")
        accept(self.due >= self.earliest, who + "due", self.due, f"{self.earliest} or later")
        if self.latest is not None:
            accept(self.latest >= self.due, who + "latest", self.latest, f"{self.due} or later")
        accept(1 <= self.priority <= 100, who + "priority", self.priority, "1 to 100")
        accept(self.load >= 0, who + "load", self.load, "0 or more")
        for name in ("locked", "kept"):
            place: Placement | None = getattr(self, name)
            if place is not None:
                fits = (place.partner is not None) == self.two_technicians
                accept(fits, f"{who}{name}.partner", place.partner, "one for two technicians only")
                differ = place.partner != place.technician
                accept(differ, f"{who}{name}.partner", place.partner, "another technician")


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Everything the planner needs.

    Attributes
    ----------
    first_day
        Day 0.
    days
        Number of days planned; 1 to 366.
    technicians, visits
        Each with unique ids.
    seconds, metres
        Travel from place to place, (n, n), whole numbers >= 0 with a zero diagonal; may be
        asymmetric. `estimate.matrix` makes them from coordinates.
    weights
        What counts how much.
    now
        Plan clock: nothing starts before it; the day it falls on is *today*.
    """

    first_day: date
    days: int
    technicians: tuple[Technician, ...]
    visits: tuple[Visit, ...]
    seconds: tuple[tuple[int, ...], ...]
    metres: tuple[tuple[int, ...], ...]
    weights: Weights = field(default_factory=Weights)
    now: int = 0

    def __post_init__(self) -> None:
        accept(1 <= self.days <= 366, "problem.days", self.days, "1 to 366")
        accept(self.now >= 0, "problem.now", self.now, "0 or more")
        for name in ("technicians", "visits"):
            ids = [row.id for row in getattr(self, name)]
            twice = next((i for i, n in Counter(ids).items() if n > 1), None)
            accept(twice is None, f"id in problem.{name}", twice, "each id once")
        for name in ("seconds", "metres"):
            _check_matrix(f"problem.{name}", getattr(self, name))
        size = len(self.seconds)
        accept(len(self.metres) == size, "rows of problem.metres", len(self.metres), str(size))
        self._check_rows(size)

    def _check_rows(self, size: int) -> None:
        rows = f"a row of the travel matrix, 0 to {size - 1}"
        for technician in self.technicians:
            who = f"technician {technician.id}: "
            accept(0 <= technician.home < size, who + "home", technician.home, rows)
            for shift in technician.shifts:
                accept(shift.day < self.days, who + "shift.day", shift.day, f"0 to {self.days - 1}")
                place = shift.start_place
                accept(place is None or 0 <= place < size, who + "start_place", place, rows)
        for visit in self.visits:
            who = f"visit {visit.id}: "
            accept(0 <= visit.place < size, who + "place", visit.place, rows)
            for name in ("locked", "kept"):
                place_of: Placement | None = getattr(visit, name)
                for member in place_of.crew if place_of else ():
                    known = member in self.technician_by_id
                    accept(known, f"{who}{name} technician", member, "a technician of the problem")

    @cached_property
    def technician_by_id(self) -> dict[str, Technician]:
        """Technicians by id."""
        return {technician.id: technician for technician in self.technicians}

    @cached_property
    def visit_by_id(self) -> dict[str, Visit]:
        """Visits by id."""
        return {visit.id: visit for visit in self.visits}

    @property
    def today(self) -> int:
        """The day that `now` falls on."""
        return self.now // DAY

    @cached_property
    def span(self) -> int:
        """Seconds from 00:00 of day 0 to the end of the plan or of its last shift."""
        ends = (shift.ends for technician in self.technicians for shift in technician.shifts)
        return max(self.days * DAY, *ends, 0)

    def weekday(self, day: int) -> int:
        """Return the weekday of a day, 0 Monday to 6 Sunday."""
        return (self.first_day.weekday() + day) % 7

    def date_of(self, day: int) -> date:
        """Return the date of a day."""
        return self.first_day + timedelta(days=day)

    def with_visits(self, visits: tuple[Visit, ...]) -> "Problem":
        """Return the same problem with other visits."""
        return replace(self, visits=visits)


def _check_matrix(name: str, matrix: tuple[tuple[int, ...], ...]) -> None:
    size = len(matrix)
    for i, row in enumerate(matrix):
        accept(len(row) == size, f"length of {name}[{i}]", len(row), f"{size}")
        accept(row[i] == 0, f"{name}[{i}][{i}]", row[i], "0: no travel from a place to itself")
        accept(min(row) >= 0, f"least of {name}[{i}]", min(row), "0 or more")
