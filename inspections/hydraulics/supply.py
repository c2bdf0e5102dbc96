"""Water supplies: flow tests, hydrant classes, demands and margins. SI: Pa, m3/s, m."""

from collections.abc import Sequence

from inspections.hydraulics.answer import Answer, at_least, at_most
from inspections.hydraulics.constants import GPM, PSI
from inspections.hydraulics.riser import nozzle_pitot_flow, pitot_cautions
from inspections.hydraulics.tables import limit, rows


def project_flow_to_residual(
    static_pa: float, residual_pa: float, flow_m3s: float, target_pa: float
) -> Answer:
    """Return the flow that a supply gives at a wanted residual, m3/s.

    Parameters
    ----------
    static_pa, residual_pa
        At the residual hydrant, before and while `flow_m3s` flows, Pa; static > residual.
    flow_m3s
        Flow of the test, m3/s; > 0.
    target_pa
        Wanted residual, Pa; < static. 20 psi for marking.

    Raises
    ------
    ValueError
        When the residual or the target is not under the static.

    Notes
    -----
    Q = Q_F ((P_S - P_R)/(P_S - P_F))^0.54 (NFPA 291). The line assumes one source head.

    Examples
    --------
    >>> answer = project_flow_to_residual(592949.1, 289579.8, 0.04977816, 137895.1)
    >>> round(answer.values["flow"] / 6.30902e-05)
    985
    """
    _flow_test(static_pa, residual_pa)
    if target_pa >= static_pa:
        raise ValueError("target; less than static; no water flows at or above the static pressure")
    flow_at_target_m3s = flow_m3s * ((static_pa - target_pa) / (static_pa - residual_pa)) ** 0.54
    warnings = _drop_cautions(static_pa, residual_pa)
    if flow_at_target_m3s > 2.0 * flow_m3s:
        warnings.append("More than twice the flow of the test: flow more hydrants.")
    if residual_pa < target_pa:
        warnings.append("The test went below the wanted residual: the flow there is smaller.")
    return Answer({"flow": flow_at_target_m3s}, "", None, None, "{flow} at the residual.", warnings)


def pressure_at_flow(
    static_pa: float, residual_pa: float, flow_m3s: float, at_m3s: float
) -> Answer:
    """Return the pressure that a supply keeps at a flow, Pa (negative: it can't give the flow).

    Parameters
    ----------
    static_pa, residual_pa, flow_m3s
        The flow test, as for the projection.
    at_m3s
        Flow asked for, m3/s; >= 0.

    Notes
    -----
    P = P_S - (P_S - P_F)(Q/Q_F)^1.85.
    """
    _flow_test(static_pa, residual_pa)
    warnings = _drop_cautions(static_pa, residual_pa)
    if at_m3s > 2.0 * flow_m3s:
        warnings.append("More than twice the flow of the test.")
    left_pa = static_pa - (static_pa - residual_pa) * (at_m3s / flow_m3s) ** 1.85
    if left_pa < 0.0:
        warnings.append("The supply can't give this flow.")
    return Answer({"pressure": left_pa}, "", None, None, "{pressure} is left.", warnings)


def _flow_test(static_pa: float, residual_pa: float) -> None:
    if residual_pa >= static_pa:
        why = "pressure falls while water flows: a pump, a tank or a gauge reading is in play"
        raise ValueError(f"residual; less than static; {why}")


def _drop_cautions(static_pa: float, residual_pa: float) -> list[str]:
    drop = (static_pa - residual_pa) / static_pa
    if at_least(drop, limit("flow_test_drop")):
        return []
    return [f"Low confidence: the drop is {100.0 * drop:.1f} percent of the static, 10 are wanted."]


def hydrant_class(flow_m3s: float) -> Answer:
    """Return the marking class of a hydrant from its flow at 20 psi, m3/s >= 0.

    Notes
    -----
    NFPA 291: AA from 1500 gpm, A from 1000, B from 500, C below; on the unrounded flow.
    """
    table = sorted(rows("hydrant_classes"), key=lambda row: -float(row["min_gpm_at_20psi"]))
    for row in table:
        if at_least(flow_m3s, float(row["min_gpm_at_20psi"]) * GPM):
            break
    values: dict[str, float | str | None] = {"class": row["class"], "colour": row["cap_colour"]}
    return Answer(values, "", None, None, "Class {class}, {colour}.", [])


def standpipe_demand(standpipes: int, sprinklered: bool) -> float:
    """Return the flow of a standpipe flow test, m3/s.

    Parameters
    ----------
    standpipes
        How many; >= 1.
    sprinklered
        Whether the building has sprinklers throughout.

    Notes
    -----
    NFPA 14: 500 gpm at the remote one, 250 per further one, to 1000 (sprinklered) or 1250 gpm.
    """
    cap = limit("standpipe_cap_sprinklered" if sprinklered else "standpipe_cap_plain")
    return min(cap, limit("standpipe_remote") + (standpipes - 1) * limit("standpipe_further"))


def standpipe_residual(residual_pa: float, before_1993: bool) -> Answer:
    """Judge the residual at the remote outlet while the demand flows.

    Parameters
    ----------
    residual_pa
        Pa gauge at the outlet.
    before_1993
        Built to an edition before 1993, or a 1-1/2 in. station: 65 psi instead of 100 (NFPA 14).
    """
    least_pa = limit("standpipe_residual_old" if before_1993 else "standpipe_residual")
    verdict = "pass" if at_least(residual_pa, least_pa) else "fail"
    values: dict[str, float | str | None] = {"verdict": verdict, "residual": residual_pa}
    reason = "{residual} at the remote outlet; {limit} or more is wanted."
    return Answer(values, verdict, least_pa, residual_pa - least_pa, reason, [])


def supply_margin(
    static_pa: float,
    residual_pa: float,
    flow_m3s: float,
    demand_m3s: float,
    demand_pa: float,
    hose_m3s: float,
) -> Answer:
    """Judge a supply against the demand of a system at the place of the test.

    Parameters
    ----------
    static_pa, residual_pa, flow_m3s
        The flow test.
    demand_m3s, demand_pa
        Demand carried to the place of the test (elevation, friction, backflow), m3/s and Pa.
    hose_m3s
        Outside hose taken there, m3/s; >= 0.

    Returns
    -------
    Answer
        `margin` Pa (zero meets), `share` of the pressure available, `flow_margin` m3/s.
    """
    total_m3s = demand_m3s + hose_m3s
    available = pressure_at_flow(static_pa, residual_pa, flow_m3s, total_m3s)
    available_pa = float(available.values["pressure"] or 0.0)
    margin_pa = available_pa - demand_pa
    values: dict[str, float | str | None] = {
        "margin": margin_pa,
        "available": available_pa,
        "share": margin_pa / available_pa if available_pa > 0.0 else None,
        "flow_margin": None,
    }
    if demand_pa < static_pa:
        most = project_flow_to_residual(static_pa, residual_pa, flow_m3s, demand_pa)
        values["flow_margin"] = float(most.values["flow"] or 0.0) - total_m3s
    enough = at_least(available_pa, demand_pa)
    reason = "{available} is available, {limit} is wanted: a margin of {margin}."
    if not enough:
        reason += " A fall may be season or hour: a design question for the owner."
    verdict = "pass" if enough else "look into it"
    return Answer(values, verdict, demand_pa, margin_pa, reason, available.warnings)


def backflow_forward_flow(
    flow_m3s: float,
    demand_m3s: float,
    inlet_pa: float,
    outlet_pa: float,
    curve_loss_pa: float | None,
    over_curve_pa: float,
) -> Answer:
    """Judge a forward flow test of a backflow assembly.

    Parameters
    ----------
    flow_m3s, demand_m3s
        Flow reached and the system demand, with hose where it is taken downstream, m3/s.
    inlet_pa, outlet_pa
        Gauges while it flows, Pa; inlet >= outlet.
    curve_loss_pa
        Loss of the assembly's own curve at that flow, Pa; None when not known.
    over_curve_pa
        Loss above the curve that is looked into, Pa.

    Raises
    ------
    ValueError
        When the outlet reads above the inlet (gauges exchanged).

    Notes
    -----
    NFPA 25: yearly at the system demand.
    """
    if outlet_pa > inlet_pa:
        raise ValueError("outlet; at most inlet; the assembly takes pressure: gauges exchanged?")
    loss_pa = inlet_pa - outlet_pa
    values: dict[str, float | str | None] = {"loss": loss_pa, "flow": flow_m3s}
    margin_m3s = flow_m3s - demand_m3s
    if not at_least(flow_m3s, demand_m3s):
        reason = "Not verified: {flow} flowed where {limit} is the demand."
        return Answer(values, "look into it", demand_m3s, margin_m3s, reason, [])
    if curve_loss_pa is not None and not at_most(loss_pa, curve_loss_pa + over_curve_pa):
        reason = "The loss of {loss} is well above the curve of the assembly: look inside."
        return Answer(values, "look into it", demand_m3s, margin_m3s, reason, [])
    reason = "{flow} passed with a loss of {loss}; the demand is {limit}."
    return Answer(values, "pass", demand_m3s, margin_m3s, reason, [])


def pressure_reducing_valve(
    inlet_static_pa: float,
    outlet_static_pa: float,
    outlet_residual_pa: float | None,
    rated_pa: float,
    least_residual_pa: float | None,
    previous_outlet_pa: float | None,
) -> Answer:
    """Judge a pressure reducing valve.

    Parameters
    ----------
    inlet_static_pa, outlet_static_pa, outlet_residual_pa
        Gauges, Pa; the residual while the design flow runs.
    rated_pa
        Rating downstream, Pa (175 psi is usual).
    least_residual_pa, previous_outlet_pa
        Design residual at that floor and outlet static of the last test, Pa; None when not known.

    Notes
    -----
    An outlet that creeps up to the inlet is a leaking seat; a change of 10 percent is looked into
    (common practice, no source).
    """
    values: dict[str, float | str | None] = {"verdict": "pass", "outlet": outlet_static_pa}
    reason = "Outlet static {outlet}; {limit} is the rating downstream."
    verdict = "pass"
    if outlet_static_pa >= 0.98 * inlet_static_pa and inlet_static_pa > rated_pa:
        verdict, reason = "fail", "The outlet creeps up to the inlet: the seat leaks."
    elif not at_most(outlet_static_pa, rated_pa):
        verdict = "fail"
    elif None not in (outlet_residual_pa, least_residual_pa) and not at_least(
        outlet_residual_pa or 0.0, least_residual_pa or 0.0
    ):
        verdict, reason = "fail", "The residual at the design flow is under the design residual."
    elif previous_outlet_pa and abs(outlet_static_pa / previous_outlet_pa - 1.0) >= 0.1:
        verdict, reason = "look into it", "The setting moved by 10 percent or more."
    values["verdict"] = verdict
    return Answer(values, verdict, rated_pa, rated_pa - outlet_static_pa, reason, [])


def hydrant_total_flow(outlets: Sequence[tuple[float, float, float, float]]) -> Answer:
    """Return the flow of several outlets, m3/s: each one's own, added (never a mean pressure).

    Parameters
    ----------
    outlets
        Velocity pressure, Pa, bore, m, coefficient and multiplier of each.
    """
    if not outlets:
        raise ValueError("outlets; one or more; there is nothing to add")
    total_m3s = sum(nozzle_pitot_flow(*outlet) for outlet in outlets)
    warnings = [caution for outlet in outlets for caution in pitot_cautions(*outlet)]
    values: dict[str, float | str | None] = {"flow": total_m3s}
    return Answer(values, "", None, None, "{flow} in all.", list(dict.fromkeys(warnings)))


def marking_residual(static_pa: float) -> Answer:
    """Return the residual at which a hydrant is rated; see `marking_residual_pa`."""
    warnings = []
    if static_pa < 40.0 * PSI:
        warnings.append("Static under 40 psi: half of it, by older custom.")
    residual_pa = marking_residual_pa(static_pa)
    return Answer({"residual": residual_pa}, "", None, None, "Rated at {residual}.", warnings)


def marking_residual_pa(static_pa: float) -> float:
    """Return the residual of the marking flow, Pa: 20 psi, half of a static under 40 psi."""
    twenty = limit("marking_residual")
    return static_pa / 2.0 if static_pa < 40.0 * PSI else twenty
