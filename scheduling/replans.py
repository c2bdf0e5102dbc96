"""The rest of a published plan, planned again after absences, cancellations and new visits."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from contractors import audit
from contractors.models import Membership, Person
from contractors.refusal import NotThere
from inspections.models import Visit
from scheduling import crew, moves, plans, problems
from scheduling.models import Plan, Stop
from scheduling.problems import Setting
from scheduling.routing import replan as routing
from scheduling.routing import run
from scheduling.routing.plan import Plan as Routes
from scheduling.routing.problem import DAY
from scheduling.routing.wire import from_json, to_json

REPLAN_SECONDS = 5


def again(plan: Plan, *, by: Membership | None, seconds: int = REPLAN_SECONDS) -> Plan:
    """Plan the rest of a published plan again from now on, moving as little as possible.

    Takes in technicians' absences, visits cancelled and visits made since. The result is a plan of
    its own, to be looked at and published.

    Raises
    ------
    NotReady
        When the plan is not published.
    """
    if plan.state != Plan.State.PUBLISHED:
        raise plans.NotReady(state=plan.get_state_display())
    return plans.begin(plan.from_on, plan.to_on, seconds=seconds, by=by, base=plan.pk)


def away(person: Person, days: Iterable[date], *, by: Membership) -> None:
    """Write down that a technician does not work on some days."""
    with transaction.atomic():
        crew.add_absence(person, days)
        audit.record("person.away", by=by, on=person)


def searched(
    told: "Told", *, seconds: float, is_cancelled: Callable[[], bool] | None = None
) -> routing.Replan:
    """Return the rest of the plan, searched in child processes."""
    return routing.replan(
        told.setting.problem,
        told.published,
        told.news,
        seconds=seconds,
        is_cancelled=is_cancelled,
        search=run.Search(iterations=settings.PLAN_ITERATIONS),
    )


def store(plan: Plan, base: Plan, told: "Told", found: routing.Replan) -> None:
    """Write down what stays of the published plan and what was found for the rest."""
    rest = replace(told.setting, problem=found.problem)
    stands = [*found.begun, *told.stays]
    kept = [stop for stop in base.stops.all() if str(stop.visit_id) in stands]
    stops = problems.renumbered(plan, kept, problems.stops_of(rest, found.plan, plan))
    choices = [
        {
            "moves": choice.moves,
            "places": list(choice.places),
            "plan": to_json(choice.plan),
            "changes": _changes(told.setting, choice.changes),
        }
        for choice in found.choices
    ]
    changes = _changes(told.setting, found.changes)
    plans.store(plan, rest, found.plan, stops, changes=changes, choices=choices, begun=stands)


@dataclass(frozen=True, slots=True)
class Told:
    """A published plan as it stands, and what happened since."""

    setting: Setting
    published: Routes
    news: routing.News
    stays: tuple[str, ...]


def told_since(base: Plan, now: datetime) -> Told:
    """Return a published plan, and absences, new and cancelled visits since."""
    planned = problems.of_plan(base)
    before = {visit.pk for visit in planned}
    today = plans.today_at(now)
    fresh = [
        visit
        for visit in problems.candidates(base.from_on, base.to_on, today)
        if visit.pk not in before
    ]
    midnight = datetime.combine(base.from_on, datetime.min.time(), timezone.get_default_timezone())
    setting = problems.build(
        base.from_on, base.to_on, [*planned, *fresh], min(midnight, now), despite_absences=True
    )
    setting = replace(setting, problem=replace(setting.problem, now=0))
    known = [task for task in setting.problem.visits if UUID(task.id) in before]
    new = [task for task in setting.problem.visits if UUID(task.id) not in before]
    setting = replace(setting, problem=setting.problem.with_visits(tuple(known)))
    published = problems.routes_of(setting, base)
    second = max(0, setting.second(now))
    begun = set(routing.under_way(published, second))
    states = {str(visit.pk): visit.state for visit in planned}
    left = [t.id for t in known if states[t.id] != Visit.State.PLANNED and t.id not in begun]
    stays = tuple(v for v in left if states[v] != Visit.State.CANCELLED)
    news = routing.News(
        now=second,
        absences=_absences(setting, second // DAY),
        new_visits=tuple(new),
        cancelled=tuple(left),
    )
    return Told(setting, published, news, stays)


def _absences(setting: Setting, today: int) -> tuple[tuple[str, int], ...]:
    absent = {key: one.absent for key, one in setting.people.items()}
    return tuple(
        (technician.id, shift.day)
        for technician in setting.problem.technicians
        for shift in technician.shifts
        if shift.day >= today and setting.day(shift.day * DAY) in absent[technician.id]
    )


def _changes(setting: Setting, changes: Iterable[Any]) -> list[dict[str, Any]]:
    def told(place: Any) -> dict[str, str] | None:
        if place is None:
            return None
        return {"technician": place.technician, "start": setting.at(place.start).isoformat()}

    return [
        {
            "visit": one.visit,
            "why": str(one.why),
            "before": told(one.before),
            "after": told(one.after),
        }
        for one in changes
    ]


def take_choice(plan: Plan, number: int, *, by: Membership, now: datetime) -> Plan:
    """Take one of the plans that place more by moving other visits to other days.

    Raises
    ------
    NotThere
        When there is no such choice.
    """
    with transaction.atomic():
        row = plans.held(plan)
        choices = row.summary.get("choices", [])
        if row.state != Plan.State.READY or not 0 <= number < len(choices):
            raise NotThere
        chosen = choices[number]
        routes = from_json(Routes, chosen["plan"])
        begun = set(row.summary.get("begun", []))
        setting = moves.setting_of(row, now)
        kept = [s for s in row.stops.all() if str(s.visit_id) in begun]
        stops = problems.renumbered(row, kept, problems.stops_of(setting, routes, row))
        Stop.objects.filter(plan=row).delete()
        Stop.objects.bulk_create(stops)
        row.summary = {**plans.summary_of(setting, routes), "changes": chosen["changes"]}
        row.unplanned = problems.left_out(setting, routes)
        row.revision += 1
        row.save(update_fields=["summary", "unplanned", "revision"])
        audit.record("plan.choice_taken", by=by, on=row, moves=chosen["moves"])
    return row
