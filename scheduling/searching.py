"""The search of a plan, as a job: in a child process, with progress, called off at any moment."""

import time
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors import outbox
from contractors.models import OutboxMessage
from contractors.refusal import Refusal
from contractors.scope import contractor_scope
from scheduling import plans, problems, replans
from scheduling.models import Plan
from scheduling.routing import run

State = Plan.State
# How often a search asks whether it was called off, and writes how far it is; seconds.
LOOK_EVERY = 0.5
TELL_EVERY = 1.0


@outbox.on(plans.SEARCH, queue="planning", long=True)
def search(message: OutboxMessage) -> None:
    """Search a plan's routes in a child process; what comes out is checked before it is stored."""
    with contractor_scope(message.contractor_id):
        plan = Plan.objects.filter(pk=message.payload["plan"]).first()
        if plan is None or plan.state not in (State.DRAFT, State.SEARCHING):
            return
        Plan.objects.filter(pk=plan.pk).update(state=State.SEARCHING, progress=0, message="")
    watch = _Watch(message, plan)
    base = message.payload.get("base")
    try:
        _again(plan, UUID(base), watch) if base else _search(plan, watch)
    except (run.PlanFailed, Refusal, ValueError) as error:
        called_off = isinstance(error, run.PlanCancelled)
        with contractor_scope(message.contractor_id):
            plans.fail(plan, str(plans.CALLED_OFF if called_off else error))


class _Watch:
    """Writes how far a search is, and asks whether it was called off, each now and then."""

    def __init__(self, message: OutboxMessage, plan: Plan) -> None:
        self.message, self.plan = message, plan
        self.looked = self.told = float("-inf")
        self.cancelled = False

    def is_cancelled(self) -> bool:
        if not self.cancelled and time.monotonic() - self.looked >= LOOK_EVERY:
            self.looked = time.monotonic()
            rows = OutboxMessage.objects.filter(pk=self.message.pk)
            # A job that is not there any more is nobody's: it is called off too.
            self.cancelled = rows.values_list("cancel_asked", flat=True).first() is not False
        return self.cancelled

    def tell(self, progress: Any) -> None:
        if time.monotonic() - self.told < TELL_EVERY:
            return
        self.told = time.monotonic()
        done = min(99, round(100 * progress.seconds / max(1, self.plan.seconds)))
        words = _("%(planned)s stops placed, %(left)s not yet, driving %(hours).1f h") % {
            "planned": progress.planned,
            "left": progress.left_out,
            "hours": progress.travel / 3600,
        }
        OutboxMessage.objects.filter(pk=self.message.pk).update(progress=done)
        with contractor_scope(self.message.contractor_id):
            Plan.objects.filter(pk=self.plan.pk).update(progress=done, message=words[:300])


def _search(plan: Plan, watch: _Watch) -> None:
    now = timezone.now()
    with contractor_scope(watch.message.contractor_id):
        visits = list(problems.candidates(plan.from_on, plan.to_on, plans.today_at(now)))
        setting = problems.build(plan.from_on, plan.to_on, visits, now)
    found = run.plan(
        setting.problem,
        seconds=plan.seconds,
        on_progress=watch.tell,
        is_cancelled=watch.is_cancelled,
        search=run.Search(iterations=settings.PLAN_ITERATIONS),
    )
    with contractor_scope(watch.message.contractor_id), transaction.atomic():
        plans.store(plan, setting, found, problems.stops_of(setting, found, plan))


def _again(plan: Plan, base_id: UUID, watch: _Watch) -> None:
    now = timezone.now()
    with contractor_scope(watch.message.contractor_id):
        base = Plan.objects.get(pk=base_id)
        told = replans.told_since(base, now)
    found = replans.searched(told, seconds=plan.seconds, is_cancelled=watch.is_cancelled)
    with contractor_scope(watch.message.contractor_id), transaction.atomic():
        replans.store(plan, base, told, found)
