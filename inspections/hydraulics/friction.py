"""Friction in pipes: Hazen-Williams, equivalent lengths, loss coefficients. SI: Pa, m, m3/s."""

import math

from inspections.hydraulics.constants import FOOT, GPM, INCH, PSI
from inspections.hydraulics.tables import equivalent_length_m, rows
from inspections.hydraulics.water import pipe_velocity, pressure_to_head, velocity_head

_HAZEN_WILLIAMS = 4.52 * PSI / FOOT / GPM**1.85 * INCH**4.87
"""4.52 psi/ft, gpm, in (NFPA 13), in SI."""


def hazen_williams_pressure_loss(
    flow_m3s: float, c_factor: float, bore_m: float, length_m: float
) -> float:
    """Return the friction loss of a run of pipe, Pa; a negative flow gives a negative loss.

    Parameters
    ----------
    flow_m3s
        m3/s.
    c_factor
        Hazen-Williams C, -; 60 to 160.
    bore_m
        Actual inside diameter, m; > 0.
    length_m
        Length with the equivalent lengths of fittings, m; >= 0.

    Notes
    -----
    p = 4.52 Q^1.85 / (C^1.85 d^4.87) psi/ft (NFPA 13); water near 60 degF, turbulent, d >= 1 in.

    Examples
    --------
    500 gpm through 100 ft of 4 in. Sch 10 at C 120 lose 5.5 psi:

    >>> round(hazen_williams_pressure_loss(0.0315451, 120.0, 0.108204, 30.48) / 6894.757, 1)
    5.5
    """
    turbulent = abs(flow_m3s / c_factor) ** 1.85
    return math.copysign(_HAZEN_WILLIAMS * turbulent / bore_m**4.87 * length_m, flow_m3s)


def hazen_williams_head_loss(
    flow_m3s: float, c_factor: float, bore_m: float, length_m: float
) -> float:
    """Return the friction loss as a height of water, m; parameters as for the pressure loss."""
    return pressure_to_head(hazen_williams_pressure_loss(flow_m3s, c_factor, bore_m, length_m))


def equivalent_length_c_multiplier(c_factor: float) -> float:
    """Return the factor on equivalent lengths for a C other than 120, -.

    Notes
    -----
    The building-code table for its five values, (C/120)^1.85 between them.
    """
    for row in rows("c_multipliers"):
        if float(row["C"]) == c_factor:
            return float(row["equivalent_length_multiplier"])
    return float((c_factor / 120.0) ** 1.85)


def equivalent_length(fitting: str, nominal_size: str, c_factor: float) -> float:
    """Return the length of pipe that resists like a fitting, m.

    Parameters
    ----------
    fitting, nominal_size
        As in the table (Sch 40 steel): ``"elbow_90_standard"``, ``"4 in"``.
    c_factor
        Hazen-Williams C of the pipe, -.

    Raises
    ------
    ValueError
        When the table has no such fitting or size.
    """
    return equivalent_length_m(fitting, nominal_size) * equivalent_length_c_multiplier(c_factor)


def minor_loss(flow_m3s: float, bore_m: float, sum_k: float) -> float:
    """Return the head that fittings take, m: K v2/2g; K of the catalogue's table, added up."""
    return sum_k * velocity_head(pipe_velocity(flow_m3s, bore_m))


def loss_coefficient_head_curve(
    flow_m3s: float,
    friction_factor: float,
    length_m: float,
    bore_m: float,
    sum_k: float,
    lift_m: float,
) -> float:
    """Return the head a system asks of a pump, m.

    Parameters
    ----------
    flow_m3s, bore_m, length_m
        Flow and the pipe.
    friction_factor
        Darcy friction factor, -.
    sum_k
        Sum of loss coefficients, -.
    lift_m
        Static head, m.

    Notes
    -----
    H = lift + (f L/d + sum K) v2/2g.
    """
    coefficient = friction_factor * length_m / bore_m + sum_k
    return lift_m + coefficient * velocity_head(pipe_velocity(flow_m3s, bore_m))
