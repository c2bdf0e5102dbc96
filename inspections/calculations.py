"""A computation on values as they were entered: units in, computation, units out."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from buildings import units
from inspections.hydraulics.computation import Field, InputRefused, Outcome, Value
from inspections.hydraulics.index import computation, evaluate

_PLAIN = ("word", "yes or no")


def evaluate_entered(name: str, entered: Mapping[str, object], system: str = "us") -> Outcome:
    """Evaluate a computation on inputs with their units.

    Parameters
    ----------
    name
        Name of the computation.
    entered
        By input name: ``"52 psi"``, ``{"value": 52, "unit": "psi"}``, ``[52, "psi"]``, a number
        where no unit is needed, words, true or false; a list where the input takes many.
    system
        "us" or "metric": how reason and refusals write values.

    Raises
    ------
    UnitRefused, InputRefused
        Naming the input, the value, and what is accepted.
    """
    fields = {field.name: field for field in computation(name).inputs}
    inputs = {
        key: _in_si(value, fields[key]) if key in fields else value
        for key, value in entered.items()
        if value is not None
    }
    try:
        return evaluate(name, inputs, show=partial(units.show, system=system))
    except InputRefused as refused:
        # What was entered, not a rounding of it that would lie inside the range.
        given = _as_entered(entered.get(refused.field), fields.get(refused.field))
        value = refused.value if given is None else given
        raise InputRefused(refused.field, value, refused.accepted, refused.why) from refused


def as_entered(outcome: Outcome, system: str = "us") -> dict[str, object]:
    """Return an outcome as JSON data, each value with its unit in the system of the reader."""
    return {
        "name": outcome.name,
        "version": outcome.version,
        "values": {key: _named(value, system) for key, value in outcome.values.items()},
        "verdict": outcome.verdict,
        "limit": outcome.limit and _named(outcome.limit, system),
        "margin": outcome.margin and _named(outcome.margin, system),
        "reason": outcome.reason,
        "warnings": list(outcome.warnings),
    }


def _as_entered(value: Any, field: Field | None) -> object:
    if field is None or field.many:
        return None
    if isinstance(value, Mapping):
        value = [value.get("value"), value.get("unit")]
    if not isinstance(value, list | tuple):
        return value
    return " ".join(f"{part:.12g}" if isinstance(part, float) else str(part) for part in value)


def _in_si(value: Any, field: Field) -> object:
    if not field.many:
        return _one(value, field)
    if field.columns and isinstance(value, list | tuple):
        return [_row(row, field.columns) for row in value]
    return [_one(item, field) for item in _items(value, field)]


def _row(row: Any, columns: Sequence[Field]) -> object:
    if not isinstance(row, list | tuple) or len(row) != len(columns):
        return row
    return [_one(part, column) for part, column in zip(row, columns, strict=True)]


def _items(value: Any, field: Field) -> Sequence[object]:
    """Take ``[[462, 463, 455], "V"]`` apart: one unit for a list of numbers."""
    if isinstance(value, Mapping) and isinstance(value.get("value"), list):
        return [[number, value.get("unit")] for number in value["value"]]
    if not isinstance(value, list | tuple):
        raise units.UnitRefused(field.name, value, "a list", "several values are asked for")
    if len(value) == 2 and isinstance(value[0], list) and isinstance(value[1], str):
        return [[number, value[1]] for number in value[0]]
    return value


def _one(value: Any, field: Field) -> object:
    if field.quantity in _PLAIN:
        return value
    if field.quantity in ("number", "count") and isinstance(value, int | float):
        return value
    return units.parse(value, field.quantity, field=field.name).si


def _named(value: Value, system: str) -> dict[str, object]:
    if not isinstance(value.value, int | float):
        return {"value": value.value, "unit": ""}
    return units.named(value.value, value.quantity, system)
