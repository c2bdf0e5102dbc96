"""How a tablet's entries become entries of the record, one at a time, and what keeps one from it.

An entry is applied, or kept aside whole with the reason, or left to the tablet until what it waits
for has come. Whatever is wrong with one, the next one is taken.
"""

import json
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.core import signing
from django.db import DatabaseError, DataError, IntegrityError, transaction
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from buildings.units import UnitRefused
from contractors.models import Membership
from contractors.refusal import Refusal
from contractors.scope import contractor_scope
from inspections import blobs, closing, findings, outages, planned, projections, record, visits
from inspections.events.canonical import content_of, dedupe_hash
from inspections.events.clock import Estimate, Quality, Stamp, estimate
from inspections.events.envelope import Event as Checked
from inspections.events.envelope import check
from inspections.events.fields import CODE, ID, INSTANT, EventRefused, Field, Record, Whole
from inspections.events.fold import shown_hash
from inspections.events.kinds import KINDS
from inspections.events.missing import Missing
from inspections.models import Event, Quarantined, Tablet, Visit

MOST_EVENTS = 200
LONGEST_REASON = 300
HAND_IN = "visit.hand_in"
# What a tablet may record: work at the building, and what belongs to it on other streams.
FROM_TABLET = frozenset(
    {kind.name for kind in KINDS.values() if kind.work}
    | {"finding.link", "outage.start", "outage.end", HAND_IN}
    | {"impairment.start", "impairment.notice", "impairment.watch", "impairment.tag"}
    | {"impairment.end"}
)

_log = logging.getLogger(__name__)
_TICKET_SALT = "inspections.sync.ticket"
_STAMP = (Field("boot", CODE), Field("mono", Whole(0, 2**53 - 1)), Field("wall", INSTANT))
SEQ = Whole(1, 2**31 - 1)
_NUMBERED = Record(Field("id", ID), Field("tablet", ID), Field("seq", SEQ))
_REFUSALS = (EventRefused, Refusal, UnitRefused, DataError)
_OURS = "the service could not read it, which is its own mistake; it is kept whole for the office"
_UNKEPT = "a value is too long, or out of the range that can be kept"


@dataclass(frozen=True, slots=True)
class Batch:
    """What one push brings: whose tablet, its clocks now, and entries in order."""

    tablet: UUID
    stamp: Stamp
    events: tuple[Mapping[str, Any], ...]


def batch_of(given: object) -> Batch:
    """Return a push, checked as far as its entries can be counted.

    Raises
    ------
    EventRefused
        When it cannot be read at all; then nothing of it is taken.
    """
    if not isinstance(given, Mapping):
        raise EventRefused("push", given, "an object with tablet, boot, mono, wall and events")
    events = given.get("events")
    if not isinstance(events, list) or len(events) > MOST_EVENTS:
        accepted = f"a list of at most {MOST_EVENTS} entries"
        raise EventRefused("events", len(events) if isinstance(events, list) else events, accepted)
    head = Record(Field("tablet", ID), *_STAMP).check(
        "push", {name: given.get(name) for name in ("tablet", "boot", "mono", "wall")}
    )
    for place, event in enumerate(events):
        named = event if isinstance(event, Mapping) else {}
        number = _NUMBERED.check(
            f"events[{place}]", {name: named.get(name) for name in ("id", "tablet", "seq")}
        )
        if number["tablet"] != head["tablet"]:
            raise EventRefused(f"events[{place}].tablet", number["tablet"], str(head["tablet"]))
    wall = datetime.fromisoformat(str(head["wall"]))
    stamp = Stamp(wall=wall, mono=head["mono"], boot=head["boot"])
    return Batch(UUID(str(head["tablet"])), stamp, tuple(events))


def ticket_of(tablet: Tablet, now: datetime) -> str:
    """Return the proof of a contact at this moment, which entries made after it carry."""
    return signing.dumps([str(tablet.pk), now.isoformat()], salt=_TICKET_SALT)


class _Rejected(Exception):
    """An entry that cannot become one of the record; `status` says how it is kept aside."""

    def __init__(self, reason: str, *, status: str = "rejected", **more: Any) -> None:
        super().__init__(reason)
        self.reason, self.status, self.more = reason, status, more


class _Deferred(Exception):
    """An entry that waits for others."""

    def __init__(self, **waits: Any) -> None:
        super().__init__(waits)
        self.waits = waits


# What goes by when the same push is sent again later.
_PASSING = (DatabaseError, OSError, MemoryError, _Deferred, _Rejected)


@dataclass(frozen=True, slots=True)
class Taking:
    """Takes the entries of one batch, one at a time."""

    member: Membership
    batch: Batch

    def take(self, raw: Mapping[str, Any]) -> dict[str, Any]:
        """Take one entry in a transaction of its own; return its id, status and what goes along."""
        with contractor_scope(self.member.contractor_id), transaction.atomic():
            tablet = Tablet.objects.select_for_update().get(pk=self.batch.tablet)
            expected = tablet.last_seq + 1
            result: dict[str, Any] = {"id": str(UUID(str(raw["id"])))}
            try:
                result |= self._outcome(raw, tablet, expected)
            except _Deferred as deferred:
                return result | {"status": "deferred", **deferred.waits}
            except _Rejected as rejected:
                self._keep_aside(raw, rejected)
                result |= {
                    "status": rejected.status,
                    "reason": _printable(rejected.reason)[:LONGEST_REASON],
                    **rejected.more,
                }
            if raw["seq"] == expected:
                tablet.last_seq = expected
            tablet.last_seen_at = timezone.now()
            tablet.save(update_fields=["last_seq", "last_seen_at"])
            return result

    def _outcome(self, raw: Mapping[str, Any], tablet: Tablet, expected: int) -> dict[str, Any]:
        if raw["seq"] > expected:
            raise _Deferred(reason="gap", expected=expected)
        before = self._before(raw)
        if before is not None:
            return before
        if raw["seq"] < expected:
            raise _Rejected("seq_reused: another entry of this tablet has this number already")
        return self.applied(raw, tablet)

    def _before(self, raw: Mapping[str, Any]) -> dict[str, Any] | None:
        """Return what became of this entry when it came before; None when it never did."""
        reused = _Rejected("id_reused: this id stands for another entry already")
        rows = Event.objects.only("contractor_id", "id", "dedupe_hash", "status", "position")
        known = rows.filter(id=UUID(str(raw["id"]))).first()
        if known is not None:
            try:
                same = dedupe_hash(check(raw).as_dict()) == known.dedupe_hash
            except EventRefused:
                same = False
            if not same:
                raise reused
            return {"status": "duplicate", "first": known.status, "position": known.position}
        aside = Quarantined.objects.filter(event_id=UUID(str(raw["id"]))).first()
        if aside is None:
            return None
        if content_of(json.loads(aside.text)) != content_of(raw):
            raise reused
        status, _colon, reason = aside.reason.partition(": ")
        return {"status": "duplicate", "first": status, "reason": reason}

    def applied(self, raw: Mapping[str, Any], tablet: Tablet) -> dict[str, Any]:
        """Take an entry into the record; return its status and place."""
        try:
            event = check(raw)
            visit = self._visit(event)
            self._check(event, visit)
            now = timezone.now()
            when = _when(event, self.batch.stamp, tablet, now)
            with transaction.atomic():
                if event.kind == HAND_IN:
                    self._check_hand_in(event, visit)
                done = record.append(
                    [raw],
                    via=Event.Via.TABLET,
                    by=self.member,
                    building=visit.building,
                    happened_at=when.at,
                    uncertain=when.quality is Quality.UNCERTAIN,
                )[0]
                self._follow(event, visit)
        except IntegrityError as collided:
            # The same entry came through another tablet meanwhile.
            if before := self._before(raw):
                return before
            raise _Rejected(_UNKEPT) from collided
        except _REFUSALS as refused:
            raise _Rejected(_words(refused)) from refused
        except _PASSING:
            raise
        except Exception as error:
            # An entry that trips over a mistake of ours must not keep the day's work from coming.
            _log.exception("entry %s of tablet %s was kept aside", raw["id"], tablet.pk)
            raise _Rejected(_OURS) from error
        status = done.status
        if status == "applied" and projections.disagrees(event, visit.pk):
            status = "conflict"
        return {"status": status, "position": done.position}

    def _follow(self, event: Checked, visit: Visit) -> None:
        """Do what an entry brings with it beside the record, in the same transaction."""
        if event.kind == HAND_IN:
            visits.after_hand_in(visit)
        if event.kind == "visit.hand_over":
            planned.hand_over(visit, UUID(event.payload["to"]), by=self.member)
        if event.kind == "photo.attach":
            blobs.show(UUID(event.payload["blob"]), event.payload["sha256"])

    def _visit(self, event: Checked) -> Visit:
        if event.visit is None:
            raise EventRefused("event.visit", None, "the visit during which it was recorded")
        found: Visit | None = (
            Visit.objects.select_related("building").filter(pk=event.visit).first()
        )
        if found is None:
            raise EventRefused("event.visit", str(event.visit), "a visit of yours")
        return found

    def _check(self, event: Checked, visit: Visit) -> None:
        """Refuse what no tablet records, another's name, and streams of other buildings."""
        if event.kind not in FROM_TABLET:
            raise EventRefused("event.kind", event.kind, ", ".join(sorted(FROM_TABLET)))
        if event.by != self.member.pk:
            raise EventRefused("event.by", str(event.by), f"{self.member.pk}, who is signed in")
        if event.payload.get("result") == "restored_proof_missing":
            licence = visits.licence_of(self.member, timezone.now())
            if licence is None or event.payload.get("licence") != licence:
                accepted = licence or "a licence that holds today, of whoever records it"
                raise EventRefused("payload.licence", event.payload.get("licence"), accepted)
        closing.check_bulk(event.kind, event.payload, visit)
        outages.check_end(event.kind, event.payload, visit.building)
        findings.check_link(event.kind, event.payload, visit.building)
        visits.check_signature(visit, event.kind, event.payload, self.member)
        if event.stream == "visit":
            return
        of_it = Event.objects.filter(stream=event.stream, stream_id=event.stream_id)
        if of_it.exclude(building=visit.building).exists():
            accepted = f"a {event.stream} of this building"
            raise EventRefused("event.stream_id", str(event.stream_id), accepted)

    def _check_hand_in(self, event: Checked, visit: Visit) -> None:
        """Hand a visit in by the same rule as everywhere: nothing missing, nothing unnamed."""
        if visit.state == Visit.State.CANCELLED:
            raise _Rejected("the visit was cancelled", status="held")
        if visit.is_closed:
            raise _Rejected("already_closed: the visit was handed in before", status="late")
        named = {UUID(one) for one in event.payload["manifest"]["events"]}
        seen = projections.picture(visit.pk)
        here = {one.id for one in seen.counted}
        if lacking := sorted(str(one) for one in named - here):
            refused = Quarantined.objects.filter(event_id__in=lacking).first()
            if refused is not None:
                raise _Rejected(f"an entry it names was refused: {refused.reason}")
            # What the record holds elsewhere, or holds back, never gets here by waiting.
            if elsewhere := Event.objects.filter(id__in=lacking).first():
                named_here = "payload.manifest.events"
                raise EventRefused(named_here, str(elsewhere.id), "entries of this visit")
            raise _Deferred(reason="missing", missing=lacking)
        if lacks := closing.missing(visit, seen):
            raise _Rejected(lacks[0].sentence, missing=[_as_data(one) for one in lacks])
        if shown_hash(one for one in seen.counted if one.id in named) != event.payload["shown"]:
            raise EventRefused(
                "payload.shown", event.payload["shown"], "the hash of the entries it names"
            )

    def _keep_aside(self, raw: Mapping[str, Any], rejected: _Rejected) -> None:
        Quarantined.objects.get_or_create(
            event_id=_place_aside(raw),
            defaults={
                "tablet": self.batch.tablet,
                "seq": raw["seq"],
                "visit_id": uuid_or_none(raw.get("visit")),
                "text": json.dumps(raw),
                "reason": _printable(f"{rejected.status}: {rejected.reason}")[:LONGEST_REASON],
                "received_at": timezone.now(),
                "by": self.member,
            },
        )


def late(raw: Mapping[str, Any], member: Membership, tablet: Tablet) -> dict[str, Any]:
    """Take an entry that was kept aside into the record after all, by the rules of a push.

    Parameters
    ----------
    member
        Whoever made it.

    Returns
    -------
    dict
        Its `status`, and where the record does not take it, `reason`.
    """
    one = Taking(member, Batch(tablet.pk, Stamp(wall=timezone.now()), (raw,)))
    try:
        with transaction.atomic():
            return one.applied(raw, tablet)
    except _Deferred as deferred:
        return {"status": "deferred", **deferred.waits}
    except _Rejected as rejected:
        return {"status": rejected.status, "reason": _printable(rejected.reason)}


def _place_aside(raw: Mapping[str, Any]) -> UUID:
    """Return the id under which an entry is kept aside: its own, or one made of its content.

    Where an id stands for several entries, none of them may push another one out.
    """
    event_id, content = UUID(str(raw["id"])), content_of(raw)
    there = Quarantined.objects.filter(event_id=event_id).first()
    if there is None or content_of(json.loads(there.text)) == content:
        return event_id
    return uuid5(event_id, json.dumps(content, sort_keys=True))


def _when(event: Checked, push_stamp: Stamp, tablet: Tablet, received: datetime) -> Estimate:
    """Return when an entry was made, from the tablet's clocks and its last contact before it."""
    wall = datetime.fromisoformat(event.wall) if event.wall else None
    made = Stamp(wall=wall, mono=event.mono, boot=event.boot)
    last_contact = _moment_of(event.ticket) or tablet.registered_at
    return estimate(event=made, push=push_stamp, ticket=last_contact, received=received)


def _moment_of(ticket: str | None) -> datetime | None:
    """Return the moment a ticket stands for; None where it is none of ours."""
    try:
        _tablet, moment = signing.loads(ticket or "", salt=_TICKET_SALT)
        return parse_datetime(moment)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _as_data(lack: Missing) -> dict[str, Any]:
    need = lack.required
    return {
        "lack": lack.lack.value,
        "sentence": lack.sentence,
        "riser": lack.riser,
        "what": need.what if need else None,
        "subject": {"kind": need.subject.kind, "id": str(need.subject.id)} if need else None,
        "code": need.code if need else None,
        "name": need.name if need else None,
    }


def _words(refused: Exception) -> str:
    return _UNKEPT if isinstance(refused, DataError) else str(refused)


def _printable(text: str) -> str:
    return "".join(character if character.isprintable() else "?" for character in text)


def uuid_or_none(value: object) -> UUID | None:
    """Return a value as an id, or None where it is none."""
    try:
        return UUID(str(value))
    except ValueError:
        return None
