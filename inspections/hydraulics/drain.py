"""The flow that an open drain gives. SI: Pa, m, m3/s."""

from inspections.hydraulics.answer import Answer
from inspections.hydraulics.friction import hazen_williams_pressure_loss
from inspections.hydraulics.riser import nozzle_pitot_flow

_WIDEST_M3S = 0.32
"""About 5000 gpm: more than any drain passes."""


def drain_flow_estimate(
    residual_pa: float, bore_m: float, coefficient: float, c_factor: float, length_m: float
) -> Answer:
    """Return the flow through a drain from the residual at the riser, m3/s.

    Parameters
    ----------
    residual_pa
        Gauge at the riser with the drain wide open, Pa; > 0.
    bore_m
        Inside diameter of the drain, m; 2.067 in. for 2 in. Sch 40.
    coefficient
        Of the open end, -; 0.85 for a 45 degree elbow or an unreamed end.
    c_factor
        Hazen-Williams C, -.
    length_m
        Pipe with the equivalent lengths of its fittings, m; > 0.

    Notes
    -----
    Pressure at the open end plus friction equals the residual (insurer guideline PRC.14.1.2.2);
    bisection, since both rise with the flow. Best within 5 percent.
    """
    low, high = 0.0, _WIDEST_M3S
    full_m3s = nozzle_pitot_flow(1.0, bore_m, coefficient, 1.0)
    for _ in range(60):
        flow_m3s = (low + high) / 2.0
        needed_pa = (flow_m3s / full_m3s) ** 2
        needed_pa += hazen_williams_pressure_loss(flow_m3s, c_factor, bore_m, length_m)
        low, high = (flow_m3s, high) if needed_pa < residual_pa else (low, flow_m3s)
    warning = (
        "An estimate for light and ordinary hazard at this riser; "
        "it does not replace a hydrant flow test."
    )
    return Answer({"flow": low}, "", None, None, "About {flow} leave the drain.", [warning])
