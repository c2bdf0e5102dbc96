"""Every settled state of a riser that its own acts lead to, and what must hold in all of them.

Times are left out: after each act the riser settles. The acts are those of its trip tests and
its restoration, with the single events that befall it; a riser's states under them are finite, so
that the search ends by itself.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from inspections.sequence.acts import effect, hazards_of
from inspections.sequence.alphabet import alphabet
from inspections.sequence.constraints import warnings_before
from inspections.sequence.diagnosis import always
from inspections.sequence.guide import guide
from inspections.sequence.motion import settle
from inspections.sequence.panel import pipe_psi, vent_path_open
from inspections.sequence.ready import is_ready
from inspections.sequence.state import Action, State, normal_state
from inspections.sequence.steps import tasks_of
from inspections.sequence.types import Config

Step = Callable[[Config, State, Action], State]
_EVENTS = ("fuse_sprinkler", "replace_sprinkler", "detector_alarm", "detector_clear")
_BY_HAND = ("manual_release", "pilot_head")
# What happens to a riser, or is done to test it; everything else restores it.
_TESTING = (
    *("fuse_sprinkler", "detector_alarm", "pull_station", "open", "ac_power", "compressor"),
    *("set_supply", "start_fault", "clear_fault"),
)
_COUNTED_PCT = (0.0, 10.0, 100.0)


class Edge(NamedTuple):
    """One act from one settled state to the next."""

    before: State
    action: Action
    after: State


class Explored(NamedTuple):
    """What a search found: how many states, transitions and acts deep; whether it came to an end.

    ``broken`` holds the first transitions that break an invariant, by its name.
    """

    states: int
    transitions: int
    depth: int
    closed: bool
    broken: dict[str, list[Edge]]


def own_acts(config: Config) -> list[Action]:
    """Return the acts of a riser's trip tests and restoration, and the events that befall it."""
    steps = [step for task in tasks_of(config) for step in guide(config, task)]
    from_guide = [action for step in steps for action in step.acts]
    events = [one for one in alphabet(config) if one.kind in _EVENTS or one.what in _BY_HAND]
    found: list[Action] = []
    for one in [*from_guide, *events, Action("control_valve", pct=100.0)]:
        counted = one.kind != "control_valve" or one.pct in _COUNTED_PCT
        if counted and one.kind != "settle" and one not in found:
            found.append(one)
    return found


def explore(
    config: Config,
    acts: list[Action],
    *,
    faults: list[str] | None = None,
    deepest: int | None = None,
    step: Step = effect,
    go_on: Callable[[], bool] = always,
) -> Explored:
    """Search every settled state and check every transition.

    Parameters
    ----------
    config
        The riser.
    acts
        What can be done from every state.
    faults
        Faults laid in from the start; what a release needs is then not asked.
    deepest
        Acts from normal; None searches until nothing new is met.
    step
        What an act does by itself: the model's `effect`, or a broken variant of it.
    go_on
        Asked once for each state; the search ends early at the first no.
    """
    start = settle(config, normal_state(config)._replace(faults=faults or []))
    numbers = {key_of(start): 0}
    edge, depth, transitions = [start], 0, 0
    back: list[list[int]] = [[]]
    normal = [0] if is_ready(config, start) else []
    broken: dict[str, list[Edge]] = {}
    closed = True
    while edge and (deepest is None or depth < deepest):
        fresh: list[State] = []
        depth += 1
        for state in edge:
            if not go_on():
                closed, fresh = False, []
                break
            here = numbers[key_of(state)]
            for action in acts:
                transitions += 1
                changed = step(config, state, action)
                if changed == state:
                    continue
                after = settle(config, changed)
                for name in broken_by(config, state, action, after):
                    broken.setdefault(name, []).append(Edge(state, action, after))
                key = key_of(after)
                there = numbers.setdefault(key, len(numbers))
                if there == len(back):
                    back.append([])
                    fresh.append(after)
                    if is_ready(config, after):
                        normal.append(there)
                back[there].append(here)
        edge = fresh
    closed = closed and not edge
    if closed and not faults and _reached_from(normal, back) < len(back):
        broken["normal_is_reachable"] = []
    return Explored(len(numbers), transitions, depth, closed, broken)


def key_of(state: State) -> tuple[object, ...]:
    """Return a state as something that can be looked up, without its history."""
    return (
        *state[:16],
        *(tuple(state.zones), state.manual_station, tuple(state.latched), state.sprinkler_open),
        *(tuple(state.hand.values()), state.compressor_on, state.ac_power, tuple(state.faults)),
    )


def _reached_from(places: list[int], back: list[list[int]]) -> int:
    """Count the states from which a way leads to one of these places."""
    seen = set(places)
    edge = list(seen)
    while edge:
        edge = [one for place in edge for one in back[place] if one not in seen]
        edge = list(dict.fromkeys(edge))
        seen.update(edge)
    return len(seen)


def broken_by(config: Config, before: State, action: Action, after: State) -> Iterator[str]:
    """Yield the names of the invariants that a transition breaks."""
    wet = config.dry and after.water_frac > before.water_frac
    opened = after.valve_open and not before.valve_open and config.valve in ("dry", "prime")
    if after.prime_psi and vent_path_open(config, after):
        yield "no_prime_while_a_vent_is_open"
    if not _bounded(config, before, after):
        yield "pressures_and_fill_are_bounded"
    surged = after.supply_psi > config.supply or before.supply_psi > config.supply
    if not (wet or opened) or after.faults or surged:
        return
    hazards = hazards_of(config, before, action)
    if not released(config, before, after) and not hazards:
        yield "water_only_after_release" if wet else "trips_only_when_released"
        if config.vent == "solenoid" and not config.interlock:
            yield "air_loss_alone_never_trips_single_electric"
    restores = action.kind not in _TESTING
    if restores and wet and not warnings_before(config, before, action):
        yield "no_accepted_restoration_act_lets_water_in"


def _bounded(config: Config, before: State, after: State) -> bool:
    most = max(config.supply, after.supply_psi, before.inlet_psi, before.water_psi)
    return (
        0.0 <= after.air_psi <= max(config.air_set, before.air_psi)
        and 0.0 <= after.water_frac <= 1.0
        and 0.0 <= after.inlet_psi <= most
        and 0.0 <= after.water_psi <= most
    )


def released(config: Config, before: State, after: State) -> bool:
    """Tell whether this type's release conditions are met, or its manual release is open."""
    if after.hand["manual_release"]:
        return True
    detection = after.release_latched or before.release_latched
    low = min(pipe_psi(before), pipe_psi(after)) <= config.low_air or "low_air" in after.latched
    if config.valve == "dry":
        return low or after.qod_tripped
    if config.vent in ("pilot", "wetpilot"):
        return after.hand["pilot_head"] or (after.pilot_psi or 0.0) <= config.pilot_trip
    if config.vent == "solenoid|actuator":
        return detection or low
    if config.vent == "solenoid&actuator" or config.interlock:
        return detection and low
    return detection
