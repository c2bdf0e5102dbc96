"""What does the report say: the facts of a sealed visit, frozen once and served as they are.

The PDF adds only layout. A correction is a new version; the former one stays as it was.
"""

import hashlib
import json
import secrets
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from contractors import files, outbox
from contractors.models import OutboxMessage, Person
from contractors.scope import contractor_scope
from inspections import (
    drawn_tests,
    licensed,
    past,
    pdf,
    projections,
    record,
    supply_board,
)
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.canonical import canonical_bytes
from inspections.events.fold import Subject, VisitPicture
from inspections.models import (
    ChainHead,
    Event,
    Finding,
    Impairment,
    Photo,
    Reading,
    Report,
    Sample,
    Visit,
)
from inspections.report_work import from_paper, iso, systems

FORMAT = "maindrain report 1"
CLASS_ORDER = ("impairment", "critical", "noncritical", "observation")


def facts(visit: Visit, version: int, code: str) -> dict[str, Any]:
    """Return everything the report of a visit says, as plain JSON values.

    Parameters
    ----------
    version
        Counted from 1; later ones name what was amended.
    code
        The verification code printed on every page.
    """
    seen = projections.picture(visit.pk)
    places = Places(visit.building_id)
    rows = Event.objects.filter(visit_id=visit.pk).select_related("by__user")
    when = {row.id: row for row in rows}
    names, findings = _names(rows), _findings(visit)
    return {
        "format": FORMAT,
        "code": code,
        "version": version,
        "number": visit.number,
        "contractor": {"name": visit.contractor.name, "code": visit.contractor.code},
        "building": _building(visit),
        "visit": _visit(visit, seen),
        "people": _people(visit, seen),
        "days": _days(visit, seen, when, names),
        "not_licensed": [lack.sentence for lack in licensed.flags(visit)],
        "result": _result(seen, findings, visit),
        "findings": findings,
        "from_paper": sum(bool(event.payload.get("paper")) for event in seen.counted),
        "impairments": _impairments(visit),
        "systems": systems(visit, seen, places, when, names),
        "samples": _samples(visit),
        "not_done": _not_done(seen, places),
        "photos": [_photo(photo) for photo in Photo.objects.filter(visit=visit).order_by("pk")],
        "signatures": _signatures(seen, when, names),
        "amendments": _amendments(seen, when),
        "notes": [event.payload["text"] for event in seen.notes],
        "catalogue": visit.catalogue_version or catalogue().version,
        "record": _record(visit),
    }


def _building(visit: Visit) -> dict[str, Any]:
    building = visit.building
    day = visit.performed_on
    return {
        "id": str(building.pk),
        "code": building.code,
        "name": building.name,
        "address": building.full_address,
        "time_zone": building.time_zone,
        "units": building.units,
        "standard": building.attributes.get("base_standard", ""),
        "edition": building.edition_on(day) if day else None,
        "jurisdiction": building.jurisdiction.name if building.jurisdiction else "",
        "station_account": building.station_account,
    }


def _visit(visit: Visit, seen: VisitPicture) -> dict[str, Any]:
    return {
        "id": str(visit.pk),
        "kind": visit.kind,
        "title": visit.title,
        "evidence": visit.evidence,
        "done_on": visit.performed_on.isoformat() if visit.performed_on else None,
        "opened_at": iso(visit.opened_at),
        "handed_in_at": iso(visit.handed_in_at),
        "sealed_at": iso(visit.sealed_at),
        "contact": seen.opened.payload.get("contact", "") if seen.opened else "",
        "weather": seen.opened.payload.get("weather", "") if seen.opened else "",
        "left_impaired": seen.left_impaired is not None,
        "station": [
            {
                "reference": period.on.payload.get("reference", ""),
                "account": period.on.payload.get("account", ""),
                "until": period.on.payload.get("until", ""),
                "off": period.off is not None,
                "signals": period.off.payload.get("signals", "") if period.off else "",
            }
            for period in seen.station
        ],
    }


def _people(visit: Visit, seen: VisitPicture) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for person in (visit.technician, visit.second):
        if person is None or visit.performed_on is None:
            continue
        licence = person.licence_on(visit.performed_on)
        found.append(
            {
                "name": person.name,
                "firm": person.firm,
                "licence": f"{licence.kind} {licence.number}".strip() if licence else "",
                "valid_until": licence.valid_until.isoformat() if licence else "",
            }
        )
    if seen.review is not None and seen.review.kind == "visit.review":
        found.append({"reviewed": True, "licence": seen.review.payload.get("licence", "")})
    return found


def _days(
    visit: Visit, seen: VisitPicture, when: Mapping[UUID, Event], names: Mapping[UUID, str]
) -> list[dict[str, Any]]:
    """Return day by day when somebody arrived, who recorded how much, and who handed over."""
    zone = visit.building.zone
    days: dict[str, dict[str, Any]] = {}
    for event in seen.counted:
        row = when[event.id]
        day = days.setdefault(
            row.happened_at.astimezone(zone).date().isoformat(),
            {"arrived": [], "people": {}, "handed_over": []},
        )
        if event.kind == "visit.open":
            day["arrived"].append(iso(projections.told(event, row, "at")))
        if event.kind == "visit.hand_over":
            day["handed_over"].append(f"{event.payload['name']}: {event.payload['text']}")
        if event.schema.work and row.by_id:
            name = names[row.by_id]
            day["people"][name] = day["people"].get(name, 0) + 1
    return [
        {
            "day": day,
            "arrived": known["arrived"],
            "people": [{"name": n, "entries": count} for n, count in known["people"].items()],
            "handed_over": known["handed_over"],
        }
        for day, known in sorted(days.items())
        if known["people"]
    ]


def _names(rows: Iterable[Event]) -> dict[UUID, str]:
    """Return what the members who recorded something are called."""
    members = {row.by.pk: row.by for row in rows if row.by is not None}
    people = Person.objects.filter(membership_id__in=list(members))
    known = {person.membership_id: person.name for person in people}
    return {pk: known.get(pk) or one.user.name or one.user.email for pk, one in members.items()}


def _result(seen: VisitPicture, findings: list[dict[str, Any]], visit: Visit) -> str:
    """Return the result in one line."""
    counts: dict[str, int] = defaultdict(int)
    for finding in findings:
        counts[finding["class"]] += finding["state"] == "open"
    running = Impairment.objects.filter(building=visit.building, ended_at=None).count()
    left = "One system was" if running == 1 else f"{running} systems were"
    first = f"{left} left out of service." if running else "All systems were left in service."
    words = [
        f"{counts[grade]} {name}"
        for grade, name in (
            ("critical", "critical"),
            ("noncritical", "noncritical"),
            ("observation", "noted as observation"),
        )
        if counts[grade]
    ]
    return f"{first} Open findings: {', '.join(words)}." if words else f"{first} No open finding."


def _findings(visit: Visit) -> list[dict[str, Any]]:
    rows = Finding.objects.filter(building=visit.building).exclude(
        state__in=(Finding.State.DROPPED, Finding.State.PROPOSED)
    )
    if visit.performed_on:
        rows = rows.filter(found_on__lte=visit.performed_on).exclude(
            closed_on__lt=visit.performed_on
        )
    photos: dict[UUID, list[str]] = defaultdict(list)
    pictured = Photo.objects.filter(visit__building=visit.building, finding_id__isnull=False)
    for finding_id, photo_id in pictured.order_by("pk").values_list("finding_id", "pk"):
        photos[finding_id].append(str(photo_id))
    return sorted(
        (
            {
                "id": str(row.pk),
                "class": row.grade,
                "state": row.state,
                "text": row.text,
                "location": row.location,
                "count": row.count,
                "system": row.system.name if row.system else "",
                "measure": row.temporary_measure,
                "found_on": row.found_on.isoformat(),
                "respond_by": row.respond_by.isoformat() if row.respond_by else None,
                "closed_on": row.closed_on.isoformat() if row.closed_on else None,
                "this_visit": row.visit_id == visit.pk,
                "photos": photos.get(row.pk, []),
            }
            for row in rows.select_related("system")
        ),
        key=lambda one: (CLASS_ORDER.index(one["class"]), one["found_on"]),
    )


def _impairments(visit: Visit) -> list[dict[str, Any]]:
    rows = Impairment.objects.filter(building=visit.building).select_related("system")
    return [
        {
            "id": str(row.pk),
            "extent": row.extent,
            "kind": row.kind,
            "system": row.system.name if row.system else "",
            "since": iso(row.started_at),
            "unknown_start": row.unknown_start,
            "ended_at": iso(row.ended_at),
            "ended_how": row.ended_how,
            "steps": [
                {"what": step.what, "who": step.who, "how": step.how, "at": iso(step.at)}
                for step in row.steps.all()
            ],
        }
        for row in rows
        if row.ended_at is None or row.visit_id == visit.pk
    ]


def _not_done(seen: VisitPicture, places: Places) -> list[dict[str, str]]:
    return [
        {
            "task": catalogue().activities[item.activity].task
            if item.activity in catalogue().activities
            else item.activity,
            "subject": places.name(item.subject),
            "reason": item.heads.shown.payload.get("reason", "") if item.heads.shown else "",
        }
        for item in seen.items
        if item.answer == "could_not"
    ]


def histories(visit: Visit) -> list[dict[str, Any]]:
    """Return what main drains and trip times read over the years, where they were read today.

    Only a frozen report has them: the page of a visit links to each item's own history.
    """
    places = Places(visit.building_id)
    rows = Reading.objects.filter(visit=visit, name__in=_OVER_YEARS).order_by("read_at", "id")
    read = list(dict.fromkeys(rows.values_list("subject_kind", "subject_id", "name", "point")))
    items = {pk: places.item(Subject(kind, pk)) for kind, pk, _name, _point in read}
    there = [item for item in items.values() if item is not None]
    for item in there:
        item.building = visit.building
    pasts = past.of_items(there, visit.performed_on, _OVER_YEARS)
    found = []
    for _kind, pk, name, point in read:
        line = pasts[pk].line(name, point) if pk in pasts else None
        if line is not None and len(line.given.points) > 1:
            found.append(past.drawing(line, f"{line.words}, {items[pk].name}"))
    return found


_OVER_YEARS = ("residual_pressure", "trip_time", "delivery_time")


def _samples(visit: Visit) -> list[dict[str, Any]]:
    """Return what was taken on the visit for a laboratory, whose word may still be waited for."""
    return [
        {
            "id": str(row.pk),
            "activity": row.activity,
            "area": row.area,
            "in_area": row.in_area,
            "owed": row.owed,
            "pieces": [{"tag": one["tag"], "where": one.get("where", "")} for one in row.pieces],
            "taken_on": row.taken_on.isoformat(),
            "taken_by": row.taken_by,
            "sent_on": row.sent_on.isoformat(),
            "sent_by": row.sent_by,
            "laboratory": row.laboratory,
            "reference": row.reference,
            "state": row.state,
            "reported_on": row.reported_on.isoformat() if row.reported_on else None,
            "certificate": row.certificate_number,
            "failed": [one["tag"] for one in row.failed],
        }
        for row in Sample.objects.filter(visit=visit).order_by("taken_on", "pk")
    ]


def _photo(photo: Photo) -> dict[str, Any]:
    return {
        "id": str(photo.pk),
        "sha256": photo.blob_sha256,
        "file": photo.file.sha256 if photo.file else None,
        "finding": str(photo.finding_id) if photo.finding_id else None,
    }


def _signatures(
    seen: VisitPicture, when: Mapping[UUID, Event], names: Mapping[UUID, str]
) -> list[dict[str, Any]]:
    return [
        {
            "role": event.payload["role"],
            "name": event.payload.get("name", ""),
            "capacity": event.payload.get("capacity", ""),
            "reason": event.payload.get("reason", ""),
            "shown": event.payload["shown"],
            "place": _place(event.payload.get("place")),
            "path": _path(event.payload.get("strokes", "")),
            "at": iso(when[event.id].happened_at) if event.id in when else "",
            **from_paper(when.get(event.id), names),
        }
        for event in seen.signatures
    ]


def _path(strokes: str) -> str:
    """Return a drawn signature as the path of a picture of 600 by 200; empty for none."""
    return " ".join(f"M{one.replace(' ', ' L')}" for one in strokes.split(";") if one)


def _place(place: Mapping[str, str] | None) -> str:
    """Return where something was signed: latitude, longitude and how near that is."""
    if not place:
        return ""
    near = f" ± {place['accuracy_m']} m" if place.get("accuracy_m") else ""
    return f"{place['latitude']}, {place['longitude']}{near}"


def _amendments(seen: VisitPicture, when: Mapping[UUID, Event]) -> list[dict[str, Any]]:
    found = []
    for standing in seen.amendments.values():
        for event in standing:
            target = when.get(UUID(event.payload["target"]))
            before = record.payload_of(target) if target else {}
            found.append(
                {
                    "kind": event.payload["kind"],
                    "reason": event.payload["reason"],
                    "text": event.payload["text"],
                    "before": before,
                    "after": event.payload["value"],
                    "at": iso(when[event.id].happened_at) if event.id in when else "",
                }
            )
    return found


def _record(visit: Visit) -> dict[str, Any]:
    """Return where the visit's chain stood: what a later check compares."""
    head = ChainHead.objects.filter(stream="visit", stream_id=visit.pk).first()
    return {"length": head.length, "head": head.head} if head else {}


# --- made ------------------------------------------------------------------------------------


def freeze(visit: Visit) -> Report:
    """Store the next version of a visit's report; the facts are never changed afterwards."""
    last = visit.reports.order_by("-version").first()
    version = last.version + 1 if last else 1
    code = last.code if last else f"{visit.contractor.code}-{secrets.token_urlsafe(16)}"
    drawn = {"histories": histories(visit), "supplies": supply_board.of_visit(visit)}
    drawn["tests"] = drawn_tests.of_visit(visit)
    text = canonical_bytes(facts(visit, version, code) | drawn)
    made: Report = Report.objects.create(
        visit=visit,
        version=version,
        facts=text.decode(),
        sha256=hashlib.sha256(text).hexdigest(),
        code=code[:40],
        sealed_at=timezone.now(),
    )
    return made


@outbox.on("report.make", queue="reports", long=True)
def make(message: OutboxMessage) -> None:
    """Freeze the facts of a sealed visit and render the PDF of them; safe to run twice."""
    with contractor_scope(message.contractor_id):
        report = _frozen(message)
    with contractor_scope(message.contractor_id):
        pictures = photos_of(report)
    content = pdf.render(json.loads(report.facts), report.facts, pictures)
    with contractor_scope(message.contractor_id), transaction.atomic():
        if Report.objects.filter(pk=report.pk, pdf=None).exists():
            name = f"report-{report.visit.number or report.code}-v{report.version}.pdf"
            report.pdf = files.store(content, media_type="application/pdf", name=name)
            report.save(update_fields=["pdf"])
            building = report.visit.building_id
            outbox.add("building.recorded", f"{building}:report:{report.pk}", building=building)


def _frozen(message: OutboxMessage) -> Report:
    """Return the version this job is to make, frozen by an earlier attempt or now."""
    visit = Visit.objects.select_related("building", "contractor", "technician", "second").get(
        pk=message.payload["visit"]
    )
    begun = Report.objects.filter(visit=visit, pdf=None).order_by("version").last()
    if begun is not None:
        found: Report = begun
        return found
    last: Report | None = Report.objects.filter(visit=visit).order_by("version").last()
    if last is not None and json.loads(last.facts)["record"] == _record(visit):
        return last
    with transaction.atomic():
        return freeze(visit)


def photos_of(report: Report) -> dict[str, bytes]:
    """Return the pictures of a report's visit, by the id of the photo."""
    rows = Photo.objects.filter(visit=report.visit, file__isnull=False).select_related("file")
    return {str(row.pk): files.read(row.file) for row in rows}
