"""What calendars show: a technician's visits, a building's visits and windows, an owner's days.

Nothing is in them that the reader may not see on a page: no telephone, no access note, no reading.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from django.db.models import Count, Max, Min, Q
from django.db.models.functions import Coalesce
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from buildings.models import Building, Engagement
from contractors import calendars
from contractors.calendars import Contents, Entry
from contractors.doors import Door, Role
from contractors.models import CalendarFeed, Owner, Person
from contractors.scope import owner_scope
from inspections.models import Visit
from scheduling import bundle
from scheduling.models import Occurrence, PublishedBuilding

Kind = CalendarFeed.Kind
USUAL_MINUTES = 60


def register() -> None:
    """Say what the calendars show."""
    calendars.contents.update(
        {
            Kind.TECHNICIAN: Contents(_members, _of_technician, _is_technician, _technicians),
            Kind.BUILDING: Contents(_members, _of_building, _is_building, _buildings),
            Kind.OWNER: Contents(_owners, _of_owner, _is_owner, lambda _door: ()),
        }
    )


def _technicians(door: Door) -> Sequence[tuple[UUID, str]]:
    people = Person.objects.filter(is_technician=True).order_by("name")
    if door.role == Role.TECHNICIAN:
        people = people.filter(membership=door.member)
    return list(people.values_list("pk", "name"))


def _buildings(_door: Door) -> Sequence[tuple[UUID, str]]:
    return list(Building.objects.order_by("name").values_list("pk", "name"))


def _members(feed: CalendarFeed) -> Sequence[UUID]:
    return [feed.membership.contractor_id]  # type: ignore[union-attr]


def _owners(feed: CalendarFeed) -> Sequence[UUID]:
    with owner_scope(feed.owner_access.owner_id):  # type: ignore[union-attr]
        rows = PublishedBuilding.objects.order_by("contractor_id")
        return list(rows.values_list("contractor_id", flat=True).distinct())


def _is_technician(feed: CalendarFeed, door: Door) -> bool:
    """Say whether the technician goes out, may still sign in, and is the reader or their boss."""
    people = Person.objects.select_related("membership__user", "membership__contractor")
    person = people.filter(pk=feed.subject_id, is_technician=True).first()
    if person is None:
        return False
    member = person.membership
    if member is not None and (member.is_over or not member.user.is_active):
        return False
    return door.role != Role.TECHNICIAN or member == door.member


def _is_building(feed: CalendarFeed, door: Door) -> bool:
    return bool(Building.objects.filter(pk=feed.subject_id).exists())


def _is_owner(feed: CalendarFeed, door: Door) -> bool:
    return feed.subject_id is None


def _of_technician(feed: CalendarFeed, now: datetime) -> Iterator[Entry]:
    mine = Q(technician_id=feed.subject_id) | Q(second_id=feed.subject_id)
    for visit in _visits(Visit.objects.filter(mine), now):
        others = [p.name for p in (visit.technician, visit.second) if p and p.pk != feed.subject_id]
        with_whom = _("With %(names)s.") % {"names": ", ".join(others)} if others else ""
        yield _visit(visit, f"{visit.building.name}: {_what(visit)}", with_whom)


def _of_building(feed: CalendarFeed, now: datetime) -> Iterator[Entry]:
    for visit in _visits(Visit.objects.filter(building_id=feed.subject_id), now):
        names = [p.name for p in (visit.technician, visit.second) if p]
        who = ", ".join(names) or _("Nobody is chosen yet")
        yield _visit(visit, f"{visit.building.name}: {_what(visit)}", who)
    building = Building.objects.get(pk=feed.subject_id)
    yield from _windows(building, now)


def _of_owner(feed: CalendarFeed, now: datetime) -> Iterator[Entry]:
    owner: Owner = feed.owner_access.owner  # type: ignore[union-attr]
    spans = list(Engagement.objects.filter(owner=owner).select_related("building"))
    places = {span.building_id for span in spans}

    def holds(building_id: UUID, day: date) -> bool:
        return any(s.building_id == building_id and s.holds_on(day) for s in spans)

    for visit in _visits(Visit.objects.filter(building__in=places), now):
        if holds(visit.building_id, visit.day):
            names = [p.name for p in (visit.technician, visit.second) if p]
            who = ", ".join([visit.building.contractor.name, *names])
            summary = _("%(building)s: visit, %(what)s") % {
                "building": visit.building.name,
                "what": _what(visit),
            }
            path = reverse("owner_building", args=[visit.building_id])
            yield _visit(visit, summary, who, path=path, busy=False)
    for building in {span.building_id: span.building for span in spans}.values():
        if holds(building.pk, timezone.localdate(now, building.zone)):
            for entry in _due_days(building, now):
                if holds(building.pk, entry.starts):
                    yield entry


def _visits(rows: Any, now: datetime) -> Iterable[Any]:
    """Return visits that have a day and are not called off, from some weeks back on."""
    since = (now - calendars.SHOWN_BACK).date()
    return list(
        rows.annotate(day=Coalesce("planned_on", "performed_on"))
        .filter(day__gte=since)
        .exclude(state=Visit.State.CANCELLED)
        .select_related("building__contractor", "technician", "second")
        .order_by("pk")
    )


def _what(visit: Visit) -> str:
    return visit.title or str(visit.get_kind_display())


def _visit(visit: Any, summary: str, who: str, *, path: str = "", busy: bool = True) -> Entry:
    building = visit.building
    minutes = visit.planned_minutes or USUAL_MINUTES
    starts: datetime | date = visit.day
    ends: datetime | date = visit.day + timedelta(days=1)
    if visit.planned_start is not None:
        starts = visit.planned_start.replace(microsecond=0)
        ends = starts + timedelta(minutes=minutes)
    about = _("About %(minutes)s min.") % {"minutes": minutes}
    return Entry(
        key=f"visit-{visit.pk}",
        building_id=building.pk,
        starts=starts,
        ends=ends,
        zone=building.time_zone,
        summary=summary,
        place=building.full_address,
        text="\n".join(part for part in (about, who) if part),
        path=path or visit.get_absolute_url(),
        busy=busy,
    )


def _open(building: Building, now: datetime) -> Any:
    until = (now + calendars.SHOWN_AHEAD).date()
    return Occurrence.objects.filter(building=building, due_on__lte=until)


def _windows(building: Building, now: datetime) -> Iterator[Entry]:
    """Yield what we owe, a frequency and due day at a time, over the days on which all of it may.

    An overdue one stays on its days.
    """
    today = timezone.localdate(now, building.zone)
    rows = (
        _open(building, now)
        .filter(by_owner=False)
        .order_by("frequency", "due_on")
        .values("frequency", "due_on")
        .annotate(
            count=Count("pk"),
            first=Max(Coalesce("earliest_on", "due_on")),
            last=Min("latest_on"),
        )
    )
    for row in rows:
        first, last = min(row["first"], row["last"]), row["last"]
        count = ngettext("%(n)s activity", "%(n)s activities", row["count"]) % {"n": row["count"]}
        often = capfirst(bundle.frequency_words(row["frequency"]))
        said = (
            _("%(building)s: %(often)s, overdue since %(day)s")
            if last < today
            else _("%(building)s: %(often)s, latest %(day)s")
        )
        yield _all_day(
            building,
            f"window-{row['frequency']}-{row['due_on']}",
            (first, last + timedelta(days=1)),
            said % {"building": building.name, "often": often, "day": last.isoformat()},
            _("%(count)s, due %(day)s.") % {"count": count, "day": row["due_on"].isoformat()},
            reverse("building", args=[building.pk]),
        )


def _due_days(building: Building, now: datetime) -> Iterator[Entry]:
    """Yield the days on which something is due at an owner's building: ours, and their own."""
    rows = (
        _open(building, now)
        .order_by("by_owner", "due_on")
        .values("by_owner", "due_on")
        .annotate(count=Count("pk"), last=Min("latest_on"))
    )
    for row in rows:
        facts = {"building": building.name, "n": row["count"]}
        said = (
            ngettext(
                "%(building)s: %(n)s check of your own is due",
                "%(building)s: %(n)s checks of your own are due",
                row["count"],
            )
            if row["by_owner"]
            else ngettext(
                "%(building)s: %(n)s activity is due",
                "%(building)s: %(n)s activities are due",
                row["count"],
            )
        )
        yield _all_day(
            building,
            f"due-{'owner' if row['by_owner'] else 'us'}-{row['due_on']}",
            (row["due_on"], row["due_on"] + timedelta(days=1)),
            said % facts,
            _("Latest %(day)s.") % {"day": row["last"].isoformat()},
            reverse("owner_building", args=[building.pk]),
        )


def _all_day(
    building: Building, what: str, days: tuple[date, date], summary: str, text: str, path: str
) -> Entry:
    return Entry(
        key=f"days-{uuid5(NAMESPACE_URL, f'{building.pk}:{what}')}",
        building_id=building.pk,
        starts=days[0],
        ends=days[1],
        zone=building.time_zone,
        summary=summary,
        place=building.full_address,
        text=text,
        path=path,
        busy=False,
    )
