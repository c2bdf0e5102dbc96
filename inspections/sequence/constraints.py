"""The order rules of a restoration as conditions on an act: what it would break if done now."""

# ruff: noqa: PERF401, RUF005, SIM110 - the portable subset has neither comprehensions nor stars.

from typing import NamedTuple

from inspections.sequence.acts import HALF_TRAVEL_PCT, RESET_PSI, act, hazards_of
from inspections.sequence.panel import pipe_psi, solenoid_open
from inspections.sequence.ready import ENOUGH
from inspections.sequence.rules import air_escapes, fed, outlet_psi, trip_point_psi
from inspections.sequence.state import Action, State, fitted
from inspections.sequence.types import Config

WET = ["C1", "C12", "C17", "C19", "C20"]
DRY = ["C1", "C2", "C3", "C4", "C5", "C12", "C13", "C15", "C16", "C17", "C19", "C20"]
PRIME = ["C1", "C10", "C11", "C12", "C13", "C17", "C19", "C20"]
ELECTRIC = ["C8", "C9", "C18"]


class Breach(NamedTuple):
    """An order rule (``C1`` to ``C20``) that an act would break, and the hazard it raises, if any.

    ``hazard`` is empty where the act spoils the restoration without being a hazard of the model.
    """

    code: str
    hazard: str


class Taken(NamedTuple):
    """An act as it was done: the state after it, and the warnings that stood before it."""

    state: State
    warnings: list[Breach]


def constraints_of(config: Config) -> list[str]:
    """Return the codes of the order rules that apply to a riser, by what it is composed of."""
    if config.valve in ("alarm_check", "none"):
        return WET
    if config.valve == "dry":
        return DRY + ["C14"] if config.has_qod else DRY
    codes = PRIME
    if config.has_detection:
        codes = codes + ELECTRIC
    if config.air:
        codes = codes + ["C4", "C15"]
    if config.vent == "solenoid|actuator" or config.pilot:
        codes = codes + ["C6"]
    if config.interlock == "panel" or config.vent == "solenoid&actuator":
        codes = codes + ["C7"]
    return codes


def warnings_before(config: Config, state: State, action: Action) -> list[Breach]:
    """Return what an act would break if it were done from this state; empty when it is safe.

    Every hazard of the model is among them, under the order rule that exists to prevent it.
    """
    broken: list[str] = []
    if action.kind == "control_valve" and action.pct > state.control_pct:
        broken = broken + broken_by_water(config, state, action)
    if action.kind == "panel_reset":
        broken = broken + broken_by_reset(config, state)
    if action.kind in ("open", "close"):
        broken = broken + broken_by_hand_valve(config, state, action)
    broken = broken + broken_by_other(config, state, action)
    hazards = hazards_of(config, state, action)
    applicable = constraints_of(config)
    found: list[Breach] = []
    for code in broken:
        if code in applicable:
            found.append(Breach(code=code, hazard=hazard_under(code, hazards)))
    for hazard in hazards:
        if not names_hazard(found, hazard):
            found.append(Breach(code=guard_of(config, hazard), hazard=hazard))
    return found


def hazard_under(code: str, hazards: list[str]) -> str:
    """Return the hazard that an order rule exists to prevent, if the act raises it."""
    for hazard in hazards:
        if code in GUARDS[hazard]:
            return hazard
    return ""


def names_hazard(found: list[Breach], hazard: str) -> bool:
    """Tell whether a warning already names the hazard."""
    for each in found:
        if each.hazard == hazard:
            return True
    return False


def guard_of(config: Config, hazard: str) -> str:
    """Return the first order rule of this riser that exists to prevent the hazard."""
    applicable = constraints_of(config)
    for code in GUARDS[hazard]:
        if code in applicable:
            return code
    return GUARDS[hazard][0]


GUARDS = {
    "water_into_piping": ["C5", "C9", "C10", "C11"],
    "water_hammer": ["C12"],
    "reset_under_pressure": ["C2", "C1"],
    "draining_live_system": ["C1"],
    "release_reenergised": ["C18"],
}


def broken_by_water(config: Config, state: State, action: Action) -> list[str]:
    """Return the order rules that opening the control valve further would break."""
    broken: list[str] = []
    from_shut = state.control_pct <= 0.0
    if from_shut and config.valve == "dry" and state.valve_open:
        broken.append("C3")
    if config.valve == "dry" and (from_shut or not state.valve_open):
        live = state._replace(inlet_psi=state.supply_psi)
        if state.air_psi <= trip_point_psi(config, live):
            broken.append("C5")
    if from_shut and config.air and pipe_psi(state) <= config.low_air:
        broken.append("C7")
    if from_shut and (state.release_latched or solenoid_open(config, state)):
        broken.append("C9")
    if from_shut and vented_by_hand(config, state):
        broken.append("C10")
    if from_shut and lacks_prime(config, state):
        broken.append("C11")
    wide = action.pct - state.control_pct > HALF_TRAVEL_PCT
    if wide and (from_shut or action.rate == "fast"):
        broken.append("C12")
    return broken


def lacks_prime(config: Config, state: State) -> bool:
    """Tell whether prime that must stand before the water comes does not."""
    if state.prime_psi is None or config.prime_source == "downstream":
        return False
    return state.prime_psi < ENOUGH * state.supply_psi


def vented_by_hand(config: Config, state: State) -> bool:
    """Tell whether something that only a hand can restore keeps the priming chamber empty."""
    manual = fitted(config, "manual_release") and state.hand["manual_release"]
    pilot = fitted(config, "pilot_head") and state.hand["pilot_head"]
    return manual or pilot or state.solenoid_latched_open


def broken_by_reset(config: Config, state: State) -> list[str]:
    """Return the order rules that a panel reset would break."""
    broken: list[str] = []
    tripped = config.valve in ("dry", "prime") and state.valve_open
    if tripped and state.control_pct > 0.0 and state.release_latched:
        broken.append("C1")
    if len(state.zones) > 0 or state.manual_station:
        broken.append("C8")
    if config.vent == "solenoid|actuator" and pipe_psi(state) <= config.actuator_trip:
        broken.append("C6")
    opening = 0.0 < state.control_pct < 100.0
    if opening and not state.release_latched and len(state.zones) == 0:
        broken.append("C19")
    return broken


def broken_by_hand_valve(config: Config, state: State, action: Action) -> list[str]:
    """Return the order rules that turning a hand valve would break."""
    if action.kind == "close":
        unsafe = action.what == "inlet_drain" and state.control_pct > 0.0
        return ["C13"] if unsafe and lifts_on_full_pressure(config, state) else []
    broken: list[str] = []
    tripped = config.valve in ("dry", "prime") and state.valve_open
    if action.what == "system_drain" and tripped and fed(config, state):
        broken.append("C1")
    if action.what == "air_supply_valve" and not state.hand["air_supply_valve"]:
        if config.valve == "dry" and state.valve_open:
            broken.append("C3")
        if air_escapes(config, state):
            broken.append("C4")
        if not state.low_points_ok:
            broken.append("C15")
    if action.what == "qod_isolation_valve" and not holds(config, state):
        broken.append("C14")
    if action.what == "alarm_line_valve" and tripped and outlet_psi(config, state) > 0.0:
        broken.append("C17")
    return broken


def lifts_on_full_pressure(config: Config, state: State) -> bool:
    """Tell whether the system valve would open once full supply pressure stands below it."""
    full = state._replace(inlet_psi=state.supply_psi)
    if config.valve == "dry":
        return state.valve_open or state.air_psi <= trip_point_psi(config, full)
    if state.prime_psi is None:
        return False
    if config.prime_source == "downstream":
        return state.valve_open
    return state.valve_open or state.prime_psi < config.prime_hold * state.supply_psi


def holds(config: Config, state: State) -> bool:
    """Tell whether a dry valve stands set under full supply pressure."""
    return (
        not state.valve_open
        and state.control_pct >= 100.0
        and state.inlet_psi >= ENOUGH * state.supply_psi
    )


def broken_by_other(config: Config, state: State, action: Action) -> list[str]:
    """Return the order rules that a reset by hand, a replacement or the disconnect would break."""
    broken: list[str] = []
    under_water = state.control_pct > 0.0 and state.water_frac > 0.0
    if action.kind in ("replace_sprinkler", "reset_solenoid") and under_water:
        broken.append("C1")
    if action.kind == "drain_low_points" and config.dry and state.control_pct > 0.0:
        broken.append("C1")
    if action.kind == "reset_clapper":
        if state.control_pct > 0.0:
            broken.append("C1")
        if max(state.inlet_psi, pipe_psi(state)) > RESET_PSI or state.water_frac > 0.0:
            broken.append("C2")
    closes = action.kind == "release_disconnect" and state.disconnect and not action.on
    if closes and state.release_latched:
        broken.append("C18")
    return broken


def take(config: Config, state: State, action: Action) -> Taken:
    """Do an act whatever stands against it, and keep what stood against it for the record."""
    warnings = warnings_before(config, state, action)
    return Taken(state=act(config, state, action), warnings=warnings)
