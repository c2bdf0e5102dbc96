"""Fire pumps and their motors. SI: Pa, m3/s, m, rad/s, V, A, W; fractions as fractions."""

import math
from collections.abc import Sequence

from inspections.hydraulics.answer import Answer, at_least, at_most
from inspections.hydraulics.tables import limit
from inspections.hydraulics.water import elevation_pressure, velocity_pressure

FORMER_SLOW = "Below rated speed: report it uncorrected too, a governor may be at fault."


def affinity_flow(flow_m3s: float, speed: float, new_speed: float) -> float:
    """Return the flow at another speed, in proportion to it (Hydraulic Institute)."""
    return flow_m3s * new_speed / speed


def affinity_head(head_m: float, speed: float, new_speed: float) -> float:
    """Return the head at another speed, with its square (Hydraulic Institute)."""
    return head_m * (new_speed / speed) ** 2


def pump_speed_correction(
    flow_m3s: float, net_pa: float, speed: float, rated_speed: float
) -> Answer:
    """Return net pressure and flow of a test point at rated speed.

    Parameters
    ----------
    flow_m3s, net_pa
        The point as tested, m3/s and Pa.
    speed, rated_speed
        Its own speed and the rated one, rad/s; > 0.
    """
    values: dict[str, float | str | None] = {
        "net": affinity_head(net_pa, speed, rated_speed),
        "flow": affinity_flow(flow_m3s, speed, rated_speed),
    }
    warnings = []
    if abs(speed / rated_speed - 1.0) > 0.1:
        warnings.append("The speed is more than 10 percent off: the correction is doubtful.")
    return Answer(values, "", None, None, "{net} and {flow} at rated speed.", warnings)


def slow_driver(speeds: Sequence[float], rated_speed: float) -> list[str]:
    """Return what is said to a driver that turns slower than it should.

    Parameters
    ----------
    speeds, rated_speed
        Of each point and the rated one, rad/s; > 0. Less below it than the catalogue's `speed_low`
        lies within the reading.
    """
    below = limit("speed_low")
    if all(at_least(speed, rated_speed * (1.0 - below)) for speed in speeds):
        return []
    return [
        f"More than {100 * below:.3g} percent below rated speed: report it uncorrected too, and"
        " look for the cause at the driver (an engine's governor; a motor's voltage and load),"
        " unless its speed is varied on purpose."
    ]


def slow_point(*, speed: float, rated_speed: float, **_: object) -> list[str]:
    """Return what is said to the speed of one point, rad/s; see `slow_driver`."""
    return slow_driver([speed], rated_speed)


def former_slow_point(*, speed: float, rated_speed: float, **_: object) -> list[str]:
    """Return what version 1 said, which knew no tolerance."""
    return [FORMER_SLOW] if speed < rated_speed else []


def pump_net_pressure(
    suction_pa: float,
    discharge_pa: float,
    flow_m3s: float,
    suction_bore_m: float,
    discharge_bore_m: float,
    height_m: float,
) -> float:
    """Return the net pressure of a pump, Pa.

    Parameters
    ----------
    suction_pa, discharge_pa
        Gauges, Pa; suction negative below atmosphere.
    flow_m3s
        m3/s; >= 0.
    suction_bore_m, discharge_bore_m
        Inside diameters at the gauge taps, m; > 0.
    height_m
        Discharge gauge above suction gauge, m.

    Raises
    ------
    ValueError
        When the discharge is under the suction at churn.

    Notes
    -----
    Difference of the gauges, of the velocity pressures, and of their heights.
    """
    if flow_m3s == 0.0 and discharge_pa < suction_pa:
        why = "the pump turns backwards, a check valve is stuck or the gauges are exchanged"
        raise ValueError(f"discharge; at least suction at churn; {why}")
    velocity_pa = velocity_pressure(flow_m3s, discharge_bore_m) - velocity_pressure(
        flow_m3s, suction_bore_m
    )
    return discharge_pa - suction_pa + velocity_pa + elevation_pressure(height_m)


def pump_acceptance_limits(
    rated_pa: float,
    churn_pa: float | None,
    at_rated_pa: float | None,
    overload_pa: float | None,
    churn_limit: float,
    overload_limit: float,
) -> Answer:
    """Judge net pressures of a pump against its rating; the worst counts.

    Parameters
    ----------
    rated_pa
        Rated net pressure, Pa; > 0.
    churn_pa, at_rated_pa, overload_pa
        Net at no flow, at rated flow, at 150 percent of it, Pa; at least one.
    churn_limit, overload_limit
        Fractions of the rated net (NFPA 20: 140 and 65 percent; 100 percent at rated flow).
    """
    given = (
        ("At churn", churn_pa, churn_limit, -1.0),
        ("At rated flow", at_rated_pa, 1.0, 1.0),
        ("At 150 percent", overload_pa, overload_limit, 1.0),
    )
    judged = [
        (side * (net_pa / rated_pa - bound), where, bound)
        for where, net_pa, bound, side in given
        if net_pa is not None
    ]
    if not judged:
        raise ValueError("churn_net; one net pressure or more; there is nothing to judge")
    margin, where, bound = min(judged)
    verdict = "pass" if at_least(1.0 + margin, 1.0) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "margin": margin}
    warnings = [] if len(judged) == len(given) else ["Fewer than three points: incomplete."]
    reason = f"{where} the pump is " + "{margin} of rated from its limit of {limit}."
    return Answer(values, verdict, bound, margin, reason, warnings)


def pump_annual_95pct(baseline_pa: float, net_pa: float, least: float) -> Answer:
    """Judge a net pressure, at rated speed, against the first curve at the same flow.

    Parameters
    ----------
    baseline_pa, net_pa
        Pa; baseline > 0.
    least
        Fraction to be kept (NFPA 25: 95 percent).
    """
    share = net_pa / baseline_pa
    verdict = "pass" if at_least(share, least) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "share": share}
    reason = "{share} of the first curve; {limit} or more is wanted."
    return Answer(values, verdict, least, share - least, reason, [])


def motor_voltage_range(
    nameplate_v: float, measured_v: float, below: float, above: float
) -> Answer:
    """Judge the voltage at a motor; `below` and `above` are fractions of the nameplate.

    Parameters
    ----------
    nameplate_v, measured_v
        V; nameplate > 0.
    below, above
        NFPA 25: 5 and 10 percent.
    """
    deviation = measured_v / nameplate_v - 1.0
    within = at_least(measured_v, nameplate_v * (1.0 - below)) and at_most(
        measured_v, nameplate_v * (1.0 + above)
    )
    verdict = "pass" if within else "fail"
    margin = min(deviation + below, above - deviation)
    values: dict[str, float | str | None] = {"verdict": verdict, "deviation": deviation}
    limit_v = nameplate_v * (1.0 - below if deviation < 0.5 * (above - below) else 1.0 + above)
    reason = "{deviation} off the nameplate voltage; the nearer limit is {limit}."
    return Answer(values, verdict, limit_v, margin, reason, [])


def motor_current_load(
    currents_a: Sequence[float], nameplate_a: float, service_factor: float
) -> Answer:
    """Judge the current of the worst leg against nameplate times service factor.

    Parameters
    ----------
    currents_a
        Each leg, A; at least one.
    nameplate_a, service_factor
        A and -; > 0.
    """
    most_a = max(currents_a)
    limit_a = nameplate_a * service_factor
    verdict = "pass" if at_most(most_a, limit_a) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "current": most_a}
    reason = "{current} on the worst leg; {limit} allowed."
    return Answer(values, verdict, limit_a, limit_a - most_a, reason, [])


def phase_unbalance(readings: Sequence[float], note: float, stop: float) -> Answer:
    """Return the greatest deviation from the average of the phases as a fraction of it.

    Parameters
    ----------
    readings
        One per phase, V or A; three or more, > 0.
    note, stop
        Fractions above which it is looked into, and above which the motor is not run
        (NEMA MG-1: 1 and 5 percent).
    """
    if len(readings) < 3:
        raise ValueError("readings; three or more; a phase is compared with the average")
    average = sum(readings) / len(readings)
    unbalance = max(abs(reading - average) for reading in readings) / average
    verdict = "pass" if at_most(unbalance, note) else "look into it"
    if not at_most(unbalance, stop):
        verdict = "fail"
    reason = "Unbalance {unbalance}; over {limit} is looked into, over 5 percent don't run."
    return Answer({"unbalance": unbalance}, verdict, note, note - unbalance, reason, [])


def current_unbalance(currents_a: Sequence[float]) -> Answer:
    """Return the greatest deviation from the average current as a fraction of it.

    Parameters
    ----------
    currents_a
        One per phase, A; three or more, > 0. Six to ten times the unbalance of the voltage is
        usual, so there is no limit of its own.
    """
    unbalance = phase_unbalance(currents_a, 1.0, 1.0).values["unbalance"]
    reason = "Unbalance {unbalance}; six to ten times that of the voltage is usual."
    return Answer({"unbalance": unbalance}, "", None, None, reason, [])


def motor_full_load_current(
    power_w: float, voltage_v: float, power_factor: float, efficiency: float
) -> float:
    """Return the current of a three-phase motor, A.

    Parameters
    ----------
    power_w
        Shaft power, W (input power when the efficiency is 1).
    voltage_v
        Between lines, V; > 0.
    power_factor, efficiency
        0 < value <= 1.
    """
    return power_w / (math.sqrt(3.0) * voltage_v * power_factor * efficiency)


def synchronous_speed(frequency_hz: float, poles: int) -> float:
    """Return the speed of the field, rad/s (120 f/poles rpm), for an even number of poles."""
    if poles % 2:
        raise ValueError("poles; an even number; poles come in pairs")
    return 4.0 * math.pi * frequency_hz / poles


def water_power(flow_m3s: float, pressure_pa: float) -> float:
    """Return the power in the water, W (Q P/1714 hp in gpm and psi)."""
    return flow_m3s * pressure_pa
