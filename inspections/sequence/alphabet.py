"""Which acts and events exist at a riser, by what it is composed of."""

from collections.abc import Mapping
from typing import Any

from inspections.sequence.acts import EFFECTS, FAULTS, fault_fits
from inspections.sequence.constraints import constraints_of
from inspections.sequence.diagnosis import OBSERVABLE
from inspections.sequence.guide import is_seen
from inspections.sequence.observe import observe
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, fitted, normal_state
from inspections.sequence.steps import tasks_of
from inspections.sequence.types import Config, make_config
from inspections.sequence.words import word

_PERCENT = (0.0, 10.0, 100.0)
_ZONES = ("z1", "z2")
_ELECTRIC = ("pull_station", "restore_pull_station", "release_disconnect")


def hand_valves(config: Config) -> list[str]:
    """Return the hand valves and the pilot sprinkler of a riser, by name."""
    return [name for name in (*NORMALLY_OPEN, *NORMALLY_SHUT) if fitted(config, name)]


def faults_of(config: Config) -> list[str]:
    """Return the faults that the parts of a riser can have."""
    return [fault for fault in FAULTS if fault_fits(config, fault)]


def kinds_of(config: Config) -> list[str]:
    """Return the kinds of acts and events that exist at a riser."""
    missing: set[str] = set()
    if not config.has_detection:
        missing |= {"release_disconnect"}
    if config.solenoid != "latching" or "solenoid" not in config.vent:
        missing |= {"reset_solenoid"}
    if config.valve != "dry":
        missing |= {"reset_clapper", "drain_column"}
    if not config.has_qod:
        missing |= {"reset_qod"}
    if not (config.air or config.pilot):
        missing |= {"compressor"}
    if not config.dry:
        missing |= {"drain_low_points"}
    if config.open_nozzles:
        missing |= {"fuse_sprinkler", "replace_sprinkler"}
    return [kind for kind in (*EFFECTS, "wait", "settle") if kind not in missing]


def refusal_of_act(config: Config, action: Action) -> str:
    """Return why an act does not exist at a riser and what does; empty when it exists."""
    kinds = kinds_of(config)
    if action.kind not in kinds:
        return f"do: {action.kind!r} does not exist on this riser; accepted: {', '.join(kinds)}"
    valves = hand_valves(config)
    if action.kind in ("open", "close") and action.what not in valves:
        return f"what: {action.what!r} is not on this riser; accepted: {', '.join(valves)}"
    faults = faults_of(config)
    if action.kind in ("start_fault", "clear_fault") and action.fault not in faults:
        return f"fault: {action.fault!r} cannot be on this riser; accepted: {', '.join(faults)}"
    return ""


def alphabet(config: Config) -> list[Action]:
    """Return the acts of a riser's trip test, restoration and single events, without faults."""
    valves = hand_valves(config)
    kinds = kinds_of(config)
    plain = [
        kind
        for kind in (
            *("panel_reset", "pull_station", "restore_pull_station", "fuse_sprinkler"),
            *("replace_sprinkler", "reset_clapper", "reset_qod", "reset_solenoid"),
            *("drain_low_points", "drain_column"),
        )
        if kind in kinds and (config.has_detection or kind not in _ELECTRIC)
    ]
    zones = _ZONES[: max(1, int(config.zones_required))]
    return [
        *(Action(kind, what) for what in valves for kind in ("open", "close")),
        *(Action("control_valve", pct=pct) for pct in _PERCENT),
        *(Action(kind) for kind in plain),
        *(
            Action(kind, zone=zone)
            for kind in ("detector_alarm", "detector_clear")
            for zone in zones
            if config.has_detection
        ),
        *(
            Action(kind, on=on)
            for kind in ("release_disconnect", "compressor", "ac_power")
            for on in (True, False)
            if kind in kinds
        ),
    ]


def full_alphabet(config: Config) -> list[Action]:
    """Return every act and event, faults and surges too."""
    return [
        *alphabet(config),
        *(Action("control_valve", pct=pct, rate="fast") for pct in (60.0, 100.0)),
        *(Action("set_supply", psi=part * config.supply) for part in (0.0, 1.0, 2.5)),
        *(
            Action(kind, fault=f)
            for f in faults_of(config)
            for kind in ("start_fault", "clear_fault")
        ),
    ]


def described(system_type: str, overrides: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a type is composed of, what can be done to it and what can be seen at it."""
    config = make_config(system_type, dict(overrides))
    seen = observe(config, normal_state(config))
    cautions = {
        code: word("en", f"rule.{code}")
        for code in constraints_of(config)
        if word("en", f"rule.{code}") != f"rule.{code}"
    }
    return {
        "type": system_type,
        "composition": config._asdict(),
        "actions": kinds_of(config),
        "hand_valves": hand_valves(config),
        "observables": [
            key
            for key in OBSERVABLE
            if is_seen(config, key) and (seen[key] is not None or key == "trip_air")
        ],
        "faults": faults_of(config),
        "tasks": tasks_of(config),
        "cautions": cautions,
    }
