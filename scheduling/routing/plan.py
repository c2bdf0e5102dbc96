"""What comes out: timed routes, what was left out and why, and what the plan costs."""

from dataclasses import dataclass, field
from enum import StrEnum

from scheduling.routing.problem import Placement

SHOWN_TO = 300


class Reason(StrEnum):
    """Why a visit is not planned; each one is proved by checking the visit alone."""

    NO_DAY = "no_day"
    """No day of the plan lies in its window with the building open."""
    NO_LICENCE = "no_licence"
    """Nobody on duty on an allowed day holds the licences."""
    NO_SHIFT = "no_shift"
    """Nobody at all is on duty on an allowed day."""
    NO_FIT = "no_fit"
    """Even alone on a day it fits no shift: too long, too far, or opens too late."""
    NO_PAIR = "no_pair"
    """No two technicians can be there at the same time."""
    LOCK = "lock"
    """The place it is locked to is no longer possible."""
    NO_CAPACITY = "no_capacity"
    """It would fit alone, but not beside what is planned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """One visit on a route; instants on the plan clock, seconds.

    Attributes
    ----------
    visit
        Id of the visit.
    arrival, start, end
        At the building, work begins, work ends.
    wait
        start - arrival.
    travel, metres
        Of the leg that leads here.
    """

    visit: str
    arrival: int
    start: int
    end: int
    wait: int
    travel: int
    metres: int

    @property
    def shown(self) -> int:
        """The start as told to people: rounded to five minutes."""
        return (self.start + SHOWN_TO // 2) // SHOWN_TO * SHOWN_TO


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """One technician's day; instants on the plan clock.

    Attributes
    ----------
    technician, day
        Whose shift, by its day.
    leaves, returns
        Leaving the start place, being home again.
    stops
        In order; never empty.
    travel, metres
        Of all legs, the way home included.
    """

    technician: str
    day: int
    leaves: int
    returns: int
    stops: tuple[Stop, ...]
    travel: int
    metres: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Unplanned:
    """A visit left out, and why.

    Attributes
    ----------
    visit
        Id of the visit.
    reason
        The proved reason.
    days
        Days on which it could be done alone (`NO_CAPACITY`), or its allowed days (other reasons).
    licences
        For `NO_LICENCE`: the licences asked for.
    """

    visit: str
    reason: Reason
    days: tuple[int, ...] = ()
    licences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a plan costs, in seconds of a technician's time, each term already weighted."""

    travel: int = 0
    overtime: int = 0
    not_preferred: int = 0
    late: int = 0
    moved: int = 0
    unplanned: int = 0

    @property
    def total(self) -> int:
        """Sum of all terms; what the planner makes small."""
        return (
            self.travel
            + self.overtime
            + self.not_preferred
            + self.late
            + self.moved
            + self.unplanned
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Routes (sorted by day, then technician), visits left out, and the cost."""

    routes: tuple[Route, ...] = ()
    unplanned: tuple[Unplanned, ...] = ()
    cost: Cost = field(default_factory=Cost)

    def placements(self) -> dict[str, Placement]:
        """Return where each planned visit stands, by visit id."""
        found: dict[str, Placement] = {}
        for route in self.routes:
            for stop in route.stops:
                first = found.get(stop.visit)
                found[stop.visit] = Placement(
                    technician=first.technician if first else route.technician,
                    day=route.day,
                    start=stop.start,
                    partner=route.technician if first else None,
                )
        return found
