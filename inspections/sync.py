"""How a tablet and the record agree: registered, pulled, pushed, whatever was lost on the way.

A tablet numbers its entries from 1 without gaps. Each one is taken in a transaction of its own, so
a crash loses nothing that was acknowledged; one sent again changes nothing. What cannot become an
entry of the record is kept whole in the quarantine, and never blocks the ones after it.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone

from contractors import limits
from contractors.models import Membership
from contractors.refusal import NotThere, Refusal
from contractors.scope import contractor_scope
from inspections import access, pack, taking, visits
from inspections.catalogue_files import catalogue
from inspections.models import Event, Photo, Tablet, Visit

# How long a visit stays on the tablet: two weeks before its day and after it while it is not begun,
# as long as it is open, and for a while after it was closed, so that it is seen sealed.
AHEAD = timedelta(days=14)
BEHIND = timedelta(days=14)
CLOSED_STAYS = timedelta(days=2)
# A cursor travels in an address, and web servers take about 4,000 characters of one.
MOST_NAMED = 112

State = Visit.State
# A visit's id and the version of its pack.
_NAME_BYTES = 16 + 8


class TabletRevoked(Refusal):
    """The tablet may no longer be used; what it holds leaves as a file."""

    code = "tablet_revoked"
    status = 403
    sentence = "This tablet was taken out of use. Keep it; the office can take over what it holds."


def register(member: Membership, *, label: str = "", known: UUID | None = None) -> Tablet:
    """Register what a technician holds, so that its entries can be counted without gaps.

    Parameters
    ----------
    known
        The id it had before. It keeps it where that is this member's; otherwise it gets a new one
        and counts from 1 again, which changes nothing about entries that are here already.
    """
    now = timezone.now()
    before: Tablet | None = Tablet.objects.filter(pk=known, member=member).first()
    if before is not None and before.revoked_at is None:
        return before
    made: Tablet = Tablet.objects.create(
        member=member, label=label[:80], registered_at=now, last_seen_at=now
    )
    return made


def tablet_for(member: Membership, tablet_id: UUID) -> Tablet:
    """Return a tablet of this member; `NotThere` otherwise, `TabletRevoked` when out of use."""
    found: Tablet | None = Tablet.objects.filter(pk=tablet_id, member=member).first()
    if found is None:
        raise NotThere
    if found.revoked_at is not None:
        raise TabletRevoked
    return found


def contact(tablet: Tablet, now: datetime) -> dict[str, Any]:
    """Return what every answer tells a tablet: the time, a ticket of it, and the next number."""
    return {
        "server_time": now.isoformat(),
        "ticket": taking.ticket_of(tablet, now),
        "next": tablet.last_seq + 1,
    }


def person(member: Membership, now: datetime) -> dict[str, Any]:
    """Return who signs in on the tablet, with the licence that holds today."""
    known = access.person_of(member)
    name = known.name if known else member.user.name or member.user.email
    licence = visits.licence_of(member, now)
    return {"id": str(member.pk), "name": name, "licence": licence}


def pull(tablet: Tablet, *, cursor: str = "") -> dict[str, Any]:
    """Return the work packs that a tablet lacks, and what was withdrawn from it.

    Parameters
    ----------
    cursor
        As the last pull gave it; empty for everything. It names the packs that the tablet has.
    """
    now, member = timezone.now(), tablet.member
    had = _packs_of(cursor)
    packs = [pack.pack_of(visit) for visit in _visits(member, now)]
    here = {one["visit"]["id"]: one["pack_version"] for one in packs}
    return {
        **contact(tablet, now),
        "cursor": _cursor_of(here),
        "member": person(member, now),
        "catalogue": catalogue().version,
        "visits": [one for one in packs if had.get(one["visit"]["id"]) != one["pack_version"]],
        "withdrawn": [
            _withdrawn(member, UUID(visit_id)) for visit_id in had if visit_id not in here
        ],
    }


def receipts(tablet: Tablet) -> dict[str, Any]:
    """Return what the record holds of a tablet's work, visit by visit."""
    counted: dict[UUID, int] = {}
    rows = Event.objects.filter(tablet=tablet.pk).exclude(visit_id=None)
    for visit_id in rows.values_list("visit_id", flat=True):
        counted[visit_id] = counted.get(visit_id, 0) + 1
    lacking: dict[UUID, int] = {}
    waiting = Photo.objects.filter(visit__in=list(counted), file=None)
    for visit_id in waiting.values_list("visit_id", flat=True):
        lacking[visit_id] = lacking.get(visit_id, 0) + 1
    return {
        **contact(tablet, timezone.now()),
        "visits": [
            {
                "visit": str(visit.pk),
                "state": visit.state,
                "entries": counted[visit.pk],
                "photos_missing": lacking.get(visit.pk, 0),
            }
            for visit in Visit.objects.filter(pk__in=list(counted)).order_by("pk")
        ],
    }


def push(member: Membership, batch: taking.Batch) -> dict[str, Any]:
    """Take a tablet's entries into the record, each in a transaction of its own.

    Returns
    -------
    dict
        `results`, one an entry and in their order, `next`, `server_time` and `ticket`. A result's
        `status` is applied, duplicate, conflict, late, held or rejected (delivered: the tablet
        forgets them), or deferred (sent again once what it waits for is here).

    Raises
    ------
    NotThere, TabletRevoked
        When the tablet is not this member's, or was taken out of use.
    AskedTooOften
        When the tablet sends far more often than work can be recorded.
    """
    limits.spend("push", str(batch.tablet))
    with contractor_scope(member.contractor_id):
        tablet = tablet_for(member, batch.tablet)
    one_by_one = taking.Taking(member, batch)
    results = [one_by_one.take(raw) for raw in batch.events]
    with contractor_scope(member.contractor_id):
        tablet.refresh_from_db(fields=["last_seq"])
        return {"results": results, **contact(tablet, timezone.now())}


def _visits(member: Membership, now: datetime) -> Sequence[Visit]:
    """Return the visits that a member takes along now."""
    day = now.date()
    wanted = (
        Q(state=State.PLANNED, planned_on__gte=day - BEHIND, planned_on__lte=day + AHEAD)
        | Q(state=State.OPEN)
        | Q(
            state__in=(State.HANDED_IN, State.REVIEWED, State.SEALED),
            handed_in_at__gte=now - CLOSED_STAYS,
        )
    )
    person_here = access.person_of(member)
    if person_here is None:
        return []
    theirs = Q(technician=person_here) | Q(second=person_here)
    rows = Visit.objects.filter(theirs & wanted).select_related(
        "building", "building__jurisdiction", "technician"
    )
    return list(rows.order_by("planned_on", "planned_start", "pk"))


def _cursor_of(packs: Mapping[str, str]) -> str:
    """Name packs and their versions; those beyond what a cursor holds are sent every time."""
    named = list(packs.items())[:MOST_NAMED]
    content = b"".join(UUID(visit_id).bytes + bytes.fromhex(version) for visit_id, version in named)
    return urlsafe_b64encode(content).decode()


def _packs_of(cursor: str) -> dict[str, str]:
    """Return the packs that a cursor names; one that cannot be read names none."""
    try:
        content = urlsafe_b64decode(cursor.encode())
    except ValueError:
        return {}
    if len(content) % _NAME_BYTES:
        return {}
    names = [content[at : at + _NAME_BYTES] for at in range(0, len(content), _NAME_BYTES)]
    return {str(UUID(bytes=name[:16])): name[16:].hex() for name in names[:MOST_NAMED]}


def _withdrawn(member: Membership, visit_id: UUID) -> dict[str, Any]:
    """Return why a visit is no longer taken along; of one moved beyond reach, its day."""
    visit = Visit.objects.filter(pk=visit_id).first()
    reason = _why_withdrawn(member, visit)
    day = visit.planned_on if visit and reason == "moved" else None
    return {"visit": str(visit_id), "reason": reason, "planned_on": day and day.isoformat()}


def _why_withdrawn(member: Membership, visit: Visit | None) -> str:
    if visit is None:
        return "unknown"
    person_here = access.person_of(member)
    if person_here is None or person_here.pk not in (visit.technician_id, visit.second_id):
        return "given_away"
    if visit.state == State.CANCELLED:
        return "cancelled"
    return "closed" if visit.is_closed else "moved"
