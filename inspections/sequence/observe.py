"""What a person at the riser, at the panel and at an outlet sees and hears."""

from typing import Any

from inspections.sequence.motion import compressor_runs, high_side_psi
from inspections.sequence.panel import (
    class_of,
    energised,
    live_signals,
    powered,
    solenoid_open,
    vent_path_open,
)
from inspections.sequence.ready import not_normal
from inspections.sequence.rules import alarm_flow, gong_rings, prime_feed_psi, sprays, venting
from inspections.sequence.state import State, with_name
from inspections.sequence.types import Config


def signals(config: Config, state: State) -> list[str]:
    """Return the inputs that the panel holds or that are live, in order of name."""
    shown = state.latched
    for signal in live_signals(config, state, alarm_flow(config, state)):
        shown = with_name(shown, signal)
    return shown


def lamps_of(shown: list[str]) -> list[str]:
    """Return the lit classes, the most urgent first."""
    lit: list[str] = []
    for lamp in ["alarm", "supervisory", "trouble"]:
        for signal in shown:
            if class_of(signal) == lamp and lamp not in lit:
                lit.append(lamp)
    return lit


def observe(config: Config, state: State) -> dict[str, Any]:
    """Return the observation record; pressures psi gauge, None where there is no such gauge."""
    shown = signals(config, state)
    lamps = lamps_of(shown)
    failing = not_normal(config, state)
    usual = config.air_set if config.dry else config.supply
    return {
        "valve": valve_word(config, state),
        "panel": panel_word(state, lamps),
        "lamps": lamps,
        "signals": shown,
        "gauge_supply": gauge(state, "gauge_supply", state.inlet_psi, config.supply),
        "gauge_system": gauge(state, "gauge_system", high_side_psi(config, state), usual),
        "gauge_prime": gauge(state, "gauge_prime", state.prime_psi, config.supply),
        "gauge_pilot": gauge(state, "gauge_pilot", state.pilot_psi, config.pilot_set),
        "solenoid_energised": energised(config, state),
        "solenoid_open": solenoid_open(config, state),
        "water_in_piping": state.water_frac > 0.0,
        "flow_test_connection": flow_at(config, state, state.hand["test_connection"]),
        "sprinkler_discharge": flow_at(config, state, state.sprinkler_open or config.open_nozzles),
        "flow_inlet_drain": drain_word(state),
        "gong": gong_rings(config, state),
        "drip_release_drain": release_drain_runs(config, state),
        "drip_auto_drain": auto_drain_word(config, state),
        "qod": qod_word(config, state),
        "compressor_running": compressor_runs(config, state),
        "trip_air": state.trip_psi,
        "hazards": state.hazards,
        "ready": len(failing) == 0,
        "not_normal": failing,
    }


def panel_word(state: State, lamps: list[str]) -> str:
    """Return the headline: the most urgent lamp, normal, or dark without any power."""
    if not powered(state):
        return "dark"
    return lamps[0] if len(lamps) > 0 else "normal"


def gauge(state: State, name: str, psi: float | None, usual: float) -> float | None:
    """Return what a gauge shows: behind a shut gauge cock the usual figure stays trapped."""
    if psi is not None and name + "_isolated" in state.faults:
        return usual
    return psi


def valve_word(config: Config, state: State) -> str:
    """Return closed, open or n/a."""
    if config.valve == "none":
        return "n/a"
    return "open" if state.valve_open else "closed"


def flow_at(config: Config, state: State, is_now_open: bool) -> str:
    """Return what leaves an opening: none, air or water."""
    return sprays(config, state) if is_now_open else "none"


def drain_word(state: State) -> str:
    """Return what leaves the inlet drain: none or water."""
    return "water" if state.hand["inlet_drain"] and state.inlet_psi > 0.0 else "none"


def release_drain_runs(config: Config, state: State) -> bool:
    """Tell whether the release drain runs (a vent is open and fed) or drips (a vent leaks)."""
    if config.valve != "prime":
        return False
    clear = "priming_orifice_plugged" not in state.faults
    feed = clear and state.hand["priming_supply_valve"] and prime_feed_psi(config, state) > 0.0
    leaking = (
        "solenoid_leaking" in state.faults
        or "solenoid_leaking_badly" in state.faults
        or "pressure_relief_leaking" in state.faults
    )
    if venting(config, state) or vent_path_open(config, state):
        return feed
    return feed and leaking


def auto_drain_word(config: Config, state: State) -> str:
    """Return what drips from the automatic drain between the seats: none, water or air."""
    leaking = "water_seat_leaking" in state.faults and state.inlet_psi > 0.0
    plugged = "auto_drain_plugged" in state.faults
    if config.valve == "dry" and not state.valve_open and leaking and not plugged:
        return "water"
    if "air_seat_leaking" in state.faults and not state.valve_open and state.air_psi > 0.0:
        return "air"
    return "none"


def qod_word(config: Config, state: State) -> str | None:
    """Return set or tripped, None without a quick-opening device."""
    if not config.has_qod:
        return None
    return "tripped" if state.qod_tripped else "set"
