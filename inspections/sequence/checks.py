"""The next check: what to look at or do so that the explanations that are left come apart."""

# ruff: noqa: PERF401, RUF005 - the portable subset has neither comprehensions nor stars.

import math
from typing import Any, NamedTuple

from inspections.sequence.constraints import warnings_before
from inspections.sequence.diagnosis import OBSERVABLE, POSITION, Explanation, acted, position_of
from inspections.sequence.guide import agrees, is_number
from inspections.sequence.observe import observe
from inspections.sequence.state import (
    NORMALLY_OPEN,
    NORMALLY_SHUT,
    Action,
    State,
    fitted,
    normal_state,
)
from inspections.sequence.step_acts import detection_acts, main_drain
from inspections.sequence.types import Config

MOST_EXPLANATIONS = 12
# Nothing that two gauges' readings may differ by tells two explanations apart.
APART = 2.0


class Check(NamedTuple):
    """Something to look at, after acts or none, and what each explanation says will be seen.

    ``look`` is an observation key or ``position:NAME``. ``outcomes`` pairs a value with the places
    of the explanations that predict it. ``gain`` is in bits; ``effort`` only ranks equals.
    """

    code: str
    acts: list[Action]
    look: str
    outcomes: list[tuple[Any, list[int]]]
    gain: float
    effort: float


def checks_of(config: Config) -> list[list[Any]]:
    """Return the checks such a riser allows: code, acts, what to look at, effort.

    An empty look means every observation.
    """
    rows: list[list[Any]] = [["look", [], "", 0.0]]
    for name in NORMALLY_OPEN + NORMALLY_SHUT:
        if fitted(config, name):
            rows.append(["position", [], POSITION + name, 1.0])
    rows.append(["position", [], POSITION + "control_valve", 1.0])
    if config.valve != "none":
        rows.append(["alarm_test", [opens("alarm_test_valve"), rest(60.0)], "", 2.0])
    if config.air or config.pilot:
        rows.append(["air_supply_shut", [shuts("air_supply_valve"), rest(100.0)], "", 3.0])
    if config.has_detection:
        rows.append(["panel_reset", [Action(kind="panel_reset"), rest(30.0)], "", 2.0])
    rows.append(["main_drain", [opens(main_drain(config)), rest(60.0)], "", 3.0])
    rows.append(["tamper", [Action(kind="control_valve", pct=70.0)], "", 3.0])
    if config.valve in ("alarm_check", "none"):
        rows.append(["test_connection", [opens("test_connection"), rest(90.0)], "", 4.0])
    rows.append(["mains_off", [Action(kind="ac_power", on=False), rest(5.0)], "", 4.0])
    return rows + water_shut_checks(config)


def water_shut_checks(config: Config) -> list[list[Any]]:
    """Return the checks that are made with the water shut and the inlet drained."""
    shut = [Action(kind="control_valve", pct=0.0), opens("inlet_drain"), rest(10.0)]
    rows: list[list[Any]] = []
    if config.has_detection:
        detection = detection_acts(config, normal_state(config))
        rows.append(["detection_water_shut", shut + detection, "", 6.0])
    if config.air:
        lose = [opens("test_connection"), rest(120.0)]
        rows.append(["air_loss_water_shut", shut + lose, "", 6.0])
    if fitted(config, "pilot_head"):
        lose = [opens("pilot_head"), rest(60.0)]
        rows.append(["pilot_water_shut", shut + lose, "", 6.0])
    if fitted(config, "manual_release"):
        rows.append(["release_water_shut", shut + [opens("manual_release")], "", 6.0])
    return rows


def opens(name: str) -> Action:
    """Open a hand valve."""
    return Action(kind="open", what=name)


def shuts(name: str) -> Action:
    """Shut a hand valve."""
    return Action(kind="close", what=name)


def rest(seconds: float) -> Action:
    """Wait."""
    return Action(kind="wait", s=seconds)


def next_checks(
    config: Config, explanations: list[Explanation], seen: dict[str, Any]
) -> list[Check]:
    """Return the checks that tell explanations apart, the most telling and least effort first.

    Parameters
    ----------
    config
        The riser.
    explanations
        What is left of a diagnosis; the likeliest twelve are weighed.
    seen
        What was looked at last, which is not asked again.

    Notes
    -----
    A check that breaks an order rule, raises a hazard or lets water into dry piping under any of
    the explanations is not offered.
    """
    likely = explanations[:MOST_EXPLANATIONS]
    found: list[Check] = []
    if len(likely) < 2:
        return found
    for row in checks_of(config):
        states = states_after(config, likely, row[1])
        if len(states) < len(likely):
            continue
        predicted: list[dict[str, Any]] = []
        for state in states:
            predicted.append(observe(config, state))
        best = most_telling(row, likely, states, predicted, seen)
        if best.gain > 0.0:
            found.append(best)
    return in_order(found)


def states_after(config: Config, likely: list[Explanation], acts: list[Action]) -> list[State]:
    """Return where each explanation leads by these acts; short where one makes them unsafe."""
    states: list[State] = []
    for each in likely:
        state = each.state
        for action in acts:
            unsafe = len(warnings_before(config, state, action)) > 0
            state = acted(config, state, action, each.causes)
            if unsafe or lets_water(config, each.state, state):
                return states
        states.append(state)
    return states


def lets_water(config: Config, before: State, after: State) -> bool:
    """Tell whether water entered dry piping, or a hazard was raised, between two states."""
    entered = config.dry and after.water_frac > before.water_frac
    return entered or len(after.hazards) > len(before.hazards)


def most_telling(
    row: list[Any],
    likely: list[Explanation],
    states: list[State],
    predicted: list[dict[str, Any]],
    seen: dict[str, Any],
) -> Check:
    """Return the check with the observation that tells most after its acts."""
    keys = [row[2]] if row[2] != "" else OBSERVABLE
    best = Check(code=row[0], acts=row[1], look="", outcomes=[], gain=0.0, effort=row[3])
    for key in keys:
        if len(row[1]) == 0 and key in seen:
            continue
        values: list[Any] = []
        place = 0
        while place < len(states):
            at_hand = key.startswith(POSITION)
            values.append(position_of(states[place], key) if at_hand else predicted[place][key])
            place = place + 1
        outcomes = told_apart(values)
        gain = gain_of(outcomes, likely)
        if gain > best.gain:
            best = best._replace(look=key, outcomes=outcomes, gain=gain)
    return best


def told_apart(values: list[Any]) -> list[tuple[Any, list[int]]]:
    """Return the values that can be told apart, each with the places it stands at."""
    outcomes: list[tuple[Any, list[int]]] = []
    place = 0
    while place < len(values):
        placed = False
        for outcome in outcomes:
            if not placed and is_alike(outcome[0], values[place]):
                outcome[1].append(place)
                placed = True
        if not placed:
            outcomes.append((values[place], [place]))
        place = place + 1
    return outcomes


def is_alike(one: Any, other: Any) -> bool:
    """Tell whether two predictions cannot be told apart by eye."""
    if is_number(one) and is_number(other):
        return agrees(one / APART, other / APART)
    return agrees(one, other)


def gain_of(outcomes: list[tuple[Any, list[int]]], likely: list[Explanation]) -> float:
    """Return the information in bits that seeing one of the outcomes is expected to give."""
    total = 0.0
    for each in likely:
        total = total + each.share
    bits = 0.0
    for outcome in outcomes:
        share = 0.0
        for place in outcome[1]:
            share = share + likely[place].share / total
        if share > 0.0:
            bits = bits - share * math.log(share) / math.log(2.0)
    return math.floor(bits * 1000.0 + 0.5) / 1000.0


def in_order(found: list[Check]) -> list[Check]:
    """Return the most telling check first, of equals the one with the least effort."""
    left = found
    order: list[Check] = []
    while len(left) > 0:
        best = 0
        place = 0
        while place < len(left):
            more = left[place].gain > left[best].gain
            easier = left[place].effort < left[best].effort
            if more or (left[place].gain == left[best].gain and easier):
                best = place
            place = place + 1
        order.append(left[best])
        left = left[:best] + left[best + 1 :]
    return order


def ambiguity_groups(config: Config, explanations: list[Explanation]) -> list[list[int]]:
    """Return the places of explanations in groups that no safe check tells apart.

    Beyond the twelve likeliest nothing is weighed: each of the rest joins the last group.
    """
    likely = explanations[:MOST_EXPLANATIONS]
    groups: list[list[int]] = []
    if len(likely) == 0:
        return groups
    everyone: list[int] = []
    place = 0
    while place < len(likely):
        everyone.append(place)
        place = place + 1
    groups = [everyone]
    for row in checks_of(config):
        states = states_after(config, likely, row[1])
        if len(states) == len(likely):
            groups = split_by(config, groups, row[2], states)
    while place < len(explanations):
        groups[len(groups) - 1].append(place)
        place = place + 1
    return groups


def split_by(
    config: Config, groups: list[list[int]], look: str, states: list[State]
) -> list[list[int]]:
    """Return the groups taken apart by one observation, or by all of them."""
    predicted: list[dict[str, Any]] = []
    for state in states:
        predicted.append(observe(config, state))
    for key in [look] if look != "" else OBSERVABLE:
        split: list[list[int]] = []
        for group in groups:
            values: list[Any] = []
            for place in group:
                at_hand = key.startswith(POSITION)
                values.append(position_of(states[place], key) if at_hand else predicted[place][key])
            for outcome in told_apart(values):
                together: list[int] = []
                for inner in outcome[1]:
                    together.append(group[inner])
                split.append(together)
        groups = split
    return groups
