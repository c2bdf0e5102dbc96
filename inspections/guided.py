"""Where a riser stands after the steps of a guided task that are recorded, as the tablet has it."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from django.utils.translation import gettext as _

from buildings import units
from buildings.models import Device
from inspections import mismatches, trips
from inspections.events.envelope import Event
from inspections.sequence.guide import (
    Refusal,
    Step,
    done_step,
    guide,
    refusal_of,
    step_now,
    worked_from,
)
from inspections.sequence.pointing import FIGURES, PSI, recorded
from inspections.sequence.state import State, normal_state
from inspections.sequence.steps import ROWS, tasks_of
from inspections.sequence.types import Config, make_config
from inspections.sequence.words import word

STARTS, SHUTS = mismatches.STARTS, "shut_control"
TURNS = "turns"
SIGNALS = "signals"
# Reading of a step -> the gauge that it is taken at.
_GAUGE_OF = {
    "supply_gauge": "gauge_supply",
    "system_gauge": "gauge_system",
    "prime_gauge": "gauge_prime",
    "pilot_gauge": "gauge_pilot",
    "flowing_gauge": "gauge_supply",
    "residual": "gauge_supply",
    "static_after": "gauge_supply",
}
# As found, a gauge is held against what this riser's own record says.
_KNOWN_BY = {
    "gauge_supply": "supply",
    "gauge_prime": "supply",
    "gauge_system": "air_set",
    "gauge_pilot": "pilot_set",
}
_VALUES = {
    "panel": ("normal", "alarm", "supervisory", "trouble", "dark"),
    "qod": ("set", "tripped"),
}
_WATER = ("none", "air", "water")
_USUAL_SIGNALS = (
    *("waterflow", "low_air", "high_air", "tamper", "release_disconnected"),
    *("release_circuit_open", "ac_fail"),
)


class Figure(NamedTuple):
    """A gauge or the turns of a valve: its key, its name, and what is expected (psi or turns)."""

    key: str
    name: str
    expected: float | None


class Standing(NamedTuple):
    """A guided task at a valve, as far as it is recorded.

    `steps` are all of it in their usual order, `done` the codes of those that count, `last` the
    last record of each by its code, in this run.
    """

    task: str
    config: Config
    state: State
    done: list[str]
    steps: list[Step]
    last: dict[str, Event]
    overrides: dict[str, Any]

    def step(self, code: str) -> Step:
        """Return a step as it is to be done now, with what must be seen."""
        found = step_now(self.config, self.state, code)
        if code != STARTS:
            return found
        expected = {
            key: value
            for key, value in found.expected.items()
            if key not in _KNOWN_BY or _KNOWN_BY[key] in self.overrides
        }
        return found._replace(expected=expected)

    def against(self, code: str) -> Refusal:
        """Return what stands against doing a step now."""
        return refusal_of(self.config, self.task, self.state, self.done, code)

    def following(self, code: str) -> str:
        """Return the next step after one that is not done; empty after the last."""
        codes = [one.code for one in self.steps]
        later = codes[codes.index(code) + 1 :] if code in codes else codes
        return next((one for one in later if one not in self.done), "")


def standing(device: Device, task: str, steps: Sequence[Event]) -> Standing | None:
    """Return where a task stands; None where the valve has no such task.

    Parameters
    ----------
    steps
        All steps recorded on the visit, of any valve. A new run begins with the readings as found.
    """
    kind = trips.system_type(device.system) if device.system else None
    overrides = trips.overrides_of(device) if kind else {}
    if kind is None or task not in tasks_of(make_config(kind, overrides)):
        return None
    here = [one for one in steps if one.payload["device"] == str(device.pk)]
    run = next(reversed(mismatches.runs(here)), [])
    config = make_config(kind, _as_found(kind, overrides, run))
    state = normal_state(config)
    done: list[str] = []
    for event in run:
        code = event.payload["step"]
        if code not in ROWS:
            continue
        broke = refusal_of(config, task, state, done, code).warnings
        state = done_step(config, state, step_now(config, state, code))
        done = [one for one in done if one != code] + ([] if broke else [code])
    last = {event.payload["step"]: event for event in run}
    return Standing(task, config, state, done, guide(config, task), last, overrides)


def _as_found(kind: str, overrides: dict[str, Any], run: Sequence[Event]) -> dict[str, Any]:
    if not run or run[0].payload["step"] != STARTS:
        return overrides
    try:
        return worked_from(kind, overrides, recorded(dict(run[0].payload["seen"])))
    except (TypeError, ValueError):
        return overrides


def task_words(system_type: str, task: str) -> str:
    """Return what a task is called at a type of system: a wet riser is not tripped."""
    if task == "trip_test" and system_type.startswith("wet"):
        return _("Alarm and main drain test")
    return word("en", f"task.{task}")


def figures_of(step: Step) -> list[Figure]:
    """Return the figures that are read at a step: its readings, then gauges that are looked at."""
    found: dict[str, Figure] = {}
    for reading in step.readings:
        key = _GAUGE_OF.get(reading.name, reading.name)
        expected = step.expected.get(key)
        found[key] = Figure(key, word("en", f"reading.{reading.name}"), expected)
    for key in FIGURES:
        if key in step.expected and key not in found:
            found[key] = Figure(key, word("en", f"seen.{key}"), step.expected[key])
    return list(found.values())


def values_of(key: str, expected: Any) -> list[Any]:
    """Return what may be seen for a key that is no figure."""
    if isinstance(expected, bool):
        return [True, False]
    if key == SIGNALS:
        return list(dict.fromkeys([*expected, *_USUAL_SIGNALS]))
    return list(_VALUES.get(key, _WATER))


def value_words(key: str, value: Any) -> str:
    """Return the words of what is seen for a key."""
    if key == SIGNALS and isinstance(value, list):
        return ", ".join(signal_words(one) for one in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return word("en", f"panel.{value}" if key == "panel" else f"value.{value}")


def signal_words(signal: str) -> str:
    """Return the words of a signal, with its zone."""
    name, _colon, zone = signal.partition(":")
    return f"{word('en', f'signal.{name}')} {zone.removeprefix('z')}".strip()


def pressure(psi: float, system_of_units: str) -> str:
    """Return a pressure of the model as it is written at a building."""
    return units.show(units.to_si(psi, "psi"), "pressure", system_of_units)


def named(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is expected or seen as the record holds it, units in the names of figures."""
    kept: dict[str, Any] = {}
    for key, value in values.items():
        if isinstance(value, list):
            kept[key] = ", ".join(value) or "none"
        elif isinstance(value, int | float) and not isinstance(value, bool):
            kept[key if key == TURNS else f"{key}{PSI}"] = f"{round(value, 1):g}"
        elif value is not None:
            kept[key] = value
    return kept


def printed(device: Device, task: str, system_of_units: str) -> list[dict[str, Any]]:
    """Return the steps of a task as a blank prints them: what to do, what must be seen."""
    fresh = standing(device, task, [])
    if fresh is None:
        return []
    return [_printed(fresh, step, system_of_units) for step in fresh.steps]


def _printed(at: Standing, step: Step, system_of_units: str) -> dict[str, Any]:
    figures = [
        {
            "name": figure.name,
            "expected": _expected(figure, system_of_units) if step.code != STARTS else "",
        }
        for figure in figures_of(step)
    ]
    return {
        "code": step.code,
        "words": word("en", f"step.{step.code}"),
        "do": word("en", f"do.{step.code}"),
        "caution": word("en", f"caution.{step.caution}") if step.caution else "",
        "figures": figures,
        "seen": expected_words(step),
        "timers": [word("en", f"timer.{name}") for name in step.timers],
    }


def _expected(figure: Figure, system_of_units: str) -> str:
    if figure.expected is None:
        return ""
    if figure.key == TURNS:
        return f"{figure.expected:g}"
    return pressure(figure.expected, system_of_units)


def expected_words(step: Step) -> list[str]:
    """Return what must be seen at a step besides figures, each in words."""
    return [
        f"{word('en', f'seen.{key}')}: {value_words(key, value)}"
        for key, value in step.expected.items()
        if key not in FIGURES
    ]
