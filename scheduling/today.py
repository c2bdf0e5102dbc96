"""What needs a person today: exceptions, the most harmful first, each with its one next act."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Min, Q
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from contractors import notices
from contractors.models import Notice, OutboxMessage
from contractors.scope import current_contractor_id
from contractors.templatetags.look import in_words, since
from inspections import projections
from inspections.models import Event, Finding, Impairment, Visit
from scheduling import bundle
from scheduling.asking import asked_most
from scheduling.models import FollowUp, Occurrence

MOST_OF_A_KIND = 6
STATION_DAYS = 14


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One exception: its clock, what it is, and the one next act.

    Attributes
    ----------
    kind
        message, impairment, station, visit, overdue, follow_up or review.
    state
        A key of the pages' states, which gives the shape.
    words, clock, under
        The mark's words; the clock and what stands beneath it.
    url, act
        Where the act is done and what it says.
    """

    kind: str
    state: str
    words: str
    clock: str
    under: str
    name: str
    name_url: str
    where: str
    text: str
    url: str
    act: str
    reason: str = ""
    source: str = ""
    now: bool = False


@dataclass(frozen=True, slots=True)
class Waiting:
    """A line of what waits: how many, and the first of them."""

    what: str
    detail: str
    url: str
    act: str
    job: OutboxMessage | None = None


def link(name: str, fallback: str, *args: Any) -> str:
    """Return the address of a page; where that page is not there, of another."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return fallback


def slips(now: datetime, today: date) -> list[Slip]:
    """Return what needs a person, the most harmful first."""
    return [
        *_undelivered(now),
        *_impairments(now),
        *_stations(now),
        *_not_handed_in(today),
        *_overdue(today),
        *_follow_ups(today),
        *_reviews(now),
    ]


def _undelivered(now: datetime) -> Iterable[Slip]:
    """Yield the messages about impairments that reached nobody."""
    for row in notices.undelivered(now)[:MOST_OF_A_KIND]:
        yield Slip(
            kind="message",
            state="impairment",
            words=_("Nobody was reached"),
            clock=since(row.made_at, now),
            under=_("written %(day)s") % {"day": in_words(row.made_at)},
            name=row.subject,
            name_url=reverse("outbox"),
            where="",
            text=_("Mail to %(recipient)s did not arrive. %(error)s")
            % {"recipient": row.recipient, "error": row.error},
            url=reverse("notice_passed_on", args=[row.pk]),
            act=_("Tell them now"),
            now=True,
        )


def _impairments(now: datetime) -> Iterable[Slip]:
    rows = Impairment.objects.filter(ended_at=None).select_related(
        "building__jurisdiction", "system"
    )
    for row in rows.order_by("started_at"):
        begun = timezone.localtime(row.started_at, row.building.zone)
        limit = row.building.impairment_hours
        place = row.building.get_absolute_url()
        yield Slip(
            kind="impairment",
            state="impairment",
            words=_("Impaired, %(kind)s") % {"kind": row.get_kind_display()},
            clock=since(row.started_at, now),
            under=_("out of service since %(day)s, %(time)s")
            % {"day": date_format(begun, "D j M"), "time": f"{begun:%H:%M}"},
            name=row.building.name,
            name_url=place,
            where=row.system.name if row.system else "",
            text=row.extent,
            url=link("impairment", place, row.pk),
            act=_("Prove the restoration") if row.hours(now) < limit else _("Confirm the watch"),
            reason=_(
                "Interim measures are owed from %(hours)s hours out of service in 24 on, or as the"
                " authority having jurisdiction says. It ends by proof of restoration alone."
            )
            % {"hours": f"{limit:g}"},
            source=row.building.jurisdiction.name if row.building.jurisdiction else "",
            now=row.kind == Impairment.Kind.EMERGENCY,
        )


def _stations(now: datetime) -> Iterable[Slip]:
    """Yield the monitoring stations that are still on test."""
    recent = Q(state=Visit.State.OPEN) | Q(handed_in_at__gte=now - timedelta(days=STATION_DAYS))
    visits = {
        v.pk: v for v in Visit.objects.filter(recent).select_related("building", "technician")
    }
    last: dict[UUID, str] = {}
    rows = Event.objects.filter(visit_id__in=visits, kind="visit.station").order_by("number")
    for visit_id, body in rows.values_list("visit_id", "body"):
        last[visit_id] = json.loads(body)["payload"]["state"]
    for visit_id in [key for key, state in last.items() if state == "on"]:
        period = next(iter(projections.picture(visit_id).station[-1:]), None)
        if period is None or period.off is not None:
            continue
        visit = visits[visit_id]
        until = datetime.fromisoformat(period.on.payload["until"])
        local = timezone.localtime(until, visit.building.zone)
        nobody = visit.state != Visit.State.OPEN
        over = until <= now
        yield Slip(
            kind="station",
            state="on_test",
            words=_("On test, nobody there") if nobody else _("Station on test"),
            clock=since(until, now) if over else since(now, until),
            under=_("over its end, %(time)s") % {"time": f"{local:%H:%M}"}
            if over
            else _("left, test ends %(time)s") % {"time": f"{local:%H:%M}"},
            name=visit.building.name,
            name_url=visit.building.get_absolute_url(),
            where=_("station account %(account)s") % {"account": visit.building.station_account},
            text=_("The account was never taken off test.")
            if nobody
            else _("%(who)s is there.") % {"who": visit.technician or _("A technician")},
            url=link("visit", visit.building.get_absolute_url(), visit.pk),
            act=_("Take off test") if nobody or over else _("Follow the visit"),
        )


def _not_handed_in(today: date) -> Iterable[Slip]:
    rows = Visit.objects.filter(state__in=Visit.UNDER_WAY, planned_on__lt=today).select_related(
        "building", "technician"
    )
    for visit in rows.order_by("planned_on")[: 2 * MOST_OF_A_KIND]:
        begun = visit.state == Visit.State.OPEN
        place = visit.building.get_absolute_url()
        who = visit.technician.name if visit.technician else _("nobody")
        yield Slip(
            kind="visit",
            state="visit_not_closed",
            words=_("Visit not handed in") if begun else _("Visit not begun"),
            clock=since(visit.planned_on, None)
            if (today - visit.planned_on).days > 1
            else _("1 day"),
            under=_("planned for %(day)s") % {"day": in_words(visit.planned_on)},
            name=visit.building.name,
            name_url=place,
            where=visit.title,
            text=_("%(who)s began it and has not handed it in.") % {"who": who}
            if begun
            else _("%(who)s was to go there; what it was for stays due.") % {"who": who},
            url=link("visit", place, visit.pk) if begun else reverse("plans"),
            act=_("Finish by phone") if begun else _("Plan it again"),
        )


def _days(length: timedelta) -> str:
    return ngettext("%(n)s day", "%(n)s days", length.days) % {"n": length.days}


def _overdue(today: date) -> Iterable[Slip]:
    """Yield a slip for each building with required activities past their latest day."""
    rows = (
        Occurrence.objects.filter(by_owner=False, latest_on__lt=today, known=True)
        .values("building_id", "building__name")
        .annotate(
            n=Count("id"), oldest=Min("latest_on"), in_visit=Count("id", filter=bundle.IN_VISIT)
        )
        .order_by("oldest")
    )
    for row in rows[: 2 * MOST_OF_A_KIND]:
        planned = row["in_visit"] >= row["n"]
        told = ngettext(
            "%(n)s required activity is past its latest day.",
            "%(n)s required activities are past their latest day.",
            row["n"],
        ) % {"n": row["n"]}
        due = f"{reverse('due')}?week=overdue&building={row['building_id']}#list"
        yield Slip(
            kind="overdue",
            state="overdue",
            words=_("Overdue, required"),
            clock=_days(today - row["oldest"]),
            under=_("latest was %(day)s") % {"day": in_words(row["oldest"])},
            name=row["building__name"],
            name_url=reverse("building", args=[row["building_id"]]),
            where="",
            text=f"{told} {_('A visit is made for them.') if planned else ''}".strip(),
            url=reverse("plans") if planned else due,
            act=_("See the plan") if planned else _("Make a visit"),
        )


def _follow_ups(today: date) -> Iterable[Slip]:
    rows = FollowUp.objects.filter(
        state__in=(FollowUp.State.OPEN, FollowUp.State.DEFERRED), due_on__lt=today
    ).exclude(kind=FollowUp.Kind.PROOF)
    rows = rows.select_related("building", "finding").order_by("due_on")
    for row in rows[:MOST_OF_A_KIND]:
        place = row.building.get_absolute_url()
        grade = row.finding.grade if row.finding else "observation"
        yield Slip(
            kind="follow_up",
            state=grade,
            words=_("Past its day: %(what)s") % {"what": row.get_kind_display()},
            clock=_days(today - row.due_on),
            under=_("was owed by %(day)s") % {"day": in_words(row.due_on)},
            name=row.building.name,
            name_url=place,
            where=row.finding.location if row.finding else "",
            text=row.finding.text if row.finding else row.basis,
            url=link("finding", place, row.finding_id) if row.finding_id else place,
            act=_("Open the finding"),
            reason=row.basis,
        )


def _reviews(now: datetime) -> Iterable[Slip]:
    rows = Visit.objects.filter(state=Visit.State.HANDED_IN).select_related(
        "building", "technician"
    )
    for visit in rows.order_by("handed_in_at")[:MOST_OF_A_KIND]:
        place = visit.building.get_absolute_url()
        yield Slip(
            kind="review",
            state="visit_not_closed",
            words=_("Waits for review"),
            clock=since(visit.handed_in_at, now),
            under=_("handed in %(day)s") % {"day": in_words(visit.handed_in_at)},
            name=visit.building.name,
            name_url=place,
            where=visit.title,
            text=_("%(who)s handed it in. A licensed person looks at completeness and classes.")
            % {"who": visit.technician or _("Somebody")},
            url=link("visit", place, visit.pk),
            act=_("Review it"),
        )


# --- what waits ------------------------------------------------------------------------------


def waiting() -> list[Waiting]:
    """Return what waits for a person without a clock, each with its act."""
    return [*_proposed(), *_questions(), *_parked(), *_notices()]


def _proposed() -> Iterable[Waiting]:
    rows = Finding.objects.filter(state=Finding.State.PROPOSED).select_related("building")
    for row in rows.order_by("found_at")[:MOST_OF_A_KIND]:
        where = f"{row.building.name}: {row.text}"
        url = link("finding", row.building.get_absolute_url(), row.pk)
        yield Waiting(_("Proposed finding"), where, url, _("Accept or drop"))


def _questions() -> Iterable[Waiting]:
    """Yield the questions that decide most activities, over all buildings."""
    for one in asked_most(MOST_OF_A_KIND):
        told = ngettext(
            "decides %(n)s activity, first at %(building)s",
            "decides %(n)s activities, first at %(building)s",
            one.decides,
        ) % {"n": one.decides, "building": one.first.building.name}
        url = f"{reverse('building_why', args=[one.first.building_id])}#questions"
        yield Waiting(one.asked_as, told, url, _("Answer"))


def _parked() -> Iterable[Waiting]:
    rows = OutboxMessage.objects.filter(
        contractor_id=current_contractor_id(), state=OutboxMessage.State.PARKED
    )
    for row in rows.order_by("made_at")[:MOST_OF_A_KIND]:
        told = _("failed %(n)s times: %(error)s") % {"n": row.attempts, "error": row.error_code}
        words = row.kind.replace(".", ", ").replace("_", " ")
        url = reverse("job_restart", args=[row.pk])
        yield Waiting(words, told, url, _("Start it again"), row)


def _notices() -> Iterable[Waiting]:
    lost = (Notice.State.FAILED, Notice.State.BOUNCED)
    rows = Notice.objects.filter(state__in=lost, urgent=False, settled_at=None)
    for row in rows.order_by("-made_at")[:MOST_OF_A_KIND]:
        words = _("Message not delivered")
        yield Waiting(words, f"{row.recipient}: {row.subject}", reverse("outbox"), _("See it"))


def on_the_road(today: date) -> list[tuple[Any, list[Visit]]]:
    """Return today's visits by technician."""
    rows = Visit.objects.filter(planned_on=today).exclude(state=Visit.State.CANCELLED)
    by_person: dict[Any, list[Visit]] = defaultdict(list)
    for visit in rows.select_related("building", "technician").order_by("planned_start"):
        by_person[visit.technician].append(visit)
    return sorted(by_person.items(), key=lambda pair: str(pair[0] or ""))


def sentence(found: Sequence[Slip]) -> str:
    """Return the page's one sentence."""
    if not found:
        return _("Nothing needs a person now.")
    told = ngettext("One thing needs a person.", "%(n)s things need a person.", len(found)) % {
        "n": len(found)
    }
    out = sum(1 for slip in found if slip.kind == "impairment")
    if not out:
        return told
    impaired = ngettext(
        "One system is out of service.", "%(n)s systems are out of service.", out
    ) % {"n": out}
    return f"{told} {impaired}"
