"""Whose turn it is: work that every other item of a building has in a cycle, the rest in the next.

A cycle begins with the first item done and takes in what follows within the least gap. Items that
were passed over have their turn in the next; when all were done, those go first that somebody chose
for the building, else every other one.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from uuid import UUID

from buildings.models import TurnOrder
from inspections.applies import How, ItemFacts, Judge
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity, Alternation
from inspections.intervals import Span
from inspections.sites import Site
from scheduling.applicable import Applied
from scheduling.deriving import Answer
from scheduling.evidence import Evidence
from scheduling.windows import Bounds, Turn

Owing = tuple[Applied, Bounds, Evidence]
MOST_NAMED = 4
_BY_TURNS = "By turns, every other one in a cycle"
_AS_CHOSEN = "By turns, as chosen from {day} on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One of the items that take turns.

    Attributes
    ----------
    days
        On which it was done, ascending.
    since
        First day in service; None where nobody knows it.
    """

    name: str
    bounds: Bounds
    days: tuple[date, ...] = ()
    since: date | None = None


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which members go first when all were done, by their place; from a day on."""

    valid_from: date
    first: frozenset[int]


@dataclass(slots=True)
class _Cycle:
    """A cycle: whose turn it was, and when each was done first; members by their place."""

    begun: date
    ends: date
    due: set[int]
    done: dict[int, date] = field(default_factory=dict)


def turns(
    members: Sequence[Member],
    findings: Sequence[tuple[date, int]],
    within: Span,
    chosen: Sequence[Chosen] = (),
) -> list[Turn]:
    """Return the place of each member in the cycles that were and in the one to come.

    Parameters
    ----------
    members
        In the order by which every other one is taken.
    findings
        Days on which a member's result made all of them owed, with its place.
    within
        How long those not done in that cycle then have.
    chosen
        Who goes first, by the day it holds from; the last of them is for the cycle to come.
    """
    order = _Order(len(members), chosen)
    cycles = _cycles(members, order)
    to_come = order.due_after(cycles, date.max)
    words = order.words(cycles)
    made = (_turn(place, members, cycles, order, findings, within) for place in range(len(members)))
    return [
        _worded(turn, place, members, to_come, findings, words) for place, turn in enumerate(made)
    ]


@dataclass(frozen=True, slots=True)
class _Order:
    """Who goes first among so many members."""

    count: int
    chosen: Sequence[Chosen]

    def due_after(self, cycles: Sequence[_Cycle], day: date) -> set[int]:
        """Return whose turn it is in a cycle begun on a day: those left over, else the first."""
        left = self._left(cycles)
        if left:
            return left
        chosen = self._on(day)
        return set(chosen.first) if chosen else set(range(0, self.count, 2))

    def words(self, cycles: Sequence[_Cycle]) -> str:
        """Return in words by what the cycle to come goes."""
        chosen = self._on(date.max)
        if chosen is None or self._left(cycles):
            return _BY_TURNS
        return _AS_CHOSEN.format(day=chosen.valid_from)

    def _left(self, cycles: Sequence[_Cycle]) -> set[int]:
        return set(range(self.count)).difference(cycles[-1].done) if cycles else set()

    def _on(self, day: date) -> Chosen | None:
        return next((one for one in reversed(self.chosen) if one.valid_from <= day), None)


def _cycles(members: Sequence[Member], order: _Order) -> list[_Cycle]:
    rule = members[0].bounds.rule
    least = rule.least or rule.nominal
    found: list[_Cycle] = []
    for day, place in sorted((day, n) for n, one in enumerate(members) for day in one.days):
        if not found or day >= found[-1].ends:
            found.append(_Cycle(day, least.after(day), order.due_after(found, day)))
        found[-1].done.setdefault(place, day)
    return found


def _turn(
    place: int,
    members: Sequence[Member],
    cycles: Sequence[_Cycle],
    order: _Order,
    findings: Sequence[tuple[date, int]],
    within: Span,
) -> Turn:
    member = members[place]
    passed: list[date] = []
    waited: list[date] = []
    for cycle in cycles:
        if place in cycle.due:
            continue
        if place in cycle.done:
            waited.append(cycle.done[place])
        elif member.since is None or member.since <= cycle.begun:
            passed.append(cycle.begun)
            waited.append(cycle.begun)
    opened: dict[date, tuple[date, date]] = {}
    for day, elsewhere in findings:
        cycle = _cycle_of(day, cycles, order)
        done = cycle.done.get(place, date.max) <= day
        if elsewhere != place and not done:
            opened.setdefault(cycle.begun, (day, within.after(day)))
    return Turn(passed=tuple(passed), waited=tuple(waited), opened=tuple(opened.values()))


def _cycle_of(day: date, cycles: Sequence[_Cycle], order: _Order) -> _Cycle:
    """Return the cycle in which a day lies; a result that performs nothing begins none."""
    before = [one for one in cycles if one.begun <= day]
    if before and day < before[-1].ends:
        return before[-1]
    return _Cycle(day, day, order.due_after(before, day))


def _worded(
    turn: Turn,
    place: int,
    members: Sequence[Member],
    to_come: set[int],
    findings: Sequence[tuple[date, int]],
    words: str,
) -> Turn:
    """Return a turn with what it comes to for the window that is open, and why."""
    member = members[place]
    last = member.days[-1] if member.days else date.min
    opened = next((day for day, _latest in turn.opened if last <= day), None)
    if opened is not None:
        where = next(members[n].name for day, n in findings if day == opened)
        return replace(turn, why=f"A finding at {where} on {opened} makes it owed at all of them.")
    # What a person set is owed by then, whoever's turn it is.
    waits = place not in to_come and not (member.bounds.catch_up_by and not member.days)
    if waits:
        first = _named([members[n].name for n in sorted(to_come)])
        return replace(turn, waits=True, why=f"{words}: this time {first}; this one in the next.")
    if turn.passed and turn.passed[-1] >= last:
        return replace(turn, why=f"Passed over in the cycle of {turn.passed[-1]}: its turn now.")
    return replace(turn, why=f"{words}: its turn.")


def _named(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def in_turn(
    owing: Sequence[Owing],
    answers: Iterable[Answer],
    site: Site,
    on: date,
    judge: Judge,
    orders: Sequence[TurnOrder] = (),
) -> list[Owing]:
    """Return what is owed at a building, with the turns of the items that take turns.

    Parameters
    ----------
    answers
        What the record says of results.
    site, on
        The building as the rules see it; answers after this day are left out.
    orders
        Who goes first, as chosen for the building, by the day it holds from.
    """
    found = list(owing)
    groups = taking_turns([one for one, _bounds, _known in owing], site, judge)
    if not groups:
        return found
    rows = [one for one in answers if one.activity in groups and one.on <= on]
    for activity, places in groups.items():
        row = judge.catalogue.alternating[activity]
        members = [_member(owing[n]) for n in places]
        ids = {owing[n][0].subject_id: place for place, n in enumerate(places)}
        findings = sorted(
            (one.on, ids[one.subject_id])
            for one in rows
            if one.activity == activity and one.subject_id in ids and one.answer in row.opened_by
        )
        chosen = [
            Chosen(order.valid_from, _first(order, ids))
            for order in orders
            if order.activity == activity and order.valid_from <= on
        ]
        made = turns(members, findings, row.opened_within, chosen)
        for n, turn in zip(places, made, strict=True):
            one, bounds, known = owing[n]
            found[n] = one, replace(bounds, turn=turn), known
    return found


def taking_turns(everything: Sequence[Applied], site: Site, judge: Judge) -> dict[str, list[int]]:
    """Return the places of what takes turns, by activity, in the order of turns: two or more."""
    groups: dict[str, list[int]] = defaultdict(list)
    for n, one in enumerate(everything):
        if one.owed.how is How.CALENDAR and _goes_by_turns(one.owed.activity, judge.catalogue):
            groups[one.owed.activity.id].append(n)
    found = {}
    for activity, group in groups.items():
        if len(group) > 1:
            row = judge.catalogue.alternating[activity]
            places = [n for n in group if _takes_turns(row, everything[n], site, judge)]
            if len(places) > 1:
                found[activity] = sorted(places, key=lambda n: _order(everything[n]))
    return found


def _first(order: TurnOrder, ids: Mapping[UUID, int]) -> frozenset[int]:
    """Return who goes first; of those that came later each joins the smaller half."""
    halves = {str(pk): half for half, one in enumerate((order.first, order.then)) for pk in one}
    found: tuple[set[int], set[int]] = set(), set()
    later = []
    for pk, place in ids.items():
        half = halves.get(str(pk))
        if half is None:
            later.append(place)
        else:
            found[half].add(place)
    for place in later:
        min(found, key=len).add(place)
    return frozenset(found[0])


def _goes_by_turns(activity: Activity, catalogue: Catalogue) -> bool:
    """Say whether items take turns; a frequency that somebody set is meant for each of them."""
    if activity.id not in catalogue.alternating:
        return False
    return not any(one.frequency for one in activity.changes)


def _takes_turns(row: Alternation, one: Applied, site: Site, judge: Judge) -> bool:
    facts = ItemFacts(judge.catalogue, site, one.owed.item, judge.as_of)
    return row.among.evaluate(facts).value is True


def _order(one: Applied) -> tuple[date, str]:
    """Return the order of turns: as installed, so that what comes later changes no turn before."""
    item = one.subject
    return (item.in_service_from or date.min, item.code) if item else (date.min, "")


def _member(owing: Owing) -> Member:
    one, bounds, known = owing
    return Member(
        name=f"{one.subject.code} {one.subject.name}" if one.subject else "",
        bounds=bounds,
        days=tuple(known.days),
        since=one.subject.in_service_from if one.subject else None,
    )
