"""Visits of the past, recorded by a background job: one transaction each, resumable by number."""

import json
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone

from buildings.inventory import tell_changed
from buildings.models import Building
from contractors import files, outbox
from contractors.models import Membership, OutboxMessage, StoredFile
from contractors.scope import contractor_scope, current_contractor_id
from inspections import record
from inspections.catalogue_files import catalogue
from inspections.events.envelope import check as checked_event
from inspections.events.fold import shown_hash
from inspections.models import Event, Finding, Visit

VISIT_OF = UUID("7d2f3a52-52a6-5c36-8c5e-0a8a1b5f9c31")

Told = Callable[[int, int], None]
_told: ContextVar[Told | None] = ContextVar("told", default=None)


@dataclass
class Past:
    """A visit of the past as the job records it: plain data, ids resolved."""

    key: str
    building: str
    done_on: str
    kind: str
    evidence: str
    title: str
    technician: str | None
    imported: dict[str, Any]
    work: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    found: list[dict[str, Any]] = field(default_factory=list)
    closed: list[str] = field(default_factory=list)


def known_visits(numbers: list[str]) -> set[str]:
    """Return those of the visits' own numbers that are in the record."""
    found: set[str] = set()
    for start in range(0, len(numbers), 500):
        rows = Visit.objects.filter(import_key__in=numbers[start : start + 500])
        found |= set(rows.values_list("import_key", flat=True))
    return found


def run_now(message: OutboxMessage, told: Told) -> bool:
    """Do an import's job here rather than wait for a worker; say whether it was done here.

    Parameters
    ----------
    told
        Called with how many visits are in and how many there are.
    """
    token = _told.set(told)
    try:
        return outbox.run(message.pk)
    finally:
        _told.reset(token)


@outbox.on("portfolio.history", queue="bulk", long=True)
def record_history(message: OutboxMessage) -> None:
    """Record the visits and findings of an import; a second run goes on where the first ended."""
    told = _told.get()
    with contractor_scope(message.contractor_id):
        content = json.loads(files.read(StoredFile.objects.get(pk=message.payload["file"])))
        known = known_visits([one["key"] for one in content["visits"]])
    by_id = message.payload.get("by")
    by = Membership.objects.filter(pk=by_id).first() if by_id else None
    past = [Past(**one) for one in content["visits"]]
    for done, one in enumerate(past, start=1):
        if one.key not in known:
            with contractor_scope(message.contractor_id), transaction.atomic():
                _record_visit(one, by)
        if done % 10 == 0 or done == len(past):
            _progress(message, done, len(past))
            if told:
                told(done, len(past))
    with contractor_scope(message.contractor_id), transaction.atomic():
        for found in content["findings"]:
            _record_loose(found, by)
        touched = {p.building for p in past} | {f["building"] for f in content["findings"]}
        Building.objects.filter(pk__in=touched).update(history_complete=True)
        for building_id in sorted(touched):
            tell_changed(UUID(building_id), message.made_at)


def _progress(message: OutboxMessage, done: int, of: int) -> None:
    OutboxMessage.objects.filter(pk=message.pk).update(
        progress=100 * done // of, leased_until=timezone.now() + outbox.LEASE
    )


def _record_visit(past: Past, by: Membership | None) -> None:
    building = Building.objects.get(pk=past.building)
    visit = Visit.objects.create(
        pk=uuid5(VISIT_OF, f"{current_contractor_id()}:{past.key}"),
        building=building,
        kind=past.kind,
        evidence=past.evidence,
        title=past.title,
        technician_id=past.technician,
        planned_on=date.fromisoformat(past.done_on),
        import_key=past.key,
        catalogue_version=catalogue().version,
    )
    entries = [record.visit_entry(visit, "visit.import", past.imported, by=by)]
    work = [record.visit_entry(visit, kind, payload, by=by) for kind, payload in past.work]
    work += [_finding_entry(found["payload"], by, visit) for found in past.found]
    evidence = {"kind": "visit", "id": str(visit.pk)}
    closing = [
        _closing_entry(finding_id, evidence, past.done_on, by, visit) for finding_id in past.closed
    ]
    manifest = {"events": [one["id"] for one in work], "count": len(work), "photos": []}
    shown = shown_hash(checked_event(one) for one in work)
    entries += [
        *work,
        *closing,
        record.visit_entry(visit, "visit.hand_in", {"manifest": manifest, "shown": shown}, by=by),
        record.visit_entry(
            visit, "visit.waive_review", {"reason": "history from before, as imported"}, by=by
        ),
        record.visit_entry(visit, "visit.seal", {"shown": shown}, by=by),
    ]
    record.append(
        entries,
        via=Event.Via.IMPORT,
        by=by,
        building=building,
        happened_at=_noon(building, past.done_on),
    )


def _record_loose(found: Mapping[str, Any], by: Membership | None) -> None:
    """Record a finding that no imported visit made, and its end where it is told."""
    finding_id = found["payload"]["finding"]
    if Finding.objects.filter(pk=finding_id).exists():
        return
    building = Building.objects.get(pk=found["building"])
    record.append(
        [_finding_entry(found["payload"], by, None)],
        via=Event.Via.IMPORT,
        by=by,
        building=building,
        happened_at=_noon(building, found["found_on"]),
    )


def _finding_entry(
    payload: dict[str, Any], by: Membership | None, visit: Visit | None
) -> dict[str, Any]:
    return record.entry(
        "finding.add",
        payload,
        stream="finding",
        stream_id=UUID(payload["finding"]),
        visit=visit.pk if visit else None,
        by=by,
    )


def _closing_entry(
    finding_id: str, evidence: Mapping[str, str], on: str, by: Membership | None, visit: Visit
) -> dict[str, Any]:
    payload = {"finding": finding_id, "evidence": evidence, "on": on}
    return record.entry(
        "finding.close",
        payload,
        stream="finding",
        stream_id=UUID(finding_id),
        visit=visit.pk,
        by=by,
    )


def _noon(building: Building, day: str) -> datetime:
    return datetime.combine(date.fromisoformat(day), time(12), building.zone)
