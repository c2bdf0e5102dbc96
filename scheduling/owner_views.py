"""The owner's pages."""

from datetime import date
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods

from contractors import files
from contractors.doors import OwnerRequest, owner_page
from contractors.refusal import FieldRefused, Refusal
from scheduling import rooms
from scheduling.models import PublishedBuilding, PublishedReport, Standing

ATTENTION = (Standing.IMPAIRED, Standing.OVERDUE, Standing.FINDING_OPEN)


def day_asked(request: OwnerRequest) -> date | None:
    """Return the day that the address asks for, or None for today.

    Raises
    ------
    FieldRefused
        When it is no day.
    """
    text = request.GET.get("on", "")
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise FieldRefused("on", text, _("A day such as 2026-11-25.")) from None


def _common(stands: list[rooms.Stands] | None = None) -> dict[str, Any]:
    rows = list(PublishedBuilding.objects.values_list("contractor_name", "time_zone"))
    name = rows[0][0] if rows else None
    return {"looked_after_by": name, "today": rooms.today(zone for _name, zone in rows)}


@require_GET
@owner_page()
def portfolio(request: OwnerRequest) -> HttpResponse:
    """Show how all buildings stand: one sentence, what needs attention, then the rest."""
    on = day_asked(request)
    stands = rooms.portfolio(on)
    with_us = [s for s in stands if s.word != Standing.NOT_WITH_US]
    context = {
        **_common(),
        "on": on,
        "sentence": _sentence(with_us),
        "second": _second(with_us),
        "attention": [s for s in with_us if s.word in ATTENTION],
        "others": [s for s in with_us if s.word not in ATTENTION],
        "gone": [s for s in stands if s.word == Standing.NOT_WITH_US],
        "to_decide": len(rooms.to_decide()),
    }
    return render(request, "scheduling/portfolio.html", context)


def _sentence(stands: list[rooms.Stands]) -> str:
    total = len(stands)
    good = sum(1 for s in stands if s.word in (Standing.IN_ORDER, Standing.DUE_BY))
    if not total:
        return _("No building is looked after yet.")
    return ngettext(
        "%(good)s of %(total)s building is in order in what we look after.",
        "%(good)s of %(total)s buildings are in order in what we look after.",
        total,
    ) % {"good": good, "total": total}


def _second(stands: list[rooms.Stands]) -> str:
    parts = []
    for word, told in (
        (Standing.IMPAIRED, _("%(n)s impaired")),
        (Standing.OVERDUE, _("%(n)s overdue")),
        (Standing.FINDING_OPEN, _("%(n)s with open findings")),
        (Standing.NOT_KNOWN, _("%(n)s not known yet")),
    ):
        count = sum(1 for s in stands if s.word == word)
        if count:
            parts.append(told % {"n": count})
    return ", ".join(parts) + "." if parts else ""


@require_GET
@owner_page()
def building(request: OwnerRequest, building_id: UUID) -> HttpResponse:
    """Show one building: what is wrong, since when, what is next, what we ask, the proof."""
    on = day_asked(request)
    stands = rooms.building(building_id, on)
    ask = [item for item in rooms.to_decide() if item.building_id == building_id]
    context = {
        **_common(),
        "on": on,
        "stands": stands,
        "ask": ask,
        "decided": [i for i in stands.items if i.facts.get("decision")],
        "reports": rooms.reports(building_id)[:8],
        "before": stands.before[:8],
        "today_iso": timezone.localdate(timezone=ZoneInfo(stands.building.time_zone)).isoformat(),
    }
    with timezone.override(stands.building.time_zone):
        return render(request, "scheduling/owner_building.html", context)


@require_GET
@owner_page()
def decisions(request: OwnerRequest) -> HttpResponse:
    """Show what waits for the owner's decision over all buildings."""
    names = {b.building_id: b for b in PublishedBuilding.objects.all()}
    waiting = [(item, names.get(item.building_id)) for item in rooms.to_decide()]
    return render(request, "scheduling/decisions.html", {**_common(), "waiting": waiting})


@require_http_methods(["GET", "POST"])
@owner_page()
def decide(request: OwnerRequest, source_id: UUID) -> HttpResponse:
    """Take the owner's decision on one finding; a refused one keeps what was typed."""
    item = rooms.item_for(source_id)
    context = {**_common(), "item": item, "building": rooms.building(item.building_id).building}
    if request.method == "POST":
        try:
            until = _day(request.POST.get("until", ""))
            rooms.decide(
                item,
                decision=request.POST.get("decision", ""),
                until=until,
                reason=request.POST.get("reason", ""),
                by=request.door.access,  # type: ignore[arg-type]
            )
        except Refusal as refused:
            context |= {"refusal": refused, "typed": request.POST}
            return render(request, "scheduling/decide.html", context, status=refused.status)
        messages.success(request, _("Your decision is written down and on its way to us."))
        return redirect("owner_building", building_id=item.building_id)
    return render(request, "scheduling/decide.html", context)


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise FieldRefused("until", text, _("A day such as 2027-03-01.")) from None


@require_GET
@owner_page()
def owner_reports(request: OwnerRequest) -> HttpResponse:
    """Show all reports, newest first."""
    names = dict(PublishedBuilding.objects.values_list("building_id", "name"))
    page = Paginator(rooms.reports(), 30).get_page(request.GET.get("page"))
    rows = [(report, names.get(report.building_id, "")) for report in page]
    return render(
        request, "scheduling/owner_reports.html", {**_common(), "rows": rows, "page": page}
    )


@require_GET
@owner_page()
def report_file(request: OwnerRequest, report_id: UUID) -> HttpResponse:
    """Give out the PDF of a report."""
    return pdf_of(rooms.report_for(report_id))


def pdf_of(report: PublishedReport) -> HttpResponse:
    """Return the PDF of a published report as an answer, for page and API."""
    content = files.read_published(report.pdf_sha256, report.contractor.pk)
    answer = HttpResponse(content, content_type="application/pdf")
    name = f"report-{report.performed_on}-v{report.version}.pdf"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
