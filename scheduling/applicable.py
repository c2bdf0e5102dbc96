"""What applies to each item of a building, why or why not, from the building's inventory."""

from collections.abc import Container
from datetime import date, datetime
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from buildings import inventory as stock
from inspections.applies import How, Judge, Owed, owed
from inspections.catalogue import Catalogue
from inspections.rules import RuleBook
from inspections.sites import Item, Site


class Applied(NamedTuple):
    """An activity on an item of a building, with what the item is in the inventory.

    `subject` is None for the building itself.
    """

    owed: Owed
    subject: stock.Item | None
    subject_id: UUID

    @property
    def subject_kind(self) -> str:
        """Return building, system, riser or device."""
        return self.subject.subject_kind if self.subject else "building"


def site_of(inventory: stock.Inventory) -> Site:
    """Return a building's inventory as the rules see it: what is in service on its day."""
    ids = {item.id: str(item.id) for item in inventory.items if item.in_service}
    building = str(inventory.building_id)
    items = tuple(
        Item(
            ids[item.id],
            item.kind,
            ids.get(_standing_parent(item, inventory, ids), building),
            item.attributes,
        )
        for item in inventory.items
        if item.id in ids
    )
    return Site(building, inventory.edition, inventory.attributes, items)


def _standing_parent(item: stock.Item, inventory: stock.Inventory, there: Container[UUID]) -> UUID:
    """Return what an item hangs on, passing over what is out of service."""
    parent = item.parent_id
    while parent not in there and parent != inventory.building_id:
        above = inventory.by_id.get(parent)
        parent = above.parent_id if above else inventory.building_id
    return parent


def applied(
    inventory: stock.Inventory,
    judge: Judge | None = None,
    *,
    site: Site | None = None,
    off: bool = True,
) -> list[Applied]:
    """Return what becomes of every activity on every item of a building.

    Parameters
    ----------
    judge
        Give the same one for many buildings of one day: like items are then ruled on once.
    site
        The inventory as the rules see it, where it is there already.
    off
        False leaves out what does not hold.
    """
    ruling = judge or Judges().at(inventory)
    subjects = {str(item.id): item for item in inventory.items}
    found = []
    for one in owed(ruling, site or site_of(inventory), off=off):
        subject = subjects.get(one.item.id)
        found.append(Applied(one, subject, subject.id if subject else inventory.building_id))
    return found


def explained(inventory: stock.Inventory, subject_id: UUID) -> list[dict[str, Any]]:
    """Return, for one item, each activity that holds, is asked about or does not hold, and why."""
    return [
        {
            "activity": one.owed.activity.id,
            "task": one.owed.activity.task,
            "how": one.owed.how.value,
            "applies": one.owed.how not in (How.OFF, How.ASK),
            "reason": one.owed.reason,
            "source": one.owed.activity.source,
            "confidence": one.owed.activity.confidence,
        }
        for one in applied(inventory)
        if one.subject_id == subject_id
    ]


class Judges:
    """Judges for many buildings, one for each day and each set of rules in force.

    Parameters
    ----------
    known_at
        The rules as they were known at that moment; None for as they are known now.
    """

    def __init__(self, known_at: datetime | None = None) -> None:
        self.book = RuleBook.read(known_at)
        self._judges: dict[tuple[Catalogue, date], Judge] = {}

    def at(self, inventory: stock.Inventory, on: date | None = None) -> Judge:
        """Return the judge by the rules in force at a building, on its inventory's day or `on`."""
        day = on or inventory.on
        key = self.book.catalogue_on(day, **_place(inventory)), day
        return self._judges.get(key) or self._judges.setdefault(key, _judge(*key))

    def turns(self, inventory: stock.Inventory) -> list[date]:
        """Return the days up to its inventory's on which a building's rules became others."""
        return self.book.turns(inventory.on, **_place(inventory))


# What was ruled on like items holds too at a building that is derived after others.
@lru_cache(maxsize=8)
def _judge(rules: Catalogue, day: date) -> Judge:
    return Judge(rules, day)


def _place(inventory: stock.Inventory) -> dict[str, UUID | None]:
    return {
        "building_id": inventory.building_id,
        "jurisdiction_id": inventory.facts.get("jurisdiction_id"),
    }


def judge_on(inventory: stock.Inventory, known_at: datetime | None = None) -> Judge:
    """Return the judge of one building on its inventory's day, by the rules as known then."""
    return Judges(known_at).at(inventory)
