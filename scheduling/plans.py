"""Plans: written down, searched by a job, published; visits held to their appointments."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _lazy

from buildings.models import Building
from contractors import audit, outbox
from contractors.models import Contractor, Membership, OutboxMessage, Person
from contractors.refusal import ChangedMeanwhile, FieldRefused, NotThere, Refusal
from contractors.scope import current_contractor_id
from inspections import licensed, planned
from inspections.models import Visit
from scheduling import crew, problems, telling
from scheduling.models import Plan, Stop
from scheduling.problems import Setting
from scheduling.routing import run
from scheduling.routing.cost import overtime
from scheduling.routing.plan import Plan as Routes
from scheduling.routing.plan import Reason
from scheduling.routing.problem import DAY
from scheduling.routing.verify import verify
from scheduling.routing.windows import late_price

State = Plan.State
SEARCH = "plan.search"
USUAL_SECONDS = 20
CALLED_OFF = _lazy("Called off. No result, the old plan is kept.")


class NothingToPlan(Refusal):
    """There is no visit for these days, or nobody to send."""

    code = "nothing_to_plan"
    status = 409
    sentence = "No visit waits for these days. Make visits of what falls due first."


class NobodyToSend(Refusal):
    """No technician has a working week and an office."""

    code = "nobody_to_send"
    status = 409
    sentence = "Nobody goes out: give a technician a working week and an office first."


class NotReady(Refusal):
    """The plan is not in a state for this."""

    code = "plan_not_ready"
    status = 409
    sentence = "This cannot be done now: the plan is %(state)s."


def make(first: date, last: date, *, seconds: int, by: Membership | None, today: date) -> Plan:
    """Write a plan down as a draft and have its routes searched.

    Raises
    ------
    NothingToPlan, NobodyToSend
        When there is no visit for these days, or nobody goes out.
    FieldRefused
        When the days are past or the end lies before the beginning.
    """
    if first < today:
        raise FieldRefused("from_on", first, "Today or a later day.")
    if last < first:
        raise FieldRefused("to_on", last, f"{first} or a later day.")
    if not problems.candidates(first, last, today).exists():
        raise NothingToPlan
    if not any(one.person.office_id for one in crew.technicians(first)):
        raise NobodyToSend
    return begin(first, last, seconds=seconds, by=by)


def begin(first: date, last: date, *, seconds: int, by: Membership | None, **ids: Any) -> Plan:
    """Write a plan down as a draft with the job that searches it; `ids` go to the job."""
    with transaction.atomic():
        plan: Plan = Plan.objects.create(
            from_on=first,
            to_on=last,
            seconds=seconds,
            made_by=by,
            made_at=timezone.now(),
        )
        outbox.add(SEARCH, str(plan.pk), plan=plan.pk, **ids)
    return plan


def job_of(plan: Plan) -> OutboxMessage | None:
    """Return the job that searches a plan."""
    return OutboxMessage.objects.filter(
        contractor_id=current_contractor_id(), kind=SEARCH, key=str(plan.pk)
    ).first()


def today_at(now: datetime) -> date:
    """Return the contractor's own day."""
    here = Contractor.objects.get(pk=current_contractor_id())
    return timezone.localdate(now, here.zone)


def store(plan: Plan, setting: Setting, found: Routes, stops: Sequence[Stop], **more: Any) -> None:
    """Write a checked plan down; one that breaks a rule is never stored by a search."""
    broken = verify(setting.problem, found)
    if broken:
        raise run.PlanFailed(f"no result, old plan kept: {broken[0].detail}")
    Stop.objects.filter(plan=plan).delete()
    Stop.objects.bulk_create(stops)
    values = {
        "state": State.READY,
        "progress": 100,
        "message": "",
        "unplanned": problems.left_out(setting, found),
        "summary": {**summary_of(setting, found), **more},
    }
    Plan.objects.filter(pk=plan.pk).update(**values)


def summary_of(setting: Setting, routes: Routes) -> dict[str, Any]:
    """Return a plan's figures: seconds of driving and overtime, metres, visits by how they went."""
    problem, placed = setting.problem, routes.placements()
    late = [
        v for v, place in placed.items() if late_price(problem, problem.visit_by_id[v], place.day)
    ]
    return {
        "planned": len(placed),
        "unplanned": len(routes.unplanned) + len(setting.apart),
        "late": len(late),
        "drive_s": sum(route.travel for route in routes.routes),
        "metres": sum(route.metres for route in routes.routes),
        "overtime_s": sum(overtime(problem, route) for route in routes.routes),
        "work_s": sum(stop.end - stop.start for route in routes.routes for stop in route.stops),
        "cost": {**asdict(routes.cost), "total": routes.cost.total},
        "zone": setting.zone.key,
        "days": {
            f"{route.technician}:{setting.day(route.day * DAY).isoformat()}": {
                "leaves": setting.at(route.leaves).isoformat(),
                "returns": setting.at(route.returns).isoformat(),
                "drive_s": route.travel,
            }
            for route in routes.routes
        },
    }


def fail(plan: Plan, words: str) -> None:
    """Say that a search had no result, and why; the old plan is kept."""
    rows = Plan.objects.filter(pk=plan.pk, state__in=(State.DRAFT, State.SEARCHING))
    rows.update(state=State.FAILED, message=words[:300])


def cancel(plan: Plan) -> None:
    """Call a search off; the old plan is kept.

    Raises
    ------
    NotReady
        When nothing is being searched.
    """
    if plan.state not in (State.DRAFT, State.SEARCHING):
        raise NotReady(state=plan.get_state_display())
    OutboxMessage.objects.filter(
        contractor_id=current_contractor_id(), kind=SEARCH, key=str(plan.pk)
    ).update(cancel_asked=True)
    if plan.state == State.DRAFT:
        fail(plan, str(CALLED_OFF))


def held(plan: Plan) -> Plan:
    """Return the plan, held until the end of the transaction."""
    found: Plan = Plan.objects.select_for_update().get(pk=plan.pk)
    return found


def lock(plan: Plan, visit_id: UUID, *, keep: bool, by: Membership) -> Visit:
    """Hold a visit to the place it has in the plan, as promised to the owner, or let it go.

    Raises
    ------
    NotThere
        When the plan does not have the visit on a route.
    """
    with transaction.atomic():
        stops = list(plan.stops.filter(visit_id=visit_id).order_by("technician_id"))
        visit: Visit | None = Visit.objects.select_for_update().filter(pk=visit_id).first()
        if visit is None or not stops:
            raise NotThere
        visit.locked, before = keep, visit.planned_on
        if keep:
            _place(visit, stops)
        visit.save(update_fields=["locked", "technician", "second", "planned_on", "planned_start"])
        if visit.planned_on != before:
            planned.republish(visit)
        audit.record("visit.locked" if keep else "visit.unlocked", by=by, on=visit)
    return visit


def _place(visit: Visit, stops: Sequence[Stop]) -> None:
    ordered = sorted(stops, key=lambda s: s.technician_id != visit.technician_id)
    visit.technician_id = ordered[0].technician_id
    outside = visit.second_id if visit.second and visit.second.firm else None
    visit.second_id = ordered[1].technician_id if len(ordered) > 1 else outside
    visit.planned_on, visit.planned_start = ordered[0].on, ordered[0].start_at


def publish(plan: Plan, *, by: Membership, now: datetime, revision: int | None = None) -> Plan:
    """Make a plan the one that is driven: visits get technician, day and start, people are told.

    Done twice it happens once. Visits that were opened, done or cancelled meanwhile stay as they
    are. Earlier plans of these days are replaced.

    Raises
    ------
    NotReady
        When there is nothing to publish.
    ChangedMeanwhile
        When the plan is no longer the one that was shown.
    NotQualified
        When a licence ended since the search, so that somebody lacks it on the day of a visit.
    """
    with transaction.atomic():
        row = held(plan)
        if row.state == State.PUBLISHED:
            return row
        if row.state != State.READY:
            raise NotReady(state=row.get_state_display())
        if revision is not None and row.revision != revision:
            raise ChangedMeanwhile
        told = telling.who_is_told(row, now)
        changed = _set_visits(row)
        Plan.objects.filter(
            state=State.PUBLISHED, from_on__lte=row.to_on, to_on__gte=row.from_on
        ).update(state=State.REPLACED)
        row.state, row.published_at = State.PUBLISHED, now
        row.save(update_fields=["state", "published_at"])
        telling.tell(row, told)
        for building_id in changed:
            outbox.add("building.changed", f"{building_id}:plan:{row.pk}", building=building_id)
        audit.record("plan.published", by=by, on=row, told=len(told))
    return row


def _set_visits(plan: Plan) -> set[UUID]:
    """Write the plan into its visits; return the buildings where something changed."""
    stops: dict[UUID, list[Stop]] = {}
    for stop in plan.stops.order_by("technician_id"):
        stops.setdefault(stop.visit_id, []).append(stop)
    left = [UUID(one["visit"]) for one in plan.unplanned]
    rows = Visit.objects.select_for_update().filter(
        pk__in=[*stops, *left], state=Visit.State.PLANNED
    )
    changed: set[UUID] = set()
    placed: list[Visit] = []
    names = ("technician_id", "second_id", "planned_on", "planned_start")
    for visit in rows:
        before = [getattr(visit, name) for name in names]
        if visit.pk in stops:
            _place(visit, stops[visit.pk])
            placed.append(visit)
        elif not visit.locked:
            visit.planned_on = visit.planned_start = None
        if [getattr(visit, name) for name in names] != before:
            changed.add(visit.building_id)
            visit.save(update_fields=["technician", "second", "planned_on", "planned_start"])
    _check_licences(placed)
    return changed


def _check_licences(placed: Sequence[Visit]) -> None:
    """Refuse a plan that sends somebody where, or on a day on which, a licence does not count."""
    rows = Building.objects.select_related("jurisdiction")
    buildings = rows.in_bulk({visit.building_id for visit in placed})
    for visit in placed:
        visit.building = buildings[visit.building_id]
    asked = problems.windows_of(placed)
    ids = {one for visit in placed for one in (visit.technician_id, visit.second_id) if one}
    people = Person.objects.prefetch_related("licences").in_bulk(ids)
    for visit in placed:
        crew = (people.get(visit.technician_id), people.get(visit.second_id))
        needs = asked[str(visit.pk)].needs
        licensed.check(crew, needs, visit.planned_on, visit.building)


def copy(plan: Plan, *, by: Membership) -> Plan:
    """Return a copy of a published plan that can be moved by hand and published in its place."""
    with transaction.atomic():
        stops = list(plan.stops.all())
        fresh: Plan = Plan.objects.create(
            from_on=plan.from_on,
            to_on=plan.to_on,
            state=State.READY,
            made_by=by,
            made_at=timezone.now(),
            seconds=plan.seconds,
            progress=100,
            unplanned=plan.unplanned,
            summary={name: plan.summary[name] for name in plan.summary if name != "choices"},
        )
        for stop in stops:
            stop.pk, stop.plan, stop._state.adding = None, fresh, True
            stop.id = Stop._meta.get_field("id").get_default()
        Stop.objects.bulk_create(stops)
    return fresh


REASONS = {
    Reason.NO_DAY: _lazy("No day of the plan lies in its window with the building open."),
    Reason.NO_LICENCE: _lazy("Nobody on duty on these days holds %(licences)s."),
    Reason.NO_SHIFT: _lazy("Nobody is on duty on an allowed day."),
    Reason.NO_FIT: _lazy("Even alone it fits no shift: too long, too far, or opens too late."),
    Reason.NO_PAIR: _lazy("No two technicians can be there at the same time."),
    Reason.LOCK: _lazy("The appointment it is held to is no longer possible."),
    Reason.NO_CAPACITY: _lazy("It would fit alone, but not beside what is planned."),
    problems.NO_PLACE: _lazy("Its building has no coordinates, so no drive can be reckoned."),
}


def reason_words(one: dict[str, Any]) -> str:
    """Return why a visit was left out, in words."""
    licences = ", ".join(name.replace("_", " ") for name in one.get("licences", []))
    return str(REASONS[one["reason"]]) % {"licences": licences}
