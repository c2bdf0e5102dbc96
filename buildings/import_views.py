"""The pages of the import: upload, what it would do, do it, how far the history is."""

import io
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from openpyxl import Workbook

from buildings import importing, panels, portfolio
from contractors.doors import OFFICE, ContractorRequest, contractor_page
from contractors.refusal import Refusal

MOST_SHOWN = 200
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def portfolio_import(request: ContractorRequest) -> HttpResponse:
    """Take files, check every row, and show what would change or what is wrong."""
    if request.method == "GET":
        return _page(request)
    given = [(file.name or "", file.read()) for file in request.FILES.getlist("files")]
    if not given:
        return _page(request, error=_("Choose at least one file."), status=422)
    try:
        plan = portfolio.check(portfolio.read(given))
    except Refusal as refusal:
        return _page(request, error=refusal.message(), status=refusal.status)
    kept = [] if plan.problems else importing.keep(given)
    return _outcome(request, plan, kept)


@contractor_page(*OFFICE)
@require_POST
def portfolio_apply(request: ContractorRequest) -> HttpResponse:
    """Write what the dry run showed; the rows are checked again first."""
    given = importing.kept(request.POST.getlist("file"))
    if not given:
        return _page(request, error=_("The files are gone. Upload them again."), status=422)
    plan = portfolio.check(portfolio.read(given))
    if plan.problems:
        return _outcome(request, plan, [])
    job = importing.apply(plan, by=request.member, name=", ".join(name for name, _c in given))
    words = _("Imported.")
    if job is not None:
        words = _("Imported. The visits of the past are being recorded; this page shows how far.")
    messages.success(request, words)
    return redirect("portfolio_import")


@contractor_page(*OFFICE)
@require_GET
def portfolio_progress(request: ContractorRequest) -> HttpResponse:
    """Give the fragment that says how far the history is."""
    return render(request, "buildings/_import_progress.html", {"jobs": importing.running()})


@contractor_page(*OFFICE)
@require_GET
def portfolio_sheets(request: ContractorRequest) -> HttpResponse:
    """Give an empty workbook with all sheets and their columns."""
    book = Workbook(write_only=True)
    for sheet in sheets():
        page = book.create_sheet(sheet.name)
        page.append([*(column.name for column in sheet.columns), *sheet.attribute_columns()])
    content = io.BytesIO()
    book.save(content)
    answer = HttpResponse(content.getvalue(), content_type=WORKBOOK)
    answer["Content-Disposition"] = 'attachment; filename="portfolio.xlsx"'
    return answer


def sheets() -> list[portfolio.Sheet]:
    """Return all sheets that an import may hold."""
    return [
        *portfolio.SHEETS.values(),
        *(sheet for part in portfolio.parts for sheet in part.sheets),
    ]


def _outcome(request: HttpRequest, plan: portfolio.Plan, kept: list[Any]) -> HttpResponse:
    context = {
        "plan": plan,
        "problems": plan.problems[:MOST_SHOWN],
        "counts": portfolio.summary(plan),
        "drafts": plan.drafts[:MOST_SHOWN],
        "more_drafts": max(0, len(plan.drafts) - MOST_SHOWN),
        "kept": kept,
    }
    status = 422 if plan.problems else 200
    return render(request, "buildings/import_outcome.html", context, status=status)


def _page(request: HttpRequest, *, error: str = "", status: int = 200) -> HttpResponse:
    shown = panels.panels_of(panels.import_panels, request)
    context = {"error": error, "jobs": importing.running(), "sheets": sheets(), "panels": shown}
    return render(request, "buildings/import.html", context, status=status)
