"""Which open occurrences a performed activity closes besides its own. Knows no database."""

from bisect import insort
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity, Substitution
from inspections.intervals import Span
from inspections.sites import Item, Site
from scheduling.recurrence import Window
from scheduling.windows import Bounds, open_window

# A longer frequency holds the shorter ones, but three and five years do not hold each other: they
# meet every fifteen years. Up to a year: Florida Administrative Code 69A-46.041(1); beyond it,
# contract practice, no source.
_CHAIN = (Span(days=1), Span(days=7), Span(months=1), Span(months=3), Span(months=6))
_HOLDS: dict[Span, frozenset[Span]] = {
    longer: frozenset(_CHAIN[:place]) for place, longer in enumerate(_CHAIN)
}
_HOLDS[Span(months=12)] = frozenset(_CHAIN)
_HOLDS[Span(months=36)] = _HOLDS[Span(months=12)] | {Span(months=12)}
_HOLDS[Span(months=60)] = _HOLDS[Span(months=36)]
_HOLDS[Span(months=120)] = _HOLDS[Span(months=60)] | {Span(months=60)}
# The law that is known ends with yearly work; what takes in more is agreed.
_A_YEAR = Span(months=12).nominal_days


@dataclass(frozen=True, slots=True, kw_only=True)
class Performed:
    """A result.

    Attributes
    ----------
    recorded
        It carries the readings that its activity asks for.
    failed
        It failed, or was not tested.
    remarks
        What else was done and written down, such as ``cover_opened`` or ``signal_recorded``.
    named
        Remarks with the id of an item on which it was done, where several stand near.
    """

    item: Item
    activity: Activity
    on: date
    recorded: bool = True
    failed: bool = False
    remarks: frozenset[str] = frozenset()
    named: frozenset[tuple[str, str]] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOccurrence:
    """An activity owed on an item, with its window."""

    item: Item
    activity: Activity
    window: Window


@dataclass(frozen=True, slots=True)
class Closing:
    """An occurrence that is closed, and on what ground.

    Attributes
    ----------
    own
        It is the performed activity itself; otherwise it was absorbed.
    """

    occurrence: OpenOccurrence
    own: bool
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Owing:
    """An activity that the calendar schedules on an item: what bounds it, and when it was done."""

    item: Item
    activity: Activity
    bounds: Bounds
    days: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """A performance of an activity on an item within other work of that day."""

    item: str
    activity: str
    on: date
    by: str
    by_item: str
    reason: str


def absorbing(catalogue: Catalogue) -> frozenset[str]:
    """Return the activities that may close another one."""
    return _absorbing(catalogue)


@lru_cache(maxsize=512)
def _absorbing(catalogue: Catalogue) -> frozenset[str]:
    found = {one.performed for one in catalogue.substitutions}
    if catalogue.takes_in:
        longer = (
            one
            for one in catalogue.activities.values()
            if one.frequency is not None and _HOLDS.get(one.frequency)
        )
        found |= {one.id for one in longer if one.families}
    return frozenset(found)


@lru_cache(maxsize=512)
def _swaps(catalogue: Catalogue) -> dict[str, list[Substitution]]:
    found: dict[str, list[Substitution]] = defaultdict(list)
    for swap in catalogue.substitutions:
        found[swap.performed].append(swap)
    return dict(found)


def taken_in(
    performed: Sequence[Performed],
    owing: Sequence[Owing],
    *,
    catalogue: Catalogue,
    site: Site,
) -> list[TakenIn]:
    """Return what results closed besides their own, in the order of their days.

    Each closes at most the one occurrence that was open on its day, by what had been done or taken
    in before it. What was done by itself on that day is not taken in as well.

    Parameters
    ----------
    catalogue
        Its `takes_in` says whether law or contract lets longer work take in the shorter.
    """
    days = {(one.item.id, one.activity.id): list(one.days) for one in owing}
    near = _Near(owing, catalogue)
    found: list[TakenIn] = []
    for act in sorted(performed, key=lambda one: one.on):
        for one in near.of(act):
            done = days[one.item.id, one.activity.id]
            if act.on in done:
                continue
            window = open_window(one.bounds, [day for day in done if day < act.on])
            occurrence = OpenOccurrence(item=one.item, activity=one.activity, window=window)
            chain = bool(catalogue.takes_in)
            for closing in closes(act, [occurrence], catalogue=catalogue, site=site, chain=chain):
                insort(done, act.on)
                found.append(_taken(act, closing))
    return found


def _taken(act: Performed, closing: Closing) -> TakenIn:
    return TakenIn(
        item=closing.occurrence.item.id,
        activity=closing.occurrence.activity.id,
        on=act.on,
        by=act.activity.id,
        by_item=act.item.id,
        reason=closing.reason,
    )


class _Near:
    """What a result may close, found without going through everything that is owed."""

    def __init__(self, owing: Sequence[Owing], catalogue: Catalogue) -> None:
        self.catalogue = catalogue
        self.swaps = _swaps(catalogue)
        self.by_activity: dict[str, list[Owing]] = defaultdict(list)
        self.by_item: dict[str, list[Owing]] = defaultdict(list)
        for one in owing:
            self.by_activity[one.activity.id].append(one)
            self.by_item[one.item.id].append(one)

    def of(self, act: Performed) -> list[Owing]:
        """Return what a result may close, its own left out."""
        told = act.remarks | {what for what, _ in act.named}
        found = [
            one
            for swap in self.swaps.get(act.activity.id, ())
            if told.issuperset(swap.also_needs)
            for one in self.by_activity.get(swap.closes, ())
            if swap.reach != "item" or one.item.id == act.item.id
        ]
        if self.catalogue.takes_in:
            found += [one for one in self.by_item.get(act.item.id, ()) if one not in found]
        return [one for one in found if one.activity.id != act.activity.id]


def closes(
    performed: Performed,
    open_occurrences: Sequence[OpenOccurrence],
    *,
    catalogue: Catalogue,
    site: Site,
    chain: bool = False,
) -> list[Closing]:
    """Return the open occurrences that a result closes.

    Parameters
    ----------
    open_occurrences
        One for each item and activity: the open one. Others of the year stay owed.
    chain
        Whether law or contract says that work of a longer frequency takes in the shorter ones of
        the same family on the same item. Where only law says so (`Catalogue.takes_in`), yearly work
        is the longest that does.

    Notes
    -----
    A result that failed, or lacks its readings, closes nothing, not even its own. An absorbed
    occurrence needs its window to hold the day; substitutions "of that year" need the year (trade
    practice, no source).
    """
    if performed.failed or not performed.recorded:
        return []
    found = []
    for occurrence in open_occurrences:
        closing = _own(performed, occurrence) or _absorbed(
            performed, occurrence, catalogue, site, chain
        )
        if closing is not None:
            found.append(closing)
    return found


def _own(performed: Performed, occurrence: OpenOccurrence) -> Closing | None:
    if occurrence.item.id != performed.item.id or occurrence.activity.id != performed.activity.id:
        return None
    earliest = occurrence.window.earliest
    if earliest is not None and performed.on < earliest:
        return None
    return Closing(occurrence, True, f"Done on {performed.on}.")


def _absorbed(
    performed: Performed,
    occurrence: OpenOccurrence,
    catalogue: Catalogue,
    site: Site,
    chain: bool,
) -> Closing | None:
    name = performed.activity.id
    for substitution in _swaps(catalogue).get(name, ()):
        if substitution.closes == occurrence.activity.id:
            if not _serves(performed, occurrence, substitution, site):
                continue
            reason = f"{name} took its place on {performed.on}: {substitution.note}."
            return Closing(occurrence, False, reason)
    if chain and _is_held(performed, occurrence, catalogue):
        said = "; ".join(str(one) for one in catalogue.takes_in)
        reason = f"Taken in by {name}, the less frequent work, on {performed.on}."
        return Closing(occurrence, False, f"{reason} {said}".rstrip())
    return None


def _serves(
    performed: Performed, occurrence: OpenOccurrence, substitution: Substitution, site: Site
) -> bool:
    in_time = occurrence.window.holds(performed.on) or (
        substitution.same_year and occurrence.window.due.year == performed.on.year
    )
    if not in_time:
        return False
    near = site.related(performed.item, (occurrence.item.kind,), substitution.reach)
    if all(item.id != occurrence.item.id for item in near):
        return False
    alone = len(near) == 1
    return all(
        _said(performed, need, occurrence.item.id, alone) for need in substitution.also_needs
    )


def _said(performed: Performed, need: str, item: str, alone: bool) -> bool:
    """Say whether a remark speaks of an item: by its id, or plainly where no other stands near."""
    if any(what == need for what, _ in performed.named):
        return (need, item) in performed.named
    return alone and need in performed.remarks


def _is_held(performed: Performed, occurrence: OpenOccurrence, catalogue: Catalogue) -> bool:
    longer, shorter = performed.activity.frequency, occurrence.activity.frequency
    if longer is None or shorter is None or occurrence.item.id != performed.item.id:
        return False
    by_law_only = bool(catalogue.takes_in) and all(one.whose for one in catalogue.takes_in)
    if by_law_only and longer.nominal_days > _A_YEAR:
        return False
    same_family = set(performed.activity.families) & set(occurrence.activity.families)
    is_shorter = shorter in _HOLDS.get(longer, frozenset())
    return bool(same_family) and is_shorter and occurrence.window.holds(performed.on)
