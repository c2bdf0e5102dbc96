"""Dry and preaction systems: trip pressure, times, air.

Portable subset: it runs on the tablet too. Everything is in SI (Pa gauge, m3/s, m, m3, s, K);
limits are arguments, their defaults come from the catalogue through `index`. A ValueError names
the input, what is accepted and why.
"""

import math
from typing import NamedTuple

from inspections.hydraulics.answer import Answer, at_least, at_most, keeps, refusal
from inspections.hydraulics.constants import HEAT_RATIO, STANDARD_AIR_K, STANDARD_ATMOSPHERE_PA


class DeliveryLimit(NamedTuple):
    """Time to water with a number of sprinklers open, for one hazard."""

    hazard: str
    open_sprinklers: int
    seconds: float


class Orifice(NamedTuple):
    """An opening that air leaves by: diameter, m; coefficient of discharge, -."""

    bore_m: float
    coefficient: float


class Surroundings(NamedTuple):
    """Temperature of air and pipe, K; local atmospheric pressure, Pa; "air" or "nitrogen"."""

    temperature_k: float
    atmosphere_pa: float
    gas: str


class DryValve(NamedTuple):
    """How a dry valve is held: its type, its ratio, -, or the fixed pressure of a latch, Pa.

    The type is "differential", "low_differential" or "latch"; what does not hold it is None.
    """

    kind: str
    ratio: float | None
    fixed_pa: float | None


def valve_trip_pressure(water_pa: float, valve: DryValve) -> float:
    """Return the air pressure at which a dry valve trips, Pa gauge.

    Parameters
    ----------
    water_pa
        Water pressure below the clapper, Pa gauge; >= 0.
    valve
        A differential valve needs its ratio, > 1; a latch its fixed pressure, > 0; without a ratio
        a low-differential valve is taken to trip at the water pressure.

    Notes
    -----
    p_trip = p_water / ratio in gauge pressure: the middle chamber stands open to the atmosphere. A
    latch is let go at a pressure of its own, whatever the water.
    """
    if water_pa < 0.0:
        raise ValueError(refusal("p_water", "0 or more", "gauge pressure below the clapper"))
    if valve.kind == "latch":
        if valve.fixed_pa is None:
            why = "a latch lets go at a pressure of its own, whatever the water"
            raise ValueError(refusal("fixed_trip", "the pressure of the valve's instructions", why))
        return valve.fixed_pa
    if valve.ratio is None:
        if valve.kind == "low_differential":
            return water_pa
        raise ValueError(refusal("ratio", "more than 1", "a differential valve trips by its ratio"))
    if valve.ratio <= 1.0:
        raise ValueError(refusal("ratio", "more than 1", "air holds a greater water pressure"))
    return water_pa / valve.ratio


def valve_cautions(valve: DryValve, latch_least_pa: float, latch_most_pa: float) -> list[str]:
    """Return what makes the figures of a valve doubtful.

    Parameters
    ----------
    latch_least_pa, latch_most_pa
        Between which a latch lets go as a rule, Pa (state fire marshal's text: 10 to 15 psi).
    """
    cautions: list[str] = []
    if valve.kind == "latch" and valve.fixed_pa is not None:
        low = not at_least(valve.fixed_pa, latch_least_pa)
        if low or not at_most(valve.fixed_pa, latch_most_pa):
            cautions.append("A latch lets go at 10 to 15 psi (0.7 to 1.0 bar) as a rule.")
    if valve.kind == "low_differential" and valve.ratio is not None and valve.ratio > 2.0:
        cautions.append("A low-differential valve has a ratio near 1: is it a differential one?")
    return cautions


def trip_pressure_from_differential(
    water_pa: float,
    valve: DryValve,
    observed_pa: float | None,
    previous_pa: float | None,
    off_limit: float,
    change_limit: float,
    latch_least_pa: float,
    latch_most_pa: float,
) -> Answer:
    """Return the air pressure at which a dry valve trips, and judge the observed one.

    Parameters
    ----------
    water_pa
        Water pressure below the clapper, Pa gauge; >= 0.
    valve
        How it is held; see `valve_trip_pressure`.
    observed_pa, previous_pa
        Trip pressure seen now and at the last test, Pa; None when not known.
    off_limit, change_limit
        Difference from the calculated one, and from the last test, that is looked into, fraction
        (common practice, no source: 20 and 10 percent).
    latch_least_pa, latch_most_pa
        Between which a latch lets go as a rule, Pa.
    """
    trip_pa = valve_trip_pressure(water_pa, valve)
    warnings = valve_cautions(valve, latch_least_pa, latch_most_pa)
    values: dict[str, float | str | None] = {"trip": trip_pa, "observed": observed_pa}
    if observed_pa is None:
        return Answer(values, "", None, None, "The valve trips at {trip}.", warnings)
    bound_pa = trip_pa * (1.0 - off_limit if observed_pa < trip_pa else 1.0 + off_limit)
    margin_pa = abs(bound_pa - trip_pa) - abs(observed_pa - trip_pa)
    if not at_most(abs(observed_pa - trip_pa), off_limit * trip_pa):
        reason = "Tripped at {observed} where {trip} is calculated: look into the cause."
        return Answer(values, "look into it", bound_pa, margin_pa, reason, warnings)
    if previous_pa is not None and not at_most(
        abs(observed_pa - previous_pa), change_limit * previous_pa
    ):
        reason = "Trip pressure moved to {observed} since the last test: look into the cause."
        return Answer(values, "look into it", bound_pa, margin_pa, reason, warnings)
    reason = "Tripped at {observed}; {trip} is calculated."
    return Answer(values, "pass", bound_pa, margin_pa, reason, warnings)


def dry_air_setpoint(
    water_pa: float,
    valve: DryValve,
    air_pa: float | None,
    above_trip_pa: float,
    above_water_pa: float,
    latch_least_pa: float,
    latch_most_pa: float,
) -> Answer:
    """Return the air pressure to keep, and judge the one found.

    Parameters
    ----------
    water_pa
        Highest normal water pressure, Pa; >= 0.
    valve
        How it is held; see `valve_trip_pressure`.
    air_pa
        Air pressure found, Pa; None when not known.
    above_trip_pa
        Distance above the calculated trip pressure, Pa (NFPA 13: 20 psi), unless the valve's
        instructions say otherwise.
    above_water_pa
        Least distance above the water of a low-differential valve, Pa (state fire marshal's text:
        15 to 20 psi).
    latch_least_pa, latch_most_pa
        Between which a latch lets go as a rule, Pa.
    """
    trip_pa = valve_trip_pressure(water_pa, valve)
    warnings = valve_cautions(valve, latch_least_pa, latch_most_pa)
    setpoint_pa = trip_pa + above_trip_pa
    reason = "Keep {setpoint}: the trip pressure of {trip} with its margin."
    if valve.kind == "low_differential":
        setpoint_pa = water_pa + above_water_pa
        reason = "Keep at least {setpoint}: low-differential valves hold 15 to 20 psi (1.0 to 1.4"
        reason += " bar) more air than water."
    values: dict[str, float | str | None] = {"setpoint": setpoint_pa, "trip": trip_pa}
    if air_pa is None:
        return Answer(values, "", setpoint_pa, None, reason, warnings)
    verdict = "pass" if at_least(air_pa, setpoint_pa) else "fail"
    return Answer(values, verdict, setpoint_pa, air_pa - setpoint_pa, reason, warnings)


def water_delivery_limit(hazard: str, time_s: float | None, table: list[DeliveryLimit]) -> Answer:
    """Return how many sprinklers are opened and how soon water has to come, and judge a time.

    Parameters
    ----------
    hazard
        "dwelling_unit", "light", "ordinary", "extra" or "high_piled".
    time_s
        Time from opening to the first water (not to a steady stream), s; None when not measured.
    table
        The limits (NFPA 13).
    """
    for row in table:
        if row.hazard == hazard:
            values: dict[str, float | str | None] = {
                "open_sprinklers": row.open_sprinklers,
                "seconds": row.seconds,
            }
            reason = "Water is due within {seconds} with {open_sprinklers} open."
            if time_s is None:
                return Answer(values, "", row.seconds, None, reason, [])
            verdict = "pass" if at_most(time_s, row.seconds) else "fail"
            return Answer(values, verdict, row.seconds, row.seconds - time_s, reason, [])
    raise ValueError(refusal("hazard", "a hazard of the delivery table", "it sets the limit"))


def dry_time_limit_by_volume(
    volume_m3: float,
    quick_opening_device: bool,
    dwelling_unit: bool,
    plain_m3: float,
    quick_m3: float,
) -> Answer:
    """Tell whether the size of a dry system spares it a delivery time at the test outlet.

    Parameters
    ----------
    volume_m3
        Volume of the piping, m3; > 0.
    quick_opening_device, dwelling_unit
        What the system has and protects.
    plain_m3, quick_m3
        Volumes up to which no time is set, without and with a quick-opening device, m3 (NFPA 13:
        500 and 750 gal; not open to dwelling units, which have 15 s).
    """
    if volume_m3 <= 0.0:
        raise ValueError(refusal("V", "more than 0", "a system has a volume"))
    spared_m3 = quick_m3 if quick_opening_device else plain_m3
    rule = "60 s"
    limit_s: float | None = 60.0
    if dwelling_unit:
        rule = "15 s"
        limit_s = 15.0
    elif at_most(volume_m3, spared_m3):
        rule = "no limit"
        limit_s = None
    values: dict[str, float | str | None] = {"rule": rule, "seconds": limit_s}
    return Answer(values, "", limit_s, None, "Time to water at the test outlet: {rule}.", [])


def choked_flow_coefficient(heat_ratio: float) -> float:
    """Return G in m = Cd A p0 G / sqrt(R T0) for a gas leaving at the speed of sound.

    Parameters
    ----------
    heat_ratio
        Ratio of specific heats, -; > 1.
    """
    exponent = (heat_ratio + 1.0) / (2.0 * (heat_ratio - 1.0))
    return math.sqrt(heat_ratio) * math.pow(2.0 / (heat_ratio + 1.0), exponent)


def critical_ratio(heat_ratio: float) -> float:
    """Return throat over upstream absolute pressure at which the flow chokes (0.5283 for air)."""
    return math.pow(2.0 / (heat_ratio + 1.0), heat_ratio / (heat_ratio - 1.0))


def orifice_mass_flow(
    upstream_abs_pa: float, atmosphere_pa: float, area_m2: float, temperature_k: float, gas: float
) -> float:
    """Return the mass flow of air through an ideal orifice to the atmosphere, kg/s.

    Parameters
    ----------
    upstream_abs_pa, atmosphere_pa
        Absolute pressures, Pa; upstream >= atmosphere.
    area_m2
        Area times coefficient of discharge, m2.
    temperature_k
        Upstream temperature, K.
    gas
        Gas constant, J/(kg K).
    """
    k = HEAT_RATIO
    speed = math.sqrt(gas * temperature_k)
    if atmosphere_pa <= critical_ratio(k) * upstream_abs_pa:
        return area_m2 * upstream_abs_pa * choked_flow_coefficient(k) / speed
    r = atmosphere_pa / upstream_abs_pa
    swing = math.pow(r, 2.0 / k) - math.pow(r, (k + 1.0) / k)
    return area_m2 * upstream_abs_pa * math.sqrt(2.0 * k / (k - 1.0) * max(swing, 0.0)) / speed


def dry_valve_trip_time(
    volume_m3: float,
    start_pa: float,
    trip_pa: float,
    orifice: Orifice,
    around: Surroundings,
    model: str,
) -> Answer:
    """Return the time in which the air of a dry system falls to the trip pressure.

    Parameters
    ----------
    volume_m3
        Volume of the piping, m3; > 0.
    start_pa, trip_pa
        Air pressure at the opening and at the trip, Pa gauge; start > trip > 0.
    orifice
        What was opened; coefficient usually 0.70 to 0.85 for a sprinkler passing air.
    around
        Temperature, atmosphere and gas.
    model
        "isothermal" (a slow trip, the pipe feeds heat: the longest time) or "adiabatic".

    Returns
    -------
    Answer
        `time` by the model asked for, `isothermal` and `adiabatic` as the band, s.

    Notes
    -----
    Ideal gas leaving a fixed volume: closed form while choked, quadrature (midpoint in pressure)
    below. A quick-opening device trips on rate and is outside this model.
    """
    if trip_pa <= 0.0:
        why = "the flow stops at atmospheric pressure"
        raise ValueError(refusal("p_trip_gauge", "more than 0", why))
    if trip_pa >= start_pa:
        why = "the pressure falls from the start to the trip"
        raise ValueError(refusal("p_trip_gauge", "less than p0_gauge", why))
    warnings: list[str] = []
    if orifice.coefficient < 0.5:
        warnings.append("A coefficient under 0.5 is unusual for an open sprinkler or test outlet.")
    constant = 296.8 if around.gas == "nitrogen" else 287.05
    area_m2 = math.pi / 4.0 * orifice.bore_m * orifice.bore_m * orifice.coefficient
    scale = volume_m3 / (area_m2 * math.sqrt(constant * around.temperature_k))
    start = (start_pa + around.atmosphere_pa) / around.atmosphere_pa
    trip = (trip_pa + around.atmosphere_pa) / around.atmosphere_pa
    isothermal_s = scale * _blow_down(start, trip, 1.0)
    adiabatic_s = scale * _blow_down(start, trip, HEAT_RATIO)
    values: dict[str, float | str | None] = {
        "time": adiabatic_s if model == "adiabatic" else isothermal_s,
        "isothermal": isothermal_s,
        "adiabatic": adiabatic_s,
    }
    reason = "The air falls to the trip pressure in {adiabatic} to {isothermal}."
    return Answer(values, "", None, None, reason, warnings)


def _blow_down(start: float, trip: float, polytrope: float) -> float:
    """Give t Cd A sqrt(R T0) / V between two pressures, in atmospheres absolute."""
    choke = 1.0 / critical_ratio(HEAT_RATIO)
    choked_to = max(trip, min(choke, start))
    total = 0.0
    if start > choke:
        ratio = start / choked_to
        g = choked_flow_coefficient(HEAT_RATIO)
        if polytrope == 1.0:
            total = math.log(ratio) / g
        else:
            power = (polytrope - 1.0) / (2.0 * polytrope)
            total = 2.0 / (polytrope - 1.0) / g * (math.pow(ratio, power) - 1.0)
    steps = 800
    width = (choked_to - trip) / steps
    i = 0
    while i < steps and width > 0.0:
        p = trip + (i + 0.5) * width
        warmth = math.pow(p / start, (polytrope - 1.0) / polytrope)
        flow = orifice_mass_flow(p, 1.0, 1.0, 1.0, 1.0) / math.sqrt(warmth)
        total += width / (polytrope * warmth * flow)
        i += 1
    return total


def air_pressure_at_temperature(
    pressure_pa: float, from_k: float, to_k: float, atmosphere_pa: float
) -> float:
    """Return the gauge pressure of air shut in a pipe after its temperature changed, Pa.

    Parameters
    ----------
    pressure_pa
        Gauge pressure at `from_k`, Pa.
    from_k, to_k
        Temperatures, K; > 0.
    atmosphere_pa
        Local atmospheric pressure, Pa absolute.
    """
    return (pressure_pa + atmosphere_pa) * to_k / from_k - atmosphere_pa


def air_leak_rate(
    volume_m3: float,
    start_pa: float,
    end_pa: float,
    temperature_k: float,
    end_temperature_k: float | None,
    duration_s: float,
    atmosphere_pa: float,
) -> Answer:
    """Return the leak of a dry system in standard air (14.696 psia, 60 degF), m3/s.

    Parameters
    ----------
    volume_m3
        Volume of the piping, m3; > 0.
    start_pa, end_pa
        Gauge pressures, Pa.
    temperature_k, end_temperature_k
        Of the pipe at start and end, K; end None = the same.
    duration_s
        Length of the test, s; > 0.
    atmosphere_pa
        Local atmospheric pressure, Pa absolute (used with two temperatures).
    """
    if duration_s <= 0.0:
        raise ValueError(refusal("duration", "more than 0", "a rate needs a time"))
    if end_temperature_k is not None:
        end_pa = air_pressure_at_temperature(
            end_pa, end_temperature_k, temperature_k, atmosphere_pa
        )
    atmospheres = (start_pa - end_pa) / STANDARD_ATMOSPHERE_PA
    leak_m3s = volume_m3 * atmospheres * STANDARD_AIR_K / temperature_k / duration_s
    values: dict[str, float | str | None] = {"leak": leak_m3s, "loss": start_pa - end_pa}
    if leak_m3s < 0.0:
        reason = "The pressure rose: the pipe warmed, or a valve passes. No pass by itself."
        return Answer(values, "look into it", None, None, reason, [])
    return Answer(values, "", None, None, "{loss} lost, {leak} of standard air.", [])


def air_test_verdict(
    start_pa: float,
    end_pa: float,
    start_k: float | None,
    end_k: float | None,
    atmosphere_pa: float,
    allowed_pa: float,
) -> Answer:
    """Judge an air test by the pressure lost, corrected for temperature when both are known.

    Parameters
    ----------
    start_pa, end_pa
        Gauge pressures, Pa.
    start_k, end_k
        Temperatures of the pipe, K; None when not read.
    atmosphere_pa
        Local atmospheric pressure, Pa absolute.
    allowed_pa
        Allowed loss, Pa (NFPA 13: 1.5 psi in 24 h; NFPA 25: 3 psi in 2 h).
    """
    warnings: list[str] = []
    if start_k is not None and end_k is not None:
        end_pa = air_pressure_at_temperature(end_pa, end_k, start_k, atmosphere_pa)
    else:
        warnings.append("Not corrected for temperature: 10 degF (5.6 K) moves about 1 psi.")
    loss_pa = start_pa - end_pa
    verdict = "pass" if at_most(loss_pa, allowed_pa) else "fail"
    reason = "{loss} lost; {limit} allowed."
    if loss_pa < 0.0:
        verdict = "look into it"
        reason = "The pressure rose: the pipe warmed, or a valve passes. No pass by itself."
    values: dict[str, float | str | None] = {"verdict": verdict, "loss": loss_pa}
    return Answer(values, verdict, allowed_pa, allowed_pa - loss_pa, reason, warnings)


def air_fill_time(
    time_s: float, space_k: float, limit_s: float, cold_limit_s: float, cold_k: float
) -> Answer:
    """Judge how long the air supply takes to bring back normal pressure.

    Parameters
    ----------
    time_s
        Measured time, s; >= 0.
    space_k
        Temperature of the protected space, K.
    limit_s, cold_limit_s, cold_k
        Limit, limit for spaces below `cold_k` (NFPA 13: 30 min; 60 min below 5 degF).
    """
    allowed_s = cold_limit_s if space_k < cold_k else limit_s
    return keeps(time_s, allowed_s, "Normal air pressure after {value}; {limit} allowed.", [])
