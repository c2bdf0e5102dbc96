"""What falls due, the programme, follow-ups, and an owner's rooms, as tables for export."""

from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from buildings.exported import named
from contractors import exports, filters
from contractors.doors import Door
from contractors.exports import Filters, Table, moment
from scheduling import bundle, load, plans, rooms
from scheduling.forms import DueFilters
from scheduling.models import (
    FollowUp,
    Occurrence,
    PublishedBuilding,
    PublishedItem,
    PublishedReport,
)

DUE_COLUMNS = (
    *("building", "number", "district", "activity", "task", "item", "frequency", "needs"),
    *("done_by", "earliest", "due", "latest", "last_done", "evidence", "work (min)", "source"),
)
PROGRAMME_COLUMNS = (
    *("building", "number", "district", "system", "item", "item code", "item name", "activity"),
    *("task", "frequency", "needs", "done by", "earliest", "due", "latest", "last done"),
    *("evidence", "known", "work (min)", "planned for", "why this window", "why it applies"),
    *("source", "confidence", "regime", "catalogue version", "derived on"),
)
FOLLOW_UP_COLUMNS = (
    *("building", "number", "what", "state", "by", "why this day", "finding", "class"),
    *("impairment", "opened on", "reminded on", "reminders", "done on"),
)
OWNER_BUILDING_COLUMNS = (
    *("building", "number", "address", "looked after by", "from", "until", "standing"),
    *("due by", "since", "open", "worst class"),
)
OWNER_ITEM_COLUMNS = (
    *("building", "what", "class", "text", "where", "system", "since", "ended", "respond by"),
    *("decision", "until", "looked after by"),
)
OWNER_REPORT_COLUMNS = (
    *("building", "title", "done on", "version", "code", "sha-256", "sealed", "looked after by"),
)


class FollowUpFilters(forms.Form):
    """What follow-ups may be narrowed by."""

    state = forms.ChoiceField(
        label=_("State"), required=False, choices=[("", _("any")), *FollowUp.State.choices]
    )
    kind = forms.ChoiceField(
        label=_("What"), required=False, choices=[("", _("any")), *FollowUp.Kind.choices]
    )
    by = forms.DateField(label=_("By"), required=False)


class OwnerFilters(forms.Form):
    """What an owner's tables may be narrowed by: ids and words of ours, no text."""

    building = forms.UUIDField(label=_("Building"), required=False)


def register() -> None:
    """Offer the tables."""
    exports.contractor_for_owner.append(_contractor_for_owner)
    exports.register(
        Table(
            name="due",
            title=_("What falls due"),
            says=_("A row an occurrence, as the page Due lists them."),
            columns=lambda _units: DUE_COLUMNS,
            chosen=_due_chosen,
            rows=_due,
        ),
        Table(
            name="programme",
            title=_("Programme"),
            says=_("A row an occurrence of every building, with its window and its reason."),
            columns=lambda _units: PROGRAMME_COLUMNS,
            chosen=lambda narrowed, door: _due_chosen({"who": "all", **narrowed}, door),
            rows=_programme,
        ),
        Table(
            name="follow_ups",
            title=_("Follow-ups"),
            says=_("A row a thing owed because of a finding or an impairment."),
            columns=lambda _units: FOLLOW_UP_COLUMNS,
            chosen=_follow_ups_chosen,
            rows=_follow_ups,
        ),
        Table(
            name="owner_buildings",
            title=_("Buildings and how they stand"),
            says=_("A row a building, as of today."),
            columns=lambda _units: OWNER_BUILDING_COLUMNS,
            chosen=lambda narrowed, _door: _published(PublishedBuilding, "name", narrowed),
            rows=_owner_buildings,
            owner=True,
        ),
        Table(
            name="owner_items",
            title=_("Findings and impairments"),
            says=_("A row a finding or an impairment, open and ended."),
            columns=lambda _units: OWNER_ITEM_COLUMNS,
            chosen=lambda narrowed, _door: _published(PublishedItem, "since", narrowed),
            rows=_owner_items,
            owner=True,
        ),
        Table(
            name="owner_reports",
            title=_("Reports"),
            says=_("A row a report, with the code by which anybody can check it."),
            columns=lambda _units: OWNER_REPORT_COLUMNS,
            chosen=lambda narrowed, _door: _published(PublishedReport, "performed_on", narrowed),
            rows=_owner_reports,
            owner=True,
        ),
    )


def _contractor_for_owner() -> UUID | None:
    found: UUID | None = (
        PublishedBuilding.objects.order_by("pk").values_list("contractor_id", flat=True).first()
    )
    return found


def _due_chosen(narrowed: Filters, _door: Door) -> Any:
    form = DueFilters(narrowed)
    rows = load.narrowed(form.asked(), plans.today_at(timezone.now()))
    return form, rows.order_by("latest_on", "building__name", "activity", "pk")


def _due(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    for row in exports.in_order(Occurrence.objects.select_related("building", "system"), ids):
        yield (
            *(row.building.name, row.building.code, row.building.area, row.activity),
            *(bundle.activity_of(row).task, row.system.name if row.system else ""),
            *(row.frequency, row.qualification, _who(row)),
            *(row.earliest_on, row.due_on, row.latest_on, row.last_done_on, row.last_evidence),
            *(row.minutes, row.reason.get("source", "")),
        )


def _who(row: Occurrence) -> str:
    return "owner" if row.by_owner else "us"


def _programme(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    rows = Occurrence.objects.select_related("building", "system", "visit")
    found = exports.in_order(rows, ids)
    names = named((row.subject_kind, row.subject_id) for row in found)
    for row in found:
        why = row.reason
        yield (
            *(row.building.name, row.building.code, row.building.area),
            *(row.system.name if row.system else None, row.subject_kind),
            *(*names.get(row.subject_id, (None, None)), row.activity),
            *(bundle.activity_of(row).task, row.frequency, row.qualification, _who(row)),
            *(row.earliest_on, row.due_on, row.latest_on, row.last_done_on, row.last_evidence),
            *(row.known, row.minutes, row.visit.planned_on if row.visit else None),
            *(_words(why.get("window")), _words(why.get("applies")), why.get("source")),
            *(why.get("confidence"), why.get("regime"), row.catalogue_version, row.derived_on),
        )


def _words(reason: Any) -> Any:
    return "; ".join(map(str, reason)) if isinstance(reason, list) else reason


def _follow_ups_chosen(narrowed: Filters, _door: Door) -> Any:
    form = FollowUpFilters(narrowed)
    given = filters.given(form)
    rows = FollowUp.objects.order_by("due_on", "pk")
    for name in ("state", "kind"):
        if given.get(name):
            rows = rows.filter(**{name: given[name]})
    if given.get("by"):
        rows = rows.filter(due_on__lte=given["by"])
    return form, rows


def _follow_ups(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    rows = FollowUp.objects.select_related("building", "finding", "impairment")
    for row in exports.in_order(rows, ids):
        yield (
            *(row.building.name, row.building.code, row.kind, row.state, row.due_on, row.basis),
            *((row.finding.text, row.finding.grade) if row.finding else (None, None)),
            *(row.impairment.extent if row.impairment else None, row.opened_on),
            *(row.reminded_on, row.reminders, row.done_on),
        )


def _published(model: Any, order: str, narrowed: Filters) -> Any:
    form = OwnerFilters(narrowed)
    given = filters.given(form)
    rows = model.objects.order_by(order, "pk")
    return form, rows.filter(building_id=given["building"]) if given.get("building") else rows


def _owner_buildings(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    stands = {one.building.pk: one for one in rooms.portfolio()}
    for one in (stands[pk] for pk in ids if pk in stands):
        row = one.building
        yield (
            *(row.name, row.code, row.address, row.contractor_name, row.engaged_from),
            *(row.engaged_until, one.word, one.due_by, moment(one.since, row.time_zone)),
            *(len(one.items), one.worst),
        )


def _places() -> dict[UUID, PublishedBuilding]:
    return {row.building_id: row for row in PublishedBuilding.objects.all()}


def _owner_items(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    places = _places()
    for row in exports.in_order(PublishedItem.objects.all(), ids):
        place, decision = places[row.building_id], row.facts.get("decision") or {}
        yield (
            *(place.name, row.kind, row.grade, row.text, row.facts.get("location")),
            *(row.facts.get("system"), moment(row.since, place.time_zone)),
            *(moment(row.ended_at, place.time_zone), row.facts.get("respond_by")),
            *(decision.get("decision"), decision.get("until"), place.contractor_name),
        )


def _owner_reports(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    places = _places()
    for row in exports.in_order(PublishedReport.objects.defer("facts"), ids):
        place = places[row.building_id]
        yield (
            *(place.name, row.title, row.performed_on, row.version, row.code, row.sha256),
            *(moment(row.sealed_at, place.time_zone), place.contractor_name),
        )
