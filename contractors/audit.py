"""Who did what to which row."""

from typing import Any

from django.db.models import Model
from django.utils import timezone

from contractors.models import AuditEntry, Membership


def record(action: str, *, by: Membership | None, on: Model, **facts: Any) -> AuditEntry:
    """Write down an action; the entry is never changed.

    Parameters
    ----------
    action
        noun.past, such as `plan.published`.
    by
        The member who did it; None for the service itself.
    """
    entry: AuditEntry = AuditEntry.objects.create(
        at=timezone.now(),
        member=by,
        action=action,
        subject_kind=on._meta.model_name,
        subject_id=on.pk,
        facts=facts,
    )
    return entry
