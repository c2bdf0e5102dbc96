"""The kinds of equipment and their typed attributes: one dictionary for every use.

The same rows make the form of a device, the columns of an import, the schema of the API, and the
names that the conditions of the rules may use.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from django.conf import settings

from buildings.tables import CatalogueError, Row, in_row, read_table, split
from contractors.refusal import FieldRefused

TABLE = "kinds.csv"
# Groups of facts that conditions name and that no item of equipment carries.
FACTS_ONLY = ("design", "baseline", "reading")
EARLIEST_YEAR, LATEST_YEAR = 1800, 2200
LONGEST_TEXT = 200

AttributeValue = bool | int | float | str


class ValueType(StrEnum):
    """The types of attributes."""

    TRUTH = "bool"
    NUMBER = "number"
    INTEGER = "integer"
    YEAR = "year"
    DATE = "date"
    CHOICE = "enum"
    TEXT = "text"


class AttributeRefused(FieldRefused):
    """An attribute of a device has a name or a value that is not accepted."""

    code = "attribute_refused"

    def __init__(self, kind: str, attribute: str, value: Any, accepted: str) -> None:
        super().__init__(attribute, value, accepted)
        self.kind = kind
        self.attribute = attribute
        self.value = value
        self.accepted = accepted


@dataclass(frozen=True, slots=True, kw_only=True)
class Attribute:
    """One attribute of a kind.

    Attributes
    ----------
    kind, name
        What carries it, and its name in rules and stored values.
    value_type, unit, choices
        Its type; the unit of a number as the value is stored; the words of a choice.
    required
        Rules read it, so a gap is worth a question.
    default
        What stands in while nobody has said; None when that would be a guess.
    switches_off
        Activities that the default hides, and that a correction would bring back.
    meaning, question, synonyms
        For people: what it is, how it is asked, other headings that an import may use.
    """

    kind: str
    name: str
    value_type: ValueType
    unit: str
    choices: tuple[str, ...]
    required: bool
    default: AttributeValue | None
    switches_off: tuple[str, ...]
    meaning: str
    question: str
    synonyms: tuple[str, ...]

    def normalise(self, value: Any) -> AttributeValue:
        """Return a value in the form in which it is stored.

        Text from forms and files is read: ``yes`` and ``no``, numbers, ISO dates, choices in any
        case with spaces or hyphens.

        Raises
        ------
        AttributeRefused
            When the value is none that the attribute can have.
        """
        text = value.strip() if isinstance(value, str) else value
        found = _READERS[self.value_type](self, text)
        if found is None:
            raise AttributeRefused(self.kind, self.name, value, self.accepted)
        return found

    @property
    def accepted(self) -> str:
        """Return in words which values are accepted."""
        match self.value_type:
            case ValueType.CHOICE:
                return f"one of: {', '.join(self.choices)}"
            case ValueType.NUMBER:
                unit = "" if self.unit in ("", "dimensionless") else f" in {self.unit}"
                return f"a number{unit}"
            case ValueType.INTEGER:
                return "a whole number from 0"
            case ValueType.YEAR:
                return f"a year from {EARLIEST_YEAR} to {LATEST_YEAR}"
            case ValueType.DATE:
                return "a date like 2026-05-31"
            case ValueType.TRUTH:
                return "yes or no"
            case ValueType.TEXT:
                return f"text of up to {LONGEST_TEXT} characters"

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the stored value."""
        found: dict[str, Any] = {**_SCHEMAS[self.value_type], "description": self.meaning}
        if self.value_type is ValueType.CHOICE:
            found["enum"] = list(self.choices)
        if self.unit and self.unit != "dimensionless":
            found["x-unit"] = self.unit
        if self.default is not None:
            found["default"] = self.default
        return found


@dataclass(frozen=True)
class Kind:
    """A kind of equipment, or the building itself.

    Attributes
    ----------
    name
        Such as ``dry_pipe_valve``.
    parents
        Kinds that it may hang on; empty for the building.
    attributes
        By name, in the order of the table.
    """

    name: str
    parents: tuple[str, ...]
    attributes: Mapping[str, Attribute]

    @cached_property
    def _by_heading(self) -> dict[str, Attribute]:
        headings = {}
        for attribute in self.attributes.values():
            for heading in (*attribute.synonyms, attribute.name):
                headings[_plain(heading)] = attribute
        return headings

    def attribute_for(self, heading: str) -> Attribute | None:
        """Return the attribute that a column heading means: its name or a synonym, in any case."""
        return self._by_heading.get(_plain(heading))

    def normalise(self, attributes: Mapping[str, Any]) -> dict[str, AttributeValue]:
        """Return a device's attributes as they are stored; empty values are left out.

        Raises
        ------
        AttributeRefused
            When a name is none of this kind's, when two headings mean the same attribute with
            different values, or when a value is not accepted.
        """
        found: dict[str, AttributeValue] = {}
        for heading, value in attributes.items():
            attribute = self.attribute_for(heading)
            if attribute is None:
                accepted = f"attributes of {self.name}: {', '.join(self.attributes) or 'none'}"
                raise AttributeRefused(self.name, heading, value, accepted)
            if value is None or (isinstance(value, str) and not value.strip()):
                continue
            stored = attribute.normalise(value)
            if found.setdefault(attribute.name, stored) != stored:
                accepted = f"one value; {attribute.name} was given as {found[attribute.name]} too"
                raise AttributeRefused(self.name, heading, value, accepted)
        return found

    def questions(self, attributes: Mapping[str, Any]) -> list[Attribute]:
        """Return the attributes that rules read, that nobody has given and no default fills."""
        return [
            attribute
            for attribute in self.attributes.values()
            if attribute.required and attribute.default is None and attribute.name not in attributes
        ]

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the attributes of a device of this kind."""
        return {
            "type": "object",
            "properties": {name: one.schema() for name, one in self.attributes.items()},
            "additionalProperties": False,
        }


Kinds = Mapping[str, Kind]


@cache
def kinds() -> Kinds:
    """Return the dictionary of this installation, by kind."""
    return load_kinds(settings.BASE_DIR / "fixtures" / "catalogue" / "itm")


def device_kinds() -> tuple[str, ...]:
    """Return the kinds of equipment, in the order of the table: all but the building."""
    return tuple(kind.name for kind in kinds().values() if kind.parents)


def kind_named(name: str) -> Kind:
    """Return a kind of equipment or the building.

    Raises
    ------
    AttributeRefused
        When there is no such kind.
    """
    found = kinds().get(name)
    if found is None or name in FACTS_ONLY:
        raise AttributeRefused(name, "kind", name, f"one of: {', '.join(device_kinds())}")
    return found


def load_kinds(folder: Path) -> Kinds:
    """Return the dictionary that a folder of tables holds.

    Raises
    ------
    CatalogueError
        When a row cannot be used: file, row and reason.
    """
    columns = (
        "kind attribute type unit allowed required default_if_unknown default_switches_off "
        "meaning asked_as synonyms"
    )
    parents: dict[str, tuple[str, ...]] = {}
    attributes: dict[str, dict[str, Attribute]] = {}
    rows = read_table(folder / TABLE, tuple(columns.split()))
    for row in rows:
        with in_row(TABLE, row):
            if not row["kind"] or not row["attribute"]:
                raise ValueError("kind and attribute may not be empty")
            of_kind = attributes.setdefault(row["kind"], {})
            if row["attribute"] == "parent":
                parents[row["kind"]] = split(row["allowed"])
                continue
            if row["attribute"] in of_kind:
                raise ValueError(f"{row['kind']}.{row['attribute']} is there twice")
            of_kind[row["attribute"]] = _attribute(row)
    for row in rows:
        if row["attribute"] == "parent":
            strangers = sorted(set(split(row["allowed"])) - set(attributes))
            if strangers:
                reason = f"{', '.join(strangers)} is no kind"
                raise CatalogueError(TABLE, int(row["row"]), reason)
    return {name: Kind(name, parents.get(name, ()), of) for name, of in attributes.items()}


def _attribute(row: Row) -> Attribute:
    attribute = Attribute(
        kind=row["kind"],
        name=row["attribute"],
        value_type=_value_type(row["type"]),
        unit=row["unit"],
        choices=split(row["allowed"]),
        required=row["required"] == "yes",
        default=None,
        switches_off=split(row["default_switches_off"]),
        meaning=row["meaning"],
        question=row["asked_as"],
        synonyms=split(row["synonyms"]),
    )
    if (attribute.value_type is ValueType.CHOICE) != bool(attribute.choices):
        raise ValueError("an enum needs allowed words, and nothing else may have them")
    if not row["default_if_unknown"]:
        return attribute
    try:
        default = attribute.normalise(row["default_if_unknown"])
    except AttributeRefused as refusal:
        raise ValueError(f"the default is not accepted: {refusal.accepted}") from None
    return replace(attribute, default=default)


def _value_type(written: str) -> ValueType:
    if written not in list(ValueType):
        raise ValueError(f"type is {written!r}; accepted: {', '.join(ValueType)}")
    return ValueType(written)


def _plain(heading: str) -> str:
    return "_".join(heading.strip().casefold().replace("-", " ").replace("_", " ").split())


_YES = {"yes", "y", "true", "1", "x"}
_NO = {"no", "n", "false", "0"}


def _truth(_: Attribute, value: Any) -> bool | None:
    if isinstance(value, bool):
        return value
    word = str(value).casefold()
    return True if word in _YES else False if word in _NO else None


def _number(_: Attribute, value: Any) -> float | None:
    if isinstance(value, bool):
        return None
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def _integer(attribute: Attribute, value: Any) -> int | None:
    number = _number(attribute, value)
    if number is None or number != int(number) or number < 0:
        return None
    return int(number)


def _year(attribute: Attribute, value: Any) -> int | None:
    year = _integer(attribute, value)
    return year if year is not None and EARLIEST_YEAR <= year <= LATEST_YEAR else None


def _date(_: Attribute, value: Any) -> str | None:
    if isinstance(value, date):
        return value.isoformat()[:10]
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        return None


def _choice(attribute: Attribute, value: Any) -> str | None:
    word = _plain(str(value))
    return next((choice for choice in attribute.choices if _plain(choice) == word), None)


def _text(_: Attribute, value: Any) -> str | None:
    return value if isinstance(value, str) and 0 < len(value) <= LONGEST_TEXT else None


_READERS = {
    ValueType.TRUTH: _truth,
    ValueType.NUMBER: _number,
    ValueType.INTEGER: _integer,
    ValueType.YEAR: _year,
    ValueType.DATE: _date,
    ValueType.CHOICE: _choice,
    ValueType.TEXT: _text,
}
_SCHEMAS: dict[ValueType, dict[str, Any]] = {
    ValueType.TRUTH: {"type": "boolean"},
    ValueType.NUMBER: {"type": "number"},
    ValueType.INTEGER: {"type": "integer", "minimum": 0},
    ValueType.YEAR: {"type": "integer", "minimum": EARLIEST_YEAR, "maximum": LATEST_YEAR},
    ValueType.DATE: {"type": "string", "format": "date"},
    ValueType.CHOICE: {"type": "string"},
    ValueType.TEXT: {"type": "string", "maxLength": LONGEST_TEXT},
}
