"""Plans: the list, a plan's windows and days, moving, publishing, planning again."""

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contractors import licences
from contractors.doors import OFFICE, ContractorRequest, contractor_page, go_on
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections.models import Visit
from scheduling import board, bundle, moves, plans, problems, replans, telling
from scheduling.forms import AbsenceForm, MoveForm, PlanForm
from scheduling.marks import rounded
from scheduling.models import Occurrence, Plan, Stop
from scheduling.routing.verify import verify

State = Plan.State
SHOWN = 20


def plan_for(plan_id: UUID) -> Plan:
    """Return a plan of the contractor in scope; `NotThere` otherwise."""
    found: Plan | None = Plan.objects.select_related("made_by__user").filter(pk=plan_id).first()
    if found is None:
        raise NotThere
    return found


def stops_of(plan: Plan) -> list[Stop]:
    """Return a plan's stops with all that a page shows of them."""
    rows = plan.stops.select_related("visit__building", "technician__office")
    return list(rows.order_by("on", "technician__code", "position"))


@require_http_methods(["GET", "POST"])
@contractor_page(*OFFICE)
def plan_list(request: ContractorRequest) -> HttpResponse:
    """List the plans, and have a new one searched."""
    now = timezone.now()
    today = plans.today_at(now)
    monday = today + timedelta(days=1)
    first = {
        "from_on": monday,
        "to_on": monday + timedelta(days=13),
        "seconds": plans.USUAL_SECONDS,
        "bundle_first": True,
    }
    form = PlanForm(request.POST or None, today=today, initial=first)
    refusal = None
    if request.method == "POST" and form.is_valid():
        try:
            return redirect(_make(request, form.cleaned_data, today))
        except Refusal as refused:
            refusal = refused
    owed = Occurrence.objects.filter(bundle.FREE, bundle.owed(today)).count()
    waiting = Visit.objects.filter(state=Visit.State.PLANNED, planned_on=None).count()
    context = {
        "form": form,
        "refusal": refusal,
        "today": today,
        "plans": Plan.objects.select_related("made_by__user")[:SHOWN],
        "waiting": waiting,
        "owed": owed,
        "sentence": _list_sentence(waiting, owed),
    }
    status = 422 if form.errors else refusal.status if refusal else 200
    return render(request, "scheduling/plans.html", context, status=status)


def _make(request: ContractorRequest, given: dict[str, Any], today: date) -> Plan:
    first, last = given["from_on"], given["to_on"]
    if given["bundle_first"]:
        made = bundle.make_all(today, by=request.member, days=(last - today).days)
        told = ngettext("%(n)s visit is made.", "%(n)s visits are made.", len(made))
        if made:
            messages.success(request, told % {"n": len(made)})
    return plans.make(first, last, seconds=given["seconds"], by=request.member, today=today)


def _list_sentence(waiting: int, owed: int) -> str:
    visits = ngettext("%(n)s visit waits for a day.", "%(n)s visits wait for a day.", waiting) % {
        "n": waiting
    }
    work = ngettext(
        "%(n)s activity owed within two weeks is in no visit yet.",
        "%(n)s activities owed within two weeks are in no visit yet.",
        owed,
    ) % {"n": owed}
    return f"{visits} {work}"


@require_GET
@contractor_page(*OFFICE)
def plan(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """Show a plan: districts down, days across, each visit as wide as its window."""
    found = plan_for(plan_id)
    context = _common(found)
    if found.state in (State.READY, State.PUBLISHED, State.REPLACED):
        now = timezone.now()
        stops = stops_of(found)
        context |= {
            "windows": board.windows(found, stops, plans.today_at(now)),
            "days": board.days_with_stops(found, stops),
            "absence": AbsenceForm(),
            "lapsing": licences.ending(
                plans.today_at(now), within=(found.to_on - plans.today_at(now)).days - 1
            ),
            "changes": _changes(found),
            "choices": found.summary.get("choices", []),
        }
    return render(request, "scheduling/plan.html", context)


def _common(found: Plan) -> dict[str, Any]:
    before = _before(found)
    return {
        "plan": found,
        "summary": found.summary,
        "before": before.summary if before else None,
        "before_plan": before,
        "zone": board.zone_of(found),
        "sentence": _sentence(found),
        "is_searching": found.state in (State.DRAFT, State.SEARCHING),
        "can_move": found.state == State.READY,
        "hours_shown": found.summary.get("drive_s", 0),
    }


def _before(found: Plan) -> Plan | None:
    """Return the published plan of these days that a plan would replace."""
    if found.state not in (State.READY, State.DRAFT, State.SEARCHING):
        return None
    rows = Plan.objects.filter(
        state=State.PUBLISHED, from_on__lte=found.to_on, to_on__gte=found.from_on
    )
    return rows.order_by("-published_at").first()


def _sentence(found: Plan) -> str:
    if found.state in (State.DRAFT, State.SEARCHING):
        return _("Routes are being searched. Nothing changes until you publish.")
    if found.state == State.FAILED:
        return found.message or _("No result, the old plan is kept.")
    figures = found.summary
    driven = figures.get("drive_s", 0)
    spent = driven + figures.get("work_s", 0)
    share = round(100 * driven / spent) if spent else 0
    left = figures.get("unplanned", 0)
    stops = ngettext("%(n)s visit is placed.", "%(n)s visits are placed.", figures["planned"]) % {
        "n": figures["planned"]
    }
    drive = _("Driving is %(share)s %% of the working time.") % {"share": share}
    if not left:
        return f"{stops} {drive}"
    out = ngettext("%(n)s is left out.", "%(n)s are left out.", left) % {"n": left}
    return f"{stops} {out} {drive}"


def _changes(found: Plan) -> list[dict[str, Any]]:
    """Return what a re-planned plan changed, with names."""
    told = found.summary.get("changes", [])
    visits = Visit.objects.filter(pk__in=[one["visit"] for one in told]).select_related("building")
    names = {str(v.pk): v.building.name for v in visits}
    people = {
        str(s.technician_id): s.technician.name for s in found.stops.select_related("technician")
    }

    def place(one: dict[str, str] | None) -> str:
        if one is None:
            return _("not planned")
        start = rounded(datetime.fromisoformat(one["start"])).astimezone(board.zone_of(found))
        who = people.get(one["technician"], _("another technician"))
        return f"{date_format(start, 'D j M')}, {start:%H:%M}, {who}"

    return [
        {
            "name": names.get(one["visit"], ""),
            "before": place(one["before"]),
            "after": place(one["after"]),
            "why": str(WHY.get(one["why"], one["why"])),
        }
        for one in told
    ]


WHY = {
    "absent": _lazy("its technician is away"),
    "running_late": _lazy("the day runs late"),
    "new": _lazy("it is new"),
    "made_room": _lazy("it made room for another"),
}


@require_GET
@contractor_page(*OFFICE)
def plan_progress(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """Show how far the search is; when it has ended, the page loads anew."""
    found = plan_for(plan_id)
    answer = render(request, "scheduling/_plan_progress.html", _common(found))
    if found.state not in (State.DRAFT, State.SEARCHING):
        answer["HX-Refresh"] = "true"
    return answer


@require_POST
@contractor_page(*OFFICE)
def plan_cancel(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """Call the search off."""
    found = plan_for(plan_id)
    plans.cancel(found)
    return redirect(found)


@require_GET
@contractor_page(*OFFICE)
def plan_day(request: ContractorRequest, plan_id: UUID, on: date) -> HttpResponse:
    """Show one day of a plan: time lines to scale, the map, the list, and a visit being moved."""
    found = plan_for(plan_id)
    if not found.from_on <= on <= found.to_on or not found.summary:
        raise NotThere
    stops = stops_of(found)
    chosen = request.GET.get("visit", "")
    drawn = board.day(found, stops, on, timezone.now(), chosen)
    days = board.days_with_stops(found, stops)
    context = {
        **_common(found),
        "day": drawn,
        "days": days,
        "on": on,
        "move": _move_context(found, request, on) if chosen else None,
        "tile_url": settings.TILE_URL,
        "width": board.LINE_WIDTH,
        "day_sentence": _day_sentence(drawn),
    }
    return render(request, "scheduling/plan_day.html", context)


def _day_sentence(drawn: board.Day) -> str:
    out = [line for line in drawn.lines if line.blocks]
    stops = sum(len(line.blocks) for line in out)
    if not out:
        return _("Nobody is out on this day.")
    told = ngettext("%(n)s stop", "%(n)s stops", stops) % {"n": stops}
    people = ngettext("%(n)s technician", "%(n)s technicians", len(out)) % {"n": len(out)}
    return _("%(stops)s for %(people)s.") % {"stops": told, "people": people}


@require_GET
@contractor_page(*OFFICE)
def plan_map(request: ContractorRequest, plan_id: UUID, on: date) -> HttpResponse:
    """Give the routes of a day as GeoJSON."""
    found = plan_for(plan_id)
    return JsonResponse(board.map_of(stops_of(found), on))


# --- moved by hand ---------------------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@contractor_page(*OFFICE)
def plan_move(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """GET shows what a move costs and breaks; POST does it."""
    found = plan_for(plan_id)
    context = _move_context(found, request)
    form, tried = context["form"], context["tried"]
    if request.method == "POST" and tried is not None:
        plans_move = form.cleaned_data
        moves.move(found, tried, revision=plans_move["revision"], by=request.member)
        messages.success(request, _("Moved. Nobody is told before you publish."))
        where = reverse("plan_day", args=[found.pk, plans_move["on"]])
        return go_on(request, f"{where}?visit={tried.visit.pk}")
    template = "scheduling/_move.html" if request.htmx else "scheduling/plan_move.html"  # type: ignore[attr-defined]
    status = 422 if form.is_bound and not form.is_valid() else 200
    return render(request, template, {**_common(found), "move": context}, status=status)


def _move_context(
    found: Plan, request: ContractorRequest, on: date | None = None
) -> dict[str, Any]:
    """Return the form of a move, and what it would do once technician and day are chosen."""
    given = request.POST if request.method == "POST" else request.GET
    visit = _visit_of(found, given.get("visit", ""))
    stops = list(
        found.stops.filter(visit=visit).select_related("technician").order_by("technician__code")
    )
    context: dict[str, Any] = {"visit": visit, "stops": stops, "tried": None, "refusal": None}
    if "technician" not in given:
        first = stops[0] if stops else None
        initial = {
            "visit": visit.pk,
            "technician": first.technician_id if first else None,
            "on": first.on if first else on or found.from_on,
            "position": first.position if first else None,
            "revision": found.revision,
        }
        return {**context, "form": MoveForm(initial=initial)}
    form = MoveForm(given)
    if form.is_valid():
        wanted = form.cleaned_data
        try:
            context["tried"] = moves.try_move(
                found,
                visit.pk,
                wanted["technician"],
                wanted["on"],
                now=timezone.now(),
                position=wanted["position"],
                start_at=board.local_start(wanted["on"], wanted["start"], board.zone_of(found)),
            )
        except FieldRefused as refused:
            field = refused.facts["field"]
            form.add_error(field if field in form.fields else None, refused.facts["accepted"])
    return {**context, "form": form}


def _visit_of(found: Plan, visit_id: str) -> Visit:
    try:
        wanted = UUID(visit_id)
    except ValueError:
        raise NotThere from None
    visits = {visit.pk: visit for visit in problems.of_plan(found)}
    if wanted not in visits:
        raise NotThere
    return visits[wanted]


@require_POST
@contractor_page(*OFFICE)
def plan_lock(request: ContractorRequest, plan_id: UUID, visit_id: UUID) -> HttpResponse:
    """Hold a visit to the time it has in the plan, or let it go."""
    found = plan_for(plan_id)
    keep = request.POST.get("keep") == "yes"
    plans.lock(found, visit_id, keep=keep, by=request.member)
    told = _("The appointment is kept from now on.") if keep else _("The visit may be moved again.")
    messages.success(request, told)
    stop = found.stops.filter(visit_id=visit_id).first()
    on = stop.on if stop else found.from_on
    return redirect(f"{reverse('plan_day', args=[found.pk, on])}?visit={visit_id}")


# --- published, planned again ----------------------------------------------------------------


@require_http_methods(["GET", "POST"])
@contractor_page(*OFFICE)
def plan_publish(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """GET shows who will be told what; POST publishes. Pressed twice it happens once."""
    found, now = plan_for(plan_id), timezone.now()
    if request.method == "POST":
        revision = request.POST.get("revision", "")
        done = plans.publish(
            found,
            by=request.member,
            now=now,
            revision=int(revision) if revision.isdigit() else None,
        )
        messages.success(request, _("Published. Everybody named was sent their message."))
        return redirect(done)
    told = telling.who_is_told(found, now) if found.state == State.READY else []
    setting = moves.setting_of(found, now)
    broken = verify(setting.problem, problems.routes_of(setting, found))
    context = {
        **_common(found),
        "technicians": [one for one in told if one.role == "technician"],
        "owners": [one for one in told if one.role == "owner"],
        "unreachable": [one for one in told if not one.email],
        "broken": list(dict.fromkeys(moves.in_words(setting, one) for one in broken)),
        "has_mail": settings.HAS_MAIL_SERVER,
    }
    return render(request, "scheduling/plan_publish.html", context)


@require_POST
@contractor_page(*OFFICE)
def plan_copy(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """Make a copy of a published plan to be changed by hand."""
    found = plan_for(plan_id)
    if found.state != State.PUBLISHED:
        raise plans.NotReady(state=found.get_state_display())
    return redirect(plans.copy(found, by=request.member))


@require_POST
@contractor_page(*OFFICE)
def plan_again(request: ContractorRequest, plan_id: UUID) -> HttpResponse:
    """Plan the rest again from now on; a technician's days off may be told along."""
    found = plan_for(plan_id)
    if request.POST.get("technician"):
        form = AbsenceForm(request.POST)
        if not form.is_valid():
            context = {**_common(found), "absence": form}
            return render(request, "scheduling/plan_absence.html", context, status=422)
        replans.away(form.cleaned_data["technician"], form.days(), by=request.member)
    return redirect(replans.again(found, by=request.member))


@require_POST
@contractor_page(*OFFICE)
def plan_choice(request: ContractorRequest, plan_id: UUID, number: int) -> HttpResponse:
    """Take the plan that places more by moving other visits."""
    found = plan_for(plan_id)
    taken = replans.take_choice(found, number, by=request.member, now=timezone.now())
    messages.success(request, _("Taken into the plan. Nobody is told before you publish."))
    return redirect(taken)
