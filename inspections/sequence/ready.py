"""Whether a riser is back to normal: what fails, and the end-state list item by item."""

# ruff: noqa: PERF401 - the portable subset has neither comprehensions nor stars.

from typing import Any, NamedTuple

from inspections.sequence.panel import LOW_PILOT_PART, live_signals, pipe_psi, powered
from inspections.sequence.rules import alarm_flow
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, State, fitted
from inspections.sequence.types import Config

ENOUGH = 0.9


class Item(NamedTuple):
    """One item of the end-state list.

    ``by`` is ``model`` (read off the riser), ``person`` (attested) or ``both``. ``standing`` is
    ``proven``, ``not_proven`` or ``not_fitted``; ``failing`` names what the model finds against it.
    """

    number: int
    code: str
    by: str
    standing: str
    failing: list[str]


def not_normal(config: Config, state: State) -> list[str]:
    """Return the codes of what is not as it must be with the riser in service; empty is ready."""
    failing = pressures(config, state) + positions(config, state)
    if config.valve in ("dry", "prime") and state.valve_open:
        failing.append("valve_not_set")
    if config.dry and state.water_frac > 0.0:
        failing.append("water_in_piping")
    if not state.low_points_ok:
        failing.append("low_points")
    if config.has_qod and (state.qod_tripped or not state.hand["qod_isolation_valve"]):
        failing.append("qod")
    if state.sprinkler_open:
        failing.append("sprinkler")
    live = live_signals(config, state, alarm_flow(config, state))
    if state.latched or live or not powered(state):
        failing.append("panel")
    if state.disconnect:
        failing.append("release_disconnect")
    return sorted(failing)


def pressures(config: Config, state: State) -> list[str]:
    """Return the codes of pressures out of their band."""
    failing: list[str] = []
    enough = ENOUGH * config.supply
    short = not config.dry and state.water_psi < enough
    if state.inlet_psi < enough or short:
        failing.append("inlet_pressure")
    if state.prime_psi is not None and state.prime_psi < enough:
        failing.append("priming_pressure")
    psi = pipe_psi(state)
    if config.air and (psi < config.low_air or psi > config.high_air):
        failing.append("system_air")
    if state.pilot_psi is not None and state.pilot_psi < LOW_PILOT_PART * config.pilot_set:
        failing.append("pilot_air")
    return failing


def positions(config: Config, state: State) -> list[str]:
    """Return the codes of valves that are not where they belong."""
    failing: list[str] = []
    if state.control_pct < 100.0:
        failing.append("control_valve")
    for name in NORMALLY_OPEN:
        if name != "qod_isolation_valve" and fitted(config, name) and not state.hand[name]:
            failing.append(name)
    for name in NORMALLY_SHUT:
        if fitted(config, name) and state.hand[name]:
            failing.append(name)
    if fitted(config, "air_supply_valve") and not state.compressor_on:
        failing.append("air_supply_valve")
    return failing


def is_ready(config: Config, state: State) -> bool:
    """Tell whether everything the model can see is normal."""
    return len(not_normal(config, state)) == 0


LIST: list[list[Any]] = [
    [1, "control_valve", "both", ["control_valve"]],
    [2, "supply_gauge", "model", ["inlet_pressure"]],
    [3, "system_gauge", "model", ["system_air", "inlet_pressure"]],
    [4, "prime_steady", "both", ["priming_pressure"]],
    [5, "pilot_air", "model", ["pilot_air"]],
    [6, "valve_set", "both", ["valve_not_set"]],
    [7, "quick_opening_device", "both", ["qod"]],
    [8, "priming_water_level", "person", []],
    [
        9,
        "drains_shut",
        "both",
        ["inlet_drain", "system_drain", "test_connection", "alarm_test_valve"],
    ],
    [10, "alarm_line_open", "model", ["alarm_line_valve"]],
    [11, "air_supply_on", "both", ["air_supply_valve"]],
    [12, "priming_valve_open", "model", ["priming_supply_valve"]],
    [13, "manual_release_sealed", "both", ["manual_release"]],
    [14, "low_points_drained", "both", ["low_points", "water_in_piping"]],
    [15, "sprinklers_replaced", "both", ["sprinkler", "pilot_head"]],
    [16, "panel_normal", "both", ["panel", "release_disconnect"]],
    [17, "heat_on", "person", []],
    [18, "downstream_functions", "person", []],
    [19, "off_test", "person", []],
    [20, "owner_told", "person", []],
]


def has_item(config: Config, code: str) -> bool:
    """Tell whether an item of the end-state list exists on such a riser."""
    if code in ("prime_steady", "manual_release_sealed"):
        return config.valve == "prime"
    if code == "priming_valve_open":
        return config.valve == "prime"
    if code == "pilot_air":
        return config.pilot
    if code == "valve_set":
        return config.valve in ("dry", "prime")
    if code == "quick_opening_device":
        return config.has_qod
    if code == "priming_water_level":
        return config.valve == "dry"
    if code == "alarm_line_open":
        return config.valve != "none"
    if code == "air_supply_on":
        return config.air or config.pilot
    if code == "low_points_drained":
        return config.dry
    return code != "system_gauge" or not config.open_nozzles


def end_state(config: Config, state: State, attested: list[int]) -> list[Item]:
    """Return the end-state list: each item proven, not proven or not fitted.

    Parameters
    ----------
    config, state
        The riser and where it stands after what was recorded.
    attested
        Numbers of the items that a person has seen and says so. An item with its model part
        failing stays not proven whoever attests it.
    """
    failing = not_normal(config, state)
    items: list[Item] = []
    for row in LIST:
        items.append(item(config, failing, attested, row))
    return items


def item(config: Config, failing: list[str], attested: list[int], row: list[Any]) -> Item:
    """Return one item with its standing."""
    number = row[0]
    by = row[2]
    against: list[str] = []
    for code in row[3]:
        if code in failing and counts(config, row[1], code):
            against.append(code)
    standing = "not_proven"
    if len(against) == 0 and (by == "model" or number in attested):
        standing = "proven"
    if not has_item(config, row[1]):
        standing = "not_fitted"
        against = []
    return Item(number=number, code=row[1], by=by, standing=standing, failing=against)


def counts(config: Config, item_code: str, code: str) -> bool:
    """Tell whether a failing code speaks against an item: a dry gauge is not the inlet's."""
    return not (item_code == "system_gauge" and code == "inlet_pressure" and config.dry)


def leaving(config: Config, state: State) -> list[str]:
    """Return the hazard of leaving the riser as it stands: ``left_impaired``, or none."""
    return [] if is_ready(config, state) else ["left_impaired"]


def unproven(items: list[Item]) -> list[str]:
    """Return the codes of the items that are not proven."""
    codes: list[str] = []
    for each in items:
        if each.standing == "not_proven":
            codes.append(each.code)
    return codes
