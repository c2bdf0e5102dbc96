"""Sprinklers and outlets: K factors, pumper outlets, densities. SI: Pa, m3/s, m3/s/Pa^0.5."""

import math
from collections.abc import Sequence

from inspections.hydraulics.answer import interpolated
from inspections.hydraulics.constants import BAR, GPM, LPM, PSI
from inspections.hydraulics.tables import limit, rows

K_US = GPM / math.sqrt(PSI)
"""1 gpm/psi^0.5."""
K_SI = LPM / math.sqrt(BAR)
"""1 L/min/bar^0.5."""


def pumper_outlet_factor(pitot_pa: float) -> float:
    """Return the multiplier for a pumper outlet (4 in. and over) flowing without a tube, -.

    Parameters
    ----------
    pitot_pa
        Velocity pressure, Pa; >= 2 psi, below which nothing is defined.

    Notes
    -----
    NFPA 291 table: 0.97 at 2 psi to 0.83 at 7 psi and over; read linearly between.
    """
    table = [row for row in rows("nozzle_coefficients") if row["kind"] == "multiplier"]
    knots = [float(row["condition"].split()[1]) * PSI for row in table]
    factors = [float(row["coefficient"]) for row in table]
    return interpolated(min(pitot_pa, knots[-1]), knots, factors)


def k_factor(k_us: float | None, k_si: float | None) -> float:
    """Return a discharge coefficient in m3/s/Pa^0.5 from the US or the metric one; just one.

    Raises
    ------
    ValueError
        When none or both are given.
    """
    if (k_us is None) == (k_si is None):
        raise ValueError("K_us; K_us or K_si, just one; a discharge needs one coefficient")
    return k_us * K_US if k_us is not None else (k_si or 0.0) * K_SI


def k_factor_flow(
    pressure_pa: float, k_us: float | None = None, k_si: float | None = None
) -> float:
    """Return the flow Q = K sqrt(p), m3/s, at a pressure in Pa >= 0."""
    return k_factor(k_us, k_si) * math.sqrt(pressure_pa)


def k_factor_pressure(
    flow_m3s: float, k_us: float | None = None, k_si: float | None = None
) -> float:
    """Return the pressure (Q/K)2, Pa, that drives a flow in m3/s >= 0."""
    return (flow_m3s / k_factor(k_us, k_si)) ** 2


def sprinkler_cautions(pressure_pa: float, **_: float | None) -> list[str]:
    """Return what makes a pressure at a sprinkler unusual (7 psi from memory; 175 psi)."""
    if pressure_pa < 7.0 * PSI:
        return ["Under 7 psi (0.5 bar), the usual least pressure at a sprinkler."]
    return ["Over 175 psi (12 bar)."] if pressure_pa > 175.0 * PSI else []


def k_factor_us_to_si(k_us: float) -> float:
    """Return K in m3/s/Pa^0.5: of the nominal metric size for a nominal one, else the exact."""
    for row in rows("k_factors"):
        if float(row["K_us_nominal"]) == k_us:
            return float(row["K_si_nominal"]) * K_SI
    return k_us * K_US


def k_factor_percent_of_nominal(k_us: float) -> float:
    """Return the discharge against K 5.6 as a fraction: as named for a nominal size, else exact."""
    for row in rows("k_factors"):
        if float(row["K_us_nominal"]) == k_us:
            return float(row["percent_of_K5.6"]) / 100.0
    return k_us / 5.6


def open_outlets_flow(outlets: Sequence[tuple[float, float]]) -> float:
    """Return the flow of open sprinklers or nozzles, m3/s: K sqrt(p) of each, added.

    Parameters
    ----------
    outlets
        K in gpm/psi^0.5 and pressure in Pa of each; at least one.
    """
    if not outlets:
        raise ValueError("outlets; one or more; there is nothing to add")
    return sum(k_us * K_US * math.sqrt(pressure_pa) for k_us, pressure_pa in outlets)


def density_flow(density_ms: float, area_m2: float) -> float:
    """Return the flow, m3/s, that a density in m/s (m3/s per m2) asks of an area in m2."""
    return density_ms * area_m2


def dry_system_area(wet_area_m2: float) -> float:
    """Return the design area of a dry or double-interlock system, m2, from the wet one."""
    return wet_area_m2 * limit("dry_area_factor")
