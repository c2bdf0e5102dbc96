"""Pages of a building's sketches and photos: looked at, added, put in order, withdrawn."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildings import access, sketch_forms, sketches
from buildings.models import Building, Sketch
from buildings.panels import Panel
from contractors.doors import OFFICE, ContractorRequest, contractor_page
from contractors.refusal import FieldRefused, Refusal


@contractor_page()
@require_GET
def sketch_list(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Show a building's sketches and photos in their order, and those withdrawn."""
    found = access.building_for(request, building_id)
    withdrawn = Sketch.objects.filter(building=found).exclude(withdrawn_at=None)
    shown = {
        "building": found,
        "sketches": sketches.present(found.pk),
        "withdrawn": withdrawn.select_related("withdrawn_by__user").order_by("-withdrawn_at"),
        "may_edit": request.door.role in OFFICE,
    }
    return render(request, "buildings/sketches.html", shown)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def sketch_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Add a sketch or photo to a building or one of its risers."""
    found = access.building_for(request, building_id)
    first = {"riser": request.GET.get("riser")}
    form = sketch_forms.NewSketchForm(
        request.POST or None, request.FILES or None, building=found, initial=first
    )

    def do(given: dict[str, Any]) -> str:
        upload = given.pop("file")
        sketches.add(found, upload.read(), name=upload.name, by=request.member, **given)
        return _("The picture is kept. Tablets take it along at their next signal.")

    label, title = _("Add it"), _("Add a sketch or photo")
    return _act(request, found, form, do, title=title, label=label, refused="file")


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def sketch_edit(request: ContractorRequest, sketch_id: UUID) -> HttpResponse:
    """Change what a sketch says, where it belongs and its place in the order."""
    found = access.sketch_for(request, sketch_id)
    place = [one.pk for one in sketches.present(found.building_id)]
    first = {
        "kind": found.kind,
        "caption": found.caption,
        "riser": found.riser_id,
        "position": place.index(found.pk) + 1 if found.pk in place else 1,
    }
    form = sketch_forms.ChangedSketchForm(
        request.POST or None, building=found.building, initial=first
    )

    def do(given: dict[str, Any]) -> str:
        sketches.change(found, by=request.member, **given)
        return _("Changed.")

    title, label = _("Change %(what)s") % {"what": found.caption}, _("Write the change down")
    return _act(request, found.building, form, do, title=title, label=label, sketch=found)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def sketch_withdraw(request: ContractorRequest, sketch_id: UUID) -> HttpResponse:
    """Take a sketch out of use, with the reason."""
    found = access.sketch_for(request, sketch_id)
    form = sketch_forms.WithdrawForm(request.POST or None)

    def do(given: dict[str, Any]) -> str:
        sketches.withdraw(found, why=given["why"], by=request.member)
        return _("Withdrawn. Tablets throw it away at their next signal; here it is kept.")

    title, label = _("Withdraw %(what)s") % {"what": found.caption}, _("Withdraw it")
    return _act(request, found.building, form, do, title=title, label=label, sketch=found)


@contractor_page()
@require_GET
def sketch_picture(request: ContractorRequest, sketch_id: UUID) -> HttpResponse:
    """Give the picture; with `small` in the address, as it stands in lists."""
    found = access.sketch_for(request, sketch_id)
    return sketches.served(found, small="small" in request.GET)


def panel(request: ContractorRequest, building: Building) -> Panel | None:
    """Return the sketches and photos on a building's page."""
    rows = list(sketches.present(building.pk))
    may_edit = request.door.role in OFFICE
    if not rows and not may_edit:
        return None
    return Panel(
        id="sketches",
        title=_("Sketches and photos"),
        template="buildings/_sketches.html",
        context={"sketches": rows, "building": building},
        aside=True,
        link=reverse("sketches", args=[building.pk])
        if rows
        else reverse("sketch_new", args=[building.pk]),
        link_words=_("All, large") if rows else _("Add one"),
    )


def of_riser(request: ContractorRequest, subject: Any) -> Panel | None:
    """Return a riser's own sketches and photos on its page."""
    if subject.subject_kind != "riser":
        return None
    rows = [one for one in sketches.present(subject.building_id) if one.riser_id == subject.pk]
    may_edit = request.door.role in OFFICE
    if not rows and not may_edit:
        return None
    new = reverse("sketch_new", args=[subject.building_id])
    return Panel(
        id="sketches",
        title=_("Sketches and photos"),
        template="buildings/_sketches.html",
        context={"sketches": rows, "building": subject.building},
        link=f"{new}?riser={subject.pk}" if may_edit else "",
        link_words=_("Add one"),
    )


def _act(
    request: ContractorRequest,
    building: Building,
    form: Any,
    do: Callable[[dict[str, Any]], str],
    *,
    refused: str = "",
    **context: Any,
) -> HttpResponse:
    """Show a form and do what it says; a refusal stands on the form, with all that was typed.

    Parameters
    ----------
    refused
        The field beside which a refusal of the picture stands.
    """
    back, status = reverse("sketches", args=[building.pk]), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                messages.success(request, do(dict(form.cleaned_data)))
                return redirect(back)
            except FieldRefused as no:
                field = str(no.facts["field"])
                form.add_error(field if field in form.fields else None, str(no.facts["accepted"]))
            except Refusal as no:
                form.add_error(refused if no.code == "picture_refused" else None, no.message())
                status = no.status
    shown = {"form": form, "building": building, "back": back, **context}
    return render(request, "buildings/sketch.html", shown, status=status)
