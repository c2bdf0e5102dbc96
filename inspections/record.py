"""The one way into the record: checked, chained, projected and told on, in one transaction.

Page, API, tablet, import and owner all come through `append`. An event that was appended is never
changed; what it amounts to is derived by `projections`.
"""

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone

from buildings.models import Building, subject_model
from contractors import outbox
from contractors.models import Membership, new_id
from contractors.refusal import Refusal
from contractors.scope import current_contractor_id
from inspections import on_paper, projections, readings
from inspections.events import chain
from inspections.events.canonical import content_hash, dedupe_hash
from inspections.events.envelope import Event as Checked
from inspections.events.envelope import check
from inspections.events.fields import EventRefused
from inspections.events.kinds import CURRENT
from inspections.models import ChainHead, Event, Finding, Impairment, NextNumber, Visit

State = Visit.State
Via = Event.Via

# What may happen in which state of a visit; work at the building is looked at separately.
ALLOWED: dict[str, tuple[str, ...]] = {
    "visit.open": (State.PLANNED, State.OPEN),
    "visit.hand_in": (State.OPEN,),
    "visit.review": (State.HANDED_IN,),
    "visit.waive_review": (State.HANDED_IN,),
    "visit.seal": (State.REVIEWED,),
    "visit.amend": (State.HANDED_IN, State.REVIEWED, State.SEALED),
    "visit.cancel": (State.PLANNED, State.OPEN),
    "visit.import": (State.PLANNED,),
}
IMPAIRMENT_OF = UUID("6f0c2b1e-6c1b-5d43-9a55-0d5c6a4f7a10")


class WrongState(Refusal):
    """The visit has gone on, or is not far enough, for this."""

    code = "wrong_state"
    status = 409
    sentence = "%(kind)s cannot be recorded: the visit is %(state)s."


class AlreadyRecorded(Refusal):
    """An id was used before for something else."""

    code = "id_reused"
    status = 409
    sentence = "The id %(id)s stands for another entry already."


@dataclass(frozen=True, slots=True, kw_only=True)
class Appended:
    """What became of an entry.

    `status` is applied, duplicate, conflict, late or held; `position` its place in the stream.
    """

    id: UUID
    status: str
    position: int


def entry(
    kind: str,
    payload: Mapping[str, Any],
    *,
    stream: str,
    stream_id: UUID,
    visit: UUID | None = None,
    seen: Sequence[UUID] = (),
    by: Membership | None = None,
    id: UUID | None = None,
) -> dict[str, Any]:
    """Return an entry as `append` takes it, for what is recorded at a page, the API or here."""
    return {
        "id": str(id or new_id()),
        "stream": stream,
        "stream_id": str(stream_id),
        **({"visit": str(visit)} if visit else {}),
        "kind": kind,
        "version": CURRENT[kind],
        **({"seen": [str(event_id) for event_id in seen]} if seen else {}),
        "by": str(by.pk if by else current_contractor_id()),
        "payload": {name: value for name, value in payload.items() if value not in (None, "")},
    }


def visit_entry(
    visit: Visit, kind: str, payload: Mapping[str, Any], *, by: Membership | None, **more: Any
) -> dict[str, Any]:
    """Return an entry on a visit's own stream."""
    return entry(kind, payload, stream="visit", stream_id=visit.pk, visit=visit.pk, by=by, **more)


def append(
    entries: Sequence[Mapping[str, Any]],
    *,
    via: str,
    by: Membership | None,
    building: Building | None = None,
    happened_at: datetime | None = None,
    uncertain: bool = False,
) -> list[Appended]:
    """Append entries to the record, all or none, and derive what follows from them.

    Parameters
    ----------
    entries
        As `entry` makes them or as a tablet sends them, in order.
    via
        The door: page, tablet, api, import, owner or service.
    by
        The member who recorded it; None for owners and the service itself.
    building
        Needed where no visit, finding or impairment names it yet.
    happened_at
        When it happened; now, where nothing else is known. What was taken down on paper happened
        when it was, whatever stands here.

    Raises
    ------
    EventRefused
        Naming field, value and what is accepted.
    WrongState, AlreadyRecorded
        When the visit's state does not allow it, or an id comes with other content.
    """
    now = timezone.now()
    with transaction.atomic():
        writer = _Writer(via, by, building, happened_at or now, now, uncertain)
        return writer.append([check(raw) for raw in entries])


class _Writer:
    """Appends one batch: streams are locked once each, rows written and projected at the end."""

    def __init__(
        self,
        via: str,
        by: Membership | None,
        building: Building | None,
        happened_at: datetime,
        now: datetime,
        uncertain: bool,
    ) -> None:
        self.via, self.by, self.building = via, by, building
        self.happened_at, self.now, self.uncertain = happened_at, now, uncertain
        self.heads: dict[tuple[str, UUID], ChainHead] = {}
        self.visits: dict[UUID, Visit] = {}
        self.rows: list[Event] = []
        self.subjects: dict[tuple[UUID, str], set[str]] = {}

    def append(self, given: Sequence[Checked]) -> list[Appended]:
        events = [e for event in given for e in (event, *_follows(event))]
        known = {
            row.id: row
            for row in Event.objects.filter(id__in=[e.id for e in events]).only(
                "contractor_id", "id", "dedupe_hash", "position"
            )
        }
        done = [self._duplicate(e, known[e.id]) if e.id in known else self._new(e) for e in events]
        for place, row in enumerate(self.rows, start=1):
            row.number = NextNumber(place)
        Event.objects.bulk_create(self.rows)
        for head in self.heads.values():
            head.save(update_fields=["length", "head"])
        projections.follow(self.rows, self.visits)
        self._tell_outbox()
        asked = {event.id for event in given}
        return [one for one in done if one.id in asked]

    def _duplicate(self, event: Checked, row: Event) -> Appended:
        if row.dedupe_hash != dedupe_hash(event.as_dict()):
            raise AlreadyRecorded(id=str(event.id))
        return Appended(id=event.id, status="duplicate", position=row.position)

    def _new(self, event: Checked) -> Appended:
        visit = self._visit(event)
        building_id = self._building_id(event, visit)
        self._check_subject(event, building_id)
        _check_reading(event)
        if visit is not None:
            on_paper.check(event, visit, self.now)
        status = self._status(event, visit)
        head = self._head(event.stream, event.stream_id)
        body, salt = event.body(), secrets.token_bytes(16)
        content = content_hash(body, salt)
        head.head = chain.link(
            previous=head.head or chain.origin(event.stream, event.stream_id),
            position=head.length + 1,
            content=content,
            status=status,
            received=self.now,
        )
        head.length += 1
        self.rows.append(
            Event(
                id=event.id,
                stream=event.stream,
                stream_id=event.stream_id,
                position=head.length,
                kind=event.kind,
                version=event.version,
                building_id=building_id,
                visit_id=event.visit,
                tablet=event.tablet,
                seq=event.seq,
                via=self.via,
                status=status,
                by=self.by,
                happened_at=on_paper.moment(event) or self.happened_at,
                time_uncertain=self.uncertain,
                received_at=self.now,
                body=body.decode(),
                salt=salt.hex(),
                content_hash=content,
                dedupe_hash=dedupe_hash(event.as_dict()),
                chain_hash=head.head,
            )
        )
        self._advance(event, visit)
        return Appended(id=event.id, status=status, position=head.length)

    def _visit(self, event: Checked) -> Visit | None:
        if event.visit is None:
            return None
        if event.visit not in self.visits:
            locked = Visit.objects.select_for_update(of=("self",)).select_related("building")
            found = locked.filter(pk=event.visit).first()
            if found is None:
                raise EventRefused("event.visit", event.visit, "a visit of yours")
            self.visits[event.visit] = found
        return self.visits[event.visit]

    def _building_id(self, event: Checked, visit: Visit | None) -> UUID:
        if visit is not None:
            found: UUID = visit.building_id
            return found
        if event.stream == "building":
            known: UUID | None = event.stream_id
            if not Building.objects.filter(pk=event.stream_id).exists():
                known = None
        else:
            of_it = {"stream": event.stream, "stream_id": event.stream_id}
            known = Event.objects.filter(**of_it).values_list("building_id", flat=True).first()
        building_id = known or (self.building.pk if self.building else None)
        if building_id is None:
            raise EventRefused("event.stream_id", event.stream_id, f"a {event.stream} of yours")
        return UUID(str(building_id))

    def _check_subject(self, event: Checked, building_id: UUID) -> None:
        subject = event.payload.get("subject")
        if not isinstance(subject, Mapping):
            return
        if subject["id"] in self._subjects_of(building_id, subject["kind"]):
            return
        raise EventRefused(
            "payload.subject", subject["id"], f"a {subject['kind']} of this building"
        )

    def _status(self, event: Checked, visit: Visit | None) -> str:
        """Return what becomes of the event, by the state of its visit."""
        if visit is None:
            return "applied"
        if event.schema.work or event.kind == "visit.open":
            if visit.state == State.CANCELLED:
                return "held"
            if visit.is_closed:
                return "late"
        if event.kind in ALLOWED and visit.state not in ALLOWED[event.kind]:
            raise WrongState(kind=event.kind, state=str(visit.get_state_display()))
        return "applied"

    def _advance(self, event: Checked, visit: Visit | None) -> None:
        """Let later entries of the same batch see the state that this one leads to."""
        if visit is None:
            return
        if event.schema.work and visit.state == State.PLANNED:
            visit.state = State.OPEN
        if event.kind == "visit.open" and visit.opened_at is None:
            visit.opened_at = datetime.fromisoformat(event.payload["at"])
        if event.kind == "visit.review":
            accepted = event.payload["verdict"] == "accept"
            visit.state = State.REVIEWED if accepted else State.OPEN
        visit.state = {
            "visit.open": State.OPEN,
            "visit.hand_in": State.HANDED_IN,
            "visit.waive_review": State.REVIEWED,
            "visit.seal": State.SEALED,
            "visit.cancel": State.CANCELLED,
            "visit.import": State.OPEN,
        }.get(event.kind, visit.state)

    def _head(self, stream: str, stream_id: UUID) -> ChainHead:
        key = (stream, stream_id)
        if key not in self.heads:
            of_it: dict[str, Any] = {"stream": stream, "stream_id": stream_id}
            locked = ChainHead.objects.select_for_update()
            found = locked.filter(**of_it).first()
            if found is None:
                ChainHead.objects.get_or_create(**of_it)
                found = locked.get(**of_it)
            self.heads[key] = found
        return self.heads[key]

    def _subjects_of(self, building_id: UUID, kind: str) -> set[str]:
        """Return the subjects of a kind in a building, asked for once a batch."""
        key = (building_id, kind)
        if kind == "building":
            return {str(building_id)}
        if key not in self.subjects:
            rows = subject_model(kind).objects.filter(building_id=building_id)
            self.subjects[key] = {str(pk) for pk in rows.values_list("pk", flat=True)}
        return self.subjects[key]

    def _tell_outbox(self) -> None:
        """Have the programme and the standing of each touched building derived again."""
        if self.via == Via.IMPORT:
            return
        for row in {row.building_id: row for row in self.rows}.values():
            key = f"{row.building_id}:{row.id}"
            outbox.add("building.recorded", key, fresh=True, building=row.building_id)


def _check_reading(event: Checked) -> None:
    """Keep a pressure from being recorded in gallons, or as a word, by entry or correction."""
    kind, payload, path = event.kind, event.payload, "payload"
    if kind == "visit.amend":
        kind, payload, path = payload["kind"], payload["value"], "payload.value"
    if kind != "reading.add":
        return
    try:
        readings.check_unit(payload["activity"], payload["name"], payload["value"]["unit"])
    except EventRefused as refused:
        field = f"{path}.value.unit"
        raise EventRefused(field, refused.value, refused.accepted) from refused


def _follows(event: Checked) -> list[Checked]:
    """Return what an entry brings with it by rule: an impairment, or a finding until proven."""
    if event.payload.get("result") == "restored_proof_missing":
        return _unproven(event)
    return _impairs(event)


def _unproven(event: Checked) -> list[Checked]:
    """Return the finding that stays open after an end without proof, until there is one."""
    starts = Event.objects.filter(
        stream=event.stream,
        stream_id=event.stream_id,
        kind__in=("outage.start", "impairment.start"),
    )
    start = starts.order_by("position").first()
    if start is None:
        return []
    finding_id = uuid5(IMPAIRMENT_OF, f"unproven:{event.id}")
    payload = {
        "finding": str(finding_id),
        "subject": payload_of(start)["subject"],
        "class": Finding.Class.CRITICAL.value,
        "text": f"Restored, proof missing: {event.payload['reason']}",
    }
    return [_beside(event, "finding.add", "finding", finding_id, payload)]


def _impairs(event: Checked) -> list[Checked]:
    """Return the impairment that a finding of class impairment opens, exactly one a finding."""
    if event.kind not in ("finding.add", "finding.reclass", "finding.accept"):
        return []
    found = Finding.objects.filter(pk=event.stream_id).first()
    grade = event.payload.get("class") or (found.grade if found else "")
    impairment_id = impairment_id_of(event.stream_id)
    if grade != Finding.Class.IMPAIRMENT or event.payload.get("proposed"):
        return []
    if event.kind != "finding.add" and Impairment.objects.filter(pk=impairment_id).exists():
        return []
    subject = event.payload.get("subject") or {
        "kind": found.subject_kind,  # type: ignore[union-attr]
        "id": str(found.subject_id),  # type: ignore[union-attr]
    }
    payload = {
        "impairment": str(impairment_id),
        "finding": str(event.stream_id),
        "subject": subject,
        "extent": (event.payload.get("text") or found.text)[:300],  # type: ignore[union-attr]
        "nature": "emergency",
        "unknown_start": False,
    }
    return [_beside(event, "impairment.start", "impairment", impairment_id, payload)]


def _beside(
    event: Checked, kind: str, stream: str, stream_id: UUID, payload: dict[str, Any]
) -> Checked:
    """Return an entry that comes with another one, at its time and by its author."""
    raw = event.as_dict() | {
        "id": str(uuid5(IMPAIRMENT_OF, str(event.id))),
        "stream": stream,
        "stream_id": str(stream_id),
        "kind": kind,
        "version": CURRENT[kind],
        "seen": [],
        "tablet": None,
        "seq": None,
        "payload": payload | on_paper.of(event.payload),
    }
    return check({name: value for name, value in raw.items() if value not in (None, [])})


def impairment_id_of(finding_id: UUID) -> UUID:
    """Return the id of the one impairment that a finding of class impairment opens."""
    return uuid5(IMPAIRMENT_OF, str(finding_id))


def verify(stream: str, stream_id: UUID) -> chain.Verdict:
    """Check one stream's chain against its stored entries and its head; name the first break."""
    rows = Event.objects.filter(stream=stream, stream_id=stream_id).order_by("position")
    entries = (
        chain.Entry(
            position=row.position,
            content=row.content_hash,
            status=row.status,
            received=row.received_at,
            hash=row.chain_hash,
            body=row.body.encode(),
            salt=bytes.fromhex(row.salt),
            number=row.number,
        )
        for row in rows
    )
    head = ChainHead.objects.filter(stream=stream, stream_id=stream_id).first()
    anchors = (
        []
        if head is None
        else [chain.Head(stream=stream, stream_id=stream_id, length=head.length, hash=head.head)]
    )
    return chain.verify(entries, stream=stream, stream_id=stream_id, anchors=anchors)


def payload_of(row: Event) -> dict[str, Any]:
    """Return what a stored event holds."""
    found: dict[str, Any] = json.loads(row.body)["payload"]
    return found
