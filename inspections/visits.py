"""The life of a visit after it is planned: opened, handed in, reviewed, sealed; or cancelled."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from contractors import outbox
from contractors.doors import OFFICE
from contractors.models import Membership, Person
from contractors.refusal import Refusal
from inspections import access, closing, on_paper, projections, record
from inspections.events.fields import EventRefused
from inspections.events.missing import Missing
from inspections.models import Event, Visit

State = Visit.State


class NotLicensed(Refusal):
    """A review needs a licensed person."""

    code = "not_licensed"
    status = 403
    sentence = "A review needs a person with a licence that holds today."


class StillMissing(Refusal):
    """The visit lacks things that have to be recorded first."""

    code = "still_missing"
    status = 409
    sentence = "%(count)s still missing: %(first)s"

    def __init__(self, missing: list[Missing]) -> None:
        super().__init__(count=len(missing), first=missing[0].sentence)
        self.missing = missing


def hand_in(
    visit: Visit,
    *,
    by: Membership,
    via: str = Event.Via.PAGE,
    paper: Mapping[str, Any] | None = None,
) -> Visit:
    """Hand a visit in, with the list of what was recorded; without a review owed it is sealed.

    Parameters
    ----------
    paper
        Where it was written down on paper: `at`, an instant as text, and `by`. It was handed in
        then.

    Raises
    ------
    StillMissing
        Naming the first thing that is missing, end-state items before all others.
    """
    with transaction.atomic():
        seen = projections.picture(visit.pk)
        missing = closing.missing(visit, seen)
        if missing:
            raise StillMissing(missing)
        recorded = [str(e.id) for e in seen.counted if e.schema.work]
        photos = [e.payload["sha256"] for e in seen.photos]
        manifest = {"events": recorded, "count": len(recorded), "photos": photos}
        payload: dict[str, Any] = {"manifest": manifest, "shown": seen.shown}
        if paper:
            payload = on_paper.stamped(payload | {"paper": dict(paper)})
        record.append([record.visit_entry(visit, "visit.hand_in", payload, by=by)], via=via, by=by)
        after_hand_in(visit)
    return _fresh(visit)


def after_hand_in(visit: Visit) -> None:
    """Seal at once where the contractor waives the review."""
    contractor = visit.contractor
    if contractor.review_waived:
        reason = {"reason": "waived by the contractor's setting"}
        waived = record.visit_entry(visit, "visit.waive_review", reason, by=None)
        record.append([waived], via=Event.Via.SERVICE, by=None)
        seal(visit, by=None)


def review(
    visit: Visit, *, accept: bool, text: str = "", by: Membership, via: str = Event.Via.PAGE
) -> Visit:
    """Accept a visit as complete and rightly classed, and seal it; or send it back with a text.

    Raises
    ------
    NotLicensed
        When the reviewer holds no licence today.
    """
    licence = licence_of(by, timezone.now())
    if licence is None or by.role not in OFFICE:
        raise NotLicensed
    verdict = "accept" if accept else "send_back"
    payload: Mapping[str, Any] = {"verdict": verdict, "text": text, "licence": licence}
    with transaction.atomic():
        record.append([record.visit_entry(visit, "visit.review", payload, by=by)], via=via, by=by)
        if accept:
            seal(visit, by=by)
    return _fresh(visit)


def licence_of(member: Membership, now: datetime) -> str | None:
    """Return the number (or kind) of a licence that a member holds today; None without one."""
    person = access.person_of(member)
    licence = person.licence_on(now.date()) if person else None
    return (licence.number or licence.kind) if licence else None


def check_signature(
    visit: Visit, kind: str, payload: Mapping[str, Any], member: Membership
) -> None:
    """Refuse an apprentice's signature as technician where a licensed person is on the visit.

    Parameters
    ----------
    member
        Who records it; what was signed on paper is signed by the one it names.

    Raises
    ------
    EventRefused
        Naming who signs.
    """
    if kind != "signature.add" or payload["role"] != "technician":
        return
    now = timezone.now()
    crew = [p for p in (visit.technician, visit.second) if p]
    person = access.person_of(member)
    if payload.get("paper"):
        person = next((one for one in crew if _is_named(one, payload["name"])), None)
    if person not in crew or person.licence_on(now.date()) is not None:
        return
    licensed = [one.name for one in crew if one.licence_on(now.date())]
    if licensed:
        accepted = f"the signature of {' or '.join(licensed)}, who holds a licence"
        raise EventRefused("payload.role", "technician", accepted)


def _is_named(person: Person, name: str) -> bool:
    return person.name.casefold().split() == name.casefold().split()


def seal(visit: Visit, *, by: Membership | None) -> None:
    """Seal a reviewed visit, give it its report number and have the report made."""
    shown = projections.picture(visit.pk).shown
    entry = record.visit_entry(visit, "visit.seal", {"shown": shown}, by=by)
    record.append([entry], via=Event.Via.SERVICE, by=by)
    last = Visit.objects.aggregate(last=Max("number"))["last"] or 0
    Visit.objects.filter(pk=visit.pk, number=None).update(number=last + 1)
    outbox.add("report.make", f"{visit.pk}:1", visit=visit.pk)


def amend(
    visit: Visit,
    *,
    target: UUID,
    value: Mapping[str, Any],
    reason: str,
    text: str,
    by: Membership,
    via: str = Event.Via.PAGE,
) -> Visit:
    """Correct an entry of a handed-in or sealed visit; the entry stays, the report gets a version.

    Parameters
    ----------
    target
        The entry that is wrong.
    value
        Its payload as it should have been.
    reason
        mistyped, wrong_unit, wrong_subject, instrument_fault, left_out, judged_anew or other.
    """
    wrong = Event.objects.filter(id=target, visit_id=visit.pk).first()
    if wrong is None:
        raise EventRefused("payload.target", str(target), "an entry of this visit")
    kind = wrong.kind
    standing = projections.picture(visit.pk).amendments.get(target, ())
    payload = {
        "target": str(target),
        "kind": kind,
        "value": dict(value),
        "reason": reason,
        "text": text,
    }
    with transaction.atomic():
        before = [amendment.id for amendment in standing]
        entry = record.visit_entry(visit, "visit.amend", payload, by=by, seen=before)
        done = record.append([entry], via=via, by=by)
        fresh = _fresh(visit)
        if fresh.state == State.SEALED:
            outbox.add("report.make", f"{visit.pk}:{done[0].id}", visit=visit.pk)
    return fresh


def cancel(
    visit: Visit, *, reason: str, text: str, by: Membership, via: str = Event.Via.PAGE
) -> Visit:
    """Cancel a visit that will not take place; what it was to do stays due."""
    payload = {"reason": reason, "text": text}
    record.append([record.visit_entry(visit, "visit.cancel", payload, by=by)], via=via, by=by)
    return _fresh(visit)


def _fresh(visit: Visit) -> Visit:
    found: Visit = Visit.objects.select_related("building", "technician").get(pk=visit.pk)
    return found
