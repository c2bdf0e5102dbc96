"""What changes with time: pressures, fill and the retard, exactly from one event to the next.

Every rate is constant between events, so the next event is a division away and no step size
enters. The rates are orders of magnitude (common practice, no source); only their order matters:
open outlet, then air supply, then slow leak.
"""

# ruff: noqa: PERF401 - the portable subset has neither comprehensions nor stars.

from inspections.sequence.panel import LOW_PILOT_PART, pipe_psi, retard_of
from inspections.sequence.rules import (
    QOD_FALL_PSI_S,
    air_escapes,
    air_feeds,
    alarm_flow,
    draining,
    fed,
    relaxed,
    trip_point_psi,
)
from inspections.sequence.state import State
from inspections.sequence.types import Config

EXHAUST_PSI_S = 1.0
SUPPLY_PSI_S = 0.1
SLOW_LEAK_PSI_S = 0.05
BEYOND_SUPPLY_PSI_S = 0.2
FILL_S = 30.0
DRAIN_S = 30.0
EDGE = 1e-6
TINY = 1e-9
MOST_EVENTS = 400
FULL_OR_EMPTY = [0.0, 1.0]


def air_loss(config: Config, state: State) -> float:
    """Return the gas leaving the piping, psi/s."""
    if not config.air:
        return 0.0
    loss = 0.0
    if "air_leak_slow" in state.faults or "air_seat_leaking" in state.faults:
        loss = loss + SLOW_LEAK_PSI_S
    if "air_leak_beyond_supply" in state.faults:
        loss = loss + BEYOND_SUPPLY_PSI_S
    if air_escapes(config, state):
        loss = loss + EXHAUST_PSI_S
    return loss


def compressor_runs(config: Config, state: State) -> bool:
    """Tell whether the air supply is working at this instant."""
    if not air_feeds(config, state):
        return False
    if state.pilot_psi is not None and state.pilot_psi < config.pilot_set:
        return True
    if not config.air or state.water_psi >= config.air_set:
        return False
    return state.air_psi < config.air_set or (
        state.air_psi <= config.air_set and air_loss(config, state) > 0.0
    )


def air_rate(config: Config, state: State) -> float:
    """Return the change of air pressure, psi/s; the supply stops at its set point."""
    loss = air_loss(config, state)
    gain = 0.0
    topped = max(state.air_psi, state.water_psi) >= config.air_set
    if config.air and air_feeds(config, state):
        if state.air_psi == config.air_set:
            return min(0.0, SUPPLY_PSI_S - loss) if state.water_psi < config.air_set else -loss
        if not topped:
            gain = SUPPLY_PSI_S
    if state.air_psi <= 0.0 and loss >= gain:
        return 0.0
    return gain - loss


def pilot_rate(config: Config, state: State) -> float:
    """Return the change of pilot air pressure, psi/s.

    The pilot line is fed through a restriction: a leak of its own outruns it.
    """
    if state.pilot_psi is None:
        return 0.0
    rate = 0.0
    if state.hand["pilot_head"]:
        rate = -EXHAUST_PSI_S
    elif "pilot_leak_slow" in state.faults:
        rate = -SLOW_LEAK_PSI_S
    elif air_feeds(config, state) and state.pilot_psi < config.pilot_set:
        rate = SUPPLY_PSI_S
    if state.pilot_psi <= 0.0 and rate < 0.0:
        return 0.0
    return rate


def fill_rate(config: Config, state: State) -> float:
    """Return the change of the part of the piping that is full, 1/s."""
    if fed(config, state):
        if state.water_frac < 1.0:
            return state.control_pct / 100.0 / FILL_S
        return 0.0
    if draining(config, state):
        return -1.0 / DRAIN_S
    return 0.0


def retard_rate(config: Config, state: State) -> float:
    """Return 1 while the retard is counting flow, else 0, s/s."""
    if state.flow_seconds < retard_of(config, state) and alarm_flow(config, state):
        return 1.0
    return 0.0


def seconds_to(value: float, rate: float, targets: list[float], limit: float) -> float:
    """Return the seconds until the value meets the first target in its way, at most the limit."""
    span = limit
    for target in targets:
        if rate != 0.0 and (target - value) / rate > TINY:
            span = min(span, (target - value) / rate)
    return span


def moved(value: float, rate: float, span: float, targets: list[float]) -> float:
    """Return the value after a span; a target is met exactly, so that its event is seen."""
    if rate == 0.0:
        return value
    after = value + rate * span
    for target in targets:
        if after != target and target - TINY < after < target + TINY:
            return target
    return after


def air_targets(config: Config, state: State, rate: float) -> list[float]:
    """Return the air pressures at which something happens, in the direction of the change."""
    points = [
        config.low_air,
        config.high_air,
        config.low_air_interlock,
        config.actuator_trip,
        trip_point_psi(config, state),
    ]
    targets = [0.0, config.air_set]
    for point in points:
        targets.append(point + EDGE if rate > 0.0 else point)
    return targets


def pilot_targets(config: Config, rate: float) -> list[float]:
    """Return the pilot pressures at which something happens, in the direction of the change."""
    targets = [0.0, config.pilot_set]
    for point in [config.pilot_trip, LOW_PILOT_PART * config.pilot_set]:
        targets.append(point + EDGE if rate > 0.0 else point)
    return targets


def begun(config: Config, state: State) -> State:
    """Return the settled instant, a quick-opening device having felt the fall that begins."""
    state = relaxed(config, state)
    if not config.has_qod or state.qod_tripped:
        return state
    falls = -air_rate(config, state) > QOD_FALL_PSI_S
    able = state.hand["qod_isolation_valve"] and "qod_failed" not in state.faults
    if falls and able:
        return relaxed(config, state._replace(qod_tripped=True))
    return state


def to_next_event(config: Config, state: State, limit: float) -> tuple[float, State]:
    """Return the seconds to the next event (at most the limit) and the state there."""
    air = air_rate(config, state)
    pilot = pilot_rate(config, state)
    fill = fill_rate(config, state)
    retard = retard_rate(config, state)
    if air == 0.0 and pilot == 0.0 and fill == 0.0 and retard == 0.0:
        return limit, state
    at_air: list[float] = []
    at_pilot: list[float] = []
    span = limit
    if air != 0.0:
        at_air = air_targets(config, state, air)
        span = seconds_to(state.air_psi, air, at_air, span)
    if pilot != 0.0 and state.pilot_psi is not None:
        at_pilot = pilot_targets(config, pilot)
        span = seconds_to(state.pilot_psi, pilot, at_pilot, span)
    if fill != 0.0:
        span = seconds_to(state.water_frac, fill, FULL_OR_EMPTY, span)
    if retard != 0.0:
        span = seconds_to(state.flow_seconds, retard, [retard_of(config, state)], span)
    after = state._replace(
        air_psi=moved(state.air_psi, air, span, at_air),
        water_frac=moved(state.water_frac, fill, span, FULL_OR_EMPTY),
        flow_seconds=moved(state.flow_seconds, retard, span, [retard_of(config, state)]),
        pilot_psi=state.pilot_psi
        if pilot == 0.0 or state.pilot_psi is None
        else moved(state.pilot_psi, pilot, span, at_pilot),
    )
    return span, begun(config, after)


def advance(config: Config, state: State, dt: float) -> State:
    """Return the state dt seconds later; exact, since every rate is constant between events.

    Parameters
    ----------
    config, state
        The riser and where it stands.
    dt
        Seconds, >= 0.
    """
    left = dt
    state = begun(config, state)
    while left > TINY:
        span, state = to_next_event(config, state, left)
        left = left - span
    return state


def at_rest(config: Config, state: State) -> bool:
    """Tell whether nothing changes any more."""
    return (
        air_rate(config, state) == 0.0
        and pilot_rate(config, state) == 0.0
        and fill_rate(config, state) == 0.0
        and retard_rate(config, state) == 0.0
    )


def settle(config: Config, state: State) -> State:
    """Return the state when nothing changes any more."""
    state = begun(config, state)
    events = 0
    while events < MOST_EVENTS and not at_rest(config, state):
        state = to_next_event(config, state, 1e6)[1]
        events = events + 1
    return state


def seconds_until(config: Config, state: State, signal: str) -> float | None:
    """Return the seconds until a signal is held by the panel, or None when it never comes.

    Parameters
    ----------
    signal
        Name as in `live_signals`; only signals that latch can be waited for.
    """
    state = begun(config, state)
    passed = 0.0
    events = 0
    while events < MOST_EVENTS and signal not in state.latched:
        if at_rest(config, state):
            return None
        span, state = to_next_event(config, state, 1e6)
        passed = passed + span
        events = events + 1
    return passed if signal in state.latched else None


def high_side_psi(config: Config, state: State) -> float:
    """Return what the system gauge shows, psi gauge: air, or water once the piping holds it."""
    if state.water_frac > 0.0 and fed(config, state):
        return state.inlet_psi
    return pipe_psi(state)
