"""The state of a riser, and the acts that change it."""

# ruff: noqa: PERF401, RUF005 - the portable subset has neither comprehensions nor stars.

from typing import NamedTuple

from inspections.sequence.types import Config

NORMALLY_OPEN = [
    "alarm_line_valve",
    "air_supply_valve",
    "priming_supply_valve",
    "qod_isolation_valve",
]
NORMALLY_SHUT = [
    "inlet_drain",
    "system_drain",
    "test_connection",
    "alarm_test_valve",
    "manual_release",
    "pilot_head",
]


class State(NamedTuple):
    """A riser at one instant: psi gauge, seconds, percent open, feet of water.

    ``prime_psi`` and ``pilot_psi`` are None where there is no such chamber or line. ``hand`` holds
    the hand valves by name, true when open. ``latched`` is what the panel holds until its reset.
    ``water_frac`` is the part of the piping that is full, ``water_psi`` the pressure of that water.
    """

    supply_psi: float
    control_pct: float
    inlet_psi: float
    valve_open: bool
    prime_psi: float | None
    air_psi: float
    pilot_psi: float | None
    water_frac: float
    water_psi: float
    chamber_psi: float
    column_ft: float
    low_points_ok: bool
    qod_tripped: bool
    solenoid_latched_open: bool
    release_latched: bool
    disconnect: bool
    zones: list[str]
    manual_station: bool
    latched: list[str]
    sprinkler_open: bool
    hand: dict[str, bool]
    compressor_on: bool
    ac_power: bool
    flow_seconds: float
    trip_psi: float | None
    faults: list[str]
    hazards: list[str]


class Action(NamedTuple):
    """One act at the riser or one event that befalls it; only the fields of its kind count.

    ``pct`` percent open, ``psi`` gauge, ``s`` seconds, ``rate`` slow or fast.
    """

    kind: str
    what: str = ""
    pct: float = 0.0
    rate: str = "slow"
    zone: str = "z1"
    psi: float = 0.0
    on: bool = True
    fault: str = ""
    s: float = 0.0


def normal_state(config: Config) -> State:
    """Return the riser in service: set, supplied, everything in its normal position."""
    prime: float | None = None
    if config.valve == "prime":
        prime = config.supply
    pilot: float | None = None
    if config.pilot:
        pilot = config.pilot_set
    hand: dict[str, bool] = {}
    for name in NORMALLY_OPEN:
        hand[name] = True
    for name in NORMALLY_SHUT:
        hand[name] = False
    return State(
        supply_psi=config.supply,
        control_pct=100.0,
        inlet_psi=config.supply,
        valve_open=False,
        prime_psi=prime,
        air_psi=config.air_set if config.air else 0.0,
        pilot_psi=pilot,
        water_frac=0.0 if config.dry else 1.0,
        water_psi=0.0 if config.dry else config.supply,
        chamber_psi=0.0,
        column_ft=config.column_ft,
        low_points_ok=True,
        qod_tripped=False,
        solenoid_latched_open=False,
        release_latched=False,
        disconnect=False,
        zones=[],
        manual_station=False,
        latched=[],
        sprinkler_open=False,
        hand=hand,
        compressor_on=True,
        ac_power=True,
        flow_seconds=0.0,
        trip_psi=None,
        faults=[],
        hazards=[],
    )


def fitted(config: Config, name: str) -> bool:
    """Tell whether the hand valve or pilot sprinkler of that name exists on such a riser."""
    if name in ("alarm_test_valve", "alarm_line_valve"):
        return config.valve != "none"
    if name == "air_supply_valve":
        return config.air or config.pilot
    if name in ("priming_supply_valve", "manual_release"):
        return config.valve == "prime"
    if name == "qod_isolation_valve":
        return config.has_qod
    if name == "pilot_head":
        return config.pilot or config.vent == "wetpilot"
    return name in NORMALLY_SHUT


def is_open(config: Config, state: State, name: str) -> bool:
    """Tell whether a hand valve is fitted and open."""
    return fitted(config, name) and state.hand[name]


def with_hand(state: State, name: str, is_now_open: bool) -> State:
    """Return the state with one hand valve open or shut."""
    hand: dict[str, bool] = {}
    for each in state.hand:
        hand[each] = state.hand[each]
    hand[name] = is_now_open
    return state._replace(hand=hand)


def with_name(names: list[str], name: str) -> list[str]:
    """Return the names in order, this one among them once."""
    if name in names:
        return names
    return sorted(names + [name])


def without_name(names: list[str], name: str) -> list[str]:
    """Return the names without this one."""
    kept: list[str] = []
    for each in names:
        if each != name:
            kept.append(each)
    return kept
