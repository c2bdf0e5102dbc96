"""What may be wrong at a riser, from what was done and what was seen.

Each hypothesis is laid into the model, the recorded acts are done to it, and it is dropped at the
first observation it contradicts. What is left is ranked and never narrowed further than the
observations allow: while two explanations remain, two are named.
"""

# ruff: noqa: PERF401, RUF005, SIM110 - the portable subset has neither comprehensions nor stars.

from collections.abc import Callable
from typing import Any, NamedTuple

from inspections.sequence.acts import act
from inspections.sequence.guide import agrees, is_number
from inspections.sequence.hypotheses import (
    EVOLVING,
    PAIR_ODDS,
    QUESTIONS,
    SLIPS,
    SOUND_ODDS,
    hypotheses_of,
    injected,
    left_behind,
    odds_of,
    variants_of,
)
from inspections.sequence.motion import advance, begun, settle
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, State, fitted, normal_state, with_name
from inspections.sequence.types import Config

# What a person can see, hear or read; everything else of an observation record is model truth.
OBSERVABLE = [
    "panel",
    "lamps",
    "signals",
    "gauge_supply",
    "gauge_system",
    "gauge_prime",
    "gauge_pilot",
    "solenoid_energised",
    "water_in_piping",
    "flow_test_connection",
    "sprinkler_discharge",
    "flow_inlet_drain",
    "gong",
    "drip_release_drain",
    "drip_auto_drain",
    "qod",
    "compressor_running",
    "trip_air",
]
POSITION = "position:"


class Record(NamedTuple):
    """What was done and what was seen.

    ``acts`` in their order. ``seen`` has one more entry: before the first act, then after each;
    an entry holds only what was looked at, under the keys of `OBSERVABLE` or ``position:NAME``
    (true is open) for a hand valve, ``position:control_valve`` in percent. A value is what was
    seen, or a matcher of the scenario schema (``approx`` with ``tol``, ``min``, ``max``, ``has``,
    ``lacks``). ``answers`` says of questions whether it was as it must be.
    """

    acts: list[Action]
    seen: list[dict[str, Any]]
    answers: dict[str, bool]


class Explanation(NamedTuple):
    """Causes that contradict nothing seen; none at all: a sound riser answers so.

    ``left`` names what the acts themselves left behind while something was seen. ``since`` is
    ``before`` (long in place) or ``lately`` (began with the record). ``share`` is the part of the
    odds, 0 to 1; ``state`` where the riser then stands.
    """

    causes: list[str]
    left: list[str]
    since: str
    share: float
    state: State


class Diagnosis(NamedTuple):
    """Explanations, likeliest first, and the questions that only a person can answer.

    ``cause`` is the one cause left, empty while several remain or none fits, or where not all was
    searched. ``tried`` counts hypotheses; ``complete`` is false when the search was called off.
    """

    explanations: list[Explanation]
    cause: list[str]
    questions: list[str]
    tried: int
    complete: bool


def always() -> bool:
    """Go on."""
    return True


def diagnose(
    config: Config, record: Record, deepest: int = 2, go_on: Callable[[], bool] = always
) -> Diagnosis:
    """Return what explains a record.

    Parameters
    ----------
    config
        The riser, sound.
    record
        What was done and seen.
    deepest
        1: single causes only. 2: pairs too, where nothing simpler fits.
    go_on
        Asked before each hypothesis; the search ends early at the first no.

    Raises
    ------
    ValueError
        When the record has not one observation more than acts, or names what cannot be observed.
    """
    return diagnose_from(config, settle(config, normal_state(config)), record, deepest, go_on)


def diagnose_from(
    config: Config, sound: State, record: Record, deepest: int, go_on: Callable[[], bool]
) -> Diagnosis:
    """Return what explains a record that begins at a sound riser standing as given.

    Raises
    ------
    ValueError
        As `diagnose` does.
    """
    check_record(config, record)
    codes = allowed_by_answers(hypotheses_of(config, record.acts), record.answers)
    asked = demanded(record.answers)
    found: list[Explanation] = []
    tried = 0
    complete = True
    sets: list[list[str]] = [[]]
    for code in codes:
        sets.append([code])
    depth = 1
    while depth <= deepest and len(sets) > 0:
        for causes in sets:
            if complete and not go_on():
                complete = False
            if complete and holds_all(causes, asked) and not holds_a_simpler(found, causes, depth):
                tried = tried + 1
                found = found + explained(config, sound, record, causes)
        sets = pairs_of(codes) if depth == 1 and len(found) == 0 else []
        depth = depth + 1
    found = ranked(found)
    return Diagnosis(
        explanations=found,
        cause=found[0].causes if complete and len(found) == 1 else [],
        questions=questions_left(config, record.answers, found),
        tried=tried,
        complete=complete,
    )


def check_record(config: Config, record: Record) -> None:
    """Refuse a record that cannot be walked through.

    Raises
    ------
    ValueError
        With place, value and what is accepted.
    """
    if len(record.seen) != len(record.acts) + 1:
        raise ValueError(
            f"seen: {len(record.seen)} entries for {len(record.acts)} acts; accepted: one before "
            "the first act and one after each"
        )
    for entry in record.seen:
        for key in entry:
            if key not in OBSERVABLE and not is_position(config, key):
                accepted = named(OBSERVABLE + [POSITION + "NAME"])
                raise ValueError(f"seen: {key} cannot be observed here; accepted: {accepted}")
    for code in record.answers:
        if code not in QUESTIONS:
            raise ValueError(f"answers: {code} is not asked; accepted: {named(QUESTIONS)}")


def is_position(config: Config, key: str) -> bool:
    """Tell whether a key names the position of a hand valve that is fitted."""
    if not key.startswith(POSITION):
        return False
    name = key[len(POSITION) :]
    return name == "control_valve" or fitted(config, name)


def named(names: Any) -> str:
    """Return names in one line."""
    text = ""
    for name in names:
        text = name if text == "" else text + ", " + name
    return text


def allowed_by_answers(codes: list[str], answers: dict[str, bool]) -> list[str]:
    """Return the hypotheses that no answer rules out."""
    kept: list[str] = []
    for code in codes:
        ruled_out = False
        for question in answers:
            if answers[question] and QUESTIONS[question] == code:
                ruled_out = True
        if not ruled_out:
            kept.append(code)
    return kept


def demanded(answers: dict[str, bool]) -> list[str]:
    """Return the causes that an answer says are there."""
    asked: list[str] = []
    for question in answers:
        if not answers[question]:
            asked.append(QUESTIONS[question])
    return asked


def holds_all(causes: list[str], asked: list[str]) -> bool:
    """Tell whether every demanded cause is among these."""
    for code in asked:
        if code not in causes:
            return False
    return True


def holds_a_simpler(found: list[Explanation], causes: list[str], depth: int) -> bool:
    """Tell whether a part of these causes explains everything already; singles are all kept."""
    if depth == 1:
        return False
    for each in found:
        if len(each.causes) < len(causes) and holds_all(causes, each.causes):
            return True
    return False


def pairs_of(codes: list[str]) -> list[list[str]]:
    """Return every pair of causes."""
    pairs: list[list[str]] = []
    first = 0
    while first < len(codes):
        second = first + 1
        while second < len(codes):
            pairs.append([codes[first], codes[second]])
            second = second + 1
        first = first + 1
    return pairs


def explained(config: Config, sound: State, record: Record, causes: list[str]) -> list[Explanation]:
    """Return the explanation these causes give, or none when they contradict something seen."""
    evolves = False
    for code in causes:
        evolves = evolves or code in EVOLVING
    for size in variants_of(causes):
        start = injected(config, sound, causes, size)
        one = walked(config, settle(config, start), record, causes, "before")
        if len(one) == 0 and evolves:
            one = walked(config, begun(config, start), record, causes, "lately")
        if len(one) > 0:
            return one
    return []


def walked(
    config: Config, state: State, record: Record, causes: list[str], since: str
) -> list[Explanation]:
    """Do the recorded acts from a state; one explanation when nothing seen speaks against it."""
    state = state._replace(hazards=[], trip_psi=None)
    left: list[str] = []
    done = 0
    while done <= len(record.acts):
        if done > 0:
            state = acted(config, state, record.acts[done - 1], causes)
        seen = record.seen[done]
        if looked(seen):
            if not fits(config, state, seen):
                return []
            for code in left_behind(config, state):
                left = with_name(left, code)
        done = done + 1
    return [Explanation(causes=causes, left=left, since=since, share=odds(causes), state=state)]


def looked(seen: dict[str, Any]) -> bool:
    """Tell whether anything was looked at (a length of a dict is nothing on the tablet)."""
    for key in seen:
        if seen[key] is not None:
            return True
    return False


def acted(config: Config, state: State, action: Action, causes: list[str]) -> State:
    """Return the state after an act, which a slip among the causes leaves without effect."""
    if action.kind in SLIPS and SLIPS[action.kind] in causes:
        return advance(config, state, 1.0)
    return act(config, state, action)


def fits(config: Config, state: State, seen: dict[str, Any]) -> bool:
    """Tell whether nothing that was seen speaks against a state."""
    predicted = observe(config, state)
    for key in seen:
        wanted = seen[key]
        if wanted is None:
            continue
        if key.startswith(POSITION):
            if not meets(wanted, position_of(state, key)):
                return False
        elif not meets(wanted, predicted[key]):
            return False
    return True


def position_of(state: State, key: str) -> Any:
    """Return where a hand valve stands: true is open; the control valve in percent."""
    name = key[len(POSITION) :]
    if name == "control_valve":
        return state.control_pct
    return state.hand[name]


def meets(wanted: Any, predicted: Any) -> bool:
    """Tell whether a prediction is what was seen: within a gauge's tolerance, or a matcher's."""
    if isinstance(wanted, list):
        return same_names(wanted, predicted)
    if not isinstance(wanted, dict):
        return agrees(wanted, predicted)
    if "has" in wanted or "lacks" in wanted:
        lacking = without_any(predicted, wanted.get("lacks", []))
        return lacking and holds_all(predicted, wanted.get("has", []))
    return is_number(predicted) and within(wanted, predicted)


def without_any(names: list[str], unwanted: list[str]) -> bool:
    """Tell whether none of the unwanted is named."""
    for name in unwanted:
        if name in names:
            return False
    return True


def within(wanted: dict[str, float], value: float) -> bool:
    """Tell whether a number is within its matchers."""
    if "approx" in wanted:
        gap: float = abs(value - wanted["approx"])
        if gap > wanted.get("tol", 0.0):
            return False
    if "min" in wanted and value < wanted["min"]:
        return False
    return not ("max" in wanted and value > wanted["max"])


def same_names(seen: Any, predicted: Any) -> bool:
    """Tell whether two lists name the same."""
    return len(seen) == len(predicted) and holds_all(predicted, seen)


def odds(causes: list[str]) -> float:
    """Return how likely causes are beside others, from the odds of each."""
    weight = SOUND_ODDS if len(causes) == 0 else 1.0
    for code in causes:
        weight = weight * odds_of(code)
    if len(causes) > 1:
        weight = weight * PAIR_ODDS
    return weight


def ranked(found: list[Explanation]) -> list[Explanation]:
    """Return explanations with fewer causes first, then the likelier, each with its share."""
    total = 0.0
    for each in found:
        total = total + each.share
    left = found
    order: list[Explanation] = []
    while len(left) > 0:
        best = left[0]
        for each in left:
            fewer = len(each.causes) < len(best.causes)
            likelier = len(each.causes) == len(best.causes) and each.share > best.share
            if fewer or likelier:
                best = each
        rest: list[Explanation] = []
        for each in left:
            if each.causes != best.causes:
                rest.append(each)
        left = rest
        order.append(best._replace(share=best.share / total))
    return order


def questions_left(config: Config, answers: dict[str, bool], found: list[Explanation]) -> list[str]:
    """Return the questions about what no gauge shows, those whose cause still stands open."""
    asked: list[str] = []
    for question in QUESTIONS:
        if question in answers:
            continue
        for each in found:
            if QUESTIONS[question] in each.causes and question not in asked:
                asked.append(question)
    return asked
