"""A visit as its page shows it: the report's facts, what is missing, and every entry."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.http import HttpResponse

from contractors import files
from contractors.refusal import Refusal
from inspections import closing, mismatches, projections, record, report, settling
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.fold import Subject, VisitPicture
from inspections.events.kinds import CURRENT, KINDS
from inspections.models import Event, Finding, Photo, Report, Result, Visit
from inspections.templatetags.inspections_look import payload_text, told_event

State = Visit.State
SHOWN_FIRST = 12


class ReportBeingMade(Refusal):
    """The PDF of a report is made after the seal; it is not there yet."""

    code = "report_being_made"
    status = 409
    sentence = "The PDF is being made. Ask again in a moment."


def of(visit: Visit) -> dict[str, Any]:
    """Return what the page of a visit shows."""
    facts = report.facts(visit, version=0, code="")
    seen = projections.picture(visit.pk)
    _point(facts, mismatches.likely(seen.steps, visit.building.units))
    entries = _entries(visit, seen)
    missing = closing.missing(visit, seen) if visit.state == State.OPEN else []
    found = Finding.objects.filter(visit=visit).order_by("found_at")
    return {
        "facts": facts,
        "missing": missing[:SHOWN_FIRST],
        "missing_more": missing[SHOWN_FIRST:],
        "missing_count": len(missing),
        "is_on_test": seen.on_test is not None,
        "conflicts": settling.conflicts(visit) if seen.conflicts else [],
        "not_arrived": len(seen.not_arrived),
        "lines": _lines(visit),
        "findings": list(found),
        "photos": list(Photo.objects.filter(visit=visit).order_by("taken_at")),
        "station": seen.station,
        "review": seen.review.payload if seen.review else {},
        "cancelled": seen.cancelled.payload if seen.cancelled else {},
        "entries": entries,
        "late": [one for one in entries if one["is_late"]],
        "after_seal": [one for one in entries if one["is_after_seal"]],
        "held": [one for one in entries if one["status"] == "held"],
    }


def _point(facts: dict[str, Any], found: Mapping[UUID, mismatches.Likely]) -> None:
    """Lay beside each step of the page what its mismatch points to."""
    for system in facts["systems"]:
        for step in system["steps"]:
            step["likely"] = found.get(UUID(step["id"]))


def as_known(visit: Visit, entry: Event) -> dict[str, Any]:
    """Return what an entry holds as it is known now, amendments laid over it."""
    standing = projections.picture(visit.pk).amendments.get(entry.id, ())
    return dict(standing[-1].payload["value"]) if standing else record.payload_of(entry)


def words_of(visit: Visit, entry: Event, payload: dict[str, Any]) -> str:
    """Return what an entry says, in one line: what, about which item, in which words."""
    kind = told_event({"kind": entry.kind})
    subject = _subject(payload, Places(visit.building_id))
    name = f"{kind}, {subject}" if subject else kind
    return f"{name}: {payload_text(payload)}"


def pdf_of(made: Report) -> HttpResponse:
    """Return a report's PDF as a download, or refuse while it is being made."""
    if made.pdf is None:
        raise ReportBeingMade
    answer = HttpResponse(files.read(made.pdf), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="{made.pdf.name}"'
    return answer


def _lines(visit: Visit) -> list[dict[str, Any]]:
    """Return what is planned and not answered yet, in water order."""
    places = Places(visit.building_id)
    answered = set(Result.objects.filter(visit=visit).values_list("subject_id", "activity"))
    found = []
    for line in visit.lines.order_by("id"):
        if (line.subject_id, line.activity) in answered:
            continue
        subject = Subject(line.subject_kind, line.subject_id)
        above, order = places.place(subject)
        activity = catalogue().activities.get(line.activity)
        found.append(
            {
                "task": activity.task if activity else line.activity,
                "subject": places.name(subject),
                "above": above,
                "order": order,
                "latest_on": line.latest_on,
            }
        )
    return sorted(found, key=lambda one: one["order"])


def _entries(visit: Visit, seen: VisitPicture) -> list[dict[str, Any]]:
    late = {event.id for event in seen.late}
    after_seal = {event.id for event in seen.after_seal}
    rows = Event.objects.filter(visit_id=visit.pk).select_related("by__user")
    places = Places(visit.building_id)
    return [
        {
            "id": row.id,
            "kind": row.kind,
            "at": row.happened_at,
            "by": row.by.user.name if row.by else "",
            "via": row.via,
            "status": row.status,
            "payload": (payload := record.payload_of(row)),
            "subject": _subject(payload, places),
            "is_late": row.id in late,
            "is_after_seal": row.id in after_seal,
            "is_amended": row.id in seen.amendments,
            "is_amendable": KINDS[row.kind, CURRENT[row.kind]].amendable and row.status != "held",
        }
        for row in rows.order_by("number")
    ]


def _subject(payload: dict[str, Any], places: Places) -> str:
    if "device" in payload:
        return places.name(Subject("device", UUID(payload["device"])))
    given = payload.get("subject")
    return places.name(Subject(given["kind"], UUID(given["id"]))) if given else ""
