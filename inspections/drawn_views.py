"""The pictures of tests on pages: of a visit, and the newest of a system or device."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_GET

from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.refusal import NotThere
from inspections import access, drawings, drawn_tests, supplies, supply_board
from inspections.models import Visit
from inspections.pictures import tested


@contractor_page()
@require_GET
def visit_test_picture(request: ContractorRequest, visit_id: UUID, item_id: UUID) -> HttpResponse:
    """Give the picture of a test of a visit."""
    return svg_of_visit(request, access.visit_for(request.member, visit_id), item_id)


def svg_of_visit(request: Any, visit: Visit, item_id: UUID) -> HttpResponse:
    """Return the picture of what was tested at a visit on an item, for page and API."""
    drawn = drawn_tests.of_visit(visit)
    found = next((one for one in drawn if one["subject"] == str(item_id)), None)
    if found is None:
        raise NotThere
    return drawings.svg(drawn_tests.picture(found, drawings.reader_of(request)))


def svg_of_item(request: Any, item: Any) -> HttpResponse:
    """Return the picture of the newest test of an item."""
    found = drawn_tests.of_item(item)
    if found is None:
        raise NotThere
    return drawings.svg(drawn_tests.picture(found, drawings.reader_of(request)))


def of_visit(visit: Visit, role: str) -> dict[str, Any]:
    """Return the tests that the page of a visit draws, and the points whose flow may be tested."""
    tests = [
        _shown(one, reverse("visit_test_picture", args=[visit.pk, one["subject"]]))
        for one in drawn_tests.of_visit(visit)
    ]
    flows = [_shown(one, supply_board.picture_url(one)) for one in supply_board.of_visit(visit)]
    begun = visit.performed_on is not None and visit.state != Visit.State.CANCELLED
    may_test = begun and role in (*OFFICE, Role.TECHNICIAN)
    return {
        "drawn": [*tests, *flows],
        "points": supplies.points_of(visit.building) if may_test else [],
    }


def of_item(kind: str, item: Any) -> dict[str, Any] | None:
    """Return the newest test of an item as its history page draws it; None without one."""
    found = drawn_tests.of_item(item) if kind != "riser" else None
    return _shown(found, reverse(f"{kind}_tested", args=[item.pk])) if found else None


def _shown(data: Mapping[str, Any], url: str) -> dict[str, Any]:
    given = tested.of_data(data)
    head, rows = given.table(drawings.in_words())
    high = 390 if data.get("picture") != "trip" else round(130 + 62 * len(data["runs"]))
    return {
        "title": given.title,
        "words": given.words,
        "url": url,
        "head": head,
        "rows": rows,
        "high": high,
    }
