"""What events amount to, stored for speed: visits, results, readings, findings, impairments.

Only this module writes those tables' derived columns. Every function derives from the events alone,
so that `rebuild` gives the same rows again.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from django.db.models import Q
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from contractors.models import TenantModel
from inspections import readings, subjects
from inspections.events.clock import put_right
from inspections.events.envelope import Event as Checked
from inspections.events.envelope import as_recorded, upgrade
from inspections.events.findings import FindingPicture, fold_finding
from inspections.events.fold import Proof, VisitPicture, fold
from inspections.events.outages import OutagePicture, fold_outage
from inspections.events.samples import SamplePicture, fold_sample
from inspections.models import (
    Event,
    Finding,
    Impairment,
    ImpairmentStep,
    Outage,
    Photo,
    Reading,
    Result,
    Sample,
    Stream,
    Visit,
)

RESULT_OF = UUID("0b1f5e43-7a40-5b7e-8f5d-0c3c1f1b2a77")


def follow(rows: Sequence[Event], visits: Mapping[UUID, Visit]) -> None:
    """Derive again whatever the new rows of the record touch, among it these visits."""
    for stream, derive in _ELSEWHERE.items():
        for stream_id in {row.stream_id for row in rows if row.stream == stream}:
            derive(stream_id)
    for found_again in {_link_of(row) for row in rows if row.kind == "finding.link"}:
        finding(found_again)
    for one in visits.values():
        fresh = [row for row in rows if row.visit_id == one.pk]
        if fresh and not _narrowly(one, fresh):
            _derive(one)
    if any(_reaches_far(row) or row.kind == "reading.add" for row in rows):
        for visit_id in _read_later(visits.values()):
            visit(visit_id)
    amended = {row.visit_id for row in rows if row.kind == "visit.amend"}
    for name, stream_id in _streams_of(amended):
        _ELSEWHERE[Stream(name)](stream_id)


def _read_later(visits: Collection[Visit]) -> list[UUID]:
    """Return the visits with readings after the first of some visits, oldest first.

    Readings are judged beside the last ones, which a record that came late has changed.
    """
    days = [one.performed_on for one in visits if one.performed_on]
    if not days:
        return []
    buildings = {one.building_id for one in visits if one.performed_on}
    rows = Reading.objects.filter(building_id__in=buildings, read_on__gt=min(days))
    rows = rows.exclude(visit_id__in=[one.pk for one in visits]).order_by("read_on")
    return list(dict.fromkeys(rows.values_list("visit_id", flat=True)))


def rebuild() -> dict[str, int]:
    """Derive everything of the contractor in scope again from its events, and count it."""
    streams = Event.objects.values_list("stream", "stream_id").distinct()
    counts: dict[str, int] = {}
    derive = {**_ELSEWHERE, Stream.VISIT: visit}
    order = (Stream.FINDING, Stream.IMPAIRMENT, Stream.SAMPLE, Stream.VISIT)
    for stream, stream_id in sorted(streams, key=lambda pair: (pair[0] not in order, pair[0])):
        if stream in derive:
            derive[Stream(stream)](stream_id)
            counts[stream] = counts.get(stream, 0) + 1
    return counts


def picture(visit_id: UUID) -> VisitPicture:
    """Return what the events of a visit amount to now."""
    return fold(_events(Q(visit_id=visit_id)), visit=visit_id)


def disagrees(event: Checked, visit_id: UUID) -> bool:
    """Say whether an answer or a proof of a visit stands against another one there."""
    if event.kind not in ("item.set", "proof.set"):
        return False
    about = event.payload.get("device") or event.payload["subject"]["id"]
    rows = Q(visit_id=visit_id, kind__in=(event.kind, "visit.amend"), body__contains=about)
    for one in fold(_events(rows), visit=visit_id).conflicts:
        sides = (one.heads,) if isinstance(one, Proof) else (one.as_found, one.as_left)
        if any(side.in_conflict and event.id in side.ids for side in sides):
            return True
    return False


def checked(row: Event) -> Checked:
    """Return a stored row as the event that was recorded, in the newest version of its kind."""
    return upgrade(as_recorded(json.loads(row.body)))


def visit(visit_id: UUID) -> None:
    """Derive a visit's state, results, readings and photos from its events."""
    _derive(Visit.objects.select_related("building").get(pk=visit_id))


def _derive(row: Visit) -> None:
    visit_id = row.pk
    stored = list(_rows(Q(visit_id=visit_id)))
    seen = fold([checked(r) for r in stored], visit=visit_id)
    when = {r.id: r for r in stored}
    row.state = seen.state.value
    row.opened_at = _moment(when, seen.opened or seen.imported)
    row.handed_in_at = _moment(when, seen.handed_in)
    row.reviewed_at = _moment(when, seen.review)
    row.sealed_at = _moment(when, seen.sealed)
    row.performed_on = _performed_on(row, seen, stored)
    if seen.opened and seen.opened.payload.get("catalogue"):
        row.catalogue_version = seen.opened.payload["catalogue"]
    row.save(
        update_fields=[
            *("state", "opened_at", "handed_in_at", "reviewed_at", "sealed_at"),
            *("performed_on", "catalogue_version"),
        ]
    )
    _replace(Result, Q(visit_id=visit_id), _results(row, seen, when))
    _replace(Reading, Q(visit_id=visit_id), _readings(row, seen, when))
    _replace(Photo, Q(visit_id=visit_id), _photos(row, seen, when), keep=("file_id",))


def _narrowly(row: Visit, fresh: Sequence[Event]) -> bool:
    """Derive only the answers and readings that new entries touch; False where more may change.

    In an open visit without corrections, work at one item and activity changes that alone, so a
    day's entries cost the same one by one, however many came before.
    """
    asked = {_place_of(row) for row in fresh if row.kind in _NARROW}
    if len(asked) > MOST_NARROW or any(_reaches_far(row) for row in fresh):
        return False
    visit_id = row.pk
    before = Event.objects.filter(visit_id=visit_id).exclude(id__in=[one.id for one in fresh])
    if (
        row.state != Visit.State.OPEN
        or row.performed_on is None
        or before.filter(kind__in=_WHOLE).exists()
    ):
        return False
    if not asked:
        return True
    named = Q()
    for subject_id in {subject_id for subject_id, _activity in asked}:
        named |= Q(body__contains=str(subject_id))
    stored = [
        one
        for one in _rows(named & Q(visit_id=visit_id, kind__in=_NARROW))
        if _place_of(one) in asked
    ]
    seen = fold([checked(one) for one in stored], visit=visit_id)
    when = {one.id: one for one in stored}
    places = Q()
    for subject_id, activity in asked:
        places |= Q(subject_id=subject_id, activity=activity)
    _replace(Result, places & Q(visit_id=visit_id), _results(row, seen, when))
    if seen.readings:
        _replace(Reading, places & Q(visit_id=visit_id), _readings(row, seen, when))
    return True


# Entries that touch one item and activity; more places than these are folded with the whole visit.
_NARROW = ("item.set", "reading.add")
# Once a visit has one of these, all of it is folded.
_WHOLE = ("visit.amend", "visit.import")
MOST_NARROW = 20


def _reaches_far(row: Event) -> bool:
    return row.kind.startswith("visit.") or row.kind == "photo.attach"


def _link_of(row: Event) -> UUID:
    return UUID(json.loads(row.body)["payload"]["to"])


def _place_of(row: Event) -> tuple[UUID, str]:
    payload = json.loads(row.body)["payload"]
    return UUID(payload["subject"]["id"]), payload["activity"]


def results_known(building_id: UUID, on: date, known_at: datetime) -> list[Result]:
    """Return the results of a building up to a day, as the record told them at a moment.

    Nothing is written: a visit that the record has heard more of since is folded again from the
    events received by then, every other one is read as it is stored.
    """
    events = Event.objects.filter(building_id=building_id, visit_id__isnull=False)
    later = set(events.filter(received_at__gt=known_at).values_list("visit_id", flat=True))
    stored = Result.objects.filter(building_id=building_id, performed_on__lte=on)
    found = list(stored.exclude(visit_id__in=later).select_related("visit"))
    then: dict[UUID, list[Event]] = defaultdict(list)
    for row in _rows(Q(building_id=building_id, visit_id__in=later, received_at__lte=known_at)):
        if row.visit_id is not None:
            then[row.visit_id].append(row)
    for visit in Visit.objects.filter(pk__in=then).select_related("building"):
        rows = then[visit.pk]
        seen = fold([checked(row) for row in rows], visit=visit.pk)
        when = {row.id: row for row in rows}
        visit.opened_at = _moment(when, seen.opened or seen.imported)
        visit.performed_on = _performed_on(visit, seen, rows)
        found += [one for one in _results(visit, seen, when) if one.performed_on <= on]
    return sorted(found, key=lambda one: (one.performed_on, one.recorded_at, str(one.pk)))


def samples_known(building_ids: Sequence[UUID], known_at: datetime) -> list[Sample]:
    """Return the samples of buildings as the record told them at a moment; nothing is written."""
    streams: dict[UUID, list[Event]] = defaultdict(list)
    then = Q(stream=Stream.SAMPLE, building_id__in=building_ids, received_at__lte=known_at)
    for row in _rows(then):
        streams[row.stream_id].append(row)
    found = []
    for sample_id, rows in streams.items():
        seen = fold_sample([checked(row) for row in rows])
        if seen is not None:
            found.append(Sample(pk=sample_id, **_sample_values(seen, rows[0])))
    return found


def finding(finding_id: UUID) -> None:
    """Derive one finding from its stream."""
    rows = list(_rows(Q(stream=Stream.FINDING, stream_id=finding_id)))
    if not rows:
        return
    amendments = _amendments(rows)
    seen = fold_finding([checked(r) for r in [*rows, *amendments]])
    if seen is not None:
        values = _finding_values(seen, rows)
        Finding.objects.update_or_create(pk=finding_id, defaults=values)


def impairment(stream_id: UUID) -> None:
    """Derive one outage or impairment from its stream."""
    rows = list(_rows(Q(stream=Stream.IMPAIRMENT, stream_id=stream_id)))
    seen = fold_outage([checked(r) for r in [*rows, *_amendments(rows)]]) if rows else None
    if seen is None:
        return
    when = {r.id: r for r in rows}
    if seen.impairment is not None:
        values = _impairment_values(seen, rows[0], when)
        found, _made = Impairment.objects.update_or_create(pk=stream_id, defaults=values)
        taken = (*seen.notices, *seen.watches, *seen.tags)
        steps = [_step(found, event, when[event.id]) for event in taken]
        _replace(ImpairmentStep, Q(impairment_id=stream_id), steps)
    if seen.started.kind == "outage.start":
        Outage.objects.update_or_create(pk=stream_id, defaults=_outage_values(seen, rows[0], when))


def sample(sample_id: UUID) -> None:
    """Derive one sample from its stream."""
    rows = list(_rows(Q(stream=Stream.SAMPLE, stream_id=sample_id)))
    seen = fold_sample([checked(r) for r in rows]) if rows else None
    if seen is not None:
        Sample.objects.update_or_create(pk=sample_id, defaults=_sample_values(seen, rows[0]))


# What a stream of its own is derived by; findings first, which the others point at.
_ELSEWHERE: dict[Stream, Callable[[UUID], None]] = {
    Stream.FINDING: finding,
    Stream.IMPAIRMENT: impairment,
    Stream.SAMPLE: sample,
}


def _rows(which: Q) -> Iterable[Event]:
    live: Iterable[Event] = Event.objects.filter(which).exclude(status="held").order_by("number")
    return live


def _events(which: Q) -> list[Checked]:
    return [checked(row) for row in _rows(which)]


def _amendments(rows: Sequence[Event]) -> list[Event]:
    visits = {row.visit_id for row in rows if row.visit_id}
    return list(_rows(Q(visit_id__in=visits, kind="visit.amend"))) if visits else []


def _streams_of(visits: Iterable[UUID | None]) -> list[tuple[str, UUID]]:
    others = Q(visit_id__in=list(visits), stream__in=(Stream.FINDING, Stream.IMPAIRMENT))
    return list(Event.objects.filter(others).values_list("stream", "stream_id").distinct())


def told(event: Checked, row: Event, name: str) -> datetime | None:
    """Return a moment that an entry tells, put right where its tablet's clock was wrong."""
    text = event.payload.get(name)
    moment = parse_datetime(text) if text else None
    return put_right(moment, wall=event.wall, at=row.happened_at) if moment else None


def _moment(when: dict[UUID, Event], event: Checked | None, name: str = "at") -> datetime | None:
    if event is None:
        return None
    return told(event, when[event.id], name) or when[event.id].happened_at


def _performed_on(row: Visit, seen: VisitPicture, stored: Sequence[Event]) -> date | None:
    if seen.imported is not None:
        return date.fromisoformat(seen.imported.payload["done_on"])
    begun = row.opened_at or next((r.happened_at for r in stored), None)
    return begun.astimezone(row.building.zone).date() if begun else None


def _results(row: Visit, seen: VisitPicture, when: dict[UUID, Event]) -> list[Result]:
    made = []
    read: dict[tuple[str, str], set[str]] = defaultdict(set)
    for event in seen.readings:
        payload = event.payload
        read[payload["subject"]["id"], payload["activity"]].add(payload["name"])
    for item in seen.items:
        shown = item.heads.shown
        assert shown is not None
        made.append(
            Result(
                id=uuid5(RESULT_OF, f"{row.pk}:{item.subject.id}:{item.activity}"),
                visit=row,
                building_id=row.building_id,
                subject_kind=item.subject.kind,
                subject_id=item.subject.id,
                activity=item.activity,
                answer=item.answer,
                reason=shown.payload.get("reason", "")[:400],
                in_bulk=bool(shown.payload.get("bulk")),
                disputed=item.in_conflict,
                read=sorted(read[str(item.subject.id), item.activity]),
                also=[
                    {"what": one["what"], "on": list(one.get("on", ()))}
                    for one in shown.payload.get("also", ())
                ],
                performed_on=row.performed_on or date.min,
                recorded_at=when[shown.id].happened_at,
                catalogue_version=row.catalogue_version,
                event_id=shown.id,
            )
        )
    return made


def _readings(row: Visit, seen: VisitPicture, when: dict[UUID, Event]) -> list[Reading]:
    made = {}
    for event in seen.readings:
        payload, subject = event.payload, event.payload["subject"]
        made[event.id] = Reading(
            id=event.id,
            visit=row,
            building_id=row.building_id,
            subject_kind=subject["kind"],
            subject_id=UUID(subject["id"]),
            activity=payload["activity"],
            name=payload["name"],
            point=payload.get("point", ""),
            value_si=readings.to_si(payload["value"]),
            typed=payload["typed"],
            unit=payload["value"]["unit"],
            read_on=row.performed_on or date.min,
            read_at=when[event.id].happened_at,
            event_id=event.id,
        )
    rows = list(made.values())
    written = when[seen.imported.id].received_at if seen.imported else None
    readings.judge(row, rows, written)
    return rows


def _photos(row: Visit, seen: VisitPicture, when: dict[UUID, Event]) -> list[Photo]:
    return [
        Photo(
            id=UUID(event.payload["blob"]),
            visit=row,
            subject_kind=event.payload.get("subject", {}).get("kind", ""),
            subject_id=_uuid(event.payload.get("subject", {}).get("id")),
            finding_id=_uuid(event.payload.get("finding")),
            blob_sha256=event.payload["sha256"],
            taken_at=when[event.id].happened_at,
        )
        for event in seen.photos
    ]


def _uuid(text: str | None) -> UUID | None:
    return UUID(text) if text else None


def _finding_values(seen: FindingPicture, rows: Sequence[Event]) -> dict[str, Any]:
    first, added = rows[0], seen.added.payload
    subject = added["subject"]
    when = {row.id: row for row in rows}
    found_on = _local_day(first)
    decided = seen.decision.payload if seen.decision else {}
    again = _found_again(seen.id)
    counts = [one["count"] for one in again if "count" in one]
    grade = seen.class_
    return {
        "building_id": first.building_id,
        "visit_id": first.visit_id,
        "system_id": subjects.system_of(subject["kind"], UUID(subject["id"])),
        "subject_kind": subject["kind"],
        "subject_id": UUID(subject["id"]),
        "grade": grade,
        "state": seen.state.value,
        "deficiency": added.get("code", ""),
        "activity": added.get("activity", ""),
        "text": added["text"][:600],
        "location": added.get("location", "")[:160],
        "count": counts[-1] if counts else added.get("count", 1),
        "temporary_measure": added.get("measure", "")[:300],
        "found_on": found_on,
        "found_at": first.happened_at,
        "seen_again": len(again),
        "respond_by": subjects.customary_response(grade, added.get("code", ""), found_on),
        "decision": decided.get("decision", ""),
        "decision_until": date.fromisoformat(decided["until"]) if decided.get("until") else None,
        "decision_text": decided.get("reason", "")[:400],
        "closed_on": _local_day(when[seen.closed.id]) if seen.closed else None,
        "closed_by_visit_id": when[seen.closed.id].visit_id if seen.closed else None,
    }


def _found_again(finding_id: UUID) -> list[dict[str, Any]]:
    """Return what was recorded each time a finding was found again, oldest first."""
    links = _rows(Q(kind="finding.link", body__contains=f'"to":"{finding_id}"'))
    return [dict(json.loads(row.body)["payload"]) for row in links]


def _local_day(row: Event) -> date:
    return timezone.localtime(row.happened_at, row.building.zone).date()


def _impairment_values(
    seen: OutagePicture, first: Event, when: dict[UUID, Event]
) -> dict[str, Any]:
    assert seen.impairment is not None
    begun, subject = seen.impairment.payload, seen.impairment.payload["subject"]
    starts = seen.impairment if begun.get("started_at") else seen.started
    ended = seen.ended.payload if seen.ended else {}
    return {
        "building_id": first.building_id,
        "visit_id": first.visit_id,
        "finding_id": _uuid(begun.get("finding")),
        "system_id": subjects.system_of(subject["kind"], UUID(subject["id"])),
        "subject_kind": subject["kind"],
        "subject_id": UUID(subject["id"]),
        "kind": begun["nature"],
        "extent": begun["extent"][:300],
        "started_at": _moment(when, starts, "started_at"),
        "unknown_start": begun["unknown_start"],
        "expected_end": _instant(begun.get("expected_end")),
        "ended_at": _moment(when, seen.ended, "ended_at"),
        "ended_how": ended.get("result", ""),
        "end_reason": ended.get("reason", "")[:400],
    }


def _outage_values(seen: OutagePicture, first: Event, when: dict[UUID, Event]) -> dict[str, Any]:
    subject = seen.started.payload["subject"]
    return {
        "building_id": first.building_id,
        "visit_id": first.visit_id,
        "system_id": subjects.system_of(subject["kind"], UUID(subject["id"])),
        "subject_id": UUID(subject["id"]),
        "started_at": _moment(when, seen.started, "started_at"),
        "ended_at": _moment(when, seen.ended, "ended_at"),
        "proof_missing": seen.proof_missing,
        "became_id": seen.id if seen.impairment else None,
    }


def _sample_values(seen: SamplePicture, first: Event) -> dict[str, Any]:
    sent, subject = seen.sent.payload, seen.sent.payload["subject"]
    told = seen.reported.payload if seen.reported else {}
    tested = {piece["tag"]: piece for piece in told.get("pieces", [])}
    certificate = told.get("certificate", {})
    whole = seen.replacements and not seen.still_owed
    return {
        "building_id": first.building_id,
        "visit_id": first.visit_id,
        "system_id": subjects.system_of(subject["kind"], UUID(subject["id"])),
        "finding_id": _uuid(told.get("finding")),
        "certificate_id": _uuid(certificate.get("file")),
        "state": seen.state.value,
        "outcome": seen.outcome,
        "subject_kind": subject["kind"],
        "subject_id": UUID(subject["id"]),
        "activity": sent["activity"],
        "groups": sent["groups"],
        "still_owed": list(seen.still_owed),
        "area": sent["area"],
        "in_area": sent["in_area"],
        "owed": sent.get("owed"),
        "pieces": [{**one, **tested.get(one["tag"], {})} for one in sent["pieces"]],
        "taken_on": date.fromisoformat(sent["taken_on"]),
        "taken_by": sent["taken_by"],
        "sent_on": date.fromisoformat(sent["sent_on"]),
        "sent_by": sent.get("sent_by", ""),
        "laboratory": sent["laboratory"],
        "reference": sent.get("reference", ""),
        "reported_on": date.fromisoformat(told["reported_on"]) if told else None,
        "certificate_number": certificate.get("number", ""),
        "certificate_sha256": certificate.get("sha256", ""),
        "replaced_on": max(date.fromisoformat(e.payload["on"]) for e in seen.replacements)
        if whole
        else None,
    }


def _instant(text: str | None) -> datetime | None:
    return parse_datetime(text) if text else None


def _step(found: Impairment, event: Checked, row: Event) -> ImpairmentStep:
    payload = event.payload
    what, who, how, at = {
        "impairment.notice": (f"told {payload.get('told')}", "name", "how", "at"),
        "impairment.watch": ("watch kept", "who", "area", "from"),
        "impairment.tag": (
            f"tag {payload.get('state')}".replace("_", " "),
            "place",
            "number",
            "at",
        ),
    }[event.kind]
    return ImpairmentStep(
        id=event.id,
        impairment=found,
        what=what[:40],
        who=payload[who][:160],
        how=payload.get(how, "")[:160],
        at=told(event, row, at) or row.happened_at,
    )


def _replace(
    model: type[TenantModel], which: Q, wanted: Sequence[Any], *, keep: tuple[str, ...] = ()
) -> None:
    """Make the rows of a table what they should be, with as few writes as that takes."""
    there = {row.id: row for row in model.objects.filter(which)}
    names = [f.attname for f in model._meta.concrete_fields if f.attname not in keep]
    fresh, changed = [], []
    for row in wanted:
        old = there.pop(row.id, None)
        if old is None:
            fresh.append(row)
        elif any(getattr(old, name) != getattr(row, name) for name in names):
            changed.append(row)
    if there:
        model.objects.filter(id__in=list(there)).delete()
    model.objects.bulk_create(fresh)
    columns = [n for n in names if n not in ("id", "contractor_id")]
    if len(changed) == 1:
        changed[0]._state.adding = False
        changed[0].save(update_fields=columns)
    elif changed:
        model.objects.bulk_update(changed, [model._meta.get_field(n).name for n in columns])
