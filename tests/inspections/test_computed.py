"""What judged a reading is kept with it, and says the same when it is evaluated again."""

import io
import json
from datetime import UTC, date, datetime

import pypdf
import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from buildings.units import to_si
from inspections import computed, flow_readings, pdf, pinned, record, report, supplies
from inspections.catalogue_files import catalogue
from inspections.events.canonical import canonical_bytes
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.index import COMPUTATIONS, computation
from inspections.models import Reading, SupplyMargin, Visit
from tests.inspections.test_past import clock  # noqa: F401


def read(scene, year, activity, kind, item, **readings):
    """Record readings of an activity on a day of that year; returns the visit."""
    day = date(year, 6, 1)
    at = datetime(year, 6, 1, 15, tzinfo=UTC)
    with scene.scope(), time_machine.travel(at, tick=False):
        visit = Visit.objects.create(building=scene.building, planned_on=day, title="Test")
        entries = [
            record.visit_entry(visit, "visit.open", {"at": at.isoformat()}, by=scene.technician)
        ]
        for name, typed in readings.items():
            value, unit = typed.split()
            payload = {
                "subject": {"kind": kind, "id": str(item.pk)},
                "activity": activity,
                "name": name,
                "typed": typed,
                "value": {"value": value, "unit": unit},
            }
            entries.append(record.visit_entry(visit, "reading.add", payload, by=scene.technician))
        record.append(entries, via="page", by=scene.technician)
    return visit


def drain(scene, year, residual, **more):
    """Record a main drain test."""
    given = {"static_pressure": "82 psi", "residual_pressure": residual, **more}
    return read(scene, year, "main-drain-annual", "riser", scene.wet_riser, **given)


def check_every_kept_one():
    """Evaluate every kept judgement again, and return how many there were of each."""
    counted = dict.fromkeys(("computed", "decided", "margins"), 0)
    for row in Reading.objects.exclude(judgement={}).select_related("visit__building"):
        if kept := row.judgement.get("computed"):
            assert computed.again(kept) == kept
            counted["computed"] += 1
        if kept := row.judgement.get("decided"):
            under = pinned.of_visit(row.visit)
            activity = under.activity(row.activity)
            said = computed.criterion_again(kept, activity, under.rules)
            assert (said, kept["version"]) == (kept["value"], computed.CRITERION_VERSION)
            counted["decided"] += 1
    for row in SupplyMargin.objects.all():
        outcome = computation(row.computation).evaluate(row.inputs, lambda value, quantity: "")
        assert (outcome.version, outcome.margin.value) == (row.version, row.margin_pa)
        counted["margins"] += 1
    return counted


@pytest.mark.django_db
def test_every_judgement_that_is_kept_says_the_same_again(ours):
    for year, residual in enumerate(("72.3 psi", "70.1 psi", "61 psi", "64 psi"), start=2023):
        drain(ours, year, residual, restored_pressure="74 psi")
    switch = ours.devices["wet_flow"]
    read(ours, 2026, "waterflow-vane-test", "device", switch, time_to_alarm="95 s")
    with ours.scope():
        point = supplies.add_point("W-1", "Mill Lane main", by=ours.manager)
        begun, placard = date(2014, 6, 1), {"base_flow": 700, "base_pressure": 52}
        supplies.write_placard(ours.wet, placard, from_on=begun, by=ours.manager)
        supplies.connect(point, ours.wet, from_on=begun, by=ours.manager)
        test = flow_readings.Read(date(2026, 5, 4), "62 psi", "35 psi", "900 gpm")
        supplies.record_test(point, test, by=ours.manager)
        counted = check_every_kept_one()
        kept = Reading.objects.get(name="time_to_alarm").judgement["computed"]
    assert counted == {"computed": 5, "decided": 5, "margins": 1}
    assert (kept["name"], kept["version"], kept["verdict"]) == ("waterflow_alarm_time", 1, "fail")


@pytest.mark.django_db
def test_the_inputs_are_kept_in_si_to_the_last_bit(ours):
    drain(ours, 2024, "72.3 psi")
    drain(ours, 2025, "60.7 psi")
    with ours.scope():
        kept = Reading.objects.get(name="residual_pressure", typed="60.7 psi").judgement["computed"]
    assert kept["inputs"]["current_residual"] == to_si(60.7, "psi")
    assert kept["inputs"]["previous_residual"] == to_si(72.3, "psi")
    assert kept["version"] == COMPUTATIONS["main_drain_change"].version
    assert kept["values"]["fall"] == (72.3 * PSI - 60.7 * PSI) / (72.3 * PSI)
    assert kept["verdict"] == "look into it"


@pytest.mark.django_db
def test_a_reading_that_cannot_be_is_kept_with_why_and_judged_by_nothing(ours):
    drain(ours, 2024, "90 psi")
    with ours.scope():
        kept = Reading.objects.get(name="residual_pressure").judgement["computed"]
    assert (kept["verdict"], kept["values"]) == ("", {})
    assert "at most the static pressure" in kept["refused"]
    assert computed.again(kept) == kept


@pytest.mark.django_db
def test_the_report_carries_warnings_name_version_and_inputs_and_prints_them(ours):
    drain(ours, 2024, "72.3 psi")
    visit = drain(ours, 2025, "71 psi", restored_pressure="70 psi")
    with ours.scope():
        visit.refresh_from_db()
        facts = report.facts(visit, 1, "code")
        held = Reading.objects.get(visit=visit, name="residual_pressure").judgement["computed"]
    (told,) = [
        one
        for system in facts["systems"]
        for one in system["readings"]
        if one["name"] == "residual_pressure"
    ]
    warning = "Static did not come back after the drain was shut"
    assert [one for one in told["warnings"] if one.startswith(warning)]
    assert told["computed"]["name"] == "main_drain_change"
    # One written form of each figure, from which the exact input comes back.
    inputs = {
        name: [float(one) for one in value] if isinstance(value, list) else float(value)
        for name, value in told["computed"]["inputs"].items()
    }
    assert computed.again({**held, "inputs": inputs}) == held
    frozen = json.loads(canonical_bytes(facts))
    assert frozen["systems"] == facts["systems"]
    text = printed(pdf.render(frozen, "{}", {}))
    assert warning in text
    assert "main drain change, version 1" in text


@pytest.mark.django_db
def test_a_report_frozen_before_computations_were_kept_still_renders(ours):
    visit = drain(ours, 2025, "71 psi")
    with ours.scope():
        visit.refresh_from_db()
        facts = report.facts(visit, 1, "code")
    for system in facts["systems"]:
        for one in system["readings"]:
            for name in ("computed", "decided", "warnings"):
                del one[name]
    assert "71 psi" in printed(pdf.render(facts, "{}", {}))


def printed(made):
    """Return the words of a PDF, however its lines are broken."""
    pages = pypdf.PdfReader(io.BytesIO(made)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


SLIGHTLY_SLOW = {
    "fire_pump_test": {
        "rated_flow": 0.063,
        "rated_net": 689476.0,
        "rated_speed": 185.35,
        "points": [[0.0, 827371.0, 184.0]],
    },
    "pump_speed_correction": {
        "Q_test": 0.063,
        "net_test": 689476.0,
        "n_test": 185.34,
        "n_rated": 185.35,
    },
}


@pytest.mark.parametrize(("name", "inputs"), SLIGHTLY_SLOW.items())
def test_a_result_of_a_former_version_says_what_it_said_then(name, inputs):
    now = computed.of_test(name, inputs, "us")
    assert (now["version"], [one for one in now["warnings"] if "governor" in one]) == (2, [])
    then = computed.again({**now, "version": 1})
    blamed = "Below rated speed: report it uncorrected too, a governor may be at fault."
    assert then == {**now, "version": 1, "warnings": [*now["warnings"], blamed]}
    assert computed.again(then) == then


def test_a_version_that_never_was_is_named():
    kept = computed.of_test("fire_pump_test", SLIGHTLY_SLOW["fire_pump_test"], "us")
    with pytest.raises(LookupError, match="fire_pump_test: version 9 is not known"):
        computed.again({**kept, "version": 9})


@given(
    st.floats(1e3, 2e6), st.lists(st.floats(1e3, 2e6), max_size=4), st.floats(1e3, 2e6) | st.none()
)
def test_a_kept_main_drain_survives_being_written_down(now, before, static):
    activity = catalogue().activities["main-drain-annual"]
    given_now = {"residual_pressure": now} | ({"static_pressure": static} if static else {})
    past = {"residual_pressure": before}
    kept = computed.of_reading(activity, "residual_pressure", given_now, past, None, "us")
    assert computed.again(json.loads(json.dumps(kept))) == kept
