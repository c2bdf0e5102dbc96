"""What can be wrong at a riser, as data: faults, positions left wrong, acts without effect.

The odds are orders of magnitude that only rank (common practice, no source): a valve left wrong is
likelier than a part that failed, and one cause is likelier than two.
"""

# ruff: noqa: PERF401, RUF005 - the portable subset has neither comprehensions nor stars.

from typing import Any

from inspections.sequence.acts import FAULTS, fault_fits
from inspections.sequence.panel import pipe_psi
from inspections.sequence.ready import ENOUGH
from inspections.sequence.state import Action, State, fitted, with_hand, with_name
from inspections.sequence.types import Config

ODDS_SOURCE = "common practice, no source"
PAIR_ODDS = 0.05
USUAL_ODDS = 1.0
SOUND_ODDS = 20.0
ODDS = {
    "control_valve_closed": 3.0,
    "control_valve_not_fully_open": 3.0,
    "alarm_line_valve_closed": 4.0,
    "priming_valve_shut": 3.0,
    "air_supply_valve_shut": 3.0,
    "qod_isolated": 4.0,
    "inlet_drain_open": 2.0,
    "system_drain_open": 2.0,
    "test_connection_open": 2.0,
    "alarm_test_valve_open": 2.0,
    "manual_release_open": 2.0,
    "pilot_head_open": 1.0,
    "release_disconnect_open": 2.0,
    "compressor_off": 2.0,
    "water_column": 2.0,
    "air_leak_slow": 3.0,
    "priming_orifice_plugged": 2.0,
    "detector_still_in_alarm": 3.0,
    "manual_station_not_restored": 2.0,
    "panel_not_reset": 2.0,
    "low_point_frozen": 2.0,
    "actuator_stuck_open": 0.5,
    "valve_stuck_closed": 0.5,
    "air_leak_beyond_supply": 0.5,
}

# Code -> hand valve and the position it was left in.
POSITIONS: dict[str, list[Any]] = {
    "alarm_line_valve_closed": ["alarm_line_valve", False],
    "air_supply_valve_shut": ["air_supply_valve", False],
    "priming_valve_shut": ["priming_supply_valve", False],
    "qod_isolated": ["qod_isolation_valve", False],
    "inlet_drain_open": ["inlet_drain", True],
    "system_drain_open": ["system_drain", True],
    "test_connection_open": ["test_connection", True],
    "alarm_test_valve_open": ["alarm_test_valve", True],
    "manual_release_open": ["manual_release", True],
    "pilot_head_open": ["pilot_head", True],
}

# Kind of act -> what is the matter when it was done without effect.
SLIPS = {
    "detector_clear": "detector_still_in_alarm",
    "restore_pull_station": "manual_station_not_restored",
    "panel_reset": "panel_not_reset",
    "reset_solenoid": "solenoid_not_reset",
    "reset_clapper": "clapper_not_reset",
    "reset_qod": "qod_not_reset",
    "replace_sprinkler": "sprinkler_not_replaced",
}

# Causes that come in sizes; the first that fits is taken.
SIZES: dict[str, list[float]] = {
    "control_valve_not_fully_open": [90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0],
    "water_column": [15.0, 30.0, 60.0],
}
COARSE: dict[str, list[float]] = {
    "control_valve_not_fully_open": [60.0, 30.0],
    "water_column": [30.0],
}

# Causes that change the riser slowly: where it stands depends on how long they have been there.
EVOLVING = [
    "air_leak_slow",
    "air_leak_beyond_supply",
    "compressor_failed",
    "compressor_off",
    "air_supply_valve_shut",
    "pilot_leak_slow",
]

# Question -> the cause that only its answer shows. The answer says whether it is as it must be.
QUESTIONS = {
    "low_points_ran_clear": "low_point_frozen",
    "compressor_rests": "air_leak_slow",
    "pilot_air_rests": "pilot_leak_slow",
    "room_at_40_f": "room_cold",
    "supply_gauge_moves": "gauge_supply_isolated",
    "system_gauge_moves": "gauge_system_isolated",
    "prime_gauge_moves": "gauge_prime_isolated",
    "pilot_gauge_moves": "gauge_pilot_isolated",
    "battery_holds_under_load": "battery_dead",
}


def hypotheses_of(config: Config, acts: list[Action]) -> list[str]:
    """Return the codes of what can be wrong with such a riser after such acts."""
    codes: list[str] = []
    for code in POSITIONS:
        if fitted(config, POSITIONS[code][0]):
            codes.append(code)
    codes = codes + ["control_valve_closed", "control_valve_not_fully_open"]
    if config.air or config.pilot:
        codes.append("compressor_off")
    if config.has_detection:
        codes.append("release_disconnect_open")
    if config.valve == "dry":
        codes.append("water_column")
    for fault in FAULTS:
        if fault_fits(config, fault):
            codes.append(fault)
    for action in acts:
        if action.kind in SLIPS and SLIPS[action.kind] not in codes:
            codes.append(SLIPS[action.kind])
    return codes


def odds_of(code: str) -> float:
    """Return the odds of a cause beside others."""
    return ODDS.get(code, USUAL_ODDS)


def variants_of(causes: list[str]) -> list[float]:
    """Return the sizes to try; causes without a size are tried once."""
    for code in causes:
        if code in SIZES:
            return SIZES[code] if len(causes) == 1 else COARSE[code]
    return [0.0]


def injected(config: Config, state: State, causes: list[str], size: float) -> State:
    """Return a sound riser with these causes laid in; nothing has followed from them yet."""
    for code in causes:
        if code in POSITIONS:
            state = with_hand(state, POSITIONS[code][0], POSITIONS[code][1])
        elif code in FAULTS:
            state = state._replace(faults=with_name(state.faults, code))
        elif code == "control_valve_closed":
            state = state._replace(control_pct=0.0)
        elif code == "control_valve_not_fully_open":
            state = state._replace(control_pct=size)
        elif code == "compressor_off":
            state = state._replace(compressor_on=False)
        elif code == "release_disconnect_open":
            state = state._replace(disconnect=True)
        elif code == "water_column":
            state = state._replace(column_ft=size)
    return state


def left_behind(config: Config, state: State) -> list[str]:
    """Return what the acts left as it must not stay, by the names of its usual causes."""
    left: list[str] = []
    if len(state.hazards) > 0:
        left.append("wrong_reset_order")
    if len(state.zones) > 0:
        left.append("detector_still_in_alarm")
    if state.manual_station:
        left.append("manual_station_not_restored")
    if state.release_latched and len(state.zones) == 0 and not state.manual_station:
        left.append("panel_not_reset")
    if state.solenoid_latched_open and not state.release_latched:
        left.append("solenoid_not_reset")
    shut_with_air = state.control_pct <= 0.0 and pipe_psi(state) >= ENOUGH * config.low_air
    if config.valve == "dry" and state.valve_open and shut_with_air:
        left.append("clapper_not_reset")
    if state.qod_tripped and not state.valve_open:
        left.append("qod_not_reset")
    if config.column_ft > 0.0 and state.column_ft > 0.0:
        left.append("water_column")
    return left
