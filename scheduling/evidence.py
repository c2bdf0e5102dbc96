"""What is known to have been done at a building: by itself, by acceptance, or within other work."""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from buildings import inventory as stock
from buildings.models import Building
from inspections import sampling
from inspections.catalogue import Catalogue
from inspections.closing import is_recorded
from inspections.models import Result, Visit
from inspections.sites import Item, Site
from scheduling.absorption import Owing, Performed, TakenIn, absorbing, taken_in
from scheduling.applicable import Applied
from scheduling.deriving import Answer, Told
from scheduling.windows import Bounds

DONE = (Result.Answer.PASS, Result.Answer.IN_ORDER)


@dataclass(slots=True)
class Evidence:
    """What is known to have been done: days ascending, with the grade of the last one.

    Attributes
    ----------
    absorbed
        By day, the other work that took its place or took it in.
    """

    days: list[date] = field(default_factory=list)
    grade: str = ""
    catch_up_by: date | None = None
    absorbed: dict[date, TakenIn] = field(default_factory=dict)

    def add(self, day: date, grade: str) -> None:
        """Take one performance in."""
        if not self.days or day >= self.days[-1]:
            self.grade = grade
        self.days.append(day)
        self.days.sort()

    @property
    def last_absorbed(self) -> TakenIn | None:
        """Return the other work that did the last performance; None when it was done itself."""
        return self.absorbed.get(self.days[-1]) if self.days else None


Known = defaultdict[tuple[UUID, str], Evidence]


def evidence_at(
    building: Building, inventory: stock.Inventory, rules: Catalogue, told: Told
) -> Known:
    """Return what was done at a building up to the inventory's day, by item and activity.

    Results count when they passed, or when a look found something; a test that failed or could not
    be done leaves its occurrence open. A new item's acceptance test counts as the first performance
    (common practice, no source). What other work takes in is added by `absorb`.
    """
    found: Known = defaultdict(Evidence)
    _take_over(told, inventory.on, found)
    samples = sampling.spoken(told.samples, inventory.on)
    for one in told.answers:
        if one.on > inventory.on:
            continue
        # A sample that was taken performs nothing before the laboratory has said that it passed.
        if (one.subject_id, one.activity, one.on) in samples.waiting:
            continue
        activity = rules.activities.get(one.activity)
        looked = activity is not None and activity.kind != "test"
        if one.answer in DONE or (one.answer == Result.Answer.FINDING and looked):
            found[one.subject_id, one.activity].add(one.on, one.grade)
    for subject_id, activity_id, day in sorted(samples.passed):
        found[subject_id, activity_id].add(day, Visit.Evidence.OWN)
    _accept_new(building, inventory, found, rules)
    return found


def absorb(
    told: Told,
    owing: Sequence[tuple[Applied, Bounds, Evidence]],
    found: Known,
    site: Site,
    on: date,
    rules: Catalogue,
) -> None:
    """Let work close what it takes the place of, or takes in by law or contract.

    Parameters
    ----------
    owing
        What the calendar schedules at the building, with what bounds it and when it was done.
    found
        What was done; what is absorbed is added to it.
    site, on
        The building as the rules see it; what was done after this day is left out.
    """
    able = absorbing(rules)
    rows = [one for one in told.answers if one.activity in able and one.on <= on]
    rows = [one for one in rows if one.answer in DONE]
    if not rows or not owing:
        return
    grades = {(str(one.subject_id), one.activity, one.on): one.grade for one in rows}
    performed = [
        _performed(one, site.by_id[str(one.subject_id)], rules)
        for one in rows
        if str(one.subject_id) in site.by_id
    ]
    open_ones = [
        Owing(
            item=one.owed.item,
            activity=one.owed.activity,
            bounds=bounds,
            days=tuple(known.days),
        )
        for one, bounds, known in owing
    ]
    for taken in taken_in(performed, open_ones, catalogue=rules, site=site):
        evidence = found[UUID(taken.item), taken.activity]
        evidence.add(taken.on, grades[taken.by_item, taken.by, taken.on])
        evidence.absorbed[taken.on] = taken


def _performed(one: Answer, item: Item, rules: Catalogue) -> Performed:
    activity, also = rules.activities[one.activity], json.loads(one.also)
    return Performed(
        item=item,
        activity=activity,
        on=one.on,
        recorded=is_recorded(activity, json.loads(one.read)),
        remarks=frozenset(said["what"] for said in also),
        named=frozenset((said["what"], item_id) for said in also for item_id in said["on"]),
    )


def _take_over(told: Told, on: date, found: Known) -> None:
    for body in told.take_over:
        for one in json.loads(body)["payload"]["activities"]:
            evidence = found[UUID(one["subject"]["id"]), one["activity"]]
            if one.get("last_done") and date.fromisoformat(one["last_done"]) <= on:
                evidence.add(date.fromisoformat(one["last_done"]), one.get("grade", ""))
            if one.get("catch_up_by"):
                evidence.catch_up_by = date.fromisoformat(one["catch_up_by"])


def _accept_new(
    building: Building, inventory: stock.Inventory, found: Known, rules: Catalogue
) -> None:
    """Count the acceptance of what was installed after the building was taken over."""
    fresh = {
        item.id: item.in_service_from
        for item in inventory.items
        if item.in_service_from and item.in_service_from > building.taken_over_on
    }
    for item_id, day in fresh.items():
        item = inventory.by_id[item_id]
        for activity in rules.for_kind(item.kind):
            if activity.asked_since or activity.first_after:
                continue
            if not found[item_id, activity.id].days:
                found[item_id, activity.id].add(day, "acceptance")
