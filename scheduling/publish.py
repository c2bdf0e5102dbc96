"""What owners see: facts copied, from a contractor's rows, to the rows of each engaged owner."""

from collections import Counter, defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Model, prefetch_related_objects

from buildings.inventory import Inventory
from buildings.models import Draw, Engagement, System
from contractors import bulk
from inspections import supply_board
from inspections.models import Finding, Impairment, Report, Visit
from scheduling import standing
from scheduling.deriving import Place
from scheduling.models import (
    FollowUp,
    Proposal,
    PublishedBuilding,
    PublishedItem,
    PublishedReport,
    PublishedStanding,
    StandingInterval,
)

MOST_NEXT = 5


def chunk(places: Sequence[Place], now: datetime, filled: Container[Any]) -> None:
    """Publish the standing, open items and what is next of buildings to every owner engaged.

    What was published is never taken back: after an engagement ends its last standing is ended,
    and nothing new is added, whoever is engaged then. The number of queries does not grow with
    the buildings.

    Parameters
    ----------
    filled
        Which of the tables `deriving.SELDOM` hold anything of these buildings.
    """
    by_owner: dict[tuple[UUID, UUID], list[Engagement]] = defaultdict(list)
    for place in places:
        for row in place.terms.engagements:
            by_owner[row.owner_id, place.building.pk].append(row)
    if not by_owner:
        return
    shelf = _Shelf([one for one in places if one.terms.engagements], filled)
    newest = {key: rows[-1] for key, rows in by_owner.items()}
    held = [
        rows[-1]
        for (_owner, building_id), rows in by_owner.items()
        if any(row.holds_on(shelf.places[building_id].today) for row in rows)
    ]
    _buildings(shelf, newest, now)
    over = {key: _over(row, shelf.places[row.building_id], now) for key, row in newest.items()}
    _standings(newest, over, now)
    _sync(
        PublishedItem,
        [item for row in held for item in shelf.items(row)],
        held,
        ("grade", "text", "ended_at", "facts"),
    )
    _sync(
        PublishedReport,
        [_report(row, one) for row in held for one in shelf.reports[row.building_id]],
        held,
        (),
    )


class _Shelf:
    """What there is to publish of some buildings, read at once."""

    def __init__(self, places: Sequence[Place], filled: Container[Any]) -> None:
        self.places = {one.building.pk: one for one in places}
        here = {"building__among": list(self.places)}
        self.kinds = {kind: str(words) for kind, words in System.Kind.choices}
        planned = Visit.objects.filter(**here, state="planned", planned_on__isnull=False)
        self.planned = _grouped(planned.order_by("planned_on"))
        self.owed: dict[UUID, FollowUp] = {}
        self.offers: dict[UUID, Proposal] = {}
        if any(one.findings for one in places):
            for owed in FollowUp.objects.filter(**here).exclude(state=FollowUp.State.DONE):
                self.owed.setdefault(owed.finding_id, owed)
            made = Proposal.objects.filter(finding__building__among=list(self.places))
            self.offers = {offer.finding_id: offer for offer in made.order_by("made_at")}
        impairments = [row for one in places for row in one.terms.impairments]
        prefetch_related_objects(impairments, "steps")
        self.reports: dict[UUID, list[Report]] = defaultdict(list)
        sealed = Report.objects.filter(visit__building__among=list(self.places), pdf__isnull=False)
        for report in sealed.select_related("visit", "pdf"):
            self.reports[report.visit.building_id].append(report)
        draws = Draw in filled
        self.water = supply_board.told([one.building for one in places]) if draws else {}

    def items(self, engagement: Engagement) -> list[PublishedItem]:
        """Return the findings and impairments of an engaged building, as its owner sees them."""
        place = self.places[engagement.building_id]
        found = [
            _finding(one, engagement, place, self.owed.get(one.pk), self.offers.get(one.pk))
            for one in place.findings
        ]
        return found + [_impairment(one, engagement, place) for one in place.terms.impairments]


def _grouped(rows: Iterable[Any]) -> defaultdict[UUID, list[Any]]:
    found: defaultdict[UUID, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.building_id].append(row)
    return found


def _buildings(
    shelf: _Shelf,
    engagements: Mapping[tuple[UUID, UUID], Engagement],
    now: datetime,
) -> None:
    """Publish the buildings themselves; the moment of telling moves even where nothing changed."""
    owners = {owner for owner, _building in engagements}
    there = {
        (one.owner_id, one.building_id): one
        for one in PublishedBuilding.objects.filter(
            owner__among=owners, building_id__among=list(shelf.places)
        )
    }
    fresh, changed, same = [], [], []
    for key, engagement in engagements.items():
        values = _values(shelf, engagement)
        old = there.get(key)
        if old is None:
            fresh.append((key[0], now, *values.values()))
        elif any(getattr(old, name) != value for name, value in values.items()):
            changed.append((old.pk, now, *values.values()))
        else:
            same.append(old.pk)
    bulk.add(PublishedBuilding, ("owner_id", "told_at", *values), fresh)
    bulk.change(PublishedBuilding, ("told_at", *values), changed)
    if same:
        PublishedBuilding.objects.filter(pk__among=same).update(told_at=now)


def _values(shelf: _Shelf, engagement: Engagement) -> dict[str, Any]:
    place = shelf.places[engagement.building_id]
    row, held = place.building, engagement.holds_on(place.today)
    stands = standing.today_at(place) if held else standing.worst(())
    return {
        "building_id": row.pk,
        "engaged_from": engagement.from_on,
        "engaged_until": engagement.until_on,
        "contractor_name": row.contractor.name,
        "name": row.name,
        "code": row.code,
        "address": row.full_address,
        "time_zone": row.time_zone,
        "word": stands.word,
        "due_by": stands.due_by,
        "facts": {
            "reasons": stands.reasons,
            "scope": stands.scope,
            "next": _next(shelf, place) if held else [],
            "systems": _systems(place.inventory, shelf.kinds),
            "water": shelf.water.get(row.pk, []) if held else [],
        },
    }


def _next(shelf: _Shelf, place: Place) -> list[dict[str, Any]]:
    """Return what is planned next, else what falls due next."""
    planned = [
        {"what": visit.title or "Visit", "on": visit.planned_on.isoformat(), "planned": True}
        for visit in shelf.planned[place.building.pk][:MOST_NEXT]
    ]
    due = Counter(one.due_on for one in place.owed if not one.by_owner)
    return planned or [
        {"what": due[on], "on": on.isoformat(), "planned": False} for on in sorted(due)[:MOST_NEXT]
    ]


def _systems(inventory: Inventory, kinds: Mapping[str, str]) -> list[dict[str, Any]]:
    found = []
    for item in inventory.of_kind("system"):
        kind = item.attributes["kind"] if item.kind == "system" else item.kind
        words = {"name": item.name, "kind": kinds.get(kind, kind), "code": item.code}
        found.append({"id": str(item.id), **words})
    return found


def _over(engagement: Engagement, place: Place, now: datetime) -> datetime | None:
    """Return from when the building is no longer looked after for that owner; None: it still is."""
    if engagement.until_on is None:
        return None
    ends = datetime.combine(engagement.until_on + timedelta(days=1), time(), place.building.zone)
    return ends if ends <= now else None


def _standings(
    engagements: Mapping[tuple[UUID, UUID], Engagement],
    over: Mapping[tuple[UUID, UUID], datetime | None],
    now: datetime,
) -> None:
    """Copy the standing of buildings to their owners, within the database: its reasons are long."""
    places = {building_id for _owner, building_id in engagements}
    stood: dict[UUID, list[tuple[Any, ...]]] = defaultdict(list)
    rows = StandingInterval.objects.filter(building__among=places).order_by()
    for building_id, *one in rows.values_list("building_id", "pk", "from_at", *_ENDS):
        stood[building_id].append(tuple(one))
    there = {
        pk: tuple(ends)
        for pk, *ends in _published(PublishedStanding, engagements.values()).values_list(
            "pk", *_ENDS
        )
    }
    fresh, changed = [], []
    for key, row in engagements.items():
        for source_id, from_at, *ends in stood[row.building_id]:
            pk = _copy_id(row, source_id)
            old = there.get(pk)
            told = _ends_for(from_at, tuple(ends), over[key], old, now)
            if told is None:
                continue
            if old is None:
                fresh.append((source_id, pk, row.owner_id))
            if told != (old or tuple(ends)):
                changed.append((pk, *told))
    bulk.copy(StandingInterval, PublishedStanding, ("id", "owner_id"), fresh)
    bulk.change(PublishedStanding, _ENDS, changed)


_ENDS = ("to_at", "known_to")


def _ends_for(
    from_at: datetime,
    ends: tuple[datetime | None, ...],
    over: datetime | None,
    old: tuple[datetime | None, ...] | None,
    now: datetime,
) -> tuple[datetime | None, ...] | None:
    """Return both ends of a standing as an owner is told them; None where it is none of theirs.

    What was told of days after an end that was written down late is known no longer.
    """
    to_at, known_to = ends
    if over is None or from_at < over:
        return min(filter(None, (to_at, over)), default=None), known_to
    return (old[0], known_to or old[1] or now) if old else None


def _finding(
    row: Finding,
    engagement: Engagement,
    place: Place,
    owed: FollowUp | None,
    offer: Proposal | None,
) -> PublishedItem:
    facts = {
        "location": row.location,
        "count": row.count,
        "measure": row.temporary_measure,
        "system": _system_of(row, place),
        "respond_by": row.respond_by.isoformat() if row.respond_by else None,
        "follow_up": {"by": owed.due_on.isoformat(), "state": owed.state} if owed else None,
        "proposal": {
            "text": offer.text,
            "amount": str(offer.amount) if offer.amount is not None else None,
            "currency": offer.currency,
        }
        if offer
        else None,
        "decision": {
            "decision": row.decision,
            "until": row.decision_until.isoformat() if row.decision_until else None,
            "reason": row.decision_text,
        }
        if row.decision
        else None,
    }
    ended = datetime.combine(row.closed_on, time(), place.building.zone) if row.closed_on else None
    return PublishedItem(
        id=_copy_id(engagement, row.pk),
        owner_id=engagement.owner_id,
        building_id=row.building_id,
        kind="finding",
        source_id=row.pk,
        grade=row.grade,
        text=row.text,
        since=row.found_at,
        ended_at=ended,
        facts=facts,
    )


def _impairment(row: Impairment, engagement: Engagement, place: Place) -> PublishedItem:
    return PublishedItem(
        id=_copy_id(engagement, row.pk),
        owner_id=engagement.owner_id,
        building_id=row.building_id,
        kind="impairment",
        source_id=row.pk,
        grade="impairment",
        text=row.extent,
        since=row.started_at,
        ended_at=row.ended_at,
        facts={
            "kind": row.kind,
            "unknown_start": row.unknown_start,
            "system": _system_of(row, place),
            "ended_how": row.ended_how,
            "steps": [
                {"what": step.what, "who": step.who, "at": step.at.isoformat()}
                for step in row.steps.all()
            ],
        },
    )


def _system_of(row: Finding | Impairment, place: Place) -> str:
    return place.inventory.by_id[row.system_id].name if row.system_id else ""


def _report(engagement: Engagement, one: Any) -> PublishedReport:
    """Return a sealed version of a report as its owner sees it."""
    return PublishedReport(
        id=_copy_id(engagement, one.pk),
        owner_id=engagement.owner_id,
        building_id=engagement.building_id,
        report_id=one.pk,
        visit_id=one.visit_id,
        version=one.version,
        title=one.visit.title or str(one.visit.get_kind_display()),
        performed_on=one.visit.performed_on,
        code=one.code,
        sha256=one.sha256,
        facts=one.facts,
        pdf_sha256=one.pdf.sha256,
        sealed_at=one.sealed_at,
    )


def _copy_id(engagement: Engagement, source_id: UUID) -> UUID:
    """Return the id of the copy that one owner sees."""
    return uuid5(engagement.owner_id, str(source_id))


def _sync(
    model: type[Model],
    wanted: Sequence[Any],
    engagements: Iterable[Engagement],
    changing: tuple[str, ...],
) -> None:
    """Add what is new and bring the changing columns up to date; nothing is taken away."""
    if not wanted:
        return
    there = _published(model, engagements)
    known = {row.pk: row for row in there.only("pk", "contractor", *changing)}
    fresh = [row for row in wanted if row.pk not in known]
    changed = [
        row
        for row in wanted
        if row.pk in known
        and any(getattr(row, name) != getattr(known[row.pk], name) for name in changing)
    ]
    model._default_manager.bulk_create(fresh, batch_size=500)
    if changed:
        model._default_manager.bulk_update(changed, list(changing))


def _published(model: Any, engagements: Iterable[Engagement]) -> Any:
    owners = {row.owner_id for row in engagements}
    places = {row.building_id for row in engagements}
    return model.objects.filter(owner__among=owners, building_id__among=places).order_by()
