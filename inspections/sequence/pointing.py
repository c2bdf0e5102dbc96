"""What a mismatch at a step of the guide points to, from the steps as they were recorded."""

# ruff: noqa: PERF401 - the portable subset has neither comprehensions nor stars.

from collections.abc import Callable
from typing import Any, NamedTuple

from inspections.sequence.checks import Check, ambiguity_groups, next_checks
from inspections.sequence.diagnosis import (
    OBSERVABLE,
    Diagnosis,
    Explanation,
    Record,
    always,
    diagnose,
    diagnose_from,
)
from inspections.sequence.guide import (
    GAUGE_TOLERANCE_PSI,
    Mismatch,
    compare,
    done_step,
    is_number,
    step_now,
)
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import Config

PSI = "_psi"
SECONDS = "_seconds"
# What the supply still gives while it runs depends on the place, which the model does not know.
FLOWING = ["main_drain_test", "flow"]
FIGURES = ["gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot", "trip_air"]


class Done(NamedTuple):
    """A step as it was recorded: its code, and what was seen after it, psi gauge."""

    code: str
    seen: dict[str, Any]


class Pointed(NamedTuple):
    """What explains the steps so far; `Diagnosis` and `Check` say what each part means.

    ``groups`` holds places in ``explanations`` that no safe check tells apart. ``lately`` is true
    where they fit only as something that began at the last step.
    """

    explanations: list[Explanation]
    groups: list[list[int]]
    cause: list[str]
    checks: list[Check]
    questions: list[str]
    complete: bool
    lately: bool


def recorded(values: dict[str, Any]) -> dict[str, Any]:
    """Return what a record of a step holds as the model names it.

    Parameters
    ----------
    values
        Expected or seen: pressures as decimal texts under ``KEY_psi``, signals in one text or as a
        list. Times are left out.
    """
    found: dict[str, Any] = {}
    for key in values:
        value = values[key]
        if key.endswith(SECONDS):
            continue
        if key.endswith(PSI):
            found[key[: len(key) - len(PSI)]] = float(value)
        elif key == "signals" and isinstance(value, str):
            found[key] = [] if value in ("none", "") else value.split(", ")
        else:
            found[key] = value
    return found


def otherwise(code: str, expected: dict[str, Any], seen: dict[str, Any]) -> list[Mismatch]:
    """Name what was seen otherwise than expected at a step, as `compare` does.

    The supply gauge while water runs speaks only when it reads lower than expected.
    """
    found: list[Mismatch] = []
    for each in compare(expected, seen):
        flowing = code in FLOWING and each.name == "gauge_supply"
        if not flowing or each.seen < each.expected:
            found.append(each)
    return found


def record_of_steps(config: Config, steps: list[Done], answers: dict[str, bool]) -> Record:
    """Return the record that steps of the guide amount to, begun at a riser in service.

    Raises
    ------
    KeyError
        For a step that the guide does not know.
    """
    state = normal_state(config)
    acts: list[Action] = []
    seen: list[dict[str, Any]] = [{}]
    place = 0
    while place < len(steps):
        done = steps[place]
        step = step_now(config, state, done.code)
        state = done_step(config, state, step)
        for action in step.acts:
            acts.append(action)
            seen.append({})
        is_last = place == len(steps) - 1
        looked = looked_at(done, observe(config, state)["gauge_supply"], is_last)
        for key in seen[len(seen) - 1]:
            if key not in looked:
                looked[key] = seen[len(seen) - 1][key]
        seen[len(seen) - 1] = looked
        place = place + 1
    return Record(acts=acts, seen=seen, answers=answers)


def looked_at(done: Done, supply: float, is_last: bool) -> dict[str, Any]:
    """Return what a step's observations say of the riser; of a flowing supply only "lower"."""
    looked: dict[str, Any] = {}
    for key in done.seen:
        value = done.seen[key]
        if key not in OBSERVABLE or value is None:
            continue
        if key == "gauge_supply" and done.code in FLOWING:
            if is_last and is_number(value) and value < supply - GAUGE_TOLERANCE_PSI:
                looked[key] = {"max": supply - GAUGE_TOLERANCE_PSI}
        else:
            looked[key] = value
    return looked


def pointed(
    config: Config,
    steps: list[Done],
    answers: dict[str, bool],
    deepest: int = 2,
    go_on: Callable[[], bool] = always,
) -> Pointed:
    """Return what explains the steps, the last of which showed a mismatch, and what to do next.

    Parameters
    ----------
    config
        The riser as found.
    steps
        The steps of this run in their order, up to the one that is looked into.
    answers
        Question to whether it is as it must be.
    deepest, go_on
        As `diagnose` takes them.

    Raises
    ------
    KeyError
        For a step that the guide does not know.
    """
    record = record_of_steps(config, steps, answers)
    found = diagnose(config, record, 1, go_on)
    lately = False
    if len(found.explanations) == 0 and len(steps) > 1:
        begun_now = at_the_last(config, steps, answers, go_on)
        lately = len(begun_now.explanations) > 0
        found = begun_now if lately else found
    if len(found.explanations) == 0 and deepest > 1:
        found = diagnose(config, record, deepest, go_on)
    checks = next_checks(config, found.explanations, record.seen[len(record.seen) - 1])
    return Pointed(
        explanations=found.explanations,
        groups=ambiguity_groups(config, found.explanations),
        cause=found.cause,
        checks=checks,
        questions=found.questions,
        complete=found.complete,
        lately=lately,
    )


def at_the_last(
    config: Config, steps: list[Done], answers: dict[str, bool], go_on: Callable[[], bool]
) -> Diagnosis:
    """Return what explains the last step alone, all being sound until then."""
    state = normal_state(config)
    for done in steps[: len(steps) - 1]:
        state = done_step(config, state, step_now(config, state, done.code))
    step = step_now(config, state, steps[len(steps) - 1].code)
    seen: list[dict[str, Any]] = [{}]
    for _action in step.acts:
        seen.append({})
    supply = observe(config, done_step(config, state, step))["gauge_supply"]
    seen[len(seen) - 1] = looked_at(steps[len(steps) - 1], supply, True)
    record = Record(acts=step.acts, seen=seen, answers=answers)
    return diagnose_from(config, state, record, 1, go_on)
