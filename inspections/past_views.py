"""The history page of a system, riser or device: readings over the years, and what they say."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from buildings import access
from buildings.models import Device, Riser
from buildings.panels import Panel
from contractors.doors import ContractorRequest, contractor_page
from contractors.refusal import NotThere
from inspections import drawings, drawn_views, past, past_groups
from inspections.models import Reading

FIND: dict[str, Callable[[Any, UUID], Any]] = {
    "system": access.system_for,
    "riser": access.riser_for,
    "device": access.device_for,
}


@contractor_page()
@require_GET
def item_history(request: ContractorRequest, kind: str, item_id: UUID) -> HttpResponse:
    """Show what was read on an item over the years, with trend, hints and pictures."""
    item = FIND[kind](request, item_id)
    found = past.of_item(item)
    tested = drawn_views.of_item(kind, item)
    first = past_groups.lead(found)
    if first and tested and past_groups.rank(first) == past_groups.STANDS:
        # Nothing changes: the newest test is what is looked at first.
        first = None
    context = {
        "item": item,
        "kind": kind,
        "building": item.building,
        "past": found,
        "tested": tested,
        "lead": _large(kind, item, first) if first else None,
        "groups": [
            {"group": group, "kinds": [_small(kind, item, one, first) for one in group.kinds]}
            for group in past_groups.groups(found, first)
        ],
    }
    return render(request, "inspections/item_history.html", context)


@contractor_page()
@require_GET
def item_picture(
    request: ContractorRequest, kind: str, item_id: UUID, name: str, point: str = ""
) -> HttpResponse:
    """Give the picture of one reading of an item."""
    return svg(request, FIND[kind](request, item_id), name, point)


@contractor_page()
@require_GET
def item_years(request: ContractorRequest, kind: str, item_id: UUID, name: str) -> HttpResponse:
    """Give the small picture of one kind of reading at all its points."""
    item = FIND[kind](request, item_id)
    for found in past_groups.kinds(past.of_item(item)):
        if found.name == name:
            reader = drawings.reader_of(request)
            return drawings.svg(past_groups.picture(found, _title(item, found.words), reader))
    raise NotThere


@contractor_page()
@require_GET
def item_tested(request: ContractorRequest, kind: str, item_id: UUID) -> HttpResponse:
    """Give the picture of the newest pump or trip test of an item."""
    return drawn_views.svg_of_item(request, FIND[kind](request, item_id))


def svg(request: Any, item: Any, name: str, point: str) -> HttpResponse:
    """Return the picture of one reading of an item as a file, or refuse an unknown one."""
    line = past.of_item(item).line(name, point)
    if line is None:
        raise NotThere
    reader = drawings.reader_of(request)
    return drawings.svg(past.picture(line, _title(item, line.words), reader))


def read_here(request: Any, item: Any) -> Panel | None:
    """Return the panel of an item's page that leads to its history; None without readings."""
    kind = (
        "device" if isinstance(item, Device) else "riser" if isinstance(item, Riser) else "system"
    )
    rows = Reading.objects.filter(subject_kind=kind, subject_id=item.pk)
    newest = rows.order_by("-read_on", "-read_at").first()
    if newest is None:
        return None
    return Panel(
        id="read",
        title=_("Readings"),
        template="inspections/_read_here.html",
        context={"newest": newest, "words": newest.name.replace("_", " ")},
        link=reverse(f"{kind}_history", args=[item.pk]),
        link_words=_("Over the years"),
    )


def _large(kind: str, item: Any, line: past.Line) -> dict[str, Any]:
    given = [item.pk, line.name, line.point] if line.point else [item.pk, line.name]
    return {
        "line": line,
        "url": reverse(f"{kind}_picture{'_point' if line.point else ''}", args=given),
        "title": _title(item, line.words),
        "of": past_groups.Kind((line,)),
    }


def _small(
    kind: str, item: Any, found: past_groups.Kind, first: past.Line | None
) -> dict[str, Any]:
    return {
        "of": found,
        "url": reverse(f"{kind}_years", args=[item.pk, found.name]),
        "title": _title(item, found.words),
        "large": [_large(kind, item, line) for line in found.lines if line is not first],
    }


def _title(item: Any, words: str) -> str:
    return f"{words}, {item.code} {item.name}"
