"""System types as data: which pieces a riser is composed of, and its set points.

Adding a type is adding a row to `TYPES`. The set points are round figures (common practice, no
source) which the record of a riser overrides; they are configuration, never constants.
"""

from typing import Any, NamedTuple

COMMON: dict[str, Any] = {
    "valve": "prime",
    "dry": True,
    "air": False,
    "vent": "",
    "pilot": False,
    "open_nozzles": False,
    "has_detection": False,
    "interlock": "",
    "has_qod": False,
    "supply": 100.0,
    "residual": 80.0,
    "turns": 10,
    "prime_hold": 0.5,
    "ratio": 5.5,
    "air_set": 40.0,
    "low_air": 30.0,
    "high_air": 60.0,
    "high_air_switch": True,
    "low_air_interlock": 20.0,
    "pilot_set": 30.0,
    "pilot_trip": 15.0,
    "actuator_trip": 10.0,
    "retard": 20.0,
    "solenoid": "NC",
    "zones_required": 1,
    "drain_above_switch": True,
    "reclose": "hydraulic_latch",
    "supv_latching": True,
    "switch_interruptible": True,
    "prime_source": "upstream",
    "column_ft": 0.0,
    "room_switch": False,
}

TYPES: dict[str, dict[str, Any]] = {
    "wet_alarm_check": {"valve": "alarm_check", "dry": False},
    "wet_straight_pipe": {"valve": "none", "dry": False, "retard": 40.0},
    "dry": {"valve": "dry", "air": True},
    "dry_qod": {"valve": "dry", "air": True, "has_qod": True},
    "deluge_electric": {"open_nozzles": True, "has_detection": True, "vent": "solenoid"},
    "deluge_pneumatic": {"open_nozzles": True, "vent": "pilot", "pilot": True},
    "deluge_hydraulic": {"open_nozzles": True, "vent": "wetpilot"},
    "preaction_non_interlock": {"air": True, "has_detection": True, "vent": "solenoid|actuator"},
    "preaction_single_electric": {
        "air": True,
        "has_detection": True,
        "vent": "solenoid",
        "air_set": 10.0,
        "low_air": 6.0,
        "high_air": 20.0,
    },
    "preaction_single_pneumatic": {
        "air": True,
        "vent": "pilot",
        "pilot": True,
        "air_set": 10.0,
        "low_air": 6.0,
        "high_air": 20.0,
    },
    "preaction_double_electric_electric": {
        "air": True,
        "has_detection": True,
        "vent": "solenoid",
        "interlock": "panel",
    },
    "preaction_double_electric_pneumatic": {
        "air": True,
        "has_detection": True,
        "vent": "solenoid&actuator",
    },
}

CHOICES: dict[str, list[str]] = {
    "valve": ["alarm_check", "none", "dry", "prime"],
    "vent": [
        "",
        "solenoid",
        "pilot",
        "wetpilot",
        "solenoid|actuator",
        "solenoid&actuator",
    ],
    "interlock": ["", "panel"],
    "solenoid": ["NC", "NO", "latching"],
    "reclose": ["hydraulic_latch", "self_reclosing"],
    "prime_source": ["upstream", "downstream"],
}

USUAL_RESIDUAL_PART = 0.8
LARGEST = 100000
POSITIVE = ["supply", "turns", "ratio", "zones_required", "prime_hold"]


class Config(NamedTuple):
    """One riser: its type's pieces and its set points (psi gauge, s, ft, turns).

    ``vent`` names what empties the priming chamber: ``|`` either, ``&`` both in series.
    ``prime_hold`` is the part of the inlet pressure that the chamber needs to hold the valve;
    ``ratio`` the water to air differential of a dry valve; ``retard`` the seconds of unbroken
    waterflow before the alarm of a wet riser; ``residual`` the supply gauge with the main drain
    and the control valve wide open.
    """

    system_type: str
    valve: str
    dry: bool
    air: bool
    vent: str
    pilot: bool
    open_nozzles: bool
    has_detection: bool
    interlock: str
    has_qod: bool
    supply: float
    residual: float
    turns: float
    prime_hold: float
    ratio: float
    air_set: float
    low_air: float
    high_air: float
    high_air_switch: bool
    low_air_interlock: float
    pilot_set: float
    pilot_trip: float
    actuator_trip: float
    retard: float
    solenoid: str
    zones_required: float
    drain_above_switch: bool
    reclose: str
    supv_latching: bool
    switch_interruptible: bool
    prime_source: str
    column_ft: float
    room_switch: bool


def make_config(system_type: str, overrides: dict[str, Any]) -> Config:
    """Compose the configuration of a riser.

    Parameters
    ----------
    system_type
        A key of `TYPES`.
    overrides
        What the record of this riser says otherwise: a key of `COMMON` each, psi, s, ft or turns.

    Raises
    ------
    ValueError
        When the type, a key or a value is not accepted; the text names field, value and range.
    """
    if system_type not in TYPES:
        raise ValueError(f"system_type: {system_type} is not one of {listed(TYPES)}")
    table: dict[str, Any] = {}
    for key in COMMON:
        table[key] = COMMON[key]
    for key in TYPES[system_type]:
        table[key] = TYPES[system_type][key]
    for key in overrides:
        check_override(key, overrides[key])
        table[key] = overrides[key]
    if "residual" not in overrides and table["residual"] > table["supply"]:
        table["residual"] = USUAL_RESIDUAL_PART * table["supply"]
    if table["residual"] > table["supply"]:
        raise ValueError(
            f"residual: {table['residual']} psi is above the supply; accepted: "
            f"0 to {table['supply']}"
        )
    return composed(system_type, table)


def check_override(key: str, value: Any) -> None:
    """Refuse a key or value that no riser can have.

    Raises
    ------
    ValueError
        With field, value and what is accepted.
    """
    if key not in COMMON:
        raise ValueError(f"{key}: not a field of the configuration; accepted: {listed(COMMON)}")
    if key in CHOICES:
        if value not in CHOICES[key]:
            raise ValueError(f"{key}: {value} is not one of {listed(CHOICES[key])}")
        return
    if isinstance(COMMON[key], bool):
        if value is not True and value is not False:
            raise ValueError(f"{key}: {value} is not accepted; accepted: true, false")
        return
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not number or not 0.0 <= value <= LARGEST or (key in POSITIVE and value == 0.0):
        least = "0"
        if key in POSITIVE:
            least = "more than 0"
        raise ValueError(
            f"{key}: {value} is not accepted; accepted: a number, {least} to {LARGEST}"
        )


def listed(names: Any) -> str:
    """Return names in one line, separated by commas."""
    text = ""
    for name in names:
        if text != "":
            text = text + ", "
        text = text + name
    return text


def composed(system_type: str, table: dict[str, Any]) -> Config:
    """Return the record that a full table of fields describes."""
    return Config(
        system_type=system_type,
        valve=table["valve"],
        dry=table["dry"],
        air=table["air"],
        vent=table["vent"],
        pilot=table["pilot"],
        open_nozzles=table["open_nozzles"],
        has_detection=table["has_detection"],
        interlock=table["interlock"],
        has_qod=table["has_qod"],
        supply=table["supply"],
        residual=table["residual"],
        turns=table["turns"],
        prime_hold=table["prime_hold"],
        ratio=table["ratio"],
        air_set=table["air_set"],
        low_air=table["low_air"],
        high_air=table["high_air"],
        high_air_switch=table["high_air_switch"],
        low_air_interlock=table["low_air_interlock"],
        pilot_set=table["pilot_set"],
        pilot_trip=table["pilot_trip"],
        actuator_trip=table["actuator_trip"],
        retard=table["retard"],
        solenoid=table["solenoid"],
        zones_required=table["zones_required"],
        drain_above_switch=table["drain_above_switch"],
        reclose=table["reclose"],
        supv_latching=table["supv_latching"],
        switch_interruptible=table["switch_interruptible"],
        prime_source=table["prime_source"],
        column_ft=table["column_ft"],
        room_switch=table["room_switch"],
    )
