"""The demo's visits: those planned for today, and some of the day before that are sealed."""

from datetime import datetime, time, timedelta
from typing import Any

from django.utils import timezone

from buildings.models import Building, System
from contractors.models import Membership, Person
from inspections import projections, record, visits
from inspections.catalogue_files import catalogue
from inspections.models import Event, Reading, Visit
from scheduling.bundle import write_lines
from scheduling.models import Occurrence

# Who goes where today: technician, buildings. The archive has a single-interlock preaction riser.
TODAY = (("IB", ("B11", "B01")), ("JS", ("B04", "B02")), ("PK", ("B16",)), ("HW", ("B36",)))
# Whose visit of the working day before was handed in and sealed: technician, building.
REPORTED = (("DN", "B27"),)
# A visit that is reported takes in what is due within these days, of each activity a few.
REPORTED_DAYS, REPORTED_ALIKE = 500, 3
TRIP = ("pad-single-interlock", "pad-trip-preaction-partial", "pad-low-air")
MOST_LINES = 40


def plan_today() -> None:
    """Plan today's visits of the contractor in force, out of what is due soon."""
    today = timezone.localdate()
    for code, buildings in TODAY:
        person = Person.objects.filter(code=code).first()
        for place, number in enumerate(buildings):
            building = Building.objects.filter(code=number).first()
            if person is not None and building is not None:
                _visit(
                    building, person, datetime.combine(today, time(8 + 4 * place), building.zone)
                )


def report_before() -> None:
    """Let visits of the working day before be done, handed in and sealed, so that reports stand."""
    day = timezone.localdate() - timedelta(days=1)
    while day.weekday() > 4:
        day -= timedelta(days=1)
    reviewer = Membership.objects.filter(role=Membership.Role.MANAGER).first()
    for code, number in REPORTED:
        person = Person.objects.filter(code=code).first()
        building = Building.objects.filter(code=number).first()
        if reviewer and person and building and person.membership:
            start = datetime.combine(day, time(8), building.zone)
            done = _done(building, person, person.membership, start)
            visits.review(done, accept=True, by=reviewer)


def _done(building: Building, person: Person, by: Membership, start: datetime) -> Visit:
    """Hand in a visit with what needs no shut valve and was read before, all as it was then."""
    until = start.date() + timedelta(days=REPORTED_DAYS)
    rows = Occurrence.objects.filter(building=building, by_owner=False, visit=None)
    work: dict[Occurrence, list[Reading]] = {}
    for one in rows.filter(latest_on__lt=until).order_by("latest_on", "due_on"):
        activity = catalogue().activities[one.activity]
        before = _read_before(one)
        alike = sum(other.activity == one.activity for other in work)
        is_known = set(activity.readings) == {reading.name for reading in before}
        if is_known and not activity.shuts_system and alike < REPORTED_ALIKE:
            work[one] = before
    visit = _planned(building, person, start, list(work), "Quarterly visit")

    def tell(*told: tuple[str, dict[str, Any]]) -> None:
        entries = [record.visit_entry(visit, kind, payload, by=by) for kind, payload in told]
        record.append(entries, via=Event.Via.PAGE, by=by)

    station = {"until": (start + timedelta(hours=3)).isoformat(), "reference": "24-118"}
    tell(
        ("visit.open", {"at": start.isoformat()}),
        ("visit.station", {"state": "on", **station}),
        *(entry for one, before in work.items() for entry in _answered(one, before)),
        ("visit.station", {"state": "off", "signals": "Waterflow and supervisory, all read back"}),
    )
    shown = projections.picture(visit.pk).shown
    tell(
        ("signature.add", {"role": "technician", "name": person.name, "shown": shown}),
        ("signature.add", {"role": "absent", "reason": "Desk closed", "shown": shown}),
    )
    return visits.hand_in(visit, by=by)


def _read_before(one: Occurrence) -> list[Reading]:
    rows = Reading.objects.filter(
        subject_kind=one.subject_kind, subject_id=one.subject_id, activity=one.activity
    )
    return list({row.name: row for row in rows.order_by("read_at")}.values())


def _answered(one: Occurrence, before: list[Reading]) -> list[tuple[str, dict[str, Any]]]:
    item = {
        "subject": {"kind": one.subject_kind, "id": str(one.subject_id)},
        "activity": one.activity,
    }
    figures = [
        (row.name, row.typed, {"value": row.typed.split()[0], "unit": row.unit}) for row in before
    ]
    read = [
        ("reading.add", item | {"name": name, "typed": typed, "value": value})
        for name, typed, value in figures
    ]
    return [*read, ("item.set", item | {"answer": "pass"})]


def _visit(building: Building, person: Person, start: datetime) -> None:
    rows = Occurrence.objects.filter(building=building, by_owner=False, visit=None)
    chosen = list(rows.order_by("latest_on", "due_on")[:MOST_LINES])
    vault = System.objects.filter(
        building=building, kind=System.Kind.PREACTION, attributes__interlock="single"
    ).first()
    if vault is not None:
        there = {one.pk for one in chosen}
        chosen += [o for o in rows.filter(system=vault, activity__in=TRIP) if o.pk not in there]
    title = (
        "Quarterly visit with the trip test of the preaction riser" if vault else "Quarterly visit"
    )
    _planned(building, person, start, chosen, title)


def _planned(
    building: Building, person: Person, start: datetime, chosen: list[Occurrence], title: str
) -> Visit:
    visit: Visit = Visit.objects.create(
        building=building,
        technician=person,
        planned_on=start.date(),
        planned_start=start,
        planned_minutes=round(sum(one.minutes for one in chosen)),
        title=title,
        catalogue_version=catalogue().version,
    )
    write_lines({visit: chosen})
    return visit
