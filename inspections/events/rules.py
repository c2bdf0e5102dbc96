"""Rules between the fields of one payload: one makes another necessary, or impossible."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from inspections.events.fields import EventRefused


class Rule(Protocol):
    """What one field of a payload asks of another."""

    def check(self, payload: Mapping[str, Any]) -> None:
        """Raise `EventRefused` where the payload breaks the rule."""
        ...


@dataclass(frozen=True, slots=True)
class Needs:
    """A field that must be there when another one holds one of the values given."""

    field: str
    when: str
    among: tuple[object, ...]

    def check(self, payload: Mapping[str, Any]) -> None:
        """Raise when the needed field is missing."""
        if payload.get(self.when) in self.among and self.field not in payload:
            accepted = f"a value, because {self.when} is {_word(payload[self.when])}"
            raise EventRefused(f"payload.{self.field}", None, accepted)


@dataclass(frozen=True, slots=True)
class NeedsUnless:
    """A field that may be left out only when another one holds one of the values given."""

    field: str
    unless: str
    among: tuple[object, ...]

    def check(self, payload: Mapping[str, Any]) -> None:
        """Raise when the field is missing without cause."""
        if self.field not in payload and payload.get(self.unless) not in self.among:
            words = " or ".join(_word(value) for value in self.among)
            accepted = f"a value, unless {self.unless} is {words}"
            raise EventRefused(f"payload.{self.field}", None, accepted)


@dataclass(frozen=True, slots=True)
class Bars:
    """A field that may hold only certain values, or none, when another one is set so."""

    field: str
    when: str
    among: tuple[object, ...]
    allowed: tuple[object, ...] = ()

    def check(self, payload: Mapping[str, Any]) -> None:
        """Raise when the field holds what it cannot hold then."""
        value = payload.get(self.field)
        if payload.get(self.when) not in self.among or value is None or value in self.allowed:
            return
        words = ", ".join(_word(word) for word in self.allowed) or "nothing"
        accepted = f"{words}, because {self.when} is {_word(payload[self.when])}"
        raise EventRefused(f"payload.{self.field}", value, accepted)


@dataclass(frozen=True, slots=True)
class Counted:
    """A count that must agree with the list beside it, so that a lost entry is noticed."""

    record: str
    count: str
    entries: str

    def check(self, payload: Mapping[str, Any]) -> None:
        """Raise when count and list disagree."""
        record = payload[self.record]
        if record[self.count] != len(record[self.entries]):
            accepted = f"{len(record[self.entries])}, the number of {self.entries}"
            raise EventRefused(f"payload.{self.record}.{self.count}", record[self.count], accepted)


def _word(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
