"""A flow test as it was read: what was typed, and what that is in SI; what cannot be is refused."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from functools import partial
from typing import Any

from django.utils.translation import gettext as _

from buildings import units
from contractors.refusal import FieldRefused
from inspections.hydraulics.computation import InputRefused, Outcome
from inspections.hydraulics.index import evaluate

CHECK, OUTLETS = "pressure_at_flow", "hydrant_total_flow"
MOST_OUTLETS = 4
_PITOT_PA, _BORE_M = (3447.0, 2.07e6), (0.0095, 0.31)


@dataclass(frozen=True, slots=True)
class Outlet:
    """A flowing outlet as it was read: bore, coefficient of discharge and pitot pressure."""

    bore: str = ""
    coefficient: str = ""
    pitot: str = ""


@dataclass(frozen=True, slots=True)
class Read:
    """A flow test as it was read: values as typed, with their units.

    The flow is measured in all, or follows from the outlets.
    """

    tested_on: date
    static: str
    residual: str
    flow: str = ""
    hour: time | None = None
    residual_hydrant: str = ""
    flow_hydrants: str = ""
    outlets: Sequence[Outlet] = ()
    witnessed_by: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Figures:
    """A flow test in SI, its flow and outlets as they are written down, and what is doubted."""

    static_pa: float
    residual_pa: float
    flow_m3s: float
    flow_typed: str
    outlets: str
    warnings: Sequence[str]


def figures(read: Read, system: str) -> Figures:
    """Return what was read in SI.

    Parameters
    ----------
    system
        "us" or "metric": the units of numbers typed without one.

    Raises
    ------
    FieldRefused
        Naming the field, its value, what is accepted and why: a residual at or above the static,
        a unit of another quantity, an outlet without its bore, a pitot that no gauge shows.
    """
    values = {
        "static": si("static", read.static, "pressure", system, 0.0, 1.4e7),
        "residual": si("residual", read.residual, "pressure", system, 0.0, 1.4e7),
    }
    flow = _flow(read, system)
    values["flow"] = flow.m3s
    checked = _checked(values, read, system)
    return Figures(
        values["static"],
        values["residual"],
        flow.m3s,
        flow.typed,
        flow.outlets,
        [*flow.warnings, *checked.warnings],
    )


def again(test: Any) -> dict[str, Any]:
    """Return a recorded test as it can be typed again, to be corrected.

    A number that was typed without a unit has the one that it was taken in.
    """
    outlets = [Outlet(*found.groups()) for found in _WRITTEN.finditer(test.outlets)]
    return {
        "tested_on": test.tested_on,
        "hour": test.hour,
        "static": _with_unit(test.static_typed, test.static_pa, "pressure"),
        "residual": _with_unit(test.residual_typed, test.residual_pa, "pressure"),
        "flow": "" if outlets else _with_unit(test.flow_typed, test.flow_m3s, "flow"),
        "outlets": outlets,
        **{name: getattr(test, name) for name in _KEPT_WORDS},
    }


_KEPT_WORDS = ("residual_hydrant", "flow_hydrants", "witnessed_by", "note")
_WRITTEN = re.compile(r"(?:^|; )(.+?), c (\S+?), (.+?)(?=; |$)")


def _with_unit(typed: str, value_si: float, quantity: str) -> str:
    if not _is_number(typed):
        return typed
    for system in ("us", "metric"):
        unit = units.unit_beside(quantity, system)
        if math.isclose(units.parse(typed, quantity, unit=unit).si, value_si, rel_tol=1e-9):
            return f"{typed} {unit}"
    return typed


def _checked(values: Mapping[str, float], read: Read, system: str) -> Outcome:
    """Check the test as a whole: what cannot be is refused, what is doubtful comes as warnings."""
    try:
        return evaluate(
            CHECK, {**values, "at": values["flow"]}, show=partial(units.show, system=system)
        )
    except InputRefused as refused:
        typed = getattr(read, refused.field, "")
        raise FieldRefused(
            refused.field, typed, f"{refused.accepted.capitalize()}: {refused.why}."
        ) from refused


@dataclass(frozen=True, slots=True)
class _Flow:
    m3s: float
    typed: str
    outlets: str = ""
    warnings: Sequence[str] = ()


def _flow(read: Read, system: str) -> _Flow:
    """Return the flow as it was measured in all, or reckoned from its outlets."""
    if not read.outlets:
        return _Flow(si("flow", read.flow, "flow", system, 0.0, 3.2), read.flow.strip()[:40])
    if read.flow.strip():
        raise FieldRefused("flow", read.flow, _("Either the flow in all, or its outlets."))
    if len(read.outlets) > MOST_OUTLETS:
        accepted = _("At most %(most)d outlets.") % {"most": MOST_OUTLETS}
        raise FieldRefused("outlets", len(read.outlets), accepted)
    rows = [_outlet(n, one, system) for n, one in enumerate(read.outlets, start=1)]
    outcome = evaluate(OUTLETS, {"outlets": rows}, show=partial(units.show, system=system))
    total_m3s = float(outcome.answer.value or 0.0)
    return _Flow(
        total_m3s,
        units.show(total_m3s, "flow", system),
        "; ".join(_told(one, system) for one in read.outlets),
        outcome.warnings,
    )


def _outlet(number: int, one: Outlet, system: str) -> tuple[float, ...]:
    """Return an outlet in SI: velocity pressure, bore, coefficient, and no multiplier."""
    field = f"outlets.{number}"
    pitot = si(f"{field}.pitot", one.pitot, "pressure", system, *_PITOT_PA)
    bore = si(f"{field}.bore", one.bore, "length", system, *_BORE_M, greatest=_BORE_M[1])
    try:
        coefficient = float(one.coefficient.strip().replace(",", "."))
    except ValueError:
        coefficient = 0.0
    if not 0.0 < coefficient <= 1.0:
        given = one.coefficient.strip() or "nothing"
        raise FieldRefused(f"{field}.coefficient", given, _("Above 0, at most 1, as in 0.90."))
    return pitot, bore, coefficient, 1.0


def _told(one: Outlet, system: str) -> str:
    """Return an outlet in one line, numbers without a unit with the one they were taken in."""
    bore, pitot = (
        f"{typed} {units.unit_beside(of, system, most)}" if _is_number(typed) else typed
        for typed, of, most in (
            (one.bore.strip(), "length", _BORE_M[1]),
            (one.pitot.strip(), "pressure", None),
        )
    )
    return f"{bore[:24]}, c {one.coefficient.strip()[:8]}, {pitot[:24]}"


def _is_number(typed: str) -> bool:
    return bool(typed) and not any(letter.isalpha() or letter in "\"'" for letter in typed)


def si(
    field: str,
    typed: str,
    quantity: str,
    system: str,
    low: float,
    high: float,
    *,
    greatest: float | None = None,
) -> float:
    """Return what was typed in SI, or refuse it with its field.

    Parameters
    ----------
    low, high
        What is accepted, SI.
    greatest
        The greatest value to come, by which the unit of a bare number is chosen.
    """
    try:
        unit = units.unit_beside(quantity, system, greatest)
        value = units.parse(typed, quantity, field=field, unit=unit).si
    except units.UnitRefused as refused:
        said = f"{refused.accepted.capitalize()}: {refused.why}."
        raise FieldRefused(field, typed or "nothing", said) from refused
    if not low <= value <= high:
        shown = [units.show(bound, quantity, system) for bound in (low, high)]
        raise FieldRefused(field, typed, f"{shown[0]} to {shown[1]}.")
    return value
