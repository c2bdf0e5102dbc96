"""The clock's entry: what time alone calls for, contractor by contractor."""

import logging
from collections.abc import Callable
from datetime import datetime

from celery import shared_task
from django.utils import timezone

from contractors import limits, outbox
from contractors.scope import contractor_scope
from inspections import uploads
from scheduling import digests, followups, licences

log = logging.getLogger(__name__)


def _derive(now: datetime) -> None:
    # By the hour, so that every building's own midnight is met wherever it lies.
    outbox.add("programme.derive", f"{now:%Y-%m-%dT%H}")


# Each part in the contractor's scope and in a transaction of its own.
PARTS: tuple[Callable[[datetime], None], ...] = (
    followups.tick,
    licences.tick,
    digests.tick,
    _derive,
)


@shared_task(name="scheduling.tasks.tick")  # type: ignore[untyped-decorator]
def tick() -> None:
    """Do what is due for every contractor; safe to run twice, even at once.

    What fails for one contractor is logged and tried again at the next tick; the others go on.
    """
    now = timezone.now()
    uploads.drop_expired(now)
    limits.drop_whole(now)
    for contractor in outbox.each_contractor():
        for part in PARTS:
            try:
                with contractor_scope(contractor.pk):
                    part(now)
            except Exception:
                log.exception("the tick's part %s failed for %s", part.__module__, contractor.code)
