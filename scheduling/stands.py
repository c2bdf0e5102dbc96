"""How many buildings stand on a day, and since when, in one query each."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone

from buildings.models import Building
from scheduling import standing
from scheduling.models import StandingInterval


def on_day(
    buildings: Sequence[Building], on: date | None = None, known_at: datetime | None = None
) -> dict[UUID, standing.DayStanding]:
    """Return how each building stands on a local day, today unless told.

    Parameters
    ----------
    known_at
        As it was known then; None: as it is known now.
    """
    now = timezone.now()
    days = {b.pk: on or timezone.localdate(now, b.zone) for b in buildings}
    if not days:
        return {}
    utc = ZoneInfo("UTC")
    least = datetime.combine(min(days.values()), time(), utc) - timedelta(days=1)
    most = datetime.combine(max(days.values()), time(), utc) + timedelta(days=2)
    rows = StandingInterval.objects.filter(
        _known(known_at),
        Q(to_at=None) | Q(to_at__gt=least),
        building__in=buildings,
        from_at__lt=most,
    )
    found: dict[UUID, list[StandingInterval]] = defaultdict(list)
    for row in rows:
        found[row.building_id].append(row)
    return {b.pk: standing.worst(_of(found[b.pk], days[b.pk], b.zone)) for b in buildings}


def since(
    found: Mapping[UUID, standing.DayStanding], known_at: datetime | None = None
) -> dict[UUID, datetime]:
    """Return since when the word of each building has held without a break.

    Parameters
    ----------
    found
        How the buildings stand, as `on_day` returns it; those not looked after are left out.
    """
    last = {pk: one.since for pk, one in found.items() if one.since is not None}
    told: dict[UUID, list[Any]] = {pk: [] for pk in last}
    rows = StandingInterval.objects.filter(_known(known_at), building__in=told)
    columns = ("building_id", "word", "from_at", "to_at", "due_by")
    for building_id, *one in rows.order_by("from_at").values_list(*columns):
        told[building_id].append(one)
    return {
        pk: max(one.begun for one in standing.stretches(told[pk]) if one.begun <= moment)
        for pk, moment in last.items()
    }


def _known(at: datetime | None) -> Q:
    if at is None:
        return Q(known_to=None)
    return Q(known_from__lte=at) & (Q(known_to=None) | Q(known_to__gt=at))


def _of(rows: Sequence[StandingInterval], on: date, zone: ZoneInfo) -> list[StandingInterval]:
    begins = datetime.combine(on, time(), tzinfo=zone)
    ends = datetime.combine(on + timedelta(days=1), time(), tzinfo=zone)
    return [r for r in rows if r.from_at < ends and (r.to_at is None or r.to_at > begins)]
