"""Which activities hold for which item of a building, and which of them the calendar schedules.

Works on a plain tree of items, so the same rules serve the database, an import that is still being
checked, and a published example.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property
from typing import Any, NamedTuple

from buildings.kinds import Kinds, ValueType
from inspections import fact_words
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity, FamilyMember
from inspections.conditions.compiled import LIMIT, TODAY
from inspections.conditions.facts import Fact, Origin
from inspections.sites import BUILDING, Item, Site

EDITION = "edition"
SUBJECT = "subject"
ITEM = "item"
# Rulings of one kind of item take some ten kilobytes.
MOST_KEPT = 1_000


class ItemFacts:
    """What conditions can look up about an item on a day.

    Parameters
    ----------
    more
        Facts of the moment, by name: readings, ``design.…``, ``baseline.…``, ``last.…``.
    """

    def __init__(
        self,
        catalogue: Catalogue,
        site: Site,
        item: Item,
        as_of: date,
        more: Mapping[str, Fact] | None = None,
    ) -> None:
        self.catalogue = catalogue
        self.edition = site.edition
        self.as_of = as_of
        self.more = more or {}
        self.scopes: dict[str, Item] = {ITEM: item, BUILDING: site.building}
        for one in site.chain(item)[1:]:
            self.scopes.setdefault(one.kind, one)

    def look_up(self, name: str) -> Fact:
        """Return the fact of that name."""
        if name in self.more:
            return self.more[name]
        scope, dot, attribute = name.partition(".")
        if dot and scope in self.scopes:
            return attribute_fact(self.catalogue.kinds, self.scopes[scope], attribute, name)
        if name == EDITION:
            return Fact(name, self.edition, Origin.GIVEN if self.edition else Origin.UNKNOWN)
        if name == SUBJECT:
            return Fact(name, self.scopes[ITEM].kind)
        if name == TODAY:
            return Fact(name, self.as_of)
        if name.startswith(LIMIT):
            return self.catalogue.limit_fact(name.removeprefix(LIMIT), self.edition)
        is_parent = bool(dot) and bool(self.catalogue.kinds[scope].parents)
        return Fact(name, None, Origin.MISSING if is_parent else Origin.UNKNOWN)


def attribute_fact(kinds: Kinds, item: Item, name: str, asked: str) -> Fact:
    """Return an attribute of an item, or the default that stands in for it.

    Parameters
    ----------
    asked
        How the condition names it, such as ``system.gas``.
    """
    attribute = kinds[item.kind].attributes.get(name)
    if attribute is None:
        return Fact(asked, None, Origin.MISSING)
    value = item.attributes.get(name)
    origin = Origin.GIVEN
    if value is None:
        value = attribute.default
        origin = Origin.UNKNOWN if value is None else Origin.DEFAULT
    if attribute.value_type is ValueType.DATE and isinstance(value, str):
        value = date.fromisoformat(value)
    return Fact(asked, value, origin)


class Because(StrEnum):
    """Which part of a rule decided."""

    HOLDS = "holds"
    REGIME = "regime"
    AMENDED = "amended"
    EDITION = "edition"
    CONDITION = "condition"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Ruling:
    """Whether an activity holds for items that are alike, and why.

    Attributes
    ----------
    applies
        True, False, or None: a question has to be answered first.
    because
        Which part of the rule decided.
    facts
        What it rests on.
    asks
        Names to ask for when `applies` is None, such as ``system.air_supervised``.
    hidden_by
        Facts whose default alone switches the activity off: worth a question too.
    kind
        The kind of the items.
    """

    activity: Activity
    applies: bool | None
    because: Because
    facts: tuple[Fact, ...]
    asks: tuple[str, ...] = ()
    hidden_by: tuple[Fact, ...] = ()
    kind: str = ""

    @cached_property
    def reason(self) -> str:
        """Return the reason in a sentence."""
        match self.because:
            case Because.AMENDED:
                return f"The authority does without it. {self.activity.switched_off}"
            case Because.EDITION:
                first, last = self.activity.edition_from, self.activity.edition_to
                span = f"from {first} on" if last is None else f"{first} to {last}"
                return f"Stands in editions {span}; adopted: {_editions(self.facts)}."
            case Because.REGIME:
                return f"Belongs to other rules. {self._facts_said}."
            case Because.UNKNOWN:
                return f"Cannot be decided until somebody says. {self._asked}"
            case Because.HOLDS if not self.facts:
                return "Holds for every item of this kind."
            case Because.HOLDS | Because.CONDITION:
                return f"{self._facts_said}."

    @property
    def _facts_said(self) -> str:
        return "; ".join(fact_words.said(fact, self.kind) for fact in self.facts)

    @property
    def _asked(self) -> str:
        return " ".join(fact_words.question(name, self.kind) for name in self.asks)


def _editions(facts: tuple[Fact, ...]) -> str:
    return ", ".join(fact_words.value(fact) for fact in facts)


@dataclass(frozen=True, slots=True)
class Verdict:
    """A ruling on one item."""

    item: Item
    ruling: Ruling

    @property
    def word(self) -> str:
        """Return ``true``, ``false`` or ``ask``."""
        return {True: "true", False: "false", None: "ask"}[self.ruling.applies]


class Judge:
    """Rules on the items of any number of sites on one day.

    Items that are alike in everything that the rules of their kind read are ruled on once, so a
    whole contractor's devices cost little more than the different ones among them.

    Parameters
    ----------
    as_of
        The day; ages are counted to it.
    """

    def __init__(self, catalogue: Catalogue, as_of: date) -> None:
        self.catalogue = catalogue
        self.as_of = as_of
        self._rulings: dict[tuple[Any, ...], tuple[tuple[Ruling, ...], tuple[Ruling, ...]]] = {}
        self._reads: dict[str, tuple[tuple[str, str], ...]] = {}

    def rulings(self, site: Site, item: Item, *, off: bool = True) -> tuple[Ruling, ...]:
        """Return the ruling on each activity that the item's kind may carry.

        Parameters
        ----------
        off
            False leaves out those that do not hold, which are the most.
        """
        chain = site.chain(item)
        near = {one.kind: one.attributes for one in reversed(chain[1:])}
        near[ITEM], near[BUILDING] = item.attributes, site.attributes
        key = (
            item.kind,
            site.edition,
            *(
                near[scope].get(attribute) if scope in near else Origin.MISSING
                for scope, attribute in self._read_by(item.kind)
            ),
        )
        known = self._rulings.get(key)
        if known is None:
            facts = ItemFacts(self.catalogue, site, item, self.as_of)
            activities = self.catalogue.for_kind(item.kind)
            found = tuple(self._rule(one, facts, site.edition) for one in activities)
            known = found, tuple(one for one in found if one.applies is not False)
            if len(self._rulings) >= MOST_KEPT:
                self._rulings.clear()
            self._rulings[key] = known
        return known[0 if off else 1]

    def verdicts(self, site: Site) -> Iterator[Verdict]:
        """Yield the verdict on every item of a site and every activity of its kind."""
        for item in site.by_id.values():
            for ruling in self.rulings(site, item):
                yield Verdict(item, ruling)

    def _read_by(self, kind: str) -> tuple[tuple[str, str], ...]:
        """Return what the rules of a kind read: whose attribute, and its name."""
        if kind not in self._reads:
            names = {
                name
                for activity in self.catalogue.for_kind(kind)
                for name in activity.gate.names | activity.applies.names
                if "." in name and not name.startswith(LIMIT)
            }
            self._reads[kind] = tuple((name.partition(".")[::2]) for name in sorted(names))
        return self._reads[kind]

    def _rule(self, activity: Activity, facts: ItemFacts, edition: int | None) -> Ruling:
        kind = facts.scopes[ITEM].kind
        if activity.switched_off is not None:
            return Ruling(activity, False, Because.AMENDED, ())
        adopted = (facts.look_up(EDITION),)
        gate = activity.gate.evaluate(facts)
        if gate.value is False:
            return Ruling(activity, False, Because.REGIME, gate.facts, kind=kind)
        in_edition = activity.in_edition(edition)
        if in_edition is False:
            return Ruling(activity, False, Because.EDITION, adopted, kind=kind)
        applies = activity.applies.evaluate(facts)
        if applies.value is False:
            hidden_by = tuple(
                fact for fact in applies.assumed if self._switches_off(fact, facts, activity)
            )
            return Ruling(
                activity, False, Because.CONDITION, applies.facts, hidden_by=hidden_by, kind=kind
            )
        if gate.value and in_edition and applies.value:
            return Ruling(activity, True, Because.HOLDS, applies.facts, kind=kind)
        asks = (EDITION,) if in_edition is None else ()
        asks = tuple(dict.fromkeys((*asks, *gate.asks, *applies.asks)))
        return Ruling(activity, None, Because.UNKNOWN, gate.facts + applies.facts, asks, kind=kind)

    def _switches_off(self, fact: Fact, facts: ItemFacts, activity: Activity) -> bool:
        scope, _, name = fact.name.partition(".")
        attribute = self.catalogue.kinds[facts.scopes[scope].kind].attributes[name]
        return activity.id in attribute.switches_off


class How(StrEnum):
    """How an activity comes to be done on an item."""

    CALENDAR = "calendar"
    EVENT = "event"
    PART = "part"
    RESTATED = "restated"
    ALTERNATIVE = "alternative"
    EXEMPT = "exempt"
    ASK = "ask"
    OFF = "off"


class Owed(NamedTuple):
    """What becomes of an activity on an item.

    Attributes
    ----------
    how
        ``CALENDAR``: has its own due dates. ``EVENT``: waits for its event. ``PART``, ``RESTATED``,
        ``ALTERNATIVE``: done with the work in `within`, no due date of its own. ``EXEMPT``: the
        row only switches another off. ``ASK``: undecided. ``OFF``: does not hold.
    within
        Pairs of item id and activity id.
    with_work
        What that work is, in the words of the catalogue.
    """

    item: Item
    ruling: Ruling
    how: How
    within: tuple[tuple[str, str], ...] = ()
    with_work: tuple[str, ...] = ()

    @property
    def activity(self) -> Activity:
        """Return the activity."""
        return self.ruling.activity

    @property
    def reason(self) -> str:
        """Return in words why it is there, or why not."""
        if self.how is How.EXEMPT:
            return f"An exemption creates no task. {self.ruling.reason}"
        if self.within:
            return f"{_FOLDED[self.how]} {_named(self.with_work)}. {self.ruling.reason}"
        return self.ruling.reason


def owed(judge: Judge, site: Site, *, off: bool = True) -> list[Owed]:
    """Return what becomes of every activity on every item of a site.

    An activity that restates another, or is a part of it, is dropped only where the other one
    holds on an item near enough; otherwise it keeps its own frequency, so that nothing is lost.

    Parameters
    ----------
    off
        False leaves out what does not hold.
    """
    found = {item.id: judge.rulings(site, item, off=off) for item in site.by_id.values()}
    holding = {
        (item_id, ruling.activity.id)
        for item_id, rulings in found.items()
        for ruling in rulings
        if ruling.applies
    }
    folding = _Folding(judge.catalogue, site, holding)
    return [
        folding.owed(site.by_id[item_id], ruling)
        for item_id, rulings in found.items()
        for ruling in rulings
    ]


def scheduled(judge: Judge, site: Site) -> list[Owed]:
    """Return what the calendar schedules on a site: one entry for each item and activity."""
    return [one for one in owed(judge, site) if one.how is How.CALENDAR]


@dataclass(frozen=True)
class _Folding:
    """Lays restated rows, parts and alternatives into the work that they are done with."""

    catalogue: Catalogue
    site: Site
    holding: set[tuple[str, str]]

    def owed(self, item: Item, ruling: Ruling) -> Owed:
        if not ruling.applies:
            return Owed(item, ruling, How.ASK if ruling.applies is None else How.OFF)
        activity = ruling.activity
        if activity.occurrence == "none":
            return Owed(item, ruling, How.EXEMPT)
        for role in self.catalogue.roles(activity.id):
            how = _FOLDS.get(role.role)
            if how is None:
                continue
            within = self._within(item, role)
            if len(within) >= role.least:
                return Owed(item, ruling, how, within, self._tasks(within))
        return Owed(item, ruling, How.EVENT if activity.frequency is None else How.CALENDAR)

    def _within(self, item: Item, role: FamilyMember) -> tuple[tuple[str, str], ...]:
        return tuple(
            (other.id, activity_id)
            for activity_id in self._hosts(role)
            for other in self.site.related(
                item, self.catalogue.activities[activity_id].subjects, role.reach
            )
            if (other.id, activity_id) in self.holding
        )

    def _tasks(self, within: tuple[tuple[str, str], ...]) -> tuple[str, ...]:
        ids = dict.fromkeys(activity_id for _item, activity_id in within)
        return tuple(self.catalogue.activities[one].task for one in ids)

    def _hosts(self, role: FamilyMember) -> tuple[str, ...]:
        family = self.catalogue.family(role.family)
        if role.role == "alternative":
            order = [one.activity_id for one in family if one.role == "alternative"]
            return tuple(order[: order.index(role.activity_id)])
        if role.rides_on:
            return role.rides_on
        return tuple(one.activity_id for one in family if one.role == "member")


_FOLDS = {"part": How.PART, "restated": How.RESTATED, "alternative": How.ALTERNATIVE}
_FOLDED = {
    How.PART: "Done as a part of",
    How.RESTATED: "The same work as",
    How.ALTERNATIVE: "Either closes both; the other is",
}


def _named(work: tuple[str, ...]) -> str:
    return ", ".join(f"“{task}”" for task in work)


@dataclass(frozen=True, slots=True)
class Question:
    """An attribute that somebody has to tell before activities can be decided.

    Attributes
    ----------
    item
        What carries the attribute: the building, a system, a device.
    attribute
        Its name; ``edition`` on the building is the adopted edition.
    decides
        Pairs of item id and activity id that wait for it.
    """

    item: Item
    attribute: str
    decides: tuple[tuple[str, str], ...]


def questions(judge: Judge, site: Site) -> list[Question]:
    """Return what has to be asked about a site, that which decides most first."""
    waiting: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for verdict in judge.verdicts(site):
        if not verdict.ruling.asks:
            continue
        scopes = ItemFacts(judge.catalogue, site, verdict.item, judge.as_of).scopes
        for name in verdict.ruling.asks:
            scope, dot, attribute = name.rpartition(".")
            carrier = scopes[scope] if dot else site.building
            waits = (verdict.item.id, verdict.ruling.activity.id)
            waiting.setdefault((carrier.id, attribute), []).append(waits)
    found = [
        Question(site.by_id[item_id], attribute, tuple(decides))
        for (item_id, attribute), decides in waiting.items()
    ]
    return sorted(found, key=lambda one: (-len(one.decides), one.item.id, one.attribute))
