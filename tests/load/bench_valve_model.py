"""How fast the valve model is: transitions, the search of all states, and a diagnosis.

`make bench ARGS="-k valve_model"`. Figures are printed beside a floor measured in the same run: the
copy of a state with one field changed, which every transition makes at least once.
"""

import random
import sys
import time
from collections.abc import Callable

from inspections.sequence.acts import act
from inspections.sequence.alphabet import alphabet, faults_of
from inspections.sequence.checks import next_checks
from inspections.sequence.diagnosis import OBSERVABLE, Record, diagnose
from inspections.sequence.explore import explore, own_acts
from inspections.sequence.hypotheses import injected
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import TYPES, Config, make_config

WALK = 3_000
TRIP = [
    Action("open", what="test_connection"),
    Action("wait", s=30.0),
    Action("detector_alarm"),
    Action("settle"),
    Action("control_valve", pct=0.0),
    Action("open", what="inlet_drain"),
    Action("detector_clear"),
    Action("panel_reset"),
]


def say(*words: object) -> None:
    """Write one line at once."""
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def bench_valve_model() -> None:
    """Print transitions a second, seconds of the search, milliseconds of a diagnosis."""
    floor = _floor()
    say(f"floor, a state copied with one field changed: {1 / floor:,.0f} a second")
    _transitions(floor)
    _search(floor)
    _diagnoses(floor)


def _cpu(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def _floor() -> float:
    state = normal_state(make_config("dry", {}))

    def copies() -> None:
        for number in range(WALK):
            state._replace(control_pct=float(number))

    return min(_cpu(copies) for _ in range(5)) / WALK


def _transitions(floor: float) -> None:
    rng = random.Random(1)
    spent = 0.0
    for name in TYPES:
        config = make_config(name, {})
        acts = rng.choices(alphabet(config), k=WALK)

        def walk(config: Config = config, acts: list[Action] = acts) -> None:
            state = settle(config, normal_state(config))
            for one in acts:
                state = act(config, state, one)

        took = _cpu(walk)
        spent += took
        say(f"  {name}: {WALK / took:,.0f} acts a second")
    each = spent / WALK / len(TYPES)
    say(f"acts, one second each: {1 / each:,.0f} a second, {each / floor:.0f} times the floor")


def _search(floor: float) -> None:
    states = transitions = 0
    begin = time.process_time()
    for name in TYPES:
        config = make_config(name, {})
        begun = time.process_time()
        found = explore(config, own_acts(config))
        states, transitions = states + found.states, transitions + found.transitions
        ended = "to its end" if found.closed else "not ended"
        say(
            f"  {name}: {found.states:,} settled states, {found.transitions:,} transitions,"
            f" {found.depth} acts deep, {ended}, {time.process_time() - begun:.1f} s"
        )
    took = time.process_time() - begin
    say(
        f"search of all types: {states:,} states, {transitions:,} transitions, {took:.1f} s,"
        f" {transitions / took:,.0f} a second, {took / transitions / floor:.0f} times the floor"
    )


def _diagnoses(floor: float) -> None:
    single, pair, checks = [], [], []
    for name in TYPES:
        config = make_config(name, {})
        for fault in faults_of(config):
            record = _record(config, [fault])
            single.append(_cpu(lambda c=config, r=record: diagnose(c, r, 1)))  # type: ignore[misc]
            found = diagnose(config, record, 1).explanations
            checks.append(_cpu(lambda c=config, f=found: next_checks(c, f, {})))  # type: ignore[misc]
        twice = _record(config, ["tamper_switch_failed", "supply_partly_shut"])
        pair.append(_cpu(lambda c=config, r=twice: diagnose(c, r, 2)))  # type: ignore[misc]
    for what, took in (("singles", single), ("pairs", pair), ("next checks", checks)):
        mean = sum(took) / len(took)
        say(
            f"diagnosis of {len(TRIP)} acts, {what}: {mean * 1000:.0f} ms mean,"
            f" {max(took) * 1000:.0f} ms worst of {len(took)}, {mean / floor:,.0f} times the floor"
        )


def _record(config: Config, causes: list[str]) -> Record:
    state = settle(config, injected(config, settle(config, normal_state(config)), causes, 0.0))
    acts = TRIP if config.has_detection else [one for one in TRIP if "detector" not in one.kind]
    seen = [_seen(config, state)]
    for one in acts:
        state = act(config, state, one)
        seen.append(_seen(config, state))
    return Record(acts, seen, {})


def _seen(config: Config, state: object) -> dict[str, object]:
    shown = observe(config, state)  # type: ignore[arg-type]
    return {key: value for key, value in shown.items() if key in OBSERVABLE}
