"""A building's programme as a year, why something is on it or not, and its open questions."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from buildings import access, editing
from buildings.models import Building
from contractors.doors import OFFICE, ContractorRequest, contractor_page
from contractors.refusal import FieldRefused, NotThere
from inspections.catalogue_files import catalogue
from inspections.models import Visit
from scheduling import asking, bundle, due, owing, year
from scheduling import programme as programmes
from scheduling.models import Occurrence

EARLIEST_YEAR, LATEST_YEAR = 1990, 2100


@require_GET
@contractor_page()
def building_calendar(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Show twelve months of a building: what was done, what is due, what is foreseen."""
    building = access.building_for(request, building_id)
    today = building.today
    first = _month_asked(request.GET.get("from", ""), today)
    months = year.months_from(first)
    last = year.next_month(months[-1]) - timedelta(days=1)
    found = programmes.programme(building, first=first, last=last)
    names = {
        pk: f"{code} {name}"
        for pk, code, name in building.systems.order_by("position", "code").values_list(
            "pk", "code", "name"
        )
    }
    context = {
        "building": building,
        "today": today,
        "found": found,
        "year": year.year(found, names, _planned(building)),
        "kinds": [(kind, state, words) for kind, (state, words) in year.KINDS.items()],
        "first": first,
        "last": last,
        "before": year.months_back(first),
        "after": year.next_month(months[-1]),
        "this_month": today.replace(day=1),
        "questions": building.questions.count(),
    }
    return render(request, "scheduling/calendar.html", context)


def _month_asked(text: str, today: date) -> date:
    if not text:
        return today.replace(day=1)
    try:
        found = date.fromisoformat(f"{text[:7]}-01")
    except ValueError:
        raise FieldRefused("from", text, _("A month such as 2026-11.")) from None
    if not EARLIEST_YEAR <= found.year <= LATEST_YEAR:
        accepted = _("A month from %(first)s to %(last)s.")
        span = {"first": f"{EARLIEST_YEAR}-01", "last": f"{LATEST_YEAR}-12"}
        raise FieldRefused("from", text, accepted % span)
    return found


def _planned(building: Building) -> dict[tuple[UUID, str], date | None]:
    rows = Occurrence.objects.filter(building=building, visit__state__in=Visit.UNDER_WAY)
    return {
        (item, activity): day
        for item, activity, day in rows.values_list("subject_id", "activity", "visit__planned_on")
    }


@require_GET
@contractor_page()
def building_why(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Say why an activity is on an item's programme or not; without one, for each of the item."""
    building = access.building_for(request, building_id)
    seen = asking.Asked(building, _day_asked(request.GET.get("on", ""), building))
    item = _item_asked(request.GET.get("item", ""), building)
    if item != building.pk and item not in seen.inventory.by_id:
        raise NotThere
    activity = request.GET.get("activity", "")
    context: dict[str, Any] = {
        "building": building,
        "items": seen.items(),
        "item": item,
        "item_name": seen.name(item),
        "on": seen.on,
        "groups": seen.verdicts(item),
        "may_edit": request.door.role in OFFICE,
    }
    if activity:
        context |= _reason(building, item, activity, seen.on)
    context["questions"] = seen.questions()
    return render(request, "scheduling/why.html", context)


def _day_asked(text: str, building: Building) -> date:
    try:
        return date.fromisoformat(text) if text else building.today
    except ValueError:
        raise FieldRefused("on", text, _("A day such as 2026-11-25.")) from None


def _item_asked(text: str, building: Building) -> UUID:
    try:
        return UUID(text) if text else building.pk
    except ValueError:
        raise FieldRefused("item", text, _("An item of this building.")) from None


def _reason(building: Building, item: UUID, activity: str, on: date) -> dict[str, Any]:
    why = programmes.why_not(building, item, activity, on)
    row = catalogue().activities[activity]
    # The facts that decide stand in a table of their own.
    facts = why.owed and why.decided and len(why.words) > 1
    query = f"item={item}&activity={activity}&on={on}"
    return {
        "why": why,
        "told": why.words[:-1] if facts else why.words,
        "row": row,
        "frequency": bundle.frequency_words(owing.iso(row)),
        "open": why.lines[0] if why.lines else None,
        "later": why.lines[1:13],
        "data_url": f"{reverse('api-building-why', args=[building.pk])}?{query}",
    }


@require_POST
@contractor_page(*OFFICE)
def building_answer(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Write the answer to a question as a fact since a day, and derive the building again."""
    building = access.building_for(request, building_id)
    question = building.questions.filter(pk=_item_asked(request.POST.get("question", ""), building))
    asked = question.first()
    if asked is None:
        raise NotThere
    seen = asking.Asked(building, building.today)
    form = seen.form(asked, request.POST)
    if form is None:
        raise NotThere
    if form.is_valid():
        editing.change(
            form.subject,
            {"attributes": {form.attribute.name: form.stored()}},
            valid_from=form.cleaned_data["valid_from"],
            by=request.member,
            reason=form.cleaned_data["reason"],
        )
        building.refresh_from_db()
        count = due.derive(building)
        told = _("Kept. The programme is derived again: %(n)s activities are scheduled here.")
        messages.success(request, told % {"n": count})
    else:
        for name, errors in form.errors.items():
            messages.error(request, f"{form.fields[name].label}: {errors[0]}")
    return HttpResponseRedirect(f"{reverse('building_why', args=[building.pk])}#questions")
