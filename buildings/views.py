"""Pages of buildings and of what stands in them."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET, require_http_methods

from buildings import access, editing, kinds, lists, panels
from buildings.forms import (
    BuildingForm,
    DeviceForm,
    Filters,
    RiserForm,
    SystemForm,
    hours_in_words,
)
from buildings.models import Building, Device, Revision, Riser, System
from contractors import exports
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.refusal import FieldRefused, NotThere

ON_A_PAGE = 50
COLUMNS = (
    ("name", _lazy("Building")),
    ("number", _lazy("Number")),
    ("district", _lazy("District")),
    ("since", _lazy("Since")),
)
MAY_ENTER = (*OFFICE, Role.TECHNICIAN)
SYMBOLS = {
    "lead_in": "backflow",
    "standpipe": "hose-valve",
    "fire_pump": "pump",
    "tank": "tank",
    "private_main": "hydrant",
}
FIND: dict[str, Callable[[Any, UUID], Any]] = {
    "system": access.system_for,
    "riser": access.riser_for,
    "device": access.device_for,
}
FORMS: dict[str, Any] = {"system": SystemForm, "riser": RiserForm, "device": DeviceForm}
MODELS: dict[str, Any] = {"system": System, "riser": Riser, "device": Device}


@contractor_page()
@require_GET
def buildings(request: ContractorRequest) -> HttpResponse:
    """List the contractor's buildings."""
    form, rows = lists.chosen(request.GET)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "buildings/buildings.html",
        {
            "form": form,
            "page_obj": page,
            "marks": panels.marks_of(panels.standing_marks, list(page.object_list)),
            "has_marks": bool(panels.standing_marks),
            "columns": COLUMNS,
            "systems": _systems_of(page.object_list),
            "order": _order_shown(form),
            "is_narrowed": any(form.data.get(name) for name in ("q", "district", "kind")),
            "may_edit": request.door.role in OFFICE,
        },
    )


@contractor_page()
@require_GET
def export(request: ContractorRequest) -> HttpResponse:
    """Give the listed buildings as a CSV file that the import takes again."""
    return exports.at_once("buildings", request.GET, request.door)


def _systems_of(rows: Any) -> dict[UUID, int]:
    """Return how many systems each building has.

    Counted apart: PostgreSQL's key of a tenant's table is not the id alone, so that grouping a
    whole row by its id is refused.
    """
    counted = System.objects.filter(building__in=list(rows)).order_by()
    return dict(counted.values_list("building").annotate(Count("pk")))


def _order_shown(form: Filters) -> dict[str, str]:
    """Return which column sorts the list, and which way; pressing it again turns it round."""
    given = str(form.cleaned_data.get("order") or "name") if form.is_valid() else "name"
    down = given.startswith("-")
    key = given.lstrip("-")
    return {
        "key": key,
        "sort": "descending" if down else "ascending",
        "words": _("downwards") if down else _("upwards"),
        "other": key if down else f"-{key}",
    }


@contractor_page()
@require_GET
def building(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Show a building: systems as the water flows, with risers and devices, access and panels."""
    found = access.building_for(request, building_id)
    made = panels.panels_of(panels.building_panels, request, found)
    return render(
        request,
        "buildings/building.html",
        {
            "building": found,
            "flow": _flow(found),
            "loose": [d for d in _devices(found) if d.system_id is None],
            "marks": panels.marks_of(panels.item_marks, found),
            "sentences": panels.panels_of(panels.sentences, request, found),
            "beside": [panel for panel in made if panel.aside],
            "below": [panel for panel in made if not panel.aside],
            "hours": hours_in_words(found.hours),
            "engagements": found.engagements.select_related("owner").order_by("-from_on"),
            "attributes": _attributes(found, "building"),
            "edition": found.edition_on(found.today),
            "may_edit": request.door.role in OFFICE,
            "may_enter": request.door.role in MAY_ENTER,
        },
    )


def _devices(found: Building) -> list[Device]:
    if not hasattr(found, "_devices"):
        found._devices = list(found.devices.order_by("position", "code"))  # type: ignore[attr-defined]
    devices: list[Device] = found._devices  # type: ignore[attr-defined]
    return devices


def _flow(found: Building) -> list[dict[str, Any]]:
    risers: dict[UUID, list[Riser]] = {}
    for riser in found.risers.order_by("position", "code"):
        risers.setdefault(riser.system_id, []).append(riser)
    devices: dict[UUID | None, list[Device]] = {}
    for device in _devices(found):
        devices.setdefault(device.riser_id or device.system_id, []).append(device)
    return [
        {
            "system": system,
            "symbol": SYMBOLS.get(system.kind, "system-valve-closed"),
            "main": system.kind in ("lead_in", "fire_pump", "tank", "private_main"),
            "devices": devices.get(system.pk, []),
            "risers": [
                {"riser": riser, "devices": devices.get(riser.pk, [])}
                for riser in risers.get(system.pk, [])
            ],
        }
        for system in found.systems.order_by("position", "code")
    ]


def _attributes(subject: Any, kind: str) -> list[dict[str, Any]]:
    """Return the attributes that somebody has given, and those that rules wait for."""
    given = subject.attributes or {}
    shown = []
    for attribute in kinds.kind_named(kind).attributes.values():
        value = given.get(attribute.name)
        if value is None and not (attribute.required and attribute.default is None):
            continue
        if attribute.name == "kind" or (kind == "building" and attribute.name in _TOLD_OTHERWISE):
            continue
        shown.append(
            {
                "label": attribute.name.replace("_", " "),
                "value": _words(value),
                "unit": "" if attribute.unit == "dimensionless" else attribute.unit,
                "meaning": attribute.meaning,
            }
        )
    return shown


_TOLD_OTHERWISE = ("country", "state", "wet_systems", "sprinklers_total")


def _words(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    return f"{value:g}" if isinstance(value, float) else str(value).replace("_", " ")


@contractor_page()
@require_GET
def item(request: ContractorRequest, kind: str, item_id: UUID) -> HttpResponse:
    """Show a system, riser or device with its facts, what hangs on it, and its past."""
    found = FIND[kind](request, item_id)
    devices = Device.objects.filter(**{_below(kind): found}).order_by("position", "code")
    made = panels.panels_of(panels.item_panels, request, found)
    return render(
        request,
        "buildings/item.html",
        {
            "item": found,
            "kind": kind,
            "building": found.building,
            "attributes": _attributes(found, found.item_kind),
            "kind_words": _kind_words(found),
            "edit_url": reverse(f"{kind}_edit", args=[found.pk]),
            "devices": devices,
            "risers": found.risers.order_by("position") if kind == "system" else [],
            "revisions": Revision.objects.filter(building=found.building, subject_id=found.pk)
            .select_related("recorded_by__user")
            .order_by("-valid_from", "-recorded_at"),
            "mark": panels.marks_of(panels.item_marks, found.building).get(found.pk),
            "panels": made,
            "may_edit": request.door.role in OFFICE,
            "may_enter": request.door.role in MAY_ENTER,
        },
    )


def _kind_words(found: Any) -> str:
    if isinstance(found, System):
        return str(found.get_kind_display())
    return str(found.item_kind).replace("_", " ")


def _below(kind: str) -> str:
    return "parent" if kind == "device" else kind


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def building_new(request: ContractorRequest) -> HttpResponse:
    """Enter a building."""
    form = BuildingForm(request.POST or None, instance=Building(attributes={}))
    if request.method == "POST" and form.is_valid():
        subject = Building(**form.values())
        made = _attempt(form, lambda: editing.enter(subject, by=request.member))
        if made:
            messages.success(request, _("%(name)s is entered.") % {"name": made})
            return redirect(made)
    return _form_page(request, form, _("Enter a building"), reverse("buildings"))


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def building_edit(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Change a building's facts, from a day on and with a reason."""
    found = access.building_for(request, building_id)
    form = BuildingForm(request.POST or None, instance=found)
    return _edit(request, form, found, found.get_absolute_url())


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def item_edit(request: ContractorRequest, kind: str, item_id: UUID) -> HttpResponse:
    """Change a system, riser or device, from a day on and with a reason."""
    found = FIND[kind](request, item_id)
    form = FORMS[kind](
        request.POST or None, instance=found, kind=found.item_kind, building=found.building
    )
    return _edit(request, form, found, reverse(kind, args=[found.pk]))


def _edit(request: ContractorRequest, form: Any, found: Any, back: str) -> HttpResponse:
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        fresh = type(found).objects.get(pk=found.pk)
        done = _attempt(
            form,
            lambda: editing.change(
                fresh,
                form.values(),
                valid_from=given["valid_from"],
                by=request.member,
                reason=given["reason"],
            ),
        )
        if done:
            messages.success(request, _("Changed. What was known before stays in the record."))
            return redirect(back)
    return _form_page(request, form, _("Change %(what)s") % {"what": found}, back)


@contractor_page(*MAY_ENTER)
@require_http_methods(["GET", "POST"])
def item_new(request: ContractorRequest, building_id: UUID, kind: str) -> HttpResponse:
    """Enter a system, riser or device: first its kind, then the questions of that kind."""
    found = access.building_for(request, building_id)
    if kind != "device" and request.door.role not in OFFICE:
        raise NotThere
    chosen = request.GET.get("kind", "") if kind != "riser" else "riser"
    choices = _kinds_of(kind)
    title = {"system": _("Enter a system"), "riser": _("Enter a riser")}.get(
        kind, _("Enter a device")
    )
    if chosen not in dict(choices):
        context = {"title": title, "choices": choices, "building": found, "asked": request.GET}
        return render(request, "buildings/choose_kind.html", context)
    row = MODELS[kind](building=found, attributes={})
    if kind != "riser":
        row.kind = chosen
    form = FORMS[kind](
        request.POST or None,
        instance=row,
        kind=row.item_kind,
        building=found,
        initial={name: request.GET[name] for name in ("system", "riser") if name in request.GET},
    )
    if request.method == "POST" and form.is_valid():
        kind_column = {} if kind == "riser" else {"kind": chosen}
        subject = MODELS[kind](building=found, **kind_column, **_placed(form.values()))
        made = _attempt(form, lambda: editing.enter(subject, by=request.member))
        if made:
            messages.success(request, _("%(name)s is entered.") % {"name": made})
            return redirect(kind, made.pk)
    return _form_page(request, form, title, found.get_absolute_url())


def _placed(values: dict[str, Any]) -> dict[str, Any]:
    """Put a device of a riser into the riser's system."""
    if values.get("riser") is not None:
        values["system"] = values["riser"].system
    return {name: value for name, value in values.items() if value is not None}


def _kinds_of(kind: str) -> list[tuple[str, str]]:
    if kind == "system":
        return [(value, str(label)) for value, label in System.Kind.choices]
    if kind == "riser":
        return [("riser", "riser")]
    own = set(System.Kind.values)
    return [(k, k.replace("_", " ")) for k in kinds.device_kinds() if k not in (*own, "system")]


def _attempt(form: Any, act: Callable[[], Any]) -> Any:
    """Do it, or put the refusal beside its field and keep what was typed."""
    try:
        return act()
    except FieldRefused as refused:
        field = str(refused.facts["field"])
        named = next((n for n in (field, f"attr_{field}") if n in form.fields), None)
        form.add_error(named, str(refused.facts["accepted"]))
        return None


def _form_page(request: HttpRequest, form: Any, title: str, back: str) -> HttpResponse:
    status = 422 if form.errors else 200
    context = {"form": form, "title": title, "back": back}
    return render(request, "buildings/edit.html", context, status=status)
