"""The one door into the record."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from contractors.models import new_id
from inspections import findings, projections, record, visits
from inspections.events.fields import EventRefused
from inspections.models import Event, Finding, Impairment, Reading, Result, Visit, VisitLine

pytestmark = pytest.mark.django_db
AT = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)


@pytest.fixture
def visit(ours):
    with ours.scope():
        made = Visit.objects.create(
            building=ours.building,
            technician=ours.people["technician"],
            planned_on=date(2026, 11, 25),
        )
        VisitLine.objects.create(
            visit=made,
            system=ours.wet,
            subject_kind="riser",
            subject_id=ours.wet_riser.pk,
            activity="main-drain-annual",
        )
    return made


def subject(ours):
    return {"kind": "riser", "id": str(ours.wet_riser.pk)}


def opened(visit, by):
    return record.visit_entry(visit, "visit.open", {"at": AT.isoformat()}, by=by)


def answered(ours, visit, answer, **more):
    payload = {"subject": subject(ours), "activity": "main-drain-annual", "answer": answer, **more}
    return record.visit_entry(visit, "item.set", payload, by=ours.technician)


def read(ours, visit, name, psi):
    payload = {
        "subject": subject(ours),
        "activity": "main-drain-annual",
        "name": name,
        "typed": f"{psi} psi",
        "value": {"value": str(psi), "unit": "psi"},
    }
    return record.visit_entry(visit, "reading.add", payload, by=ours.technician)


def append(ours, *entries, **more):
    return record.append(list(entries), via="page", by=ours.technician, **more)


def test_what_is_appended_shows_in_the_visit_at_once(ours, visit):
    with ours.scope():
        append(
            ours,
            opened(visit, ours.technician),
            read(ours, visit, "static_pressure", 82),
            read(ours, visit, "residual_pressure", 64),
            answered(ours, visit, "pass"),
        )
        visit.refresh_from_db()
        assert (visit.state, visit.performed_on) == ("open", date(2026, 11, 25))
        assert Result.objects.get().answer == "pass"
        residual = Reading.objects.get(name="residual_pressure")
        assert residual.typed == "64 psi"
        assert residual.value_si == pytest.approx(441_264, abs=1)


def test_a_repeated_entry_is_recorded_once(ours, visit):
    with ours.scope():
        entry = opened(visit, ours.technician)
        first = append(ours, entry)
        again = append(ours, entry)
        assert (first[0].status, again[0].status) == ("applied", "duplicate")
        assert Event.objects.count() == 1


def test_an_id_that_comes_with_other_content_is_refused(ours, visit):
    with ours.scope():
        entry = opened(visit, ours.technician)
        append(ours, entry)
        other = entry | {"payload": {"at": AT.isoformat(), "contact": "the caretaker"}}
        with pytest.raises(record.AlreadyRecorded):
            append(ours, other)


def test_a_batch_with_one_bad_entry_leaves_nothing(ours, visit):
    with ours.scope():
        bad = answered(ours, visit, "splendid")
        with pytest.raises(EventRefused) as refused:
            append(ours, opened(visit, ours.technician), bad)
        assert refused.value.field == "payload.answer"
        assert Event.objects.count() == 0


def test_a_subject_of_another_contractor_is_unknown(ours, theirs, visit):
    with ours.scope():
        stray = answered(ours, visit, "pass")
        stray["payload"]["subject"] = {"kind": "riser", "id": str(theirs.wet_riser.pk)}
        missing = answered(ours, visit, "pass")
        missing["payload"]["subject"] = {"kind": "riser", "id": str(new_id())}
        answers = []
        for entry in (stray, missing):
            with pytest.raises(EventRefused) as refused:
                append(ours, entry)
            answers.append((refused.value.field, refused.value.accepted))
        assert answers[0] == answers[1]


def test_the_same_id_may_be_used_by_two_contractors(ours, theirs, visit):
    with theirs.scope():
        theirs_visit = Visit.objects.create(building=theirs.building)
        entry = opened(theirs_visit, theirs.technician)
        record.append([entry], via="page", by=theirs.technician)
    with ours.scope():
        mine = opened(visit, ours.technician) | {"id": entry["id"]}
        assert append(ours, mine)[0].status == "applied"


def test_a_finding_of_class_impairment_opens_exactly_one_impairment(ours, visit):
    with ours.scope():
        finding = findings.add(
            ours.building,
            subject=("riser", ours.wet_riser.pk),
            grade="impairment",
            text="Control valve found shut",
            by=ours.technician,
            visit=visit,
        )
        found = Impairment.objects.get()
        assert (found.finding_id, found.building_id) == (finding.pk, ours.building.pk)
        assert found.ended_at is None
        assert found.system_id == ours.wet.pk
        raised = findings.reclass(
            finding, grade="impairment", reason="looked at again", by=ours.manager
        )
        assert raised.grade == "impairment"
        assert Impairment.objects.count() == 1


def test_a_clock_set_back_does_not_turn_the_record_round(ours, visit, monkeypatch):
    now = timezone.now()

    def at(moment, *entries):
        monkeypatch.setattr(timezone, "now", lambda: moment)
        return append(ours, *entries)

    with ours.scope():
        first, on = answered(ours, visit, "fail"), station(visit, ours.technician, "on")
        at(now, opened(visit, ours.technician), on, first)
        again = answered(ours, visit, "pass") | {"seen": [first["id"]]}
        at(now - timedelta(days=400), station(visit, ours.technician, "off"), again)
        at(now, record.visit_entry(visit, "note.add", {"text": "done"}, by=ours.technician))
        result = Result.objects.get()
        assert (result.answer, result.disputed) == ("pass", False)
        assert projections.picture(visit.pk).on_test is None
        positions = Event.objects.order_by("number").values_list("position", flat=True)
        assert list(positions) == [1, 2, 3, 4, 5, 6]
        assert record.verify("visit", visit.pk).holds


def station(visit, by, state):
    told = {"on": {"account": "7", "until": AT.isoformat()}, "off": {}}[state]
    return record.visit_entry(visit, "visit.station", {"state": state, **told}, by=by)


def test_a_sealed_visit_takes_amendments_and_no_edits(ours, visit):
    with ours.scope():
        close(ours, visit)
        visit.refresh_from_db()
        assert (visit.state, visit.number) == ("sealed", 1)
        late = append(ours, answered(ours, visit, "fail"))
        assert late[0].status == "late"
        assert Result.objects.get().answer == "pass"
        target = Event.objects.get(kind="item.set", position__lt=10)
        visits.amend(
            visit,
            target=target.id,
            value={"subject": subject(ours), "activity": "main-drain-annual", "answer": "fail"},
            reason="judged_anew",
            text="The drain was not fully open",
            by=ours.manager,
        )
        assert Result.objects.get().answer == "fail"
        with pytest.raises(DatabaseError), transaction.atomic():
            Event.objects.filter(id=target.id).update(body="{}")


def close(ours, visit):
    append(
        ours,
        opened(visit, ours.technician),
        read(ours, visit, "static_pressure", 82),
        read(ours, visit, "residual_pressure", 64),
        answered(ours, visit, "pass"),
    )
    with pytest.raises(visits.StillMissing):
        visits.hand_in(visit, by=ours.technician)
    shown = projections.picture(visit.pk).shown
    signed = [
        record.visit_entry(
            visit,
            "signature.add",
            {"role": "technician", "name": "T", "shown": shown},
            by=ours.technician,
        ),
        record.visit_entry(
            visit,
            "signature.add",
            {"role": "absent", "reason": "nobody in", "shown": shown},
            by=ours.technician,
        ),
    ]
    append(ours, *signed)
    visits.hand_in(visit, by=ours.technician)
    visits.review(visit, accept=True, by=ours.manager)


def test_a_visit_that_is_not_open_is_not_handed_in(ours, visit):
    with ours.scope():
        manifest = {"events": [], "count": 0, "photos": []}
        payload = {"manifest": manifest, "shown": "0" * 64}
        with pytest.raises(record.WrongState):
            append(ours, record.visit_entry(visit, "visit.hand_in", payload, by=ours.technician))


def test_everything_derived_can_be_thrown_away_and_derived_again(ours, visit):
    with ours.scope():
        close(ours, visit)
        findings.add(
            ours.building,
            subject=("device", ours.devices["valve"].pk),
            grade="critical",
            text="Packing leaks",
            by=ours.technician,
            visit=visit,
        )
        before = everything()
        Result.objects.all().delete()
        Reading.objects.all().delete()
        Finding.objects.update(text="scribbled over", grade="observation")
        Visit.objects.update(state="planned", sealed_at=None)
        projections.rebuild()
        assert everything() == before


def everything():
    skip = {"number", "planned_start"}
    return [
        {k: v for k, v in row.items() if k not in skip}
        for model in (Visit, Result, Reading, Finding)
        for row in model.objects.order_by("pk").values()
    ]


def test_an_outage_of_the_record_is_seen_by_its_chain(ours, visit):
    with ours.scope():
        append(ours, opened(visit, ours.technician), answered(ours, visit, "pass"))
        assert record.verify("visit", visit.pk).holds


def test_of_two_visits_on_one_day_only_the_earlier_is_the_past(ours, visit):
    with ours.scope():
        later = Visit.objects.create(building=ours.building, planned_on=date(2026, 11, 25))
        append(ours, opened(visit, ours.technician), read(ours, visit, "residual_pressure", 41))
        after = {"at": AT.replace(hour=18).isoformat()}
        start = record.visit_entry(later, "visit.open", after, by=ours.technician)
        append(ours, start, read(ours, later, "residual_pressure", 80))
        projections.visit(visit.pk)
        first = Reading.objects.get(visit=visit)
        assert (first.verdict, first.judgement.get("last")) == ("", None)
        assert "10" in first.judgement["criterion"]
