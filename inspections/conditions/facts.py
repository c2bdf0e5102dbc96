"""What a condition rests on: looked-up facts, and the answer with its reasons."""

from dataclasses import dataclass
from datetime import date
from enum import Enum
from typing import Protocol

from inspections.conditions.units import PLAIN, Unit

PLAIN_NUMBER = Unit(PLAIN)
Value = bool | float | str | date


class Origin(Enum):
    """How a fact came to be known."""

    GIVEN = "given"
    DEFAULT = "default"
    UNKNOWN = "unknown"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact that was looked up.

    Attributes
    ----------
    name
        As the condition writes it, such as ``system.air_supervised``.
    value
        Its value in the unit of its own table; None when unknown or missing.
    origin
        ``GIVEN``, ``DEFAULT`` (nobody said, the table's default stands in), ``UNKNOWN`` (nobody
        said and there is no default: a question), ``MISSING`` (the item has no such parent or
        attribute: every comparison is false).
    """

    name: str
    value: Value | None
    origin: Origin = Origin.GIVEN


@dataclass(frozen=True, slots=True)
class Answer:
    """The three-valued outcome of a condition.

    Attributes
    ----------
    value
        True, False, or None where it cannot be decided.
    facts
        What the value rests on, in the order of the text, each once. Facts that changed nothing
        are left out: ``False and unknown`` rests on the false part alone.
    """

    value: bool | None
    facts: tuple[Fact, ...]

    @property
    def asks(self) -> tuple[str, ...]:
        """Return the names of the facts to ask for; empty unless the value is None."""
        if self.value is not None:
            return ()
        return tuple(fact.name for fact in self.facts if fact.origin is Origin.UNKNOWN)

    @property
    def assumed(self) -> tuple[Fact, ...]:
        """Return the facts that only a default stands in for."""
        return tuple(fact for fact in self.facts if fact.origin is Origin.DEFAULT)


class Shape(Enum):
    """The types that values have in conditions."""

    TRUTH = "truth"
    NUMBER = "number"
    WORD = "word"
    DATE = "date"


@dataclass(frozen=True, slots=True)
class Kind:
    """The type of a name: its shape, the unit of a number, the words that a word may be.

    Empty `choices` mean any word. `year` marks a number that is a calendar year.
    """

    shape: Shape
    unit: Unit = PLAIN_NUMBER
    choices: tuple[str, ...] = ()
    year: bool = False


class Vocabulary(Protocol):
    """Says which names a condition may use."""

    def kind_of(self, name: str) -> Kind | None:
        """Return the type of a name, or None when there is no such name."""


class Facts(Protocol):
    """Says what is known when a condition is evaluated."""

    def look_up(self, name: str) -> Fact:
        """Return the fact of that name; numbers in the unit of its kind."""
