"""What in the record may close a finding or prove that a system is restored."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext as _

from contractors.models import Membership
from contractors.refusal import Refusal
from inspections import findings, outages, record
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.fold import Subject
from inspections.models import Event, Finding, Impairment, Outage, Result, Sample
from inspections.trips import END_STATE_WORDS

PASSED = (Result.Answer.PASS, Result.Answer.IN_ORDER)
MOST_OFFERED = 50


class NotProven(Refusal):
    """A restoration is proven by entries of the record made after the impairment began."""

    code = "not_proven"
    status = 409
    sentence = (
        "The restoration is not proven. Accepted: passed results and proven end-state items of "
        "this system, recorded after %(since)s, with none left unproven (%(open)s unproven);"
        " where a valve was shut, that valve seen open and secured, and a flow test after it."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """An entry of the record that speaks for a restoration, in words."""

    id: UUID
    words: str
    at: datetime
    proven: bool


def closing_results(finding: Finding) -> list[Result]:
    """Return the results on which a finding may be closed, newest first."""
    if finding.samples.exists():
        return []
    rows = Result.objects.filter(
        subject_id=finding.subject_id, recorded_at__gt=finding.found_at, answer__in=PASSED
    ).filter(disputed=False)
    if finding.activity:
        rows = rows.filter(activity=finding.activity)
    return list(rows.select_related("visit").order_by("-recorded_at")[:MOST_OFFERED])


def restoration_proofs(impairment: Impairment) -> list[Proof]:
    """Return what was proven, passed or left unproven at a system since its impairment began."""
    places = Places(impairment.building_id)
    since = {"building": impairment.building, "recorded_at__gt": impairment.started_at}
    of_it = _of_system(impairment, places)
    found = [
        Proof(
            id=row.event_id,
            words=_words(places, row),
            at=row.recorded_at,
            proven=True,
        )
        for row in Result.objects.filter(**since, answer__in=PASSED, disputed=False)
        .filter(of_it)
        .order_by("-recorded_at")[:MOST_OFFERED]
    ]
    return [*_end_state(impairment, places), *_replacements(impairment), *found]


def end_proven(
    impairment: Impairment, proofs: Sequence[UUID], *, by: Membership, via: str
) -> Impairment:
    """End an impairment on full proof.

    Raises
    ------
    NotProven
        When an entry named is no proof of this system, none is named, or an end-state item
        recorded since is not proven.
    AlreadyEnded
        When it ended before.
    """
    if impairment.ended_at is not None:
        raise findings.AlreadyEnded
    known = restoration_proofs(impairment)
    unproven = sum(1 for proof in known if not proof.proven)
    accepted = {proof.id for proof in known if proof.proven}
    short = (
        outages.lacking(impairment.pk, impairment.building, proofs) if _was_shut(impairment) else []
    )
    if not proofs or unproven or short or not set(proofs) <= accepted:
        since = impairment.started_at.astimezone(impairment.building.zone)
        raise NotProven(since=since.strftime("%Y-%m-%d %H:%M"), open=unproven)
    return findings.end_impairment(impairment, proven=True, proofs=proofs, by=by, via=via)


def _was_shut(impairment: Impairment) -> bool:
    """Say whether it began with water shut for work, which asks for proof of its own."""
    return bool(Outage.objects.filter(pk=impairment.pk).exists())


def _of_system(impairment: Impairment, places: Places) -> Q:
    if impairment.system_id is None:
        return Q()
    devices = [d.pk for d in places.devices.values() if d.system_id == impairment.system_id]
    risers = [r.pk for r in places.risers.values() if r.system_id == impairment.system_id]
    return Q(subject_id__in=[impairment.system_id, *risers, *devices])


def _end_state(impairment: Impairment, places: Places) -> list[Proof]:
    """Return the last word on each end-state item recorded since, in the order of the record."""
    rows = Event.objects.filter(
        building=impairment.building, kind="proof.set", happened_at__gt=impairment.started_at
    ).exclude(status="held")
    last: dict[tuple[str, str], tuple[Event, dict[str, Any]]] = {}
    for row in rows.order_by("number"):
        payload = record.payload_of(row)
        device = places.devices.get(UUID(payload["device"]))
        if device is None or impairment.system_id not in (None, device.system_id):
            continue
        last[payload["device"], payload["item"]] = (row, payload)
    return [
        Proof(
            id=row.id,
            words=_("%(device)s: %(item)s")
            % {
                "device": places.devices[UUID(payload["device"])].name,
                "item": END_STATE_WORDS.get(payload["item"], payload["item"]),
            },
            at=row.happened_at,
            proven=payload["result"] != "not_proven",
        )
        for row, payload in last.values()
    ]


def _replacements(impairment: Impairment) -> list[Proof]:
    """Return the replacement of a whole area that answers the impairment's own finding."""
    if impairment.finding_id is None:
        return []
    samples = Sample.objects.filter(
        finding_id=impairment.finding_id, state=Sample.State.REPLACED
    ).values("pk")
    rows = Event.objects.filter(stream="sample", stream_id__in=samples, kind="sample.replace")
    words = _("The whole area of the sample that failed is replaced")
    return [
        Proof(id=row.id, words=words, at=row.happened_at, proven=True)
        for row in rows.order_by("-position")[:1]
    ]


def _words(places: Places, row: Result) -> str:
    activity = catalogue().activities.get(row.activity)
    name = places.name(Subject(row.subject_kind, row.subject_id))
    return f"{name}: {activity.task if activity else row.activity}"
