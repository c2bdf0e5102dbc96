"""How often somebody may ask, counted by one statement, so that many at once are counted rightly.

An allowance is spent request by request and comes back steadily. Spend it where no transaction is
open: what is undone with a refused request would count nothing. Only where what is not kept shall
not count, spend it within the transaction.
"""

import hashlib
import math
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import F
from django.utils import timezone

from contractors.models import Allowance
from contractors.refusal import Refusal

# Only a request that is allowed moves the mark, so whoever keeps asking is not kept out for longer.
# A mark farther off than any request can move it is from before the clock was set back.
_SPEND = """
INSERT INTO contractors_allowance AS spent (key, whole_at) VALUES (%(key)s, %(now)s + %(each)s)
ON CONFLICT (key) DO UPDATE SET whole_at = %(each)s +
  CASE WHEN spent.whole_at BETWEEN %(now)s AND %(now)s + 2 * %(span)s
    THEN spent.whole_at ELSE %(now)s END
WHERE spent.whole_at + %(each)s <= %(now)s + %(span)s
  OR spent.whole_at > %(now)s + 2 * %(span)s
RETURNING whole_at
"""


class AskedTooOften(Refusal):
    """Somebody asks more often than anybody needs to."""

    code = "asked_too_often"
    status = 429
    sentence = "This was asked too often. Try again in %(seconds)s seconds."

    def __init__(self, seconds: int) -> None:
        super().__init__(seconds=seconds)
        self.wait = seconds


def spend(name: str, who: str) -> None:
    """Count a request.

    Parameters
    ----------
    name
        A limit of the settings' `REQUEST_LIMITS`: how many at once, and the seconds in which as
        many come back. One that is not there limits nothing.
    who
        Whose allowance it is: an account, an address, a tablet.

    Raises
    ------
    AskedTooOften
        When nothing is left; its `wait` is the seconds until one request is allowed again.
    """
    if name not in settings.REQUEST_LIMITS:
        return
    most, span = settings.REQUEST_LIMITS[name]
    now, each, key = timezone.now().timestamp(), span / most, _key(name, who)
    # The last request of an allowance must not fail by a rounding, nor because one that asked the
    # clock a little later was counted first.
    room = span + min(1.0, each / 10)
    values: dict[str, Any] = {"key": key, "now": now, "each": each, "span": room}
    with connection.cursor() as cursor:
        cursor.execute(_SPEND, values)
        if cursor.fetchone() is not None:
            return
    whole_at = Allowance.objects.filter(key=key).values_list("whole_at", flat=True).first() or now
    raise AskedTooOften(max(1, math.ceil(whole_at + each - span - now)))


def give_back(name: str, who: str) -> None:
    """Undo one request that need not count, such as a log-in with the right password."""
    if name in settings.REQUEST_LIMITS:
        most, span = settings.REQUEST_LIMITS[name]
        rows = Allowance.objects.filter(key=_key(name, who))
        rows.update(whole_at=F("whole_at") - span / most)


def drop_whole(now: datetime) -> None:
    """Forget allowances of which nothing is used up."""
    Allowance.objects.filter(whole_at__lte=now.timestamp()).delete()


def _key(name: str, who: str) -> str:
    return hashlib.sha256(f"{name}\n{who}".encode()).hexdigest()
