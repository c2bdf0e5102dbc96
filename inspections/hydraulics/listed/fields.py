"""Inputs in the ranges that the trade meets; what lies outside is a slip of unit or of hand.

What has to be more than nothing starts where no instrument reads, so that no quotient overflows.
"""

from typing import Any

from inspections.hydraulics.computation import Field
from inspections.hydraulics.constants import GPM, PSI, STANDARD_ATMOSPHERE_PA

_KINDS: dict[str, dict[str, Any]] = {
    "pressure": {"quantity": "pressure", "low": 0.0, "high": 2000.0 * PSI},
    "positive pressure": {"quantity": "pressure", "low": 1.0, "above": True, "high": 2000.0 * PSI},
    "signed pressure": {
        "quantity": "pressure",
        "low": -STANDARD_ATMOSPHERE_PA,
        "high": 2000.0 * PSI,
    },
    "flow": {"quantity": "flow", "low": 0.0, "high": 50000.0 * GPM},
    "positive flow": {"quantity": "flow", "low": 1e-9, "above": True, "high": 50000.0 * GPM},
    "signed flow": {"quantity": "flow", "low": -50000.0 * GPM, "high": 50000.0 * GPM},
    "bore": {"quantity": "length", "low": 1e-4, "above": True, "high": 3.0},
    "length": {"quantity": "length", "low": 0.0, "high": 1e5},
    "positive length": {"quantity": "length", "low": 1e-4, "above": True, "high": 1e5},
    "height": {"quantity": "length", "low": -2000.0, "high": 2000.0},
    "area": {"quantity": "area", "low": 1e-6, "above": True, "high": 1e6},
    "volume": {"quantity": "volume", "low": 1e-6, "above": True, "high": 1e5},
    "time": {"quantity": "time", "low": 0.0, "high": 30.0 * 86400.0},
    "positive time": {"quantity": "time", "low": 1e-3, "above": True, "high": 30.0 * 86400.0},
    "temperature": {"quantity": "temperature", "low": 200.0, "high": 400.0},
    "coefficient": {"quantity": "number", "low": 0.0001, "high": 1.0},
    "percent": {"quantity": "number", "low": 0.0, "high": 100.0},
    "fraction": {"quantity": "fraction", "low": 0.0, "high": 1.0},
    "positive": {"quantity": "number", "low": 1e-6, "above": True, "high": 1e6},
    "number": {"quantity": "number", "low": 0.0, "high": 1e6},
    "c factor": {"quantity": "number", "low": 60.0, "high": 160.0},
    "rotation": {"quantity": "rotation", "low": 0.01, "above": True, "high": 2000.0},
    "voltage": {"quantity": "voltage", "low": 1e-3, "above": True, "high": 50000.0},
    "current": {"quantity": "current", "low": 1e-3, "above": True, "high": 20000.0},
    "count": {"quantity": "count", "low": 1.0, "high": 1e7},
    "word": {"quantity": "word"},
    "yes or no": {"quantity": "yes or no"},
}


def needed(kind: str, name: str, argument: str, meaning: str, **changes: Any) -> Field:
    """Return a required input of a kind, with changes to its range where the computation asks."""
    return Field(name=name, argument=argument, meaning=meaning, **{**_KINDS[kind], **changes})


def optional(kind: str, name: str, argument: str, meaning: str, **changes: Any) -> Field:
    """Return an input that may be left out; `default` says what is then taken."""
    return needed(kind, name, argument, meaning, required=False, **changes)


def atmosphere() -> Field:
    """Return the local atmospheric pressure, sea level when left out."""
    return optional(
        "positive pressure",
        "atm",
        "atmosphere_pa",
        "local atmospheric pressure, absolute",
        default=STANDARD_ATMOSPHERE_PA,
        low=50000.0,
        above=False,
        high=110000.0,
    )
