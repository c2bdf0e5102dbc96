"""The units in which the tables of rules state their figures, each as a plain factor to SI."""

from dataclasses import dataclass

PLAIN = "dimensionless"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of measurement: ``si = value * factor + offset``.

    Attributes
    ----------
    dimension
        What it measures; only figures of one dimension are compared or added.
    factor, offset
        Conversion to the SI unit of that dimension.
    """

    dimension: str
    factor: float = 1.0
    offset: float = 0.0

    def to_si(self, value: float) -> float:
        """Return a figure of this unit in the SI unit of its dimension."""
        return value * self.factor + self.offset

    @property
    def is_plain(self) -> bool:
        """Say whether figures of this unit are pure numbers."""
        return self.dimension == PLAIN


_INCH = 0.0254
_GALLON = 231 * _INCH**3
_PSI = 4.4482216152605 / _INCH**2

# Exact definitions: inch 25.4 mm, US gallon 231 in3, pound-force 4.4482216152605 N (SI brochure;
# NIST Special Publication 811, appendix B).
UNITS: dict[str, Unit] = {
    "dimensionless": Unit(PLAIN),
    "psi": Unit("pressure", _PSI),
    "inch": Unit("length", _INCH),
    "foot": Unit("length", 12 * _INCH),
    "meter": Unit("length"),
    "degF": Unit("temperature", 5 / 9, 459.67 * 5 / 9),
    "degC": Unit("temperature", 1.0, 273.15),
    "millisecond": Unit("time", 0.001),
    "second": Unit("time"),
    "minute": Unit("time", 60.0),
    "hour": Unit("time", 3600.0),
    "gallon": Unit("volume", _GALLON),
    "gallon/minute": Unit("volume_flow", _GALLON / 60),
    "rpm": Unit("rotational_speed", 2 * 3.141592653589793 / 60),
    "volt": Unit("voltage"),
    "ampere": Unit("current"),
    "meter**0.5*second**0.5": Unit("response_time_index"),
}

# What the readings of a record measure, in the words of the table of activities. Stored readings
# are SI already, so their units have no factor.
_PLAIN_MEASURES = ("count", "ratio", "volume_fraction", "year")
_MEASURES = (
    "pressure",
    "length",
    "temperature",
    "time",
    "volume",
    "volume_flow",
    "voltage",
    "current",
    "rotational_speed",
    "response_time_index",
    "mass",
    "angle",
    "frequency",
)
SI_OF_MEASURE: dict[str, Unit] = {
    **dict.fromkeys(_PLAIN_MEASURES, Unit(PLAIN)),
    **{measure: Unit(measure) for measure in _MEASURES},
}
