"""How a run at the bench is scored: it is done again on the model, act by act.

Nothing a browser says of a run counts but which acts were done, what was marked as seen, and which
fault was named.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from inspections.practice.bench import (
    FIND_FAULT,
    RESTORATION,
    NotAccepted,
    deed_of,
    same,
    sights,
    sights_of,
    start_of,
    view,
)
from inspections.practice.faults import faults_of, twins_of
from inspections.sequence.acts import act
from inspections.sequence.constraints import take
from inspections.sequence.guide import guide, next_steps
from inspections.sequence.ready import not_normal
from inspections.sequence.state import Action, State
from inspections.sequence.types import Config

MOST_ACTS = 400
# Part of the acts that showed something of which something must be noticed: our own measure.
ENOUGH_NOTICED = 0.5
NO_FAULT = "none"
RIGHT, TOO_EARLY, UNPROVEN, WRONG, SILENT = (
    *("right", "too_early", "unproven", "wrong", "silent"),
)


class Run(NamedTuple):
    """What was done at the bench.

    ``acts`` are codes of `bench.deeds_of`; ``noted`` the sights marked after an act, by its number
    (1 is the first). ``claim`` is the fault that the learner names, `NO_FAULT` for a sound
    riser, empty for none named.
    """

    task: str
    fault: str
    acts: Sequence[str]
    noted: Mapping[int, Sequence[str]]
    claim: str


class Walked(NamedTuple):
    """A run done again: the state at its start and after each act, what was against each act."""

    states: list[State]
    breaches: list[list[dict[str, str]]]


def walk(config: Config, run: Run) -> Walked:
    """Do a run again.

    Raises
    ------
    NotAccepted
        When an act cannot be done on such a riser, or there are more than `MOST_ACTS`.
    """
    if len(run.acts) > MOST_ACTS:
        raise NotAccepted("acts", len(run.acts), f"at most {MOST_ACTS}")
    states = [start_of(config, run.task, run.fault)]
    breaches: list[list[dict[str, str]]] = []
    for code in run.acts:
        taken = take(config, states[-1], deed_of(config, code).action)
        states.append(taken.state)
        breaches.append([dict(one._asdict()) for one in taken.warnings])
    return Walked(states, breaches)


def score(config: Config, run: Run) -> dict[str, Any]:
    """Return the score of a run, with each act for its debrief; plain values as JSON has them.

    ``reached`` says whether the riser was left normal (of a trip test: after it had tripped), or,
    of a hidden fault, whether the right one was named once what was seen left no other; ``passed``
    asks for that without a breach, and with something noticed of half of what was to be seen.

    Raises
    ------
    NotAccepted
        Naming the act, the mark or the claim.
    """
    _check_marks(config, run)
    walked = walk(config, run)
    views = [view(config, state) for state in walked.states]
    steps = _steps(config, run, walked, views)
    broken = [one for step in steps for one in step["breaches"]]
    left = not_normal(config, walked.states[-1])
    found = diagnosis(config, run, views) if run.task == FIND_FAULT else {}
    reached = (
        found["verdict"] == RIGHT
        if found
        else not left and (run.task == RESTORATION or _answered(config, walked.states))
    )
    observed = _observed(steps)
    return {
        "passed": not broken and reached and observed["enough"],
        "reached": reached,
        "not_normal": left,
        "breaches": sorted({one["code"] for one in broken}),
        "hazards": sorted({one["hazard"] for one in broken if one["hazard"]}),
        "observed": observed,
        "acts": len(run.acts),
        "guided": _coverage(config, run) if run.task != FIND_FAULT else {},
        "diagnosis": found,
        "start": views[0]["seen"],
        "steps": steps,
    }


def _check_marks(config: Config, run: Run) -> None:
    known = sights_of(config)
    for number, marks in run.noted.items():
        if not 1 <= number <= len(run.acts):
            raise NotAccepted("noted", number, f"the number of an act, 1 to {len(run.acts)}")
        for mark in marks:
            if mark not in known:
                raise NotAccepted("noted", mark, ", ".join(known))
    accepted = [NO_FAULT, *faults_of(config)] if run.task == FIND_FAULT else []
    if run.claim and run.claim not in accepted:
        raise NotAccepted(
            "claim", run.claim, ", ".join(accepted) or "empty: no fault is looked for"
        )


def _steps(
    config: Config, run: Run, walked: Walked, views: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    steps = []
    for number, code in enumerate(run.acts, start=1):
        shown = sights(views[number - 1], views[number])
        marked = list(dict.fromkeys(run.noted.get(number, ())))
        steps.append(
            {
                "number": number,
                "act": code,
                "part": deed_of(config, code).part,
                "breaches": walked.breaches[number - 1],
                "sights": shown,
                "noticed": [one for one in marked if one in shown],
                "imagined": [one for one in marked if one not in shown],
                "seen": views[number]["seen"],
            }
        )
    return steps


def _observed(steps: list[dict[str, Any]]) -> dict[str, Any]:
    telling = [step for step in steps if step["sights"]]
    noticed = [step for step in telling if step["noticed"]]
    right = sum(len(step["noticed"]) for step in steps)
    wrong = sum(len(step["imagined"]) for step in steps)
    enough = len(noticed) >= ENOUGH_NOTICED * len(telling) and wrong <= right
    return {
        "acts": len(telling),
        "noticed": len(noticed),
        "right": right,
        "wrong": wrong,
        "of": sum(len(step["sights"]) for step in steps),
        "enough": enough,
    }


def _answered(config: Config, states: Sequence[State]) -> bool:
    """Tell whether the test made the riser answer: its valve opened, or its waterflow signal."""
    return any(
        state.valve_open if config.valve in ("dry", "prime") else "waterflow" in state.latched
        for state in states
    )


def _coverage(config: Config, run: Run) -> dict[str, list[str]]:
    """Return which steps of the guide the run did and which it left out, by what moves."""
    done = {deed_of(config, code).action for code in run.acts}
    did: dict[str, list[str]] = {"done": [], "left_out": []}
    for step, acts in guided_steps(config, run.task):
        moves = [one for one in acts if one.kind not in ("wait", "settle")]
        if moves:
            whole = all(one in done for one in moves)
            did["done" if whole else "left_out"].append(step)
    return did


def guided_steps(config: Config, task: str) -> list[tuple[str, list[Action]]]:
    """Return the guide's steps of a task from where it begins, each with its acts."""
    if task == RESTORATION:
        state, done, found = start_of(config, task), list[str](), []
        while offered := next_steps(config, task, state, done):
            step = offered[0]
            found.append((step.code, step.acts))
            for action in step.acts:
                state = take(config, state, action).state
            done.append(step.code)
        return found
    return [(step.code, step.acts) for step in guide(config, task)]


def diagnosis(config: Config, run: Run, views: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what may be said of a claim by what was seen in the run.

    ``group`` are the faults that would have shown the same through all of it, ``sound`` tells
    whether a riser without a fault would have. The verdict is one of

    - ``right``: the fault, or one that no test tells from it, and nothing else is left;
    - ``too_early``: others are left that a further test would have told apart;
    - ``unproven``: a sound riser and one with a fault would still have shown the same;
    - ``wrong``: what was seen speaks against the claim; ``contradicted`` is the number of the first
      act after which it would have looked otherwise (0: as found), None of the other verdicts;
    - ``silent``: nothing was named.
    """
    group = [fault for fault in faults_of(config) if _parts_at(config, run, views, fault) is None]
    sound = _parts_at(config, run, views, "") is None
    claimed = "" if run.claim == NO_FAULT else run.claim
    parted = _parts_at(config, run, views, claimed) if run.claim else None
    return {
        "claim": run.claim,
        "fault": run.fault or NO_FAULT,
        "verdict": _verdict(config, run.claim, group, sound=sound, parted=parted),
        "group": group,
        "sound": sound,
        "contradicted": parted,
    }


def _verdict(
    config: Config, claim: str, group: list[str], *, sound: bool, parted: int | None
) -> str:
    if not claim:
        return SILENT
    if parted is not None:
        return WRONG
    if claim == NO_FAULT:
        return UNPROVEN if group else RIGHT
    if sound:
        return UNPROVEN
    return RIGHT if set(group) <= set(twins_of(config, claim)) else TOO_EARLY


def _parts_at(config: Config, run: Run, views: list[dict[str, Any]], fault: str) -> int | None:
    """Return the number of the first act after which a fault would have looked otherwise."""
    state = start_of(config, run.task, fault)
    for number, shown in enumerate(views):
        if number > 0:
            state = act(config, state, deed_of(config, run.acts[number - 1]).action)
        if not same(shown, view(config, state, whole=False)):
            return number
    return None
