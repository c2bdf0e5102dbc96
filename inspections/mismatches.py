"""What was seen otherwise than expected at the steps of a visit, and what it points to.

The tablet names the same at once; both work from the steps as they stand in the record.
"""

import time
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple
from uuid import UUID

from django.utils.translation import gettext as _

from buildings import units
from buildings.models import Device
from inspections import trips
from inspections.events.envelope import Event
from inspections.sequence.checks import Check
from inspections.sequence.diagnosis import POSITION, Explanation
from inspections.sequence.fault_words import FAULT_WORDS, fault_word
from inspections.sequence.guide import Mismatch, worked_from
from inspections.sequence.pointing import FIGURES, Done, Pointed, otherwise, pointed, recorded
from inspections.sequence.steps import ROWS
from inspections.sequence.types import Config, make_config
from inspections.sequence.words import word

STARTS = "as_found"
MOST_SHOWN = 8
LONGEST_SEARCH_S = 0.5


class Likely(NamedTuple):
    """What a step points to, in words.

    ``causes`` are ranked; ``more`` counts those left out; ``is_whole`` is false when the search
    was called off; ``lately`` is true where they fit only as begun at this step. ``check`` is
    empty where nothing on the riser tells the causes apart; ``outcomes`` pairs what it will show
    with the causes that say so.
    """

    causes: list[str]
    more: int
    is_whole: bool
    lately: bool
    check: str
    outcomes: list[tuple[str, str]]
    questions: list[str]


def of_step(payload: Mapping[str, Any]) -> list[Mismatch]:
    """Return what a recorded step showed otherwise than expected; nothing where it can't be read.

    Notes
    -----
    What a step lacks counts neither way. Gauges agree within 3 psi; signals are a set.
    """
    try:
        expected, seen = recorded(dict(payload["expected"])), recorded(dict(payload["seen"]))
    except (TypeError, ValueError):
        return []
    return otherwise(payload["step"], expected, seen)


def likely(steps: Sequence[Event], system_of_units: str = "us") -> dict[UUID, Likely]:
    """Return what each step with a mismatch points to, by the id of its entry.

    Parameters
    ----------
    steps
        The steps of a visit in their order, of any number of valves.
    system_of_units
        ``us`` or ``metric``, for the pressures that a check is to show.
    """
    odd = {UUID(one.payload["device"]) for one in steps if of_step(one.payload)}
    until = time.monotonic() + LONGEST_SEARCH_S
    found: dict[UUID, Likely] = {}
    for device in Device.objects.filter(pk__in=odd).select_related("system"):
        here = [one for one in steps if one.payload["device"] == str(device.pk)]
        for run in runs(here):
            found |= _of_run(device, run, until, system_of_units)
    return found


def runs(steps: Iterable[Event]) -> list[list[Event]]:
    """Take the steps at a valve apart: a new run begins with the readings as found."""
    runs: list[list[Event]] = []
    for one in steps:
        if not runs or one.payload["step"] == STARTS:
            runs.append([])
        runs[-1].append(one)
    return runs


def _of_run(
    device: Device, run: list[Event], until: float, system_of_units: str
) -> dict[UUID, Likely]:
    kind = trips.system_type(device.system) if device.system else None
    if kind is None or not all(one.payload["step"] in ROWS for one in run):
        return {}
    try:
        done = [Done(one.payload["step"], recorded(dict(one.payload["seen"]))) for one in run]
        read = done[0].seen if done[0].code == STARTS else {}
        config = make_config(kind, worked_from(kind, trips.overrides_of(device), read))
    except (TypeError, ValueError):
        return {}
    return {
        one.id: _in_words(_pointed(config, done[: place + 1], until), system_of_units)
        for place, one in enumerate(run)
        if of_step(one.payload)
    }


def _pointed(config: Config, done: list[Done], until: float) -> Pointed:
    """Try single faults, and two at once where none fits and there is time."""
    single = pointed(config, done, {}, 1)
    if single.explanations:
        return single
    return pointed(config, done, {}, 2, lambda: time.monotonic() < until)


def _in_words(found: Pointed, system_of_units: str) -> Likely:
    shown = found.explanations[:MOST_SHOWN]
    check = found.checks[0] if found.checks else None
    return Likely(
        causes=[_causes(each) for each in shown],
        more=len(found.explanations) - len(shown),
        is_whole=found.complete,
        lately=found.lately,
        check=f"{fault_word(f'check.{check.code}')}: {_look(check.look)}" if check else "",
        outcomes=_outcomes(check, found.explanations, system_of_units) if check else [],
        questions=[fault_word(f"ask.{each}") for each in found.questions],
    )


def _causes(each: Explanation) -> str:
    codes = each.causes or each.left
    words = ", ".join(fault_word(f"cause.{code}") for code in codes)
    return words or _("Nothing wrong; a reading may be")


def _look(look: str) -> str:
    if look.startswith(POSITION):
        return fault_word(f"place.{look.removeprefix(POSITION)}")
    key = f"seen.{look}"
    return FAULT_WORDS.get(key) or word("en", key)


def _outcomes(
    check: Check, explanations: list[Explanation], system_of_units: str
) -> list[tuple[str, str]]:
    return [
        (
            _value(check.look, value, system_of_units),
            "; ".join(_causes(explanations[place]) for place in places),
        )
        for value, places in check.outcomes
    ]


def _value(look: str, value: Any, system_of_units: str) -> str:
    if value is None:
        return _("nothing to see")
    if look in FIGURES:
        return units.show(units.to_si(value, "psi"), "pressure", system_of_units)
    if look.startswith(POSITION):
        if isinstance(value, bool):
            return _("open") if value else _("shut")
        return _("%(n)s %% open") % {"n": round(value)}
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, list):
        return ", ".join(_signal(one) for one in value) or _("none")
    return word("en", f"panel.{value}" if look == "panel" else f"value.{value}")


def _signal(one: str) -> str:
    name, _sep, zone = one.partition(":")
    key = f"panel.{name}" if word("en", f"signal.{name}") == f"signal.{name}" else f"signal.{name}"
    return f"{word('en', key)} {zone.removeprefix('z')}".strip()
