"""Messages to people: written with the change that calls for them, sent by a worker, with proof.

Ordinary messages wait for the end of the quiet hours and go as each person chose: one by one,
gathered, or not at all. What concerns an impairment goes at once, whatever anybody chose.
"""

import hashlib
import smtplib
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors import audit, outbox
from contractors.models import (
    Contractor,
    MailChoice,
    Membership,
    Notice,
    OutboxMessage,
    OwnerAccess,
)
from contractors.refusal import FieldRefused, Refusal
from contractors.scope import current_contractor_id

# A message about an impairment that has not left by then is shown: common practice, no source.
LONGEST_WAIT = timedelta(minutes=10)
_GATHERED = (MailChoice.DAILY, MailChoice.WEEKLY)
State = Notice.State


class AlreadySettled(Refusal):
    """The message reached its reader, or was passed on before."""

    code = "already_settled"
    status = 409
    sentence = "This message needs nothing (any more); nothing was changed."


def send(
    key: str,
    *,
    kind: str,
    to: str,
    subject: str,
    body: str,
    urgent: bool = False,
    zone: ZoneInfo | None = None,
    gather: bool = True,
) -> Notice:
    """Write a notice once for this key and have it sent, as soon as its reader may be disturbed.

    Parameters
    ----------
    key
        Unique for this contractor, such as `finding-told-<id>`; a second call changes nothing.
    kind
        Why it is sent, such as `impairment.started`.
    urgent
        About an impairment: it breaks through quiet hours and through what the reader chose.
    zone
        Where its reader is, for the quiet hours; the contractor's own zone by default.
    gather
        False for what cannot wait for a gathered mail, such as the day of a visit.
    """
    found = Notice.objects.filter(key=key[:200]).first()
    if found is not None:
        return found  # type: ignore[no-any-return]
    now = timezone.now()
    choice = MailChoice.EACH if urgent else choice_of(to)
    state = State.WAITING
    if choice == MailChoice.NONE:
        state = State.UNWANTED
    elif choice in _GATHERED and gather:
        state = State.GATHERED
    later = None if urgent or state != State.WAITING else _after_quiet(now, zone)
    notice, made = Notice.objects.get_or_create(
        key=key[:200],
        defaults={
            "kind": kind,
            "recipient": to,
            "subject": " ".join(subject.split())[:200],
            "body": body,
            "urgent": urgent,
            "state": state,
            "not_before": later,
            "made_at": now,
            "message_id": message_id(key[:200]),
        },
    )
    if made and state == State.WAITING:
        outbox.add("notice.send", str(notice.pk), not_before=later, notice=notice.pk)
    return notice  # type: ignore[no-any-return]


def message_id(key: str) -> str:
    """Return the Message-ID of a notice's mail: the same however often it is sent."""
    digest = hashlib.sha256(f"{current_contractor_id()}:{key}".encode()).hexdigest()[:32]
    return f"<{digest}@{settings.DEFAULT_FROM_EMAIL.partition('@')[2].rstrip('>')}>"


# --- when, and whether -----------------------------------------------------------------------


def choice_of(email: str) -> str:
    """Return how the reader behind an address wants ordinary mail.

    An address without a log-in gets each message. Somebody who comes in by several doors gets
    what the most open of them says.
    """
    contractor_id = current_contractor_id()
    found = set(
        Membership.objects.filter(
            user__email=email, contractor_id=contractor_id, ended_on=None
        ).values_list("mail", flat=True)
    )
    accesses = OwnerAccess.objects.filter(user__email=email)
    chosen = {one.mail for one in accesses.open_today()}
    if "" in chosen:
        chosen.remove("")
        chosen.add(Contractor.objects.values_list("owner_mail", flat=True).get(pk=contractor_id))
    found |= chosen
    return next((one for one in MailChoice.values if one in found), MailChoice.EACH)


def quiet_end(now: datetime, zone: ZoneInfo, quiet_from: time, quiet_until: time) -> datetime:
    """Return when somebody in that zone may next be disturbed: now, or the end of the quiet hours.

    Parameters
    ----------
    quiet_from, quiet_until
        Local times of the day; where they are equal there are no quiet hours. An end that the
        clock skips in spring falls on the moment after the gap.
    """
    local = timezone.localtime(now, zone)
    clock = local.time().replace(tzinfo=None)
    over_midnight = quiet_from > quiet_until
    quiet = (
        (clock >= quiet_from or clock < quiet_until)
        if over_midnight
        else quiet_from <= clock < quiet_until
    )
    if not quiet:
        return now
    day = local.date()
    if over_midnight and clock >= quiet_from:
        day += timedelta(days=1)
    return max(now, instant(day_time=datetime.combine(day, quiet_until), zone=zone))


def instant(day_time: datetime, zone: ZoneInfo) -> datetime:
    """Return the instant of a local day and time, in UTC; what the clock skips moves past it."""
    return day_time.replace(tzinfo=zone).astimezone(UTC)


def _after_quiet(now: datetime, zone: ZoneInfo | None) -> datetime | None:
    ours = Contractor.objects.get(pk=current_contractor_id())
    later = quiet_end(now, zone or ours.zone, ours.quiet_from, ours.quiet_until)
    return later if later > now else None


# --- sent, refused, come back ----------------------------------------------------------------


@outbox.on("notice.send")
def deliver(message: OutboxMessage) -> None:
    """Send one notice by mail; without a mail server it stays on the outbox page."""
    notice = Notice.objects.get(pk=message.payload["notice"])
    if notice.state != State.WAITING:
        return
    if not settings.HAS_MAIL_SERVER:
        notice.state = State.KEPT
        notice.save(update_fields=["state"])
        return
    mail = EmailMessage(
        notice.subject,
        notice.body,
        to=[notice.recipient],
        headers={
            "Message-ID": notice.message_id or message_id(notice.key),
            "Auto-Submitted": "auto-generated",
        },
    )
    try:
        mail.send()
    except (smtplib.SMTPException, OSError) as error:
        if not _for_good(error) and message.attempts < outbox.MOST_ATTEMPTS:
            raise
        notice.state, notice.error = State.FAILED, _said(error)
    else:
        notice.state, notice.sent_at = State.SENT, timezone.now()
    notice.save(update_fields=["state", "sent_at", "error"])


def _for_good(error: Exception) -> bool:
    """Say whether the mail server refuses for good (codes from 500 on), so that no retry helps."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _text in error.recipients.values())
    return isinstance(error, smtplib.SMTPResponseException) and error.smtp_code >= 500


def _said(error: Exception) -> str:
    said: tuple[int, Any] | None = None
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        said = next(iter(error.recipients.values()))
    elif isinstance(error, smtplib.SMTPResponseException):
        said = (error.smtp_code, error.smtp_error)
    if said is None:
        return f"{type(error).__name__}: {error}"[:200]
    code, text = said
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)
    return f"{code} {words}"[:200]


def came_back(notice: Notice, *, why: str, by: Membership) -> Notice:
    """Mark a message that was sent as come back: it did not reach its reader.

    Raises
    ------
    AlreadySettled
        When it never left, or is marked already.
    """
    marked = Notice.objects.filter(pk=notice.pk, state__in=(State.SENT, State.WAITING)).update(
        state=State.BOUNCED, error=why[:200]
    )
    if not marked:
        raise AlreadySettled
    audit.record("notice.bounced", by=by, on=notice, why=why[:200])
    notice.refresh_from_db()
    return notice


def passed_on(notice: Notice, *, how: str, by: Membership) -> Notice:
    """Write down that a person passed a message on that did not reach its reader by mail.

    Parameters
    ----------
    how
        To whom and how, such as `D. Amsel by telephone`.
    """
    if not how.strip():
        raise FieldRefused("how", how, _("Say to whom and how, such as: the owner, by telephone."))
    owing = Notice.objects.filter(pk=notice.pk, settled_at=None).exclude(
        state__in=(State.SENT, State.GATHERED, State.UNWANTED)
    )
    if not owing.update(settled_at=timezone.now(), settled_by=by, settled_how=how.strip()[:200]):
        raise AlreadySettled
    audit.record("notice.passed_on", by=by, on=notice, how=how.strip()[:200])
    notice.refresh_from_db()
    return notice


def undelivered(now: datetime) -> QuerySet[Notice]:
    """Return the messages about impairments that did not reach anybody, the oldest first.

    Refused, come back, or not gone after ten minutes; until a person has passed them on.
    """
    late = Q(state=State.WAITING, made_at__lt=now - LONGEST_WAIT)
    rows: QuerySet[Notice] = Notice.objects.filter(
        Q(state__in=(State.FAILED, State.BOUNCED)) | late, urgent=True, settled_at=None
    )
    return rows.order_by("made_at", "pk")


# --- set by people ---------------------------------------------------------------------------

LONGEST_QUIET = timedelta(hours=14)


def set_hours(
    *, quiet_from: time, quiet_until: time, digest_at: time, owner_mail: str, by: Membership
) -> Contractor:
    """Set a contractor's quiet hours, the hour of gathered mail, and how owners get mail.

    Raises
    ------
    FieldRefused
        For more than fourteen quiet hours, a gathered mail inside them, and for owners none.
    """
    length = timedelta(
        minutes=(_minutes(quiet_until) - _minutes(quiet_from)) % (24 * 60),
    )
    if length > LONGEST_QUIET:
        said = _("At most fourteen quiet hours; equal times mean none.")
        raise FieldRefused("quiet_until", f"{quiet_until:%H:%M}", said)
    inside = (_minutes(digest_at) - _minutes(quiet_from)) % (24 * 60) < length / timedelta(
        minutes=1
    )
    if inside:
        said = _("An hour outside the quiet hours.")
        raise FieldRefused("digest_at", f"{digest_at:%H:%M}", said)
    if owner_mail not in (MailChoice.EACH, *_GATHERED):
        raise FieldRefused("owner_mail", owner_mail, ", ".join((MailChoice.EACH, *_GATHERED)))
    ours = Contractor.objects.get(pk=by.contractor_id)
    ours.quiet_from, ours.quiet_until = quiet_from, quiet_until
    ours.digest_at, ours.owner_mail = digest_at, owner_mail
    ours.save(update_fields=["quiet_from", "quiet_until", "digest_at", "owner_mail"])
    facts = {"quiet": f"{quiet_from:%H:%M}-{quiet_until:%H:%M}", "digest": f"{digest_at:%H:%M}"}
    audit.record("notice_hours.set", by=by, on=ours, owners=owner_mail, **facts)
    return ours


def _minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def choose(door: Membership | OwnerAccess, mail: str) -> None:
    """Set how a person wants ordinary mail; messages about impairments come whatever is chosen.

    Raises
    ------
    FieldRefused
        When it is none of the choices; an owner's person may also leave it to the contractor.
    """
    accepted = [*MailChoice.values, *([""] if isinstance(door, OwnerAccess) else [])]
    if mail not in accepted:
        raise FieldRefused("mail", mail, ", ".join(one or '""' for one in accepted))
    door.mail = mail
    door.save(update_fields=["mail"])
