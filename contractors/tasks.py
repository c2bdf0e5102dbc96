"""Celery tasks: three lines each, the work is in the outbox's handlers."""

from uuid import UUID

from celery import shared_task
from django.utils import timezone

from contractors import outbox


@shared_task(name="contractors.tasks.run_job")  # type: ignore[untyped-decorator]
def run_job(message_id: str) -> None:
    """Do one job of the outbox."""
    outbox.run(UUID(message_id))


@shared_task(name="contractors.tasks.wake_due")  # type: ignore[untyped-decorator]
def wake_due() -> None:
    """Wake workers for jobs that nobody picked up."""
    for message in outbox.due(timezone.now()):
        outbox.wake(message)
