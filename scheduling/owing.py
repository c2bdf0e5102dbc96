"""What is owed at a building on a day, each with its window: the computation behind due dates."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any, NamedTuple
from uuid import UUID

from buildings import inventory as stock
from buildings.models import Agreement, Building
from inspections.applies import How, Judge, Owed
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity
from inspections.intervals import Span, WindowRule
from inspections.sites import Site
from scheduling import deriving
from scheduling.applicable import Applied, applied, site_of
from scheduling.deriving import Told
from scheduling.evidence import Evidence, absorb, evidence_at
from scheduling.recurrence import Clock, Season, Window
from scheduling.seasons import season_of, wanted_in
from scheduling.terms import Overlay, Terms, terms_of
from scheduling.turns import in_turn
from scheduling.windows import Bound, Bounds, Pause, open_window


class Timed(NamedTuple):
    """An activity on an item with what bounds it, its evidence and its open window.

    Attributes
    ----------
    impaired
        What is out of service there without leave, in words: it stays due, and ordinary work
        cannot be planned for it.
    rests
        Why nothing is owed by us on that day (leave to rest, no engagement); else empty.
    since, until
        First day on which the rules behind it were in force, and first on which they no longer
        were; None for no bound.
    """

    applied: Applied
    activity: Activity
    bounds: Bounds
    evidence: Evidence
    window: Window
    by_owner: bool
    impaired: str = ""
    rests: str = ""
    since: date | None = None
    until: date | None = None

    @property
    def rule(self) -> WindowRule:
        """Return the rule by which its performances are counted."""
        return self.bounds.rule

    @property
    def clock(self) -> Clock:
        """Return from when its time runs."""
        return self.bounds.clock

    @property
    def key(self) -> tuple[UUID, str]:
        """Return what identifies the open occurrence."""
        return self.applied.subject_id, self.activity.id

    @property
    def by_age(self) -> bool:
        """Say whether the first performance is due by age, so that none is missing before it."""
        return self.bounds.by_age

    @property
    def how_many(self) -> int:
        """Return how many the item stands for where the activity counts them."""
        item, unit = self.applied.subject, self.activity.item_unit
        if item is None or unit in ("", "subject"):
            return 1
        return int(item.attributes.get(unit) or 1)

    def known_on(self, today: date) -> bool:
        """Say whether the state is known: done once, due by age, or one window has gone by."""
        if self.bounds.turn and self.bounds.turn.passed:
            return True
        return bool(self.evidence.days) or self.by_age or today > self.window.latest


def timed(
    building: Building,
    inventory: stock.Inventory,
    judge: Judge,
    known_at: datetime | None = None,
    *,
    resting: bool = False,
    terms: Terms | None = None,
    told: Told | None = None,
    site: Site | None = None,
    everything: Sequence[Applied] | None = None,
) -> list[Timed]:
    """Return everything the calendar schedules at a building, each with its open window.

    Parameters
    ----------
    known_at
        As the record told it at that moment; the inventory is to be of that moment.
    resting
        Also what is not owed on that day, because it rests by leave or nobody engages us.
    terms, told, site, everything
        What contract and authority say of time, what the record says was done, the inventory as the
        rules see it, and what holds there of the catalogue; read and ruled on here, where they are
        left out.
    """
    if not inventory.known:
        return []
    terms = terms or terms_of(building, inventory.on, known_at)
    places = _Places(inventory, terms)
    told = told or deriving.told_at([building], known_at)[building.pk]
    site = site or site_of(inventory)
    evidence = evidence_at(building, inventory, judge.catalogue, told)
    if everything is None:
        everything = applied(inventory, judge, site=site, off=False)
    bounding = _Bounding(building, inventory, judge.catalogue, terms, _restating(everything))
    owing: list[tuple[Applied, Bounds, Evidence]] = []
    for one in everything:
        if one.owed.how is How.CALENDAR and (resting or not places.rests(one.subject_id)):
            known = evidence[one.subject_id, one.owed.activity.id]
            pauses = places.pauses(one.subject_id)
            owing.append((one, bounding.of(one, pauses, known.catch_up_by), known))
    absorb(told, owing, evidence, site, inventory.on, judge.catalogue)
    owing = in_turn(owing, told.answers, site, inventory.on, judge, terms.turn_orders)
    return [
        Timed(
            applied=one,
            activity=one.owed.activity,
            bounds=bounds,
            evidence=known,
            window=open_window(bounds, known.days),
            by_owner=terms.does(iso(one.owed.activity)),
            impaired=places.impaired(one.subject_id),
            rests=places.rests(one.subject_id),
        )
        for one, bounds, known in owing
    ]


class _Bounding:
    """What bounds the work at a building: one value for all the items that are alike in it."""

    def __init__(
        self,
        building: Building,
        inventory: stock.Inventory,
        rules: Catalogue,
        terms: Terms,
        restating: Mapping[tuple[str, str], Sequence[Activity]],
    ) -> None:
        self.building, self.inventory = building, inventory
        self.rules, self.terms, self.restating = rules, terms, restating
        self._found: dict[tuple[Any, ...], Bounds] = {}

    def of(self, one: Applied, pauses: tuple[Pause, ...], catch_up_by: date | None) -> Bounds:
        """Return what bounds an activity on an item."""
        activity, item = one.owed.activity, one.subject
        born = activity.counted_from(item.attributes) if item else None
        begun = item.in_service_from if item else None
        others = tuple(self.restating.get((one.owed.item.id, activity.id), ()))
        key = (activity, others, one.owed.item.kind, begun, born, pauses, catch_up_by)
        found = self._found.get(key)
        if found is None:
            bounds = Bounds(
                rules=_rules(
                    *(self.rules, self.inventory.edition, self.terms.overlays),
                    (activity, *others),
                ),
                clock=_clock(self.building, activity, begun, born, self.terms.agreement),
                policy=self.terms.policy,
                season=_season(self.inventory, self.terms, activity, one.owed.item.kind),
                pauses=pauses,
                catch_up_by=catch_up_by,
                kept_free=self.terms.kept_free(iso(activity), flows=activity.water_flow != "none"),
            )
            found = self._found[key] = _one_for_all(bounds)
        return found


# Windows are looked up by their bounds, and the same object compares soon.
@lru_cache(maxsize=20_000)
def _one_for_all(bounds: Bounds) -> Bounds:
    return bounds


class _Places:
    """What holds at an item because of where it hangs: leave to rest, and being out of service."""

    def __init__(self, inventory: stock.Inventory, terms: Terms) -> None:
        self.inventory, self.terms = inventory, terms
        self._ever_rests = bool(terms.pauses) or inventory.suspended
        self._pauses: dict[UUID, tuple[Pause, ...]] = {}

    def _chain(self, subject_id: UUID) -> Iterator[UUID]:
        building, at = self.inventory.building_id, subject_id
        yield at
        while at != building:
            item = self.inventory.by_id.get(at)
            at = item.parent_id if item else building
            yield at

    def pauses(self, subject_id: UUID) -> tuple[Pause, ...]:
        """Return the time for which an item, or anything it hangs on, rested by leave."""
        if not self._ever_rests:
            return ()
        if subject_id not in self._pauses:
            found = [
                pause for at in self._chain(subject_id) for pause in self.terms.pauses.get(at, ())
            ]
            if self.inventory.suspended and not any(p.holds(self.inventory.on) for p in found):
                found.append(_own_pause(self.inventory))
            self._pauses[subject_id] = tuple(sorted(found, key=lambda pause: pause.from_on))
        return self._pauses[subject_id]

    def rests(self, subject_id: UUID) -> str:
        """Return why nothing is owed on an item on that day; empty when it is."""
        if not self.terms.engaged:
            return "Nobody engages us for this building on that day."
        if not self._ever_rests:
            return ""
        holding = [one for one in self.pauses(subject_id) if one.holds(self.inventory.on)]
        return str(holding[0]) if holding else ""

    def impaired(self, subject_id: UUID) -> str:
        """Return what is out of service at an item, in words; empty when nothing is."""
        if not self.terms.impaired:
            return ""
        told = (self.terms.impaired.get(at) for at in self._chain(subject_id))
        return next((extent for extent in told if extent), "")


def pauses_at(inventory: stock.Inventory, terms: Terms, subject_id: UUID) -> tuple[Pause, ...]:
    """Return the time for which an item or the building rests by leave, past, present, to come."""
    return _Places(inventory, terms).pauses(subject_id)


def _own_pause(inventory: stock.Inventory) -> Pause:
    until = inventory.facts.get("suspended_until")
    return Pause(
        from_on=inventory.facts["suspended_from"],
        back_on=until + timedelta(days=1) if until else None,
        reason=inventory.facts.get("suspension_reason") or "",
    )


# An activity is bounded by the same rules at most buildings.
@lru_cache(maxsize=5_000)
def _rules(
    rules: Catalogue,
    edition: int | None,
    overlays: tuple[Overlay, ...],
    activities: tuple[Activity, ...],
) -> tuple[Bound, ...]:
    """Return the rules that bound a task: its own, those folded into it, those laid beside."""
    found: dict[tuple[str, str], Bound] = {}
    for activity in activities:
        if activity.frequency is None:
            continue
        rule = rules.window_rule(activity.regime, edition, activity.frequency)
        bound = Bound(name=activity.regime, rule=rule, activity=activity.id)
        found.setdefault((activity.regime, rule.word), bound)
        for overlay in overlays:
            beside = rules.own_window_rule(overlay.regime, overlay.edition, activity.frequency)
            if beside is not None:
                name = overlay.authority or overlay.regime
                key = (overlay.regime, beside.word)
                found.setdefault(key, Bound(name=name, rule=beside, activity=activity.id))
    return tuple(found.values())


def _season(
    inventory: stock.Inventory, terms: Terms, activity: Activity, kind: str
) -> Season | None:
    wanted = wanted_in(activity.season, kind, activity.water_flow)
    if not wanted or not terms.frost.happens(inventory.attributes.get("frost")):
        return None
    return season_of(wanted, terms.frost)


def _restating(everything: Iterable[Applied]) -> dict[tuple[str, str], list[Activity]]:
    """Return, by item and activity, the rows of other regimes that are folded into it.

    A row of the host's own regime says the same task again, and the host's frequency counts.
    """
    rows = {(one.owed.item.id, one.owed.activity.id): one.owed for one in everything}
    folded = {key: owed for key, owed in rows.items() if owed.how is How.RESTATED}
    found: dict[tuple[str, str], list[Activity]] = defaultdict(list)
    for one in folded.values():
        for host in _hosts(one, folded):
            is_own = host in rows and rows[host].activity.regime == one.activity.regime
            if not is_own and one.activity not in found[host]:
                found[host].append(one.activity)
    return found


def _hosts(one: Owed, folded: Mapping[tuple[str, str], Owed]) -> Iterator[tuple[str, str]]:
    """Yield what a restated row is folded into, in the end: a host may itself restate another."""
    seen, waiting = set(), list(one.within)
    while waiting:
        host = waiting.pop()
        if host in seen:
            continue
        seen.add(host)
        if host in folded:
            waiting += folded[host].within
        else:
            yield host


@lru_cache(maxsize=5_000)
def iso(activity: Activity) -> str:
    """Return an activity's frequency as an ISO 8601 duration."""
    return iso_of(activity.frequency)


def iso_of(span: Span | None) -> str:
    """Return an interval as an ISO 8601 duration, in years where it is whole years."""
    if span is None:
        return ""
    if span.days:
        return f"P{span.days}D"
    return f"P{span.months // 12}Y" if span.months % 12 == 0 else f"P{span.months}M"


def _clock(
    building: Building,
    activity: Activity,
    begun: date | None,
    born: date | None,
    agreement: Agreement | None,
) -> Clock:
    start = max(day for day in (building.taken_over_on, begun, activity.asked_since) if day)
    month = agreement.anchor_month if agreement else None
    anchor = date(start.year, month, 1) if month else None
    return Clock(start=start, anchor=anchor, born=born, first_after=activity.first_age)
