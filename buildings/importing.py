"""Import of a portfolio through a page or the API: the upload kept, the outcome shown."""

import re
from typing import Any
from uuid import UUID

from django.utils import timezone
from rest_framework.response import Response

from buildings import portfolio
from contractors import files
from contractors.models import Membership, OutboxMessage, StoredFile
from contractors.scope import current_contractor_id

SUFFIXES = (".csv", ".zip", ".xlsx")
UPLOAD = "application/octet-stream"
HISTORY = "portfolio.history"


def keep(given: list[tuple[str, bytes]]) -> list[StoredFile]:
    """Keep uploaded files, so that they need not be uploaded again after the dry run."""
    return [files.store(content, media_type=UPLOAD, name=name) for name, content in given]


def kept(ids: list[str]) -> list[tuple[str, bytes]]:
    """Return the files of these ids that are this contractor's."""
    known = [UUID(one) for one in ids if re.fullmatch(r"[0-9a-f-]{36}", one)]
    rows = StoredFile.objects.filter(pk__in=known, media_type=UPLOAD).order_by("made_at", "pk")
    return [(row.name, files.read(row)) for row in rows if row.name.lower().endswith(SUFFIXES)]


def apply(plan: portfolio.Plan, *, by: Membership, name: str) -> OutboxMessage | None:
    """Write a plan; return the job that records its visits, where there are any."""
    started = timezone.now()
    reason = f"import of {name}"[:200]
    portfolio.apply(plan, by=by, reason=reason, valid_from=None)
    return (
        OutboxMessage.objects.filter(
            contractor_id=current_contractor_id(), kind=HISTORY, state=OutboxMessage.State.WAITING
        )
        .filter(not_before__gte=started)
        .order_by("-made_at")
        .first()
    )


def running() -> list[OutboxMessage]:
    """Return the imports of history that are not done yet, or failed."""
    rows = OutboxMessage.objects.filter(contractor_id=current_contractor_id(), kind=HISTORY)
    return list(rows.exclude(state=OutboxMessage.State.DONE).order_by("made_at"))


def described(draft: portfolio.Draft) -> dict[str, Any]:
    """Return a new or changed row in words."""
    changes = {
        name: {"from": _plain(old), "to": _plain(new)} for name, (old, new) in draft.changes.items()
    }
    return {
        "sheet": draft.sheet,
        "row": draft.row,
        "what": draft.what,
        "label": draft.label,
        "changes": changes,
    }


def problem(plan: portfolio.Plan) -> Response:
    """Return what is wrong as problem details: all of it up to a cap, with the count."""
    count = len(plan.problems)
    errors = [
        {
            "sheet": p.sheet,
            "row": p.row,
            "field": p.column,
            "value": p.value,
            "message": p.wrong,
            "accepted": p.accepted,
        }
        for p in plan.problems[: portfolio.MOST_PROBLEMS_SHOWN]
    ]
    refused = portfolio.RowsWrong(count=count)
    body = {
        "type": f"urn:maindrain:problem:{refused.code}",
        "title": "Unprocessable Entity",
        "status": refused.status,
        "code": refused.code,
        "detail": refused.message(),
        "count": count,
        "errors": errors,
    }
    return Response(body, status=refused.status, content_type="application/problem+json")


def _plain(value: Any) -> Any:
    return value if isinstance(value, bool | int | float | str | None) else str(value)
