"""Entries of a visit as they come by API or page: which may come, on which stream they stand."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from contractors.models import Membership, new_id
from inspections import closing, findings, on_paper, outages, planned, record, visits
from inspections.events.envelope import check
from inspections.events.fields import EventRefused
from inspections.events.kinds import CURRENT, KINDS
from inspections.models import Event, Visit

STREAM_OF = {
    "finding": "finding",
    "impairment": "impairment",
    "outage": "impairment",
    "sample": "sample",
}


def append(
    visit: Visit,
    given: Sequence[Mapping[str, Any]],
    *,
    by: Membership,
    via: str = Event.Via.API,
) -> list[record.Appended]:
    """Append entries to a visit's record, all or none.

    Parameters
    ----------
    given
        kind and payload; id, stream, stream_id and seen where the defaults don't fit. With
        `paper` in the payload, `at` is when it was taken down; `typed_at` is now where left out.
        An end may name proofs that come before it in the same list.

    Raises
    ------
    EventRefused
        Naming the entry by its place, the field, its value and what is accepted.
    NeedsLicence
        When an outage is to end with proof missing and the member holds no licence today.
    """
    entries = []
    for place, raw in enumerate(given):
        entry = _entry(visit, raw, by)
        try:
            check(entry)
        except EventRefused as refused:
            field = f"[{place}].{refused.field.removeprefix('event.')}"
            raise EventRefused(field, refused.value, refused.accepted) from refused
        _check_place(visit, entry, place)
        entries.append(entry)
    done: list[record.Appended] = []
    with transaction.atomic():
        for part in _parts(entries):
            for place, entry in part:
                _check_work(visit, entry, place, by)
            ready = [entry for _place, entry in part]
            done += record.append(ready, via=via, by=by, building=visit.building)
        for entry in entries:
            if entry["kind"] == "visit.hand_over":
                planned.hand_over(visit, UUID(entry["payload"]["to"]), by=by)
    return done


def _parts(
    entries: Sequence[dict[str, Any]],
) -> list[list[tuple[int, dict[str, Any]]]]:
    """Begin anew at each end: its proofs stand in the record by then."""
    parts: list[list[tuple[int, dict[str, Any]]]] = [[]]
    for place, entry in enumerate(entries):
        if entry["kind"] in outages.ENDS and parts[-1]:
            parts.append([])
        parts[-1].append((place, entry))
    return parts


def _check_work(visit: Visit, entry: Mapping[str, Any], place: int, by: Membership) -> None:
    """Hold what is entered for many at once, and an end as proven, to the rules of a tablet."""
    try:
        closing.check_bulk(entry["kind"], entry["payload"], visit)
        outages.check_end(entry["kind"], entry["payload"], visit.building)
        findings.check_link(entry["kind"], entry["payload"], visit.building)
        visits.check_signature(visit, entry["kind"], entry["payload"], by)
    except EventRefused as refused:
        raise EventRefused(f"[{place}].{refused.field}", refused.value, refused.accepted) from None


def _check_place(visit: Visit, entry: Mapping[str, Any], place: int) -> None:
    """Keep a finding's or impairment's stream at its own building."""
    if entry["stream"] == "visit":
        return
    of_it = Event.objects.filter(stream=entry["stream"], stream_id=entry["stream_id"])
    if of_it.exclude(building=visit.building).exists():
        accepted = f"a {entry['stream']} of this building"
        raise EventRefused(f"[{place}].stream_id", entry["stream_id"], accepted)


def _entry(visit: Visit, raw: Mapping[str, Any], by: Membership) -> dict[str, Any]:
    kind = KINDS[raw["kind"], CURRENT[raw["kind"]]]
    payload = on_paper.stamped(raw["payload"])
    if payload.get("result") == "restored_proof_missing":
        licence = visits.licence_of(by, timezone.now())
        if licence is None:
            raise findings.NeedsLicence
        payload["licence"] = licence
    stream = raw.get("stream") or (kind.streams[0] if kind.key == "" else STREAM_OF[kind.key])
    stream_id: UUID | str = raw.get("stream_id") or visit.pk
    if kind.key:
        payload.setdefault(kind.key, str(raw.get("stream_id") or raw.get("id") or new_id()))
        stream_id = raw.get("stream_id") or str(payload[kind.key])
    return {
        "id": str(raw.get("id") or new_id()),
        "stream": stream,
        "stream_id": str(stream_id),
        "visit": str(visit.pk),
        "kind": kind.name,
        "version": kind.version,
        **({"seen": [str(one) for one in raw["seen"]]} if raw.get("seen") else {}),
        "by": str(by.pk),
        "payload": payload,
    }
