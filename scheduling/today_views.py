"""Today, and the outbox: what needs a person, and what was sent to whom."""

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from contractors import licences
from contractors import outbox as jobs
from contractors.doors import OFFICE, ContractorRequest, contractor_page
from contractors.models import Notice, OutboxMessage
from contractors.refusal import NotThere
from scheduling import plans, today

NOTICES_ON_A_PAGE = 50


@require_GET
@contractor_page(*OFFICE)
def today_page(request: ContractorRequest) -> HttpResponse:
    """Show what needs a person, the most harmful first."""
    now = timezone.now()
    day = plans.today_at(now)
    slips = today.slips(now, day)
    road = today.on_the_road(day)
    visits = [visit for _person, found in road for visit in found]
    context = {
        "day": day,
        "now": now,
        "slips": slips,
        "sentence": today.sentence(slips),
        "waiting": today.waiting(),
        "licences": licences.ending(day),
        "road": road,
        "stops": len(visits),
        "done": sum(1 for visit in visits if visit.is_closed),
        "out": sum(1 for slip in slips if slip.kind == "impairment"),
        "on_test": sum(1 for slip in slips if slip.kind == "station"),
        "overdue": sum(1 for slip in slips if slip.kind == "overdue"),
    }
    return render(request, "scheduling/today.html", context)


@require_GET
@contractor_page(*OFFICE)
def outbox(request: ContractorRequest) -> HttpResponse:
    """Show the messages to people, newest first, with how far each got."""
    rows = Notice.objects.select_related("settled_by__user").order_by("-made_at")
    state = request.GET.get("state", "")
    if state in Notice.State.values:
        rows = rows.filter(state=state)
    context = {
        "page_obj": Paginator(rows, NOTICES_ON_A_PAGE).get_page(request.GET.get("page")),
        "states": Notice.State.choices,
        "state": state,
        "has_mail": settings.HAS_MAIL_SERVER,
        "parked": OutboxMessage.objects.filter(
            contractor_id=request.member.contractor_id, state=OutboxMessage.State.PARKED
        ).order_by("made_at"),
    }
    return render(request, "scheduling/outbox.html", context)


@require_POST
@contractor_page(*OFFICE)
def job_restart(request: ContractorRequest, job_id: UUID) -> HttpResponse:
    """Start a job again that was given up after three tries."""
    row = OutboxMessage.objects.filter(
        pk=job_id,
        contractor_id=request.member.contractor_id,
        state=OutboxMessage.State.PARKED,
    ).first()
    if row is None:
        raise NotThere
    jobs.add(row.kind, row.key, again=True, **row.payload)
    messages.success(request, _("Started again."))
    return redirect("outbox" if request.POST.get("back") == "outbox" else "today")
