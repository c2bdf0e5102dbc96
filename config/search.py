"""What can be found, on one screen: the rows of every app, and an owner's own rooms."""

from collections.abc import Iterator, Sequence
from typing import Any

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from buildings.models import Building, Device, Riser, System
from contractors import search
from contractors.doors import Door
from contractors.models import Person
from contractors.search import Group, Hit, Source
from inspections import access
from inspections.models import Report, Visit
from scheduling.models import PublishedBuilding, PublishedReport


def register() -> None:
    """Let them be found."""
    for source in SOURCES:
        search.add(source)
    search.owner_sources.append(own_rooms)


def _joined(*parts: Any) -> str:
    return ", ".join(str(part) for part in parts if part)


def _at(row: Any) -> str:
    return _joined(row.code, row.location, row.building.name)


def _device(row: Any) -> tuple[str, str, str]:
    serial = _("serial number %(number)s") % {"number": row.serial} if row.serial else ""
    return row.name, _joined(_at(row), serial), reverse("device", args=[row.pk])


def _visit(row: Any) -> tuple[str, str, str]:
    day = row.performed_on or row.planned_on
    number = _("report %(number)s") % {"number": row.number} if row.number else ""
    told = _joined(row.building.name, day and date_format(day), row.get_state_display(), number)
    return row.title or str(row.get_kind_display()), told, row.get_absolute_url()


def _report(row: Any) -> tuple[str, str, str]:
    version = _("version %(version)s") % {"version": row.version}
    told = _joined(row.visit.building.name, row.visit.title, version)
    return row.code, told, reverse("report_pdf", args=[row.pk])


def _visits(door: Door) -> Any:
    assert door.member is not None
    return access.visits_of(door.member)


def _reports(door: Door) -> Any:
    visits = _visits(door).order_by().values("pk")
    return Report.objects.filter(visit__in=visits).select_related("visit__building")


SOURCES = (
    Source(
        model=Building,
        label=gettext_lazy("Buildings"),
        columns=("code", "name", "address", "city", "postal_code"),
        rows=lambda _door: Building.objects.all(),
        hit=lambda row: (row.name, _joined(row.code, row.full_address), row.get_absolute_url()),
    ),
    Source(
        model=System,
        label=gettext_lazy("Systems"),
        columns=("code", "name", "location"),
        rows=lambda _door: System.objects.select_related("building"),
        hit=lambda row: (row.name, _at(row), reverse("system", args=[row.pk])),
    ),
    Source(
        model=Riser,
        label=gettext_lazy("Risers"),
        columns=("code", "name", "location"),
        rows=lambda _door: Riser.objects.select_related("building"),
        hit=lambda row: (row.name, _at(row), reverse("riser", args=[row.pk])),
    ),
    Source(
        model=Device,
        label=gettext_lazy("Devices"),
        columns=("code", "serial", "name", "location"),
        rows=lambda _door: Device.objects.select_related("building"),
        hit=_device,
    ),
    Source(
        model=Person,
        label=gettext_lazy("People"),
        columns=("name", "code", "firm"),
        rows=lambda _door: Person.objects.all(),
        hit=lambda row: (str(row), row.code, reverse("people")),
    ),
    Source(
        model=Visit,
        label=gettext_lazy("Visits"),
        columns=("title", "number"),
        rows=_visits,
        hit=_visit,
        is_open=False,
    ),
    Source(
        model=Report,
        label=gettext_lazy("Reports"),
        columns=("code",),
        rows=_reports,
        hit=_report,
        is_open=False,
    ),
)


def own_rooms(typed: Sequence[str], most: int, kind: str) -> list[Group]:
    """Return an owner's buildings and reports that match; few enough to be read through."""
    found = (
        ("building", gettext_lazy("Buildings"), _own_buildings),
        ("report", gettext_lazy("Reports"), _own_reports),
    )
    groups = []
    for name, label, hits_of in found:
        hits = list(hits_of(typed)) if kind in ("", name) else []
        if hits:
            hits.sort(key=lambda hit: hit.title)
            groups.append(Group(kind=name, label=label, hits=tuple(hits[:most]), count=len(hits)))
    return groups


def _own_buildings(typed: Sequence[str]) -> Iterator[Hit]:
    columns = ("building_id", "name", "code", "address")
    for pk, *texts in PublishedBuilding.objects.values_list(*columns):
        if search.matching(typed, texts):
            url = reverse("owner_building", args=[pk])
            told = _joined(*texts[1:])
            yield Hit(kind="building", id=pk, title=texts[0], detail=told, url=url)


def _own_reports(typed: Sequence[str]) -> Iterator[Hit]:
    columns = ("report_id", "performed_on", "title", "code")
    for pk, day, title, code in PublishedReport.objects.values_list(*columns):
        if search.matching(typed, (title, code)):
            url = reverse("report_file", args=[pk])
            told = _joined(code, date_format(day))
            yield Hit(kind="report", id=pk, title=title or code, detail=told, url=url)
