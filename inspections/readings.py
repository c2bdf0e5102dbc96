"""Is this reading good, and what did the record say before: criteria of the catalogue applied."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone

from buildings import design, units
from buildings.models import Building
from inspections import computed, pump_tests, subjects
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.conditions.facts import Fact, Origin
from inspections.events.fields import EventRefused
from inspections.models import Reading, Visit
from inspections.pinned import Pinned, of_visit
from inspections.subjects import subject_for

WORD_UNIT = "word"
# Measures of the catalogue -> the quantities of units in which they are read.
_QUANTITIES = {
    "pressure": ("pressure",),
    "time": ("time",),
    "temperature": ("temperature",),
    "length": ("length",),
    "volume": ("volume",),
    "volume_flow": ("flow", "air flow"),
    "voltage": ("voltage",),
    "current": ("current",),
    "rotational_speed": ("rotation",),
    "frequency": ("frequency",),
}


def check_unit(activity_id: str, name: str, unit: str) -> None:
    """Refuse a reading in a unit of another quantity than the catalogue's measure.

    Raises
    ------
    EventRefused
        Naming the unit and those that are accepted. Readings that the catalogue does not know, and
        measures without units of their own, are taken as they come.
    """
    activity = catalogue().activities.get(activity_id)
    wanted = _QUANTITIES.get(activity.readings.get(name, "") if activity else "")
    if wanted is None:
        return
    if not any(_is_of(unit, quantity) for quantity in wanted):
        raise EventRefused("payload.value.unit", unit, units.accepted(wanted[0]))


def _is_of(unit: str, quantity: str) -> bool:
    try:
        units.to_si(0.0, unit, quantity)
    except units.UnitRefused:
        return False
    return True


def to_si(value: Mapping[str, str]) -> float:
    """Return a recorded quantity in SI; a word reading is kept as typed and counts 0."""
    if value["unit"] == WORD_UNIT:
        return 0.0
    return units.to_si(float(value["value"]), value["unit"])


def judge(visit: Visit, rows: Sequence[Reading], known_at: datetime | None = None) -> None:
    """Set verdict and judgement of a visit's readings, each beside its limit and the last value.

    The verdict is `pass`, `fail` or empty where the rules have no criterion for it or something
    that the criterion needs is not known. The rules are those of the visit's opening. What
    decided, and what a computation says beside it, is kept with its inputs; see `computed`.

    Parameters
    ----------
    known_at
        When the visit was written down, where that was not at its opening.
    """
    if not rows:
        return
    under = of_visit(visit, known_at)
    groups: dict[tuple[UUID, str], list[Reading]] = defaultdict(list)
    for row in rows:
        groups[row.subject_id, row.activity].append(row)
    before = earlier(visit.building, {row.subject_id for row in rows}, visit)
    for (subject_id, activity_id), group in groups.items():
        activity = under.activity(activity_id)
        facts = Facts(under, group[0], {row.name: row for row in group}, before.get(subject_id, {}))
        for row in group:
            past = facts.history.get(row.name, [])
            row.judgement = _last([one for one in past if one.point == row.point])
        if activity is not None:
            _judge(activity, group, facts)


def _judge(activity: Activity, group: Sequence[Reading], facts: "Facts") -> None:
    """Judge the readings of one activity on one item."""
    for row in group:
        kept = _computed(activity, row, facts)
        row.judgement |= {"computed": kept} if kept else {}
    if activity.component == pump_tests.KIND:
        _judge_pump(group, facts)
    if activity.criterion is None:
        return
    under = facts.under
    answer = activity.criterion.evaluate(facts)
    said = {
        "criterion": activity.criterion_text,
        "source": under.source(activity),
        "rule": under.basis(activity),
        "decided": computed.of_criterion(activity, under.rules, answer),
    }
    rests_on = {fact.name for fact in answer.facts}
    for row in group:
        if row.name in activity.criterion.names:
            row.judgement |= said
        if row.name in rests_on and answer.value is not None:
            row.verdict = "pass" if answer.value else "fail"


def _judge_pump(group: Sequence[Reading], facts: "Facts") -> None:
    """Judge a pump's test as a whole, beside its last reading at the discharge."""
    last = next((row for row in reversed(group) if row.name == pump_tests.DISCHARGE), None)
    if last is None:
        return
    earlier = [row for name in pump_tests.NAMES for row in facts.history.get(name, [])]
    how = facts.under.building.units
    kept = pump_tests.judged(group, earlier, facts.item_attributes, how)
    last.judgement |= {"computed": kept} if kept else {}


def _computed(activity: Activity, row: Reading, facts: "Facts") -> dict[str, Any] | None:
    """Return what a computation says to a reading beside those of its visit and the earlier."""
    if row.unit == WORD_UNIT:
        return None
    now = {one.name: one.value_si for one in facts.given.values() if one.unit != WORD_UNIT}
    past = {
        name: [one.value_si for one in rows if one.unit != WORD_UNIT]
        for name, rows in facts.history.items()
    }
    now[row.name] = row.value_si
    return computed.of_reading(activity, row.name, now, past, facts, facts.under.building.units)


def _last(past: Sequence[Reading]) -> dict[str, Any]:
    if not past:
        return {}
    last = past[-1]
    return {"last": last.typed, "last_si": last.value_si, "last_on": last.read_on.isoformat()}


def earlier(
    building: Building, subjects: set[UUID], visit: Visit | None = None
) -> dict[UUID, dict[str, list[Reading]]]:
    """Return the readings before a visit (or all), by subject and name, oldest first."""
    rows = Reading.objects.filter(building=building, subject_id__in=subjects)
    if visit is not None:
        rows = rows.exclude(visit=visit)
        if visit.performed_on:
            # Of visits on one day the earlier one is the past; never the later one.
            begun = visit.opened_at or timezone.now()
            same_day = Q(read_on=visit.performed_on, visit__opened_at__lt=begun)
            rows = rows.filter(Q(read_on__lt=visit.performed_on) | same_day)
    found: dict[UUID, dict[str, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    for row in rows.order_by("read_on", "read_at"):
        found[row.subject_id][row.name].append(row)
    return found


@dataclass
class Facts:
    """What a criterion may ask for at one item: its readings, its history, limits, attributes.

    The row of the item is looked up where it is asked for and not given.
    """

    under: Pinned
    first: Reading
    given: Mapping[str, Reading]
    history: Mapping[str, list[Reading]]
    item: Any = None

    def look_up(self, name: str) -> Fact:
        """Return the fact of that name; unknown where the record does not hold it."""
        scope, dot, rest = name.partition(".")
        if not dot:
            row = self.given.get(name)
            return _of_reading(name, row) if row else Fact(name, None, Origin.UNKNOWN)
        if scope == "limit":
            return self.under.limit(rest)
        if scope in ("last", "baseline"):
            return self._past(name, scope, rest)
        value = None
        if scope in ("item", design.GROUP):
            value = (self.item_attributes if scope == "item" else self._design).get(rest)
        return Fact(name, value) if value is not None else Fact(name, None, Origin.UNKNOWN)

    def _past(self, name: str, scope: str, reading: str) -> Fact:
        past = self.history.get(reading, [])
        if not past:
            return Fact(name, None, Origin.UNKNOWN)
        return _of_reading(name, past[-1] if scope == "last" else past[0])

    @cached_property
    def _design(self) -> dict[str, Any]:
        """What the placard says on the day of the visit: the item's own, then its system's."""
        if self.item is None:
            above = subjects.system_of(self.first.subject_kind, self.first.subject_id)
        else:
            above = getattr(self.item, "system_id", None)
        held_by = [self.first.subject_id, *([above] if above else [])]
        return dict(design.values_of(list(dict.fromkeys(held_by)), self.under.day))

    @cached_property
    def item_attributes(self) -> dict[str, Any]:
        """What the inventory says of the item."""
        item = self.item or subject_for(self.first.subject_kind, self.first.subject_id)
        return dict(item.attributes) if item else {}


def _of_reading(name: str, row: Reading) -> Fact:
    return Fact(name, row.typed if row.unit == WORD_UNIT else row.value_si)
