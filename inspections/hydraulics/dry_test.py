"""What a dry system test showed against what was foretold.

Everything is in SI (Pa gauge, m3/s, m3, s); limits are arguments. A ValueError names the input,
what is accepted and why.
"""

from inspections.hydraulics.answer import Answer, at_most, refusal


def trip_test_times(
    trip_s: float,
    delivery_s: float | None,
    foretold_s: float | None,
    acceptance_s: float | None,
    allowed_s: float | None,
    growth_limit: float,
) -> Answer:
    """Judge measured times of a trip test by their limit and by the acceptance test.

    Parameters
    ----------
    trip_s, delivery_s
        From opening to the trip, and to the first water, s; delivery None when not measured.
    foretold_s
        Time to trip by the blow-down model, s; None when not computed.
    acceptance_s
        Time to the first water (to the trip where no water was waited for) at acceptance, s.
    allowed_s
        Limit on the time to water, s; None where none holds.
    growth_limit
        Growth over the acceptance test that is looked into, fraction (common practice, no
        source: 10 to 20 percent).

    Raises
    ------
    ValueError
        When water came before the trip.
    """
    if delivery_s is not None and delivery_s < trip_s:
        why = "water follows the trip"
        raise ValueError(refusal("delivery", "at least the time to trip", why))
    time_s = trip_s if delivery_s is None else delivery_s
    growth: float | None = None
    if acceptance_s is not None and acceptance_s > 0.0:
        growth = time_s / acceptance_s - 1.0
    off: float | None = None
    if foretold_s is not None and foretold_s > 0.0:
        off = trip_s / foretold_s - 1.0
    values: dict[str, float | str | None] = {
        "verdict": "pass",
        "time": time_s,
        "transit": None if delivery_s is None else delivery_s - trip_s,
        "growth": growth,
        "off_model": off,
    }
    warnings: list[str] = []
    if off is not None and abs(off) > 0.25:
        warnings.append("The trip is far off the model: orifice, volume or a device explain it.")
    verdict = "pass"
    reason = "{time} from opening."
    margin_s: float | None = None
    if allowed_s is not None and delivery_s is not None:
        margin_s = allowed_s - delivery_s
        reason = "Water after {time}; {limit} allowed."
    if allowed_s is not None and delivery_s is None:
        warnings.append("The time to water was not measured: its limit is not judged.")
    if margin_s is not None and allowed_s is not None and not at_most(time_s, allowed_s):
        verdict = "fail"
    elif growth is not None and not at_most(growth, growth_limit):
        verdict = "look into it"
        reason = "{time}: {growth} longer than at acceptance. Look into the cause."
    values["verdict"] = verdict
    return Answer(values, verdict, allowed_s, margin_s, reason, warnings)


def transit_time_least(volume_m3: float, supply_m3s: float) -> Answer:
    """Return the least time in which a supply fills the pipes, s; trapped air makes it longer.

    Parameters
    ----------
    volume_m3
        Volume of the piping, m3; > 0.
    supply_m3s
        What the supply gives into the empty pipe, m3/s; > 0.
    """
    warning = "A lower bound: the air in the pipes holds the water up."
    reason = "Water can't be there before {time}."
    return Answer({"time": volume_m3 / supply_m3s}, "", None, None, reason, [warning])


def compressor_duty(leak_m3s: float, compressor_m3s: float) -> Answer:
    """Return the part of the time that a compressor runs to make up a leak.

    Parameters
    ----------
    leak_m3s, compressor_m3s
        Standard air lost and given, m3/s; >= 0 and > 0.
    """
    duty = leak_m3s / compressor_m3s
    if not at_most(duty, 1.0):
        reason = "The leak of {leak} is more than the compressor gives."
        return Answer({"duty": duty, "leak": leak_m3s}, "fail", 1.0, 1.0 - duty, reason, [])
    reason = "It runs {duty} of the time."
    return Answer({"duty": duty, "leak": leak_m3s}, "", 1.0, 1.0 - duty, reason, [])


def air_supply_off_test(has_signalled: bool, time_s: float, least_s: float) -> Answer:
    """Judge the test in which the air supply is shut off and the low air signal has to keep still.

    Parameters
    ----------
    has_signalled
        The low air signal came.
    time_s, least_s
        How long the supply was off, and how long it has to be (NFPA 25: 4 h), s.
    """
    verdict = "fail" if has_signalled else "pass"
    reason = "No low air signal in {time}; {limit} without is wanted."
    margin_s: float | None = time_s - least_s
    if has_signalled:
        reason = "The low air signal came within {time}: the system leaks."
        margin_s = None
    elif not at_most(least_s, time_s):
        verdict = "look into it"
        reason = "The air supply was off for {time} only; {limit} is wanted."
    values: dict[str, float | str | None] = {"verdict": verdict, "time": time_s}
    return Answer(values, verdict, least_s, margin_s, reason, [])
