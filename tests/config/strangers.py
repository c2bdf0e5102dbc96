"""Rows of another contractor, one of each kind that an address can name."""

from datetime import UTC, date, datetime
from uuid import uuid4

import time_machine

from buildings.models import Sketch, TurnOrder
from contractors import notices, outbox
from contractors.models import CalendarFeed, Export, OutboxMessage, OwnerExport, StoredFile
from inspections import (
    findings,
    flow_readings,
    practising,
    record,
    rules,
    sampling,
    supplies,
    valve_runs,
)
from inspections.models import (
    Impairment,
    Photo,
    Quarantined,
    Reading,
    Report,
    Result,
    Tablet,
    Visit,
    VisitLine,
)
from scheduling import due, ladders, legal, off_limits, responses, terms
from scheduling.models import FollowUp, Occurrence, Plan, Question, Stop

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
CANARY = "Zylophane Hall"


def rows_of(theirs):
    """One row of theirs for each key of the table, each with the canary's words."""
    with time_machine.travel(NOW, tick=False), theirs.scope():
        type(theirs.building).objects.filter(pk=theirs.building.pk).update(name=CANARY)
        theirs.building.refresh_from_db()
        visit = Visit.objects.create(
            building=theirs.building,
            technician=theirs.people["technician"],
            planned_on=date(2026, 11, 25),
            title=CANARY,
        )
        line = VisitLine.objects.create(
            visit=visit,
            subject_kind="riser",
            subject_id=theirs.wet_riser.pk,
            activity="main-drain-annual",
        )
        subject = {"kind": "riser", "id": str(theirs.wet_riser.pk)}
        common = {"subject": subject, "activity": "main-drain-annual"}
        reading = {
            "name": "static_pressure",
            "typed": "82 psi",
            "value": {"value": "82", "unit": "psi"},
        }
        record.append(
            [
                record.visit_entry(visit, "visit.open", {"at": NOW.isoformat()}, by=None),
                record.visit_entry(visit, "reading.add", {**common, **reading}, by=None),
                record.visit_entry(visit, "item.set", {**common, "answer": "pass"}, by=None),
            ],
            via="page",
            by=theirs.technician,
        )
        finding = findings.add(
            theirs.building,
            subject=("riser", theirs.wet_riser.pk),
            grade="impairment",
            text=CANARY,
            by=theirs.technician,
            visit=visit,
        )
        group = theirs.devices["wet_sprinklers"]
        sample = sampling.send(
            theirs.building,
            sampling.Sending(
                activity="sprinkler-test-standard-50y",
                groups=[group],
                pieces=[sampling.Piece(f"T{n}", group.pk) for n in range(4)],
                taken_on=NOW.date(),
                taken_by=CANARY,
                sent_on=NOW.date(),
                laboratory=CANARY,
            ),
            by=theirs.technician,
        )
        due.derive(theirs.building)
        plan = Plan.objects.create(
            from_on=date(2026, 11, 25), to_on=date(2026, 12, 4), state="ready", made_at=NOW
        )
        stop = Stop.objects.create(
            plan=plan,
            visit=visit,
            technician=theirs.people["technician"],
            on=date(2026, 11, 25),
            position=0,
            arrival_at=NOW,
            start_at=NOW,
            end_at=NOW,
        )
        file = StoredFile.objects.create(
            sha256="0" * 64, size=1, media_type="image/jpeg", name=CANARY, made_at=NOW
        )
        photo = Photo.objects.create(
            visit=visit, finding_id=finding.pk, blob_sha256="0" * 64, file=file, taken_at=NOW
        )
        sketch = Sketch.objects.create(
            building=theirs.building, kind="sketch", caption=CANARY, position=1,
            came_sha256="0" * 64, file=file, small=file, width_px=4, height_px=3, added_at=NOW,
        )  # fmt: skip
        report = Report.objects.create(
            visit=visit, version=1, facts="{}", sha256="0" * 64, code="x-y", sealed_at=NOW, pdf=file
        )
        tablet = Tablet.objects.create(member=theirs.technician, label=CANARY, registered_at=NOW)
        held = Quarantined.objects.create(
            event_id=uuid4(), tablet=tablet.pk, text="{}", reason=CANARY, received_at=NOW
        )
        run = valve_runs.create({"system_type": "dry", "title": CANARY}, by=theirs.technician)
        job = outbox.add("plan.search", "of-theirs", plan=plan.pk)
        OutboxMessage.objects.filter(pk=job.pk).update(state="parked")
        export = Export.objects.create(
            kind="due",
            format="csv",
            units="us",
            filters={"district": CANARY},
            by=theirs.manager,
            made_at=NOW,
        )
        owner_export = OwnerExport.objects.create(
            kind="owner_items",
            format="csv",
            units="us",
            by=theirs.access,
            owner=theirs.owner,
            made_at=NOW,
        )
        feeds = [
            CalendarFeed.objects.create(kind=kind, label=CANARY, token_hash=kind, made_at=NOW, **by)
            for kind, by in (
                ("building", {"membership": theirs.manager}),
                ("owner", {"owner_access": theirs.access}),
            )
        ]
        question = Question.objects.create(
            building=theirs.building,
            subject_kind="building",
            subject_id=theirs.building.pk,
            attribute="x",
            asked_as=CANARY,
        )
        return {
            "building": theirs.building.pk,
            "system": theirs.wet.pk,
            "riser": theirs.wet_riser.pk,
            "device": theirs.devices["wet_flow"].pk,
            "person": theirs.people["technician"].pk,
            "licence": theirs.people["technician"].licences.first().pk,
            "sample": sample.pk,
            "contractor": theirs.contractor.pk,
            "visit": visit.pk,
            "line": line.pk,
            "photo": photo.pk,
            "sketch": sketch.pk,
            "report": report.pk,
            "finding": finding.pk,
            "impairment": Impairment.objects.get().pk,
            "result": Result.objects.get().pk,
            "reading": Reading.objects.get().id,
            "occurrence": Occurrence.objects.first().pk,
            "question": question.pk,
            "follow_up": FollowUp.objects.first().pk,
            **rules_of(theirs),
            **terms_of(theirs),
            **supply_of(theirs),
            "plan": plan.pk,
            "stop": stop.pk,
            "held": held.pk,
            "tablet": tablet.pk,
            "job": job.pk,
            "valve_run": run.pk,
            **practice_of(theirs),
            "export": export.pk,
            "owner_export": owner_export.pk,
            "member": theirs.office.pk,
            "feed": feeds[0].pk,
            "owner_feed": feeds[1].pk,
            "code": uuid4(),
        }


def rules_of(theirs):
    """One message and one rule of each kind of theirs, in whose words the canary stands."""
    law = {"basis": "law", "source": CANARY, "valid_from": date(2026, 1, 1), "by": theirs.manager}
    place = {"jurisdiction": theirs.jurisdiction}
    notice = notices.send("n", kind="test", to="a@b.example", subject=CANARY, body=CANARY)
    time = responses.set_time(grade="critical", days=10, **place, **law)
    steps = [{"after": 0, "every": 0, "tell": ["manager"]}]
    ladder = ladders.set_ladder(grade="critical", steps=steps, **law)
    overdue = legal.set_overdue_class(what="P5Y", grade="critical", **place, **law)
    holiday = responses.add_holiday(
        theirs.jurisdiction, date(2026, 12, 25), CANARY, by=theirs.manager
    )
    work = rules.OwnWork(
        code="own-look", task=CANARY, kind="inspection", subjects=["riser"], frequency="P1M"
    )
    rule = rules.add_own(work, source=CANARY, from_on=date(2026, 1, 1), by=theirs.manager)
    return {
        "rule": rule.pk,
        "notice": notice.pk,
        "response_time": time.pk,
        "ladder": ladder.pk,
        "overdue_class": overdue.pk,
        "holiday": holiday.pk,
        "jurisdiction": theirs.jurisdiction.pk,
    }


def practice_of(theirs):
    """An exercise of theirs, and a run of it that was handed in."""
    exercise = practising.set_exercise(
        system_type="dry", task="trip_test", note=CANARY, by=theirs.trainer
    )
    run = practising.hand_in(exercise, acts=["settle"], noted={}, claim="", by=theirs.technician)
    return {"exercise": exercise.pk, "practice_run": run.pk}


def terms_of(theirs):
    """A regime, a setting of due days, a past leave to rest and days kept free of theirs."""
    begun, by = date(2026, 1, 1), theirs.manager
    regime = terms.ask_for(
        theirs.building, "joint_commission", authority=CANARY, valid_from=begun, by=by
    )
    rest = terms.suspend(
        theirs.wet, from_on=begun, back_on=date(2026, 2, 1), authority=CANARY, reason=CANARY, by=by
    )
    setting = terms.time_by(valid_from=begun, by=by)
    off = off_limits.keep(
        work="any",
        from_on=begun,
        until_on=date(2026, 2, 1),
        authority=CANARY,
        reason=CANARY,
        building=theirs.building,
        by=by,
    )
    turn_order = TurnOrder.objects.create(
        building=theirs.building, activity=CANARY, valid_from=begun, recorded_at=NOW
    )
    return {
        "turn_order": turn_order.pk,
        "regime": regime.pk,
        "due_setting": setting.pk,
        "rest": rest.matter,
        "off_limits": off.pk,
    }


def supply_of(theirs):
    """A supply point of theirs with a flow test and what it leaves a system."""
    by, on = theirs.manager, date(2026, 1, 1)
    point = supplies.add_point("W-1", CANARY, by=by)
    placard = {"base_flow": 700, "base_pressure": 52}
    supplies.write_placard(theirs.wet, placard, from_on=on, by=by)
    supplies.connect(point, theirs.wet, from_on=on, by=by)
    read = flow_readings.Read(on, "80 psi", "60 psi", "1000 gpm", note=CANARY)
    test = supplies.record_test(point, read, by=by)
    return {
        "supply_point": point.pk,
        "flow_test": test.pk,
        "margin": test.margins.get().pk,
    }
