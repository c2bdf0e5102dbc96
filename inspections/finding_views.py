"""Desk pages of findings and impairments."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildings.access import building_for
from contractors import exports
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.templatetags.look import in_words
from inspections import access, evidence, findings, forms, lists, record, subjects
from inspections.acting import act
from inspections.catalogue_files import catalogue
from inspections.models import Event, Finding, Impairment, Photo, Result

ON_A_PAGE = 50
MAY_FIND = (*OFFICE, Role.TECHNICIAN)
# Who is owed a notice of an impairment, in the order of the telephone; local codes may want more.
NOTICES_OWED = ("owner", "authority", "fire_department", "monitoring_station", "insurer")
# Upper apps append makers of panels: (request, finding) -> buildings.panels.Panel or None.
panels: list[Callable[[Any, Finding], Any]] = []


@contractor_page()
@require_GET
def finding_list(request: ContractorRequest) -> HttpResponse:
    """List findings, worst and oldest first."""
    form, rows = lists.findings(request.GET)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "inspections/findings.html",
        {"form": form, "page_obj": page, "today": timezone.localdate()},
    )


@contractor_page()
@require_GET
def finding_export(request: ContractorRequest) -> HttpResponse:
    """Give the listed findings as a CSV file."""
    return exports.at_once("findings", request.GET, request.door)


@contractor_page()
@require_GET
def finding(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Show a finding: what, where, since when, its history, and what can be done."""
    found = access.finding_for(request.member, finding_id)
    made = [panel for panel in (make(request, found) for make in panels) if panel is not None]
    context = {
        "finding": found,
        "subject": subjects.subject_for(found.subject_kind, found.subject_id),
        "history": history("finding", found.pk),
        "photos": Photo.objects.filter(finding_id=found.pk, file__isnull=False),
        "impairments": found.impairments.all(),
        "panels": made,
        "may_act": request.door.role in OFFICE,
        "is_open": found.state in (Finding.State.OPEN, Finding.State.PROPOSED),
    }
    with timezone.override(found.building.zone):
        return render(request, "inspections/finding.html", context)


def history(stream: str, stream_id: UUID) -> list[dict[str, Any]]:
    """Return what happened on a stream, oldest first: when, what, by whom, in words."""
    its_own = Q(stream=stream, stream_id=stream_id)
    again = Q(kind="finding.link", body__contains=f'"to":"{stream_id}"')
    rows = Event.objects.filter(its_own | again).select_related("by__user")
    return [
        {
            "at": row.happened_at,
            "kind": row.kind,
            "by": row.by.user.name if row.by else "",
            "via": row.via,
            "payload": record.payload_of(row),
        }
        for row in rows.order_by("number")
    ]


@contractor_page(*MAY_FIND)
@require_http_methods(["GET", "POST"])
def finding_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Record a finding at a building."""
    building = building_for(request, building_id)
    form = forms.FindingForm(request.POST or None, building=building)

    def do(given: dict[str, Any]) -> str:
        made = findings.add(
            building,
            subject=forms.subject_from(given["subject"]),
            grade=given["grade"],
            text=given["text"],
            by=request.member,
            location=given["location"],
            count=given["count"],
            measure=given["measure"],
            code=given["deficiency"],
            activity=given["activity"],
        )
        messages.success(request, _("The finding is recorded."))
        return reverse("finding", args=[made.pk])

    return act(
        request,
        form,
        do,
        title=_("New finding at %(name)s") % {"name": building.name},
        back=building.get_absolute_url(),
        label=_("Record the finding"),
        caution=_(
            "Class impairment means out of service: it starts its clock at once. Tell the owner,"
            " the monitoring station and whoever the local code names, and keep interim measures."
        ),
    )


def _finding_act(
    request: ContractorRequest,
    finding_id: UUID,
    make_form: Callable[[Finding], Any],
    do: Callable[[Finding, dict[str, Any]], Any],
    **context: Any,
) -> HttpResponse:
    found = access.finding_for(request.member, finding_id)

    def done(given: dict[str, Any]) -> str:
        do(found, given)
        messages.success(request, context["said"])
        return reverse("finding", args=[found.pk])

    back = reverse("finding", args=[found.pk])
    return act(request, make_form(found), done, back=back, subtitle=found.text, **context)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def finding_reclass(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Change the class of a finding."""
    return _finding_act(
        request,
        finding_id,
        lambda f: forms.ReclassForm(request.POST or None, initial={"grade": f.grade}),
        lambda f, given: findings.reclass(
            f, grade=given["grade"], reason=given["reason"], by=request.member
        ),
        title=_("Change the class"),
        label=_("Change the class"),
        said=_("The class is changed; both are kept."),
        caution="",
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def finding_accept(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Accept a proposed finding."""
    return _settle(request, finding_id, accept=True)


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def finding_drop(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Drop a proposed finding, with the reason."""
    return _settle(request, finding_id, accept=False)


def _settle(request: ContractorRequest, finding_id: UUID, *, accept: bool) -> HttpResponse:
    return _finding_act(
        request,
        finding_id,
        lambda f: forms.ReasonForm(request.POST or None),
        lambda f, given: findings.settle_proposed(
            f, accept=accept, reason=given["reason"], by=request.member
        ),
        title=_("Accept the proposed finding") if accept else _("Drop the proposed finding"),
        label=_("Accept it") if accept else _("Drop it"),
        said=_("It is open now.") if accept else _("It is dropped; the reason is kept."),
        caution="",
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def finding_decide(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Write the owner's decision down on their behalf."""
    return _finding_act(
        request,
        finding_id,
        lambda f: forms.DecisionForm(request.POST or None),
        lambda f, given: findings.decide(
            f,
            decision=given["decision"],
            on=f.building.today,
            until=given["until"] if given["decision"] == "defer" else None,
            reason=given["reason"],
            name=given["name"],
            by=request.member,
            via=Event.Via.PAGE,
        ),
        title=_("The owner's decision"),
        label=_("Write it down"),
        said=_("The decision is written down. It moves the follow-up, never the finding."),
        caution="",
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def finding_close(request: ContractorRequest, finding_id: UUID) -> HttpResponse:
    """Close a finding on a passed re-test; an observation on the owner's decision."""
    found = access.finding_for(request.member, finding_id)
    if found.grade == Finding.Class.OBSERVATION:
        return _finding_act(
            request,
            finding_id,
            lambda f: forms.ReasonForm(request.POST or None),
            lambda f, given: findings.close_observation(f, text=given["reason"], by=request.member),
            title=_("Close the observation"),
            label=_("Close it"),
            said=_("The observation is closed."),
            caution="",
        )
    proofs = {str(one.pk): one for one in evidence.closing_results(found)}
    choices = [(key, _proof_words(one)) for key, one in proofs.items()]

    def do(f: Finding, given: dict[str, Any]) -> Any:
        return findings.close_by_result(f, proofs[given["result"]], by=request.member)

    return _finding_act(
        request,
        finding_id,
        lambda f: forms.CloseForm(request.POST or None, results=choices),
        do,
        title=_("Close the finding"),
        label=_("Close it on this evidence"),
        said=_("The finding is closed."),
        caution="" if choices else findings.NeedsEvidence.sentence,
        is_empty=not choices,
    )


def _proof_words(proof: Result) -> str:
    known = catalogue().activities.get(proof.activity)
    task = known.task if known else proof.activity
    return _("%(task)s, %(day)s") % {"task": task, "day": in_words(proof.performed_on)}


# --- impairments -----------------------------------------------------------------------------


@contractor_page()
@require_GET
def impairment_list(request: ContractorRequest) -> HttpResponse:
    """List impairments, the running ones first, longest out first."""
    rows = Impairment.objects.select_related("building", "system", "building__jurisdiction")
    running = list(rows.filter(ended_at=None).order_by("started_at"))
    ended = rows.exclude(ended_at=None).order_by("-ended_at")
    page = Paginator(ended, ON_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "inspections/impairments.html", {"running": running, "page_obj": page})


def limit_hours(found: Impairment) -> float:
    """Return the hours in 24 from which interim measures are owed at a building."""
    return found.building.impairment_hours


def hours_out(found: Impairment, now: datetime) -> float:
    """Return the hours out of service within the last 24, over all outages of the system."""
    begins = now - timedelta(hours=24)
    rows = Impairment.objects.filter(building_id=found.building_id, started_at__lt=now).filter(
        Q(ended_at=None) | Q(ended_at__gt=begins)
    )
    if found.system_id:
        rows = rows.filter(system_id=found.system_id)
    seconds = [
        float((min(row.ended_at or now, now) - max(row.started_at, begins)).total_seconds())
        for row in rows
    ]
    return float(min(24.0, sum(seconds) / 3600))


@contractor_page()
@require_GET
def impairment(request: ContractorRequest, impairment_id: UUID) -> HttpResponse:
    """Show an impairment: its clock, who was told, who is owed a notice, the watch."""
    found = access.impairment_for(request.member, impairment_id)
    now = timezone.now()
    steps = list(found.steps.all())
    told = {step.what.removeprefix("told ") for step in steps}
    words = dict(forms.TOLD)
    out, limit = hours_out(found, now), limit_hours(found)
    told_so_far = history("impairment", found.pk)
    context = {
        "impairment": found,
        "place": found.building.jurisdiction,
        "subject": subjects.subject_for(found.subject_kind, found.subject_id),
        "steps": steps,
        "owed": [(who, words[who], who in told) for who in NOTICES_OWED],
        "hours": out,
        "limit": limit,
        "is_past": out >= limit,
        **_watch(told_so_far, now),
        "history": told_so_far,
        "may_act": request.door.role in MAY_FIND,
        "may_end": request.door.role in OFFICE,
    }
    with timezone.override(found.building.zone):
        return render(request, "inspections/impairment.html", context)


def _watch(told_so_far: list[dict[str, Any]], now: datetime) -> dict[str, Any]:
    """Say whether somebody walks the fire watch now, and when the last leg ended."""
    legs = [one["payload"] for one in told_so_far if one["kind"] == "impairment.watch"]
    ends = [datetime.fromisoformat(leg["until"]) for leg in legs if leg.get("until")]
    runs = len(ends) < len(legs) or any(end > now for end in ends)
    return {"watch_runs": runs, "watch_ended": None if runs else max(ends, default=None)}


@contractor_page(*MAY_FIND)
@require_http_methods(["GET", "POST"])
def impairment_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Start an impairment at a building."""
    building = building_for(request, building_id)
    form = forms.ImpairmentForm(request.POST or None, building=building)

    def do(given: dict[str, Any]) -> str:
        made = findings.start_impairment(
            building,
            subject=forms.subject_from(given["subject"]),
            extent=given["extent"],
            nature=given["nature"],
            unknown_start=given["unknown_start"],
            started_at=given["started_at"],
            by=request.member,
        )
        messages.success(request, _("The clock runs. Tell everybody who is owed a notice now."))
        return reverse("impairment", args=[made.pk])

    with timezone.override(building.zone):
        return act(
            request,
            form,
            do,
            title=_("Out of service at %(name)s") % {"name": building.name},
            back=building.get_absolute_url(),
            label=_("Start the impairment"),
            caution=_(
                "Before a valve is shut: look what else loses water behind it, and that nobody has"
                " another valve of the same supply shut. Hang the tag at the valve and at the fire"
                " department connection. Local codes and the authority having jurisdiction decide."
            ),
        )


def _impairment_act(
    request: ContractorRequest,
    impairment_id: UUID,
    make_form: Callable[[Impairment], Any],
    do: Callable[[Impairment, dict[str, Any]], Any],
    **context: Any,
) -> HttpResponse:
    found = access.impairment_for(request.member, impairment_id)

    def done(given: dict[str, Any]) -> str:
        do(found, given)
        messages.success(request, context["said"])
        return reverse("impairment", args=[found.pk])

    back = reverse("impairment", args=[found.pk])
    with timezone.override(found.building.zone):
        return act(request, make_form(found), done, back=back, subtitle=found.extent, **context)


@contractor_page(*MAY_FIND)
@require_http_methods(["GET", "POST"])
def impairment_notice(request: ContractorRequest, impairment_id: UUID) -> HttpResponse:
    """Record that somebody was told."""
    return _impairment_act(
        request,
        impairment_id,
        lambda one: forms.NoticeForm(
            request.POST or None, initial={"told": request.GET.get("told")}
        ),
        lambda one, given: findings.notice(one, by=request.member, **given),
        title=_("Who was told?"),
        label=_("Record the notice"),
        said=_("The notice is recorded."),
        caution="",
    )


@contractor_page(*MAY_FIND)
@require_http_methods(["GET", "POST"])
def impairment_watch(request: ContractorRequest, impairment_id: UUID) -> HttpResponse:
    """Record a leg of the fire watch."""
    return _impairment_act(
        request,
        impairment_id,
        lambda one: forms.WatchForm(request.POST or None),
        lambda one, given: findings.watch(one, by=request.member, **given),
        title=_("A leg of the fire watch"),
        label=_("Record the leg"),
        said=_("The leg is recorded."),
        caution=_("Whoever walks has no other duty, and a way to call the fire department."),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def impairment_end(request: ContractorRequest, impairment_id: UUID) -> HttpResponse:
    """End an impairment: proven, or by a licensed person though proof is missing."""
    known: list[evidence.Proof] = []

    def make_form(one: Impairment) -> Any:
        known.extend(evidence.restoration_proofs(one))
        choices = [(str(proof.id), proof.words) for proof in known if proof.proven]
        return forms.EndForm(request.POST or None, proofs=choices)

    def do(one: Impairment, given: dict[str, Any]) -> None:
        if given["proven"] == "yes":
            proofs = [UUID(proof) for proof in given["proofs"]]
            evidence.end_proven(one, proofs, by=request.member, via=Event.Via.PAGE)
        else:
            findings.end_impairment(one, proven=False, reason=given["reason"], by=request.member)

    return _impairment_act(
        request,
        impairment_id,
        make_form,
        do,
        title=_("Restored?"),
        label=_("End the impairment"),
        said=_("The clock has stopped. Take the tags down and tell everybody who was told."),
        caution=_(
            "Proven means: valves open and secured, gauges in their bands, drains shut, panel"
            " normal, station off test, each seen by a person."
        ),
    )
