"""Acts and events: what each changes, and the hazards it raises."""

from inspections.sequence.motion import advance, settle
from inspections.sequence.panel import pipe_psi, vent_path_open
from inspections.sequence.rules import PSI_PER_FT, ratio_now
from inspections.sequence.state import Action, State, with_hand, with_name, without_name
from inspections.sequence.types import Config

RESET_PSI = 5.0
EMPTY_PSI = 1.0
HALF_TRAVEL_PCT = 50.0

FAULTS = [
    "solenoid_leaking",
    "solenoid_leaking_badly",
    "solenoid_stuck_closed",
    "solenoid_circuit_open",
    "priming_orifice_plugged",
    "low_air_switch_misset",
    "alarm_line_blocked",
    "supply_partly_shut",
    "valve_stuck_closed",
    "actuator_stuck_open",
    "actuator_stuck_closed",
    "air_leak_slow",
    "air_leak_beyond_supply",
    "compressor_failed",
    "pilot_leak_slow",
    "qod_failed",
    "tamper_switch_failed",
    "vane_stuck",
    "water_seat_leaking",
    "auto_drain_plugged",
    "low_point_frozen",
    "waterflow_switch_dead",
    "retard_drain_plugged",
    "retard_drain_leaking",
    "pressure_relief_failed",
    "pressure_relief_stuck_open",
    "pressure_relief_leaking",
    "air_seat_leaking",
    "battery_dead",
    "interlock_never_met",
    "interlock_always_met",
    "one_zone_releases",
    "zones_release_nothing",
    "room_cold",
    "gauge_supply_isolated",
    "gauge_system_isolated",
    "gauge_prime_isolated",
    "gauge_pilot_isolated",
]


FAULT_PARTS = {
    "solenoid_leaking": "solenoid",
    "solenoid_leaking_badly": "solenoid",
    "solenoid_stuck_closed": "solenoid",
    "solenoid_circuit_open": "solenoid",
    "priming_orifice_plugged": "prime",
    "low_air_switch_misset": "air",
    "alarm_line_blocked": "alarm_line",
    "valve_stuck_closed": "system_valve",
    "actuator_stuck_open": "actuator",
    "actuator_stuck_closed": "actuator",
    "air_leak_slow": "air",
    "air_leak_beyond_supply": "air",
    "compressor_failed": "air_supply",
    "pilot_leak_slow": "pilot",
    "qod_failed": "qod",
    "vane_stuck": "none",
    "water_seat_leaking": "dry",
    "auto_drain_plugged": "dry",
    "low_point_frozen": "dry_piping",
    "waterflow_switch_dead": "alarm_line",
    "retard_drain_plugged": "alarm_check",
    "retard_drain_leaking": "alarm_check",
    "pressure_relief_failed": "pressure_relief",
    "pressure_relief_stuck_open": "pressure_relief",
    "pressure_relief_leaking": "pressure_relief",
    "air_seat_leaking": "dry",
    "interlock_never_met": "interlock",
    "interlock_always_met": "interlock",
    "one_zone_releases": "cross_zones",
    "zones_release_nothing": "detection",
    "gauge_system_isolated": "system_gauge",
    "gauge_prime_isolated": "prime",
    "gauge_pilot_isolated": "pilot",
}


def fault_fits(config: Config, fault: str) -> bool:
    """Tell whether such a riser has the part that this fault breaks."""
    return fault not in FAULT_PARTS or FAULT_PARTS[fault] in parts_of(config)


def parts_of(config: Config) -> list[str]:
    """Return the parts of a riser that a fault can break."""
    parts = [config.valve]
    if config.dry:
        parts.append("dry_piping")
    if config.valve != "none":
        parts.append("alarm_line")
    if config.valve in ("dry", "prime"):
        parts.append("system_valve")
    if config.valve == "prime" and config.reclose == "hydraulic_latch":
        parts.append("pressure_relief")
    if config.air:
        parts.append("air")
    if config.air or config.pilot:
        parts.append("air_supply")
    if config.pilot:
        parts.append("pilot")
    if not config.open_nozzles:
        parts.append("system_gauge")
    return parts + releasing_parts(config)


def releasing_parts(config: Config) -> list[str]:
    """Return the parts of a riser's release that a fault can break."""
    parts: list[str] = []
    if "solenoid" in config.vent:
        parts.append("solenoid")
    if "actuator" in config.vent or config.vent == "pilot":
        parts.append("actuator")
    if config.interlock == "panel":
        parts.append("interlock")
    if config.has_detection:
        parts.append("detection")
        parts.append("cross_zones" if config.zones_required > 1.0 else "one_zone")
    if config.has_qod:
        parts.append("qod")
    return parts


def act(config: Config, state: State, action: Action) -> State:
    """Return the state after an act: its hazards noted, its effect, and one second.

    ``wait`` passes its own seconds, ``settle`` as many as it takes.

    Raises
    ------
    ValueError
        When the action or one of its fields is not accepted; the text names field and value.
    """
    raised = hazards_of(config, state, action)
    if len(raised) > 0:
        hazards = state.hazards
        for hazard in raised:
            hazards = with_name(hazards, hazard)
        state = state._replace(hazards=hazards)
    if action.kind == "wait":
        if action.s < 0.0:
            raise ValueError(f"s: {action.s} is not accepted; accepted: 0 or above")
        return advance(config, state, action.s)
    if action.kind == "settle":
        return settle(config, state)
    return advance(config, effect(config, state, action), 1.0)


def hazards_of(config: Config, state: State, action: Action) -> list[str]:
    """Return the hazards that this act raises from this state, in order of name."""
    found: list[str] = []
    if action.kind == "control_valve":
        if lets_water_in(config, state, action):
            found.append("water_into_piping")
        jump = action.pct - state.control_pct > HALF_TRAVEL_PCT
        if action.rate == "fast" and jump and state.inlet_psi < EMPTY_PSI:
            found.append("water_hammer")
    if action.kind == "reset_clapper" and not resettable(state):
        found.append("reset_under_pressure")
    if action.kind == "drain_low_points" and config.dry and state.control_pct > 0.0:
        found.append("draining_live_system")
    closes = action.kind == "release_disconnect" and state.disconnect and not action.on
    if closes and state.release_latched:
        found.append("release_reenergised")
    return sorted(found)


def lets_water_in(config: Config, state: State, action: Action) -> bool:
    """Tell whether opening the control valve from shut lets water past the system valve."""
    if state.control_pct > 0.0 or action.pct <= 0.0:
        return False
    if config.valve == "dry":
        head = state.air_psi + PSI_PER_FT * state.column_ft
        return state.valve_open or head < state.supply_psi / ratio_now(config, state)
    if state.prime_psi is None:
        return False
    weak = state.prime_psi < config.prime_hold * state.supply_psi
    if config.prime_source == "downstream":
        weak = False
    return state.valve_open or weak or vent_path_open(config, state)


def resettable(state: State) -> bool:
    """Tell whether the clapper can be reset: control valve shut, both sides without pressure."""
    return (
        state.control_pct <= 0.0 and state.inlet_psi <= RESET_PSI and pipe_psi(state) <= RESET_PSI
    )


def effect(config: Config, state: State, action: Action) -> State:
    """Return the state with what the act changes by itself.

    Raises
    ------
    ValueError
        For an unknown action.
    """
    if action.kind not in EFFECTS:
        raise ValueError(f"do: {action.kind} is not an action of the model")
    return EFFECTS[action.kind](config, state, action)


def open_valve(config: Config, state: State, action: Action) -> State:
    """Open a hand valve."""
    return hand_valve(state, action.what, True)


def close_valve(config: Config, state: State, action: Action) -> State:
    """Shut a hand valve."""
    return hand_valve(state, action.what, False)


def hand_valve(state: State, name: str, is_now_open: bool) -> State:
    """Set a hand valve by name.

    Raises
    ------
    ValueError
        For an unknown name.
    """
    if name not in state.hand:
        raise ValueError(f"what: {name} is not a hand valve of the model")
    return with_hand(state, name, is_now_open)


def control_valve(config: Config, state: State, action: Action) -> State:
    """Set the control valve, percent open.

    Raises
    ------
    ValueError
        Outside 0 to 100.
    """
    if not 0.0 <= action.pct <= 100.0:
        raise ValueError(f"pct: {action.pct} is not accepted; accepted: 0 to 100")
    return state._replace(control_pct=action.pct)


def fuse_sprinkler(config: Config, state: State, action: Action) -> State:
    """Open a sprinkler."""
    return state._replace(sprinkler_open=True)


def replace_sprinkler(config: Config, state: State, action: Action) -> State:
    """Replace the opened sprinkler."""
    return state._replace(sprinkler_open=False)


def detector_alarm(config: Config, state: State, action: Action) -> State:
    """Put a detection zone in alarm."""
    return state._replace(zones=with_name(state.zones, action.zone))


def detector_clear(config: Config, state: State, action: Action) -> State:
    """Clear a detection zone; nothing on the panel drops by it."""
    return state._replace(zones=without_name(state.zones, action.zone))


def pull_station(config: Config, state: State, action: Action) -> State:
    """Operate the manual station."""
    return state._replace(manual_station=True)


def restore_pull_station(config: Config, state: State, action: Action) -> State:
    """Restore the manual station."""
    return state._replace(manual_station=False)


def panel_reset(config: Config, state: State, action: Action) -> State:
    """Clear every latch; what is still live latches again in the same instant."""
    return state._replace(latched=[], release_latched=False)


def panel_silence(config: Config, state: State, action: Action) -> State:
    """Silence: nothing else."""
    return state


def release_disconnect(config: Config, state: State, action: Action) -> State:
    """Open (on) or close the service disconnect of the release circuit."""
    return state._replace(disconnect=action.on)


def reset_solenoid(config: Config, state: State, action: Action) -> State:
    """Reset a latching solenoid by hand."""
    return state._replace(solenoid_latched_open=False)


def reset_clapper(config: Config, state: State, action: Action) -> State:
    """Set the clapper of a dry valve down and latch it; without effect under pressure."""
    if config.valve == "dry" and resettable(state):
        return state._replace(valve_open=False)
    return state


def reset_qod(config: Config, state: State, action: Action) -> State:
    """Set the quick-opening device."""
    return state._replace(qod_tripped=False)


def drain_low_points(config: Config, state: State, action: Action) -> State:
    """Drain every low point until it runs clear; without effect on a live system or on ice."""
    clear = state.control_pct <= 0.0 and state.water_frac <= 0.0
    if clear and "low_point_frozen" not in state.faults:
        return state._replace(low_points_ok=True)
    return state


def drain_column(config: Config, state: State, action: Action) -> State:
    """Drain the water that stands above a dry clapper."""
    return state._replace(column_ft=0.0)


def set_supply(config: Config, state: State, action: Action) -> State:
    """Set the static supply pressure: a surge, a failure, a return.

    Raises
    ------
    ValueError
        Below 0.
    """
    if action.psi < 0.0:
        raise ValueError(f"psi: {action.psi} is not accepted; accepted: 0 or above")
    return state._replace(supply_psi=action.psi)


def compressor(config: Config, state: State, action: Action) -> State:
    """Switch the air supply on or off."""
    return state._replace(compressor_on=action.on)


def ac_power(config: Config, state: State, action: Action) -> State:
    """Switch the mains; the panel's battery holds."""
    return state._replace(ac_power=action.on)


def start_fault(config: Config, state: State, action: Action) -> State:
    """Let a fault begin.

    Raises
    ------
    ValueError
        For an unknown fault.
    """
    if action.fault not in FAULTS:
        raise ValueError(f"fault: {action.fault} is not a fault of the model")
    return state._replace(faults=with_name(state.faults, action.fault))


def clear_fault(config: Config, state: State, action: Action) -> State:
    """Let a fault end."""
    return state._replace(faults=without_name(state.faults, action.fault))


EFFECTS = {
    "open": open_valve,
    "close": close_valve,
    "control_valve": control_valve,
    "fuse_sprinkler": fuse_sprinkler,
    "replace_sprinkler": replace_sprinkler,
    "detector_alarm": detector_alarm,
    "detector_clear": detector_clear,
    "pull_station": pull_station,
    "restore_pull_station": restore_pull_station,
    "panel_reset": panel_reset,
    "panel_silence": panel_silence,
    "release_disconnect": release_disconnect,
    "reset_solenoid": reset_solenoid,
    "reset_clapper": reset_clapper,
    "reset_qod": reset_qod,
    "drain_low_points": drain_low_points,
    "drain_column": drain_column,
    "set_supply": set_supply,
    "compressor": compressor,
    "ac_power": ac_power,
    "start_fault": start_fault,
    "clear_fault": clear_fault,
}
