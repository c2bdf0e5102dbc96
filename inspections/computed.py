"""Judgements by computation, kept beside their readings so that they can be evaluated again.

What is kept is plain JSON: name and version of the computation, its inputs in SI to the last bit,
and what it gave. A criterion of the rules is kept likewise, with the facts that it rested on.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any

from buildings import units
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity
from inspections.conditions.compiled import compile_condition
from inspections.conditions.facts import Answer, Fact, Facts, Kind, Origin, Shape, Vocabulary
from inspections.conditions.units import Unit
from inspections.hydraulics.computation import Computation, InputRefused, Outcome
from inspections.hydraulics.index import computation
from inspections.vocabulary import ReadingVocabulary

CRITERION = "criterion"
# Rises whenever the language of criteria may come to another answer.
CRITERION_VERSION = 1

Now = Mapping[str, float]
Past = Mapping[str, Sequence[float]]
Inputs = dict[str, Any]


def _main_drain(now: Now, past: Past, facts: Facts) -> Inputs | None:
    residuals = [value for value in past.get("residual_pressure", ()) if value > 0.0]
    return {
        "current_residual": now["residual_pressure"],
        "previous_residual": residuals[-1] if residuals else None,
        "earlier_residuals": residuals[:-1] or None,
        "static": now.get("static_pressure"),
        "static_after": now.get("restored_pressure"),
        "previous_static": _last(past.get("static_pressure")),
    }


def _alarm(now: Now, past: Past, facts: Facts, basis: str) -> Inputs | None:
    return {"t": now["time_to_alarm"], "basis": basis}


def _low_air(now: Now, past: Past, facts: Facts) -> Inputs | None:
    if "normal_pressure" not in now:
        return None
    return {"normal": now["normal_pressure"], "signal_at": now["signal_pressure"]}


def _trip(now: Now, past: Past, facts: Facts) -> Inputs | None:
    delivery = now.get("delivery_time")
    of_which = "baseline_trip_time" if delivery is None else "baseline_delivery_time"
    at_acceptance = facts.look_up(f"item.{of_which}").value
    if not isinstance(at_acceptance, int | float):
        return None
    given = {"trip": now["trip_time"], "delivery": delivery}
    return given | {"acceptance": float(at_acceptance)}


@dataclass(frozen=True, slots=True)
class _Asked:
    """A computation that judges a reading, of one component or ("") of any."""

    name: str
    component: str
    inputs: Callable[[Now, Past, Facts], Inputs | None]


_GONG, _SWITCH = "local audible, sprinkler standard", "electrical, fire alarm code"
_BY_READING: Mapping[str, _Asked] = {
    "residual_pressure": _Asked("main_drain_change", "main_drain", _main_drain),
    "signal_pressure": _Asked("low_air_signal", "", _low_air),
    "trip_time": _Asked("trip_test_times", "", _trip),
}


def _asked(activity: Activity, name: str) -> _Asked | None:
    if name == "time_to_alarm":
        basis = _GONG if activity.id == "waterflow-mechanical-test" else _SWITCH
        return _Asked("waterflow_alarm_time", "", partial(_alarm, basis=basis))
    found = _BY_READING.get(name)
    return found if found and found.component in ("", activity.component) else None


def of_reading(
    activity: Activity, name: str, now: Now, past: Past, facts: Facts, system: str
) -> dict[str, Any] | None:
    """Return what a computation says to a reading, as it is kept; None where none judges it.

    Parameters
    ----------
    name
        Of the reading that the computation is asked about.
    now, past
        The readings of this visit and of earlier ones (oldest first) at the item, SI.
    facts
        What else is known of the item.
    system
        "us" or "metric": how reason and refusal write values.
    """
    asked = _asked(activity, name)
    inputs = asked.inputs(now, past, facts) if asked else None
    if asked is None or inputs is None:
        return None
    given = {key: value for key, value in inputs.items() if value is not None}
    return _evaluated(computation(asked.name), given, system)


def of_test(name: str, inputs: Mapping[str, Any], system: str) -> dict[str, Any]:
    """Return what a computation says to a test of several readings, as it is kept."""
    return _evaluated(computation(name), inputs, system)


def again(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the same version of the computation says to the inputs of a kept judgement."""
    asked = computation(kept["name"]).at(kept["version"])
    return _evaluated(asked, kept["inputs"], kept["units"])


def warnings_of(kept: Mapping[str, Any] | None) -> list[str]:
    """Return what a reader of a kept judgement has to be told: doubts, or why it is impossible."""
    return [*kept["warnings"], *([kept["refused"]] if kept["refused"] else [])] if kept else []


def _evaluated(asked: Computation, inputs: Mapping[str, Any], system: str) -> dict[str, Any]:
    kept: dict[str, Any] = {"name": asked.name, "inputs": dict(inputs), "units": system}
    try:
        outcome = asked.evaluate(inputs, partial(units.show, system=system))
    except InputRefused as refused:
        why = f"{refused.field.replace('_', ' ')}: {refused.accepted} ({refused.why})"
        return kept | _NOTHING | {"version": asked.version, "refused": why}
    return kept | told(outcome) | {"refused": ""}


_NOTHING: dict[str, Any] = {
    "values": {},
    "verdict": "",
    "limit": None,
    "margin": None,
    "reason": "",
    "warnings": [],
}


def told(outcome: Outcome) -> dict[str, Any]:
    """Return an outcome as JSON data in SI, unrounded."""
    return {
        "version": outcome.version,
        "values": {name: value.value for name, value in outcome.values.items()},
        "verdict": outcome.verdict or "",
        "limit": outcome.limit and outcome.limit.value,
        "margin": outcome.margin and outcome.margin.value,
        "reason": outcome.reason,
        "warnings": list(outcome.warnings),
    }


# --- criteria of the rules -----------------------------------------------------------------------


def of_criterion(activity: Activity, rules: Catalogue, answer: Answer) -> dict[str, Any]:
    """Return a criterion's answer with the facts that it rests on, in SI, as it is kept."""
    assert activity.criterion is not None
    words = _vocabulary(activity, rules)
    return {
        "name": CRITERION,
        "version": CRITERION_VERSION,
        "text": activity.criterion.text,
        "inputs": [
            {"name": fact.name, "si": _si(fact, words), "origin": fact.origin.value}
            for fact in answer.facts
        ],
        "value": answer.value,
    }


def criterion_again(kept: Mapping[str, Any], activity: Activity, rules: Catalogue) -> bool | None:
    """Return what a criterion comes to with the facts of a kept answer.

    Parameters
    ----------
    activity, rules
        The activity and the catalogue that say which names there are and of what type.
    """
    words = _InSI(_vocabulary(activity, rules))
    return compile_condition(kept["text"], words).evaluate(_Kept(kept["inputs"], words)).value


def _vocabulary(activity: Activity, rules: Catalogue) -> ReadingVocabulary:
    limits = {limit.name: limit.unit for limit in rules.limits}
    return ReadingVocabulary(rules.kinds, activity.subjects, limits, activity.readings)


def _si(fact: Fact, words: Vocabulary) -> Any:
    value, kind = fact.value, words.kind_of(fact.name)
    if isinstance(value, date):
        return value.isoformat()
    if kind is None or isinstance(value, bool | str | None):
        return value
    return kind.unit.to_si(value)


@dataclass(frozen=True, slots=True)
class _InSI:
    """The names of a vocabulary with every figure in SI."""

    words: Vocabulary

    def kind_of(self, name: str) -> Kind | None:
        kind = self.words.kind_of(name)
        return replace(kind, unit=Unit(kind.unit.dimension)) if kind else None


class _Kept:
    """The facts of a kept answer; what it did not rest on is unknown."""

    def __init__(self, inputs: Sequence[Mapping[str, Any]], words: Vocabulary) -> None:
        self.inputs = {one["name"]: one for one in inputs}
        self.words = words

    def look_up(self, name: str) -> Fact:
        one = self.inputs.get(name)
        if one is None:
            return Fact(name, None, Origin.UNKNOWN)
        kind, value = self.words.kind_of(name), one["si"]
        if kind is not None and kind.shape is Shape.DATE and isinstance(value, str):
            value = date.fromisoformat(value)
        return Fact(name, value, Origin(one["origin"]))


def _last(values: Sequence[float] | None) -> float | None:
    return values[-1] if values else None
