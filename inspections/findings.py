"""Findings and impairments: recorded, classed, decided by the owner, closed by evidence."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from buildings.models import Building
from contractors.models import Membership, new_id
from contractors.refusal import Refusal
from inspections import record, visits
from inspections.events.fields import EventRefused
from inspections.models import Event, Finding, Impairment, Result, Visit

Grade = Finding.Class
State = Finding.State


class NeedsEvidence(Refusal):
    """A finding is closed by evidence only."""

    code = "needs_evidence"
    status = 409
    sentence = (
        "This finding is closed by the re-test owed, passed after the day it was found. "
        "An invoice or a word does not close it."
    )


class NeedsReplacement(Refusal):
    """A sample that failed is answered by replacing its whole area."""

    code = "needs_replacement"
    status = 409
    sentence = (
        "This finding is closed by the replacement of the whole area, recorded on its sample."
    )


class AlreadyEnded(Refusal):
    """The finding or impairment has ended."""

    code = "already_ended"
    status = 409
    sentence = "This ended before; nothing was changed."


class NotProposed(Refusal):
    """Only a proposed finding is accepted or dropped."""

    code = "not_proposed"
    status = 409
    sentence = "This finding is no proposal (any more); nothing was changed."


class NeedsLicence(Refusal):
    """Only a licensed person says that a system is restored though proof is missing."""

    code = "needs_licence"
    status = 403
    sentence = "Restored with proof missing is for a licensed person to say, with the reason."


def finding_entry(
    finding_id: UUID, kind: str, payload: Mapping[str, Any], *, by: Membership | None, **more: Any
) -> dict[str, Any]:
    """Return an entry on a finding's stream."""
    full = {"finding": str(finding_id), **payload}
    return record.entry(kind, full, stream="finding", stream_id=finding_id, by=by, **more)


def impairment_entry(
    impairment_id: UUID, kind: str, payload: Mapping[str, Any], *, by: Membership | None
) -> dict[str, Any]:
    """Return an entry on an impairment's stream."""
    full = {"impairment": str(impairment_id), **payload}
    return record.entry(kind, full, stream="impairment", stream_id=impairment_id, by=by)


def check_link(kind: str, payload: Mapping[str, Any], building: Building) -> None:
    """Refuse to link a finding to one that is not of this building.

    Raises
    ------
    EventRefused
        Naming what it was to be linked to.
    """
    if kind == "finding.link":
        there = Finding.objects.filter(pk=UUID(payload["to"]), building=building)
        if not there.exists():
            raise EventRefused("payload.to", payload["to"], "a finding of this building")


def add(
    building: Building,
    *,
    subject: tuple[str, UUID],
    grade: str,
    text: str,
    by: Membership,
    via: str = Event.Via.PAGE,
    visit: Visit | None = None,
    **more: Any,
) -> Finding:
    """Record a finding; one of class impairment opens its impairment in the same transaction.

    Parameters
    ----------
    subject
        Kind (building, system, riser, device) and id.
    grade
        impairment, critical, noncritical or observation.
    more
        code, location, count, measure, activity, as the record's kind `finding.add` names them.
    """
    finding_id = new_id()
    payload = {
        "subject": {"kind": subject[0], "id": str(subject[1])},
        "class": grade,
        "text": text,
        **more,
    }
    entry = finding_entry(
        finding_id, "finding.add", payload, by=by, visit=visit.pk if visit else None
    )
    record.append([entry], via=via, by=by, building=building)
    return _finding(finding_id)


def reclass(
    finding: Finding, *, grade: str, reason: str, by: Membership, via: str = Event.Via.PAGE
) -> Finding:
    """Change a finding's class, with the reason; the entry names those it takes the place of."""
    _still_open(finding)
    heads = Event.objects.filter(
        stream="finding", stream_id=finding.pk, kind__in=("finding.add", "finding.reclass")
    ).order_by("position")
    last = heads.last()
    entry = finding_entry(
        finding.pk,
        "finding.reclass",
        {"class": grade, "reason": reason},
        by=by,
        seen=[last.id] if last and last.kind == "finding.reclass" else _all_ids(heads),
    )
    record.append([entry], via=via, by=by)
    return _finding(finding.pk)


def _all_ids(rows: Any) -> list[UUID]:
    return list(rows.values_list("id", flat=True))


def settle_proposed(
    finding: Finding, *, accept: bool, reason: str, by: Membership, via: str = Event.Via.PAGE
) -> Finding:
    """Accept a proposed finding, or drop it with the reason.

    Raises
    ------
    NotProposed
        When it was accepted or dropped before, or never was a proposal.
    """
    if finding.state != State.PROPOSED:
        raise NotProposed
    kind = "finding.accept" if accept else "finding.drop"
    payload = {"text": reason} if accept else {"reason": reason}
    record.append([finding_entry(finding.pk, kind, payload, by=by)], via=via, by=by)
    return _finding(finding.pk)


def decide(
    finding: Finding,
    *,
    decision: str,
    on: date,
    until: date | None = None,
    reason: str = "",
    name: str = "",
    owner: UUID | None = None,
    by: Membership | None = None,
    via: str = Event.Via.OWNER,
) -> Finding:
    """Record the owner's decision: it moves the follow-up, never the finding."""
    _still_open(finding)
    payload = {
        "decision": decision,
        "on": on.isoformat(),
        "until": until.isoformat() if until else None,
        "reason": reason,
        "name": name,
        "owner": str(owner) if owner else None,
    }
    entry = finding_entry(finding.pk, "finding.decide", payload, by=by)
    record.append([entry], via=via, by=by)
    return _finding(finding.pk)


def close_by_result(
    finding: Finding, result: Result, *, by: Membership | None, via: str = Event.Via.PAGE
) -> Finding:
    """Close a finding on the re-test owed: passed, on its subject, after it was found.

    Raises
    ------
    NeedsEvidence
        When the result is no such evidence.
    """
    _still_open(finding)
    if finding.samples.exists():
        raise NeedsReplacement
    passed = result.answer in (Result.Answer.PASS, Result.Answer.IN_ORDER) and not result.disputed
    of_it = result.subject_id == finding.subject_id and finding.activity in ("", result.activity)
    if not passed or not of_it or result.recorded_at <= finding.found_at:
        raise NeedsEvidence
    payload = {
        "evidence": {"kind": "result", "id": str(result.event_id)},
        "on": result.performed_on.isoformat(),
    }
    entry = finding_entry(finding.pk, "finding.close", payload, by=by, visit=None)
    record.append([entry], via=Event.Via.SERVICE if by is None else via, by=by)
    return _finding(finding.pk)


def close_observation(
    finding: Finding, *, text: str, by: Membership, via: str = Event.Via.PAGE
) -> Finding:
    """Close an observation on the owner's decision; other classes need evidence."""
    _still_open(finding)
    decided = (
        Event.objects.filter(stream="finding", stream_id=finding.pk, kind="finding.decide")
        .order_by("position")
        .last()
    )
    if finding.grade != Grade.OBSERVATION or decided is None:
        raise NeedsEvidence
    payload = {"evidence": {"kind": "decision", "id": str(decided.id)}, "text": text}
    entry = finding_entry(finding.pk, "finding.close", payload, by=by)
    record.append([entry], via=via, by=by)
    return _finding(finding.pk)


def start_impairment(
    building: Building,
    *,
    subject: tuple[str, UUID],
    extent: str,
    nature: str,
    by: Membership | None,
    unknown_start: bool = False,
    started_at: datetime | None = None,
    finding: Finding | None = None,
    via: str = Event.Via.PAGE,
) -> Impairment:
    """Start an impairment: something is out of service from now (or a known moment) on."""
    impairment_id = record.impairment_id_of(finding.pk) if finding else new_id()
    payload = {
        "finding": str(finding.pk) if finding else None,
        "subject": {"kind": subject[0], "id": str(subject[1])},
        "extent": extent,
        "nature": nature,
        "unknown_start": unknown_start,
        "started_at": started_at.isoformat() if started_at else None,
    }
    entry = impairment_entry(impairment_id, "impairment.start", payload, by=by)
    record.append([entry], via=via, by=by, building=building)
    return Impairment.objects.get(pk=impairment_id)  # type: ignore[no-any-return]


def notice(
    impairment: Impairment,
    *,
    told: str,
    name: str,
    how: str,
    at: datetime,
    by: Membership,
    via: str = Event.Via.PAGE,
) -> None:
    """Record that somebody was told of an impairment."""
    payload = {"told": told, "name": name, "how": how, "at": at.isoformat()}
    entry = impairment_entry(impairment.pk, "impairment.notice", payload, by=by)
    record.append([entry], via=via, by=by)


def watch(
    impairment: Impairment,
    *,
    who: str,
    begun: datetime,
    ended: datetime | None,
    by: Membership,
    area: str = "",
    via: str = Event.Via.PAGE,
) -> None:
    """Record a leg of the fire watch."""
    until = ended.isoformat() if ended else None
    payload = {"who": who, "from": begun.isoformat(), "until": until, "area": area}
    entry = impairment_entry(impairment.pk, "impairment.watch", payload, by=by)
    record.append([entry], via=via, by=by)


def end_impairment(
    impairment: Impairment,
    *,
    proven: bool,
    reason: str = "",
    by: Membership,
    proofs: Sequence[UUID] = (),
    via: str = Event.Via.PAGE,
) -> Impairment:
    """End an impairment: by full proof, or by a licensed person though proof is missing.

    Without full proof a finding stays open until there is one.

    Parameters
    ----------
    proofs
        Entries of the record that prove the restoration; the doors ask `evidence` for them.

    Raises
    ------
    NeedsLicence
        When proof is missing and the member holds no licence today, or gives no reason.
    """
    if impairment.ended_at is not None:
        raise AlreadyEnded
    licence = visits.licence_of(by, timezone.now())
    if not proven and (licence is None or not reason):
        raise NeedsLicence
    payload = {
        "result": "restored_proven" if proven else "restored_proof_missing",
        "reason": reason,
        "licence": licence,
        "proofs": [str(proof) for proof in proofs] or None,
    }
    entry = impairment_entry(impairment.pk, "impairment.end", payload, by=by)
    record.append([entry], via=via, by=by, building=impairment.building)
    return Impairment.objects.get(pk=impairment.pk)  # type: ignore[no-any-return]


def _still_open(finding: Finding) -> None:
    if finding.state in (State.CLOSED, State.DROPPED):
        raise AlreadyEnded


def _finding(finding_id: UUID) -> Finding:
    found: Finding = Finding.objects.select_related("building", "system").get(pk=finding_id)
    return found
