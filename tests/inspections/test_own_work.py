"""An activity of the contractor's own: typed when saved, on the tablet, judged, in the report."""

from datetime import UTC, date, datetime

import pytest
import time_machine

from contractors.refusal import FieldRefused
from inspections import record, report, rules
from inspections.catalogue_files import catalogue
from inspections.events.fields import EventRefused
from inspections.models import Reading, Rule, Visit, VisitLine
from inspections.own_work import readings_of
from tests.inspections import tablets
from tests.inspections.test_pack import pulled

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
TODAY = date(2026, 11, 25)
CODE = "own-cylinder-pressure"
WORK = {
    "code": CODE,
    "task": "Read the pressure of the nitrogen cylinders",
    "kind": "test",
    "subjects": ["riser"],
    "frequency": "P1M",
    "applies": 'system.kind == "wet"',
    "readings": {"cylinder_pressure": "pressure", "cylinder_state": "text"},
    "criterion": 'cylinder_pressure >= q(500,"psi") and cylinder_state != "rusty"',
    "caution": "A cylinder that falls can kill: chain it before the cap comes off.",
    "instruments": ["calibrated gauge"],
    "minutes": 5,
}
BODY = {
    "act": "own",
    **{name: value for name, value in WORK.items() if name != "code"},
    "activity": CODE,
    "source": "agreement with the owner",
    "from_on": "2026-11-25",
}


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


def own(scene, **more):
    told = {"source": "agreement with the owner", "by": scene.manager, "from_on": TODAY}
    return rules.add_own(rules.OwnWork(**{**WORK, **more}), **told)


def visit_with_it(ours):
    planned = tablets.planned(ours)
    with ours.scope():
        VisitLine.objects.create(
            visit=planned,
            system=ours.wet,
            subject_kind="riser",
            subject_id=ours.wet_riser.pk,
            activity=CODE,
        )
    return planned


def read(ours, visit, name, typed, unit):
    value = {"value": typed.split()[0] if unit != "word" else "0", "unit": unit}
    about = {"subject": tablets.subject(ours), "activity": CODE, "name": name}
    entry = {**about, "typed": typed, "value": value}
    return record.visit_entry(visit, "reading.add", entry, by=ours.technician)


def test_the_tablet_shows_it_like_any_other_and_can_judge_it(ours, api):
    with ours.scope():
        own(ours)
    visit_with_it(ours)
    (packed,) = pulled(tablets.Tablet(api(ours.technician), ours.technician))["visits"]
    groups = [group for system in packed["systems"] for group in system["groups"]]
    line = next(one for group in groups for one in group["lines"] if one["activity"] == CODE)
    assert line["task"] == WORK["task"]
    assert line["cautions"][0] == WORK["caution"]
    assert line["instruments"] == ["calibrated gauge"]
    assert line["judge"][0] == "all"
    assert line["judge_is"] == "expr"
    assert "A rule of the contractor's own" in line["rule"]
    pressure, state = line["readings"]
    assert (pressure["name"], pressure["quantity"], pressure["unit"]) == (
        *("cylinder_pressure", "pressure", "psi"),
    )
    assert pressure["required"]
    assert pressure["limit"]["words"] == "at least 500 psi"
    assert state["unit"] == "word"


@pytest.mark.parametrize(
    ("typed", "state", "verdict"),
    [("520 psi", "clean", "pass"), ("480 psi", "clean", "fail"), ("520 psi", "rusty", "fail")],
)
def test_its_readings_are_judged_and_stand_in_the_report_with_their_rule(
    ours, typed, state, verdict
):
    with ours.scope():
        own(ours)
        visit = Visit.objects.create(building=ours.building)
        answer = {"subject": tablets.subject(ours), "activity": CODE, "answer": "pass"}
        entries = [
            record.visit_entry(visit, "visit.open", {"at": NOW.isoformat()}, by=ours.technician),
            read(ours, visit, "cylinder_pressure", typed, "psi"),
            read(ours, visit, "cylinder_state", state, "word"),
            record.visit_entry(visit, "item.set", answer, by=ours.technician),
        ]
        record.append(entries, via="page", by=ours.technician)
        found = Reading.objects.filter(visit=visit)
        assert verdict in {row.verdict for row in found}
        visit.refresh_from_db()
        told = report.facts(visit, 1, "code")
        (part,) = told["systems"]
        assert part["results"][0]["task"] == WORK["task"]
        pressure = next(one for one in part["readings"] if one["name"] == "cylinder_pressure")
        assert pressure["limit"] == WORK["criterion"]
        assert pressure["rule"]["origin"] == "own"
        assert "agreement with the owner" in pressure["rule"]["words"]


def test_its_readings_take_units_of_what_they_measure_only(ours):
    with ours.scope():
        own(ours)
        visit = Visit.objects.create(building=ours.building)
        entry = read(ours, visit, "cylinder_pressure", "520 gal", "gal")
        with pytest.raises(EventRefused) as refused:
            record.append([entry], via="page", by=ours.technician)
        assert refused.value.field == "payload.value.unit"


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({"readings": {"Pressure": "pressure"}}, "readings", "air_pressure"),
        ({"readings": {"last_pressure": "pressure"}}, "readings", "last_"),
        ({"readings": {"pressure": "weight"}}, "readings", "volume_flow"),
        ({"readings": {f"r{n}": "count" for n in range(21)}}, "readings", "20"),
        ({"criterion": "cylinder_weight >= 3"}, "criterion", "cylinder_weight"),
        ({"criterion": "cylinder_pressure >="}, "criterion", "ends too early"),
        ({"criterion": 'cylinder_pressure >= "much"'}, "criterion", "cylinder_pressure"),
        ({"criterion": 'cylinder_pressure >= q(3,"second")'}, "criterion", "time"),
        ({"criterion": "item.colour == 3"}, "criterion", "item.colour"),
        ({"caution": "x" * 301}, "caution", "300"),
        ({"instruments": ["x" * 81]}, "instruments", "80"),
        ({"minutes": 700}, "minutes", "600"),
        ({"frequency": "P9999Y"}, "frequency", "at most 200 years"),
        ({"frequency": "-P1M"}, "frequency", "no interval"),
    ],
)
def test_what_cannot_be_used_is_refused_with_field_and_reason(ours, given, field, said):
    with ours.scope():
        with pytest.raises(FieldRefused) as refused:
            own(ours, **given)
        assert refused.value.facts["field"] == field
        assert said in str(refused.value)
        assert not Rule.objects.exists()


def test_a_line_of_readings_that_cannot_be_read_is_named():
    assert readings_of("air_pressure: pressure\n\n turns : count ") == {
        "air_pressure": "pressure",
        "turns": "count",
    }
    for line in ("air_pressure", "a: count\na: count"):
        with pytest.raises(FieldRefused, match="colon"):
            readings_of(line)


def test_page_and_api_set_it_with_readings_criterion_caution_and_instruments(ours, as_manager, api):
    client = api(ours.manager)
    refused = client.post(
        "/api/v1/rules/",
        {**BODY, "criterion": "nothing > 3"},
        format="json",
        HTTP_IDEMPOTENCY_KEY="first",
    )
    assert refused.status_code == 400
    assert refused.data["facts"]["field"] == "criterion"
    made = client.post("/api/v1/rules/", BODY, format="json", HTTP_IDEMPOTENCY_KEY="second")
    assert made.status_code == 201, made.data
    told = client.get(f"/api/v1/activities/{CODE}/").data
    assert told["readings"] == WORK["readings"]
    assert told["criterion_expression"] == WORK["criterion"]
    assert told["cautions"][0] == WORK["caution"]
    assert told["instruments"] == WORK["instruments"]
    page = as_manager.get(f"/activities/{CODE}/").content.decode()
    assert WORK["caution"] in page
    typed = {
        **BODY,
        "activity": "own-second",
        "readings": "turns: count",
        "criterion": "turns <= 4",
        "instruments": "tape, gauge",
        "qualification": "inspector",
    }
    wrong = as_manager.post("/rules/new/own/", {**typed, "readings": "turns"})
    assert wrong.status_code == 422
    assert "colon" in wrong.content.decode()
    assert as_manager.post("/rules/new/own/", typed).status_code == 302
    with ours.scope():
        second = catalogue().activities["own-second"]
        assert second.instruments == ("tape", "gauge")
        assert second.criterion.text == "turns <= 4"
