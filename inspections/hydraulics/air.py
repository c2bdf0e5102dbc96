"""Air in the pipes: choking, compressors, purging. SI: Pa, m, m3, kg/s, s, K."""

import math

from inspections.hydraulics.constants import STANDARD_AIR_K, STANDARD_ATMOSPHERE_PA
from inspections.hydraulics.dry import Orifice, Surroundings, critical_ratio, orifice_mass_flow

AIR_GAS_CONSTANT = 287.05
"""J/(kg K)."""


def critical_pressure(upstream_pa: float, heat_ratio: float, atmosphere_pa: float) -> float:
    """Return the absolute pressure in the throat when the flow chokes, Pa.

    Parameters
    ----------
    upstream_pa
        Pa gauge.
    heat_ratio
        Ratio of specific heats, -; > 1.
    atmosphere_pa
        Local atmospheric pressure, Pa absolute.
    """
    return (upstream_pa + atmosphere_pa) * critical_ratio(heat_ratio)


def air_orifice_mass_flow(upstream_pa: float, orifice: Orifice, around: Surroundings) -> float:
    """Return the mass of air leaving by an orifice, kg/s; choked or not.

    Parameters
    ----------
    upstream_pa
        Pa gauge; >= 0.
    orifice, around
        What it leaves by, and to.
    """
    area_m2 = math.pi / 4.0 * orifice.bore_m**2 * orifice.coefficient
    upstream_abs_pa = upstream_pa + around.atmosphere_pa
    return orifice_mass_flow(
        upstream_abs_pa, around.atmosphere_pa, area_m2, around.temperature_k, AIR_GAS_CONSTANT
    )


def compressor_free_air(
    volume_m3: float, pressure_pa: float, temperature_k: float, time_s: float
) -> float:
    """Return the standard air (14.696 psia, 60 degF) that fills a system in a time, m3/s.

    Parameters
    ----------
    volume_m3
        Volume of the piping, m3; > 0.
    pressure_pa
        Pressure to reach from atmospheric, Pa gauge.
    temperature_k, time_s
        Of the pipe, K; > 0. Time, s; > 0.
    """
    atmospheres = pressure_pa / STANDARD_ATMOSPHERE_PA
    return volume_m3 * atmospheres * STANDARD_AIR_K / temperature_k / time_s


def nitrogen_purity(supply: float, low_abs_pa: float, high_abs_pa: float, cycles: int) -> float:
    """Return the nitrogen fraction after filling and venting a number of times (perfect mixing).

    Parameters
    ----------
    supply
        Purity of the supply, fraction.
    low_abs_pa, high_abs_pa
        Absolute pressures between which it is cycled, Pa; low < high.
    cycles
        How many; >= 0.
    """
    if low_abs_pa >= high_abs_pa:
        raise ValueError("p_low; less than p_high; a cycle fills and vents")
    return float(supply - (supply - 0.781) * (low_abs_pa / high_abs_pa) ** cycles)
