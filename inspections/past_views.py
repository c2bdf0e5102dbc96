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
from inspections import drawn_views, past
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
    shown = [
        {
            "line": line,
            "url": _picture_url(kind, item, line),
            "title": title_of(item, line),
            "rows": sorted(_rows(line), key=lambda row: row["on"], reverse=True),
        }
        for line in found.lines
    ]
    context = {"item": item, "kind": kind, "building": item.building, "past": found, "shown": shown}
    context["tested"] = drawn_views.of_item(kind, item)
    return render(request, "inspections/item_history.html", context)


@contractor_page()
@require_GET
def item_picture(
    request: ContractorRequest, kind: str, item_id: UUID, name: str, point: str = ""
) -> HttpResponse:
    """Give the picture of one reading of an item."""
    return svg(FIND[kind](request, item_id), name, point)


@contractor_page()
@require_GET
def item_tested(request: ContractorRequest, kind: str, item_id: UUID) -> HttpResponse:
    """Give the picture of the newest pump or trip test of an item."""
    return drawn_views.svg_of_item(FIND[kind](request, item_id))


def svg(item: Any, name: str, point: str) -> HttpResponse:
    """Return the picture of one reading of an item as a file, or refuse an unknown one."""
    line = past.of_item(item).line(name, point)
    if line is None:
        raise NotThere
    drawn = past.picture(line, title_of(item, line))
    answer = HttpResponse(drawn.svg, content_type="image/svg+xml")
    answer["Cache-Control"] = "private, max-age=60"
    return answer


def title_of(item: Any, line: past.Line) -> str:
    """Return the heading of a picture."""
    return f"{line.words}, {item.code} {item.name}"


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


def _picture_url(kind: str, item: Any, line: past.Line) -> str:
    given = [item.pk, line.name, line.point] if line.point else [item.pk, line.name]
    return reverse(f"{kind}_picture{'_point' if line.point else ''}", args=given)


def _rows(line: past.Line) -> list[dict[str, Any]]:
    used = [{"on": p.on, "shown": line.show(p.value), "why": ""} for p in line.given.points]
    left = [
        {"on": one.point.on, "shown": line.show(one.point.value), "why": one.why}
        for one in line.given.left_out
    ]
    return used + left
