"""A visit moved by hand: what it costs and breaks is said before it is done."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from contractors import audit
from contractors.models import Membership, Person
from contractors.refusal import ChangedMeanwhile, FieldRefused, NotThere
from inspections import licensed
from inspections.models import Visit
from scheduling import plans, problems
from scheduling.models import Plan, Stop
from scheduling.problems import Setting
from scheduling.routing import explain
from scheduling.routing.plan import Cost
from scheduling.routing.plan import Plan as Routes
from scheduling.routing.problem import DAY
from scheduling.routing.verify import Rule, Violation, verify

BROKEN = {
    Rule.ONCE: _lazy("%(visit)s is on no route, or on too many"),
    Rule.DUTY: _lazy("%(who)s does not work that day"),
    Rule.CLOCK: _lazy("the times of %(visit)s do not follow from the travel times"),
    Rule.SHIFT: _lazy("the day of %(who)s becomes longer than shift and overtime allow"),
    Rule.LICENCE: _lazy("%(who)s does not hold what %(visit)s asks for"),
    Rule.DAY: _lazy("%(visit)s falls on a day outside its window"),
    Rule.ACCESS: _lazy("%(visit)s falls outside the hours of the building"),
    Rule.APPOINTMENT: _lazy("%(visit)s does not start when promised"),
    Rule.LOCK: _lazy("the appointment of %(visit)s is not kept"),
    Rule.TOGETHER: _lazy("the two technicians of %(visit)s do not start together"),
    Rule.LOAD: _lazy("the van of %(who)s cannot carry it"),
    Rule.PAST: _lazy("%(who)s would have to leave before now"),
}


@dataclass(frozen=True, slots=True)
class Move:
    """What moving a visit by hand does, before it is done.

    Attributes
    ----------
    before, after
        What the plan costs, in seconds of a technician's time by term.
    broken
        What the move breaks that was not broken before, in words.
    """

    setting: Setting
    visit: Visit
    routes: Routes
    before: Cost
    after: Cost
    broken: tuple[str, ...]
    drive_before: int
    drive_after: int

    @property
    def driving(self) -> int:
        """Return the seconds of driving that the move adds; negative: it saves."""
        return self.drive_after - self.drive_before

    @property
    def total(self) -> int:
        """Return what the move adds to the cost of the plan."""
        return self.after.total - self.before.total


def setting_of(plan: Plan, now: datetime) -> Setting:
    """Return the problem of a searched plan as things stand now, without what has begun."""
    visits = [v for v in problems.of_plan(plan) if v.state == Visit.State.PLANNED]
    return problems.build(plan.from_on, plan.to_on, visits, now)


def try_move(
    plan: Plan,
    visit_id: UUID,
    technician: Person,
    on: date,
    *,
    now: datetime,
    position: int | None = None,
    start_at: datetime | None = None,
) -> Move:
    """Return what moving a visit by hand gives; nothing is changed.

    Parameters
    ----------
    position
        Place in the technician's day, 1 for the first; None: by `start_at`, or where the detour is
        shortest.

    Raises
    ------
    NotThere
        When the plan does not hold the visit.
    FieldRefused
        When the technician does not work that day, or the place is none of that day.
    """
    setting = setting_of(plan, now)
    visit = setting.visits.get(str(visit_id))
    if visit is None or str(visit_id) not in setting.problem.visit_by_id:
        raise NotThere
    routes = problems.routes_of(setting, plan)
    who = setting.problem.technician_by_id.get(str(technician.pk))
    day = (on - setting.first_day).days
    if who is None or who.shift_on(day) is None:
        raise FieldRefused(
            "on", on, _("A day of the plan on which %(who)s works.") % {"who": technician}
        )
    there = next((r.stops for r in routes.routes if (r.technician, r.day) == (who.id, day)), ())
    others = len([stop for stop in there if stop.visit != str(visit_id)])
    if position is not None and not 1 <= position <= others + 1:
        raise FieldRefused("position", position, f"1 to {others + 1}.")
    moved = explain.move(
        setting.problem,
        routes,
        str(visit_id),
        who.id,
        day,
        position=None if position is None else position - 1,
        start=setting.second(start_at) if start_at else None,
    )
    return Move(
        setting=setting,
        visit=visit,
        routes=moved.plan,
        before=moved.before,
        after=moved.after,
        broken=_broken_anew(setting, verify(setting.problem, routes), moved.violations),
        drive_before=sum(route.travel for route in routes.routes),
        drive_after=sum(route.travel for route in moved.plan.routes),
    )


def _broken_anew(
    setting: Setting, before: Iterable[Violation], after: Iterable[Violation]
) -> tuple[str, ...]:
    def key(one: Violation) -> tuple[Any, ...]:
        return one.rule, one.visit, one.technician, one.day

    known = Counter(map(key, before))
    found = [one for one in after if not known[key(one)]]
    return tuple(dict.fromkeys(in_words(setting, one) for one in found))


def in_words(setting: Setting, broken: Violation) -> str:
    """Return a broken rule as a sentence for people."""
    visit = setting.visits.get(broken.visit or "")
    person = setting.people.get(broken.technician or "")
    words = {
        "visit": visit.building.name if visit else _("a visit"),
        "who": person.person.name if person else _("the technician"),
    }
    sentence = str(BROKEN[broken.rule]) % words
    if broken.day is None:
        return sentence
    day = date_format(setting.day(broken.day * DAY), "D j M")
    return _("%(day)s: %(what)s") % {"day": day, "what": sentence}


def move(plan: Plan, moved: Move, *, revision: int, by: Membership) -> Plan:
    """Take a move into the plan.

    Raises
    ------
    NotReady
        When the plan is published or was never searched; a published one is copied first.
    ChangedMeanwhile
        When somebody moved something since the plan of that revision was shown.
    NotQualified
        When those it is moved to lack a qualification on that day.
    """
    _check_licences(moved)
    with transaction.atomic():
        row = plans.held(plan)
        if row.state != Plan.State.READY:
            raise plans.NotReady(state=row.get_state_display())
        if row.revision != revision:
            raise ChangedMeanwhile
        by_hand = {str(s.visit_id) for s in row.stops.all() if s.moved_by_hand}
        by_hand.add(str(moved.visit.pk))
        _rewrite(row, moved.setting, moved.routes, by_hand)
        audit.record("plan.moved", by=by, on=row, visit=str(moved.visit.pk))
    return row


def _check_licences(moved: Move) -> None:
    """Refuse a move to people who, together with who comes of another firm, lack a licence."""
    key = str(moved.visit.pk)
    routes = [r for r in moved.routes.routes if key in {stop.visit for stop in r.stops}]
    people = [moved.setting.people[route.technician].person for route in routes]
    for route in routes[:1]:
        day = moved.setting.day(route.day * DAY)
        outside = moved.visit.second if moved.visit.second and moved.visit.second.firm else None
        needs = licensed.needs_of_visit(moved.visit)
        licensed.check((*people, outside), needs, day, moved.visit.building)


def _rewrite(plan: Plan, setting: Setting, routes: Routes, by_hand: Iterable[str] = ()) -> None:
    fresh = problems.stops_of(setting, routes, plan, by_hand)
    placed = {stop.visit_id for stop in fresh}
    kept = [stop for stop in plan.stops.all() if stop.visit_id not in placed]
    stops = problems.renumbered(plan, kept, fresh)
    Stop.objects.filter(plan=plan).delete()
    Stop.objects.bulk_create(stops)
    told = {name: plan.summary[name] for name in ("changes",) if name in plan.summary}
    plan.summary = {**told, **plans.summary_of(setting, routes)}
    plan.unplanned = problems.left_out(setting, routes)
    plan.revision += 1
    plan.save(update_fields=["summary", "unplanned", "revision"])
