"""Visits and what was done and found, as tables for export."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings import units
from buildings.exported import named
from contractors import exports, filters
from contractors.doors import Door
from contractors.exports import Filters, Table, moment
from inspections import lists
from inspections.catalogue_files import catalogue
from inspections.models import Finding, Reading, Result, Visit

VISIT_COLUMNS = (
    *("day", "building", "number", "kind", "for", "technician", "second", "state"),
    *("planned on", "planned start", "work (min)", "done on", "handed in", "sealed", "report"),
)
RESULT_COLUMNS = (
    *("building", "number", "done on", "activity", "task", "item", "item code", "item name"),
    *("answer", "reason", "answered in bulk", "recorded at", "report", "visit"),
)
FINDING_COLUMNS = (
    *("building", "class", "state", "what", "where", "count", "found on", "respond by"),
    *("number", "system", "item", "item code", "item name", "found at", "found again"),
    *("temporary measure", "owner told at", "owner's decision", "until", "closed on"),
)
# A column each for what is read most often; a reading of another kind has its unit beside it.
MEASURES = ("pressure", "flow", "length", "temperature", "time")


class RecordFilters(forms.Form):
    """What results and readings may be narrowed by."""

    building = forms.CharField(label=_("Building"), required=False, max_length=80)
    day_from = forms.DateField(label=_("From"), required=False)
    day_to = forms.DateField(label=_("To"), required=False)


def register() -> None:
    """Offer the tables."""
    exports.register(
        Table(
            name="visits",
            title=_("Visits"),
            says=_("A row a visit, planned and done."),
            columns=lambda _units: VISIT_COLUMNS,
            chosen=lambda narrowed, door: lists.visits(narrowed, door.member),  # type: ignore[arg-type]
            rows=_visits,
        ),
        Table(
            name="results",
            title=_("Results"),
            says=_("A row an answer: one activity on one item at one visit."),
            columns=lambda _units: RESULT_COLUMNS,
            chosen=lambda narrowed, _door: _recorded(Result, "performed_on", narrowed),
            rows=_results,
        ),
        Table(
            name="readings",
            title=_("Readings"),
            says=_("A row a reading, in the units chosen and as typed."),
            columns=reading_columns,
            chosen=lambda narrowed, _door: _recorded(Reading, "read_on", narrowed),
            rows=_readings,
            id_name="id",
        ),
        Table(
            name="findings",
            title=_("Findings"),
            says=_("A row a finding."),
            columns=lambda _units: FINDING_COLUMNS,
            chosen=_findings_chosen,
            rows=_findings,
        ),
    )


def _findings_chosen(narrowed: Filters, _door: Door) -> Any:
    return lists.findings(narrowed)


def _recorded(model: Any, day: str, narrowed: Filters) -> Any:
    form = RecordFilters(narrowed)
    given = filters.given(form)
    rows = model.objects.order_by(day, "visit_id", "subject_id", "id")
    if text := given.get("building"):
        rows = rows.filter(building__name__icontains=text) | rows.filter(
            building__code__iexact=text
        )
    if since := given.get("day_from"):
        rows = rows.filter(**{f"{day}__gte": since})
    if until := given.get("day_to"):
        rows = rows.filter(**{f"{day}__lte": until})
    return form, rows


def _visits(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    rows = Visit.objects.select_related("building", "technician", "second")
    for row in exports.in_order(rows, ids):
        zone = row.building.time_zone
        yield (
            *(row.performed_on or row.planned_on, row.building.name, row.building.code),
            *(row.kind, row.title, row.technician.name if row.technician else None),
            *(row.second.name if row.second else None, row.state, row.planned_on),
            *(moment(row.planned_start, zone), row.planned_minutes, row.performed_on),
            *(moment(row.handed_in_at, zone), moment(row.sealed_at, zone), row.number),
        )


def _task(activity: str) -> str | None:
    found = catalogue().activities.get(activity)
    return found.task if found else None


def _results(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    found = exports.in_order(Result.objects.select_related("building", "visit"), ids)
    names = named((row.subject_kind, row.subject_id) for row in found)
    for row in found:
        yield (
            *(row.building.name, row.building.code, row.performed_on, row.activity),
            *(_task(row.activity), row.subject_kind, *names.get(row.subject_id, (None, None))),
            *(row.answer, row.reason, row.in_bulk),
            *(moment(row.recorded_at, row.building.time_zone), row.visit.number, row.visit_id),
        )


def _unit(quantity: str, system: str) -> str:
    return str(units.named(0.0, quantity, system)["unit"])


def reading_columns(system: str) -> tuple[str, ...]:
    """Return the headings of readings, with the units of the system."""
    return (
        *("building", "number", "read on", "activity", "item", "item code", "item name"),
        *("reading", "point"),
        *(f"{measure} ({_unit(measure, system)})" for measure in MEASURES),
        *("other value", "unit of other value", "as typed", "verdict", "read at", "visit"),
    )


def _readings(ids: Sequence[UUID], system: str) -> Iterator[tuple[object, ...]]:
    found = exports.in_order(Reading.objects.select_related("building"), ids, "id")
    names = named((row.subject_kind, row.subject_id) for row in found)
    for row in found:
        yield (
            *(row.building.name, row.building.code, row.read_on, row.activity),
            *(row.subject_kind, *names.get(row.subject_id, (None, None)), row.name, row.point),
            *_values(row, system),
            *(row.typed, row.verdict, moment(row.read_at, row.building.time_zone), row.visit_id),
        )


def _values(row: Reading, system: str) -> tuple[object, ...]:
    try:
        quantity = units.quantity_of(row.unit)
    except units.UnitRefused:
        return (*[None] * len(MEASURES), row.value_si, row.unit)
    told = units.named(row.value_si, quantity, system)
    value = float(f"{told['value']:.6g}")
    cells: list[object] = [value if one == quantity else None for one in MEASURES]
    other = (None, None) if quantity in MEASURES else (value, told["unit"])
    return (*cells, *other)


def _findings(ids: Sequence[UUID], _units: str) -> Iterator[tuple[object, ...]]:
    found = exports.in_order(Finding.objects.select_related("building", "system"), ids)
    names = named((row.subject_kind, row.subject_id) for row in found)
    for row in found:
        zone = row.building.time_zone
        until: date | None = row.decision_until
        yield (
            *(row.building.name, row.grade, row.state, row.text, row.location, row.count),
            *(row.found_on, row.respond_by, row.building.code),
            *(row.system.name if row.system else None, row.subject_kind),
            *(*names.get(row.subject_id, (None, None)), moment(row.found_at, zone)),
            *(row.seen_again, row.temporary_measure, moment(row.owner_told_at, zone)),
            *(row.decision, until, row.closed_on),
        )
