"""Background work: a row written with the change is the truth and the job; Celery is only woken.

`add` writes the row, `on` names the handler, `run` does one job, `due` finds what was not picked
up. A handler may run twice (a worker can die after the work and before the mark), so handlers write
by key.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from celery import current_app
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from contractors.models import Contractor, OutboxMessage
from contractors.scope import contractor_scope, current_contractor_id

log = logging.getLogger(__name__)

MOST_ATTEMPTS = 3
LEASE = timedelta(minutes=10)
State = OutboxMessage.State
Handler = Callable[[OutboxMessage], None]


@dataclass(frozen=True, slots=True)
class _Registered:
    handler: Handler
    queue: str
    long: bool


_handlers: dict[str, _Registered] = {}


def on(
    kind: str, *, queue: str = "interactive", long: bool = False
) -> Callable[[Handler], Handler]:
    """Register the handler of a kind of job.

    Parameters
    ----------
    queue
        interactive, reports, planning or bulk.
    long
        False: the handler runs in its contractor's scope and in one transaction with the mark
        "done". True: it enters scopes by itself, so that its progress is seen meanwhile.
    """

    def register(handler: Handler) -> Handler:
        _handlers[kind] = _Registered(handler, queue, long)
        return handler

    return register


def kinds() -> list[str]:
    """Return the kinds of jobs that have a handler."""
    return sorted(_handlers)


def add(
    kind: str,
    key: str,
    *,
    not_before: datetime | None = None,
    again: bool = False,
    fresh: bool = False,
    contractor_id: UUID | None = None,
    **ids: Any,
) -> OutboxMessage:
    """Write a job in the transaction of the change that calls for it, and wake a worker after it.

    Parameters
    ----------
    key
        Unique for this contractor and kind: a job that exists is not written twice.
    again
        True: an existing job of this key that is done or parked starts afresh.
    fresh
        True: the key names a row that was only now made, so that no job of it can exist yet.
    contractor_id
        Whose job it is; the contractor in scope, except for what an owner asks of one.
    ids
        What the handler needs: ids and dates, never text.
    """
    now = timezone.now()
    named = {"contractor_id": contractor_id or current_contractor_id(), "kind": kind, "key": key}
    told = {"payload": _plain(ids), "not_before": not_before or now, "made_at": now}
    if fresh:
        message, made = OutboxMessage.objects.create(**named, **told), True
    else:
        message, made = OutboxMessage.objects.get_or_create(**named, defaults=told)
    if again and not made and message.state in (State.DONE, State.PARKED):
        message.state, message.attempts, message.progress = State.WAITING, 0, 0
        message.not_before, message.payload = not_before or now, _plain(ids)
        message.cancel_asked, message.error_code = False, ""
        message.save()
    if message.not_before <= now:
        transaction.on_commit(lambda: wake(message), robust=True)
    return message


def _plain(ids: dict[str, Any]) -> dict[str, Any]:
    return {
        name: value if isinstance(value, int | bool | list | None) else str(value)
        for name, value in ids.items()
    }


def wake(message: OutboxMessage) -> None:
    """Tell a worker that a job waits; when the broker is away the next tick does it."""
    queue = _handlers[message.kind].queue
    current_app.send_task("contractors.tasks.run_job", [str(message.pk)], queue=queue)


def due(now: datetime) -> list[OutboxMessage]:
    """Return the jobs that should run and do not: never picked up, or with a lease run out."""
    return list(
        OutboxMessage.objects.filter(
            Q(state=State.WAITING, not_before__lte=now)
            | Q(state=State.RUNNING, leased_until__lt=now)
        ).order_by("not_before")[:500]
    )


def run(message_id: UUID) -> bool:
    """Do one job, unless somebody else has it or it is done; say whether it was done here."""
    now = timezone.now()
    claimed = (
        OutboxMessage.objects.filter(pk=message_id)
        .filter(
            Q(state=State.WAITING, not_before__lte=now)
            | Q(state=State.RUNNING, leased_until__lt=now)
        )
        .update(state=State.RUNNING, leased_until=now + LEASE, attempts=F("attempts") + 1)
    )
    if not claimed:
        return False
    message = OutboxMessage.objects.get(pk=message_id)
    if message.attempts > MOST_ATTEMPTS:
        _park(message, message.error_code or "died_while_running")
        return False
    try:
        _handle(message)
    except Exception as error:
        log.exception("job %s %s failed", message.kind, message.key)
        _failed(message, type(error).__name__)
        return False
    return True


def _handle(message: OutboxMessage) -> None:
    registered = _handlers[message.kind]
    if registered.long:
        registered.handler(message)
        _done(message)
        return
    with contractor_scope(message.contractor_id), transaction.atomic():
        registered.handler(message)
        _done(message)


def _done(message: OutboxMessage) -> None:
    OutboxMessage.objects.filter(pk=message.pk).update(
        state=State.DONE, done_at=timezone.now(), leased_until=None, progress=100
    )


def _failed(message: OutboxMessage, error_code: str) -> None:
    if message.attempts >= MOST_ATTEMPTS:
        _park(message, error_code)
        return
    OutboxMessage.objects.filter(pk=message.pk).update(
        state=State.WAITING,
        leased_until=None,
        error_code=error_code[:80],
        not_before=timezone.now() + timedelta(seconds=20 * 3**message.attempts),
    )


def _park(message: OutboxMessage, error_code: str) -> None:
    OutboxMessage.objects.filter(pk=message.pk).update(
        state=State.PARKED, leased_until=None, error_code=error_code[:80]
    )


def each_contractor() -> list[Contractor]:
    """Return all contractors, for work that enters each one's scope in turn."""
    return list(Contractor.objects.order_by("pk"))
