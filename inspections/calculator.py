"""A computation as a form: fields with the unit beside them, and what was typed taken as meant."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from buildings import units
from inspections import calculations
from inspections.hydraulics.computation import Computation, Field, InputRefused, Outcome
from inspections.hydraulics.index import computation
from inspections.hydraulics.tables import examples

ROWS_APART = "\n"
# A name as short as this says nothing to a reader: its meaning stands as the label.
SHORT_NAME = 2
_TRUTHS = {"yes": True, "no": False}


@dataclass(slots=True)
class Entry:
    """One field of the form: what is asked, in which unit a bare number is, what was typed."""

    asked: Field
    system: str
    typed: str = ""
    error: str = ""

    @property
    def name(self) -> str:
        """Return the name that the query string carries."""
        return self.asked.name

    @property
    def label(self) -> str:
        """Return the heading of the field."""
        words = self.asked.meaning if len(self.name) <= SHORT_NAME else self.name.replace("_", " ")
        return words[:1].upper() + words[1:]

    @property
    def hint(self) -> str:
        """Return meaning, accepted range and what is taken when it stays empty."""
        said = [] if len(self.name) <= SHORT_NAME else [self.asked.meaning]
        if self.asked.columns:
            said.append("one row a line: " + "; ".join(map(self._column, self.asked.columns)))
        elif self.asked.quantity not in ("word", "yes or no"):
            said.append(self.asked.accepted(self._show))
            said += ["one a line"] if self.asked.many else []
        if self.asked.default not in (None, ""):
            said.append(f"{self._default()} when left empty")
        return " · ".join(said)

    @property
    def unit(self) -> str:
        """Return the unit of a number typed without one."""
        return "" if self.asked.columns else beside(self.asked, self.system)

    @property
    def choices(self) -> tuple[str, ...]:
        """Return the words to choose from, empty where any will do."""
        return tuple(_TRUTHS) if self.asked.quantity == "yes or no" else self.asked.choices

    @property
    def lines(self) -> bool:
        """Say whether several values are asked for, one a line."""
        return self.asked.many

    def _column(self, column: Field) -> str:
        unit = beside(column, self.system)
        return f"{column.meaning}, {unit}" if unit else column.meaning

    def _default(self) -> str:
        default = self.asked.default
        if isinstance(default, bool):
            return "yes" if default else "no"
        if isinstance(default, int | float):
            return self._show(default, self.asked.quantity)
        return str(default)

    def _show(self, value: float, quantity: str) -> str:
        return units.show(value, quantity, self.system)


@dataclass(slots=True)
class Sheet:
    """A computation's form, filled in or not, with what it gave."""

    asked: Computation
    system: str
    entries: list[Entry]
    outcome: Outcome | None = None
    error: str = ""
    rows: list[tuple[str, str]] = field(default_factory=list)

    def query(self, system: str) -> str:
        """Return the values as a query string for a reader of the other system.

        A number typed without a unit keeps the unit that stood beside it.
        """
        told = {one.name: _with_unit(one) for one in self.entries if one.typed}
        return urlencode({**told, "units": system})


def example(name: str, system: str) -> str:
    """Return the query string that fills in a computation's example."""
    told = {field: _entered(value) for field, value in examples()[name].items()}
    return urlencode({**told, "units": system})


def _entered(value: object) -> str:
    if isinstance(value, list):
        lines = ("; ".join(map(str, one)) if isinstance(one, list) else str(one) for one in value)
        return ROWS_APART.join(lines)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def beside(asked: Field, system: str) -> str:
    """Return the unit in which a bare number of a field is taken; empty where it needs none."""
    if asked.quantity in ("word", "yes or no"):
        return ""
    return units.unit_beside(asked.quantity, system, asked.high)


def filled(name: str, typed: Mapping[str, str], system: str) -> Sheet:
    """Return a computation's form with what was typed, evaluated once anything was.

    Parameters
    ----------
    name
        Name of the computation.
    typed
        Text by input name, as it stands in a query string.
    system
        "us" or "metric": the unit of bare numbers, and how values are written.

    Returns
    -------
    Sheet
        With `outcome`, or with the error beside the field that it names (above the form where it
        names none).
    """
    asked = computation(name)
    entries = [Entry(one, system, typed.get(one.name, "").strip()) for one in asked.inputs]
    sheet = Sheet(asked, system, entries)
    if not any(entry.typed for entry in entries):
        return sheet
    try:
        given = {one.name: _meant(one) for one in entries if one.typed}
        sheet.outcome = calculations.evaluate_entered(name, given, system)
    except (units.UnitRefused, InputRefused) as refused:
        _put(sheet, refused)
        return sheet
    sheet.rows = list(_told(sheet.outcome, asked, system))
    return sheet


def _meant(entry: Entry) -> object:
    asked = entry.asked
    if not asked.many:
        return _one(entry.typed, asked, entry.system)
    lines = [line.strip() for line in entry.typed.splitlines() if line.strip()]
    if not asked.columns:
        return [_one(line, asked, entry.system) for line in lines]
    return [_row(line, asked, entry.system) for line in lines]


def _row(line: str, asked: Field, system: str) -> list[object]:
    parts = [part.strip() for part in line.split(";")]
    if len(parts) != len(asked.columns):
        wanted = "; ".join(column.meaning for column in asked.columns)
        raise units.UnitRefused(asked.name, line, wanted, "parts of a row stand between semicolons")
    return [_one(part, column, system) for part, column in zip(parts, asked.columns, strict=True)]


def _one(text: str, asked: Field, system: str) -> object:
    if asked.quantity == "yes or no":
        return _TRUTHS.get(text.casefold(), text)
    if asked.quantity == "word":
        return text
    read = units.parse(text, asked.quantity, field=asked.name, unit=beside(asked, system) or None)
    return {"value": read.value, "unit": read.unit}


def _with_unit(entry: Entry) -> str:
    unit = entry.unit
    if not unit:
        return entry.typed
    lines = entry.typed.splitlines()
    return ROWS_APART.join(f"{line} {unit}" if _is_bare(line) else line for line in lines)


def _is_bare(text: str) -> bool:
    return bool(text.strip()) and not any(sign.isalpha() or sign in "'\"°%:" for sign in text)


def _put(sheet: Sheet, refused: units.UnitRefused | InputRefused) -> None:
    given = refused.value
    shown = given if isinstance(given, str) or given is None else f"{given}"
    said = f"{shown or 'nothing'} is not accepted: {refused.why}. Accepted: {refused.accepted}."
    for entry in sheet.entries:
        if refused.field in (entry.name, *(column.name for column in entry.asked.columns)):
            entry.error = said
            return
    sheet.error = f"{refused.field}: {said}"


def _told(outcome: Outcome, asked: Computation, system: str) -> Iterator[tuple[str, str]]:
    meanings = {output.name: output.meaning for output in asked.outputs}
    for name, value in outcome.values.items():
        if name == "verdict":
            continue
        shown = value.value
        if isinstance(shown, int | float):
            shown = units.show(shown, value.quantity, system)
        yield meanings[name], shown if shown is not None else "not known"
    for words, beside_it in (("limit", outcome.limit), ("margin", outcome.margin)):
        if beside_it is not None and isinstance(beside_it.value, int | float):
            yield words, units.show(beside_it.value, beside_it.quantity, system)
