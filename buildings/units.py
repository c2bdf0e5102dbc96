"""The only place where units are read, converted and written; everywhere else values are in SI.

Pint's registry is asked once per unit for factor and offset; a conversion is then one
multiplication. The unit of each quantity inside is its SI unit.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

import pint

from buildings.quantities import QUANTITIES, SHORT_M, Quantity

SYSTEMS = ("us", "metric")
_REGISTRY: pint.UnitRegistry[Decimal] = pint.UnitRegistry(cache_folder=None, non_int_type=Decimal)
_REGISTRY.define("gpm = gallon / minute")
_REGISTRY.define("column_of_water = 9796.84345 pascal / meter")


class UnitRefused(ValueError):
    """A text or value that is no value of the quantity asked for.

    Attributes
    ----------
    field, value
        Name of the input and what was given.
    accepted
        What is accepted, in words: the units of the quantity.
    """

    def __init__(self, field: str, value: object, accepted: str, why: str) -> None:
        self.field, self.value, self.accepted, self.why = field, value, accepted, why
        super().__init__(f"{field}: {value!r} is not accepted ({why}); accepted: {accepted}")


class Reading(NamedTuple):
    """A value as typed: in SI, and the number and unit that were written."""

    si: float
    value: float
    unit: str


class _Factor(NamedTuple):
    factor: float
    offset: float


def _factor(unit: str, si: str) -> _Factor:
    if unit == si:
        return _Factor(1.0, 0.0)
    zero, one = (
        _REGISTRY.Quantity(Decimal(number), unit).to(si or "dimensionless").magnitude
        for number in (0, 1)
    )
    return _Factor(float(one - zero), float(zero))


def _factors(quantity: Quantity) -> dict[str, _Factor]:
    units = {**quantity.units, quantity.si: quantity.si}
    return {written: _factor(unit, quantity.si) for written, unit in units.items()}


_FACTORS = {name: _factors(quantity) for name, quantity in QUANTITIES.items()}


def _spelling(unit: str) -> str:
    """Return what all spellings of a unit have in common: small letters, powers without a sign."""
    plain = unicodedata.normalize("NFKC", unit).casefold().replace("**", "").replace("^", "")
    return re.sub(r"\s*(?:/|\bper\b)\s*", "/", " ".join(plain.split())).rstrip(".")


_SPELLINGS = {
    name: {_spelling(unit): unit for unit in reversed(factors)}
    for name, factors in _FACTORS.items()
}
# A great M is a million, a small one a thousandth: as a prefix it is never read the other way.
_PREFIXED = ("MPa", "mbar", "mm", "ms", "mA", "mbar/m")
_OTHER_PREFIX = {unit[0].swapcase() + unit[1:]: unit for unit in _PREFIXED}
_QUANTITY_OF = {unit: name for name, factors in reversed(_FACTORS.items()) for unit in factors}
_VULGAR = re.compile(r"(?<=\d)(?=[¼½¾⅓⅔⅛⅜⅝⅞])")
# Thousands are grouped by one sign throughout, and the decimal sign is another one.
_GROUPED = (
    r"[1-9]\d{0,2}"
    r"(?:(?: \d{3})+(?:[.,]\d+)?|(?:,\d{3})+(?:\.\d+)?|(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})"
)
_NUMBER = rf"[-+]?(?:\d+[ -]\d+/\d+|\d+/\d+|{_GROUPED}(?!\d)|\d+[.,]\d+|\.\d+|\d+)"
_ONE = re.compile(rf"({_NUMBER})\s*(.*)", re.DOTALL)
_PART = re.compile(rf"[\s,-]*({_NUMBER})\s*([^\d\s,-]+)")
_CLOCK = re.compile(r"(?:(\d+):)?(\d{1,2}):(\d{2}(?:\.\d+)?)")


def parse(
    given: object, quantity: str, *, field: str = "value", unit: str | None = None
) -> Reading:
    r"""Read a value as a person or a program writes it.

    Parameters
    ----------
    given
        ``"52 psi"``, ``"3.6 bar"``, ``"1' 6\""``, ``"2 1/2 in"``, ``"1 500 gpm"``, ``"1:30"``,
        ``{"value": 52, "unit": "psi"}``, ``[52, "psi"]``, or a number where no unit is needed. A
        comma before three digits groups thousands, elsewhere, after a single 0 and after grouped
        thousands (``"1.250,5"``, ``"1 250,5"``) it is a decimal comma; one point is a decimal
        point. Units are taken in any case and with powers written in any way (``"lbf/in²"``), but
        ``"mPa"`` is refused: it says a thousandth of a pascal.
    quantity
        A key of `QUANTITIES`.
    field
        Name of the input, for the refusal.
    unit
        Unit of a number written without one; None asks for it.

    Returns
    -------
    Reading
        The value in SI, and number and unit as written.

    Raises
    ------
    UnitRefused
        When it is no number, lacks a unit, or has a unit of another quantity.

    Examples
    --------
    >>> parse("1' 6\"", "length").si
    0.4572
    >>> round(parse("52 psi", "pressure").si)
    358527
    """
    number, written = _taken_apart(given, quantity, field)
    if isinstance(number, str):
        return _from_text(number, quantity, field, unit)
    if isinstance(number, bool) or not isinstance(number, int | float):
        raise UnitRefused(field, given, accepted(quantity), "it is not a number")
    return _reading(
        _as_float(number), written if written is not None else unit, quantity, field, given
    )


def _as_float(number: float) -> float:
    try:
        return float(number)
    except OverflowError:
        return math.inf


def _taken_apart(given: object, quantity: str, field: str) -> tuple[object, str | None]:
    if isinstance(given, Mapping):
        if set(given) - {"value", "unit"} or "value" not in given:
            raise UnitRefused(field, given, accepted(quantity), "it is no value with a unit")
        if not isinstance(given.get("unit"), str | None):
            raise UnitRefused(field, given, accepted(quantity), "its unit is no word")
        return given["value"], given.get("unit")
    if isinstance(given, list | tuple):
        if len(given) != 2 or not isinstance(given[1], str):
            raise UnitRefused(field, given, accepted(quantity), "it is no value with a unit")
        return given[0], given[1]
    return given, None


def _from_text(text: str, quantity: str, field: str, unit: str | None) -> Reading:
    clean = _clean(text)
    if quantity == "time" and (clock := _CLOCK.fullmatch(clean)):
        hours, minutes, seconds = clock.groups()
        total = int(hours or 0) * 3600.0 + int(minutes) * 60.0 + float(seconds)
        return Reading(total, total, "s")
    found = _ONE.fullmatch(clean)
    if not found:
        raise UnitRefused(field, text, accepted(quantity), "it does not start with a number")
    number, written = found.groups()
    if _known(written or unit or "", quantity) is None and quantity in ("length", "time"):
        parts = _compound(clean, quantity)
        if parts:
            return parts
    return _reading(_number(number), written or unit, quantity, field, text)


def _compound(clean: str, quantity: str) -> Reading | None:
    parts = [(_number(part[1]), _known(part[2], quantity)) for part in _PART.finditer(clean)]
    rest = _PART.sub("", clean).strip()
    if rest or len(parts) < 2 or any(unit is None for _, unit in parts):
        return None
    # A sign in front is the sign of the whole: -1' 6" is eighteen inches down.
    sign = -1.0 if clean.startswith("-") else 1.0
    total = sign * sum(to_si(abs(value), unit or "", quantity) for value, unit in parts)
    last = parts[-1][1] or ""
    return Reading(total, from_si(total, last, quantity), last)


def _clean(text: str) -> str:
    spaced = _VULGAR.sub(" ", text)
    plain = unicodedata.normalize("NFKC", spaced).replace("\u2044", "/")
    for typed, meant in (
        ("\u2212", "-"),
        ("\u2032\u2032", '"'),
        ("\u2033", '"'),
        ("\u201d", '"'),
        ("\u2032", "'"),
        ("\u2019", "'"),
        ("''", '"'),
    ):
        plain = plain.replace(typed, meant)
    return " ".join(plain.split())


def _number(text: str) -> float:
    sign = -1.0 if text.startswith("-") else 1.0
    digits = text.lstrip("+-")
    if "/" in digits:
        *whole, part = re.split(r"[ -]", digits)
        top, bottom = part.split("/")
        fraction = float(top) / float(bottom) if float(bottom) else math.nan
        return sign * (float(whole[0]) if whole else 0.0) + sign * fraction
    if re.fullmatch(_GROUPED, digits):
        grouped_by = next(sign for sign in digits if not sign.isdigit())
        digits = digits.replace(grouped_by, "")
    return sign * float(digits.replace(",", "."))


def _known(unit: str, quantity: str) -> str | None:
    written = " ".join(unit.split())
    if written in _FACTORS[quantity]:
        return written
    return None if written in _OTHER_PREFIX else _SPELLINGS[quantity].get(_spelling(written))


def _reading(value: float, unit: str | None, quantity: str, field: str, given: object) -> Reading:
    if not math.isfinite(value):
        raise UnitRefused(field, given, accepted(quantity), "it is not a number")
    if not unit and "" not in _FACTORS[quantity]:
        raise UnitRefused(field, given, accepted(quantity), "the unit is missing")
    known = _known(unit or "", quantity)
    if known is None:
        raise UnitRefused(field, given, accepted(quantity), _why_not(unit or ""))
    return Reading(to_si(value, known, quantity), value, known)


def _why_not(unit: str) -> str:
    meant = _OTHER_PREFIX.get(unit)
    if meant:
        scale = "a million" if unit.startswith("M") else "a thousandth"
        return f"{unit} means {scale} of {unit[1:]}; if {meant} is meant, write {meant}"
    other = _QUANTITY_OF.get(unit)
    return f"{unit} is a unit of {other}" if other else f"the unit {unit} is not known here"


def table() -> dict[str, tuple[float, float]]:
    """Return factor and offset to SI of every unit that a stored reading may have."""
    found = ((unit, _FACTORS[name][unit]) for unit, name in _QUANTITY_OF.items())
    return {unit: (one.factor, one.offset) for unit, one in found}


def accepted(quantity: str) -> str:
    """Return in words what is accepted for a quantity: a number with one of its units."""
    units = [unit for unit in QUANTITIES[quantity].units if unit][:6]
    return f"a number in {', '.join(units)}" if units else "a number without a unit"


def unit_beside(quantity: str, system: str = "us", greatest_si: float | None = None) -> str:
    """Return the unit that stands beside a field, in which a number without one is taken.

    Parameters
    ----------
    quantity
        A key of `QUANTITIES`.
    system
        "us" or "metric".
    greatest_si
        The greatest value that the field takes; bores and other short lengths are asked for in the
        small unit.

    Returns
    -------
    str
        Empty where a number needs none.
    """
    if quantity == "time":
        return "s"
    steps = QUANTITIES[quantity].shown.get(system)
    if not steps:
        return ""
    is_short = quantity == "length" and greatest_si is not None and greatest_si <= SHORT_M
    return steps[-1 if is_short else 0].unit


def quantity_of(unit: str) -> str:
    """Return the quantity that a unit measures, or raise `UnitRefused`."""
    if unit not in _QUANTITY_OF:
        raise UnitRefused("unit", unit, ", ".join(u for u in _QUANTITY_OF if u), "it is not known")
    return _QUANTITY_OF[unit]


def to_si(value: float, unit: str, quantity: str | None = None) -> float:
    """Return a value of a unit in SI.

    Parameters
    ----------
    value, unit
        As ``52, "psi"``.
    quantity
        Wanted where a unit serves several ("air flow" and "flow"); None takes the unit's own.

    Raises
    ------
    UnitRefused
        When the unit is not known, or not one of the quantity.
    """
    factor, offset = _factor_of(unit, quantity)
    return value * factor + offset


def from_si(value_si: float, unit: str, quantity: str | None = None) -> float:
    """Return a value in SI in a unit; see `to_si`."""
    factor, offset = _factor_of(unit, quantity)
    return (value_si - offset) / factor


def _factor_of(unit: str, quantity: str | None) -> _Factor:
    kind = quantity or quantity_of(unit)
    found = _FACTORS[kind].get(unit)
    if found is None:
        raise UnitRefused("unit", unit, accepted(kind), "it is not a unit of this quantity")
    return found


def show(value_si: float, quantity: str, system: str = "us") -> str:
    """Write a value for a reader, rounded as the trade does.

    Parameters
    ----------
    value_si
        In SI.
    quantity
        A key of `QUANTITIES`; "friction" is a pressure shown to 0.1 psi.
    system
        "us" or "metric".

    Returns
    -------
    str
        Number and unit: ``"1,500 gpm"``, ``"3.60 bar"``, ``"2 min 5 s"``.

    Notes
    -----
    Common practice, no source: flow to 10 gpm, pressure to 1 psi (0.05 bar), friction to 0.1 psi,
    unit friction to 0.001 psi/ft, volume to 1 gal, time to 1 s, speed to 1 rpm, percent to 0.1.
    """
    if quantity == "time":
        return _shown_time(value_si)
    if quantity in ("number", "count"):
        return f"{value_si:.6g}"
    for step in QUANTITIES[quantity].shown[system]:
        if abs(value_si) >= step.least * (1.0 - 1e-9):
            break
    value = round(from_si(value_si, step.unit, quantity) / step.step) * step.step
    places = max(0, -math.floor(math.log10(step.step) + 1e-9))
    gap = "" if step.unit == "%" else " "
    return f"{value + 0.0:,.{places}f}{gap}{step.unit}"


def _shown_time(seconds: float) -> str:
    whole = round(seconds)
    if whole and whole % 31557600 == 0:
        years = whole // 31557600
        return f"{years} year" + ("s" if years > 1 else "")
    if abs(whole) < 120:
        return f"{whole} s"
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    parts = ((hours, "h"), (minutes, "min"), (left, "s"))
    return " ".join(f"{count} {unit}" for count, unit in parts if count)


def named(value_si: Any, quantity: str, system: str = "us") -> dict[str, object]:
    """Return a value for a program: unrounded, in the unit in which it is shown, with that unit."""
    steps = QUANTITIES[quantity].shown.get(system)
    unit = steps[0].unit if steps else QUANTITIES[quantity].si
    return {"value": from_si(value_si, unit, quantity), "unit": unit}
