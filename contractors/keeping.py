"""Idempotency-Key: a repeated request gets the first answer, and its effect happens once."""

import hashlib
import json
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from contractors.models import KeptAnswer
from contractors.refusal import FieldRefused, KeyReused, NeedsKey

LONGEST_KEY = 100


class Replay(Exception):
    """A request that was answered before."""

    def __init__(self, kept: KeptAnswer) -> None:
        super().__init__(kept.key)
        self.kept = kept

    def response(self) -> Response:
        """Return the first answer, marked as given again."""
        headers = {"Idempotent-Replayed": "true"}
        return Response(self.kept.body, status=self.kept.status, headers=headers)


def begin(view: Any, request: Request) -> None:
    """Take the key before anything happens, in the transaction of the effect.

    Raises
    ------
    Replay
        When the same request was answered before.
    KeyReused, NeedsKey, FieldRefused
        When the key came with another body, is missing where one is required, or is too long.
    """
    view.kept = None
    if request.method != "POST" or request.door.member is None:  # type: ignore[attr-defined]
        return
    key = request.headers.get("Idempotency-Key", "")
    if not key:
        if view.key_required:
            raise NeedsKey
        return
    if len(key) > LONGEST_KEY:
        raise FieldRefused("Idempotency-Key", f"{key[:20]}…", "At most 100 characters.")
    body = json.dumps(request.data, sort_keys=True, default=str).encode()
    row = {
        "route": request.path[:120],
        "key": key,
        "actor": request.door.member.pk,  # type: ignore[attr-defined]
    }
    view._entered.enter_context(transaction.atomic())
    body_hash = hashlib.sha256(body).hexdigest()
    try:
        with transaction.atomic():
            view.kept = KeptAnswer.objects.create(
                **row, body_hash=body_hash, made_at=timezone.now()
            )
    except IntegrityError:
        first = KeptAnswer.objects.get(**row)
        if first.body_hash != body_hash:
            raise KeyReused from None
        raise Replay(first) from None


def finish(view: Any, response: Any) -> Any:
    """Keep the answer beside its effect; a failed request keeps nothing.

    An answer that holds a secret says in `to_keep` what of it is kept.
    """
    kept = getattr(view, "kept", None)
    if kept is None:
        return response
    if response.status_code >= 400:
        transaction.set_rollback(True)
    else:
        kept.status = response.status_code
        kept.body = json.loads(json.dumps(getattr(response, "to_keep", response.data), default=str))
        kept.save(update_fields=["status", "body"])
    return response
