"""What open findings and impairments call for: owners told, repairs or decisions owed, re-tests.

Follow-ups are derived from findings and decisions. A day once given stays: it moves when the class
changes, when the owner decides, or when a person re-dates it, never because a rule was changed.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings.models import Building
from inspections import findings, record
from inspections.models import Event, Finding, Impairment, ImpairmentStep, Outage, Result
from scheduling import escalation, legal
from scheduling.models import FollowUp
from scheduling.responses import Owed, Times

Kind, State = FollowUp.Kind, FollowUp.State


@dataclass(frozen=True, slots=True)
class Wanted:
    """A follow-up that a finding calls for.

    Attributes
    ----------
    cause
        What set the day: class and decision. While it stays, the day stays.
    """

    kind: str
    due_on: date
    basis: str
    cause: str
    state: str = State.OPEN


def derive(building: Building, now: datetime) -> None:
    """Bring a building's follow-ups up to date, and close what a re-test has proven."""
    today = timezone.localdate(now, building.zone)
    _close_proven(building)
    legal.derive(building, now)
    there: dict[UUID, dict[str, FollowUp]] = {}
    for row in FollowUp.objects.filter(building=building).exclude(finding=None):
        there.setdefault(row.finding_id, {})[row.kind] = row
    unfinished = [
        finding_id
        for finding_id, rows in there.items()
        if any(row.state != State.DONE for row in rows.values())
    ]
    wanted = Q(state=Finding.State.OPEN) | Q(pk__in=unfinished)
    rows = list(Finding.objects.filter(wanted, building=building))
    if rows:
        classed = _classed_on(building, rows)
        times = Times(building.jurisdiction_id)
        for finding in rows:
            asked = list(_wanted(finding, today, classed.get(finding.pk), times))
            _store(finding, asked, there.get(finding.pk, {}), today, now)
    _proofs_owed(building, today, now)


def _close_proven(building: Building) -> None:
    """Close the open findings whose re-test passed after they were found."""
    rows = Finding.objects.filter(building=building, state=Finding.State.OPEN).exclude(activity="")
    waiting = {(row.subject_id, row.activity): [] for row in rows}  # type: ignore[var-annotated]
    for row in rows:
        waiting[row.subject_id, row.activity].append(row)
    if not waiting:
        return
    passed = Result.objects.filter(
        subject_id__in={subject for subject, _activity in waiting},
        activity__in={activity for _subject, activity in waiting},
        answer__in=(Result.Answer.PASS, Result.Answer.IN_ORDER),
        disputed=False,
    ).order_by("recorded_at")
    for proof in passed:
        found = waiting.get((proof.subject_id, proof.activity), [])
        for finding in [one for one in found if one.found_at < proof.recorded_at]:
            findings.close_by_result(finding, proof, by=None)
            found.remove(finding)


def _classed_on(building: Building, rows: Sequence[Finding]) -> dict[UUID, date]:
    """Return the day on which findings got their present class, where it was changed."""
    entries = Event.objects.filter(
        building=building,
        stream="finding",
        kind="finding.reclass",
        stream_id__in=[row.pk for row in rows],
    ).order_by("position")
    grades = {row.pk: row.grade for row in rows}
    found: dict[UUID, date] = {}
    for stream_id, body, at in entries.values_list("stream_id", "body", "happened_at"):
        if json.loads(body)["payload"]["class"] == grades[stream_id]:
            found[stream_id] = timezone.localdate(at, building.zone)
    return found


def _wanted(
    finding: Finding, today: date, classed_on: date | None, times: Times
) -> Iterable[Wanted]:
    if finding.state != Finding.State.OPEN:
        return
    words = _("the owner is told of every finding")
    yield Wanted(Kind.TELL_OWNER, finding.found_on, words, finding.grade)
    owed = times.owed(finding.grade, finding.deficiency, classed_on or finding.found_on)
    if owed is not None:
        yield _response(finding, owed)
    if finding.activity and finding.decision == "approve":
        by = owed.by if owed else today
        yield Wanted(Kind.RETEST, by, _("re-test after the repair"), finding.grade)


def _response(finding: Finding, owed: Owed) -> Wanted:
    """Return the repair or decision owed; the owner's decision ends or re-dates it."""
    if finding.decision == "defer" and finding.decision_until:
        until = finding.decision_until
        cause, words = f"{finding.grade}:defer:{until}", _("the owner's decision")
        return Wanted(Kind.RESPOND, until, words, cause, State.DEFERRED)
    if finding.decision == "decline":
        cause, words = f"{finding.grade}:decline", _("the owner declined")
        return Wanted(Kind.RESPOND, owed.by, words, cause, State.DECLINED)
    return Wanted(Kind.RESPOND, owed.by, owed.why, finding.grade)


def _store(
    finding: Finding,
    wanted: Iterable[Wanted],
    there: dict[str, FollowUp],
    today: date,
    now: datetime,
) -> None:
    left = {kind: row for kind, row in there.items() if kind != Kind.AUTHORITY}
    for one in wanted:
        row = left.pop(one.kind, None)
        if row is None:
            _make(finding, one, today, now)
        elif row.cause == "":
            # Made before causes were kept: its day stands.
            row.cause, row.grade = one.cause, finding.grade
            row.save(update_fields=["cause", "grade"])
        elif row.cause != one.cause or (row.state == State.DONE and row.kind != Kind.TELL_OWNER):
            _change(row, finding, one, now)
    if finding.state != Finding.State.OPEN and Kind.AUTHORITY in there:
        left[Kind.AUTHORITY] = there[Kind.AUTHORITY]
    for row in left.values():
        if row.state != State.DONE:
            _done(row, today)


def _make(finding: Finding, one: Wanted, today: date, now: datetime) -> None:
    FollowUp.objects.get_or_create(
        finding=finding,
        kind=one.kind,
        defaults={
            "building_id": finding.building_id,
            "state": one.state,
            "due_on": one.due_on,
            "basis": one.basis[:200],
            "cause": one.cause,
            "grade": finding.grade,
            "opened_on": today,
            "next_at": None if one.kind == Kind.RETEST else now,
        },
    )


def _change(row: FollowUp, finding: Finding, one: Wanted, now: datetime) -> None:
    """Give a follow-up another day; its ladder begins anew."""
    declined = row.state == State.DECLINED or one.state == State.DECLINED
    same_day = declined and row.due_on == one.due_on
    row.state, row.due_on, row.basis = one.state, one.due_on, one.basis[:200]
    row.cause, row.grade, row.done_on = one.cause, finding.grade, None
    row.sent = row.sent if same_day else {}
    row.next_at = None if one.kind == Kind.RETEST else now
    row.save(
        update_fields=[
            *("state", "due_on", "basis", "cause", "grade", "done_on", "sent", "next_at"),
        ]
    )


def _done(row: FollowUp, today: date) -> None:
    row.state, row.done_on, row.next_at = State.DONE, today, None
    row.save(update_fields=["state", "done_on", "next_at"])


def _proofs_owed(building: Building, today: date, now: datetime) -> None:
    """Keep one follow-up for each running impairment, and end it with the impairment."""
    rows = FollowUp.objects.filter(building=building, finding=None).exclude(impairment=None)
    there = {(row.impairment_id, row.kind): row for row in rows.select_related("impairment")}
    for impairment in Impairment.objects.filter(building=building, ended_at=None):
        if (impairment.pk, Kind.PROOF) in there:
            continue
        FollowUp.objects.get_or_create(
            impairment=impairment,
            kind=Kind.PROOF,
            defaults={
                "building": building,
                "grade": Finding.Class.IMPAIRMENT,
                "cause": Finding.Class.IMPAIRMENT,
                "due_on": today,
                "basis": _("out of service: restore and prove it, or keep interim measures"),
                "opened_on": today,
                "next_at": now,
            },
        )
    told = _authorities_told([row.impairment_id for row in there.values()])
    for row in there.values():
        ended = row.impairment.ended_at is not None
        if row.state == State.DONE and row.kind == Kind.PROOF and not ended:
            # The record was corrected: it runs on.
            row.state, row.done_on, row.next_at = State.OPEN, None, now
            row.save(update_fields=["state", "done_on", "next_at"])
        elif row.state != State.DONE and (
            ended or (row.kind == Kind.AUTHORITY and row.impairment_id in told)
        ):
            _done(row, today)


def _authorities_told(impairments: Sequence[UUID]) -> set[UUID]:
    if not impairments:
        return set()
    rows = ImpairmentStep.objects.filter(
        impairment_id__in=impairments, what=escalation.TOLD_AUTHORITY
    )
    return set(rows.values_list("impairment_id", flat=True))


# --- by the clock ----------------------------------------------------------------------------


def tick(now: datetime) -> None:
    """Do what time alone calls for, for the contractor in scope; safe to do twice."""
    escalation.tick(now)
    _impair_long_outages(now)


def _impair_long_outages(now: datetime) -> None:
    """Make an attended shutdown that lasts too long an impairment, by the service's own word."""
    rows = Outage.objects.filter(ended_at=None, became=None, started_at__lt=now)
    for outage in rows.select_related("building__jurisdiction"):
        if outage.started_at + timedelta(minutes=outage.building.attended_minutes) >= now:
            continue
        subject: Any = Event.objects.filter(
            stream="impairment", stream_id=outage.pk, kind="outage.start"
        ).first()
        payload = record.payload_of(subject)
        entry = findings.impairment_entry(
            outage.pk,
            "impairment.start",
            {
                "subject": payload["subject"],
                "extent": payload["extent"],
                "nature": "planned",
                "unknown_start": False,
                "started_at": outage.started_at.isoformat(),
            },
            by=None,
        )
        record.append([entry], via=Event.Via.SERVICE, by=None)
