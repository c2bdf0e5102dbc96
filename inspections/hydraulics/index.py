"""Every computation by name: what it takes and gives, and how to evaluate it."""

from collections.abc import Mapping
from types import MappingProxyType

from inspections.hydraulics.computation import (
    Computation,
    Field,
    InputRefused,
    Outcome,
    Output,
    Show,
    si_text,
)
from inspections.hydraulics.listed.at_riser import AT_RISER
from inspections.hydraulics.listed.dry_pipe import DRY_PIPE
from inspections.hydraulics.listed.pump_tests import PUMP_TESTS
from inspections.hydraulics.listed.pumps import PUMPS
from inspections.hydraulics.listed.stocks import STOCKS
from inspections.hydraulics.listed.supplies import SUPPLIES
from inspections.hydraulics.listed.waters import WATERS
from inspections.hydraulics.tables import examples

SUBJECTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        subject: tuple(computation.name for computation in listed)
        for subject, listed in (
            ("At the riser", AT_RISER),
            ("Dry and preaction systems", DRY_PIPE),
            ("Water supply", SUPPLIES),
            ("Pipe, water and sprinklers", WATERS),
            ("Fire pumps", (*PUMPS, *PUMP_TESTS)),
            ("Volumes, proof tests and stock", STOCKS),
        )
    }
)
"""Names of the computations by subject, in the order in which they are shown."""
CAUTIONS: Mapping[str, str] = MappingProxyType(
    {
        "At the riser": "Before water flows: the station is told, the drain is open to a place that"
        " takes the flow, nobody stands in the jet, and no glycol reaches a sewer or a potable"
        " line against the local rules.",
        "Dry and preaction systems": "Piping under air holds energy: relieve it before anything is"
        " opened, stand clear of drains, and never pressurise above the rating of the weakest"
        " part.",
        "Water supply": "Flowing hydrants harms people, traffic and property: leave from the water"
        " purveyor, hold the stream, open and shut slowly, never above a safe pitot range.",
        "Fire pumps": "Rotating shafts and live panels: guards on, nobody at open enclosures who is"
        " not qualified for electrical work, hoses and nozzles held fast.",
        "Volumes, proof tests and stock": "A proof test is done with water and the air let out;"
        " compressed air at test pressure can kill.",
    }
)
"""What is minded at the tests behind a subject: common practice, no source."""
COMPUTATIONS: Mapping[str, Computation] = MappingProxyType(
    {
        computation.name: computation
        for listed in (AT_RISER, DRY_PIPE, WATERS, SUPPLIES, PUMPS, PUMP_TESTS, STOCKS)
        for computation in listed
    }
)


def evaluate(name: str, inputs_si: Mapping[str, object], *, show: Show = si_text) -> Outcome:
    """Evaluate a computation.

    Parameters
    ----------
    name
        Name of the computation.
    inputs_si
        Inputs by field name, in SI; None or absent = not given.
    show
        How reason and refusals write a value; by default in SI.

    Returns
    -------
    Outcome
        Values, verdict, limit, margin, reason and warnings.

    Raises
    ------
    InputRefused
        When an input is missing, unknown, outside its range or impossible beside another; or
        when there is no such computation (field ``computation``).
    """
    return computation(name).evaluate(inputs_si, show)


def computation(name: str) -> Computation:
    """Return a computation by name, or raise `InputRefused`."""
    if name not in COMPUTATIONS:
        raise InputRefused("computation", name, ", ".join(COMPUTATIONS), "there is no such one")
    return COMPUTATIONS[name]


def subject_of(name: str) -> str:
    """Return the subject under which a computation stands."""
    return next(subject for subject, names in SUBJECTS.items() if name in names)


def schema(name: str) -> dict[str, object]:
    """Return the JSON Schemas of a computation's inputs and outputs.

    Quantities are written ``{"value": 52, "unit": "psi"}``, ``[52, "psi"]`` or ``"52 psi"``; their
    range is given in SI under ``x-range`` with the unit.
    """
    found = computation(name)
    return {
        "name": found.name,
        "title": found.title,
        "version": found.version,
        "source": found.source,
        "input": {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "type": "object",
            "additionalProperties": False,
            "required": [field.name for field in found.inputs if field.required],
            "properties": {field.name: _field_schema(field) for field in found.inputs},
            "examples": [examples()[name]],
        },
        "output": {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "type": "object",
            "required": ["values", "verdict", "reason", "warnings", "version"],
            "properties": {
                "values": {
                    "type": "object",
                    "properties": {output.name: _output_schema(output) for output in found.outputs},
                },
                "verdict": {"enum": ["pass", "fail", "look into it", None]},
                "limit": _value_schema(found.limit),
                "margin": _value_schema(found.margin or found.limit),
                "reason": {"type": "string"},
                "warnings": {"type": "array", "items": {"type": "string"}},
                "version": {"type": "integer"},
            },
        },
    }


def _field_schema(field: Field) -> dict[str, object]:
    if field.many:
        return {"description": field.meaning, **_list_schema(field)}
    described = {"description": field.meaning, **_item_schema(field)}
    if field.default is not None:
        described["default"] = _quantity(field.default, field)
    return described


def _list_schema(field: Field) -> dict[str, object]:
    item = _row_schema(field) if field.columns else _item_schema(field)
    each: dict[str, object] = {"type": "array", "items": item}
    if field.columns or not field.unit:
        return each
    numbers: dict[str, object] = {"type": "array", "items": {"type": "number"}}
    return {"anyOf": [each, _with_unit(numbers)]}


def _with_unit(number: dict[str, object]) -> dict[str, object]:
    """Return the schema of a number, or of several, followed by a unit: ``[52, "psi"]``."""
    return {
        "type": "array",
        "prefixItems": [number, {"type": "string"}],
        "items": False,
        "minItems": 2,
    }


def _row_schema(field: Field) -> dict[str, object]:
    columns = [{"title": column.name, **_field_schema(column)} for column in field.columns]
    return {"type": "array", "prefixItems": columns, "items": False, "minItems": len(columns)}


def _item_schema(field: Field) -> dict[str, object]:
    if field.quantity == "word":
        return (
            {"type": "string", "enum": list(field.choices)} if field.choices else {"type": "string"}
        )
    if field.quantity == "yes or no":
        return {"type": "boolean"}
    lowest = "exclusiveMinimum" if field.above else "minimum"
    bounds = {lowest: field.low, "maximum": field.high}
    ranged = {key: bound for key, bound in bounds.items() if bound is not None}
    if field.quantity == "fraction":
        return {
            "anyOf": [{"type": "number", **ranged}, {"type": "string"}],
            "x-quantity": "fraction",
        }
    if not field.unit:
        return {"type": "integer" if field.quantity == "count" else "number", **ranged}
    return {
        "x-quantity": field.quantity,
        "x-range": {**ranged, "unit": field.unit},
        "anyOf": [
            {"type": "string"},
            {
                "type": "object",
                "required": ["value", "unit"],
                "additionalProperties": False,
                "properties": {"value": {"type": "number"}, "unit": {"type": "string"}},
            },
            _with_unit({"type": "number"}),
        ],
    }


def _quantity(value: object, field: Field) -> object:
    return {"value": value, "unit": field.unit} if field.unit else value


def _output_schema(output: Output) -> dict[str, object]:
    described = {"description": output.meaning, **_value_schema(output.quantity)}
    if output.words:
        described["examples"] = list(output.words)
    return described


def _value_schema(quantity: str) -> dict[str, object]:
    kind = ["string", "null"] if quantity == "word" else ["number", "null"]
    return {
        "type": ["object", "null"],
        "x-quantity": quantity or "number",
        "properties": {"value": {"type": kind}, "unit": {"type": "string"}},
    }
