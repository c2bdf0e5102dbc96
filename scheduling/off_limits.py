"""Days on which work is not wanted at a building: read for many at once, and written down.

A ban on using water holds under an authority, a school's term or a hotel's season at one building.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings import inventory as stock
from buildings.models import Building, Jurisdiction, OffLimits
from contractors import audit, outbox
from contractors.models import Membership
from contractors.refusal import FieldRefused
from scheduling.windows import KeptFree

Work = OffLimits.Work
EARLIEST, LATEST = date(1990, 1, 1), date(2100, 12, 31)
_YEAR = timedelta(days=365)


def at(
    buildings: Sequence[Building], known_at: object | None = None
) -> dict[UUID, tuple[OffLimits, ...]]:
    """Return the days off limits at each of some buildings, as known at a moment; one query."""
    rows = OffLimits.objects.filter(Q(building=None) | Q(building__among=buildings))
    if known_at is None:
        rows = rows.filter(withdrawn_at=None)
    else:
        still = Q(withdrawn_at=None) | Q(withdrawn_at__gt=known_at)
        rows = rows.filter(still, recorded_at__lte=known_at)
    found = list(rows.order_by("from_on", "pk"))
    return {one.pk: tuple(row for row in found if _holds_at(row, one)) for one in buildings}


def _holds_at(row: OffLimits, building: Building) -> bool:
    if row.building_id is not None:
        return bool(row.building_id == building.pk)
    return row.jurisdiction_id in (None, building.jurisdiction_id)


def of_work(rows: Iterable[OffLimits], *, flows: bool) -> tuple[KeptFree, ...]:
    """Return the days on which work is not wanted; `flows` says whether it flows water."""
    return tuple(
        KeptFree(
            from_on=row.from_on,
            until_on=row.until_on,
            yearly=row.yearly,
            why=f"{row.authority}: {row.reason}",
        )
        for row in rows
        if flows or row.work == Work.ANY
    )


def of_building(building: Building) -> QuerySet[OffLimits]:
    """Return what holds at a building or is over there, but for what was written in error."""
    here = Q(building=building) | Q(building=None, jurisdiction=None)
    if building.jurisdiction_id is not None:
        here |= Q(building=None, jurisdiction_id=building.jurisdiction_id)
    rows: QuerySet[OffLimits] = OffLimits.objects.filter(here, withdrawn_at=None)
    return rows


def keep(
    *,
    work: str,
    from_on: date,
    until_on: date,
    authority: str,
    reason: str,
    by: Membership,
    building: Building | None = None,
    jurisdiction: Jurisdiction | None = None,
    yearly: bool = False,
) -> OffLimits:
    """Keep days free of work: at a building, under an authority, or at all of our buildings.

    Parameters
    ----------
    work
        ``water`` for work that flows water, ``any`` for all that is ours to do.
    yearly
        The same days each year; then they lie less than a year apart.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted.
    """
    if work not in Work.values:
        raise FieldRefused("work", work, ", ".join(Work.values))
    if building is not None and jurisdiction is not None:
        said = _("A building or an authority, not both.")
        raise FieldRefused("jurisdiction", jurisdiction.name, said)
    _check_days(from_on, until_on, yearly=yearly)
    for name, text in (("authority", authority), ("reason", reason)):
        if not text.strip():
            raise FieldRefused(name, text, _("Who asks for it, and why, in a few words."))
    with transaction.atomic():
        row: OffLimits = OffLimits.objects.create(
            building=building,
            jurisdiction=jurisdiction,
            work=work,
            from_on=from_on,
            until_on=until_on,
            yearly=yearly,
            authority=authority.strip()[:120],
            reason=reason.strip()[:200],
            recorded_at=timezone.now(),
            recorded_by=by,
        )
        _tell(row, "off_limits.set", by)
    return row


def withdraw(row: OffLimits, *, by: Membership) -> OffLimits:
    """Give the days free again; what was planned by them stays as it is.

    Raises
    ------
    FieldRefused
        When they are free already.
    """
    with transaction.atomic():
        held: OffLimits = OffLimits.objects.select_for_update().get(pk=row.pk)
        if held.withdrawn_at is not None:
            raise FieldRefused("withdrawn", "true", _("Days that are off limits still."))
        held.withdrawn_at = timezone.now()
        held.save(update_fields=["withdrawn_at"])
        _tell(held, "off_limits.withdrawn", by)
    return held


def _check_days(from_on: date, until_on: date, *, yearly: bool) -> None:
    for name, day in (("from_on", from_on), ("until_on", until_on)):
        if not EARLIEST <= day <= LATEST:
            raise FieldRefused(name, day, _("A day from 1990 to 2100."))
    if until_on < from_on:
        raise FieldRefused("until_on", until_on, _("A day from %(day)s.") % {"day": from_on})
    if yearly and until_on - from_on >= _YEAR:
        said = _("Less than a year after %(day)s, where the days come back each year.")
        raise FieldRefused("until_on", until_on, said % {"day": from_on})


def _tell(row: OffLimits, what: str, by: Membership) -> None:
    audit.record(what, by=by, on=row, work=row.work, reason=row.reason)
    if row.building_id is not None:
        stock.tell_changed(row.building_id, timezone.now())
    else:
        outbox.add("programme.derive", f"{what}:{row.pk}")
