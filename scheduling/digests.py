"""Gathered mail: what is new, due and overdue, once a day or a week for whoever chose so."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Count, Min, QuerySet
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from buildings.models import Engagement
from contractors import notices, outbox
from contractors.doors import Role
from contractors.models import (
    Contractor,
    MailChoice,
    Membership,
    Notice,
    OutboxMessage,
    OwnerAccess,
    Person,
)
from contractors.scope import current_contractor_id
from inspections.models import Checkpoint
from scheduling.models import FollowUp, Occurrence

KIND = "digest.write"
AHEAD = timedelta(days=7)
MONDAY = 0
MOST_LINES = 12
LIVE = (FollowUp.State.OPEN, FollowUp.State.DEFERRED)


@dataclass(frozen=True, slots=True)
class Subscriber:
    """Somebody who gets gathered mail: a membership, or an owner's access."""

    door_id: UUID
    email: str
    rhythm: str
    role: str
    owner_id: UUID | None
    zone: ZoneInfo


def tick(now: datetime) -> None:
    """Ask for the gathered mails whose hour has come; each once a day, however often it is asked.

    The hour is that of the reader's place, so that it is right on the days the clock changes.
    """
    ours = Contractor.objects.get(pk=current_contractor_id())
    wanted = {}
    for one in subscribers(ours, now):
        local = timezone.localtime(now, one.zone)
        if local.time().replace(tzinfo=None) < ours.digest_at:
            continue
        if one.rhythm == MailChoice.WEEKLY and local.weekday() != MONDAY:
            continue
        wanted[f"{one.door_id}:{local.date()}"] = (one, local.date())
    asked = OutboxMessage.objects.filter(contractor=ours, kind=KIND, key__in=wanted)
    for key in set(wanted) - set(asked.values_list("key", flat=True)):
        one, day = wanted[key]
        outbox.add(KIND, key, door=one.door_id, day=day)


def subscribers(ours: Contractor, now: datetime) -> list[Subscriber]:
    """Return who gets gathered mail from a contractor."""
    home = ours.zone
    gathered = (MailChoice.DAILY, MailChoice.WEEKLY)
    members = Membership.objects.filter(contractor=ours, ended_on=None, mail__in=gathered)
    found = [
        Subscriber(row.pk, row.user.email, row.mail, row.role, None, home)
        for row in members.select_related("user").order_by("pk")
    ]
    rhythms = (*gathered, "") if ours.owner_mail in gathered else gathered
    zones = _zones_of_owners(now)
    accesses = OwnerAccess.objects.filter(owner_id__in=zones, mail__in=rhythms)
    found += [
        Subscriber(
            row.pk,
            row.user.email,
            row.mail or ours.owner_mail,
            "owner",
            row.owner_id,
            zones[row.owner_id],
        )
        for row in accesses.order_by("pk").open_today()
    ]
    return found


def _zones_of_owners(now: datetime) -> dict[UUID, ZoneInfo]:
    """Return the owners engaged today, each with the zone of their first building."""
    found: dict[UUID, ZoneInfo] = {}
    rows = Engagement.objects.select_related("building").order_by("building__code", "pk")
    for row in rows:
        if row.holds_on(timezone.localdate(now, row.building.zone)):
            found.setdefault(row.owner_id, row.building.zone)
    return found


@outbox.on(KIND)
def write(message: OutboxMessage) -> None:
    """Write one gathered mail; where there is nothing to say, none."""
    now = timezone.now()
    ours = Contractor.objects.get(pk=current_contractor_id())
    door = UUID(message.payload["door"])
    one = next((each for each in subscribers(ours, now) if each.door_id == door), None)
    if one is None:
        return
    day = date.fromisoformat(message.payload["day"])
    fresh = list(
        Notice.objects.filter(
            recipient=one.email, state=Notice.State.GATHERED, told_in=None
        ).order_by("made_at")
    )
    parts = [part for part in (_new(fresh), *_standing(one, day, now)) if part]
    if not parts:
        return
    sent = notices.send(
        f"digest:{one.door_id}:{day}",
        kind="digest",
        to=one.email,
        subject=_("%(contractor)s, %(day)s: what is new, due and overdue")
        % {"contractor": ours.name, "day": date_format(day)},
        body="\n\n".join([*parts, *_anchor()]),
        zone=one.zone,
        gather=False,
    )
    Notice.objects.filter(pk__in=[row.pk for row in fresh]).update(told_in=sent.pk)


def _new(fresh: Sequence[Notice]) -> str:
    if not fresh:
        return ""
    return "\n".join([_("New"), *_lines(row.subject for row in fresh)])


def _standing(one: Subscriber, day: date, now: datetime) -> Iterable[str]:
    rows = _follow_ups(one, now)
    late, due = rows.filter(due_on__lt=day), rows.filter(due_on__gte=day, due_on__lte=day + AHEAD)
    for title, found in ((_("Due in the next seven days"), due), (_("Past its day"), late)):
        told = [_line(row) for row in found]
        if title == _("Past its day"):
            told += _overdue_work(one, day, now)
        if told:
            yield "\n".join([title, *_lines(told)])


def _buildings_of(one: Subscriber, now: datetime) -> list[UUID]:
    rows = Engagement.objects.filter(owner_id=one.owner_id).select_related("building")
    return [
        row.building_id for row in rows if row.holds_on(timezone.localdate(now, row.building.zone))
    ]


def _follow_ups(one: Subscriber, now: datetime) -> QuerySet[FollowUp]:
    """Return what is owed and concerns the reader."""
    rows: QuerySet[FollowUp] = (
        FollowUp.objects.filter(state__in=LIVE)
        .select_related("building", "finding", "impairment")
        .order_by("due_on", "pk")
    )
    if one.owner_id is not None:
        kinds = (FollowUp.Kind.RESPOND, FollowUp.Kind.PROOF)
        return rows.filter(building_id__in=_buildings_of(one, now), kind__in=kinds)
    if one.role == Role.TECHNICIAN:
        person = Person.objects.filter(membership_id=one.door_id).first()
        return rows.filter(finding__visit__technician=person) if person else rows.none()
    return rows


def _line(row: FollowUp) -> str:
    about = row.finding.text if row.finding else ""
    if row.impairment:
        about = row.impairment.extent
    return _("%(building)s: %(what)s by %(day)s. %(about)s") % {
        "building": row.building.name,
        "what": row.get_kind_display(),
        "day": date_format(row.due_on),
        "about": about or row.basis,
    }


def _overdue_work(one: Subscriber, day: date, now: datetime) -> list[str]:
    """Return a line for each building with required work past its latest day."""
    if one.role == Role.TECHNICIAN:
        return []
    rows = Occurrence.objects.filter(latest_on__lt=day, known=True, by_owner=False)
    if one.owner_id is not None:
        rows = rows.filter(building_id__in=_buildings_of(one, now))
    found = (
        rows.values("building_id", "building__name")
        .annotate(n=Count("id"), oldest=Min("latest_on"))
        .order_by("oldest", "building__name")
    )
    return [
        ngettext(
            "%(building)s: %(n)s required activity is past its latest day, %(day)s",
            "%(building)s: %(n)s required activities are past their latest day, first %(day)s",
            row["n"],
        )
        % {
            "building": row["building__name"],
            "n": row["n"],
            "day": date_format(row["oldest"]),
        }
        for row in found
    ]


def _lines(told: Iterable[str]) -> list[str]:
    every = list(told)
    shown = [f"- {' '.join(one.split())}" for one in every[:MOST_LINES]]
    more = len(every) - len(shown)
    if more:
        shown.append(ngettext("- and %(n)s more", "- and %(n)s more", more) % {"n": more})
    return shown


def _anchor() -> list[str]:
    """Return the newest check sum of the record: kept by the reader, it shows later changes."""
    last = Checkpoint.objects.order_by("-day").first()
    if last is None:
        return []
    words = _("Check sum of the record at the end of %(day)s: %(sum)s")
    return [words % {"day": date_format(last.day), "sum": last.chained}]
