"""What is measured: the SI unit of each quantity, the units it is written in, how it is shown."""

from collections.abc import Sequence
from typing import NamedTuple


class Step(NamedTuple):
    """Show values from `least` on (SI, magnitude) in `unit`, rounded to a multiple of `step`."""

    least: float
    unit: str
    step: float


class Quantity(NamedTuple):
    """A quantity: its SI unit, the units accepted (written form: Pint's), how it is shown."""

    si: str
    units: dict[str, str]
    shown: dict[str, tuple[Step, ...]]


def _same(*units: str) -> dict[str, str]:
    return {unit: unit for unit in units}


def _steps(us: Sequence[Step], metric: Sequence[Step]) -> dict[str, tuple[Step, ...]]:
    return {"us": tuple(us), "metric": tuple(metric)}


# Bores are in inches or millimetres; lengths that may reach further in feet or metres.
SHORT_M = 3.0
_GPM = 6.30901964e-05
_LPM = 1.0 / 60000.0
_PRESSURES = {
    **_same("psi", "kPa", "bar", "Pa", "MPa", "mbar", "inHg", "pascal"),
    "psig": "psi",
    "lbf/in^2": "psi",
    "lb/in^2": "psi",
    "barg": "bar",
    "kgf/cm^2": "kgf/cm^2",
    "in. Hg": "inHg",
    "ft of water": "foot * column_of_water",
    "ftH2O": "foot * column_of_water",
    "m of water": "meter * column_of_water",
    "mH2O": "meter * column_of_water",
}
_LENGTHS = {
    **_same("ft", "in", "m", "mm", "cm", "km", "foot", "feet", "inch", "meter", "yd"),
    "'": "foot",
    '"': "inch",
    "in.": "inch",
    "ft.": "foot",
    "inches": "inch",
    "metre": "meter",
}
_FLOWS = {
    "gpm": "gpm",
    "USgpm": "gpm",
    **_same("gal/min", "L/min", "L/s", "m^3/h", "m^3/s", "ft^3/s", "ft^3/min", "gallon/minute"),
    "lpm": "L/min",
    "l/min": "L/min",
    "l/s": "L/s",
    "m3/h": "m^3/h",
    "m3/s": "m^3/s",
}
_TIMES = {
    **_same("s", "min", "h", "second", "minute", "hour", "day", "week", "year", "ms"),
    "millisecond": "ms",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "hr": "h",
    "hours": "h",
    "days": "day",
    "years": "year",
}

QUANTITIES: dict[str, Quantity] = {
    "pressure": Quantity(
        "Pa",
        _PRESSURES,
        _steps([Step(0.0, "psi", 1.0)], [Step(0.0, "bar", 0.05)]),
    ),
    "friction": Quantity(
        "Pa",
        _PRESSURES,
        _steps([Step(0.0, "psi", 0.1)], [Step(0.0, "bar", 0.01)]),
    ),
    "unit friction": Quantity(
        "Pa/m",
        _same("psi/ft", "bar/m", "kPa/m", "mbar/m"),
        _steps([Step(0.0, "psi/ft", 0.001)], [Step(0.0, "mbar/m", 0.1)]),
    ),
    "flow": Quantity(
        "m^3/s",
        _FLOWS,
        _steps(
            [Step(100 * _GPM, "gpm", 10.0), Step(20 * _GPM, "gpm", 1.0), Step(0.0, "gpm", 0.1)],
            [
                Step(400 * _LPM, "L/min", 50.0),
                Step(100 * _LPM, "L/min", 5.0),
                Step(0.0, "L/min", 0.5),
            ],
        ),
    ),
    "air flow": Quantity(
        "m^3/s",
        {
            "scfm": "ft^3/min",
            "cfm": "ft^3/min",
            "ft3/min": "ft^3/min",
            **_same("ft^3/min", "ft^3/h", "L/min", "m^3/h", "m^3/s"),
        },
        _steps([Step(0.0, "scfm", 0.01)], [Step(0.0, "L/min", 0.1)]),
    ),
    "length": Quantity(
        "m",
        _LENGTHS,
        _steps(
            [Step(0.6, "ft", 0.1), Step(0.0, "in", 0.001)],
            [Step(1.0, "m", 0.05), Step(0.0, "mm", 0.1)],
        ),
    ),
    "area": Quantity(
        "m^2",
        {**_same("ft^2", "m^2", "in^2", "mm^2"), "ft2": "ft^2", "m2": "m^2", "sq ft": "ft^2"},
        _steps([Step(0.0, "ft^2", 1.0)], [Step(0.0, "m^2", 0.1)]),
    ),
    "volume": Quantity(
        "m^3",
        {
            **_same("gal", "L", "ft^3", "m^3", "gallon", "liter"),
            "gallons": "gal",
            "l": "L",
            "ft3": "ft^3",
            "m3": "m^3",
        },
        _steps([Step(0.0, "gal", 1.0)], [Step(0.0, "L", 1.0)]),
    ),
    "volume per length": Quantity(
        "m^3/m",
        _same("gal/ft", "L/m", "m^3/m"),
        _steps([Step(0.0, "gal/ft", 0.0001)], [Step(0.0, "L/m", 0.001)]),
    ),
    "velocity": Quantity(
        "m/s",
        _same("ft/s", "m/s", "fps"),
        _steps([Step(0.0, "ft/s", 0.1)], [Step(0.0, "m/s", 0.01)]),
    ),
    "time": Quantity("s", _TIMES, {}),
    "temperature": Quantity(
        "K",
        {
            "°F": "degF",
            "°C": "degC",
            "F": "degF",
            "C": "degC",
            **_same("degF", "degC", "K", "kelvin"),
        },
        _steps([Step(0.0, "°F", 1.0)], [Step(0.0, "°C", 0.5)]),
    ),
    "density": Quantity(
        "m/s",
        {
            "gpm/ft^2": "gpm/ft^2",
            "gpm/ft2": "gpm/ft^2",
            **_same("gal/min/ft^2", "mm/min", "L/min/m^2", "m/s"),
        },
        _steps([Step(0.0, "gpm/ft^2", 0.01)], [Step(0.0, "mm/min", 0.1)]),
    ),
    "specific weight": Quantity(
        "N/m^3",
        {"lbf/ft3": "lbf/ft^3", **_same("lbf/ft^3", "N/m^3", "kN/m^3")},
        _steps([Step(0.0, "lbf/ft^3", 0.01)], [Step(0.0, "N/m^3", 1.0)]),
    ),
    "mass flow": Quantity(
        "kg/s",
        _same("kg/s", "g/s", "lb/s", "lb/min"),
        _steps([Step(0.0, "lb/min", 0.01)], [Step(0.0, "g/s", 0.1)]),
    ),
    "rotation": Quantity(
        "rad/s",
        _same("rpm", "rad/s"),
        _steps([Step(0.0, "rpm", 1.0)], [Step(0.0, "rpm", 1.0)]),
    ),
    "frequency": Quantity(
        "Hz", _same("Hz", "hertz"), _steps([Step(0.0, "Hz", 0.1)], [Step(0.0, "Hz", 0.1)])
    ),
    "voltage": Quantity(
        "V", _same("V", "kV", "volt"), _steps([Step(0.0, "V", 1.0)], [Step(0.0, "V", 1.0)])
    ),
    "current": Quantity(
        "A",
        _same("A", "mA", "ampere", "amp"),
        _steps([Step(0.0, "A", 0.1)], [Step(0.0, "A", 0.1)]),
    ),
    "power": Quantity(
        "W",
        _same("hp", "kW", "W"),
        _steps([Step(0.0, "hp", 0.1)], [Step(0.0, "kW", 0.1)]),
    ),
    "k factor": Quantity(
        "m^3/s/Pa^0.5",
        {
            "gpm/psi^0.5": "gpm/psi^0.5",
            **_same("gal/min/psi^0.5", "L/min/bar^0.5", "m^3/s/Pa^0.5"),
        },
        _steps([Step(0.0, "gpm/psi^0.5", 0.1)], [Step(0.0, "L/min/bar^0.5", 1.0)]),
    ),
    "fraction": Quantity(
        "",
        {"%": "percent", "percent": "percent", "": ""},
        _steps([Step(0.0, "%", 0.1)], [Step(0.0, "%", 0.1)]),
    ),
    "number": Quantity("", {"": "", "dimensionless": ""}, {}),
    "count": Quantity("", {"": "", "count": ""}, {}),
}
"""Every quantity; the first unit accepted is the one that a refusal names first."""
