"""The guide through a trip test and its restoration: what is next, what must be seen, what is off.

Steps and their order are data (`steps`); what must be seen comes from the model, started from
where this riser stands. An order that breaks a rule is never proposed; done anyway it is kept,
with what it broke.
"""

# ruff: noqa: PERF401 - the portable subset has neither comprehensions nor stars.

from typing import Any, NamedTuple

from inspections.sequence.acts import act
from inspections.sequence.constraints import Breach, constraints_of, warnings_before
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, State, normal_state
from inspections.sequence.step_acts import acts_of
from inspections.sequence.steps import ROWS, codes_of, waits_for
from inspections.sequence.types import Config, make_config

GAUGE_TOLERANCE_PSI = 3.0


class Reading(NamedTuple):
    """A figure asked from the technician; ``expected`` psi or turns, None where none is known."""

    name: str
    quantity: str
    expected: float | None


class Step(NamedTuple):
    """One step of a task as it is to be done now.

    ``by`` is ``model`` or ``person`` (attested only). ``acts`` are what to do, in order, for the
    model; ``expected`` what must be seen after them. ``caution`` is the word key of the hazard at
    the act, empty if none. ``items`` are numbers of the end-state list.
    """

    code: str
    phase: str
    by: str
    acts: list[Action]
    expected: dict[str, Any]
    caution: str
    constraints: list[str]
    timers: list[str]
    readings: list[Reading]
    items: list[int]


class Refusal(NamedTuple):
    """Why a step should not be done yet: steps that come first, and rules it would break."""

    missing: list[str]
    warnings: list[Breach]


class Mismatch(NamedTuple):
    """One thing seen otherwise than it must be; ``name`` is an observation key or a signal."""

    name: str
    expected: Any
    seen: Any


def guide(config: Config, task: str) -> list[Step]:
    """Return all steps of a task in their usual order, worked through from the normal state.

    Parameters
    ----------
    config
        The riser.
    task
        One of `tasks_of`: ``trip_test``, ``restoration`` and what else its type has.

    Raises
    ------
    ValueError
        When the riser has no such task.
    """
    state = normal_state(config)
    steps: list[Step] = []
    for code in codes_of(config, task):
        step = step_now(config, state, code)
        steps.append(step)
        state = done_step(config, state, step)
    return steps


def next_steps(config: Config, task: str, state: State, done: list[str]) -> list[Step]:
    """Return the steps that are safe now, in their usual order.

    Parameters
    ----------
    config, task
        The riser and what is done on it.
    state
        Where the model stands after what was recorded.
    done
        Codes of the steps that are done.
    """
    steps: list[Step] = []
    for code in codes_of(config, task):
        if code in done:
            continue
        refusal = refusal_of(config, task, state, done, code)
        if len(refusal.missing) == 0 and len(refusal.warnings) == 0:
            steps.append(step_now(config, state, code))
    return steps


def refusal_of(config: Config, task: str, state: State, done: list[str], code: str) -> Refusal:
    """Return what stands against a step now; both lists are empty when it is safe."""
    missing: list[str] = []
    for earlier in waits_for(codes_of(config, task), code):
        if earlier not in done:
            missing.append(earlier)
    warnings: list[Breach] = []
    for action in acts_of(config, state, code):
        warnings = warnings + warnings_before(config, state, action)
        state = act(config, state, action)
    return Refusal(missing=missing, warnings=warnings)


def step_now(config: Config, state: State, code: str) -> Step:
    """Return a step with its acts and what must be seen, from where the riser stands."""
    row = ROWS[code]
    acts = acts_of(config, state, code)
    seen = observe(config, after_acts(config, state, acts))
    expected: dict[str, Any] = {}
    for key in row.get("see", []):
        if seen[key] is not None and is_seen(config, key):
            expected[key] = seen[key]
    applicable = constraints_of(config)
    constraints: list[str] = []
    for constraint in row.get("constraints", []):
        if constraint in applicable:
            constraints.append(constraint)
    return Step(
        code=code,
        phase=phase_of(code),
        by=row.get("by", "model"),
        acts=acts,
        expected=expected,
        caution=row.get("caution", ""),
        constraints=constraints,
        timers=row.get("timers", []),
        readings=readings_of(row, seen),
        items=row.get("items", []),
    )


def is_seen(config: Config, key: str) -> bool:
    """Tell whether there is anything to look at for an observation on such a riser."""
    if key in ("solenoid_energised", "solenoid_open"):
        return config.has_detection
    if key == "gong":
        return config.valve != "none"
    if key == "drip_release_drain":
        return config.valve == "prime"
    return key != "gauge_system" or not config.open_nozzles


def readings_of(row: dict[str, Any], seen: dict[str, Any]) -> list[Reading]:
    """Return the readings that a step asks, those of gauges that are not fitted left out."""
    readings: list[Reading] = []
    for name_quantity_gauge in row.get("readings", []):
        name = name_quantity_gauge[0]
        quantity = name_quantity_gauge[1]
        gauge = name_quantity_gauge[2]
        if gauge == "":
            readings.append(Reading(name=name, quantity=quantity, expected=None))
        elif seen[gauge] is not None:
            readings.append(Reading(name=name, quantity=quantity, expected=seen[gauge]))
    return readings


PREPARING = ["as_found", "permissions"]
TESTING = [
    "main_drain_test",
    "main_drain_shut",
    "inspectors_test",
    "inspectors_test_shut",
    "throttle",
    "lose_air",
    "restore_air",
    "first_zone",
    "detection_alone",
    "detection_cleared",
    "detection",
    "operate_pilot",
    "air_loss_trip",
    "flow",
    "drain_below",
    "release_water_shut",
]
ENDING = ["put_back", "off_test", "tell_owner", "recheck_low_points"]


def phase_of(code: str) -> str:
    """Return the part of a task a step belongs to: before, test, restoration or end."""
    if code in PREPARING:
        return "before"
    if code in TESTING:
        return "test"
    if code in ENDING:
        return "end"
    return "restoration"


def after_acts(config: Config, state: State, acts: list[Action]) -> State:
    """Return the state after the acts in order."""
    for action in acts:
        state = act(config, state, action)
    return state


def done_step(config: Config, state: State, step: Step) -> State:
    """Return the state after a step done as it is written."""
    return after_acts(config, state, step.acts)


def compare(expected: dict[str, Any], seen: dict[str, Any]) -> list[Mismatch]:
    """Name everything that was seen otherwise than it must be.

    Parameters
    ----------
    expected
        Of a step: observation key to value, psi gauge.
    seen
        What was recorded, under the same keys; what was not looked at is left out and counts
        neither for nor against. Signals are a list, each is compared by itself.

    Notes
    -----
    Gauges agree within 3 psi (common practice, no source): a dial is read to half a division.
    """
    found: list[Mismatch] = []
    for key in expected:
        if key not in seen or seen[key] is None:
            continue
        if key == "signals":
            found = found + compared_signals(expected[key], seen[key])
        elif not agrees(expected[key], seen[key]):
            found.append(Mismatch(name=key, expected=expected[key], seen=seen[key]))
    return found


def worked_from(
    system_type: str, overrides: dict[str, Any], seen: dict[str, Any]
) -> dict[str, Any]:
    """Return the overrides of a riser with what its gauges read as found, where that makes sense.

    Parameters
    ----------
    system_type, overrides
        As `make_config` takes them.
    seen
        What was read as found: observation key to psi gauge.
    """
    usual = make_config(system_type, overrides)
    known: dict[str, Any] = {}
    for name in overrides:
        known[name] = overrides[name]
    if seen.get("gauge_supply", 0.0) > 0.0:
        known["supply"] = seen["gauge_supply"]
    if usual.air and usual.low_air < seen.get("gauge_system", 0.0) < usual.high_air:
        known["air_set"] = seen["gauge_system"]
    if usual.pilot and seen.get("gauge_pilot", 0.0) > usual.pilot_trip:
        known["pilot_set"] = seen["gauge_pilot"]
    return known


def compared_signals(expected: list[str], seen: list[str]) -> list[Mismatch]:
    """Name each signal that is missing or that should not be there."""
    found: list[Mismatch] = []
    for signal in expected:
        if signal not in seen:
            found.append(Mismatch(name=signal, expected=True, seen=False))
    for signal in seen:
        if signal not in expected:
            found.append(Mismatch(name=signal, expected=False, seen=True))
    return found


def agrees(expected: Any, seen: Any) -> bool:
    """Tell whether a value is the expected one, a gauge within its tolerance."""
    if is_number(expected) and is_number(seen):
        gap: float = abs(expected - seen)
        return gap <= GAUGE_TOLERANCE_PSI
    same: bool = expected == seen
    return same


def is_number(value: Any) -> bool:
    """Tell whether a value is a number and no truth value."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)
