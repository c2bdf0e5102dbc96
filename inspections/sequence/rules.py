"""What follows at once from where everything stands (rules R1 and R3 to R9)."""

from inspections.sequence.panel import latch, retard_of, vent_path_open
from inspections.sequence.state import State, is_open
from inspections.sequence.types import Config

PSI_PER_FT = 0.433  # hydrostatics of fresh water
# Shares and ratios below: orders of magnitude, common practice, no source.
RATIO_WITHOUT_DIFFERENTIAL = 1.1
SMALL_FLOW = 0.05
PARTLY_SHUT = 4.0
QOD_FALL_PSI_S = 0.4
LEAK = 0.7
BAD_LEAK = 0.3
PASSES = 40


def relaxed(config: Config, state: State) -> State:
    """Return the state after everything that happens at once has happened; no time passes."""
    passes = 0
    while passes < PASSES:
        after = one_pass(config, state)
        if after is state:
            return state
        state = after
        passes = passes + 1
    return state


def one_pass(config: Config, state: State) -> State:
    """Apply each rule once, in order."""
    state = inlet(config, state)
    state = water(config, state)
    if config.valve == "dry":
        state = dry_valve(config, chamber(config, state))
    elif state.prime_psi is not None:
        state = priming_valve(config, prime(config, state, state.prime_psi))
    flow = alarm_flow(config, state)
    if not flow and state.flow_seconds != 0.0:
        state = state._replace(flow_seconds=0.0)
    return latch(config, state, flow)


def outlet_open(config: Config, state: State) -> bool:
    """Tell whether the piping above the system valve is open anywhere."""
    return (
        state.sprinkler_open
        or state.hand["test_connection"]
        or state.hand["system_drain"]
        or config.open_nozzles
    )


def passes_up(config: Config, state: State) -> bool:
    """Tell whether water below can reach the piping."""
    return state.valve_open or config.valve == "none"


def fed(config: Config, state: State) -> bool:
    """Tell whether the piping is joined to a live supply."""
    return passes_up(config, state) and state.control_pct > 0.0 and state.inlet_psi > 0.0


def demand(config: Config, state: State) -> float:
    """Return the draw on the supply as a part of a wide-open main drain's (square of flow)."""
    if state.hand["inlet_drain"]:
        return 1.0
    if not passes_up(config, state) or state.water_frac < 1.0:
        return 0.0
    if state.hand["system_drain"] or config.open_nozzles:
        return 1.0
    if state.sprinkler_open or state.hand["test_connection"]:
        return SMALL_FLOW
    return 0.0


def inlet(config: Config, state: State) -> State:
    """R1: live pressure below the system valve, or what is trapped there.

    The loss grows with the square of the flow, the flow with the root of the pressure that is
    left: p = supply / (1 + (supply - residual) / residual * k * q), k = (100 / open)**2. It gives
    the residual at k = q = 1 and never falls to nothing while the control valve is cracked.
    """
    if state.control_pct <= 0.0:
        relieved = passes_up(config, state) and (
            outlet_open(config, state) or state.water_frac < 1.0
        )
        if state.inlet_psi != 0.0 and (state.hand["inlet_drain"] or relieved):
            return state._replace(inlet_psi=0.0)
        return state
    loss = (config.supply - config.residual) / max(config.residual, 1.0)
    travel = 100.0 / state.control_pct
    loss = loss * travel * travel * demand(config, state)
    if "supply_partly_shut" in state.faults:
        loss = loss * PARTLY_SHUT
    psi = state.supply_psi / (1.0 + loss)
    return state if psi == state.inlet_psi else state._replace(inlet_psi=psi)


def water(config: Config, state: State) -> State:
    """R7: pressure of the water above the system valve."""
    if state.low_points_ok and state.water_frac > 0.0 and config.dry:
        state = state._replace(low_points_ok=False)
    if config.valve == "alarm_check":
        state = alarm_check(config, state)
    if fed(config, state):
        return with_water(state, 0.0 if state.water_frac < 1.0 else state.inlet_psi)
    drained_below = state.valve_open and config.dry and state.hand["inlet_drain"]
    if state.water_frac < 1.0 or outlet_open(config, state) or drained_below:
        return with_water(state, 0.0)
    if config.valve == "alarm_check" and state.inlet_psi > state.water_psi:
        return with_water(state, state.inlet_psi)
    return state


def with_water(state: State, psi: float) -> State:
    """Return the state with this pressure of the water above the system valve."""
    return state if psi == state.water_psi else state._replace(water_psi=psi)


def with_prime(state: State, psi: float) -> State:
    """Return the state with this pressure in the priming chamber."""
    return state if psi == state.prime_psi else state._replace(prime_psi=psi)


def with_valve(state: State, is_now_open: bool) -> State:
    """Return the state with the system valve open or shut."""
    return state if is_now_open == state.valve_open else state._replace(valve_open=is_now_open)


def alarm_check(config: Config, state: State) -> State:
    """R6 for the alarm check valve: open while water flows upward."""
    drawn = outlet_open(config, state) or (state.water_frac < 1.0 and state.control_pct > 0.0)
    return with_valve(state, drawn and state.inlet_psi > 0.0)


def chamber(config: Config, state: State) -> State:
    """Pressure between the two seats of a dry valve: a leaking seat and a plugged drain fill it."""
    leaking = "water_seat_leaking" in state.faults and "auto_drain_plugged" in state.faults
    psi = state.inlet_psi if leaking else 0.0
    return state if psi == state.chamber_psi else state._replace(chamber_psi=psi)


def outlet_psi(config: Config, state: State) -> float:
    """Return the pressure just above an open priming or dry valve, psi gauge; 0 when shut."""
    if not state.valve_open:
        return 0.0
    return max(state.water_psi, state.inlet_psi)


def venting(config: Config, state: State) -> bool:
    """R5: tell whether the priming chamber is held empty, by a vent or by its hydraulic latch."""
    if "pressure_relief_stuck_open" in state.faults:
        return True
    held = (
        state.valve_open
        and latches(config, state)
        and max(outlet_psi(config, state), state.water_psi) > 0.0
    )
    return held or vent_path_open(config, state)


def latches(config: Config, state: State) -> bool:
    """Tell whether the pressure-operated relief keeps the chamber vented while the valve is up."""
    return config.reclose == "hydraulic_latch" and "pressure_relief_failed" not in state.faults


def prime_feed_psi(config: Config, state: State) -> float:
    """Return the pressure that reaches the priming valve, psi gauge."""
    if config.prime_source == "downstream":
        return state.inlet_psi
    return state.supply_psi


def prime(config: Config, state: State, held_psi: float) -> State:
    """R5: the vent beats the orifice; the check holds the prime when the supply fails."""
    if venting(config, state):
        return with_prime(state, 0.0)
    kept = 1.0
    if "solenoid_leaking" in state.faults or "pressure_relief_leaking" in state.faults:
        kept = LEAK
    if "solenoid_leaking_badly" in state.faults:
        kept = BAD_LEAK
    feed = 0.0
    if state.hand["priming_supply_valve"] and "priming_orifice_plugged" not in state.faults:
        feed = prime_feed_psi(config, state)
    if kept < 1.0:
        return with_prime(state, feed * kept)
    return with_prime(state, max(held_psi, feed))


def priming_valve(config: Config, state: State) -> State:
    """R6: open or close a valve that its priming chamber holds."""
    if "valve_stuck_closed" in state.faults and not state.valve_open:
        return state
    low = state.prime_psi is not None and state.prime_psi < config.prime_hold * state.inlet_psi
    if not state.valve_open:
        return with_valve(state, low and state.inlet_psi > 0.0)
    gone = max(outlet_psi(config, state), state.water_psi) <= 0.0
    rests = state.inlet_psi <= 0.0 and not vent_path_open(config, state)
    primed = state.prime_psi is not None and state.prime_psi > 0.0
    shut = rests or (primed and not low)
    if shut and (gone or not latches(config, state)):
        return state._replace(valve_open=False)
    return state


def ratio_now(config: Config, state: State) -> float:
    """Return the differential that counts: nearly none once the intermediate chamber has filled."""
    dumped = state.qod_tripped and state.hand["qod_isolation_valve"]
    if state.chamber_psi > 0.0 or dumped:
        return RATIO_WITHOUT_DIFFERENTIAL
    return config.ratio


def trip_point_psi(config: Config, state: State) -> float:
    """Return the air pressure at which a dry valve lets go, psi gauge; below 0 it cannot."""
    return state.inlet_psi / ratio_now(config, state) - PSI_PER_FT * state.column_ft


def dry_valve(config: Config, state: State) -> State:
    """R3 and R6 for the differential dry valve and its quick-opening device."""
    if state.valve_open or "valve_stuck_closed" in state.faults:
        return state
    if state.inlet_psi > 0.0 and state.air_psi <= trip_point_psi(config, state):
        return state._replace(valve_open=True, trip_psi=state.air_psi)
    return state


def alarm_flow(config: Config, state: State) -> bool:
    """R8: tell whether pressure or flow stands at the waterflow switch."""
    if config.valve == "none":
        return vane_flow(config, state)
    if "alarm_line_blocked" in state.faults:
        return False
    if state.hand["alarm_test_valve"] and state.supply_psi > 0.0:
        return True
    if config.switch_interruptible and not state.hand["alarm_line_valve"]:
        return False
    if config.valve == "alarm_check":
        return state.valve_open and state.inlet_psi > 0.0
    return state.chamber_psi > 0.0 or outlet_psi(config, state) > 0.0


def vane_flow(config: Config, state: State) -> bool:
    """Tell whether water moves the vane of a straight-pipe riser."""
    if "vane_stuck" in state.faults or not fed(config, state):
        return False
    drawn = state.sprinkler_open or state.hand["test_connection"] or state.water_frac < 1.0
    return drawn or (state.hand["system_drain"] and config.drain_above_switch)


def gong_rings(config: Config, state: State) -> bool:
    """Tell whether the mechanical waterflow bell rings."""
    timed = state.flow_seconds >= retard_of(config, state)
    return config.valve != "none" and timed and alarm_flow(config, state)


def air_escapes(config: Config, state: State) -> bool:
    """Tell whether gas leaves the piping through something open."""
    clapper_up = config.valve == "dry" and state.valve_open and not fed(config, state)
    return outlet_open(config, state) or (clapper_up and state.hand["inlet_drain"])


def draining(config: Config, state: State) -> bool:
    """Tell whether water runs out of the piping through a drain."""
    if fed(config, state) or state.water_frac <= 0.0:
        return False
    if not config.dry:
        return state.hand["system_drain"]
    below = state.valve_open and state.hand["inlet_drain"]
    return state.hand["system_drain"] or state.hand["test_connection"] or below


def sprays(config: Config, state: State) -> str:
    """Return what leaves an open sprinkler, nozzle or outlet: none, air or water."""
    if fed(config, state) and state.water_frac >= 1.0:
        return "water"
    if config.dry and not config.open_nozzles and state.water_frac > 0.0:
        return "air" if fed(config, state) else "water"
    if not config.air:
        return "none"
    if state.air_psi > 0.0 or (air_feeds(config, state) and not state.water_frac > 0.0):
        return "air"
    return "none"


def air_feeds(config: Config, state: State) -> bool:
    """Tell whether the air supply can deliver: valve open, machine on, powered and sound."""
    return (
        is_open(config, state, "air_supply_valve")
        and state.compressor_on
        and state.ac_power
        and "compressor_failed" not in state.faults
    )
