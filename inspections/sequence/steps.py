"""Trip tests and restorations as data: the steps, their order per type, what each one asks.

The words of a step are in `words`. A row names what must be looked at (keys of an observation
record), the caution at the act, the order rules it keeps, the times taken, the readings asked
([name, quantity, gauge]) and the items of the end-state list that it proves.
"""

# ruff: noqa: PERF401, PERF402, RUF005 - the portable subset has neither comprehensions nor stars.

from typing import Any

from inspections.sequence.types import Config, listed

GAUGES = [
    ["supply_gauge", "pressure", "gauge_supply"],
    ["system_gauge", "pressure", "gauge_system"],
    ["prime_gauge", "pressure", "gauge_prime"],
    ["pilot_gauge", "pressure", "gauge_pilot"],
]
GAUGE_KEYS = ["gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot"]
PANEL_KEYS = ["panel", "signals"]
NO_WATER = ["gauge_prime", "water_in_piping"]
TRIPPED = ["solenoid_energised", "gauge_prime", "gauge_pilot", "water_in_piping", "gong"]

ROWS: dict[str, dict[str, Any]] = {
    "as_found": {"see": PANEL_KEYS + GAUGE_KEYS + ["qod"], "readings": GAUGES},
    "permissions": {"by": "person", "caution": "on_test"},
    "main_drain_test": {
        "see": ["gauge_supply"],
        "caution": "discharge",
        "readings": [
            ["static_before", "pressure", ""],
            ["residual", "pressure", "gauge_supply"],
        ],
    },
    "main_drain_shut": {
        "see": PANEL_KEYS + ["gauge_supply"],
        "readings": [["static_after", "pressure", "gauge_supply"]],
    },
    "inspectors_test": {
        "see": PANEL_KEYS + ["flow_test_connection", "gong"],
        "caution": "discharge",
        "timers": ["alarm_seconds"],
    },
    "inspectors_test_shut": {"see": PANEL_KEYS + ["flow_test_connection", "gauge_system"]},
    "throttle": {"see": PANEL_KEYS, "caution": "hands_on_wheel"},
    "lose_air": {
        "see": PANEL_KEYS + ["gauge_system", "flow_test_connection"] + NO_WATER,
        "caution": "stop_if_water",
        "readings": [["low_air_signal", "pressure", ""]],
    },
    "restore_air": {
        "see": PANEL_KEYS + ["gauge_system", "gauge_prime"],
        "readings": [["system_gauge", "pressure", "gauge_system"]],
    },
    "first_zone": {"see": PANEL_KEYS + ["solenoid_energised"] + NO_WATER, "caution": "detection"},
    "detection_alone": {
        "see": PANEL_KEYS + ["solenoid_energised"] + NO_WATER,
        "caution": "detection",
    },
    "detection_cleared": {"see": PANEL_KEYS + ["gauge_prime"]},
    "detection": {
        "see": PANEL_KEYS + TRIPPED + ["gauge_system", "sprinkler_discharge"],
        "caution": "detection",
        "timers": ["trip_seconds", "alarm_seconds"],
    },
    "operate_pilot": {
        "see": PANEL_KEYS + TRIPPED + ["sprinkler_discharge"],
        "caution": "detection",
        "timers": ["trip_seconds", "alarm_seconds"],
    },
    "air_loss_trip": {
        "see": PANEL_KEYS + TRIPPED + ["trip_air", "qod", "flow_test_connection"],
        "caution": "water_path",
        "timers": ["trip_seconds", "delivery_seconds", "alarm_seconds"],
        "readings": [
            ["low_air_signal", "pressure", ""],
            ["trip_air", "pressure", "trip_air"],
        ],
    },
    "flow": {
        "see": ["flow_test_connection", "gauge_supply"],
        "caution": "water_path",
        "timers": ["delivery_seconds"],
        "readings": [["flowing_gauge", "pressure", "gauge_supply"]],
    },
    "drain_below": {
        "see": ["gauge_supply", "flow_inlet_drain", "gauge_prime", "gauge_system"],
        "constraints": ["C1"],
        "caution": "drain_path",
    },
    "release_water_shut": {
        "see": PANEL_KEYS + TRIPPED,
        "constraints": ["C1"],
        "caution": "stop_if_water",
        "timers": ["trip_seconds"],
    },
    "confirm_may_shut": {"by": "person", "caution": "no_fire"},
    "shut_control": {"see": PANEL_KEYS, "constraints": ["C1"], "caution": "impaired"},
    "open_drains": {
        "see": ["gauge_supply", "gauge_system", "flow_test_connection", "flow_inlet_drain"],
        "constraints": ["C1", "C2"],
        "caution": "drain_path",
    },
    "stop_air": {"see": ["compressor_running"]},
    "clear_cause": {"see": PANEL_KEYS, "constraints": ["C8", "C10"], "items": [15]},
    "reset_clapper": {
        "see": ["gauge_supply", "gauge_system"],
        "constraints": ["C1", "C2"],
        "caution": "cover",
        "items": [6],
    },
    "reset_qod": {"see": ["qod"], "constraints": ["C14"]},
    "drain_low_points": {"see": ["water_in_piping"], "constraints": ["C15"], "items": [14]},
    "close_outlets": {"see": ["flow_test_connection"], "constraints": ["C4"], "items": [9]},
    "priming_water": {"by": "person", "constraints": ["C16"], "items": [8]},
    "air": {
        "see": ["gauge_system", "gauge_pilot"],
        "constraints": ["C3", "C4", "C5", "C6", "C7", "C15"],
        "readings": [["system_gauge", "pressure", "gauge_system"]],
        "timers": ["air_seconds"],
        "items": [3, 5, 11],
    },
    "reset_panel": {
        "see": PANEL_KEYS + ["solenoid_energised", "gauge_prime", "drip_release_drain"],
        "constraints": ["C8", "C9"],
        "caution": "reset",
    },
    "reset_solenoid": {"see": ["gauge_prime", "drip_release_drain"], "constraints": ["C10"]},
    "prime_check": {
        "see": ["gauge_prime", "drip_release_drain"],
        "constraints": ["C11"],
        "readings": [["prime_gauge", "pressure", "gauge_prime"]],
        "timers": ["prime_steady_seconds"],
        "items": [4, 12, 13],
    },
    "crack_water": {
        "see": ["water_in_piping", "gauge_system", "flow_inlet_drain"],
        "constraints": ["C5", "C9", "C11", "C12"],
        "caution": "slowly",
    },
    "close_drain": {
        "see": ["water_in_piping", "gauge_supply", "gauge_system", "gauge_prime"],
        "constraints": ["C13"],
        "caution": "watch_gauges",
    },
    "open_fully": {
        "see": ["gauge_supply", "gauge_system", "gauge_prime", "water_in_piping"],
        "constraints": ["C12"],
        "caution": "slowly",
        "readings": [
            ["turns", "turns", ""],
            ["supply_gauge", "pressure", "gauge_supply"],
        ],
        "items": [1, 2],
    },
    "alarm_line": {"constraints": ["C17"], "items": [9, 10]},
    "open_qod": {"see": ["qod", "water_in_piping"], "constraints": ["C14"], "items": [7]},
    "final_reset": {"see": PANEL_KEYS, "constraints": ["C18", "C19"], "items": [16]},
    "prove_alarm": {
        "see": PANEL_KEYS + ["gong", "water_in_piping"],
        "timers": ["alarm_seconds"],
    },
    "prove_reset": {"see": PANEL_KEYS + GAUGE_KEYS, "items": [16], "readings": GAUGES},
    "put_back": {"by": "person", "items": [17, 18]},
    "off_test": {"by": "person", "constraints": ["C20"], "items": [19]},
    "tell_owner": {"by": "person", "items": [20]},
    "recheck_low_points": {"by": "person"},
}

BEGIN = ["as_found", "permissions"]
# The release is proven with nothing behind the valve, so that no water leaves it.
NO_FLOW = ["confirm_may_shut", "shut_control", "drain_below"]
WITHOUT_FLOW = NO_FLOW + ["release_water_shut"]
BOTH_WITHOUT_FLOW = NO_FLOW + ["lose_air", "release_water_shut"]
TESTS: dict[str, dict[str, list[str]]] = {
    "wet_alarm_check": {
        "trip_test": [
            "inspectors_test",
            "inspectors_test_shut",
            "main_drain_test",
            "main_drain_shut",
        ],
        "no_flow_alarm_test": ["prove_alarm", "prove_reset"],
    },
    "wet_straight_pipe": {
        "trip_test": [
            "inspectors_test",
            "inspectors_test_shut",
            "main_drain_test",
            "main_drain_shut",
        ]
    },
    "dry": {
        "trip_test": ["main_drain_test", "main_drain_shut", "air_loss_trip"],
        "partial_trip_test": ["main_drain_test", "throttle", "air_loss_trip"],
    },
    "dry_qod": {
        "trip_test": ["main_drain_test", "main_drain_shut", "air_loss_trip"],
        "partial_trip_test": ["main_drain_test", "throttle", "air_loss_trip"],
    },
    "deluge_electric": {"trip_test": ["detection"], "no_flow_trip_test": WITHOUT_FLOW},
    "deluge_pneumatic": {"trip_test": ["operate_pilot"], "no_flow_trip_test": WITHOUT_FLOW},
    "deluge_hydraulic": {"trip_test": ["operate_pilot"], "no_flow_trip_test": WITHOUT_FLOW},
    "preaction_non_interlock": {
        "trip_test": ["detection", "flow"],
        "air_loss_trip_test": ["air_loss_trip"],
        "no_flow_trip_test": WITHOUT_FLOW,
    },
    "preaction_single_electric": {
        "trip_test": ["lose_air", "restore_air", "detection", "flow"],
        "no_flow_trip_test": WITHOUT_FLOW,
    },
    "preaction_single_pneumatic": {
        "trip_test": ["lose_air", "restore_air", "operate_pilot", "flow"],
        "no_flow_trip_test": WITHOUT_FLOW,
    },
    "preaction_double_electric_electric": {
        "trip_test": ["detection_alone", "detection_cleared", "lose_air", "detection", "flow"],
        "no_flow_trip_test": BOTH_WITHOUT_FLOW,
    },
    "preaction_double_electric_pneumatic": {
        "trip_test": ["detection_alone", "detection_cleared", "lose_air", "detection", "flow"],
        "no_flow_trip_test": BOTH_WITHOUT_FLOW,
    },
}
RESTORATION = [
    "confirm_may_shut",
    "shut_control",
    "open_drains",
    "stop_air",
    "clear_cause",
    "reset_clapper",
    "reset_qod",
    "drain_low_points",
    "close_outlets",
    "priming_water",
    "air",
    "reset_panel",
    "reset_solenoid",
    "prime_check",
    "crack_water",
    "close_drain",
    "open_fully",
    "alarm_line",
    "open_qod",
    "final_reset",
]
FINISH = ["prove_alarm", "prove_reset", "put_back", "off_test", "tell_owner", "recheck_low_points"]

# A step waits for the one before it in the list; these wait for others, so that two people work.
WAITS: dict[str, list[str]] = {
    "stop_air": ["shut_control", "release_water_shut"],
    "clear_cause": ["shut_control", "release_water_shut"],
    "reset_clapper": ["open_drains"],
    "reset_qod": ["open_drains"],
    "drain_low_points": ["open_drains", "reset_clapper", "stop_air"],
    "close_outlets": ["drain_low_points", "open_drains"],
    "priming_water": ["reset_clapper", "close_outlets"],
    "air": ["close_outlets", "priming_water", "clear_cause", "stop_air"],
    "reset_panel": ["clear_cause", "open_drains", "air"],
    "prime_check": [
        "clear_cause",
        "close_outlets",
        "air",
        "reset_panel",
        "reset_solenoid",
        "close_drain",
    ],
    "crack_water": [
        "clear_cause",
        "air",
        "prime_check",
        "reset_panel",
        "reset_qod",
        "close_outlets",
    ],
    "put_back": ["prove_reset"],
    "tell_owner": ["prove_reset"],
    "off_test": ["prove_reset"],
    "recheck_low_points": ["prove_reset"],
}


def tasks_of(config: Config) -> list[str]:
    """Return the tasks that the guide knows for a riser."""
    tasks: list[str] = []
    for task in TESTS[config.system_type]:
        tasks.append(task)
    return tasks + ["restoration"]


def codes_of(config: Config, task: str) -> list[str]:
    """Return the codes of the steps of a task, in their usual order.

    Raises
    ------
    ValueError
        When the riser has no such task.
    """
    if task not in tasks_of(config):
        raise ValueError(f"task: {task} is not one of {listed(tasks_of(config))}")
    codes: list[str] = []
    if task != "restoration":
        codes = codes + BEGIN + TESTS[config.system_type][task]
        if config.zones_required > 1 and "detection" in codes:
            codes = before(codes, "detection", "first_zone")
    if task == "restoration" or config.valve in ("dry", "prime"):
        codes = codes + restoration(config)
    else:
        codes = codes + ["put_back", "off_test", "tell_owner"]
    kept: list[str] = []
    for code in codes:
        if is_fitted(config, code) and code not in kept:
            kept.append(code)
    return kept


def restoration(config: Config) -> list[str]:
    """Return the restoration; prime that is fed from below the control valve comes with water."""
    codes = RESTORATION
    if config.prime_source == "downstream" and config.valve == "prime":
        moved: list[str] = []
        for code in codes:
            if code == "open_fully":
                moved.append("prime_check")
            if code != "prime_check":
                moved.append(code)
        codes = moved
    return codes + FINISH


def before(codes: list[str], at: str, code: str) -> list[str]:
    """Return the codes with one more put before another."""
    longer: list[str] = []
    for each in codes:
        if each == at:
            longer.append(code)
        longer.append(each)
    return longer


def is_fitted(config: Config, code: str) -> bool:
    """Tell whether a step means anything on a riser composed like this one."""
    if code in ("stop_air", "air"):
        return config.air or config.pilot
    if code in ("reset_clapper", "priming_water"):
        return config.valve == "dry"
    if code in ("reset_qod", "open_qod"):
        return config.has_qod
    if code in ("drain_low_points", "recheck_low_points"):
        return config.dry
    if code == "reset_panel":
        return config.has_detection
    if code == "reset_solenoid":
        return config.solenoid == "latching" and config.has_detection
    if code == "prime_check":
        return config.valve == "prime"
    return code != "alarm_line" or config.valve != "none"


def waits_for(codes: list[str], code: str) -> list[str]:
    """Return the codes, of those in the list, that must be done before this one."""
    earlier: list[str] = []
    previous: list[str] = []
    for each in codes:
        if each == code:
            break
        earlier.append(each)
        previous = [each]
    if code not in WAITS:
        return previous
    waited: list[str] = []
    for each in WAITS[code]:
        if each in earlier:
            waited.append(each)
    return waited if len(waited) > 0 else previous
