"""Follow-ups: the list, another day for many, and who is told when."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildings import authorities
from buildings.models import Jurisdiction
from contractors import notices
from contractors.doors import (
    OFFICE,
    ContractorRequest,
    OwnerRequest,
    Role,
    contractor_page,
    owner_page,
)
from contractors.models import Contractor, Notice
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections.acting import act
from inspections.models import Finding
from scheduling import escalation, ladders, legal, plans, responses, waiting
from scheduling.followup_forms import (
    FollowUpFilters,
    HolidayForm,
    HoursForm,
    HowForm,
    LadderForm,
    MailForm,
    OutageForm,
    OverdueForm,
    RedateForm,
    ResponseForm,
    as_lines,
)
from scheduling.models import FollowUp, Holiday, OverdueClass, ResponseTime

ON_A_PAGE = 50
PAGE = "scheduling/response_times.html"


@require_GET
@contractor_page(*OFFICE)
def follow_ups(request: ContractorRequest) -> HttpResponse:
    """Show what is owed and not done, by the day it is owed."""
    return _list(request, FollowUpFilters(request.GET), RedateForm())


def _list(
    request: ContractorRequest,
    form: FollowUpFilters,
    redating: RedateForm,
    *,
    query: str | None = None,
    picked: frozenset[str] = frozenset(),
    refusal: Refusal | None = None,
) -> HttpResponse:
    today = plans.today_at(timezone.now())
    rows = waiting.narrowed(form.asked(), today).select_related(
        "building__jurisdiction", "finding", "impairment"
    )
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "redating": redating,
        "page_obj": page,
        "rows": [(row, waiting.waits_for(row), row.kind in waiting.MOVABLE) for row in page],
        "today": today,
        "late": waiting.narrowed(waiting.Asked(age=waiting.LATE), today).count(),
        "query": request.GET.urlencode() if query is None else query,
        "picked": picked,
        "refusal": refusal,
    }
    status = refusal.status if refusal else 422 if redating.errors else 200
    return render(request, "scheduling/follow_ups.html", context, status=status)


@require_POST
@contractor_page(*OFFICE)
def follow_ups_redate(request: ContractorRequest) -> HttpResponse:
    """Give what was ticked another day, with the reason."""
    query = request.POST.get("query", "")
    form, redating = FollowUpFilters(QueryDict(query)), RedateForm(request.POST)
    picked = request.POST.getlist("pick")
    refusal: Refusal | None = None
    if redating.is_valid():
        try:
            moved = waiting.redate(_ids(picked), **redating.cleaned_data, by=request.member)
        except Refusal as refused:
            refusal = refused
        else:
            told = ngettext("%(n)s follow-up moved.", "%(n)s follow-ups moved.", len(moved))
            messages.success(request, told % {"n": len(moved)})
            return HttpResponseRedirect(f"{reverse('follow_ups')}?{query}")
    return _list(request, form, redating, query=query, picked=frozenset(picked), refusal=refusal)


def _ids(texts: list[str]) -> list[UUID]:
    try:
        return [UUID(text) for text in texts]
    except ValueError:
        raise NotThere from None


def follow_up_for(follow_up_id: UUID) -> FollowUp:
    """Return a follow-up of the contractor in scope, or refuse."""
    row: FollowUp | None = (
        FollowUp.objects.select_related("building", "finding", "impairment")
        .filter(pk=follow_up_id)
        .first()
    )
    if row is None:
        raise NotThere
    return row


@require_http_methods(["GET", "POST"])
@contractor_page(*OFFICE)
def follow_up_settle(request: ContractorRequest, follow_up_id: UUID) -> HttpResponse:
    """End a follow-up by a person's word: the authority was told, or access is given again."""
    row = follow_up_for(follow_up_id)

    def do(given: dict[str, Any]) -> str:
        escalation.settle(row, how=given["how"], by=request.member)
        return reverse("follow_ups")

    return act(
        request,
        HowForm(request.POST or None),
        do,
        title=f"{row.get_kind_display().capitalize()}: {row.building.name}",
        subtitle=row.basis,
        label=_("Write it down"),
        caution=_(
            "Nothing is sent from here. Tell them yourself, as the local code wants it, then"
            " write down whom."
        ),
        back=reverse("follow_ups"),
    )


# --- response times and notices --------------------------------------------------------------


@require_GET
@contractor_page(Role.MANAGER)
def response_times(request: ContractorRequest) -> HttpResponse:
    """Show how soon each class is answered and who is told when, with what it rests on."""
    return _rules(request)


def _rules(request: ContractorRequest, **wrong: Any) -> HttpResponse:
    today = timezone.localdate()
    times, climbing = responses.Times(None), ladders.Ladders(today)
    ours = Contractor.objects.get(pk=request.member.contractor_id)
    context = {
        "classes": [_class(grade, times, climbing, wrong) for grade in responses.ANSWERED],
        "rules": ResponseTime.objects.select_related("jurisdiction", "recorded_by__user"),
        "overdue": OverdueClass.objects.select_related("jurisdiction"),
        "published": sorted(legal.published().items()),
        "holidays": Holiday.objects.filter(on__gte=today).select_related("jurisdiction"),
        "ours": ours,
        "today": today,
        "time_form": wrong.get("time_form") or ResponseForm(),
        "overdue_form": wrong.get("overdue_form") or OverdueForm(),
        "holiday_form": wrong.get("holiday_form") or HolidayForm(),
        "authorities": Jurisdiction.objects.order_by("name"),
        "outage_form": wrong.get("outage_form") or OutageForm(),
        "hours_form": wrong.get("hours_form") or HoursForm.of(ours),
    }
    status = 422 if any(form.errors for form in wrong.values()) else 200
    return render(request, PAGE, context, status=status)


def _class(
    grade: str, times: responses.Times, climbing: ladders.Ladders, wrong: dict[str, Any]
) -> dict[str, Any]:
    today = timezone.localdate()
    owed = times.owed(grade, "", today)
    rule = climbing.set.get(grade)
    steps = climbing.steps(grade)
    form = wrong.get(f"ladder_{grade}") or LadderForm(
        initial={"grade": grade, "steps": as_lines(steps)}, auto_id=f"{grade}_%s"
    )
    return {
        "grade": grade,
        "label": Finding.Class(grade).label,
        "owed": owed,
        "days": (owed.by - today).days if owed else None,
        "ladder": rule,
        "steps": [(step, [ladders.Rung(one).label for one in step.tell]) for step in steps],
        "hours": grade == Finding.Class.IMPAIRMENT,
        "form": form,
    }


def _set(
    request: ContractorRequest, name: str, form: Any, do: Callable[..., object]
) -> HttpResponse:
    """Do what one of the page's forms says; what is refused stands at its field."""
    if form.is_valid():
        try:
            do(**form.cleaned_data, by=request.member)
        except FieldRefused as refused:
            field = str(refused.facts["field"]).partition(".")[0]
            where = field if field in form.fields else None
            form.add_error(where, refused.message() if where is None else _accepted(refused))
        else:
            messages.success(request, _("Set. Days given before stay as they are."))
            return redirect("response_times")
    return _rules(request, **{name: form})


def _accepted(refused: FieldRefused) -> str:
    place = str(refused.facts["field"])
    said = str(refused.facts["accepted"])
    return f"{place}: {said}" if "." in place else said


@require_POST
@contractor_page(Role.MANAGER)
def response_time_set(request: ContractorRequest) -> HttpResponse:
    """Set how soon findings of a class are answered."""
    return _set(request, "time_form", ResponseForm(request.POST), responses.set_time)


@require_POST
@contractor_page(Role.MANAGER)
def overdue_class_set(request: ContractorRequest) -> HttpResponse:
    """Set what an overdue test counts as."""
    return _set(request, "overdue_form", OverdueForm(request.POST), legal.set_overdue_class)


@require_POST
@contractor_page(Role.MANAGER)
def holiday_set(request: ContractorRequest) -> HttpResponse:
    """Write down a holiday of an authority."""
    return _set(request, "holiday_form", HolidayForm(request.POST), responses.add_holiday)


@require_POST
@contractor_page(Role.MANAGER)
def outage_times_set(request: ContractorRequest) -> HttpResponse:
    """Set when outages at an authority's buildings call for more."""
    return _set(request, "outage_form", OutageForm(request.POST), authorities.set_outage_times)


@require_POST
@contractor_page(Role.MANAGER)
def notice_hours_set(request: ContractorRequest) -> HttpResponse:
    """Set quiet hours and how owners get mail."""
    return _set(request, "hours_form", HoursForm(request.POST), notices.set_hours)


@require_POST
@contractor_page(Role.MANAGER)
def ladder_set(request: ContractorRequest) -> HttpResponse:
    """Set who is told after how long about findings of a class."""
    grade = request.POST.get("grade", "")
    if grade not in responses.ANSWERED:
        raise NotThere
    form = LadderForm(request.POST, auto_id=f"{grade}_%s")

    def do(**given: Any) -> None:
        ladders.set_ladder(**given)
        escalation.look_again(grade)

    return _set(request, f"ladder_{grade}", form, do)


# --- mail ------------------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@contractor_page()
def mail_choice(request: ContractorRequest) -> HttpResponse:
    """Let a member choose how ordinary mail comes."""
    return _choice(request, request.member, "base.html", "home")


@require_http_methods(["GET", "POST"])
@owner_page()
def owner_mail_choice(request: OwnerRequest) -> HttpResponse:
    """Let an owner's person choose how ordinary mail comes."""
    return _choice(request, request.door.access, "base_owner.html", "portfolio")


def _choice(request: Any, door: Any, base: str, back: str) -> HttpResponse:
    owners = base == "base_owner.html"
    form = MailForm(request.POST or None, owners=owners, initial={"mail": door.mail})
    if request.method == "POST" and form.is_valid():
        try:
            notices.choose(door, form.cleaned_data["mail"])
        except FieldRefused as refused:
            form.add_error("mail", str(refused.facts["accepted"]))
        else:
            messages.success(request, _("Your choice is kept."))
            return redirect(back)
    context = {"form": form, "base": base}
    return render(request, "scheduling/mail.html", context, status=422 if form.errors else 200)


def notice_for(notice_id: UUID) -> Notice:
    """Return a message of the contractor in scope, or refuse."""
    row: Notice | None = Notice.objects.filter(pk=notice_id).first()
    if row is None:
        raise NotThere
    return row


@require_http_methods(["GET", "POST"])
@contractor_page(*OFFICE)
def notice_passed_on(request: ContractorRequest, notice_id: UUID) -> HttpResponse:
    """Write down that a message that did not arrive was passed on by a person."""
    row = notice_for(notice_id)

    def do(given: dict[str, Any]) -> str:
        notices.passed_on(row, how=given["how"], by=request.member)
        return reverse("outbox")

    lead = _("To %(recipient)s. %(error)s") % {"recipient": row.recipient, "error": row.error}
    return act(
        request,
        HowForm(request.POST or None),
        do,
        title=_("Pass it on: %(subject)s") % {"subject": row.subject},
        subtitle=lead,
        hint=row.body,
        label=_("Write down whom you reached"),
        caution=_("Tell them by telephone or in person now, then write down whom you reached."),
        back=reverse("outbox"),
    )


@require_POST
@contractor_page(*OFFICE)
def notice_came_back(request: ContractorRequest, notice_id: UUID) -> HttpResponse:
    """Mark a message as come back."""
    notices.came_back(notice_for(notice_id), why=_("came back by mail"), by=request.member)
    messages.success(request, _("Marked: it did not arrive."))
    return redirect("outbox")
