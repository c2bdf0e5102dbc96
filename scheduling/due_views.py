"""What falls due: weeks against capacity, the list beneath, and visits made of it."""

from dataclasses import replace
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from buildings.access import building_for
from contractors import exports
from contractors.doors import OFFICE, ContractorRequest, contractor_page, go_on
from contractors.filters import refuse_wrong
from scheduling import bundle, load, plans
from scheduling.forms import DueFilters, PickForm
from scheduling.marks import Bar, Strip

BUILDINGS_ON_A_PAGE = 20
BAR_HEIGHT = 64
BAR_WIDTH = 44


@require_GET
@contractor_page(*OFFICE)
def due(request: ContractorRequest) -> HttpResponse:
    """Show what falls due by week and district, and the chosen part of it by building."""
    today = plans.today_at(timezone.now())
    form = DueFilters(request.GET)
    asked = form.asked()
    counts = load.counted(asked, today)
    grid, listed = load.grid(counts, today), load.listed(counts, asked, today)
    after, before = (load.Spot.read(request.GET.get(name)) for name in ("after", "before"))
    some = load.stretch(listed, BUILDINGS_ON_A_PAGE, after=after, before=before)
    tallest, widest = grid.most, grid.widest
    context = {
        "today": today,
        "form": form,
        "asked": asked,
        "grid": grid,
        "weeks": [_column(week, tallest, asked) for week in grid.weeks],
        "districts": [_row(district, grid, widest, asked) for district in grid.districts],
        "some": some,
        "opened": _lines(asked, some.places[0].building.pk, today) if some.places else [],
        "listed": listed,
        "sentence": _sentence(grid),
        "chosen_words": _chosen_words(asked),
        "can_pick": asked.who != "owner",
        "pick_form": PickForm(today=today),
        "query": request.GET.urlencode(),
    }
    return render(request, "scheduling/due.html", context)


@require_GET
@contractor_page(*OFFICE)
def due_at(request: ContractorRequest, pk: UUID) -> HttpResponse:
    """Show what falls due at one building of the list, narrowed as the list is."""
    building = building_for(request, pk)
    today = plans.today_at(timezone.now())
    asked = DueFilters(request.GET).asked()
    context = {
        "building": building,
        "lines": _lines(asked, building.pk, today),
        "can_pick": asked.who != "owner",
    }
    return render(request, "scheduling/_due_at.html", context)


def _lines(asked: load.Asked, building_id: UUID, today: date) -> list[tuple[load.Line, Bar]]:
    strip = Strip.of_window(today)
    rows = load.shown(replace(asked, building=str(building_id)), today)
    return [(line, strip.window(line.first, today)) for line in load.lines(rows)]


def _column(week: load.Week, tallest: float, asked: load.Asked) -> dict[str, Any]:
    scale = (BAR_HEIGHT - 4) / tallest
    inside = min(week.load, week.capacity) * scale
    over = max(0.0, week.over) * scale
    return {
        "week": week,
        "chosen": asked.week == week.monday.isoformat() and not asked.district,
        "bar_y": round(BAR_HEIGHT - inside, 1),
        "bar_h": round(inside, 1),
        "over_y": round(BAR_HEIGHT - inside - over, 1),
        "over_h": round(over, 1),
        "cap_y": round(BAR_HEIGHT - week.capacity * scale, 1),
    }


def _row(
    district: load.District, grid: load.Grid, widest: float, asked: load.Asked
) -> dict[str, Any]:
    cells = [
        {
            "week": week.monday.isoformat(),
            "minutes": minutes,
            "width": round(BAR_WIDTH * minutes / widest, 1),
            "chosen": (asked.district, asked.week) == (district.name, week.monday.isoformat()),
        }
        for week, minutes in zip(grid.weeks, district.weeks, strict=True)
    ]
    late = (asked.district, asked.week) == (district.name, load.OVERDUE)
    return {"district": district, "cells": cells, "overdue_chosen": late}


def _sentence(grid: load.Grid) -> str:
    over = [week for week in grid.weeks if week.over > 0]
    if not grid.activities:
        return _("Nothing falls due in the next eight weeks.")
    late = ngettext("%(n)s activity is overdue.", "%(n)s activities are overdue.", grid.overdue) % {
        "n": grid.overdue
    }
    if not over:
        fits = _("The next eight weeks fit.")
        return f"{fits} {late}" if grid.overdue else fits
    worst = max(over, key=lambda week: week.over)
    told = _("The week of %(day)s holds %(hours)s hours more than your technicians have.") % {
        "day": date_format(worst.monday, "j F"),
        "hours": round(worst.over / 60),
    }
    return f"{told} {late}" if grid.overdue else told


def _chosen_words(asked: load.Asked) -> str:
    place = asked.district or _("All districts")
    if asked.week == load.OVERDUE:
        return _("%(place)s, overdue") % {"place": place}
    if asked.week:
        day = date_format(date.fromisoformat(asked.week), "j F")
        return _("%(place)s, week of %(day)s") % {"place": place, "day": day}
    return _("%(place)s, next eight weeks") % {"place": place}


@require_GET
@contractor_page(*OFFICE)
def due_export(request: ContractorRequest) -> HttpResponse:
    """Give the list, narrowed as shown, as a CSV file: one row an occurrence."""
    return exports.at_once("due", request.GET, request.door)


@require_POST
@contractor_page(*OFFICE)
def due_visits(request: ContractorRequest) -> HttpResponse:
    """Make visits of what was ticked, or put it into planned ones (`then=add`).

    With `then=plan` go on to the plan. What is refused leaves page and ticks as they are.
    """
    today = plans.today_at(timezone.now())
    narrowing = QueryDict(request.POST.get("query", ""))
    form = PickForm(request.POST, today=today)
    refuse_wrong(form)
    ids = load.picked(request.POST.getlist("pick"), DueFilters(narrowing).asked(), today)
    then = request.POST.get("then")
    into = "planned" if then == "add" else "new"
    sent = form.cleaned_data
    visits = bundle.place(ids, into=into, today=today, by=request.member, **sent)
    if into == "planned":
        told = ngettext(
            "%(n)s planned visit holds it now.", "%(n)s planned visits hold it now.", len(visits)
        )
    else:
        told = ngettext(
            "%(n)s visit is made, in %(places)s buildings.",
            "%(n)s visits are made, in %(places)s buildings.",
            len(visits),
        )
    places = len({visit.building_id for visit in visits})
    messages.success(request, told % {"n": len(visits), "places": places})
    if then == "plan":
        return go_on(request, reverse("plans"))
    return go_on(request, f"{reverse('due')}?{narrowing.urlencode()}")
