"""Flow tests of supply points, the margins they leave, and the findings they propose."""

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, transaction

from contractors.refusal import FieldRefused
from inspections import findings, flow_readings, supplies
from inspections.hydraulics.index import evaluate
from inspections.models import Finding, FlowTest, SupplyMargin, Visit
from tests.scene import TODAY

pytestmark = pytest.mark.django_db

STRONG = flow_readings.Read(tested_on=date(2024, 5, 2), static="80 psi", residual="60 psi",
                       flow="1 000 gpm", witnessed_by="Utility crew")  # fmt: skip
WEAK = flow_readings.Read(
    tested_on=date(2026, 5, 4), static="62 psi", residual="35 psi", flow="900"
)
PLACARD = {"base_flow": 700, "base_pressure": 52}


@pytest.fixture
def scene(ours):
    with ours.scope():
        yield ours


@pytest.fixture
def point(scene):
    return supplies.add_point("W-1", "Mill Lane main", "8 in", by=scene.manager)


@pytest.fixture
def connected(scene, point):
    supplies.write_placard(scene.wet, PLACARD, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.connect(point, scene.wet, from_on=date(2014, 6, 1), height="10 ft", loss="3 psi",
                     by=scene.manager)  # fmt: skip
    return point


def test_a_test_is_kept_as_read_and_in_si(scene, point):
    test = supplies.record_test(point, STRONG, by=scene.manager)
    assert (test.static_typed, test.flow_typed) == ("80 psi", "1 000 gpm")
    assert test.static_pa == pytest.approx(551580.6, rel=1e-6)
    assert test.flow_m3s == pytest.approx(0.0630902, rel=1e-6)


def test_a_test_leaves_each_system_its_margin_with_inputs_name_and_version(scene, connected):
    supplies.record_test(connected, STRONG, by=scene.manager)
    margin = SupplyMargin.objects.get()
    # By hand: 80 - 20 * 0.7**1.85 = 69.66 psi there; 52 + 0.4329 * 10 + 3 = 59.33 psi wanted.
    assert margin.margin_pa / 6894.757 == pytest.approx(10.33, abs=0.03)
    assert margin.verdict == "pass"
    again = evaluate(margin.computation, margin.inputs)
    assert again.version == margin.version
    assert again.margin.value == margin.margin_pa
    assert not Finding.objects.exists()


def test_a_negative_margin_proposes_one_observation_at_the_building(scene, connected):
    supplies.record_test(connected, STRONG, by=scene.manager)
    test = supplies.record_test(connected, WEAK, by=scene.manager)
    found = Finding.objects.get()
    assert (found.state, found.grade) == ("proposed", "observation")
    assert found.subject_id == scene.wet.pk
    assert found.pk == supplies.finding_id_of(test, scene.building.pk)
    supplies.reckon(test, by=scene.manager)
    supplies.write_placard(scene.wet, PLACARD | {"base_pressure": 55}, from_on=date(2015, 1, 1),
                           by=scene.manager)  # fmt: skip
    assert Finding.objects.count() == 1
    assert SupplyMargin.objects.filter(flow_test=test).count() == 2


def test_a_person_and_no_computation_makes_it_critical(scene, connected):
    supplies.record_test(connected, WEAK, by=scene.manager)
    found = Finding.objects.get()
    found = findings.settle_proposed(found, accept=True, reason="seen", by=scene.manager)
    assert found.grade == "observation"
    found = findings.reclass(found, grade="critical", reason="design checked", by=scene.manager)
    assert found.grade == "critical"


def test_every_building_on_a_shared_lead_in_is_judged(scene, connected):
    other = _second_building(scene)
    supplies.write_placard(other, PLACARD, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.connect(connected, other, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.record_test(connected, WEAK, by=scene.manager)
    assert {row.building_id for row in Finding.objects.all()} == {
        scene.building.pk,
        other.building_id,
    }


def test_an_older_test_that_comes_late_judges_nobody(scene, connected):
    supplies.record_test(connected, STRONG, by=scene.manager)
    older = flow_readings.Read(date(2019, 1, 1), "50 psi", "20 psi", "400 gpm")
    supplies.record_test(connected, older, by=scene.manager)
    assert not Finding.objects.exists()


def test_a_corrected_test_no_longer_counts(scene, connected):
    wrong = supplies.record_test(connected, WEAK, by=scene.manager)
    found = Finding.objects.get()
    right = supplies.record_test(
        connected, STRONG, by=scene.manager, replaces=wrong, reason="gauge"
    )
    assert supplies.standing_tests(connected) == [right]
    # What only the wrong test proposed is dropped, with the reason.
    found.refresh_from_db()
    assert found.state == Finding.State.DROPPED


def test_what_a_person_took_up_stays_when_its_test_is_corrected(scene, connected):
    wrong = supplies.record_test(connected, WEAK, by=scene.manager)
    found = Finding.objects.get()
    findings.settle_proposed(found, accept=True, reason="seen", by=scene.manager)
    supplies.record_test(connected, STRONG, by=scene.manager, replaces=wrong)
    found.refresh_from_db()
    assert found.state == Finding.State.OPEN


def test_a_test_is_corrected_once_and_at_its_own_point(scene, connected):
    wrong = supplies.record_test(connected, WEAK, by=scene.manager)
    supplies.record_test(connected, STRONG, by=scene.manager, replaces=wrong)
    elsewhere = supplies.add_point("W-9", "Other main", by=scene.manager)
    for point in (connected, elsewhere):
        with pytest.raises(FieldRefused, match="not corrected before"):
            supplies.record_test(point, STRONG, by=scene.manager, replaces=wrong)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({}, None, ""),
        ({"performed_on": date(2026, 5, 2), "state": "open"}, None, ""),
        ({"performed_on": None, "state": "planned"}, "visit", "has begun"),
        ({"state": "cancelled"}, "visit", "not cancelled"),
        ({"performed_on": date(2026, 5, 5)}, "tested_on", "2026-05-05"),
        ({"performed_on": date(2026, 5, 1)}, "tested_on", "2026-05-01"),
    ],
)
def test_a_test_belongs_to_a_visit_of_its_day(scene, connected, changed, field, words):
    kept = {"building": scene.building, "performed_on": date(2026, 5, 4), "state": "sealed"}
    visit = Visit.objects.create(**kept | changed)
    if field is None:
        test = supplies.record_test(connected, WEAK, by=scene.manager, visit=visit)
        assert list(visit.flow_tests.all()) == [test]
        return
    with pytest.raises(FieldRefused, match=words) as refused:
        supplies.record_test(connected, WEAK, by=scene.manager, visit=visit)
    assert refused.value.facts["field"] == field


def test_a_visit_to_a_building_on_other_water_is_refused(scene, point):
    visit = Visit.objects.create(
        building=scene.building, performed_on=date(2026, 5, 4), state="sealed"
    )
    with pytest.raises(FieldRefused, match="draws on this supply point"):
        supplies.record_test(point, WEAK, by=scene.manager, visit=visit)


def test_a_system_without_placard_gets_no_margin(scene, point):
    supplies.connect(point, scene.wet, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.record_test(point, WEAK, by=scene.manager)
    assert not SupplyMargin.objects.exists()


def test_a_placard_written_later_is_judged_by_the_newest_test(scene, point):
    supplies.connect(point, scene.wet, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.record_test(point, WEAK, by=scene.manager)
    supplies.write_placard(scene.wet, PLACARD, from_on=date(2014, 6, 1), by=scene.manager)
    assert Finding.objects.get().state == "proposed"


def test_a_system_that_no_longer_draws_is_left_out(scene, connected):
    supplies.connect(connected, scene.wet, from_on=date(2025, 1, 1), ends=True, by=scene.manager)
    supplies.record_test(connected, WEAK, by=scene.manager)
    assert not Finding.objects.exists()


def test_zero_margin_meets(scene, point):
    # 60 psi is left at the flow of the test itself.
    supplies.write_placard(scene.wet, {"base_flow": 1000, "base_pressure": 60},
                           from_on=date(2014, 6, 1), by=scene.manager)  # fmt: skip
    supplies.connect(point, scene.wet, from_on=date(2014, 6, 1), by=scene.manager)
    supplies.record_test(point, STRONG, by=scene.manager)
    assert SupplyMargin.objects.get().verdict == "pass"
    assert not Finding.objects.exists()


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"residual": "80 psi"}, "residual", "less than static"),
        ({"residual": "90 psi"}, "residual", "less than static"),
        ({"flow": "-5 gpm"}, "flow", "0.0 gpm"),
        ({"flow": "0"}, "flow", "more than"),
        ({"static": "80 gpm"}, "static", "unit of flow"),
        ({"static": ""}, "static", "number"),
        ({"tested_on": TODAY + timedelta(days=3000)}, "tested_on", "come"),
    ],
)
def test_what_cannot_be_is_refused_with_field_and_reason(scene, point, changes, field, words):
    read = flow_readings.Read(**{
        name: changes.get(name, getattr(STRONG, name))
        for name in ("tested_on", "static", "residual", "flow")
    })  # fmt: skip
    with pytest.raises(FieldRefused) as refused:
        supplies.record_test(point, read, by=scene.manager)
    assert refused.value.facts["field"] == field
    assert words in str(refused.value).lower()
    assert not FlowTest.objects.exists()


def test_a_small_drop_is_kept_with_a_warning(scene, point):
    read = flow_readings.Read(date(2024, 5, 2), "80 psi", "78 psi", "500 gpm")
    assert "Low confidence" in supplies.record_test(point, read, by=scene.manager).warnings[0]


def test_tests_and_placards_are_never_changed(scene, connected):
    supplies.record_test(connected, STRONG, by=scene.manager)
    for table, column in ((FlowTest, "static_pa"), (SupplyMargin, "margin_pa")):
        with pytest.raises(DatabaseError), transaction.atomic():
            table.objects.update(**{column: 1.0})


def _second_building(scene):
    from buildings import inventory
    from buildings.models import Building, System

    building = Building(code="B-002", name="Annex", address="14 Mill Lane", city="Sampleton",
                        taken_over_on=date(2023, 11, 20), units="metric")  # fmt: skip
    inventory.add([building], by=None, reason="taken over", tell=False)
    system = System(building=building, code="S1", name="Annex, wet", kind="wet")
    inventory.add([system], by=None, reason="surveyed", tell=False)
    return system


def test_design_figures_decide_a_criterion(scene):
    from buildings import design
    from inspections import record
    from inspections.models import Reading

    device = scene.devices["backflow"]
    design.write(device, {"demand_flow": 700}, valid_from=date(2014, 6, 1), by=scene.manager)
    visit = Visit.objects.create(building=scene.building, planned_on=TODAY, title="annual")
    read = {
        "subject": {"kind": "device", "id": str(device.pk)},
        "activity": "bf-forward-flow",
        "name": "flow",
        "typed": "650 gpm",
        "value": {"value": "650", "unit": "gpm"},
    }
    at = f"{TODAY.isoformat()}T10:00:00+00:00"
    record.append(
        [
            record.visit_entry(visit, "visit.open", {"at": at}, by=None),
            record.visit_entry(visit, "reading.add", read, by=None),
        ],
        via="page",
        by=scene.technician,
    )
    assert Reading.objects.get().verdict == "fail"
