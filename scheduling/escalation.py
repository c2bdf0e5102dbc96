"""Climbing the ladder: owners told, reminders, and who is told next when nothing happens.

A follow-up says when it is looked at next. The row is claimed, its steps are marked and the
messages are written in one transaction, each message under a key of its own: two schedulers by
mistake still tell everybody once.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from buildings.models import Building
from contractors import audit, notices
from contractors.doors import Role
from contractors.models import Membership, OwnerAccess
from contractors.refusal import FieldRefused, Refusal
from contractors.scope import current_contractor_id
from inspections.models import Finding, Impairment, ImpairmentStep
from scheduling.ladders import Ladders, Step, next_turn, reached
from scheduling.models import FollowUp, Ladder

Kind, State, Rung = FollowUp.Kind, FollowUp.State, Ladder.Rung
CLIMBING = (Kind.RESPOND, Kind.PROOF)
BATCH = 500
TOLD_AUTHORITY = "told authority"


class NotYours(Refusal):
    """A follow-up of this kind ends by what happens, not by a word."""

    code = "ends_by_evidence"
    status = 409
    sentence = "This ends by the repair, the re-test or the proof of restoration, not by a word."


@dataclass(frozen=True, slots=True)
class Reader:
    """Somebody who is told: an address, and where they are for the quiet hours."""

    email: str
    zone: ZoneInfo


def tick(now: datetime) -> None:
    """Do what is due on every ladder of the contractor in scope; safe to do twice at once."""
    ladders = Ladders(timezone.localdate(now))
    ids = FollowUp.objects.filter(next_at__lte=now).order_by("next_at", "pk")
    for pk in list(ids.values_list("pk", flat=True)[:BATCH]):
        with transaction.atomic():
            row = _claim(pk, now)
            if row is not None:
                _look_at(row, ladders, now)


def _claim(pk: object, now: datetime) -> FollowUp | None:
    """Return the follow-up locked for us; None where another scheduler has or had it."""
    rows = FollowUp.objects.select_for_update(skip_locked=True, of=("self",))
    rows = rows.select_related(
        "building__jurisdiction",
        "building__contractor",
        "finding__visit__technician",
        "impairment__visit__technician",
    )
    found: FollowUp | None = rows.filter(pk=pk, next_at__lte=now).first()
    return found


def _look_at(row: FollowUp, ladders: Ladders, now: datetime) -> None:
    row.next_at = None
    if row.state in (State.OPEN, State.DEFERRED):
        if row.kind == Kind.TELL_OWNER:
            _tell_owner(row, now)
        elif row.kind in CLIMBING and _is_impaired(row):
            row.next_at = now + timedelta(days=1)
        elif row.kind in CLIMBING:
            _climb(row, ladders, now)
    row.save(
        update_fields=[
            *("next_at", "sent", "reminders", "reminded_on", "escalated", "state", "done_on"),
        ]
    )


def _is_impaired(row: FollowUp) -> bool:
    """Say whether a finding's impairment still runs: its own clock tells everybody then."""
    finding = row.finding
    if finding is None or row.grade != Finding.Class.IMPAIRMENT:
        return False
    return Impairment.objects.filter(finding=finding, ended_at=None).exists()


def _tell_owner(row: FollowUp, now: datetime) -> None:
    finding = row.finding
    assert finding is not None
    zone = row.building.zone
    for email in owners_of(row.building, now):
        notices.send(
            f"finding:{finding.pk}:told:{finding.grade}:{email}",
            kind="finding.opened",
            to=email,
            subject=_("%(class)s at %(building)s")
            % {
                "class": finding.get_grade_display().capitalize(),
                "building": row.building.name,
            },
            body=finding_text(finding, None),
            urgent=finding.grade == Finding.Class.IMPAIRMENT,
            zone=zone,
        )
    Finding.objects.filter(pk=finding.pk, owner_told_at=None).update(owner_told_at=now)
    row.state, row.done_on = State.DONE, timezone.localdate(now, zone)


# --- the ladder ------------------------------------------------------------------------------


def grade_of_ladder(row: FollowUp) -> str:
    """Return whose ladder a follow-up climbs.

    The clock of an impairment is its own; what is left to repair once the system is back in
    service climbs like a critical deficiency.
    """
    if row.kind == Kind.PROOF:
        return Finding.Class.IMPAIRMENT
    impaired = row.grade == Finding.Class.IMPAIRMENT
    return Finding.Class.CRITICAL if impaired else row.grade


def _climb(row: FollowUp, ladders: Ladders, now: datetime) -> None:
    grade = grade_of_ladder(row)
    steps = ladders.steps(grade)
    passed = _passed(row, now)
    done = reached(steps, passed, row.sent)
    if done:
        _tell(row, done, now)
        row.sent = {**row.sent, **{step.mark: turn for step, turn in done}}
        row.reminders += 1
        row.reminded_on = timezone.localdate(now, row.building.zone)
        row.escalated = sum(1 for step in steps if step.turn(passed) is not None)
    following = next_turn(steps, passed)
    times = [_when(row, following)] if following is not None else []
    changes = ladders.changes_on(grade)
    if changes is not None:
        midnight = datetime.combine(changes, datetime.min.time())
        times.append(notices.instant(midnight, row.building.zone))
    row.next_at = min(times, default=None)


def _passed(row: FollowUp, now: datetime) -> float:
    if row.kind == Kind.PROOF:
        assert row.impairment is not None
        return max(0.0, row.impairment.hours(now))
    return float((timezone.localdate(now, row.building.zone) - row.due_on).days)


def _when(row: FollowUp, turn: int) -> datetime:
    """Return the instant of a turn: by the hour for an impairment, else in the morning."""
    if row.kind == Kind.PROOF:
        assert row.impairment is not None
        begun: datetime = row.impairment.started_at
        return begun + timedelta(hours=turn)
    morning = datetime.combine(
        row.due_on + timedelta(days=turn), row.building.contractor.quiet_until
    )
    return notices.instant(morning, row.building.zone)


def _tell(row: FollowUp, done: Sequence[tuple[Step, int]], now: datetime) -> None:
    """Tell everybody on the steps reached, each once, in the words of the highest step."""
    told: set[str] = set()
    for step, turn in done:
        if Rung.AUTHORITY in step.tell:
            _ask_to_tell_authority(row, now)
        for reader in _readers(row, step.tell, now):
            if reader.email in told:
                continue
            told.add(reader.email)
            _send(row, step, turn, reader, now)


def _send(row: FollowUp, step: Step, turn: int, reader: Reader, now: datetime) -> None:
    place = f"{step.mark}.{turn}:{reader.email}"
    if row.impairment is not None:
        notices.send(
            f"impairment:{row.impairment_id}:{place}",
            kind="impairment.running",
            to=reader.email,
            subject=_("Impaired for %(hours)s h: %(building)s")
            % {"hours": f"{row.impairment.hours(now):.0f}", "building": row.building.name},
            body=_impairment_text(row.building, row.impairment, now) + _asks(step),
            urgent=True,
        )
        return
    finding = row.finding
    assert finding is not None
    notices.send(
        f"finding:{finding.pk}:{row.due_on}:{place}",
        kind="finding.reminder",
        to=reader.email,
        subject=_("Still open: %(class)s at %(building)s")
        % {"class": finding.get_grade_display(), "building": row.building.name},
        body=finding_text(finding, row) + _asks(step),
        zone=reader.zone,
    )


def _readers(row: FollowUp, tell: Iterable[str], now: datetime) -> list[Reader]:
    ours = row.building.contractor
    home = ours.zone
    found: list[Reader] = []
    for rung in tell:
        if rung == Rung.MANAGER:
            found += [Reader(email, home) for email in managers()]
        elif rung == Rung.PRINCIPAL:
            found += [Reader(email, home) for email in principals()]
        elif rung == Rung.TECHNICIAN:
            visit = (row.impairment or row.finding).visit  # type: ignore[union-attr]
            person = visit.technician if visit else None
            found += [Reader(person.email, home)] if person and person.email else []
        elif rung == Rung.OWNER and not _ours_to_do(row):
            found += [Reader(email, row.building.zone) for email in owners_of(row.building, now)]
    return found


def _ours_to_do(row: FollowUp) -> bool:
    """Say whether the owner has done their part: they approved, and the repair is ours."""
    return row.finding is not None and row.finding.decision == "approve"


def managers() -> list[str]:
    """Return the e-mail addresses of the contractor's service managers."""
    rows = Membership.objects.filter(
        contractor_id=current_contractor_id(), role=Role.MANAGER, ended_on=None
    )
    return sorted(rows.values_list("user__email", flat=True))


def principals() -> list[str]:
    """Return the addresses of who answers for the contractor; the managers where nobody is set."""
    rows = Membership.objects.filter(
        contractor_id=current_contractor_id(), is_principal=True, ended_on=None
    )
    return sorted(rows.values_list("user__email", flat=True)) or managers()


def owners_of(building: Building, now: datetime) -> list[str]:
    """Return the e-mail addresses to tell about a building: its owners' users and its contact."""
    today = timezone.localdate(now, building.zone)
    engaged = [e.owner_id for e in building.engagements.all() if e.holds_on(today)]
    accesses = OwnerAccess.objects.filter(owner_id__in=engaged).open_today()
    found = [access.user.email for access in accesses]
    return sorted({*found, *([building.contact_email] if building.contact_email else [])})


# --- the authority: told by a person, never by the service -----------------------------------


def _ask_to_tell_authority(row: FollowUp, now: datetime) -> None:
    """Put it to a person that the authority is to be told; nothing leaves by itself."""
    about = {"finding": row.finding, "impairment": row.impairment}
    if row.impairment is not None and authority_told(row.impairment):
        return
    today = timezone.localdate(now, row.building.zone)
    name = row.building.jurisdiction.name if row.building.jurisdiction else ""
    words = _("not put right in time: the authority having jurisdiction is told by a person")
    FollowUp.objects.get_or_create(
        kind=Kind.AUTHORITY,
        **about,
        defaults={
            "building": row.building,
            "grade": row.grade,
            "due_on": today,
            "opened_on": today,
            "basis": f"{words}: {name}" if name else words,
        },
    )


def authority_told(impairment: Impairment) -> bool:
    """Say whether somebody recorded that the authority was told of an impairment."""
    return ImpairmentStep.objects.filter(impairment=impairment, what=TOLD_AUTHORITY).exists()


def settle(row: FollowUp, *, how: str, by: Membership) -> FollowUp:
    """End a follow-up by a person's word: the authority was told, or access is given again.

    Parameters
    ----------
    how
        Who was told, how and what they said.

    Raises
    ------
    NotYours
        For follow-ups that end by evidence alone, and those that ended.
    FieldRefused
        Without words; telling the authority needs them.
    """
    if row.kind not in (Kind.AUTHORITY, Kind.NO_ACCESS) or row.state == State.DONE:
        raise NotYours
    if not how.strip():
        raise FieldRefused("how", how, _("Say who was told, how, and what was agreed."))
    row.state, row.done_on = State.DONE, timezone.localdate(timezone=row.building.zone)
    row.done_how, row.next_at = how.strip()[:200], None
    row.save(update_fields=["state", "done_on", "done_how", "next_at"])
    audit.record("follow_up.settled", by=by, on=row, kind=row.kind, how=row.done_how)
    return row


# --- words -----------------------------------------------------------------------------------


def finding_text(finding: Finding, row: FollowUp | None) -> str:
    """Return what a message says of a finding."""
    lines = [
        _("Building: %(building)s, %(address)s")
        % {"building": finding.building.name, "address": finding.building.full_address},
        _("What is wrong: %(text)s") % {"text": finding.text},
        _("Where: %(place)s") % {"place": finding.location or "-"},
        _("Class: %(class)s") % {"class": finding.get_grade_display()},
        _("Found on: %(day)s") % {"day": date_format(finding.found_on)},
    ]
    if finding.temporary_measure:
        lines.append(_("Temporary measure: %(text)s") % {"text": finding.temporary_measure})
    if row is not None:
        lines.append(
            _("Repair or decision by: %(day)s (%(why)s)")
            % {"day": date_format(row.due_on), "why": row.basis}
        )
    elif finding.respond_by:
        lines.append(_("Customary response by: %(day)s") % {"day": date_format(finding.respond_by)})
    lines.append("")
    lines.append(_("Please decide in your rooms: approve, defer to a date, or decline."))
    lines.append(_("Local codes and the authority having jurisdiction may ask for more."))
    return "\n".join(lines)


def _impairment_text(building: Building, impairment: Impairment, now: datetime) -> str:
    limit = building.impairment_hours
    told = _("Out of service for %(hours)s hours.") % {"hours": f"{impairment.hours(now):.1f}"}
    owed = _(
        "Interim measures are owed from %(hours)s hours in 24 on, or as the authority"
        " having jurisdiction says."
    ) % {"hours": f"{limit:g}"}
    where = f"{building.name}, {building.full_address}"
    ends = _("It ends with proof of restoration.")
    return f"{where}\n{impairment.extent}\n{told} {owed}\n{ends}"


def _asks(step: Step) -> str:
    if Rung.AUTHORITY not in step.tell:
        return ""
    words = _("Tell the authority having jurisdiction, and write down whom: no message goes there.")
    return f"\n\n{words}"


def look_again(grade: str | None = None) -> None:
    """Have open follow-ups looked at soon, since a ladder was changed."""
    rows = FollowUp.objects.filter(kind__in=CLIMBING, state__in=(State.OPEN, State.DEFERRED))
    if grade is not None:
        wanted = Q(kind=Kind.RESPOND, grade=grade)
        if grade == Finding.Class.IMPAIRMENT:
            wanted = Q(kind=Kind.PROOF)
        elif grade == Finding.Class.CRITICAL:
            wanted |= Q(kind=Kind.RESPOND, grade=Finding.Class.IMPAIRMENT)
        rows = rows.filter(wanted)
    rows.update(next_at=timezone.now())
