"""What stands in a building, today and on any past day, as known today or on any past day.

Facts have two dates: valid from (in the world) and recorded at (here). Every change is a revision,
written once; the columns of a row are its newest facts. `add` and `revise` are the only ways to
write, `inventory` the only way to read the past.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from buildings import kinds
from buildings.models import (
    SPRINKLER_KINDS,
    Adoption,
    Building,
    Device,
    Revision,
    Riser,
    System,
    subject_model,
)
from contractors import audit, outbox
from contractors.models import Membership
from contractors.refusal import FieldRefused

# Columns whose past matters, because rules or reports read them. The rest (contacts, access, place
# on the map) is only as it is now.
_ITEM = ("code", "name", "location", "position", "attributes", "in_service_from", "in_service_to")
FACTS: Mapping[str, tuple[str, ...]] = {
    "building": (
        *("code", "name", "address", "city", "region", "postal_code", "country"),
        *("time_zone", "units", "jurisdiction_id", "taken_over_on", "attributes"),
        *("suspended_from", "suspended_until", "suspension_reason"),
    ),
    "system": (*_ITEM, "kind", "parent_id"),
    "riser": (*_ITEM, "system_id"),
    "device": (*_ITEM, "kind", "system_id", "riser_id", "parent_id", "serial"),
}
_DATES = {"in_service_from", "in_service_to", "taken_over_on", "suspended_from", "suspended_until"}
ITEM_KINDS = ("system", "riser", "device")


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A system, riser or device as plain data.

    Attributes
    ----------
    subject_kind, kind
        system, riser or device; and the kind by which rules know it.
    parent_id
        What it hangs on: another item, or the building.
    in_service
        Whether it is in service on the day asked for.
    """

    id: UUID
    subject_kind: str
    kind: str
    parent_id: UUID
    system_id: UUID | None
    riser_id: UUID | None
    code: str
    name: str
    location: str
    position: int
    attributes: Mapping[str, Any]
    in_service_from: date | None
    in_service_to: date | None
    in_service: bool


@dataclass(frozen=True)
class Inventory:
    """A building with everything in it on a day, as plain data.

    Attributes
    ----------
    edition
        Adopted edition of the base standard, a year; None where nobody knows.
    known
        False on days before the first thing known of the building.
    facts
        The building's own columns that have a past.
    attributes
        The building's attributes that rules read.
    items
        Systems, risers and devices, in the order that water flows.
    """

    building_id: UUID
    on: date
    known: bool
    edition: int | None
    facts: Mapping[str, Any]
    attributes: Mapping[str, Any]
    items: tuple[Item, ...]

    @cached_property
    def by_id(self) -> Mapping[UUID, Item]:
        """Return the items by id."""
        return {item.id: item for item in self.items}

    def of_kind(self, subject_kind: str) -> list[Item]:
        """Return the systems, the risers or the devices."""
        return [item for item in self.items if item.subject_kind == subject_kind]

    @property
    def suspended(self) -> bool:
        """Say whether the building is suspended on that day, such as a vacant one."""
        begins, ends = self.facts.get("suspended_from"), self.facts.get("suspended_until")
        return begins is not None and begins <= self.on and (ends is None or self.on <= ends)


def tree(building: Building, on: date | None = None, known_at: datetime | None = None) -> Inventory:
    """Return a building's inventory as plain data: as it is now, or as `inventory` gives it.

    Parameters
    ----------
    on, known_at
        Without both, today's columns are read, which is quicker and the same.
    """
    if known_at is None and on is None:
        return trees([building])[building.pk]
    return inventory(building, on or building.today, known_at)


def trees(buildings: Iterable[Building]) -> dict[UUID, Inventory]:
    """Return today's inventory of many buildings, by id, in four queries."""
    buildings = list(buildings)
    rows: dict[UUID, list[tuple[str, UUID, dict[str, Any]]]] = {one.pk: [] for one in buildings}
    for model in (System, Riser, Device):
        kind = model.subject_kind
        found = model.objects.filter(building__among=buildings).order_by("position", "code")
        for pk, building_id, *values in found.values_list("pk", "building_id", *FACTS[kind]):
            facts = dict(zip(FACTS[kind], values, strict=True))
            rows[building_id].append((kind, pk, facts))
    adopted = _adoptions({b.jurisdiction_id for b in buildings if b.jurisdiction_id}, None)
    trees = {}
    for building in buildings:
        today = building.today
        items = [
            _item(pk, kind, facts, building.pk, today) for kind, pk, facts in rows[building.pk]
        ]
        facts = facts_of(building)
        edition = _edition(adopted.get(building.jurisdiction_id), today)
        trees[building.pk] = _inventory(building.pk, today, facts, items, edition)
    return trees


def inventory(building: Building, on: date, known_at: datetime | None = None) -> Inventory:
    """Return what stood in a building on a day, from the revisions known at a moment.

    Parameters
    ----------
    on
        The day in the world.
    known_at
        What was recorded after this moment is left out; None takes all.
    """
    revisions = Revision.objects.filter(building=building, valid_from__lte=on)
    if known_at is not None:
        revisions = revisions.filter(recorded_at__lte=known_at)
    merged: dict[tuple[str, UUID], dict[str, Any]] = {}
    for row in revisions.order_by("valid_from", "recorded_at", "id"):
        merge(merged.setdefault((row.subject_kind, row.subject_id), {}), row.facts)
    facts = _typed(merged.pop(("building", building.pk), {}))
    items = [
        _item(subject_id, kind, _typed(of_it), building.pk, on)
        for (kind, subject_id), of_it in merged.items()
    ]
    jurisdiction_id = facts.get("jurisdiction_id")
    adopted = _adoptions({jurisdiction_id}, known_at) if jurisdiction_id else {}
    edition = _edition(adopted.get(jurisdiction_id), on)
    return _inventory(building.pk, on, facts, items, edition)


def authority_on(building: Building, on: date, known_at: datetime | None = None) -> UUID | None:
    """Return the id of the authority that a building stood under on a day, as known at a moment."""
    told = Revision.objects.filter(
        building=building, subject_kind="building", valid_from__lte=on, facts__has_key=_AUTHORITY
    )
    if known_at is not None:
        told = told.filter(recorded_at__lte=known_at)
    newest = told.order_by("valid_from", "recorded_at", "id").values_list("facts", flat=True).last()
    if newest is None:
        found: UUID | None = building.jurisdiction_id
        return found
    return UUID(newest[_AUTHORITY]) if newest[_AUTHORITY] else None


_AUTHORITY = "jurisdiction_id"


def edition_of(
    jurisdiction_id: UUID | None, on: date, known_at: datetime | None = None
) -> int | None:
    """Return the edition that an authority had adopted on a day, as known at a moment."""
    if jurisdiction_id is None:
        return None
    return _edition(_adoptions({jurisdiction_id}, known_at).get(jurisdiction_id), on)


def add(
    subjects: Sequence[Any], *, by: Membership | None, reason: str = "", tell: bool = True
) -> None:
    """Write new buildings, systems, risers or devices, each with its first revision.

    Their facts are valid from the day in service, else from the day the building was taken over.

    Parameters
    ----------
    subjects
        Unsaved rows, parents before what hangs on them.
    tell
        False where the caller tells the outbox about the buildings itself.
    """
    now = timezone.now()
    by_model: dict[Any, list[Any]] = {}
    for subject in subjects:
        by_model.setdefault(type(subject), []).append(subject)
    with transaction.atomic():
        for model, rows in by_model.items():
            model.objects.bulk_create(rows, batch_size=500)
        Revision.objects.bulk_create(
            [
                _revision(s, encode(facts_of(s)), _first_day(s), by, reason or "entered", now)
                for s in subjects
            ],
            batch_size=500,
        )
        if tell:
            for building_id in {_building_id(subject) for subject in subjects}:
                tell_changed(building_id, now)


def revise(
    subject: Any,
    facts: Mapping[str, Any],
    *,
    valid_from: date | None,
    by: Membership | None,
    reason: str,
    tell: bool = True,
) -> Revision | None:
    """Change facts of a building, system, riser or device from a day on.

    Parameters
    ----------
    facts
        Columns of `FACTS` with their new values; `attributes` holds only the attributes that
        change, an attribute set to None is taken out.
    valid_from
        The day since which it has been so, at the building not in the future; None for today.
    tell
        False where the caller tells the outbox about the building itself.

    Returns
    -------
    Revision
        What was written, or None when everything is so already on that day.

    Raises
    ------
    FieldRefused
        When a fact is none of the subject's, the day lies ahead, or the reason is missing.
    """
    kind = subject_kind_of(subject)
    for name in facts:
        if name not in FACTS[kind]:
            raise FieldRefused(name, facts[name], f"Facts of a {kind}: {', '.join(FACTS[kind])}.")
    building = subject if kind == "building" else subject.building
    valid_from = valid_from or building.today
    if valid_from > building.today:
        raise FieldRefused("valid_from", valid_from, "A day up to today.")
    if not reason.strip():
        raise FieldRefused("reason", reason, "Say in a few words why the facts change.")
    with transaction.atomic():
        type(subject).objects.select_for_update().get(pk=subject.pk)
        wanted = _differing(subject, encode(facts), valid_from)
        if not wanted:
            return None
        now = timezone.now()
        revision: Revision = _revision(subject, wanted, valid_from, by, reason, now)
        revision.save()
        _refresh(subject)
        audit.record(f"{kind}.revised", by=by, on=subject, facts=sorted(wanted), reason=reason)
        if tell:
            tell_changed(building.pk, now)
    return revision


def tell_changed(building_id: UUID, at: datetime) -> None:
    """Have what rests on a building's inventory derived again."""
    outbox.add("building.changed", f"{building_id}:{at.isoformat()}", building=building_id)


def subject_kind_of(subject: Any) -> str:
    """Return building, system, riser or device."""
    return getattr(subject, "subject_kind", "") or "building"


def facts_of(subject: Any) -> dict[str, Any]:
    """Return a row's facts as its columns hold them now."""
    return {name: getattr(subject, name) for name in FACTS[subject_kind_of(subject)]}


def merge(facts: dict[str, Any], newer: Mapping[str, Any]) -> dict[str, Any]:
    """Lay newer facts over older ones, attribute by attribute, and return them."""
    for name, value in newer.items():
        if name != "attributes":
            facts[name] = value
            continue
        attributes = {**facts.get("attributes", {}), **value}
        facts[name] = {key: one for key, one in attributes.items() if one is not None}
    return facts


def encode(facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return facts as JSON holds them: dates and ids as text."""
    return {
        name: value.isoformat()
        if isinstance(value, date)
        else str(value)
        if isinstance(value, UUID)
        else value
        for name, value in facts.items()
    }


def _typed(facts: Mapping[str, Any]) -> dict[str, Any]:
    found = dict(facts)
    for name, value in facts.items():
        if value and name in _DATES:
            found[name] = date.fromisoformat(value)
        elif value and name.endswith("_id"):
            found[name] = UUID(value)
    return found


def _differing(subject: Any, facts: dict[str, Any], valid_from: date) -> dict[str, Any]:
    """Return those of the facts that were not so already on that day."""
    so_far: dict[str, Any] = {}
    known = Revision.objects.filter(subject_id=subject.pk, building_id=_building_id(subject))
    for row in known.filter(valid_from__lte=valid_from).order_by("valid_from", "recorded_at", "id"):
        merge(so_far, row.facts)
    found = {
        name: value
        for name, value in facts.items()
        if name != "attributes" and (name not in so_far or so_far[name] != value)
    }
    attributes = {
        name: value
        for name, value in facts.get("attributes", {}).items()
        if so_far.get("attributes", {}).get(name) != value
    }
    return {**found, "attributes": attributes} if attributes else found


def _refresh(subject: Any) -> None:
    """Make the columns what all revisions together say."""
    facts: dict[str, Any] = {}
    rows = Revision.objects.filter(subject_id=subject.pk, building_id=_building_id(subject))
    for row in rows.order_by("valid_from", "recorded_at", "id"):
        merge(facts, row.facts)
    for name, value in _typed(facts).items():
        setattr(subject, name, value)
    columns = [n.removesuffix("_id") for n in facts]
    subject.save(update_fields=columns)


def _revision(
    subject: Any,
    facts: dict[str, Any],
    valid_from: date,
    by: Membership | None,
    reason: str,
    now: datetime,
) -> Any:
    return Revision(
        building_id=_building_id(subject),
        subject_kind=subject_kind_of(subject),
        subject_id=subject.pk,
        valid_from=valid_from,
        recorded_at=now,
        recorded_by=by,
        reason=reason[:200],
        facts=facts,
    )


def _building_id(subject: Any) -> UUID:
    found: UUID = subject.pk if isinstance(subject, Building) else subject.building_id
    return found


def _first_day(subject: Any) -> date:
    if isinstance(subject, Building):
        return subject.taken_over_on
    first: date = subject.in_service_from or subject.building.taken_over_on
    return first


def _item(
    subject_id: UUID, subject_kind: str, facts: Mapping[str, Any], building_id: UUID, on: date
) -> Item:
    kind, attributes = facts.get("kind", subject_kind), dict(facts.get("attributes") or {})
    if subject_kind == "system" and kind in SPRINKLER_KINDS:
        attributes["kind"], kind = kind, "system"
    system_id = subject_id if subject_kind == "system" else facts.get("system_id")
    riser_id = subject_id if subject_kind == "riser" else facts.get("riser_id")
    above = (facts.get("parent_id"), facts.get("riser_id"), facts.get("system_id"))
    begins, ends = facts.get("in_service_from"), facts.get("in_service_to")
    return Item(
        id=subject_id,
        subject_kind=subject_kind,
        kind=kind,
        parent_id=next((one for one in above if one is not None), building_id),
        system_id=system_id,
        riser_id=riser_id,
        code=facts["code"],
        name=facts["name"],
        location=facts.get("location", ""),
        position=facts.get("position", 0),
        attributes=attributes,
        in_service_from=begins,
        in_service_to=ends,
        in_service=(begins is None or begins <= on) and (ends is None or on <= ends),
    )


def _inventory(
    building_id: UUID, on: date, facts: dict[str, Any], items: list[Item], edition: int | None
) -> Inventory:
    order = {kind: place for place, kind in enumerate(ITEM_KINDS)}
    items.sort(key=lambda item: (order[item.subject_kind], item.position, item.code))
    attributes = {**_counted(facts, items), **(facts.get("attributes") or {})}
    return Inventory(building_id, on, bool(facts), edition, facts, attributes, tuple(items))


def _counted(facts: Mapping[str, Any], items: Iterable[Item]) -> dict[str, Any]:
    """Return what rules ask of a building and its columns and items tell."""
    there = [item for item in items if item.in_service]
    groups = [item.attributes.get("quantity") for item in there if item.kind == "sprinkler_group"]
    found: dict[str, Any] = {
        "wet_systems": sum(item.attributes.get("kind") == "wet" for item in there)
    }
    if groups and None not in groups:
        found["sprinklers_total"] = sum(groups)
    if facts.get("region"):
        found["state"] = facts["region"]
    if facts.get("country"):
        known = kinds.kind_named("building").attributes["country"].choices
        found["country"] = facts["country"] if facts["country"] in known else "other"
    return found


def _adoptions(
    jurisdictions: set[UUID], known_at: datetime | None
) -> dict[UUID | None, list[Adoption]]:
    rows = Adoption.objects.filter(jurisdiction__in=jurisdictions).order_by("valid_from")
    if known_at is not None:
        rows = rows.filter(recorded_at__lte=known_at)
    found: dict[UUID | None, list[Adoption]] = {}
    for row in rows:
        found.setdefault(row.jurisdiction_id, []).append(row)
    return found


def _edition(adoptions: Iterable[Adoption] | None, on: date) -> int | None:
    in_force = [row.edition for row in adoptions or () if row.valid_from <= on]
    return in_force[-1] if in_force else None


def subject_of(subject_kind: str, subject_id: UUID) -> Any:
    """Return the building, system, riser or device of that id, or None."""
    return subject_model(subject_kind).objects.filter(pk=subject_id).first()
