"""The fire pump as a whole: test, curve, relief valves, controllers. SI, speeds in rad/s."""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from inspections.hydraulics.answer import Answer, at_least, at_most, interpolated, refusal
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.pump import FORMER_SLOW, affinity_flow, affinity_head, slow_driver
from inspections.hydraulics.tables import limit
from inspections.hydraulics.water import elevation_pressure, velocity_pressure

Curve = Sequence[tuple[float, float]]
"""Points of flow, m3/s, and net pressure, Pa."""
_Tested = Sequence[tuple[float, float, float]]
# A point of the test stands for churn up to this part of the rated flow.
_STILL = 0.01
# Flow and speed are read to about a percent: 99 percent is the rated flow, 145 the 150.
_AT_RATED = 0.99
_OVERLOAD = 1.45


class _Share(NamedTuple):
    where: str
    share: float
    limit: float
    is_most: bool

    @property
    def margin(self) -> float:
        return self.limit - self.share if self.is_most else self.share - self.limit


def fire_pump_test(
    rated_m3s: float,
    rated_pa: float,
    rated_speed: float,
    points: _Tested,
    baseline: Curve,
    is_acceptance: bool,
) -> Answer:
    """Judge a pump test: each point brought to rated speed, then against rating and first curve.

    Parameters
    ----------
    rated_m3s, rated_pa, rated_speed
        Nameplate: m3/s, Pa net, rad/s; > 0.
    points
        Flow, net pressure and speed of each point as tested, m3/s, Pa, rad/s.
    baseline
        Acceptance or shop curve at rated speed; empty when not known, then the nameplate counts.
    is_acceptance
        The first test: 100 percent at rated flow instead of 95 percent of the first curve.

    Returns
    -------
    Answer
        `verdict`, `margin` (least, fraction of what it is compared with), `churn`, `at_rated` and
        `overload` as fractions of the rated net (None where there is no point), `against_curve`
        the worst fraction of the first curve.

    Raises
    ------
    ValueError
        When there is no point, or two at one flow.

    Notes
    -----
    NFPA 20: churn at most 140 percent, 65 percent at 150 percent flow. NFPA 25: 95 percent of the
    first curve at the same flow. Curves are read linearly between points, never beyond.
    """
    curve = _at_rated_speed(points, rated_speed)
    shares = _of_rating(curve, rated_m3s, rated_pa)
    nameplate = 1.0 if is_acceptance else limit("pump_annual")
    judged = [share._replace(limit=nameplate) if share.where == "rated" else share
              for share in shares]  # fmt: skip
    compared = _against(curve, baseline, 1.5 * rated_m3s) if not is_acceptance else []
    if compared:
        judged = [share for share in judged if share.where != "rated"] + compared
    named = {share.where: share.share for share in shares}
    values: dict[str, float | str | None] = {
        "verdict": "look into it",
        "margin": None,
        "churn": named.get("churn"),
        "at_rated": named.get("rated"),
        "overload": named.get("150 percent"),
        "against_curve": min((share.share for share in compared), default=None),
    }
    warnings = _test_cautions(points, curve, rated_m3s, rated_speed)
    if not judged:
        reason = "No point at churn, rated or 150 percent flow: there is nothing to judge."
        return Answer(values, "look into it", None, None, reason, warnings)
    worst = min(judged, key=lambda share: share.margin)
    kept = (at_most if worst.is_most else at_least)(worst.share, worst.limit)
    verdict = "pass" if kept and len(shares) == len(_WANTED) else "look into it"
    values |= {"verdict": verdict if kept else "fail", "margin": worst.margin, "share": worst.share}
    bound = "at most" if worst.is_most else "at least"
    of = "of the first curve" if worst.where == "first curve" else "of rated"
    at = "Worst against the" if worst.where == "first curve" else "At"
    reason = f"{at} {worst.where}: " + "{share} " + f"{of}; {bound} " + "{limit} is wanted."
    if kept and verdict != "pass":
        reason += " Points are missing: incomplete."
    return Answer(values, str(values["verdict"]), worst.limit, worst.margin, reason, warnings)


_WANTED = ("churn", "rated", "150 percent")


def _at_rated_speed(points: _Tested, rated_speed: float) -> list[tuple[float, float]]:
    if not points:
        raise ValueError(refusal("points", "one or more", "there is nothing to judge"))
    curve = sorted(
        (affinity_flow(flow, speed, rated_speed), affinity_head(net, speed, rated_speed))
        for flow, net, speed in points
    )
    if any(one[0] == two[0] for one, two in pairwise(curve)):
        why = "two points at one flow: which one counts?"
        raise ValueError(refusal("points", "each flow once", why))
    return curve


def _read(curve: Curve, flow_m3s: float) -> float | None:
    """Give the net pressure at a flow; None where the curve doesn't reach."""
    flows, nets = [point[0] for point in curve], [point[1] for point in curve]
    if len(curve) == 1 or not flows[0] <= flow_m3s <= flows[-1]:
        return nets[flows.index(flow_m3s)] if flow_m3s in flows else None
    return interpolated(flow_m3s, flows, nets)


def _of_rating(curve: Curve, rated_m3s: float, rated_pa: float) -> list[_Share]:
    shares = []
    if curve[0][0] <= _STILL * rated_m3s:
        shares.append(_Share("churn", curve[0][1] / rated_pa, limit("pump_churn"), is_most=True))
    reached = min(rated_m3s, curve[-1][0])
    at_rated = _read(curve, reached) if reached >= _AT_RATED * rated_m3s else None
    if at_rated is not None:
        shares.append(_Share("rated", at_rated / rated_pa, 1.0, is_most=False))
    most = min(1.5 * rated_m3s, curve[-1][0])
    overload = _read(curve, most) if most >= _OVERLOAD * rated_m3s else None
    if overload is not None:
        least = limit("pump_overload")
        shares.append(_Share("150 percent", overload / rated_pa, least, is_most=False))
    return shares


def _against(curve: Curve, baseline: Curve, most_m3s: float) -> list[_Share]:
    first = sorted(baseline)
    least = limit("pump_annual")
    found = []
    for flow, net in curve:
        base = _read(first, flow) if first and flow <= most_m3s * (1.0 + 1e-9) else None
        if base:
            found.append(_Share("first curve", net / base, least, is_most=False))
    return found


def _test_cautions(
    points: _Tested,
    curve: Curve,
    rated_m3s: float,
    rated_speed: float,
) -> list[str]:
    warnings = []
    if curve[-1][0] < _OVERLOAD * rated_m3s:
        warnings.append("The flow did not reach 150 percent: say in the report what limits it.")
    if len(points) < len(_WANTED):
        warnings.append("Fewer than three points: incomplete.")
    if any(abs(speed / rated_speed - 1.0) > 0.1 for _, _, speed in points):
        warnings.append("A speed is more than 10 percent off: the correction is doubtful.")
    return warnings


def slow_points(*, points: _Tested, rated_speed: float, **_: object) -> list[str]:
    """Return what is said to the speeds of a test, rad/s; see `slow_driver`."""
    return slow_driver([speed for _flow, _net, speed in points], rated_speed)


def former_slow_points(*, points: _Tested, rated_speed: float, **_: object) -> list[str]:
    """Return what version 1 said, to half a percent below rated speed and more."""
    is_slow = any(speed < rated_speed * 0.995 for _flow, _net, speed in points)
    return [FORMER_SLOW] if is_slow else []


def vertical_turbine_net_pressure(
    discharge_pa: float, flow_m3s: float, bore_m: float, lift_m: float
) -> float:
    """Return the net pressure of a vertical turbine pump, Pa.

    Parameters
    ----------
    discharge_pa
        Discharge gauge, Pa.
    flow_m3s, bore_m
        Flow, m3/s, and bore at the gauge, m; > 0.
    lift_m
        Gauge above the pumping water level, m; >= 0.
    """
    return discharge_pa + velocity_pressure(flow_m3s, bore_m) + elevation_pressure(lift_m)


def affinity_power(power_w: float, speed: float, new_speed: float) -> float:
    """Return the shaft power at another speed, with its cube, W (Hydraulic Institute)."""
    return float(power_w * (new_speed / speed) ** 3)


def motor_slip(synchronous: float, speed: float) -> Answer:
    """Return the slip of an induction motor as a fraction of the speed of the field.

    Parameters
    ----------
    synchronous, speed
        Of the field and of the shaft, rad/s; > 0. 1 to 4 percent is usual.
    """
    if speed > synchronous * (1.0 + 1e-9):
        why = "an induction motor stays behind its field: a reading or the poles are wrong"
        raise ValueError(refusal("speed", "at most the synchronous speed", why))
    slip = 1.0 - speed / synchronous
    usual = at_least(slip, 0.01) and at_most(slip, 0.04)
    warnings = [] if usual else ["A slip of 1 to 4 percent is usual."]
    return Answer({"slip": slip}, "", None, None, "The slip is {slip}.", warnings)


def supply_with_pump(
    suction_pa: float,
    pump_net_pa: float,
    flow_m3s: float,
    rated_m3s: float,
    demand_pa: float,
) -> Answer:
    """Judge a demand behind a fire pump.

    Parameters
    ----------
    suction_pa
        What the supply leaves at the suction while the demand flows, Pa.
    pump_net_pa
        Net pressure of the pump at that flow, Pa; >= 0.
    flow_m3s, rated_m3s
        Flow through the pump and rated flow, m3/s; at most 150 percent of it.
    demand_pa
        Pressure asked for at the discharge, Pa.

    Raises
    ------
    ValueError
        When the flow is beyond 150 percent of the rated flow.
    """
    if flow_m3s > 1.5 * rated_m3s * (1.0 + 1e-9):
        why = "a pump's curve ends at 150 percent of its rated flow"
        raise ValueError(refusal("flow", "at most 150 percent of rated_flow", why))
    available_pa = suction_pa + pump_net_pa
    margin_pa = available_pa - demand_pa
    values: dict[str, float | str | None] = {
        "margin": margin_pa,
        "available": available_pa,
        "suction": suction_pa,
    }
    reason = "{available} at the discharge, {limit} is wanted: a margin of {margin}."
    verdict = "pass" if at_least(available_pa, demand_pa) else "look into it"
    warnings = []
    if not at_least(suction_pa, limit("suction_public_main")):
        verdict = "look into it"
        warnings.append("Suction under 20 psi (1.4 bar) on a public main.")
    return Answer(values, verdict, demand_pa, margin_pa, reason, warnings)


def relief_valve(
    suction_pa: float,
    churn_pa: float,
    rating_pa: float,
    opening_pa: float | None,
    previous_pa: float | None,
) -> Answer:
    """Judge the greatest pressure that a pump can give, and the setting of its relief valve.

    Parameters
    ----------
    suction_pa, churn_pa
        Greatest static at the suction, and net at churn, Pa.
    rating_pa
        Rating of the weakest part, Pa; > 0.
    opening_pa, previous_pa
        Pressure at which it opens now, and at the last test, Pa; None when not known.

    Notes
    -----
    Suction and churn together stay under the rating, or the relief valve opens before it. A
    change of 5 percent is looked into (common practice, no source).
    """
    greatest_pa = suction_pa + churn_pa
    under = at_most(greatest_pa, rating_pa)
    held_pa = greatest_pa if under or opening_pa is None else min(greatest_pa, opening_pa)
    verdict = "pass" if at_most(held_pa, rating_pa) else "fail"
    reason = "Up to {value}; {limit} is the rating of the weakest part."
    moved = abs(opening_pa / previous_pa - 1.0) if opening_pa is not None and previous_pa else None
    if verdict == "pass" and moved is not None and not at_most(moved, limit("valve_change")):
        verdict, reason = "look into it", "It opens {moved} off the last test."
    values: dict[str, float | str | None] = {"verdict": verdict, "value": held_pa, "moved": moved}
    warnings = []
    if under and opening_pa is not None and opening_pa < greatest_pa - 20.0 * PSI:
        warnings.append("It opens well below churn: it may pass water that the system needs.")
    return Answer(values, verdict, rating_pa, rating_pa - held_pa, reason, warnings)


def controller_settings(
    churn_pa: float, suction_pa: float, jockey_stop_pa: float, jockey_start_pa: float,
    pump_start_pa: float,
) -> Answer:  # fmt: skip
    """Judge the pressures at which pressure maintenance pump and fire pump start and stop.

    Parameters
    ----------
    churn_pa, suction_pa
        Net at churn and least static at the suction, Pa: together the stop of both.
    jockey_stop_pa, jockey_start_pa, pump_start_pa
        Settings, Pa.

    Raises
    ------
    ValueError
        When a pump starts at or above the pressure at which it stops, or the fire pump first.

    Notes
    -----
    Start of the pressure maintenance pump at least 10 psi under its stop, of the fire pump 5 psi
    under that (from memory).
    """
    if jockey_start_pa >= jockey_stop_pa:
        raise ValueError(refusal("jockey_start", "less than jockey_stop", "it would never stop"))
    if pump_start_pa >= jockey_start_pa:
        why = "the pressure maintenance pump starts first"
        raise ValueError(refusal("pump_start", "less than jockey_start", why))
    stop_pa = churn_pa + suction_pa
    gaps = (
        ("The stop is off churn and least static", 1.0 * PSI - abs(jockey_stop_pa - stop_pa)),
        ("The pressure maintenance pump starts too close to its stop",
         jockey_stop_pa - jockey_start_pa - 10.0 * PSI),
        ("The fire pump starts too close to the pressure maintenance pump",
         jockey_start_pa - pump_start_pa - 5.0 * PSI),
    )  # fmt: skip
    words, margin_pa = min(gaps, key=lambda gap: gap[1])
    kept = at_least(PSI + margin_pa, PSI)
    verdict = "pass" if kept else "look into it"
    reason = "Stop at {stop}; the steps are kept." if kept else words + "; {stop} is the stop."
    values: dict[str, float | str | None] = {"verdict": verdict, "stop": stop_pa}
    return Answer(values, verdict, None, margin_pa, reason, [])
