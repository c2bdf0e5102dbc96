"""What each step of a trip test or restoration does to a riser, from where it stands."""

# ruff: noqa: PERF401, RUF005 - the portable subset has neither comprehensions nor stars.

from inspections.sequence.state import Action, State, fitted
from inspections.sequence.types import Config

CRACKED_PCT = 10.0
THROTTLED_PCT = 20.0


def acts_of(config: Config, state: State, code: str) -> list[Action]:
    """Return what a step does to this riser from this state, in order."""
    if code not in ACTS:
        return []
    return ACTS[code](config, state)


def opened(names: list[str]) -> list[Action]:
    """Return the acts that open hand valves one after another."""
    acts: list[Action] = []
    for name in names:
        acts.append(Action(kind="open", what=name))
    return acts


def closed(names: list[str]) -> list[Action]:
    """Return the acts that shut hand valves one after another."""
    acts: list[Action] = []
    for name in names:
        acts.append(Action(kind="close", what=name))
    return acts


def and_settle(acts: list[Action]) -> list[Action]:
    """Return the acts and then the wait until nothing changes any more."""
    return acts + [Action(kind="settle")]


def main_drain(config: Config) -> str:
    """Return the drain that is this riser's main drain: above a wet valve, below any other."""
    return "inlet_drain" if config.dry else "system_drain"


def main_drain_test_acts(config: Config, state: State) -> list[Action]:
    """Open the main drain wide."""
    return and_settle(opened([main_drain(config)]))


def main_drain_shut_acts(config: Config, state: State) -> list[Action]:
    """Shut it slowly; on a wet riser the alarm has sounded and is reset."""
    acts = closed([main_drain(config)])
    if not config.dry:
        acts = acts + [Action(kind="panel_reset")]
    return and_settle(acts)


def inspectors_test_acts(config: Config, state: State) -> list[Action]:
    """Let the flow of one sprinkler run."""
    return and_settle(opened(["test_connection"]))


def inspectors_test_shut_acts(config: Config, state: State) -> list[Action]:
    """Shut it and reset the panel."""
    return and_settle(closed(["test_connection"]) + [Action(kind="panel_reset")])


def restore_air_acts(config: Config, state: State) -> list[Action]:
    """Shut it, let the air come back, and only then reset the panel."""
    acts = and_settle(closed(["test_connection"])) + [Action(kind="panel_reset")]
    return and_settle(acts)


def throttle_acts(config: Config, state: State) -> list[Action]:
    """Throttle while the drain runs full, then shut the drain."""
    return and_settle(
        [Action(kind="control_valve", pct=THROTTLED_PCT)] + closed([main_drain(config)])
    )


def detection_acts(config: Config, state: State) -> list[Action]:
    """Bring as many zones into alarm as the release needs."""
    acts: list[Action] = []
    zone = 1
    while zone <= config.zones_required:
        acts.append(Action(kind="detector_alarm", zone="z" + str(zone)))
        zone = zone + 1
    return and_settle(acts)


def first_zone_acts(config: Config, state: State) -> list[Action]:
    """Bring one zone into alarm, which announces and releases nothing."""
    return and_settle([Action(kind="detector_alarm", zone="z1")])


def detection_cleared_acts(config: Config, state: State) -> list[Action]:
    """Clear the detectors and reset the panel."""
    return and_settle(cleared_acts(config, state) + [Action(kind="panel_reset")])


def operate_pilot_acts(config: Config, state: State) -> list[Action]:
    """Open the pilot line."""
    return and_settle(opened(["pilot_head"]))


def drain_below_acts(config: Config, state: State) -> list[Action]:
    """Drain what stands between control valve and system valve."""
    return and_settle(opened(["inlet_drain"]))


def release_water_shut_acts(config: Config, state: State) -> list[Action]:
    """Operate the release, by detection or by the pilot line, with nothing behind the valve."""
    if config.has_detection:
        return detection_acts(config, state)
    return operate_pilot_acts(config, state)


def shut_control_acts(config: Config, state: State) -> list[Action]:
    """Shut the control valve."""
    return [Action(kind="control_valve", pct=0.0)]


def open_drains_acts(config: Config, state: State) -> list[Action]:
    """Open the drains and the remote outlet and let them run out."""
    if config.dry:
        return and_settle(opened(["inlet_drain", "system_drain", "test_connection"]))
    return and_settle(opened(["system_drain", "test_connection"]))


def stop_air_acts(config: Config, state: State) -> list[Action]:
    """Shut the air supply so that it does not fight the draining."""
    return closed(["air_supply_valve"])


def cleared_acts(config: Config, state: State) -> list[Action]:
    """Clear every live cause, the panel apart."""
    acts: list[Action] = []
    for zone in state.zones:
        acts.append(Action(kind="detector_clear", zone=zone))
    if state.manual_station:
        acts.append(Action(kind="restore_pull_station"))
    if state.sprinkler_open:
        acts.append(Action(kind="replace_sprinkler"))
    for name in ["pilot_head", "manual_release"]:
        if fitted(config, name) and state.hand[name]:
            acts.append(Action(kind="close", what=name))
    return acts


def reset_clapper_acts(config: Config, state: State) -> list[Action]:
    """Set the clapper down and latch it."""
    return [Action(kind="reset_clapper")]


def reset_qod_acts(config: Config, state: State) -> list[Action]:
    """Isolate the quick-opening device and set it."""
    return closed(["qod_isolation_valve"]) + [Action(kind="reset_qod")]


def drain_low_points_acts(config: Config, state: State) -> list[Action]:
    """Drain each low point until air only."""
    return [Action(kind="drain_low_points")]


def close_outlets_acts(config: Config, state: State) -> list[Action]:
    """Shut drain and remote outlet above the valve; a wet riser is filled through its outlet."""
    if config.dry:
        return closed(["test_connection", "system_drain"])
    return closed(["system_drain", "inlet_drain"])


def air_acts(config: Config, state: State) -> list[Action]:
    """Let the air supply bring the gas to its set point."""
    acts = opened(["air_supply_valve"])
    if not state.compressor_on:
        acts.append(Action(kind="compressor", on=True))
    return and_settle(acts)


def reset_panel_acts(config: Config, state: State) -> list[Action]:
    """Reset the panel, so that the solenoid shuts and the prime builds."""
    return and_settle([Action(kind="panel_reset")])


def reset_solenoid_acts(config: Config, state: State) -> list[Action]:
    """Reset the latching solenoid by hand."""
    return and_settle([Action(kind="reset_solenoid")])


def prime_check_acts(config: Config, state: State) -> list[Action]:
    """See that the priming valve is open and the prime stands."""
    acts: list[Action] = []
    if not state.hand["priming_supply_valve"]:
        acts = opened(["priming_supply_valve"])
    return and_settle(acts)


def crack_water_acts(config: Config, state: State) -> list[Action]:
    """Crack the control valve open, with the drain (wet: the remote outlet) open."""
    acts = [Action(kind="control_valve", pct=CRACKED_PCT)]
    if config.dry:
        return acts
    return and_settle(acts)


def close_drain_acts(config: Config, state: State) -> list[Action]:
    """Shut what was left open for the water to push the air out."""
    return and_settle(closed(["inlet_drain" if config.dry else "test_connection"]))


def open_fully_acts(config: Config, state: State) -> list[Action]:
    """Open the control valve fully, slowly: half-way first."""
    return and_settle(
        [Action(kind="control_valve", pct=50.0), Action(kind="control_valve", pct=100.0)]
    )


def alarm_line_acts(config: Config, state: State) -> list[Action]:
    """See the alarm line open and the alarm test valve shut."""
    return and_settle(opened(["alarm_line_valve"]) + closed(["alarm_test_valve"]))


def open_qod_acts(config: Config, state: State) -> list[Action]:
    """Put the quick-opening device back, slowly."""
    return and_settle(opened(["qod_isolation_valve"]))


def final_reset_acts(config: Config, state: State) -> list[Action]:
    """Reset the panel with everything back."""
    acts = [Action(kind="panel_reset")]
    if state.disconnect:
        acts.append(Action(kind="release_disconnect", on=False))
        acts.append(Action(kind="panel_reset"))
    return and_settle(acts)


def prove_alarm_acts(config: Config, state: State) -> list[Action]:
    """Prove the waterflow signal without tripping."""
    return and_settle(opened([PROVING.get(config.valve, "alarm_test_valve")]))


PROVING = {"none": "test_connection"}


def prove_reset_acts(config: Config, state: State) -> list[Action]:
    """Shut it again and reset."""
    what = PROVING.get(config.valve, "alarm_test_valve")
    return and_settle(closed([what]) + [Action(kind="panel_reset")])


ACTS = {
    "main_drain_test": main_drain_test_acts,
    "main_drain_shut": main_drain_shut_acts,
    "inspectors_test": inspectors_test_acts,
    "inspectors_test_shut": inspectors_test_shut_acts,
    "throttle": throttle_acts,
    "lose_air": inspectors_test_acts,
    "restore_air": restore_air_acts,
    "first_zone": first_zone_acts,
    "detection_alone": detection_acts,
    "detection_cleared": detection_cleared_acts,
    "detection": detection_acts,
    "operate_pilot": operate_pilot_acts,
    "air_loss_trip": inspectors_test_acts,
    "flow": inspectors_test_acts,
    "drain_below": drain_below_acts,
    "release_water_shut": release_water_shut_acts,
    "shut_control": shut_control_acts,
    "open_drains": open_drains_acts,
    "stop_air": stop_air_acts,
    "clear_cause": cleared_acts,
    "reset_clapper": reset_clapper_acts,
    "reset_qod": reset_qod_acts,
    "drain_low_points": drain_low_points_acts,
    "close_outlets": close_outlets_acts,
    "air": air_acts,
    "reset_panel": reset_panel_acts,
    "reset_solenoid": reset_solenoid_acts,
    "prime_check": prime_check_acts,
    "crack_water": crack_water_acts,
    "close_drain": close_drain_acts,
    "open_fully": open_fully_acts,
    "alarm_line": alarm_line_acts,
    "open_qod": open_qod_acts,
    "final_reset": final_reset_acts,
    "prove_alarm": prove_alarm_acts,
    "prove_reset": prove_reset_acts,
}
