"""Desk pages of visits: the list, one visit, and what the office does about it."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET, require_http_methods

from contractors import exports
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.models import OutboxMessage
from contractors.refusal import NotThere
from contractors.templatetags.look import in_words
from inspections import (
    access,
    drawn_views,
    forms,
    licensed,
    lists,
    photos,
    planned,
    settling,
    visit_picture,
    visits,
)
from inspections.acting import act
from inspections.amending import AmendForm
from inspections.events.kinds import CURRENT, KINDS
from inspections.models import Event, Visit

ON_A_PAGE = 50
State = Visit.State
COLUMNS = (
    ("day", _lazy("Day")),
    ("building", _lazy("Building")),
    ("technician", _lazy("Technician")),
    ("state", _lazy("State")),
    ("report", _lazy("Report")),
)
AMENDED_IN = (State.HANDED_IN, State.REVIEWED, State.SEALED)
# Upper apps append makers of panels: (request, visit) -> buildings.panels.Panel or None.
panels: list[Callable[[Any, Visit], Any]] = []


@contractor_page()
@require_GET
def visit_list(request: ContractorRequest) -> HttpResponse:
    """List visits, the latest day first."""
    form, rows = lists.visits(request.GET, request.member)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    today = timezone.localdate()
    context = {
        "form": form,
        "page_obj": page,
        "late": {row.pk for row in page.object_list if _is_late(row, today)},
        "waiting": _waiting(request),
        "columns": COLUMNS,
        "order": _order_shown(form),
        "is_narrowed": any(form.data.get(name) for name in forms.VisitFilters.NARROWING),
        "may_plan": request.door.role in OFFICE,
    }
    return render(request, "inspections/visits.html", context)


@contractor_page()
@require_GET
def visit_export(request: ContractorRequest) -> HttpResponse:
    """Give the listed visits as a CSV file."""
    return exports.at_once("visits", request.GET, request.door)


def _order_shown(form: forms.VisitFilters) -> dict[str, str]:
    key, down = lists.visit_order(form)
    return {
        "key": key,
        "sort": "descending" if down else "ascending",
        "words": _("downwards") if down else _("upwards"),
        "other": key if down else f"-{key}",
    }


def _is_late(row: Visit, today: Any) -> bool:
    return row.state in (State.PLANNED, State.OPEN) and row.late_by(today) is not None


def _waiting(request: ContractorRequest) -> int:
    """Return how many visits wait for a review."""
    return int(access.visits_of(request.member).filter(state=State.HANDED_IN).count())


@contractor_page()
@require_GET
def visit(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Show a visit: what needs a person first, then what was done system by system."""
    found = access.visit_for(request.member, visit_id)
    made = [panel for panel in (make(request, found) for make in panels) if panel is not None]
    office = request.door.role in OFFICE
    context = {
        "visit": found,
        **visit_picture.of(found),
        **_reports(found),
        **drawn_views.of_visit(found, request.door.role),
        "panels": made,
        "not_licensed": licensed.flags(found) if found.is_closed else [],
        "may_act": office,
        "may_move": office and found.state in (State.PLANNED, State.OPEN),
        "may_print": found.state in Visit.UNDER_WAY,
        "may_type": request.door.role in (*OFFICE, Role.TECHNICIAN),
        "may_amend": office and found.state in AMENDED_IN,
        "late_by": found.late_by(found.building.today) if found.state != State.CANCELLED else None,
    }
    with timezone.override(found.building.zone):
        return render(request, "inspections/visit.html", context)


@contractor_page()
@require_GET
def visit_reports(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Give the versions of a visit's report, asked for again while one is being made."""
    found = access.visit_for(request.member, visit_id)
    with timezone.override(found.building.zone):
        return render(request, "inspections/_reports.html", {"visit": found, **_reports(found)})


def _reports(found: Visit) -> dict[str, Any]:
    rows = OutboxMessage.objects.filter(
        contractor=found.contractor_id, kind="report.make", key__startswith=f"{found.pk}:"
    )
    jobs = list(rows.exclude(state=OutboxMessage.State.DONE)) if found.number else []
    return {
        "reports": list(found.reports.select_related("pdf").order_by("-version")),
        "is_being_made": any(job.state != OutboxMessage.State.PARKED for job in jobs),
        "has_failed": any(job.state == OutboxMessage.State.PARKED for job in jobs),
        "tries": max((job.attempts for job in jobs), default=0),
    }


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_new(request: ContractorRequest) -> HttpResponse:
    """Plan a visit by hand."""
    form = forms.VisitForm(
        request.POST or None,
        initial={"building": request.GET.get("building"), "planned_on": timezone.localdate()},
    )

    def do(given: dict[str, Any]) -> str:
        building = given.pop("building")
        made = planned.make(building, by=request.member, **given)
        messages.success(request, _("The visit is planned."))
        return made.get_absolute_url()

    return act(
        request,
        form,
        do,
        title=_("Plan a visit"),
        subtitle=_("Visits of what falls due are made on the page Due; this is for all others."),
        label=_("Plan it"),
        back=reverse("visits"),
    )


def _visit_act(
    request: ContractorRequest,
    visit_id: UUID,
    make_form: Callable[[Visit], Any],
    do: Callable[[Visit, dict[str, Any]], Any],
    **context: Any,
) -> HttpResponse:
    found = access.visit_for(request.member, visit_id)
    back = found.get_absolute_url()

    def done(given: dict[str, Any]) -> str:
        do(found, given)
        messages.success(request, context["said"])
        return back

    with timezone.override(found.building.zone):
        day = in_words(found.performed_on or found.planned_on)
        where = _("%(building)s, %(day)s") % {"building": found.building, "day": day}
        shown = {"subtitle": where} | context
        return act(request, make_form(found), done, back=back, **shown)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_edit(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Move a visit to another day, or give it to somebody else."""
    return _visit_act(
        request,
        visit_id,
        lambda one: forms.VisitForm(request.POST or None, instance=one),
        lambda one, given: planned.change(one, given, by=request.member),
        title=_("Move the visit, or give it to somebody else"),
        label=_("Write it down"),
        said=_("The visit is changed. Tell the technician and the owner where it concerns them."),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_cancel(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Cancel a visit, with the reason."""
    return _visit_act(
        request,
        visit_id,
        lambda one: forms.CancelForm(request.POST or None),
        lambda one, given: visits.cancel(one, by=request.member, **given),
        title=_("Cancel the visit"),
        label=_("Cancel it"),
        said=_("The visit is cancelled. What it was to do stays due."),
        caution=_("What it was to do stays due. A system that was shut for it must be open again."),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_review(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Accept a visit that was handed in, which seals it; or send it back."""
    licence = visits.licence_of(request.member, timezone.now())
    flagged = licensed.flags(access.visit_for(request.member, visit_id))
    signed = _("Signed without a licence that held on the day: %(what)s.") % {
        "what": "; ".join(one.sentence for one in flagged)
    }
    cautions = [signed] if flagged else []
    return _visit_act(
        request,
        visit_id,
        lambda one: forms.ReviewForm(request.POST or None),
        lambda one, given: visits.review(
            one, accept=given["verdict"] == "accept", text=given["text"], by=request.member
        ),
        title=_("Review the visit"),
        label=_("Write the review down"),
        said=_("The review is in the record."),
        caution=" ".join([*cautions, *([] if licence else [visits.NotLicensed().message()])]),
        is_empty=licence is None,
        hint=_("Your licence %(number)s goes with it.") % {"number": licence} if licence else "",
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_amend(request: ContractorRequest, visit_id: UUID, entry_id: UUID) -> HttpResponse:
    """Correct one entry; the entry stays, and the report gets another version."""
    found = access.visit_for(request.member, visit_id)
    wrong = Event.objects.filter(id=entry_id, visit_id=found.pk).first()
    if wrong is None or not KINDS[wrong.kind, CURRENT[wrong.kind]].amendable:
        raise NotThere
    payload = visit_picture.as_known(found, wrong)
    form = AmendForm(request.POST or None, kind=wrong.kind, payload=payload)

    def do(one: Visit, given: dict[str, Any]) -> None:
        visits.amend(
            one,
            target=wrong.id,
            value=form.value(),
            reason=given["reason"],
            text=given["text"],
            by=request.member,
        )

    return _visit_act(
        request,
        visit_id,
        lambda one: form,
        do,
        title=_("Correct an entry"),
        subtitle=visit_picture.words_of(found, wrong, payload),
        label=_("Write the correction down"),
        said=_("Corrected. What was recorded first stays beside it."),
        caution=_("A correction may change what a reading means: look whether a finding follows."),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def visit_settle(request: ContractorRequest, visit_id: UUID, entry_id: UUID) -> HttpResponse:
    """Say which of two answers that stand side by side is right, with the reason."""
    found = access.visit_for(request.member, visit_id)
    standing = next(
        (one for one in settling.conflicts(found) if entry_id in [s.id for s in one.sides]), None
    )
    if standing is None:
        raise NotThere
    return _visit_act(
        request,
        visit_id,
        lambda one: forms.SettleForm(request.POST or None, conflict=standing),
        lambda one, given: settling.settle(
            one, entry_id, choice=given["choice"], reason=given["reason"], by=request.member
        ),
        title=_("Settle it: %(name)s") % {"name": standing.name},
        subtitle=standing.what,
        label=_("Let it stand"),
        said=_("Settled. Both answers stay in the record."),
        caution=_("Until it is settled the worse answer counts. Ask both before you decide."),
    )


@contractor_page(*OFFICE, Role.TECHNICIAN)
@require_http_methods(["GET", "POST"])
def visit_photo(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Add a photo to a visit."""
    found = access.visit_for(request.member, visit_id)

    def do(one: Visit, given: dict[str, Any]) -> None:
        about: dict[str, Any] = {"caption": given["caption"], "finding": given["finding"] or None}
        photos.attach(
            one,
            given["file"].read(),
            name=given["file"].name,
            by=request.member,
            via=Event.Via.PAGE,
            about=about,
        )

    return _visit_act(
        request,
        visit_id,
        lambda one: forms.PhotoForm(request.POST or None, request.FILES or None, visit=found),
        do,
        title=_("Add a photo"),
        label=_("Add it"),
        said=_("The photo is in the record."),
    )


@contractor_page()
@require_GET
def photo(request: ContractorRequest, photo_id: UUID) -> HttpResponse:
    """Give a photo as it was written anew."""
    return photos.served(access.photo_for(request.member, photo_id))


@contractor_page()
@require_GET
def report_pdf(request: ContractorRequest, report_id: UUID) -> HttpResponse:
    """Give a version of a report as a PDF."""
    return visit_picture.pdf_of(access.report_for(request.member, report_id))


@contractor_page()
@require_GET
def report_json(request: ContractorRequest, report_id: UUID) -> HttpResponse:
    """Give the facts that a report was made of, byte by byte."""
    found = access.report_for(request.member, report_id)
    answer = HttpResponse(found.facts, content_type="application/json")
    name = f"report-{found.visit.number or found.code}-v{found.version}.json"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
