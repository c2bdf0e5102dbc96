"""The owner's rooms: what was published to an owner, read; and what the owner decides, written."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from contractors import outbox
from contractors.models import OutboxMessage, OwnerAccess
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections import findings
from inspections.events.fields import EventRefused
from inspections.models import Finding
from scheduling import standing
from scheduling.models import (
    OwnerAct,
    PublishedBuilding,
    PublishedItem,
    PublishedReport,
    PublishedStanding,
    Standing,
)
from scheduling.standing import Stretch

DECISIONS = ("approve", "defer", "decline")
GRADES = ("impairment", "critical", "noncritical", "observation")


class OnlyReads(Refusal):
    """The access reads; it does not decide."""

    code = "only_reads"
    status = 403
    sentence = "Your access reads only. Ask somebody of your organisation who decides."


@dataclass(frozen=True, slots=True)
class Stands:
    """A building as an owner sees it on a day.

    Attributes
    ----------
    since
        First moment from which the word has held without a break.
    before
        How it stood before that, newest first.
    """

    building: PublishedBuilding
    on: date
    word: Standing
    due_by: date | None
    reasons: list[dict[str, Any]]
    scope: Mapping[str, Any]
    since: datetime | None
    before: Sequence[Stretch] = ()
    items: Sequence[PublishedItem] = ()

    @property
    def worst(self) -> str:
        """Return the worst class among what is open; empty without any."""
        grades = [item.grade for item in self.items]
        return next((grade for grade in GRADES if grade in grades), "")

    @property
    def rank(self) -> int:
        """Return the place in the list, worst first."""
        order = list(Standing)
        return order.index(self.word)


def today(zones: Iterable[str] | None = None) -> date:
    """Return the day it is at the owner's buildings, or at most of them.

    Parameters
    ----------
    zones
        Time zones of the buildings, one each; read here where they are left out.
    """
    if zones is None:
        zones = PublishedBuilding.objects.values_list("time_zone", flat=True)
    counted = Counter(zones)
    zone = max(counted, key=counted.__getitem__, default="UTC")
    return timezone.localdate(timezone=ZoneInfo(zone))


def portfolio(on: date | None = None) -> list[Stands]:
    """Return the owner's buildings with their standing today or on a past day, worst first.

    A building whose engagement ended stays in the list as *not with us*.
    """
    buildings = list(PublishedBuilding.objects.order_by("name"))
    day = on or today(one.time_zone for one in buildings)
    found, stretches = _standings(buildings, day), _stretches(buildings)
    open_items: dict[UUID, list[PublishedItem]] = {}
    for item in open_on(day):
        open_items.setdefault(item.building_id, []).append(item)
    stands = [
        _stands(b, day, found, stretches[b.building_id], open_items.get(b.building_id, []))
        for b in buildings
    ]
    return sorted(stands, key=lambda one: (one.rank, one.building.name))


def building(building_id: UUID, on: date | None = None) -> Stands:
    """Return one of the owner's buildings on a day.

    Raises
    ------
    NotThere
        When it is none of theirs.
    """
    row = PublishedBuilding.objects.filter(building_id=building_id).first()
    if row is None:
        raise NotThere
    day = on or timezone.localdate(timezone=ZoneInfo(row.time_zone))
    items = [item for item in open_on(day) if item.building_id == building_id]
    return _stands(row, day, _standings([row], day), _stretches([row])[building_id], items)


def _standings(
    buildings: Iterable[PublishedBuilding], day: date
) -> dict[UUID, list[PublishedStanding]]:
    """Return the intervals that touch the local day, as known now, by building."""
    wide = datetime.combine(day, time(), tzinfo=ZoneInfo("UTC"))
    rows = PublishedStanding.objects.filter(
        Q(to_at=None) | Q(to_at__gt=wide - timedelta(days=1)),
        known_to=None,
        building_id__in=[b.building_id for b in buildings],
        from_at__lt=wide + timedelta(days=2),
    )
    zones = {b.building_id: ZoneInfo(b.time_zone) for b in buildings}
    found: dict[UUID, list[PublishedStanding]] = {}
    for row in rows:
        begins = datetime.combine(day, time(), tzinfo=zones[row.building_id])
        ends = datetime.combine(day + timedelta(days=1), time(), tzinfo=zones[row.building_id])
        if row.from_at < ends and (row.to_at is None or row.to_at > begins):
            found.setdefault(row.building_id, []).append(row)
    return found


def _stretches(buildings: Iterable[PublishedBuilding]) -> Mapping[UUID, list[Stretch]]:
    """Return how long each word held at each building, oldest first, as known now."""
    told: dict[UUID, list[Any]] = {b.building_id: [] for b in buildings}
    rows = PublishedStanding.objects.filter(known_to=None, building_id__in=told)
    columns = ("building_id", "word", "from_at", "to_at", "due_by")
    for building_id, *one in rows.order_by("from_at").values_list(*columns):
        told[building_id].append(one)
    return {building_id: standing.stretches(each) for building_id, each in told.items()}


def _stands(
    row: PublishedBuilding,
    day: date,
    found: Mapping[UUID, list[PublishedStanding]],
    stretches: Sequence[Stretch],
    items: Sequence[PublishedItem],
) -> Stands:
    worst = standing.worst(found.get(row.building_id, []))
    seen = [one for one in stretches if worst.since is None or one.begun <= worst.since]
    before = seen if worst.since is None else seen[:-1]
    return Stands(
        building=row,
        on=day,
        word=worst.word,
        due_by=worst.due_by,
        reasons=worst.reasons,
        scope=worst.scope,
        since=seen[-1].begun if worst.since else None,
        before=before[::-1],
        items=sorted(items, key=lambda item: GRADES.index(item.grade)),
    )


def open_on(day: date) -> list[PublishedItem]:
    """Return the findings and impairments open on a day, over all the owner's buildings."""
    begins = datetime.combine(day, time(), tzinfo=ZoneInfo("UTC"))
    return list(
        PublishedItem.objects.filter(
            Q(ended_at=None) | Q(ended_at__gt=begins), since__lt=begins + timedelta(days=1)
        ).order_by("since")
    )


def to_decide() -> list[PublishedItem]:
    """Return the open deficiencies on which the owner has not decided, worst first."""
    rows = PublishedItem.objects.filter(kind="finding", ended_at=None).exclude(
        grade__in=("observation", "impairment")
    )
    waiting = set(
        OwnerAct.objects.filter(kind=OwnerAct.Kind.DECIDE, taken_at=None, refused="").values_list(
            "source_id", flat=True
        )
    )
    found = [r for r in rows if not r.facts.get("decision") and r.source_id not in waiting]
    return sorted(found, key=lambda item: (GRADES.index(item.grade), item.since))


def item_for(source_id: UUID) -> PublishedItem:
    """Return a published finding or impairment; `NotThere` when it is none of this owner's."""
    row: PublishedItem | None = PublishedItem.objects.filter(source_id=source_id).first()
    if row is None:
        raise NotThere
    return row


def report_for(report_id: UUID) -> PublishedReport:
    """Return a published report; `NotThere` when it is none of this owner's."""
    row: PublishedReport | None = PublishedReport.objects.filter(report_id=report_id).first()
    if row is None:
        raise NotThere
    return row


def reports(building_id: UUID | None = None) -> Any:
    """Return the published reports, newest first."""
    rows = PublishedReport.objects.order_by("-performed_on", "-version")
    return rows.filter(building_id=building_id) if building_id else rows


def decide(
    item: PublishedItem,
    *,
    decision: str,
    until: date | None,
    reason: str,
    by: OwnerAccess,
) -> OwnerAct:
    """Write down the owner's decision on a finding; the contractor's record takes it in at once.

    Raises
    ------
    OnlyReads
        When this access does not decide.
    FieldRefused
        When the decision is none, a day is missing or past, or the reason is missing.
    """
    if by.role != OwnerAccess.Role.DECIDES:
        raise OnlyReads
    if decision not in DECISIONS:
        raise FieldRefused("decision", decision, "approve, defer or decline.")
    if item.kind != "finding" or item.ended_at is not None:
        raise findings.AlreadyEnded
    here = PublishedBuilding.objects.filter(building_id=item.building_id)
    day = today(here.values_list("time_zone", flat=True))
    if decision == "defer" and (until is None or until <= day):
        raise FieldRefused("until", until or "nothing", "A day after today.")
    if decision in ("defer", "decline") and not reason.strip():
        raise FieldRefused("reason", "nothing", "Say in a few words why; it is kept.")
    facts = {
        "decision": decision,
        "until": until.isoformat() if until and decision == "defer" else None,
        "reason": reason.strip()[:400],
        "on": day.isoformat(),
    }
    with transaction.atomic():
        act: OwnerAct = OwnerAct.objects.create(
            contractor_id=item.contractor_id,
            owner_id=item.owner_id,
            building_id=item.building_id,
            access=by,
            kind=OwnerAct.Kind.DECIDE,
            source_id=item.source_id,
            facts=facts,
            at=timezone.now(),
        )
        outbox.add("owner.act", str(act.pk), contractor_id=item.contractor_id, act=act.pk)
    return act


@outbox.on("owner.act")
def take(message: OutboxMessage) -> None:
    """Take an owner's act into the record, in the contractor's scope and marked as the owner's."""
    act = OwnerAct.objects.select_related("access", "access__user").get(pk=message.payload["act"])
    if act.taken_at is not None or act.refused:
        return
    finding = Finding.objects.get(pk=act.source_id)
    until = act.facts.get("until")
    try:
        findings.decide(
            finding,
            decision=act.facts["decision"],
            on=date.fromisoformat(act.facts["on"]),
            until=date.fromisoformat(until) if until else None,
            reason=act.facts.get("reason", ""),
            name=act.access.user.name,
            owner=act.owner_id,
        )
    except (Refusal, EventRefused) as refused:
        act.refused = str(refused)[:200]
        act.save(update_fields=["refused"])
        return
    act.taken_at = timezone.now()
    act.save(update_fields=["taken_at"])
