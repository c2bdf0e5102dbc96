"""A visit before it begins: made, moved to another day, given to somebody else."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from buildings.models import Building
from contractors import audit, outbox
from contractors.models import Membership, Person
from contractors.models.base import new_id
from contractors.refusal import FieldRefused, Refusal
from inspections import licensed, subjects
from inspections.catalogue_files import catalogue
from inspections.models import Visit, VisitLine

State = Visit.State
WHO = ("technician", "second")
# What the owner is told of a visit that is planned.
TOLD = {"planned_on", "title"}


class BegunAlready(Refusal):
    """A visit that was begun stays on its day; one that is over stays with its technician."""

    code = "begun_already"
    status = 409
    sentence = "The visit is %(state)s: it is neither moved nor given to somebody else any more."


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """An activity to do on one item, by kind and id of the item."""

    subject_kind: str
    subject_id: UUID
    activity: str


def make(building: Building, *, by: Membership, lines: Iterable[Line] = (), **values: Any) -> Visit:
    """Plan a visit.

    Parameters
    ----------
    lines
        What it is to do; a visit without lines records what is found.
    values
        kind, title, technician, second, planned_on, planned_start, planned_minutes, locked.

    Raises
    ------
    FieldRefused
        Naming a line's item or activity that is not there, or a person who is no technician.
    NotQualified
        When its people lack a qualification on its day.
    """
    _check_people(values)
    given = list(lines)
    for place, line in enumerate(given):
        _check_line(building, line, place)
    with transaction.atomic():
        visit: Visit = Visit.objects.create(
            building=building, catalogue_version=catalogue().version, **_placed(building, values)
        )
        VisitLine.objects.bulk_create(
            VisitLine(
                visit=visit,
                system_id=subjects.system_of(line.subject_kind, line.subject_id),
                subject_kind=line.subject_kind,
                subject_id=line.subject_id,
                activity=line.activity,
            )
            for line in dict.fromkeys(given)
        )
        licensed.check_visit(visit)
        audit.record("visit.made", by=by, on=visit, lines=len(given))
        if visit.planned_on is not None:
            republish(visit)
    return visit


def change(visit: Visit, values: Mapping[str, Any], *, by: Membership) -> Visit:
    """Move a planned visit, or give a planned or open one to somebody else.

    Raises
    ------
    BegunAlready
        When it has gone too far for that.
    FieldRefused
        When the person is no technician.
    NotQualified
        When its people lack a qualification on its day.
    """
    with transaction.atomic():
        row = Visit.objects.select_for_update().get(pk=visit.pk)
        changed = {n: v for n, v in values.items() if getattr(row, n) != v}
        allowed = row.state == State.PLANNED or (
            row.state == State.OPEN and all(name in WHO for name in changed)
        )
        if changed and not allowed:
            raise BegunAlready(state=str(row.get_state_display()))
        _check_people({"technician": row.technician, "second": row.second, **changed})
        changed |= _start_on_its_day(row, changed)
        for name, value in changed.items():
            setattr(row, name, value)
        if changed:
            row.save(update_fields=sorted(changed))
            if {*WHO, "planned_on"} & set(changed):
                licensed.check_visit(row)
            facts = {name: str(getattr(value, "pk", value)) for name, value in changed.items()}
            audit.record("visit.changed", by=by, on=row, **facts)
        if TOLD & set(changed):
            republish(row)
    found: Visit = Visit.objects.select_related("building", "technician", "second").get(pk=row.pk)
    return found


def republish(visit: Visit) -> None:
    """Have the owner told anew, after the commit, when the next visits of its building are."""
    key = f"{visit.building_id}:visit:{new_id()}"
    outbox.add("building.changed", key, building=visit.building_id)


def hand_over(visit: Visit, to: UUID, *, by: Membership) -> Visit:
    """Give a visit that was begun to another technician; who had it stays on it as the second.

    Raises
    ------
    FieldRefused
        When there is no such technician.
    BegunAlready, NotQualified
        As `change` says.
    """
    person = Person.objects.filter(pk=to, is_technician=True).first()
    if person is None:
        raise FieldRefused("to", str(to), "One of the technicians is accepted.")
    if person.pk == visit.technician_id:
        return visit
    return change(visit, {"technician": person, "second": visit.technician}, by=by)


def _check_people(values: Mapping[str, Any]) -> None:
    for name in WHO:
        person: Person | None = values.get(name)
        if person is not None and not person.is_technician:
            raise FieldRefused(name, person.name, "One of the technicians is accepted.")
    if values.get("second") is not None and values.get("second") == values.get("technician"):
        raise FieldRefused("second", values["second"].name, "Somebody else than the first.")


def _check_line(building: Building, line: Line, place: int) -> None:
    if line.activity not in catalogue().activities:
        raise FieldRefused(f"lines[{place}].activity", line.activity, "An activity's id.")
    item = subjects.subject_for(line.subject_kind, line.subject_id)
    at = item if isinstance(item, Building) else getattr(item, "building", None)
    if at is None or at.pk != building.pk:
        accepted = f"A {line.subject_kind} of this building."
        raise FieldRefused(f"lines[{place}].subject_id", line.subject_id, accepted)


def _placed(building: Building, values: dict[str, Any]) -> dict[str, Any]:
    """Take the day from the start where only that is given."""
    start: datetime | None = values.get("planned_start")
    if start is not None and values.get("planned_on") is None:
        return values | {"planned_on": start.astimezone(building.zone).date()}
    return values


def _start_on_its_day(row: Visit, changed: Mapping[str, Any]) -> dict[str, Any]:
    """Keep the time of day when only the day changes, and the day when the start does."""
    zone = row.building.zone
    if changed.get("planned_start") is not None and "planned_on" not in changed:
        day: date = changed["planned_start"].astimezone(zone).date()
        return {} if day == row.planned_on else {"planned_on": day}
    if "planned_on" in changed and "planned_start" not in changed and row.planned_start:
        if changed["planned_on"] is None:
            return {"planned_start": None}
        at = row.planned_start.astimezone(zone).time()
        return {"planned_start": datetime.combine(changed["planned_on"], at, tzinfo=zone)}
    return {}
