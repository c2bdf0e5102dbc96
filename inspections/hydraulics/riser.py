"""What is judged at the riser: pitot, main drain, alarms, signals, gauges.

Portable subset: it runs on the tablet too. Everything is in SI (Pa gauge, m3/s, m, m3, s, K);
limits are arguments, their defaults come from the catalogue through `index`. A ValueError names
the input, what is accepted and why.
"""

import math
from typing import NamedTuple

from inspections.hydraulics.answer import Answer, at_least, at_most, keeps, refusal
from inspections.hydraulics.constants import PSI, WATER_KG_M3


class MainDrainTest(NamedTuple):
    """One main drain test, Pa gauge; `name` says which one it is."""

    name: str
    residual_pa: float
    static_pa: float | None
    static_after_pa: float | None


def nozzle_pitot_flow(
    pitot_pa: float, bore_m: float, coefficient: float, pumper_factor: float
) -> float:
    """Return the flow from an outlet whose velocity pressure was read with a pitot tube.

    Parameters
    ----------
    pitot_pa
        Velocity pressure in the stream, Pa; >= 0.
    bore_m
        Measured inside diameter of the outlet, m; > 0.
    coefficient
        Coefficient of discharge, -; 0 < c <= 1.
    pumper_factor
        Multiplier for a pumper outlet without a tube, -; 1 for other outlets.

    Returns
    -------
    float
        Flow, m3/s.

    Raises
    ------
    ValueError
        When the pressure is negative or the bore is not positive.

    Notes
    -----
    Q = c (pi/4) d2 sqrt(2 p / density), Bernoulli's equation for a jet to the atmosphere; in
    gpm, in and psi it is 29.84 c d2 sqrt(p) as in NFPA 291.
    """
    if pitot_pa < 0.0:
        raise ValueError(refusal("p", "0 or more", "a stream has no negative velocity pressure"))
    if bore_m <= 0.0:
        raise ValueError(refusal("d", "more than 0", "an outlet has a bore"))
    area_m2 = math.pi / 4.0 * bore_m * bore_m
    return coefficient * pumper_factor * area_m2 * math.sqrt(2.0 * pitot_pa / WATER_KG_M3)


def pitot_cautions(
    pitot_pa: float, bore_m: float, coefficient: float, pumper_factor: float
) -> list[str]:
    """Return what makes a pitot reading doubtful (common practice; NFPA 291 for 10 and 30 psi)."""
    cautions: list[str] = []
    if pitot_pa < 2.0 * PSI:
        cautions.append("Under 2 psi (0.14 bar) the stream does not fill the outlet.")
    if pitot_pa > 80.0 * PSI:
        cautions.append("Over 80 psi (5.5 bar) the needle swings: open another outlet.")
    if bore_m >= 0.1 and pumper_factor == 1.0 and coefficient < 0.95:
        cautions.append("A pumper outlet without a tube also takes the multiplier of its pressure.")
    return cautions


def main_drain_change(
    now: MainDrainTest, earlier: list[MainDrainTest], fall_limit: float, recovery_pa: float
) -> Answer:
    """Judge a main drain test against the acceptance test and every earlier one; the worst counts.

    Parameters
    ----------
    now
        This test.
    earlier
        The tests to compare with, the last one first; none makes this one the baseline.
    fall_limit
        Fall that has to be explained, fraction of the earlier residual.
    recovery_pa
        How far the static after may stay below the static before, Pa.

    Returns
    -------
    Answer
        `finding` (investigate, within limit, baseline set), `fall` (the greatest, fraction),
        `against` (name of the test it is measured from).

    Raises
    ------
    ValueError
        When the residual is negative or above the static, or an earlier residual is not above 0.

    Notes
    -----
    Fall = (earlier - now)/earlier; 10 percent or more is to be explained (NFPA 25).
    """
    if now.residual_pa < 0.0:
        raise ValueError(refusal("current_residual", "0 or more", "water flows from the drain"))
    if now.static_pa is not None and now.static_pa > 0.0 and now.residual_pa > now.static_pa:
        why = "pressure can't rise while the drain flows: a gauge or a reading is wrong"
        raise ValueError(refusal("current_residual", "at most the static pressure", why))
    fall: float | None = None
    against = ""
    for test in earlier:
        if test.residual_pa <= 0.0:
            why = "a fall is measured from a pressure"
            raise ValueError(refusal(test.name, "more than 0", why))
        compared = (test.residual_pa - now.residual_pa) / test.residual_pa
        if fall is None or compared > fall:
            fall = compared
            against = test.name
    return _main_drain_judged(now, earlier, fall, against, fall_limit, recovery_pa)


def _main_drain_judged(
    now: MainDrainTest,
    earlier: list[MainDrainTest],
    fall: float | None,
    against: str,
    fall_limit: float,
    recovery_pa: float,
) -> Answer:
    warnings = _recovery(now, recovery_pa)
    values: dict[str, float | str | None] = {
        "finding": "within limit",
        "fall": fall,
        "against": against,
    }
    margin = None if fall is None else fall_limit - fall
    verdict = "pass" if len(warnings) == 0 else "look into it"
    reason = "The greatest fall, {fall} against the {against} test, is under {limit}."
    if now.residual_pa == 0.0 or (now.static_pa is not None and now.static_pa <= 0.0):
        values["finding"] = "investigate"
        verdict = "fail"
        reason = "No pressure at the supply gauge: treat as an impairment until it is explained."
    elif fall is None:
        values["finding"] = "baseline set"
        verdict = "" if len(warnings) == 0 else "look into it"
        reason = "No earlier test to compare with: this one is the baseline."
    elif at_least(fall, fall_limit):
        values["finding"] = "investigate"
        verdict = "look into it"
        reason = "Residual is {fall} below the {against} test; {limit} or more is to be explained. "
        reason += _main_drain_hint(now, earlier[0])
    return Answer(values, verdict, fall_limit, margin, reason, warnings)


def _recovery(now: MainDrainTest, recovery_pa: float) -> list[str]:
    warnings: list[str] = []
    if now.static_pa is None or now.static_after_pa is None:
        return warnings
    if not at_most(now.static_pa - now.static_after_pa, recovery_pa):
        warnings.append(
            "Static did not come back after the drain was shut: a valve not fully open, "
            "or a weak supply."
        )
    return warnings


def _main_drain_hint(now: MainDrainTest, last: MainDrainTest) -> str:
    if now.static_pa is None or last.static_pa is None:
        return "See that every control valve is fully open."
    residual_fall_pa = last.residual_pa - now.residual_pa
    static_fall_pa = last.static_pa - now.static_pa
    if residual_fall_pa <= 0.0:
        return "It has not fallen since the last test: the cause is older."
    if static_fall_pa >= 0.8 * residual_fall_pa:
        return "Static fell as much: the supply changed."
    if static_fall_pa <= 0.2 * residual_fall_pa:
        return "Static is unchanged: a valve partly shut, or an obstruction."
    return "Static fell too, but less: supply and valves both come into question."


def waterflow_alarm_time(
    time_s: float, basis: str, switch_s: float, local_s: float, notification_s: float
) -> Answer:
    """Judge the time from opening the test outlet to the alarm.

    Parameters
    ----------
    time_s
        Measured time, s; >= 0.
    basis
        "electrical, fire alarm code", "local audible, sprinkler standard" or
        "occupant notification after the switch".
    switch_s, local_s, notification_s
        Limit for each basis, s.

    Notes
    -----
    The limit is met at equality (NFPA 72; NFPA 13 for the local audible alarm). A retard under
    5 s suggests nuisance alarms (common practice, no source).
    """
    if time_s < 0.0:
        raise ValueError(refusal("t", "0 or more", "the alarm follows the flow"))
    limit_s = switch_s
    if basis.startswith("local"):
        limit_s = local_s
    if basis.startswith("occupant"):
        limit_s = notification_s
    warnings: list[str] = []
    if time_s < 5.0 and basis.startswith("electrical"):
        warnings.append("A retard under 5 s suggests nuisance alarms.")
    return keeps(time_s, limit_s, "Alarm after {value}; {limit} allowed.", warnings)


def gauge_accuracy(full_scale_pa: float, difference_pa: float, allowed_fraction: float) -> Answer:
    """Judge a gauge by its difference from a test gauge.

    Parameters
    ----------
    full_scale_pa
        Full scale of the gauge, Pa; > 0.
    difference_pa
        Reading less test gauge, Pa; either sign.
    allowed_fraction
        Allowed difference as a fraction of the full scale (NFPA 25: 3 percent).
    """
    if full_scale_pa <= 0.0:
        raise ValueError(refusal("full_scale", "more than 0", "a gauge has a range"))
    limit_pa = allowed_fraction * full_scale_pa
    reason = "The gauge is off by {value}; {limit} of error is allowed."
    return keeps(abs(difference_pa), limit_pa, reason, [])


def gauge_range(full_scale_pa: float, test_pa: float) -> Answer:
    """Judge whether a gauge suits a pressure: 25 to 75 percent of its full scale.

    Parameters
    ----------
    full_scale_pa, test_pa
        Full scale, > 0, and the pressure to be read, Pa.
    """
    if test_pa > full_scale_pa:
        raise ValueError(refusal("test_pressure", "at most full_scale", "the gauge would break"))
    share = test_pa / full_scale_pa
    margin = share - 0.25 if share < 0.5 else 0.75 - share
    verdict = "pass" if at_least(share, 0.25) and at_most(share, 0.75) else "look into it"
    values: dict[str, float | str | None] = {"verdict": verdict, "share": share}
    reason = "{share} of full scale; a quarter to three quarters is wanted."
    return Answer(values, verdict, None, margin, reason, [])


def valve_supervisory_signal(
    turns: float | None, travel_fraction: float | None, turns_limit: float, travel_limit: float
) -> Answer:
    """Judge when the supervisory signal of a control valve came.

    Parameters
    ----------
    turns
        Turns of the hand wheel from open until the signal, -; >= 0; None when not counted.
    travel_fraction
        Travel of the stem until the signal as a fraction of the whole, -; 0 to 1; None likewise.
    turns_limit, travel_limit
        Either limit kept is enough (UFGS 13853: two turns or one-fifth of the travel).
    """
    if turns is None and travel_fraction is None:
        why = "one of turns and travel tells when the signal came"
        raise ValueError(refusal("turns", "turns or travel_fraction", why))
    by_turns = turns is not None and at_most(turns, turns_limit)
    by_travel = travel_fraction is not None and at_most(travel_fraction, travel_limit)
    verdict = "pass" if by_turns or by_travel else "fail"
    values: dict[str, float | str | None] = {
        "verdict": verdict,
        "turns": turns,
        "travel": travel_fraction,
    }
    reason = "Signal after {turns} turns, {travel} of the travel; two turns or a fifth is allowed."
    margin = None if turns is None else turns_limit - turns
    return Answer(values, verdict, turns_limit, margin, reason, [])


def low_air_signal(
    normal_pa: float, signal_at_pa: float, trip_pa: float | None, change_pa: float, margin_pa: float
) -> Answer:
    """Judge at which pressure the low or high air signal comes.

    Parameters
    ----------
    normal_pa, signal_at_pa
        Normal air pressure and the pressure at the signal, Pa; > 0 and >= 0.
    trip_pa
        Trip pressure of the valve, Pa; None when not known.
    change_pa
        Change at which the signal is due, Pa (NFPA 72: 10 psi).
    margin_pa
        Wanted distance above the trip pressure, Pa (common practice, no source: 5 psi).
    """
    if normal_pa <= 0.0:
        raise ValueError(refusal("normal", "more than 0", "a supervised system holds air"))
    change = abs(normal_pa - signal_at_pa)
    reason = "Signal after a change of {change}; {limit} allowed."
    verdict = "pass" if at_most(change, change_pa) else "fail"
    warnings: list[str] = []
    if trip_pa is not None and signal_at_pa <= trip_pa:
        verdict = "fail"
        reason = "The signal comes at or below the trip pressure: the valve trips unannounced."
    elif trip_pa is not None and signal_at_pa < trip_pa + margin_pa:
        warnings.append("The signal comes close above the trip pressure.")
    values: dict[str, float | str | None] = {"verdict": verdict, "change": change}
    return Answer(values, verdict, change_pa, change_pa - change, reason, warnings)
