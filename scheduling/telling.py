"""Who is told what when a plan is published: technicians, and owners' people."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from buildings.models import Building
from contractors import notices
from contractors.models import OwnerAccess, Person
from inspections.models import Visit
from scheduling.marks import rounded
from scheduling.models import Plan, Stop

NOTICED = timedelta(minutes=30)
DAY = "D j F"


@dataclass(frozen=True, slots=True)
class Told:
    """One message: to whom, about what.

    Attributes
    ----------
    role
        technician or owner.
    name
        The technician, or the building that the owner's person looks after.
    email
        Empty: nobody can be told by mail; somebody has to ring.
    lines
        What is said, a line a visit.
    """

    key: str
    role: str
    name: str
    email: str
    lines: tuple[str, ...]


def who_is_told(plan: Plan, now: datetime) -> list[Told]:
    """Return the messages that publishing a plan sends; only what changes is told."""
    rows = plan.stops.select_related("visit", "visit__building", "technician")
    stops = list(rows.order_by("on", "technician", "position"))
    return [*_technicians(plan, stops), *_owners(plan, stops, now)]


def _technicians(plan: Plan, stops: Sequence[Stop]) -> list[Told]:
    by_person: dict[Person, list[Stop]] = defaultdict(list)
    for stop in stops:
        by_person[stop.technician].append(stop)
    for person in _losing(plan, stops):
        by_person.setdefault(person, [])
    found = []
    for person, theirs in sorted(by_person.items(), key=lambda pair: pair[0].name):
        lost = bool(_lost(person.pk, plan, stops))
        if lost or any(_moves(stop) for stop in theirs):
            lines = tuple(_day_line(stop) for stop in theirs) or (_("Nothing is left for you."),)
            key = f"plan:{plan.pk}:technician:{person.pk}"
            found.append(Told(key, "technician", person.name, person.email, lines))
    return found


def _planned_before(plan: Plan) -> list[Visit]:
    return list(
        Visit.objects.filter(
            state=Visit.State.PLANNED, planned_on__gte=plan.from_on, planned_on__lte=plan.to_on
        ).select_related("technician", "building")
    )


def _losing(plan: Plan, stops: Sequence[Stop]) -> list[Person]:
    """Return the technicians from whom the plan takes a visit."""
    return list({v.technician for v in _taken(plan, stops) if v.technician is not None})


def _taken(plan: Plan, stops: Sequence[Stop]) -> list[Visit]:
    held = {(stop.visit_id, stop.technician_id) for stop in stops}
    known = {stop.visit_id for stop in stops} | {UUID(one["visit"]) for one in plan.unplanned}
    return [
        visit
        for visit in _planned_before(plan)
        if visit.pk in known and (visit.pk, visit.technician_id) not in held
    ]


def _lost(person_id: UUID, plan: Plan, stops: Sequence[Stop]) -> list[Visit]:
    return [visit for visit in _taken(plan, stops) if visit.technician_id == person_id]


def _moves(stop: Stop) -> bool:
    visit = stop.visit
    if visit.planned_on != stop.on or visit.planned_start is None:
        return True
    if stop.technician_id not in (visit.technician_id, visit.second_id):
        return True
    return abs(visit.planned_start - stop.start_at) > NOTICED


def _day_line(stop: Stop) -> str:
    building = stop.visit.building
    start = timezone.localtime(rounded(stop.start_at), building.zone)
    return _("%(day)s %(time)s %(building)s, %(address)s: %(what)s") % {
        "day": date_format(stop.on, DAY),
        "time": f"{start:%H:%M}",
        "building": building.name,
        "address": building.full_address,
        "what": stop.visit.title or stop.visit.get_kind_display(),
    }


def _owners(plan: Plan, stops: Sequence[Stop], now: datetime) -> list[Told]:
    by_building: dict[Building, list[Stop]] = defaultdict(list)
    for stop in stops:
        if _moves(stop) and all(
            s.visit_id != stop.visit_id for s in by_building[stop.visit.building]
        ):
            by_building[stop.visit.building].append(stop)
    moved = {building: rows for building, rows in by_building.items() if rows}
    addresses = addresses_of(moved, now)
    found = []
    for building, rows in sorted(moved.items(), key=lambda pair: pair[0].name):
        lines = tuple(_owner_line(stop) for stop in sorted(rows, key=lambda s: s.start_at))
        for email in addresses.get(building.pk) or [""]:
            key = f"plan:{plan.pk}:building:{building.pk}:{email}"
            found.append(Told(key, "owner", building.name, email, lines))
    return found


def _owner_line(stop: Stop) -> str:
    start = timezone.localtime(rounded(stop.start_at), stop.visit.building.zone)
    return _("%(day)s, about %(time)s, %(technician)s: %(what)s, about %(minutes)s min") % {
        "day": date_format(stop.on, DAY),
        "time": f"{start:%H:%M}",
        "technician": stop.technician.name,
        "what": stop.visit.title or stop.visit.get_kind_display(),
        "minutes": stop.visit.planned_minutes,
    }


def addresses_of(buildings: Iterable[Building], now: datetime) -> dict[UUID, list[str]]:
    """Return whom to write to about each building: its owners' users and its contact."""
    rows = Building.objects.filter(pk__in=[b.pk for b in buildings])
    owners: dict[UUID, list[UUID]] = {}
    contacts: dict[UUID, str] = {}
    for row in rows.prefetch_related("engagements"):
        today: date = timezone.localdate(now, row.zone)
        owners[row.pk] = [e.owner_id for e in row.engagements.all() if e.holds_on(today)]
        contacts[row.pk] = row.contact_email
    everybody = {one for found in owners.values() for one in found}
    emails: dict[UUID, list[str]] = defaultdict(list)
    for access in OwnerAccess.objects.filter(owner_id__in=everybody).open_today():
        emails[access.owner_id].append(access.user.email)
    return {
        building_id: sorted(
            {
                *(email for one in found for email in emails[one]),
                *([contacts[building_id]] if contacts[building_id] else []),
            }
        )
        for building_id, found in owners.items()
    }


def tell(plan: Plan, told: Iterable[Told]) -> None:
    """Send the messages; each once, however often the plan is published."""
    for one in told:
        if not one.email:
            continue
        for_owner = one.role == "owner"
        subject = (
            _("Visit to %(building)s") % {"building": one.name}
            if for_owner
            else _("Your visits, %(first)s to %(last)s")
            % {"first": date_format(plan.from_on, "j F"), "last": date_format(plan.to_on, "j F")}
        )
        ending = (
            _("Please tell us in good time if the building cannot be entered then.")
            if for_owner
            else _("The tablet shows each day's visits with what there is to do.")
        )
        notices.send(
            one.key,
            kind="visit.planned" if for_owner else "plan.published",
            to=one.email,
            subject=subject,
            body="\n".join([*one.lines, "", ending]),
            gather=False,
        )
