"""The pictures of a visit's tests: the curve of a pump, a trip test on a line of time."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.template.loader import render_to_string

from buildings import inventory
from buildings.models import System
from inspections import computed, drawn_tests, pack, paper_forms, pdf, pump_tests, record, report
from inspections.events.canonical import canonical_bytes
from inspections.models import Reading, Visit, VisitLine

pytestmark = pytest.mark.django_db

# Flow, suction, discharge in gpm and psi, and speed in rpm, by point.
NEW = {"churn": (0, 60, 172, 1780), "rated": (1000, 55, 153, 1780), "peak": (1500, 50, 122, 1780)}
WORN = {"churn": (0, 60, 168, 1762), "rated": (980, 55, 148, 1760), "peak": (1470, 50, 112, 1758)}


@pytest.fixture
def pump(ours):
    with ours.scope():
        made = System(
            building=ours.building, code="S9", name="Fire pump", kind="fire_pump",
            attributes={"rated_flow": 1000, "rated_pressure": 95, "rated_speed": 1780},
        )  # fmt: skip
        inventory.add([made], by=None, tell=False)
    return made


def recorded(scene, item, activity, on, read, kind="system"):
    """Record readings, each with its point, and return the visit."""
    at, by = datetime(on.year, on.month, on.day, 15, tzinfo=UTC), scene.technician
    with scene.scope(), time_machine.travel(at, tick=False):
        visit = Visit.objects.create(building=scene.building, planned_on=on)
        entries = [record.visit_entry(visit, "visit.open", {"at": at.isoformat()}, by=by)]
        for name, value, unit, point in read:
            payload = {
                "subject": {"kind": kind, "id": str(item.pk)},
                "activity": activity,
                "name": name,
                "typed": f"{value} {unit}",
                "value": {"value": str(value), "unit": unit},
                **({"point": point} if point else {}),
            }
            entries.append(record.visit_entry(visit, "reading.add", payload, by=by))
        record.append(entries, via="page", by=by)
        return Visit.objects.select_related("building", "contractor").get(pk=visit.pk)


def of_points(points):
    units = {"flow": "gpm", "suction_pressure": "psi", "discharge_pressure": "psi", "speed": "rpm"}
    return [
        (name, value, unit, point)
        for point, values in points.items()
        for (name, unit), value in zip(units.items(), values, strict=True)
    ]


def tripped(scene, on, trip, water):
    read = [("trip_time", trip, "s", ""), ("delivery_time", water, "s", "")]
    return recorded(
        scene, scene.devices["preaction_valve"], "dry-trip-full", on, read, kind="device"
    )


def test_a_pump_test_is_brought_to_rated_speed_beside_its_first_curve(ours, pump):
    recorded(ours, pump, "fp-annual-flow", date(2024, 6, 3), of_points(NEW))
    visit = recorded(ours, pump, "fp-annual-flow", date(2026, 6, 3), of_points(WORN))
    with ours.scope():
        (drawn,) = drawn_tests.of_visit(visit)
    # By hand: 980 * 1780/1760 = 991.1 gpm, 93 * (1780/1760)^2 = 95.13 psi.
    assert [float(one) for one in drawn["tested"][1]] == pytest.approx([991.1, 95.13], abs=0.05)
    assert drawn["raw"][1] == ["980", "93"]
    assert [float(one) for one in drawn["base"][2]] == pytest.approx([1500, 72])
    # 62 * (1780/1758)^2 = 63.56 of 98 - 26 * 488.4/500 = 72.60 psi on the first curve.
    assert drawn["words"].startswith("Worst against the first curve: 87.5")
    head, rows = drawn_tests.tested.of_data(drawn).table()
    assert head[1] == "Flow, gpm"
    assert ("150 percent flow, at least", "1500", "61.8") in rows


def test_what_judged_a_pump_test_is_kept_with_its_inputs_and_comes_to_the_same_again(ours, pump):
    recorded(ours, pump, "fp-annual-flow", date(2024, 6, 3), of_points(NEW))
    recorded(ours, pump, "fp-annual-flow", date(2026, 6, 3), of_points(WORN))
    with ours.scope():
        rows = Reading.objects.filter(name=pump_tests.DISCHARGE).order_by("read_on", "read_at")
        kept = [row.judgement["computed"] for row in rows if "computed" in row.judgement]
    assert [(one["name"], one["verdict"]) for one in kept] == [
        ("fire_pump_test", "pass"),
        ("fire_pump_test", "fail"),
    ]
    assert len(kept[1]["inputs"]["points"]) == len(kept[1]["inputs"]["baseline"]) == 3
    assert [computed.again(one) for one in kept] == kept
    last = {row.point: row.judgement.get("last") for row in rows if row.read_on.year == 2026}
    assert last == {"churn": "172 psi", "rated": "153 psi", "peak": "122 psi"}


def test_without_a_speed_the_points_stand_as_read_and_say_so(ours, pump):
    read = [one for one in of_points(NEW) if one[0] != "speed"]
    visit = recorded(ours, pump, "fp-annual-flow", date(2026, 6, 3), read)
    with ours.scope():
        (drawn,) = drawn_tests.of_visit(visit)
    assert (drawn["corrected"], drawn["raw"]) == (False, [])
    assert drawn["words"].startswith("Not brought to rated speed")


def test_a_pump_without_nameplate_is_not_drawn(ours, pump):
    with ours.scope():
        gone = {"attributes": {"rated_flow": None}}
        inventory.revise(pump, gone, valid_from=date(2025, 1, 1), by=None, reason="misread")
    visit = recorded(ours, pump, "fp-annual-flow", date(2026, 6, 3), of_points(NEW))
    with ours.scope():
        assert drawn_tests.of_visit(visit) == []


def test_report_and_page_show_the_same_trip_test(ours, as_manager):
    tripped(ours, date(2023, 6, 1), 21, 44)
    visit = tripped(ours, date(2026, 6, 1), 24.4, 51)
    with ours.scope():
        facts = report.facts(visit, 1, "code") | {"tests": drawn_tests.of_visit(visit)}
    (drawn,) = facts["tests"]
    assert drawn["runs"][0] == ["2026-06-01", [["trip", "24.4"], ["water", "51"]]]
    assert drawn["runs"][1] == ["2023-06-01", [["trip", "21"], ["water", "44"]]]
    assert canonical_bytes(facts)
    in_report = pdf.pictures_of(facts)
    html = render_to_string("inspections/report.html", {"report": facts, "drawn": in_report})
    assert "The tests and readings in pictures" in html
    assert "<td>2023-06-01</td><td>water</td><td>44 s</td>" in html
    page = as_manager.get(f"/visits/{visit.pk}/").content.decode()
    address = f"/visits/{visit.pk}/tests/{drawn['subject']}.svg"
    assert f'src="{address}"' in page
    assert "<td>51 s</td>" in page
    drawn_on_page = as_manager.get(address).content.decode()
    assert drawn_on_page == in_report["test-1"].svg
    device = ours.devices["preaction_valve"].pk
    assert (
        f"/devices/{device}/tested.svg"
        in as_manager.get(f"/devices/{device}/history/").content.decode()
    )
    assert as_manager.get(f"/devices/{device}/tested.svg").content.decode() == drawn_on_page
    assert as_manager.get(f"/visits/{visit.pk}/tests/{ours.wet.pk}.svg").status_code == 404


def test_a_pump_is_read_at_three_points_on_tablet_and_paper(ours, pump):
    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=date(2026, 6, 3))
        VisitLine.objects.create(
            visit=visit, system=pump, subject_kind="system", subject_id=pump.pk,
            activity=pump_tests.FLOW_TEST,
        )  # fmt: skip
        (line,) = [
            line
            for system in pack.pack_of(visit)["systems"]
            for group in system["groups"]
            for line in group["lines"]
            if line["activity"] == pump_tests.FLOW_TEST
        ]
    asked = [(one["name"], one["point"]) for one in line["readings"]]
    assert asked.count(("flow", "rated")) == asked.count(("speed", "churn")) == 1
    assert ("flow", "churn") not in asked
    assert {point for _name, point in asked} == set(pump_tests.POINTS)
    given = {"answer": "pass", "read_discharge_pressure--peak": "122"}
    form = paper_forms.LineForm({**given, "at": "2026-06-03T10:00"}, line=line, seen=[])
    assert form.is_valid(), form.errors
    read = [one["payload"] for one in form.entries() if one["kind"] == "reading.add"]
    assert [(one["name"], one["point"], one["value"]["value"]) for one in read] == [
        ("discharge_pressure", "peak", "122")
    ]
