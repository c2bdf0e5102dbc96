"""Pages of water supply: points under a building, flow tests, placards, what systems have left."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildings.access import building_for, system_for
from buildings.models import Building, SupplyPoint
from buildings.panels import Panel
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.templatetags.look import in_words
from inspections import access, drawings, flow_readings, supplies, supply_board
from inspections import supply_forms as forms
from inspections.acting import act
from inspections.models import FlowTest, SupplyMargin, Visit

MAY_TEST = (*OFFICE, Role.TECHNICIAN)
MOST_VISITS = 40


@contractor_page()
@require_GET
def building_supplies(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """List the supply points of a building, with what its systems have left."""
    building = building_for(request, building_id)
    boards = supply_board.of_building(building)
    connected = {line.draw.system_id for board in boards for line in board.lines}
    context = {
        "building": building,
        "boards": boards,
        "loose": [one for one in building.systems.order_by("position") if one.pk not in connected],
        "may_edit": request.door.role in OFFICE,
    }
    return render(request, "inspections/supplies.html", context)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def supply_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Enter a supply point, and go on to say which system draws on it."""
    building = building_for(request, building_id)

    def do(given: dict[str, Any]) -> str:
        made = supplies.add_point(**given, by=request.member)
        messages.success(request, _("The supply point is entered. Say which system draws on it."))
        return f"{reverse('supply_connect', args=[building.pk])}?point={made.pk}"

    return act(
        request,
        forms.PointForm(request.POST or None),
        do,
        title=_("New supply point for %(name)s") % {"name": building.name},
        back=reverse("building_supplies", args=[building.pk]),
        label=_("Enter the supply point"),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def supply_connect(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Say that a system of a building draws on a point, or no longer does."""
    building = building_for(request, building_id)
    back = reverse("building_supplies", args=[building.pk])
    first = {"point": request.GET.get("point"), "system": request.GET.get("system")}

    def do(given: dict[str, Any]) -> str:
        supplies.connect(given.pop("point"), given.pop("system"), **given, by=request.member)
        messages.success(request, _("It is written down, and the margin is reckoned."))
        return back

    return act(
        request,
        forms.DrawForm(request.POST or None, building=building, initial=first),
        do,
        title=_("A system of %(name)s on a supply point") % {"name": building.name},
        back=back,
        label=_("Write it down"),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def placard_new(request: ContractorRequest, system_id: UUID) -> HttpResponse:
    """Write down what a system's hydraulic placard asks."""
    system = system_for(request, system_id)
    how = system.building.units
    back = reverse("building_supplies", args=[system.building_id])

    def do(given: dict[str, Any]) -> str:
        typed = {name: given[name] for name in forms.PlacardForm.FIGURES if given[name]}
        supplies.write_placard(
            system,
            supplies.placard_of(typed, how),
            from_on=given["from_on"],
            source=given["source"],
            by=request.member,
        )
        messages.success(request, _("The placard is written down, and the margin is reckoned."))
        return back

    return act(
        request,
        forms.PlacardForm(request.POST or None, how=how),
        do,
        title=_("Hydraulic placard of %(name)s") % {"name": system.name},
        back=back,
        label=_("Write the placard down"),
        hint=_("The figures at the base of the riser go before the greatest demand."),
    )


@contractor_page()
@require_GET
def supply(request: ContractorRequest, point_id: UUID) -> HttpResponse:
    """Show a supply point: who draws on it, what they have left, and its flow tests."""
    board = supply_board.of_point(access.supply_point_for(request.member, point_id))
    context = {"board": board, "point": board.point, "may_test": request.door.role in MAY_TEST}
    return render(request, "inspections/supply.html", context)


@contractor_page(*MAY_TEST)
@require_http_methods(["GET", "POST"])
def flow_test_new(request: ContractorRequest, point_id: UUID) -> HttpResponse:
    """Record a flow test of a point."""
    point = access.supply_point_for(request.member, point_id)
    how, visits = supply_board.units_of(point), _visits(request, point)
    asked = request.GET.get("visit", "")
    visit = next((one for one in visits if str(one.pk) == asked), None)
    first = {"tested_on": visit.performed_on if visit else timezone.localdate(), "visit": visit}
    form = forms.FlowTestForm(request.POST or None, how=how, visits=visits, initial=first)
    return act(
        request,
        form,
        lambda given: _recorded(request, point, given, _("The flow test is recorded.")),
        title=_("Flow test of %(name)s") % {"name": point.name},
        back=visit.get_absolute_url() if visit else reverse("supply", args=[point.pk]),
        label=_("Record the flow test"),
        caution=_(
            "Ask the water utility first, and follow its rules. Open and close hydrants slowly,"
            " keep people and traffic out of the stream, and lead the water where it does no harm."
        ),
    )


@contractor_page(*MAY_TEST)
@require_http_methods(["GET", "POST"])
def flow_test_correct(request: ContractorRequest, test_id: UUID) -> HttpResponse:
    """Record a flow test anew as it should have been; the earlier one stays, as corrected."""
    test = access.flow_test_for(request.member, test_id)
    point = test.supply_point
    form = forms.CorrectionForm(
        request.POST or None,
        how=supply_board.units_of(point),
        visits=_visits(request, point, test),
        initial={**flow_readings.again(test), "visit": test.visit_id},
    )
    said = _("The correction is recorded; the earlier one stays to be seen.")
    return act(
        request,
        form,
        lambda given: _recorded(request, point, given, said, replaces=test),
        title=_("Correct the flow test of %(name)s") % {"name": point.name},
        subtitle=_(
            "Recorded for %(day)s. What is changed here counts from now on; the margin of each"
            " system is reckoned again."
        )
        % {"day": in_words(test.tested_on)},
        back=reverse("supply", args=[point.pk]),
        label=_("Record the correction"),
    )


def _recorded(
    request: ContractorRequest, point: SupplyPoint, given: dict[str, Any], said: str, **more: Any
) -> str:
    """Record what a form of a flow test holds; return where to go on."""
    visit, reason = given.pop("visit"), given.pop("reason", "")
    read = flow_readings.Read(**{**given, "outlets": given["outlets"] or ()})
    test = supplies.record_test(
        point,
        read,
        by=request.member,
        system=supply_board.units_of(point),
        visit=visit,
        reason=reason,
        **more,
    )
    messages.success(request, said)
    for warning in test.warnings:
        messages.warning(request, warning)
    return reverse("supply", args=[point.pk])


def _visits(request: ContractorRequest, point: SupplyPoint, test: FlowTest | None = None) -> Any:
    """Return the visits at which a test can have been made, the newest first."""
    buildings = supplies.buildings_on(point)
    begun = access.visits_of(request.member).filter(
        building__in=buildings, performed_on__isnull=False
    )
    found = begun.exclude(state=Visit.State.CANCELLED).order_by("-performed_on", "pk")
    newest = [one.pk for one in found[:MOST_VISITS]]
    return found.filter(pk__in=[*newest, *([test.visit_id] if test and test.visit_id else [])])


@contractor_page()
@require_GET
def flow_test_picture(request: ContractorRequest, test_id: UUID) -> HttpResponse:
    """Give the picture of a flow test."""
    test = access.flow_test_for(request.member, test_id)
    how, reader = supply_board.units_of(test.supply_point), drawings.reader_of(request)
    return drawings.svg(supply_board.picture(test, how, reader))


@contractor_page()
@require_GET
def margin_picture(request: ContractorRequest, margin_id: UUID) -> HttpResponse:
    """Give the picture of a system's demand against a flow test."""
    margin = access.supply_margin_for(request.member, margin_id)
    return margin_svg(request, margin)


def margin_svg(request: Any, margin: SupplyMargin) -> HttpResponse:
    """Return the picture of a system's demand as a file, for page and API."""
    how, reader = margin.building.units, drawings.reader_of(request)
    return drawings.svg(supply_board.picture(margin.flow_test, how, reader, margin))


def supply_panel(request: Any, building: Building) -> Panel:
    """Return the panel of a building's page: each system's margin in one sentence."""
    del request
    return Panel(
        id="supply",
        title=_("Water supply"),
        template="inspections/_supply.html",
        context={"boards": supply_board.of_building(building)},
        aside=True,
        link=reverse("building_supplies", args=[building.pk]),
        link_words=_("Supply points"),
    )
