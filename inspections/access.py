"""The road from a request and an id to a row: whose it is, and whether they may."""

from typing import Any
from uuid import UUID

from django.db.models import Q

from buildings.models import SupplyPoint
from contractors.doors import Role
from contractors.models import Membership, Person
from contractors.refusal import NotThere
from inspections.models import (
    Finding,
    FlowTest,
    Impairment,
    Photo,
    Report,
    SupplyMargin,
    Visit,
    VisitLine,
)


def person_of(member: Membership) -> Person | None:
    """Return the contractor's person behind a membership; None where there is none."""
    found: Person | None = Person.objects.filter(membership=member).first()
    return found


def visits_of(member: Membership) -> Any:
    """Return the visits a member may see: a technician's own, everybody else's all."""
    visits = Visit.objects.select_related("building", "technician", "second")
    if member.role != Role.TECHNICIAN:
        return visits
    person = person_of(member)
    if person is None:
        return visits.none()
    return visits.filter(technician=person) | visits.filter(second=person)


def reports_of(member: Membership) -> Any:
    """Return the versions of reports of the visits a member may see."""
    reports = Report.objects.select_related("visit", "visit__building", "pdf")
    return reports if member.role != Role.TECHNICIAN else reports.filter(_of_visits(member))


def photos_of(member: Membership) -> Any:
    """Return the photos of the visits a member may see, and those of findings, which all see."""
    photos = Photo.objects.select_related("visit", "file")
    if member.role != Role.TECHNICIAN:
        return photos
    return photos.filter(_of_visits(member) | Q(finding_id__isnull=False))


def _of_visits(member: Membership) -> Q:
    return Q(visit__in=visits_of(member).order_by().values("pk"))


def _one(rows: Any, row_id: UUID) -> Any:
    found = rows.filter(pk=row_id).first()
    if found is None:
        raise NotThere
    return found


def visit_for(member: Membership, visit_id: UUID) -> Visit:
    """Return a visit this member may see; `NotThere` otherwise."""
    found: Visit = _one(visits_of(member), visit_id)
    return found


def line_for(member: Membership, line_id: UUID) -> VisitLine:
    """Return a line of a visit this member may see; `NotThere` otherwise."""
    rows = VisitLine.objects.filter(visit__in=visits_of(member).order_by().values("pk"))
    found: VisitLine = _one(rows, line_id)
    return found


def finding_for(member: Membership, finding_id: UUID) -> Finding:
    """Return a finding of the contractor; `NotThere` otherwise."""
    rows = Finding.objects.select_related("building", "visit", "system")
    found: Finding = _one(rows, finding_id)
    return found


def impairment_for(member: Membership, impairment_id: UUID) -> Impairment:
    """Return an impairment of the contractor; `NotThere` otherwise."""
    rows = Impairment.objects.select_related("building", "finding", "system")
    found: Impairment = _one(rows, impairment_id)
    return found


def report_for(member: Membership, report_id: UUID) -> Report:
    """Return a version of a report this member may see; `NotThere` otherwise."""
    found: Report = _one(reports_of(member), report_id)
    return found


def photo_for(member: Membership, photo_id: UUID) -> Photo:
    """Return a photo of a visit this member may see; `NotThere` otherwise."""
    found: Photo = _one(photos_of(member), photo_id)
    return found


def supply_point_for(member: Membership, point_id: UUID) -> SupplyPoint:
    """Return a supply point of the contractor; `NotThere` otherwise."""
    found: SupplyPoint = _one(SupplyPoint.objects.all(), point_id)
    return found


def flow_test_for(member: Membership, test_id: UUID) -> FlowTest:
    """Return a flow test of the contractor; `NotThere` otherwise."""
    found: FlowTest = _one(FlowTest.objects.select_related("supply_point"), test_id)
    return found


def supply_margin_for(member: Membership, margin_id: UUID) -> SupplyMargin:
    """Return what a flow test left a system; `NotThere` otherwise."""
    rows = SupplyMargin.objects.select_related("flow_test__supply_point", "building", "system")
    found: SupplyMargin = _one(rows, margin_id)
    return found
