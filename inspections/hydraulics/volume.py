"""What pipes and tanks hold. SI: m, m3."""

import math
from collections.abc import Sequence

from inspections.hydraulics.tables import pipe_bore_m


def pipe_volume_per_length(nominal_size: str, schedule: str) -> float:
    """Return what a pipe of the table holds, m3/m.

    Raises
    ------
    ValueError
        When the table has no such pipe.
    """
    return math.pi / 4.0 * pipe_bore_m(nominal_size, schedule) ** 2


def system_volume(pipes: Sequence[tuple[str, str, float]]) -> float:
    """Return the volume of a system's piping, m3; fittings (1 to 2 percent) left out by custom.

    Parameters
    ----------
    pipes
        Nominal size, schedule and length, m, of each run.
    """
    return sum(pipe_volume_per_length(size, schedule) * length for size, schedule, length in pipes)


def vertical_tank_volume(diameter_m: float, depth_m: float) -> float:
    """Return the water in an upright cylinder, m3, at a depth in m."""
    return math.pi / 4.0 * diameter_m**2 * depth_m


def horizontal_tank_volume(diameter_m: float, length_m: float, depth_m: float) -> float:
    """Return the water in a lying cylinder with flat ends, m3.

    Parameters
    ----------
    diameter_m, length_m
        Inside, m; > 0.
    depth_m
        Of the water, m; 0 to the diameter.
    """
    if depth_m > diameter_m:
        raise ValueError("depth; at most D; water stands no deeper than the tank")
    r = diameter_m / 2.0
    chord = math.sqrt(max(0.0, 2.0 * r * depth_m - depth_m**2))
    return length_m * (r**2 * math.acos((r - depth_m) / r) - (r - depth_m) * chord)
