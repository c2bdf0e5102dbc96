"""A record of acts and observations as JSON data, and what a diagnosis of it says."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from inspections.sequence.alphabet import refusal_of_act
from inspections.sequence.checks import ambiguity_groups, next_checks
from inspections.sequence.diagnosis import OBSERVABLE, POSITION, Record, always, diagnose
from inspections.sequence.hypotheses import ODDS_SOURCE, QUESTIONS
from inspections.sequence.observe import observe
from inspections.sequence.run import ScenarioError, action_of, matches
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import Config

MOST_ACTS = 500
MOST_CHECKS = 5


def action_at(config: Config, place: str, step: Any) -> Action:
    """Return the act that JSON data describe, if it exists at this riser.

    Raises
    ------
    ScenarioError
        Naming the place, the field and what is accepted.
    """
    if not isinstance(step, dict):
        raise ScenarioError(f"{place}: {step!r}; accepted: an object")
    action = action_of(place, step)
    refusal = refusal_of_act(config, action)
    if refusal:
        raise ScenarioError(f"{place} {refusal}")
    return action


def seen_at(config: Config, place: str, seen: Any) -> dict[str, Any]:
    """Return what was seen, checked against what can be seen at this riser.

    Raises
    ------
    ScenarioError
        Naming the place, the key, the value and what is accepted.
    """
    if not isinstance(seen, dict):
        raise ScenarioError(f"{place}: {seen!r}; accepted: an object")
    usual = observe(config, normal_state(config))
    for key, value in seen.items():
        where = f"{place} {key}"
        if key.startswith(POSITION):
            number = key == f"{POSITION}control_valve"
            _refuse_kind(where, value, 0.0 if number else True)
        elif key in OBSERVABLE:
            _refuse_kind(where, value, 0.0 if key in _FIGURES else usual[key])
        else:
            raise ScenarioError(f"{where}: accepted: {', '.join(OBSERVABLE)}, {POSITION}NAME")
    return seen


_FIGURES = ("gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot", "trip_air")


def _refuse_kind(where: str, value: Any, like: Any) -> None:
    """Refuse a value that is neither of the kind that is seen there nor a matcher."""
    if value is None:
        return
    if isinstance(value, dict):
        try:
            matches(value, like)
        except ScenarioError as error:
            raise ScenarioError(f"{where} {error}") from error
        return
    for kind, words in (
        (bool, "true, false"),
        (int | float, "a number"),
        (list, "a list of texts"),
        (str, "a text"),
    ):
        if isinstance(like, kind):
            right = isinstance(value, kind) and (isinstance(like, bool) or value is not True)
            texts = not isinstance(value, list) or all(isinstance(each, str) for each in value)
            if not right or not texts or (kind is not bool and isinstance(value, bool)):
                raise ScenarioError(f"{where}: {value!r}; accepted: {words} or a matcher")
            return


def record_of(config: Config, log: Sequence[Mapping[str, Any]], answers: Any) -> Record:
    """Return the record that a log describes.

    Parameters
    ----------
    config
        The riser.
    log
        Entries in order: ``{"act": {"do": ...}}`` or ``{"seen": {...}}``.
    answers
        Question code to whether it is as it must be.

    Raises
    ------
    ScenarioError
        Naming the place, the field and what is accepted.
    """
    if not isinstance(log, list) or len(log) > MOST_ACTS:
        raise ScenarioError(f"log: accepted: a list of {MOST_ACTS} entries at most")
    acts: list[Action] = []
    seen: list[dict[str, Any]] = [{}]
    for number, entry in enumerate(log, start=1):
        place = f"log {number}"
        if not isinstance(entry, dict) or set(entry) not in ({"act"}, {"seen"}):
            raise ScenarioError(f"{place}: {entry!r}; accepted: an object with act or with seen")
        if "act" in entry:
            acts.append(action_at(config, place, entry["act"]))
            seen.append({})
        else:
            seen[-1] = seen[-1] | seen_at(config, place, entry["seen"])
    if not isinstance(answers, dict) or not all(isinstance(a, bool) for a in answers.values()):
        accepted = ", ".join(QUESTIONS)
        raise ScenarioError(f"answers: {answers!r}; accepted: true, false for {accepted}")
    return Record(acts, seen, answers)


def diagnosed(
    config: Config, record: Record, *, deepest: int = 2, go_on: Callable[[], bool] = always
) -> dict[str, Any]:
    """Return a diagnosis as JSON data: explanations in their groups, next checks, questions.

    Raises
    ------
    ScenarioError
        When the record names what cannot be observed.
    """
    try:
        found = diagnose(config, record, deepest, go_on)
    except ValueError as error:
        raise ScenarioError(str(error)) from error
    checks = next_checks(config, found.explanations, record.seen[-1])
    return {
        "explanations": [
            {"causes": e.causes, "left": e.left, "since": e.since, "share": round(e.share, 3)}
            for e in found.explanations
        ],
        "groups": ambiguity_groups(config, found.explanations),
        "cause": found.cause,
        "checks": [
            check._asdict() | {"acts": [_as_step(action) for action in check.acts]}
            for check in checks[:MOST_CHECKS]
        ],
        "questions": found.questions,
        "odds_source": ODDS_SOURCE,
        "tried": found.tried,
        "complete": found.complete,
    }


def _as_step(action: Action) -> dict[str, Any]:
    """Return an act as the schema writes it, with the fields of its kind only."""
    usual = Action(action.kind)
    told = {
        key: value
        for key, value in action._asdict().items()
        if key != "kind" and value != getattr(usual, key)
    }
    if action.kind == "control_valve":
        told["pct"] = action.pct
    if action.kind in ("detector_alarm", "detector_clear"):
        told["zone"] = action.zone
    if action.kind in ("release_disconnect", "compressor", "ac_power"):
        told["on"] = action.on
    return {"do": action.kind, **told}
