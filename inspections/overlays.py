"""Rules laid over a version of the catalogue as data: amendments by authorities, contractors' own.

The version itself never changes. The same version under the same rules is made once, however many
buildings they hold for. Knows no Django.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from inspections import intervals
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import OWN, Activity, Change
from inspections.conditions.compiled import Condition, compile_condition
from inspections.conditions.units import Unit
from inspections.intervals import Span
from inspections.vocabulary import ItemVocabulary, ReadingVocabulary

AMENDMENTS = ("off", "frequency", "criterion")
_ALWAYS = "True"


@lru_cache(maxsize=512)
def laid_over(base: Catalogue, changes: tuple[Change, ...]) -> Catalogue:
    """Return a version with rules laid over it; the version itself where there are none.

    Amendments count first, the later one where two amend the same; then the contractor's own,
    which only ever tighten: the shortest frequency holds, its criterion holds besides the one that
    is there, and what an authority does without is still done where the contractor has bound itself
    to do it more often.

    Parameters
    ----------
    changes
        In the order in which they came into force.

    Raises
    ------
    ValueError
        When a condition does not fit this version's dictionary.
    """
    if not changes:
        return base
    rows = dict(base.activities)
    for change in sorted(changes, key=lambda one: _ORDER[one.act]):
        if change.act == "own":
            rows[change.activity] = own_activity(base, change)
        elif change.activity in rows:
            rows[change.activity] = _changed(base, rows[change.activity], change)
    digest = hashlib.sha256(repr((base.digest, changes)).encode()).hexdigest()
    version = f"{base.version}.{digest[:8]}"
    takes_in = tuple(change for change in changes if change.act == "takes_in")
    return replace(base, version=version, digest=digest, activities=rows, takes_in=takes_in)


_ORDER = {"off": 0, "frequency": 0, "criterion": 0, "stricter": 1, "own": 2, "takes_in": 3}


def _changed(base: Catalogue, activity: Activity, change: Change) -> Activity:
    changes = (*activity.changes, change)
    match change.act:
        case "off":
            return replace(activity, changes=changes, switched_off=change)
        case "frequency":
            frequency = repeat(change.frequency)
            return replace(activity, changes=changes, frequency=frequency, switched_off=None)
        case "criterion":
            return _judged(base, activity, change, change.criterion, change.criterion)
        case _:
            return _tightened(base, activity, change)


def _judged(base: Catalogue, activity: Activity, change: Change, text: str, words: str) -> Activity:
    """Return an activity with another criterion; what a person judged still has one to judge it."""
    wholly = activity.criterion_is == "expr"
    return replace(
        activity,
        changes=(*activity.changes, change),
        criterion=criterion_of(base, activity, text),
        criterion_text=words,
        criterion_is="expr" if wholly else "part",
    )


def _tightened(base: Catalogue, activity: Activity, change: Change) -> Activity:
    if change.criterion:
        activity = _judged(base, activity, change, *_both(activity, change.criterion))
    if not change.frequency or activity.frequency is None:
        return activity
    frequency = repeat(change.frequency)
    if activity.switched_off is None and not is_shorter(frequency, activity.frequency):
        return activity
    laid = activity.changes if change in activity.changes else (*activity.changes, change)
    return replace(activity, changes=laid, frequency=frequency, switched_off=None)


def _both(activity: Activity, criterion: str) -> tuple[str, str]:
    """Return a criterion that asks what was asked and one more thing: expression and words."""
    told = activity.criterion_text
    if activity.criterion is None:
        return criterion, f"{told}; expr: {criterion}" if told else criterion
    both = f"({activity.criterion.text}) and ({criterion})"
    return both, f"{told}; and {criterion}" if told else both


def is_shorter(one: Span, other: Span) -> bool:
    """Say whether one interval is shorter than another."""
    return one.nominal_days < other.nominal_days


def repeat(text: str) -> Span:
    """Return the interval that a rule states.

    Raises
    ------
    ValueError
        When it is no duration, not longer than nothing, or beyond all bounds.
    """
    span = Span.parse(text)
    if span.working_days or span.nominal_days <= 0 or min(span.months, span.days) < 0:
        raise ValueError(f"{text!r} is no interval; write one like P7D, P3M or P1Y")
    return intervals.repeat(text)


def criterion_of(base: Catalogue, activity: Activity, text: str) -> Condition:
    """Return a criterion on an activity's readings, checked.

    Raises
    ------
    ValueError
        When it cannot be read, or names what is no reading, attribute or limit.
    """
    names = ReadingVocabulary(base.kinds, activity.subjects, _limits(base), activity.readings)
    return compile_condition(text, names)


def condition_on(base: Catalogue, subjects: tuple[str, ...], text: str) -> Condition:
    """Return a condition on items of those kinds, checked; empty text holds for all of them.

    Raises
    ------
    ValueError
        When it cannot be read, a name is unknown or the types do not fit.
    """
    names = ItemVocabulary(base.kinds, subjects, _limits(base))
    return compile_condition(text or _ALWAYS, names)


def _limits(base: Catalogue) -> Mapping[str, Unit]:
    return {limit.name: limit.unit for limit in base.limits}


def component_of(base: Catalogue, subject: str) -> str:
    """Return what the catalogue mostly calls the equipment of a kind, as findings name it."""
    named = Counter(activity.component for activity in base.for_kind(subject))
    return named.most_common(1)[0][0] if named else subject


def own_criterion(
    base: Catalogue, subjects: tuple[str, ...], readings: Mapping[str, str], text: str
) -> Condition | None:
    """Return the criterion of an own activity, checked; None for an empty text.

    Raises
    ------
    ValueError
        When it cannot be read, a name is unknown or the types do not fit.
    """
    if not text:
        return None
    return compile_condition(text, ReadingVocabulary(base.kinds, subjects, _limits(base), readings))


def own_activity(base: Catalogue, change: Change) -> Activity:
    """Return the activity that a contractor's own rule defines.

    Raises
    ------
    ValueError
        Naming the column that is not accepted.
    """
    if not change.activity.startswith(OWN):
        raise ValueError(f"activity: {change.activity!r} does not begin with {OWN}")
    told: Mapping[str, Any] = json.loads(change.definition)
    subjects = tuple(told["subjects"])
    readings, text = told.get("readings", {}), told.get("criterion", "")
    return Activity(
        id=change.activity,
        component=component_of(base, subjects[0]),
        system_types=(),
        kind=told["kind"],
        task=told["task"],
        frequency=repeat(change.frequency),
        frequency_note="",
        condition="",
        readings=readings,
        criterion_text=text,
        source=change.source,
        edition_from=None,
        edition_to=None,
        confidence="read",
        regime="own",
        season="",
        first_after=None,
        duplicate_of="",
        part_of="",
        subjects=subjects,
        gate=condition_on(base, subjects, ""),
        applies=condition_on(base, subjects, told["applies"]),
        criterion=own_criterion(base, subjects, readings, text),
        criterion_is="expr" if text else "person",
        group="own",
        minutes_fixed=0,
        minutes_per_item=float(told["minutes"]),
        item_unit="subject",
        people=1,
        water_flow="none",
        shuts_system=False,
        needs_station_on_test=False,
        qualification=told["qualification"],
        instruments=tuple(told.get("instruments", ())),
        families=(),
        counts_from="",
        occurrence="calendar",
        note=change.reason,
        caution=told.get("caution", ""),
        changes=(change,),
    )
