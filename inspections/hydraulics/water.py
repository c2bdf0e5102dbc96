"""Water standing and moving: weight, head, velocity. SI: Pa, m, m/s, m3/s, N/m3, K."""

import math

from inspections.hydraulics.answer import interpolated
from inspections.hydraulics.constants import GRAVITY, WATER_KG_M3
from inspections.hydraulics.tables import fahrenheit_k, rows

WATER_N_M3 = WATER_KG_M3 * GRAVITY


def water_specific_weight(temperature_k: float) -> float:
    """Return the weight of water, N/m3.

    Parameters
    ----------
    temperature_k
        273.15 to 322 K (32 to 120 degF); the table is read linearly.

    Notes
    -----
    IAPWS-95 densities, within 0.05 lbf/ft3 of the Hydraulic Institute's table.
    """
    table = rows("water_properties")
    knots = [fahrenheit_k(float(row["T_F"])) for row in table]
    return interpolated(temperature_k, knots, [float(row["density_kg_m3"]) for row in table]) * (
        GRAVITY
    )


def elevation_pressure(height_m: float) -> float:
    """Return the pressure of a column of water, Pa (0.433 psi/ft); up is a loss."""
    return WATER_N_M3 * height_m


def pressure_to_head(pressure_pa: float) -> float:
    """Return the height of water that a pressure holds, m (1 psi = 2.31 ft)."""
    return pressure_pa / WATER_N_M3


def pipe_velocity(flow_m3s: float, bore_m: float) -> float:
    """Return the mean velocity in a pipe, m/s.

    Parameters
    ----------
    flow_m3s
        m3/s.
    bore_m
        Inside diameter, m; > 0.
    """
    return flow_m3s / (math.pi / 4.0 * bore_m**2)


def jet_velocity_from_pressure(pressure_pa: float) -> float:
    """Return the velocity of a jet to the atmosphere, m/s, from its velocity pressure, Pa >= 0."""
    return math.sqrt(2.0 * pressure_pa / WATER_KG_M3)


def velocity_head(velocity_ms: float) -> float:
    """Return v2/2g, m, from a velocity in m/s."""
    return velocity_ms**2 / (2.0 * GRAVITY)


def velocity_pressure(flow_m3s: float, bore_m: float) -> float:
    """Return the velocity pressure in a pipe, Pa.

    Parameters
    ----------
    flow_m3s
        m3/s.
    bore_m
        Inside diameter, m; > 0.
    """
    return WATER_KG_M3 * pipe_velocity(flow_m3s, bore_m) ** 2 / 2.0


def velocity_cautions(flow_m3s: float, bore_m: float) -> list[str]:
    """Return what makes a velocity unusual (common practice, no source: 20 and 32 ft/s)."""
    speed_fts = pipe_velocity(abs(flow_m3s), bore_m) / 0.3048
    if speed_fts > 32.0:
        return ["Over 32 ft/s (9.8 m/s): see whether flow and bore are right."]
    return ["Over 20 ft/s (6.1 m/s) is unusual."] if speed_fts > 20.0 else []
