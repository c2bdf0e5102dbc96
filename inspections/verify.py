"""Anybody may check a report by the code that is printed on it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from contractors.models import Contractor
from contractors.scope import contractor_scope
from inspections.models import Report
from inspections.record import verify as verify_stream


@never_cache
@require_GET
def verify(request: HttpRequest, code: str) -> HttpResponse:
    """Say what a code stands for: versions, hashes, when sealed, and that the record is whole."""
    for contractor in _contractors(code):
        with contractor_scope(contractor.pk):
            versions = list(
                Report.objects.filter(code=code)
                .select_related("visit__building", "pdf")
                .order_by("version")
            )
            if versions:
                whole = verify_stream("visit", versions[0].visit_id).holds
                context = {
                    "code": code,
                    "contractor": contractor,
                    "versions": versions,
                    "visit": versions[0].visit,
                    "whole": whole,
                }
                return render(request, "inspections/verify.html", context)
    return render(request, "inspections/verify.html", {"code": code}, status=404)


def _contractors(code: str) -> list[Contractor]:
    """Return the contractors whose short code the code may begin with."""
    starts = [code[:place] for place, letter in enumerate(code) if letter == "-"]
    return list(Contractor.objects.filter(code__in=starts))
