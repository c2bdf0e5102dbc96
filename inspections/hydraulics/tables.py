"""The catalogue's tables of limits, pipes and solutions, read once, in SI."""

import csv
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from inspections.hydraulics.answer import refusal
from inspections.hydraulics.antifreeze import AntifreezeCurve
from inspections.hydraulics.constants import FOOT, GALLON, GPM, INCH, PSI
from inspections.hydraulics.dry import DeliveryLimit

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "hydraulics"
FLUIDS = ("propylene_glycol", "glycerine")
_SI = {
    "psi": PSI,
    "s": 1.0,
    "minute": 60.0,
    "gal": GALLON,
    "gpm": GPM,
    "percent": 0.01,
    "turns": 1.0,
    "factor": 1.0,
}


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Return the rows of a table by its name (``"pipe"``), as written."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


@cache
def examples() -> Mapping[str, Mapping[str, object]]:
    """Return inputs for each computation by its name, written as a person enters them."""
    text = (FOLDER / "examples.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, object]] = json.loads(text)
    return found


@cache
def limit(key: str) -> float:
    """Return a limit of the catalogue in SI (percent as a fraction, temperatures in K).

    Raises
    ------
    KeyError
        When the catalogue has no such limit.
    """
    for row in rows("limits"):
        if row["key"] == key:
            unit = row["unit_or_note"].split()[0].strip(",;")
            value = float(row["value"])
            return fahrenheit_k(value) if unit == "F" else value * _SI[unit]
    raise KeyError(f"limit {key!r} is not in the catalogue")


def fahrenheit_k(value: float) -> float:
    """Return the temperature in K."""
    return (value + 459.67) / 1.8


@cache
def delivery_limits() -> tuple[DeliveryLimit, ...]:
    """Return the time to water by hazard."""
    return tuple(
        DeliveryLimit(row["hazard"], int(row["open_sprinklers"]), float(row["seconds"]))
        for row in rows("water_delivery")
    )


@cache
def antifreeze_limit(fluid: str, edition: str = "NFPA 25 2023") -> float:
    """Return the greatest percent by volume of a legacy solution in service by an edition."""
    word = fluid.replace("_", " ")
    for row in rows("antifreeze_limits"):
        if row["fluid"] == word and edition in row["case"]:
            return float(row["limit"])
    raise KeyError(f"no limit for {fluid!r}")


@cache
def antifreeze_curves() -> tuple[AntifreezeCurve, ...]:
    """Return each measured data set of a solution; values from memory are left out."""
    sets: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in rows("antifreeze"):
        basis = row["basis"]
        if basis in ("volume", "weight") and not row["confidence"].startswith("from memory"):
            sets.setdefault((row["fluid"], basis), []).append(row)
    return tuple(_curve(name, basis, found) for (name, basis), found in sets.items())


def _curve(name: str, basis: str, found: list[dict[str, str]]) -> AntifreezeCurve:
    fluid = next(fluid for fluid in FLUIDS if name.startswith(fluid.replace("_", " ")))
    liquid = sorted(found, key=lambda row: float(row["percent"]))
    return AntifreezeCurve(
        fluid=fluid,
        basis=basis,
        percent=[0.0, *(float(row["percent"]) for row in liquid)],
        freezing_k=[273.15, *(float(row["freezing_point_C"]) + 273.15 for row in liquid)],
        specific_gravity=[1.0, *(float(row["specific_gravity"]) for row in liquid)],
        gravity_at_k=fahrenheit_k(float(found[0]["sg_temperature"].split()[0])),
    )


@cache
def pipe_bore_m(nominal_size: str, schedule: str) -> float:
    """Return the inside diameter of a pipe from the table, m.

    Parameters
    ----------
    nominal_size
        Trade size in inches, as ``"1 1/4"`` or ``"1 1/4 in"``.
    schedule
        ``"10"``, ``"40"``, ``"Type L"`` and so on, or ``"copper Type L"`` with the material.

    Raises
    ------
    ValueError
        When the table has no such pipe; the text names the sizes, or the schedules of the size.
    """
    size = trade_size(nominal_size)
    sized = [row for row in rows("pipe") if row["nominal_size_in"] == size]
    for row in sized:
        if row["schedule"].casefold() == schedule.strip().casefold():
            return float(row["inside_diameter_in"]) * INCH
    if not sized:
        sizes = dict.fromkeys(row["nominal_size_in"] for row in rows("pipe"))
        why = f"the table has no pipe of {size} in"
        raise ValueError(refusal("nominal_size", ", ".join(sizes) + " in", why))
    schedules = ", ".join(row["schedule"] for row in sized)
    why = f"the table has no pipe of {size} in as {schedule}"
    raise ValueError(refusal("schedule", schedules, why))


@cache
def equivalent_length_m(fitting: str, nominal_size: str) -> float:
    """Return the length of Sch 40 pipe at C 120 that resists like a fitting, m.

    Raises
    ------
    ValueError
        When the table has no such fitting or size.
    """
    size = trade_size(nominal_size)
    kind = _FITTINGS.get(_plain(fitting), "_".join(_plain(fitting).split()))
    lengths = equivalent_lengths()
    if kind not in lengths:
        raise ValueError(refusal("fitting", ", ".join(lengths), f"the table has no {fitting}"))
    if size not in lengths[kind]:
        why = f"the table has no {kind} in {size} in"
        raise ValueError(refusal("nominal_size", ", ".join(lengths[kind]) + " in", why))
    return lengths[kind][size] * FOOT


@cache
def equivalent_lengths() -> dict[str, dict[str, float]]:
    """Return the table of fittings: length by trade size in inches, ft."""
    found: dict[str, dict[str, float]] = {}
    for row in rows("equivalent_lengths"):
        found.setdefault(row["fitting"], {})[row["nominal_size_in"]] = float(row["length_ft"])
    return found


_FITTINGS = {
    "tee flow turned 90": "tee_or_cross_flow_turned_90",
    "tee": "tee_or_cross_flow_turned_90",
    "cross": "tee_or_cross_flow_turned_90",
    "cross flow turned 90": "tee_or_cross_flow_turned_90",
    "elbow 90": "elbow_90_standard",
    "elbow 90 long": "elbow_90_long_turn",
    "45 elbow": "elbow_45",
    "90 elbow": "elbow_90_standard",
    "butterfly": "butterfly_valve",
    "gate": "gate_valve",
    "globe": "globe_valve",
    "angle": "angle_valve",
    "check valve": "swing_check",
    "swing check valve": "swing_check",
    "check valve swing": "swing_check",
}
"""Other names of the fittings of the table."""


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def trade_size(text: str) -> str:
    """Return a trade size as the tables write it: ``"2-1/2 in."`` gives ``"2 1/2"``."""
    return " ".join(
        text.replace("-", " ").replace('"', " ").removesuffix(".").split()
    ).removesuffix(" in")
