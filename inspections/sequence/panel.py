"""The releasing panel: what is live, what latches, what it releases (rules R4 and R9)."""

# ruff: noqa: PERF401 - the portable subset has neither comprehensions nor stars.

from inspections.sequence.state import State, fitted, with_name
from inspections.sequence.types import Config

TAMPER_TRAVEL_PCT = 20.0
TAMPER_TURNS = 2.0
LOW_PILOT_PART = 0.7
LATE = 5.0  # common practice, no source


def pipe_psi(state: State) -> float:
    """Return what the low-air switch and an air-held actuator feel, psi gauge."""
    return state.air_psi if state.air_psi >= state.water_psi else state.water_psi


def retard_of(config: Config, state: State) -> float:
    """Return the seconds of unbroken flow before the waterflow signal; only wet risers wait."""
    if config.dry or "retard_drain_plugged" in state.faults:
        return 0.0
    if "retard_drain_leaking" in state.faults:
        return LATE * config.retard
    return config.retard


def powered(state: State) -> bool:
    """Tell whether the panel has mains or battery."""
    return state.ac_power or "battery_dead" not in state.faults


def live_signals(config: Config, state: State, alarm_flow: bool) -> list[str]:
    """Return the inputs that are true at this instant, in order of name."""
    live: list[str] = []
    if not powered(state):
        return live
    for zone in state.zones:
        live.append("detector:" + zone)
    if state.manual_station:
        live.append("manual_station")
    reported = alarm_flow and "waterflow_switch_dead" not in state.faults
    if reported and state.flow_seconds >= retard_of(config, state):
        live.append("waterflow")
    if tampered(config, state):
        live.append("tamper")
    if config.air or config.pilot:
        live = live + air_signals(config, state)
    if state.disconnect:
        live.append("release_disconnected")
    if not state.ac_power or len(state.faults) > 0:
        live = live + trouble_signals(config, state)
    return sorted(live) if len(live) > 1 else live


def trouble_signals(config: Config, state: State) -> list[str]:
    """Return the inputs about the panel itself, and about its room where that is watched."""
    live: list[str] = []
    if "solenoid_circuit_open" in state.faults and config.has_detection:
        live.append("release_circuit_open")
    if not state.ac_power:
        live.append("ac_fail")
    if "battery_dead" in state.faults:
        live.append("battery_fail")
    if config.room_switch and "room_cold" in state.faults:
        live.append("room_low_temp")
    return live


def tampered(config: Config, state: State) -> bool:
    """Tell whether the control valve has left its open position by as much as its switch allows."""
    travel = min(TAMPER_TRAVEL_PCT, 100.0 * TAMPER_TURNS / config.turns)
    return state.control_pct <= 100.0 - travel and "tamper_switch_failed" not in state.faults


def air_signals(config: Config, state: State) -> list[str]:
    """Return the air pressure inputs that are true."""
    live: list[str] = []
    if config.air:
        psi = pipe_psi(state)
        if psi <= config.low_air and "low_air_switch_misset" not in state.faults:
            live.append("low_air")
        if config.high_air_switch and psi > config.high_air:
            live.append("high_air")
    if state.pilot_psi is not None and state.pilot_psi <= LOW_PILOT_PART * config.pilot_set:
        live.append("low_pilot_air")
    return live


def class_of(signal: str) -> str:
    """Return the lamp a signal lights: alarm, supervisory or trouble."""
    if signal in ("ac_fail", "battery_fail", "release_circuit_open"):
        return "trouble"
    if signal in ("waterflow", "manual_station") or signal.startswith("detector:"):
        return "alarm"
    return "supervisory"


def latch(config: Config, state: State, alarm_flow: bool) -> State:
    """Hold what latches and set the release when its conditions are met."""
    if not powered(state):
        return state._replace(latched=[], release_latched=False)
    latched = state.latched
    for signal in live_signals(config, state, alarm_flow):
        if signal in latched:
            continue
        lamp = class_of(signal)
        if lamp == "alarm" or (lamp == "supervisory" and config.supv_latching):
            latched = with_name(latched, signal)
    if len(latched) != len(state.latched):
        state = state._replace(latched=latched)
    if not state.release_latched and release_wanted(config, state):
        state = state._replace(release_latched=True)
    if config.solenoid == "latching" and energised(config, state):
        return state._replace(solenoid_latched_open=True)
    return state


def release_wanted(config: Config, state: State) -> bool:
    """Tell whether the panel's conditions for release are met."""
    if len(state.latched) == 0:
        return False
    zones = 0
    for signal in state.latched:
        if signal.startswith("detector:"):
            zones = zones + 1
    needed = config.zones_required
    if "one_zone_releases" in state.faults:
        needed = 1.0
    detected = zones >= needed and "zones_release_nothing" not in state.faults
    if not (detected or "manual_station" in state.latched):
        return False
    return config.has_detection and interlock_met(config, state)


def interlock_met(config: Config, state: State) -> bool:
    """Tell whether the panel's second event has come, where it waits for one."""
    if config.interlock != "panel" or "interlock_always_met" in state.faults:
        return True
    low = pipe_psi(state) <= config.low_air_interlock
    return low and "interlock_never_met" not in state.faults


def energised(config: Config, state: State) -> bool:
    """Tell whether the release output holds the solenoid energised."""
    intact = powered(state) and "solenoid_circuit_open" not in state.faults
    released = state.release_latched and not state.disconnect
    if config.solenoid == "NO":
        return config.has_detection and intact and not released
    return released and intact


def solenoid_open(config: Config, state: State) -> bool:
    """Tell whether water can pass through the solenoid."""
    if "solenoid" not in config.vent or "solenoid_stuck_closed" in state.faults:
        return False
    if config.solenoid == "latching":
        return state.solenoid_latched_open
    if config.solenoid == "NO":
        return not energised(config, state)
    return energised(config, state)


def actuator_open(config: Config, state: State) -> bool:
    """Tell whether the air-held actuator (on system air, or on pilot air) passes water."""
    if "actuator_stuck_open" in state.faults:
        return True
    if "actuator_stuck_closed" in state.faults:
        return False
    if state.pilot_psi is not None:
        return state.pilot_psi <= config.pilot_trip
    return pipe_psi(state) <= config.actuator_trip


def vent_path_open(config: Config, state: State) -> bool:
    """Tell whether any way out of the priming chamber is open, its hydraulic latch apart."""
    if fitted(config, "manual_release") and state.hand["manual_release"]:
        return True
    if config.vent == "wetpilot":
        return state.hand["pilot_head"]
    if config.vent == "pilot":
        return actuator_open(config, state)
    if config.vent == "solenoid|actuator":
        return solenoid_open(config, state) or actuator_open(config, state)
    if config.vent == "solenoid&actuator":
        return solenoid_open(config, state) and actuator_open(config, state)
    return solenoid_open(config, state)
