"""What a report tells of the work at each system: results, readings, steps, end state."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from buildings import units
from inspections import also, computed, mismatches, record
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.envelope import Event as Checked
from inspections.events.fold import Subject, VisitPicture
from inspections.models import Event, Reading, Visit
from inspections.trips import END_STATE_WORDS


def systems(
    visit: Visit,
    seen: VisitPicture,
    places: Places,
    when: Mapping[UUID, Event],
    names: Mapping[UUID, str],
) -> list[dict[str, Any]]:
    """Return, system by system as the water flows, what was done, read and seen.

    Parameters
    ----------
    when
        The rows of the visit's events by their ids.
    names
        What the members who recorded them are called.
    """

    def paper(of: Checked | Event | None) -> dict[str, Any]:
        return from_paper(when.get(of.id) if of else None, names)

    groups: dict[UUID | None, dict[str, Any]] = {}
    for system in sorted(places.systems.values(), key=lambda s: (s.position, s.code)):
        groups[system.pk] = _group(system.name, str(system.get_kind_display()))
    groups[None] = _group("The building", "")
    for item in seen.items:
        groups[_system_id(places, item.subject)]["results"].append(
            _item(item, places) | paper(item.heads.shown)
        )
    for reading in Reading.objects.filter(visit=visit).order_by("read_at", "id"):
        subject = Subject(reading.subject_kind, reading.subject_id)
        group = groups[_system_id(places, subject)]
        group["readings"].append(
            _reading(reading, places.name(subject), visit) | paper(when.get(reading.event_id))
        )
    for step in seen.steps:
        device = Subject("device", UUID(step.payload["device"]))
        groups[_system_id(places, device)]["steps"].append(_step(step, when) | paper(step))
    for proof in seen.proofs:
        subject = Subject("device", proof.device)
        words = str(END_STATE_WORDS.get(proof.item, proof.item))
        entry = {"item": proof.item, "words": words, "result": proof.result}
        entry |= paper(proof.heads.shown)
        groups[_system_id(places, subject)]["proofs"].append(entry)
    return [g for g in groups.values() if any(g[part] for part in _PARTS)]


_PARTS = ("results", "readings", "steps", "proofs")


def _group(name: str, kind: str) -> dict[str, Any]:
    return {"name": name, "kind": kind, **{part: [] for part in _PARTS}}


def _system_id(places: Places, subject: Subject) -> UUID | None:
    item = places.item(subject)
    if item is None:
        return None
    found: UUID | None = item.pk if subject.kind == "system" else item.system_id
    return found


def _item(item: Any, places: Places) -> dict[str, Any]:
    activity = catalogue().activities.get(item.activity)
    shown = item.heads.shown
    return {
        "activity": item.activity,
        "task": activity.task if activity else item.activity,
        "subject": places.name(item.subject),
        "answer": item.answer,
        "reason": shown.payload.get("reason", ""),
        "bulk": bool(shown.payload.get("bulk")),
        "also": [_also(one, places) for one in shown.payload.get("also", ())],
        "disputed": item.in_conflict,
        "as_found": item.as_found.word or "",
        "as_left": item.as_left.word or "",
    }


def _also(said: Mapping[str, Any], places: Places) -> str:
    """Return what else was done with an activity, in words."""
    words = str(also.WORDS.get(said["what"], said["what"].replace("_", " ")))
    names = ", ".join(places.called(UUID(one)) for one in said.get("on", ()))
    return f"{words}: {names}" if names else words


def _reading(row: Reading, subject: str, visit: Visit) -> dict[str, Any]:
    return {
        "subject": subject,
        "activity": row.activity,
        "name": row.name,
        "point": row.point,
        "typed": row.typed,
        "value_si": f"{row.value_si:.6g}",
        "shown": _shown(row, visit),
        "verdict": row.verdict,
        "last": row.judgement.get("last", ""),
        "last_on": row.judgement.get("last_on", ""),
        "limit": row.judgement.get("criterion", ""),
        "source": row.judgement.get("source", ""),
        "rule": row.judgement.get("rule", {}),
        "decided": _written(row.judgement.get("decided", {})),
        "computed": _written(row.judgement.get("computed", {})),
        "warnings": computed.warnings_of(row.judgement.get("computed")),
    }


def _written(kept: Any) -> Any:
    """Return kept data with its figures as texts, to the last bit; a report has no others."""
    return json.loads(json.dumps(kept), parse_float=str)


def _shown(row: Reading, visit: Visit) -> str:
    if row.unit == "word":
        return str(row.typed)
    return units.show(row.value_si, units.quantity_of(row.unit), visit.building.units)


def _step(event: Checked, when: Mapping[UUID, Event]) -> dict[str, Any]:
    payload = event.payload
    return {
        "id": str(event.id),
        "step": payload["step"],
        "action": payload["action"],
        "expected": payload["expected"],
        "seen": payload["seen"],
        "seconds": payload.get("seconds", ""),
        "deviation": payload["deviation"],
        "reason": payload.get("reason", ""),
        "verdict": _verdict(payload),
        "at": iso(when[event.id].happened_at) if event.id in when else "",
    }


def _verdict(payload: Mapping[str, Any]) -> str:
    """Return whether a step went as expected: gauges within their tolerance, signals as a set."""
    if payload["deviation"]:
        return "out of order"
    if mismatches.of_step(payload):
        return "not as expected"
    plain = {k for k in payload["expected"] if not k.endswith(("_psi", "_seconds"))}
    return "as expected" if plain <= payload["seen"].keys() else "not all seen"


def from_paper(row: Event | None, names: Mapping[UUID, str]) -> dict[str, Any]:
    """Return when an entry was taken down on paper and who typed it in when; nothing otherwise."""
    paper = record.payload_of(row).get("paper") if row else None
    if row is None or paper is None:
        return {}
    typed_by = names.get(row.by_id, "") if row.by_id else ""
    return {"paper": {"by": "", **paper, "typed_by": typed_by}}


def iso(at: datetime | None) -> str | None:
    """Return a moment as ISO 8601 text; None for none."""
    return at.isoformat() if at else None
