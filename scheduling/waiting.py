"""The list of follow-ups: who is waited for, how long, and another day for many at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused, NotThere, Refusal
from scheduling.models import FollowUp

Kind, State = FollowUp.Kind, FollowUp.State
LATE = "late"
AGES = {"7": 7, "30": 30, "90": 90, "365": 365}
# The owner repairs or decides, and opens the door; all else is the contractor's.
FOR_OWNER = (Q(kind=Kind.RESPOND) & ~Q(finding__decision="approve")) | Q(kind=Kind.NO_ACCESS)
WHO = ("owner", "us")
MOVABLE = (Kind.RESPOND, Kind.RETEST, Kind.AUTHORITY, Kind.NO_ACCESS)
LONGEST = timedelta(days=730)
MOST = 500


class CannotMove(Refusal):
    """A follow-up whose day is not a person's to choose."""

    code = "cannot_move"
    status = 409
    sentence = (
        "%(building)s: %(what)s is owed now and gets no other day. What is out of service is"
        " restored and proven, and the owner is told at once."
    )


@dataclass(frozen=True, slots=True)
class Asked:
    """What the list is narrowed by; empty words narrow nothing.

    Attributes
    ----------
    age
        late (past its day), or days since it was opened: 7, 30, 90, 365.
    who
        Whom it waits for: owner or us.
    """

    grade: str = ""
    kind: str = ""
    age: str = ""
    who: str = ""
    building: str = ""


def waits_for(row: FollowUp) -> str:
    """Return whom a follow-up waits for: owner or us."""
    if row.kind == Kind.NO_ACCESS:
        return "owner"
    approved = row.finding is not None and row.finding.decision == "approve"
    return "owner" if row.kind == Kind.RESPOND and not approved else "us"


def narrowed(asked: Asked, today: date) -> QuerySet[FollowUp]:
    """Return the follow-ups that are not done, as asked for, by the day they are owed."""
    rows: QuerySet[FollowUp] = FollowUp.objects.exclude(state=State.DONE)
    if asked.grade:
        rows = rows.filter(grade=asked.grade)
    if asked.kind:
        rows = rows.filter(kind=asked.kind)
    if asked.age == LATE:
        rows = rows.filter(due_on__lt=today)
    elif asked.age in AGES:
        rows = rows.filter(opened_on__lte=today - timedelta(days=AGES[asked.age]))
    if asked.who:
        rows = rows.filter(FOR_OWNER if asked.who == "owner" else ~FOR_OWNER)
    if asked.building:
        text = asked.building
        rows = rows.filter(Q(building__name__icontains=text) | Q(building__code__iexact=text))
    return rows.order_by("due_on", "pk")


def redate(ids: Sequence[UUID], *, on: date, reason: str, by: Membership) -> list[FollowUp]:
    """Give follow-ups another day, all or none; the ladder of each begins anew at that day.

    Parameters
    ----------
    on
        From today on, at most two years ahead.
    reason
        Why; it stands beside the day and in the audit, with the day before.

    Raises
    ------
    FieldRefused
        For a day or a reason that is not accepted, and for more than 500 at once.
    NotThere, CannotMove
        When one is not there, is done, or is owed now whatever anybody says.
    """
    today = timezone.localdate()
    if not today <= on <= today + LONGEST:
        raise FieldRefused("on", on, _("A day from today on, at most two years ahead."))
    words = " ".join(reason.split())
    if len(words) < 5:
        raise FieldRefused("reason", reason, _("Say why, in a few words."))
    wanted = set(ids)
    if not 1 <= len(wanted) <= MOST:
        raise FieldRefused("follow_ups", len(wanted), _("1 to 500 follow-ups."))
    with transaction.atomic():
        rows = list(
            FollowUp.objects.select_for_update(of=("self",))
            .filter(pk__in=wanted)
            .exclude(state=State.DONE)
            .select_related("building", "finding")
            .order_by("pk")
        )
        if len(rows) < len(wanted):
            raise NotThere
        for row in rows:
            _move(row, on, words, by)
    return rows


def _move(row: FollowUp, on: date, reason: str, by: Membership) -> None:
    if row.kind not in MOVABLE:
        raise CannotMove(building=row.building.name, what=row.get_kind_display())
    before, row.due_on = row.due_on, on
    told = _("re-dated by %(who)s: %(why)s") % {"who": by.user, "why": reason}
    row.basis, row.sent = told[:200], {}
    climbs = row.kind == Kind.RESPOND and row.state != State.DECLINED
    row.next_at = timezone.now() if climbs else None
    row.save(update_fields=["due_on", "basis", "sent", "next_at"])
    audit.record(
        "follow_up.redated",
        by=by,
        on=row,
        before=before.isoformat(),
        after=on.isoformat(),
        reason=reason[:400],
    )
