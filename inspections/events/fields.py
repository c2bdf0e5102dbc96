"""The types a field can have: each takes a plain JSON value, or says what it accepts instead."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import MAXYEAR, MINYEAR, date, datetime
from typing import Any, Protocol
from uuid import UUID

from inspections.events.canonical import canonical_bytes

LONGEST_SHOWN = 80


class EventRefused(ValueError):
    """A field of an event holds something it cannot hold.

    Attributes
    ----------
    field
        Path of the field, such as `payload.subject.kind`.
    value
        What it holds.
    accepted
        What it accepts, in words.
    """

    def __init__(self, field: str, value: object, accepted: str) -> None:
        self.field = field
        self.value = value
        self.accepted = accepted
        shown = repr(value)
        if len(shown) > LONGEST_SHOWN:
            shown = shown[:LONGEST_SHOWN] + "…"
        super().__init__(f"{field}: {shown} cannot be used; accepted: {accepted}")


class FieldType(Protocol):
    """What a field accepts, in words and as a check."""

    @property
    def accepted(self) -> str:
        """Say what is accepted, in words."""
        ...

    def check(self, path: str, value: object) -> object:
        """Return the value as it is kept, or raise `EventRefused`."""
        ...


@dataclass(frozen=True, slots=True)
class Text:
    """A text that says something, in NFC; of control characters only line breaks and tabs."""

    longest: int

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return f"text of 1 to {self.longest} characters, without control characters"

    def check(self, path: str, value: object) -> str:
        """Return the text in NFC."""
        if not isinstance(value, str) or not value.strip():
            raise EventRefused(path, value, self.accepted)
        text = unicodedata.normalize("NFC", value)
        if len(text) > self.longest or any(_is_control(character) for character in text):
            raise EventRefused(path, value, self.accepted)
        return text


def _is_control(character: str) -> bool:
    return unicodedata.category(character) in {"Cc", "Cs"} and character not in "\n\r\t"


@dataclass(frozen=True, slots=True)
class Pattern:
    """A short text that follows a pattern."""

    pattern: str
    accepted: str

    def check(self, path: str, value: object) -> str:
        """Return the text."""
        if not isinstance(value, str) or not re.fullmatch(self.pattern, value, re.ASCII):
            raise EventRefused(path, value, self.accepted)
        return value


@dataclass(frozen=True, slots=True)
class Id:
    """A UUID."""

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "a UUID with its hyphens"

    def check(self, path: str, value: object) -> str:
        """Return the UUID in lower case with hyphens."""
        if isinstance(value, UUID):
            return str(value)
        try:
            parsed = str(UUID(value)) if isinstance(value, str) else ""
        except ValueError:
            parsed = ""
        if not isinstance(value, str) or not parsed or parsed != value.lower():
            raise EventRefused(path, value, self.accepted)
        return parsed


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number within bounds."""

    least: int
    most: int

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return f"a whole number from {self.least} to {self.most}"

    def check(self, path: str, value: object) -> int:
        """Return the number."""
        if isinstance(value, bool) or not isinstance(value, int):
            raise EventRefused(path, value, self.accepted)
        if not self.least <= value <= self.most:
            raise EventRefused(path, value, self.accepted)
        return value


@dataclass(frozen=True, slots=True)
class Flag:
    """True or false."""

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "true or false"

    def check(self, path: str, value: object) -> bool:
        """Return the flag."""
        if not isinstance(value, bool):
            raise EventRefused(path, value, self.accepted)
        return value


@dataclass(frozen=True, slots=True)
class Day:
    """A calendar date."""

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "a date such as 2026-03-09"

    def check(self, path: str, value: object) -> str:
        """Return the date as YYYY-MM-DD."""
        try:
            day = date.fromisoformat(value).isoformat() if isinstance(value, str) else ""
        except ValueError:
            day = ""
        if not day or day != value:
            raise EventRefused(path, value, self.accepted)
        return day


@dataclass(frozen=True, slots=True)
class Instant:
    """A moment with its offset from UTC, kept as written.

    It has a calendar date in every zone: the first and the last year of the calendar are refused.
    """

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "a date and time with offset, such as 2026-03-09T14:05:00+01:00"

    def check(self, path: str, value: object) -> str:
        """Return the moment as written."""
        try:
            moment = datetime.fromisoformat(value) if isinstance(value, str) else None
        except ValueError:
            moment = None
        if not isinstance(value, str) or moment is None or moment.utcoffset() is None:
            raise EventRefused(path, value, self.accepted)
        if not MINYEAR < moment.year < MAXYEAR:
            raise EventRefused(path, value, self.accepted)
        return value


class OneOf:
    """One word of a closed list."""

    __slots__ = ("words",)

    def __init__(self, *words: str) -> None:
        self.words = words

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return ", ".join(self.words)

    def check(self, path: str, value: object) -> str:
        """Return the word."""
        if not isinstance(value, str) or value not in self.words:
            raise EventRefused(path, value, self.accepted)
        return value


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list of values of one type, each given once."""

    of: FieldType
    least: int
    most: int

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return f"a list of {self.least} to {self.most} different entries ({self.of.accepted})"

    def check(self, path: str, value: object) -> list[object]:
        """Return the entries."""
        if not isinstance(value, list | tuple) or not self.least <= len(value) <= self.most:
            raise EventRefused(path, value, self.accepted)
        entries = [self.of.check(f"{path}.{place}", item) for place, item in enumerate(value)]
        if len({canonical_bytes(entry) for entry in entries}) < len(entries):
            raise EventRefused(path, value, self.accepted)
        return entries


@dataclass(frozen=True, slots=True)
class Values:
    """Texts, decimal strings or flags by name, such as what a step of a trip test should show."""

    most: int
    longest: int

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return (
            f"at most {self.most} named values, each true, false or a text of at most "
            f"{self.longest} characters (numbers as decimal strings)"
        )

    def check(self, path: str, value: object) -> dict[str, object]:
        """Return the values by name."""
        if not isinstance(value, Mapping) or len(value) > self.most:
            raise EventRefused(path, value, self.accepted)
        return {
            CODE.check(f"{path} (name)", name): self._one(f"{path}.{name}", item)
            for name, item in value.items()
        }

    def _one(self, path: str, value: object) -> object:
        if isinstance(value, bool):
            return value
        return Text(self.longest).check(path, value)


@dataclass(frozen=True, slots=True)
class Anything:
    """An object whose fields are checked by whoever knows what it stands for."""

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "an object with the fields of the event it stands for"

    def check(self, path: str, value: object) -> dict[str, Any]:
        """Return the object as it is."""
        if not isinstance(value, Mapping):
            raise EventRefused(path, value, self.accepted)
        return dict(value)


@dataclass(frozen=True, slots=True)
class Field:
    """A named field of a record: its type, and whether it must be there."""

    name: str
    type: FieldType
    required: bool = True


def may(name: str, of: FieldType) -> Field:
    """Return a field that may be left out."""
    return Field(name, of, required=False)


class Record:
    """Named fields, no others."""

    __slots__ = ("fields",)

    def __init__(self, *fields: Field) -> None:
        self.fields = {field.name: field for field in fields}

    @property
    def accepted(self) -> str:
        """Say what is accepted."""
        return "an object with " + ", ".join(
            name if field.required else f"{name} (may be left out)"
            for name, field in self.fields.items()
        )

    def check(self, path: str, value: object) -> dict[str, Any]:
        """Return the fields; one that holds None counts as left out."""
        if not isinstance(value, Mapping):
            raise EventRefused(path, value, self.accepted)
        for name in value:
            if name not in self.fields:
                raise EventRefused(f"{path}.{name}", value[name], self.accepted)
        kept: dict[str, Any] = {}
        for name, field in self.fields.items():
            given = value.get(name)
            if given is not None:
                kept[name] = field.type.check(f"{path}.{name}", given)
            elif field.required:
                raise EventRefused(f"{path}.{name}", None, field.type.accepted)
        return kept


CODE = Pattern(
    r"[A-Za-z0-9][A-Za-z0-9._:/-]{0,79}", "a code of 1 to 80 letters, digits and . _ : / -"
)
VERSION = Pattern(
    r"[A-Za-z0-9][A-Za-z0-9._:/+-]{0,63}",
    "the name of a version: 1 to 64 letters, digits and . _ : / + -",
)
DECIMAL = Pattern(
    r"-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,9})?",
    "a decimal string such as 62.5 (no exponent, no thousands mark)",
)
NOT_NEGATIVE = Pattern(
    r"(0|[1-9][0-9]{0,11})(\.[0-9]{1,9})?", "a decimal string of zero or more, such as 41.8"
)
UNIT = Pattern(r"[A-Za-z%°µ][A-Za-z0-9%°µ/^*.²³_-]{0,19}", "a unit code such as psi, kPa, gal/min")
SHA256 = Pattern(r"[0-9a-f]{64}", "a SHA-256 of 64 hexadecimal digits in lower case")
ID = Id()
FLAG = Flag()
DAY = Day()
INSTANT = Instant()
NAMED = Values(60, 200)
QUANTITY = Record(Field("value", DECIMAL), Field("unit", UNIT))
