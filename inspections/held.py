"""Entries that did not get into the record by themselves: a person reads them and decides.

They are here because the server could not take them, because the visit was closed or cancelled
meanwhile, or because they came in a file from a tablet that can no longer sign in.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from contractors import audit
from contractors.models import Membership
from contractors.refusal import NotThere, Refusal
from inspections import blobs, rescue, taking
from inspections.events.fields import ID, EventRefused, Field, ListOf, Record, Text, may
from inspections.models import Event, Quarantined, Tablet

FORMAT = "maindrain tablet bundle"
LARGEST_BYTES = 200 * 2**20
_FROM_FILE = "held: it came in a file from the tablet"


class BundleRefused(Refusal):
    """A file is no bundle, or none of this installation."""

    code = "bundle_refused"
    status = 422
    sentence = "This file cannot be taken over: %(why)s"


class Decided(Refusal):
    """Somebody decided about the entry before."""

    code = "decided"
    sentence = "This entry was decided about before: %(how)s."


class StillRefused(Refusal):
    """The record does not take the entry as it is."""

    code = "still_refused"
    status = 422
    sentence = "The record does not take this entry: %(why)s"


@dataclass(frozen=True, slots=True)
class Received:
    """What a bundle brought.

    Attributes
    ----------
    kept, known
        Entries that now wait for a decision, and those that are in the record or wait already.
    photos
        Photos that are here now.
    unreadable
        Entries and photos that this installation cannot open, or that were damaged.
    """

    kept: int
    known: int
    photos: int
    unreadable: int


def waiting() -> QuerySet[Quarantined]:
    """Return what waits for a decision, oldest first."""
    rows: QuerySet[Quarantined] = Quarantined.objects.filter(decided_at=None)
    return rows.select_related("by__user").order_by("received_at", "seq", "pk")


def entry_of(row: Quarantined) -> dict[str, Any]:
    """Return the entry as the tablet made it; one whose text was kept apart is read from it."""
    entry: dict[str, Any] = json.loads(row.text)
    if set(entry) == {"id", "tablet", "seq", "visit", "text"}:
        try:
            inner = json.loads(entry["text"])
        except ValueError:
            return entry
        return inner if isinstance(inner, dict) else entry
    return entry


def take(row: Quarantined, *, by: Membership) -> str:
    """Take an entry into the record after all, under the name of whoever made it.

    Returns
    -------
    str
        What became of it: ``applied`` or ``conflict``.

    Raises
    ------
    Decided, StillRefused
        When it cannot be; it goes on waiting.
    """
    _is_open(row)
    entry = entry_of(row)
    maker = row.by or by
    tablet = Tablet.objects.filter(pk=row.tablet).first() if row.tablet else None
    if tablet is None:
        raise StillRefused(why="the tablet that made it is not known here")
    result = taking.late(entry, maker, tablet)
    if result["status"] not in ("applied", "conflict"):
        raise StillRefused(why=str(result.get("reason", result["status"])))
    _decide(row, Quarantined.Decision.TAKEN, by, "")
    return str(result["status"])


def leave_out(row: Quarantined, *, by: Membership, reason: str) -> None:
    """Decide that an entry stays out of the record; its text is kept with the reason."""
    _is_open(row)
    _decide(row, Quarantined.Decision.LEFT_OUT, by, reason)


def receive(content: bytes, *, by: Membership) -> Received:
    """Take over the file of a tablet that cannot sign in any more; every entry waits for a person.

    The same file again changes nothing.

    Raises
    ------
    BundleRefused
        When it is no such file, or of another contractor; then nothing is taken.
    """
    bundle = _checked(content)
    member = Membership.objects.filter(
        pk=UUID(bundle["member"]), contractor_id=by.contractor_id
    ).first()
    if member is None:
        raise BundleRefused(why="it belongs to nobody who works here")
    opened = {one["id"]: _key(one) for one in bundle["envelopes"]}
    kept = known = photos = unreadable = 0
    for sealed in bundle["events"]:
        entry = _entry(opened.get(sealed["key"]), sealed)
        if entry is None:
            unreadable += 1
        elif _keep(entry, sealed, member):
            kept += 1
        else:
            known += 1
    for sealed in bundle["photos"]:
        if _photo(opened.get(sealed["key"]), sealed, member):
            photos += 1
        else:
            unreadable += 1
    received = Received(kept=kept, known=known, photos=photos, unreadable=unreadable)
    facts = {"kept": kept, "known": known, "photos": photos, "unreadable": unreadable}
    audit.record("bundle.taken_over", by=by, on=member, **facts)
    return received


_BOX = (
    Field("iv", Text(longest=64)),
    Field("data", Text(longest=40 * 2**20)),
    may("type", Text(longest=60)),
)
_SEALED = (Field("id", ID), Field("key", ID), Field("tablet", ID), Field("seq", taking.SEQ))
_PICTURE = (Field("blob", ID), Field("key", ID), Field("sha256", Text(longest=64)))
_ENVELOPE = (Field("id", ID), Field("half", Text(longest=200)))
_BUNDLE = Record(
    Field("member", ID),
    Field("envelopes", ListOf(Record(*_ENVELOPE, *_BOX), 0, 20)),
    Field("events", ListOf(Record(*_SEALED, *_BOX), 0, 20_000)),
    Field("photos", ListOf(Record(*_PICTURE, *_BOX), 0, 2_000)),
)


def _checked(content: bytes) -> dict[str, Any]:
    try:
        given = json.loads(content)
    except (ValueError, RecursionError):
        raise BundleRefused(why="it is no file that a tablet saved") from None
    if not isinstance(given, dict) or (given.get("format"), given.get("version")) != (FORMAT, 1):
        raise BundleRefused(why="it is no file that a tablet saved")
    wanted = {name: given.get(name) for name in ("member", "envelopes", "events", "photos")}
    try:
        checked: dict[str, Any] = _BUNDLE.check("file", wanted)
    except EventRefused as refused:
        raise BundleRefused(why=str(refused)) from refused
    return checked


def _key(envelope: Mapping[str, Any]) -> bytes | None:
    try:
        return rescue.work_key(dict(envelope))
    except rescue.NotOurs:
        return None


def _entry(key: bytes | None, sealed: Mapping[str, Any]) -> dict[str, Any] | None:
    if key is None:
        return None
    try:
        entry = json.loads(rescue.opened(key, dict(sealed), sealed["id"]))
    except (rescue.NotOurs, ValueError):
        return None
    return entry if isinstance(entry, dict) and entry.get("id") == sealed["id"] else None


def _keep(entry: dict[str, Any], sealed: Mapping[str, Any], member: Membership) -> bool:
    """Keep an entry for a decision; False where it is in the record, or waits or waited already."""
    event_id = UUID(entry["id"])
    if Event.objects.filter(id=event_id).exists():
        return False
    entry |= {"tablet": sealed["tablet"], "seq": sealed["seq"]}
    _row, fresh = Quarantined.objects.get_or_create(
        event_id=event_id,
        defaults={
            "tablet": UUID(sealed["tablet"]),
            "seq": sealed["seq"],
            "visit_id": taking.uuid_or_none(entry.get("visit")),
            "text": json.dumps(entry),
            "reason": _FROM_FILE,
            "received_at": timezone.now(),
            "by": member,
        },
    )
    return bool(fresh)


def _photo(key: bytes | None, sealed: Mapping[str, Any], member: Membership) -> bool:
    if key is None:
        return False
    blob = UUID(sealed["blob"])
    try:
        content = rescue.opened(key, dict(sealed), sealed["blob"])
        blobs.receive(member, blob, content, sha256=sealed["sha256"])
    except (rescue.NotOurs, Refusal):
        return False
    return True


def _is_open(row: Quarantined) -> None:
    if row.decided_at is not None:
        raise Decided(how=str(row.get_decision_display()))


def _decide(row: Quarantined, decision: str, by: Membership, why: str) -> None:
    row.decision, row.decided_at, row.decided_by, row.why = decision, timezone.now(), by, why
    row.save(update_fields=["decision", "decided_at", "decided_by", "why"])
    audit.record("entry.decided", by=by, on=row, decision=decision, why=why)


# --- tablets ---------------------------------------------------------------------------------


def tablets() -> Sequence[Tablet]:
    """Return the tablets of a contractor, last seen first."""
    rows = Tablet.objects.select_related("member__user").order_by("-last_seen_at", "-registered_at")
    return list(rows)


def tablet(tablet_id: UUID) -> Tablet:
    """Return one; `NotThere` otherwise."""
    found: Tablet | None = Tablet.objects.filter(pk=tablet_id).first()
    if found is None:
        raise NotThere
    return found


def revoke(row: Tablet, *, by: Membership, now: datetime) -> None:
    """Take a tablet out of use: from its next contact on it brings and fetches nothing."""
    if row.revoked_at is None:
        row.revoked_at = now
        row.save(update_fields=["revoked_at"])
        audit.record("tablet.revoked", by=by, on=row)
