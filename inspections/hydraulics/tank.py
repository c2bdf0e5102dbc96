"""What a tank gives, and the slopes that pipes drain by. SI: m, m3, m3/s, s, Pa."""

import math

from inspections.hydraulics.answer import Answer, at_least
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.volume import horizontal_tank_volume

_ABSOLUTE = 15.0 * PSI


def tank_duration(usable_m3: float, demand_m3s: float, wanted_s: float | None) -> Answer:
    """Return how long a tank feeds a demand, s, and judge it where a duration is wanted.

    Parameters
    ----------
    usable_m3
        Water above the vortex plate, m3; >= 0.
    demand_m3s
        Demand with hose, m3/s; > 0.
    wanted_s
        Duration asked for, s; None when none is.
    """
    time_s = usable_m3 / demand_m3s
    if wanted_s is None:
        return Answer({"duration": time_s}, "", None, None, "It lasts {duration}.", [])
    verdict = "pass" if at_least(time_s, wanted_s) else "fail"
    reason = "It lasts {duration}; {limit} is wanted."
    return Answer({"duration": time_s}, verdict, wanted_s, time_s - wanted_s, reason, [])


def horizontal_tank_fill(diameter_m: float, length_m: float, depth_m: float) -> Answer:
    """Return how full a lying tank is, by volume; parameters as for its volume."""
    volume_m3 = horizontal_tank_volume(diameter_m, length_m, depth_m)
    full_m3 = math.pi / 4.0 * diameter_m**2 * length_m
    values: dict[str, float | str | None] = {"full": volume_m3 / full_m3, "volume": volume_m3}
    return Answer(values, "", None, None, "{full} full by volume: {volume}.", [])


def pressure_tank_air(air_fraction: float) -> float:
    """Return the air pressure of a pressure tank above its system, Pa: 30/A - 15 psi.

    Parameters
    ----------
    air_fraction
        Part of the tank that holds air; 0 < A <= 1 (from memory; 15 psi are left at the last).
    """
    return 2.0 * _ABSOLUTE / air_fraction - _ABSOLUTE


def pipe_slope(rise_m: float, run_m: float, pipe: str) -> Answer:
    """Judge the slope of a pipe of a dry system.

    Parameters
    ----------
    rise_m, run_m
        m; run > 0.
    pipe
        "branch" (1/2 in. per 10 ft) or "main" (1/4 in. per 10 ft); from memory.
    """
    least = (0.5 if pipe == "branch" else 0.25) / 120.0
    slope = rise_m / run_m
    verdict = "pass" if at_least(slope, least) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "slope": slope}
    reason = "The pipe falls {slope}; {limit} or more is wanted."
    return Answer(values, verdict, least, slope - least, reason, [])
