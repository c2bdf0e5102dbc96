"""Pages of the computations: the list by subject, and a form for each with its result in words."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from buildings.units import SYSTEMS
from contractors.doors import ContractorRequest, contractor_page
from contractors.refusal import NotThere
from inspections import calculator
from inspections.hydraulics import index
from inspections.hydraulics.computation import Computation


@contractor_page()
@require_GET
def calculation_list(request: ContractorRequest) -> HttpResponse:
    """List the computations by subject, narrowed by a word."""
    word = request.GET.get("q", "").strip()[:80]
    groups = [(title, _matching(names, word)) for title, names in index.SUBJECTS.items()]
    shown = {"groups": [(title, found) for title, found in groups if found], "word": word}
    return render(request, "inspections/calculations.html", shown)


@contractor_page()
@require_GET
def calculation(request: ContractorRequest, name: str) -> HttpResponse:
    """Show a computation's form; with values in the address, what they come to."""
    if name not in index.COMPUTATIONS:
        raise NotThere
    system = request.GET.get("units", "")
    if system not in SYSTEMS:
        system = request.member.contractor.units
    sheet = calculator.filled(name, request.GET.dict(), system)
    refused = sheet.error or any(entry.error for entry in sheet.entries)
    shown: dict[str, Any] = {
        "sheet": sheet,
        "subject": index.subject_of(name),
        "caution": index.CAUTIONS.get(index.subject_of(name), ""),
        "switch": [
            (label, system == key, f"{request.path}?{sheet.query(key)}")
            for key, label in (("us", _("US")), ("metric", _("metric")))
        ],
        "example": calculator.example(name, system),
        "api": reverse("api-calculation-detail", args=[name]),
    }
    return render(request, "inspections/calculation.html", shown, status=422 if refused else 200)


def _matching(names: tuple[str, ...], word: str) -> list[Computation]:
    found = [index.COMPUTATIONS[name] for name in names]
    return [
        one for one in found if word.casefold() in f"{one.title} {one.name} {one.source}".casefold()
    ]
