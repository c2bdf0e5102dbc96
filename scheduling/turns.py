"""Whose turn it is: work that every other item of a building has in a cycle, the rest in the next.

A cycle begins with the first item done and takes in what follows within the least gap. Items that
were passed over have their turn in the next; when all were done, every other one has it.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from inspections.applies import ItemFacts, Judge
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


@dataclass(slots=True)
class _Cycle:
    """A cycle: whose turn it was, and when each was done first; members by their place."""

    begun: date
    ends: date
    due: set[int]
    done: dict[int, date] = field(default_factory=dict)


def turns(
    members: Sequence[Member], findings: Sequence[tuple[date, int]], within: Span
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
    """
    cycles = _cycles(members)
    to_come = _due_after(cycles, len(members))
    return [
        _worded(_turn(place, members, cycles, findings, within), place, members, to_come, findings)
        for place in range(len(members))
    ]


def _cycles(members: Sequence[Member]) -> list[_Cycle]:
    rule = members[0].bounds.rule
    least = rule.least or rule.nominal
    found: list[_Cycle] = []
    for day, place in sorted((day, n) for n, one in enumerate(members) for day in one.days):
        if not found or day >= found[-1].ends:
            found.append(_Cycle(day, least.after(day), _due_after(found, len(members))))
        found[-1].done.setdefault(place, day)
    return found


def _due_after(cycles: Sequence[_Cycle], count: int) -> set[int]:
    """Return whose turn is next: those left over, else every other one."""
    left = set(range(count)).difference(cycles[-1].done) if cycles else set()
    return left or set(range(0, count, 2))


def _turn(
    place: int,
    members: Sequence[Member],
    cycles: Sequence[_Cycle],
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
        cycle = _cycle_of(day, cycles, len(members))
        done = cycle.done.get(place, date.max) <= day
        if elsewhere != place and not done:
            opened.setdefault(cycle.begun, (day, within.after(day)))
    return Turn(passed=tuple(passed), waited=tuple(waited), opened=tuple(opened.values()))


def _cycle_of(day: date, cycles: Sequence[_Cycle], count: int) -> _Cycle:
    """Return the cycle in which a day lies; a result that performs nothing begins none."""
    before = [one for one in cycles if one.begun <= day]
    if before and day < before[-1].ends:
        return before[-1]
    return _Cycle(day, day, _due_after(before, count))


def _worded(
    turn: Turn,
    place: int,
    members: Sequence[Member],
    to_come: set[int],
    findings: Sequence[tuple[date, int]],
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
        return replace(
            turn, waits=True, why=f"{_BY_TURNS}: this time {first}; this one in the next."
        )
    if turn.passed and turn.passed[-1] >= last:
        return replace(turn, why=f"Passed over in the cycle of {turn.passed[-1]}: its turn now.")
    return replace(turn, why=f"{_BY_TURNS}: its turn.")


def _named(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def in_turn(
    owing: Sequence[Owing], answers: Iterable[Answer], site: Site, on: date, judge: Judge
) -> list[Owing]:
    """Return what is owed at a building, with the turns of the items that take turns.

    Parameters
    ----------
    answers
        What the record says of results.
    site, on
        The building as the rules see it; answers after this day are left out.
    """
    found = list(owing)
    groups: dict[str, list[int]] = defaultdict(list)
    for n, (one, _bounds, _known) in enumerate(owing):
        if _goes_by_turns(one.owed.activity, judge.catalogue):
            groups[one.owed.activity.id].append(n)
    if all(len(group) == 1 for group in groups.values()):
        return found
    rows = [one for one in answers if one.activity in groups and one.on <= on]
    for activity, group in groups.items():
        row = judge.catalogue.alternating[activity]
        places = [n for n in group if _takes_turns(row, owing[n][0], site, judge)]
        places.sort(key=lambda n: _order(owing[n][0]))
        if len(places) == 1 or not places:
            continue
        members = [_member(owing[n]) for n in places]
        ids = {owing[n][0].subject_id: place for place, n in enumerate(places)}
        findings = sorted(
            (one.on, ids[one.subject_id])
            for one in rows
            if one.activity == activity and one.subject_id in ids and one.answer in row.opened_by
        )
        made = turns(members, findings, row.opened_within)
        for n, turn in zip(places, made, strict=True):
            one, bounds, known = owing[n]
            found[n] = one, replace(bounds, turn=turn), known
    return found


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
