"""A building as a plain tree of items, as the rules see it. Knows no database."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

BUILDING = "building"


@dataclass(frozen=True, slots=True)
class Item:
    """An item of equipment as the rules see it.

    Attributes
    ----------
    id
        Unique within its site.
    kind
        A kind of the dictionary.
    parent
        Id of the item that it hangs on, or of the site.
    attributes
        Stored values, in the units of the dictionary; what nobody has said is left out.
    """

    id: str
    kind: str
    parent: str
    attributes: Mapping[str, Any]


@dataclass(frozen=True)
class Site:
    """A building with its items.

    Attributes
    ----------
    id
        The building's own id, on which items without another parent hang.
    edition
        Adopted edition of the base standard, a year; None where there is none or nobody knows.
    attributes
        The building's own attributes.
    items
        Everything in it, in any order.

    Raises
    ------
    ValueError
        When an id is there twice, a parent is not there, or items hang on each other in a circle.
    """

    id: str
    edition: int | None
    attributes: Mapping[str, Any]
    items: tuple[Item, ...]

    def __post_init__(self) -> None:
        if len(self.by_id) != len(self.items) + 1:
            raise ValueError(f"an item of {self.id} is there twice")
        for item in self.items:
            self.chain(item)

    @cached_property
    def building(self) -> Item:
        """Return the building itself as an item."""
        return Item(self.id, BUILDING, "", self.attributes)

    @cached_property
    def by_id(self) -> Mapping[str, Item]:
        """Return the items and the building, by id."""
        return {self.id: self.building, **{item.id: item for item in self.items}}

    @cached_property
    def _chains(self) -> dict[str, tuple[Item, ...]]:
        return {self.id: (self.building,)}

    def chain(self, item: Item) -> tuple[Item, ...]:
        """Return an item and what it hangs on, upwards to the building."""
        found: list[Item] = []
        at = item
        while at.id not in self._chains:
            found.append(at)
            parent = self.by_id.get(at.parent)
            if parent is None or len(found) > len(self.items):
                reason = "is not there" if parent is None else "hangs on itself in a circle"
                raise ValueError(f"{at.id} of {self.id}: its parent {at.parent!r} {reason}")
            at = parent
        chain = self._chains[at.id]
        for one in reversed(found):
            chain = (one, *chain)
            self._chains[one.id] = chain
        return chain

    def related(self, item: Item, kinds: tuple[str, ...], reach: str) -> list[Item]:
        """Return the items of some kinds that stand near enough to another.

        Parameters
        ----------
        reach
            As `inspections.catalogue.FamilyMember` explains it.
        """
        near = _REACHES[reach]
        above = {one.id for one in self.chain(item)}
        return [
            other
            for kind in kinds
            for other in self._by_kind.get(kind, ())
            if near(self, item, above, other)
        ]

    @cached_property
    def _by_kind(self) -> Mapping[str, list[Item]]:
        found: dict[str, list[Item]] = {BUILDING: [self.building]}
        for item in self.items:
            found.setdefault(item.kind, []).append(item)
        return found


def _is_same(_: Site, item: Item, __: set[str], other: Item) -> bool:
    return other.id == item.id


def _is_above(_: Site, __: Item, above: set[str], other: Item) -> bool:
    return other.id in above


def _is_below(site: Site, item: Item, _: set[str], other: Item) -> bool:
    return any(one.id == item.id for one in site.chain(other))


def _is_direct(site: Site, item: Item, above: set[str], other: Item) -> bool:
    return other.id in above or other.parent in above or _is_below(site, item, above, other)


def _is_in_system(site: Site, item: Item, above: set[str], other: Item) -> bool:
    if other.id in above or _is_below(site, item, above, other):
        return True
    if other.parent in above:
        return other.parent != site.id
    return item.parent != site.id and any(one.id == item.parent for one in site.chain(other))


def _is_in_building(_: Site, __: Item, ___: set[str], ____: Item) -> bool:
    return True


_REACHES = {
    "item": _is_same,
    "above": _is_above,
    "below": _is_below,
    "direct": _is_direct,
    "system": _is_in_system,
    "building": _is_in_building,
}
