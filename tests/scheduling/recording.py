"""What tests of due dates write into the record."""

from inspections import findings, projections, record, visits
from inspections.models import Visit, VisitLine
from scheduling import due

FLOW_TEST = "waterflow-vane-test"


def done(ours, subject, activity, day, answer="pass"):
    """Record one activity done on a day, as an import of our own records would."""
    visit = Visit.objects.create(building=ours.building)
    entries = [
        record.visit_entry(
            visit, "visit.import", {"grade": "own_record", "done_on": day.isoformat()}, by=None
        ),
        record.visit_entry(
            visit,
            "item.set",
            {
                "subject": {"kind": subject.subject_kind, "id": str(subject.pk)},
                "activity": activity,
                "answer": answer,
            },
            by=None,
        ),
    ]
    record.append(entries, via="import", by=ours.office)


def closed(ours, at):
    """Test the wet riser's flow switch on a visit at an instant, and close it as people do."""
    device, by = ours.devices["wet_flow"], ours.technician
    visit = Visit.objects.create(building=ours.building, technician=ours.people["technician"])
    item = {"subject_kind": device.subject_kind, "subject_id": device.pk}
    VisitLine.objects.create(visit=visit, system=ours.wet, activity=FLOW_TEST, **item)

    def tell(kind, **payload):
        record.append([record.visit_entry(visit, kind, payload, by=by)], via="page", by=by)

    subject = {"kind": device.subject_kind, "id": str(device.pk)}
    tell("visit.open", at=at.isoformat())
    took = {"name": "time_to_alarm", "typed": "42 s", "value": {"value": "42", "unit": "s"}}
    tell("reading.add", subject=subject, activity=FLOW_TEST, **took)
    tell("item.set", subject=subject, activity=FLOW_TEST, answer="pass")
    shown = projections.picture(visit.pk).shown
    tell("signature.add", role="technician", name="T", shown=shown)
    tell("signature.add", role="absent", reason="nobody in", shown=shown)
    visits.hand_in(visit, by=by)
    return visits.review(visit, accept=True, by=ours.manager)


def found(ours, grade="critical"):
    """Find the paddle of the flow switch sticking, and derive what follows from it."""
    row = findings.add(
        ours.building,
        subject=("device", ours.devices["wet_flow"].pk),
        grade=grade,
        text="Paddle sticks",
        by=ours.technician,
    )
    due.derive(ours.building)
    return row
