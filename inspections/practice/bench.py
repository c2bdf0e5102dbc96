"""What a learner can do at the bench, where a task begins, and what a person there sees."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from inspections.sequence.acts import act
from inspections.sequence.guide import GAUGE_TOLERANCE_PSI, agrees, guide, phase_of
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, State, fitted
from inspections.sequence.state import normal_state as normal
from inspections.sequence.types import Config

RESTORATION, TRIP_TEST, FIND_FAULT = "restoration", "trip_test", "find_fault"
TASKS = (RESTORATION, TRIP_TEST, FIND_FAULT)
# What a person sees and hears; all else of an observation record is the model's own truth.
SEEN = (
    *("panel", "lamps", "signals", "gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot"),
    *("solenoid_energised", "water_in_piping", "flow_test_connection", "sprinkler_discharge"),
    *("flow_inlet_drain", "gong", "drip_release_drain", "drip_auto_drain", "qod"),
    *("compressor_running", "trip_air"),
)
DIALS = ("gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot")
OUTLETS = ("flow_test_connection", "sprinkler_discharge", "flow_inlet_drain", "drip_auto_drain")
SWITCHES = ("solenoid_energised", "water_in_piping", "gong", "drip_release_drain")
OPENINGS = (0.0, 10.0, 40.0, 50.0, 100.0)
PAUSES = (10.0, 60.0, 600.0)


class NotAccepted(ValueError):
    """Something of a run that the bench does not have: its field, what was given, what is taken."""

    def __init__(self, field: str, given: object, accepted: str) -> None:
        super().__init__(f"{field}: {given} is not accepted; accepted: {accepted}")
        self.field, self.given, self.accepted = field, given, accepted


class Deed(NamedTuple):
    """One thing a learner can do.

    ``position`` names what it moves and ``to`` where to, so that a bench offers it only from
    elsewhere; empty where it moves nothing.
    """

    code: str
    part: str
    position: str
    to: Any
    action: Action


def deeds_of(config: Config) -> dict[str, Deed]:
    """Return all that can be done on a riser, by code, in the order of the water and the panel."""
    return {deed.code: deed for deed in _deeds(config)}


def _deeds(config: Config) -> Iterator[Deed]:
    yield from _valves(config)
    if not config.open_nozzles:
        yield _moves("sprinkler", "fuse_sprinkler", True)
        yield _moves("sprinkler", "replace_sprinkler", False)
    if config.has_detection:
        yield from _detection(config)
    yield _plain("panel", "panel_reset")
    yield _plain("panel", "panel_silence")
    yield _moves("ac_power", "ac_power", False)
    yield _moves("ac_power", "ac_power", True)
    yield from _piping(config)
    for seconds in PAUSES:
        yield Deed(f"wait:{seconds:.0f}", "time", "", None, Action("wait", s=seconds))
    yield _plain("time", "settle")


def _valves(config: Config) -> Iterator[Deed]:
    part = "control_valve"
    for pct in OPENINGS:
        yield Deed(f"{part}:{pct:.0f}", part, part, pct, Action(part, pct=pct))
    yield Deed(f"{part}:fast", part, part, 100.0, Action(part, pct=100.0, rate="fast"))
    for name in (*NORMALLY_SHUT, *NORMALLY_OPEN):
        if fitted(config, name):
            yield Deed(f"open:{name}", name, name, True, Action("open", what=name))
            yield Deed(f"close:{name}", name, name, False, Action("close", what=name))


def _piping(config: Config) -> Iterator[Deed]:
    if config.air or config.pilot:
        yield _moves("compressor", "compressor", False)
        yield _moves("compressor", "compressor", True)
    if config.valve == "dry":
        yield _plain("system_valve", "reset_clapper")
        yield _plain("system_valve", "drain_column")
    if config.has_qod:
        yield _plain("qod", "reset_qod")
    if config.dry:
        yield _plain("low_points", "drain_low_points")


def _detection(config: Config) -> Iterator[Deed]:
    for number in range(1, max(2, int(config.zones_required)) + 1):
        zone = f"z{number}"
        for kind, to in (("detector_alarm", True), ("detector_clear", False)):
            yield Deed(f"{kind}:{zone}", f"zone_{number}", zone, to, Action(kind, zone=zone))
    yield _moves("manual_station", "pull_station", True)
    yield _moves("manual_station", "restore_pull_station", False)
    yield _moves("release_disconnect", "release_disconnect", True)
    yield _moves("release_disconnect", "release_disconnect", False)
    if config.solenoid == "latching":
        yield _plain("solenoid", "reset_solenoid")


def _plain(part: str, kind: str) -> Deed:
    return Deed(kind, part, "", None, Action(kind))


def _moves(part: str, kind: str, to: bool) -> Deed:
    code = f"{kind}:{'on' if to else 'off'}" if kind == part else kind
    return Deed(code, part, part, to, Action(kind, on=to) if kind == part else Action(kind))


def deed_of(config: Config, code: str) -> Deed:
    """Return what a code stands for.

    Raises
    ------
    NotAccepted
        When it cannot be done on such a riser.
    """
    deeds = deeds_of(config)
    if code not in deeds:
        raise NotAccepted("acts", code, ", ".join(deeds))
    return deeds[code]


def start_acts(config: Config, task: str) -> list[Action]:
    """Return the acts that lead from a riser in service to where a task begins."""
    if task != RESTORATION:
        return []
    if config.valve in ("alarm_check", "none"):
        return [Action("fuse_sprinkler"), Action("settle")]
    steps = [one for one in guide(config, TRIP_TEST) if phase_of(one.code) in ("before", "test")]
    return [action for step in steps for action in step.acts]


def start_of(config: Config, task: str, fault: str = "") -> State:
    """Return the riser as a learner finds it: settled, with its fault, no hazard raised yet."""
    state = normal(config)
    if fault:
        state = state._replace(faults=[fault])
    state = settle(config, state)
    for action in start_acts(config, task):
        state = act(config, state, action)
    return state._replace(hazards=[], trip_psi=None)


def view(config: Config, state: State, *, whole: bool = True) -> dict[str, Any]:
    """Return what stands before a learner: what is seen, and how everything is set.

    Parameters
    ----------
    whole
        With the model's own truth besides (the valve, what is not normal), which no person sees.
    """
    record = observe(config, state)
    shown: dict[str, Any] = {
        "seen": {key: record[key] for key in SEEN},
        "at": settings_of(config, state),
    }
    if whole:
        shown["truth"] = {key: record[key] for key in ("valve", "not_normal", "hazards")}
    return shown


def settings_of(config: Config, state: State) -> dict[str, Any]:
    """Return how everything that a hand moves is set: percent open, true for open or on."""
    at: dict[str, Any] = {"control_valve": state.control_pct}
    for name in (*NORMALLY_SHUT, *NORMALLY_OPEN):
        if fitted(config, name):
            at[name] = state.hand[name]
    at["sprinkler"] = state.sprinkler_open
    at["manual_station"] = state.manual_station
    at["release_disconnect"] = state.disconnect
    at["compressor"] = state.compressor_on
    at["ac_power"] = state.ac_power
    for number in range(1, max(2, int(config.zones_required)) + 1):
        at[f"z{number}"] = f"z{number}" in state.zones
    return at


def sights(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Return what there was to notice between two views, as codes of `sights_of`.

    A gauge that moved by no more than a dial is read to is not among them.
    """
    was, now = before["seen"], after["seen"]
    found = []
    for key in DIALS:
        if now[key] is not None and was[key] is not None:
            moved = now[key] - was[key]
            if abs(moved) > GAUGE_TOLERANCE_PSI:
                found.append(f"{key}:{'rose' if moved > 0 else 'fell'}")
    found += [f"signal:{one}:came" for one in now["signals"] if one not in was["signals"]]
    found += [f"signal:{one}:gone" for one in was["signals"] if one not in now["signals"]]
    found += [f"{key}:{now[key]}" for key in OUTLETS if now[key] != was[key]]
    found += [f"{key}:{'on' if now[key] else 'off'}" for key in SWITCHES if now[key] != was[key]]
    if now["qod"] != was["qod"]:
        found.append(f"qod:{now['qod']}")
    return found


def sights_of(config: Config) -> list[str]:
    """Return all that there can be to notice on a riser."""
    first = view(config, normal(config))["seen"]
    codes = [f"{key}:{way}" for key in DIALS if first[key] is not None for way in ("fell", "rose")]
    codes += [f"signal:{one}:{way}" for one in _signals(config) for way in ("came", "gone")]
    codes += [
        f"{key}:{value}"
        for key in OUTLETS
        if key != "drip_auto_drain"
        for value in (("none", "air", "water") if config.dry else ("none", "water"))
        if key != "flow_inlet_drain" or value != "air"
    ]
    if config.valve == "dry":
        codes += ["drip_auto_drain:none", "drip_auto_drain:water"]
    wanted = [key for key in SWITCHES if _is_there(config, key)]
    codes += [f"{key}:{way}" for key in wanted for way in ("on", "off")]
    return codes + (["qod:tripped", "qod:set"] if config.has_qod else [])


def _signals(config: Config) -> list[str]:
    names = ["waterflow", "tamper", "ac_fail"]
    if config.has_detection:
        zones = range(1, max(2, int(config.zones_required)) + 1)
        names += [f"detector:z{number}" for number in zones]
        names += ["manual_station", "release_disconnected", "release_circuit_open"]
    if config.air:
        names += ["low_air", "high_air"]
    return names + (["low_pilot_air"] if config.pilot else [])


def _is_there(config: Config, key: str) -> bool:
    return {
        "solenoid_energised": config.has_detection,
        "water_in_piping": True,
        "gong": config.valve != "none",
        "drip_release_drain": config.valve == "prime",
    }[key]


def same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Tell whether a person could not tell two views apart, gauges within their tolerance."""
    return all(agrees(one["seen"][key], other["seen"][key]) for key in SEEN)
