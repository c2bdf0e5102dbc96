"""Work through scenarios of the schema valve-scenarios/1 and name what the model sees otherwise."""

from collections.abc import Iterator, Mapping
from typing import Any

from inspections.sequence.acts import EFFECTS, FAULTS
from inspections.sequence.alphabet import faults_of, hand_valves, refusal_of_act
from inspections.sequence.constraints import Breach, take
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, State, normal_state, with_hand, with_name
from inspections.sequence.types import Config, make_config

SCHEMA = "valve-scenarios/1"
_LONGEST = 80
_TEXT = "a text"
_LARGEST = 1_000_000
_NUMBER = f"a number, 0 to {_LARGEST}"
_MOST_STEPS = 1000
_SWITCH = "true, false"
_NEEDS = {
    "open": {"what": _TEXT},
    "close": {"what": _TEXT},
    "control_valve": {"pct": _NUMBER},
    "detector_alarm": {"zone": _TEXT},
    "detector_clear": {"zone": _TEXT},
    "release_disconnect": {"on": _SWITCH},
    "set_supply": {"psi": _NUMBER},
    "compressor": {"on": _SWITCH},
    "ac_power": {"on": _SWITCH},
    "start_fault": {"fault": _TEXT},
    "clear_fault": {"fault": _TEXT},
    "wait": {"s": _NUMBER},
}
_KINDS = {field: kind for needs in _NEEDS.values() for field, kind in needs.items()}
_NUMERIC = ("approx", "tol", "min", "max")
_LISTS = ("has", "lacks")


class ScenarioError(ValueError):
    """A scenario file that cannot be worked through; the text names place, value and range."""


def run_file(document: Mapping[str, Any]) -> dict[str, list[str]]:
    """Work through a whole file.

    Returns
    -------
    dict
        Scenario id to its mismatches, empty where everything was seen as expected.

    Raises
    ------
    ScenarioError
        When the file leaves the schema.
    """
    if document.get("schema") != SCHEMA:
        raise ScenarioError(f"schema: {document.get('schema')!r}; accepted: {SCHEMA!r}")
    scenarios = _list("", document, "scenarios")
    names = [_text(scenario, "id") for scenario in scenarios]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ScenarioError(f"id: {', '.join(twice)} more than once; accepted: once each")
    return {name: run_scenario(scenario) for name, scenario in zip(names, scenarios, strict=True)}


def run_scenario(scenario: Mapping[str, Any]) -> list[str]:
    """Return what the model sees otherwise than the scenario expects, a sentence each.

    Raises
    ------
    ScenarioError
        When the scenario leaves the schema.
    """
    seen = [observe(config, state) for config, state, _ in _walked(scenario, strict=False)]
    return [
        f"after {one['after']} {one['key']}: expected {one['expected']}, seen {one['seen']!r}"
        for one in _judged(scenario, seen)
        if not one["met"]
    ]


def evaluate(scenario: Mapping[str, Any]) -> dict[str, Any]:
    """Work through a scenario and return everything the model says on the way.

    Returns
    -------
    dict
        ``steps``: after each act (0 is the start) the observation, the state, and the warnings that
        stood before the act. ``expectations``: each with what was seen and whether it is met.

    Raises
    ------
    ScenarioError
        When the scenario leaves the schema, or names an act, a hand valve or a fault that does not
        exist on its type.
    """
    name = _text(scenario, "id")
    steps: list[dict[str, Any]] = []
    for number, (config, state, warnings) in enumerate(_walked(scenario, strict=True)):
        steps.append(
            {
                "after": number,
                "do": None if number == 0 else scenario["steps"][number - 1],
                "observation": observe(config, state),
                "state": state._asdict(),
                "warnings": [warning._asdict() for warning in warnings],
            }
        )
    judged = list(_judged(scenario, [step["observation"] for step in steps]))
    met = all(one["met"] for one in judged)
    return {"id": name, "steps": steps, "expectations": judged, "met": met}


def _walked(
    scenario: Mapping[str, Any], *, strict: bool
) -> Iterator[tuple[Config, State, list[Breach]]]:
    name = _text(scenario, "id")
    config, state = start(scenario, strict=strict)
    steps = _list(name, scenario, "steps")
    if len(steps) > _MOST_STEPS:
        raise ScenarioError(f"{name} steps: {len(steps)}; accepted: {_MOST_STEPS} at most")
    actions = [action_of(f"{name} step {n}", step) for n, step in enumerate(steps, start=1)]
    yield config, state, []
    for number, action in enumerate(actions, start=1):
        refusal = refusal_of_act(config, action) if strict else ""
        if refusal:
            raise ScenarioError(f"{name} step {number} {refusal}")
        try:
            taken = take(config, state, action)
        except ValueError as error:
            raise ScenarioError(f"{name} step {number}: {error}") from error
        state = taken.state
        yield config, state, taken.warnings


def _judged(scenario: Mapping[str, Any], seen: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    name = _text(scenario, "id")
    for expect in _list(name, scenario, "expect"):
        yield from _compared(name, expect, seen)


def _compared(
    name: str, expect: Mapping[str, Any], seen: list[dict[str, Any]]
) -> Iterator[dict[str, Any]]:
    after = expect.get("after")
    if not isinstance(after, int) or isinstance(after, bool) or not 0 <= after < len(seen):
        raise ScenarioError(f"{name} after: {after!r}; accepted: 0 to {len(seen) - 1}")
    for key, wanted in _mapping(f"{name} after {after}", expect, "obs").items():
        if key not in seen[after]:
            raise ScenarioError(f"{name} obs: {key!r}; accepted: {', '.join(seen[after])}")
        try:
            met = matches(wanted, seen[after][key])
        except ScenarioError as error:
            raise ScenarioError(f"{name} after {after} {key}: {error}") from error
        there = seen[after][key]
        yield {"after": after, "key": key, "expected": wanted, "seen": there, "met": met}


def start(scenario: Mapping[str, Any], *, strict: bool = False) -> tuple[Config, State]:
    """Return the riser and its state at the start of a scenario, settled.

    Parameters
    ----------
    scenario
        As in the schema.
    strict
        Refuse faults and positions of parts that this type does not have.

    Raises
    ------
    ScenarioError
        When type, configuration, fault or starting position is not accepted.
    """
    name = _text(scenario, "id")
    try:
        config = make_config(_text(scenario, "system_type"), _mapping(name, scenario, "config"))
    except ValueError as error:
        raise ScenarioError(f"{name} {error}") from error
    state = normal_state(config)
    known = faults_of(config) if strict else FAULTS
    faults = scenario.get("faults", [])
    if not isinstance(faults, list):
        raise ScenarioError(f"{name} faults: {faults!r}; accepted: a list")
    for fault in faults:
        if fault not in known:
            raise ScenarioError(f"{name} faults: {fault!r}; accepted: {', '.join(known)}")
        state = state._replace(faults=with_name(state.faults, fault))
    for key, value in _mapping(name, scenario, "initial").items():
        if strict and key != "control" and key not in hand_valves(config):
            accepted = ", ".join(["control", *hand_valves(config)])
            raise ScenarioError(f"{name} initial: {key} is not on this riser; accepted: {accepted}")
        state = _placed(name, state, key, value)
    return config, settle(config, state)._replace(hazards=[], trip_psi=None)


def _placed(name: str, state: State, key: str, value: Any) -> State:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if key == "control" and number and 0 <= value <= 100:
        return state._replace(control_pct=float(value))
    if key in state.hand and isinstance(value, bool):
        return with_hand(state, key, value)
    accepted = f"control (0 to 100), or true/false for {', '.join(sorted(state.hand))}"
    raise ScenarioError(f"{name} initial: {key}={value!r}; accepted: {accepted}")


def action_of(place: str, step: Mapping[str, Any]) -> Action:
    """Return the action a step describes.

    Raises
    ------
    ScenarioError
        When the step names no action of the model or lacks what that action needs.
    """
    do = step.get("do")
    if not isinstance(do, str):
        raise ScenarioError(f"{place} do: {do!r}; accepted: {_TEXT}")
    if do not in EFFECTS and do not in ("wait", "settle"):
        accepted = ", ".join([*EFFECTS, "wait", "settle"])
        raise ScenarioError(f"{place} do: {do!r}; accepted: {accepted}")
    for field, kind in _NEEDS.get(do, {}).items():
        if not _is(kind, step.get(field)):
            raise ScenarioError(f"{place} {field}: {step.get(field)!r}; accepted: {kind}")
    for field, kind in _KINDS.items():
        if field in step and not _is(kind, step[field]):
            raise ScenarioError(f"{place} {field}: {step[field]!r}; accepted: {kind}")
    fields = {key: value for key, value in step.items() if key != "do"}
    extra = set(fields) - set(Action._fields[1:])
    if extra:
        raise ScenarioError(f"{place}: {sorted(extra)}; accepted: {', '.join(Action._fields[1:])}")
    if step.get("rate", "slow") not in ("slow", "fast"):
        raise ScenarioError(f"{place} rate: {step['rate']!r}; accepted: slow, fast")
    return Action(do, **fields)


def matches(wanted: Any, seen: Any) -> bool:
    """Tell whether what is seen is what was wanted: equal, or within a matcher of the schema.

    Raises
    ------
    ScenarioError
        When a matcher is unknown.
    """
    if not isinstance(wanted, dict):
        return bool(wanted == seen)
    for matcher, value in wanted.items():
        if matcher not in (*_NUMERIC, *_LISTS):
            raise ScenarioError(f"{matcher!r}; accepted: {', '.join((*_NUMERIC, *_LISTS))}")
        right = isinstance(value, list if matcher in _LISTS else int | float)
        if not right or isinstance(value, bool):
            accepted = "a list" if matcher in _LISTS else "a number"
            raise ScenarioError(f"{matcher}: {value!r}; accepted: {accepted}")
    if isinstance(seen, list):
        has, lacks = wanted.get("has", []), wanted.get("lacks", [])
        numeric = any(matcher in wanted for matcher in _NUMERIC)
        return not numeric and all(n in seen for n in has) and not any(n in seen for n in lacks)
    if not isinstance(seen, int | float) or isinstance(seen, bool):
        return False
    return (
        abs(seen - wanted.get("approx", seen)) <= wanted.get("tol", 0.0)
        and wanted.get("min", seen) <= seen <= wanted.get("max", seen)
        and not any(matcher in wanted for matcher in _LISTS)
    )


def _is(kind: str, value: Any) -> bool:
    if kind == _TEXT:
        return isinstance(value, str) and len(value) <= _LONGEST
    if kind == _SWITCH:
        return isinstance(value, bool)
    return isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= _LARGEST


def _list(place: str, source: Mapping[str, Any], field: str) -> list[Mapping[str, Any]]:
    value = source.get(field, [])
    if not isinstance(value, list) or not all(isinstance(each, dict) for each in value):
        raise ScenarioError(f"{place} {field}: accepted: a list of objects".strip())
    return value


def _mapping(place: str, source: Mapping[str, Any], field: str) -> dict[str, Any]:
    value = source.get(field, {})
    if not isinstance(value, dict):
        raise ScenarioError(f"{place} {field}: {value!r}; accepted: an object")
    return value


def _text(scenario: Mapping[str, Any], field: str) -> str:
    value = scenario.get(field)
    if not isinstance(value, str):
        raise ScenarioError(f"{field}: {value!r}; accepted: a text")
    return value
