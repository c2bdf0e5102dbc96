"""Supply points on the desk and in the API: entered, drawn on, tested, drawn, refused."""

import io
from datetime import date, timedelta

import pypdf
import pytest

from contractors.refusal import FieldRefused
from inspections import flow_readings, pdf, report, supplies, supply_board
from inspections.events.canonical import canonical_bytes
from inspections.models import FlowTest, SupplyMargin, Visit
from tests.scene import TODAY

pytestmark = pytest.mark.django_db

OUTLETS = [
    flow_readings.Outlet("2 1/2 in", "0.90", "14 psi"),
    flow_readings.Outlet("2.5", "0.9", "16"),
]


@pytest.fixture
def tested(ours):
    """A point with two tests, which leave the wet system less than before."""
    with ours.scope():
        by, from_on = ours.manager, date(2014, 6, 1)
        point = supplies.add_point("W-1", "Mill Lane main", "8 in", by=by)
        placard = {"base_flow": 700, "base_pressure": 52}
        supplies.write_placard(ours.wet, placard, from_on=from_on, by=by)
        supplies.connect(point, ours.wet, from_on=from_on, hose="250 gpm", by=by)
        for on, static, residual in ((2021, "80 psi", "62 psi"), (2026, "78 psi", "50 psi")):
            read = flow_readings.Read(date(on, 5, 4), static, residual, "1000 gpm")
            supplies.record_test(point, read, by=by)
    return point


def refused(point, by, **changed):
    given = {"tested_on": date(2026, 5, 4), "static": "80 psi", "residual": "60 psi"} | changed
    with pytest.raises(FieldRefused) as caught:
        supplies.record_test(point, flow_readings.Read(**given), by=by)
    return caught.value.facts["field"], caught.value.facts["value"]


def test_the_flow_follows_from_the_outlets_and_they_are_kept(ours, tested):
    read = flow_readings.Read(date(2026, 6, 4), "80 psi", "60 psi", outlets=OUTLETS)
    with ours.scope():
        test = supplies.record_test(tested, read, by=ours.manager)
    # By hand: 29.84 c d^2 sqrt(p) = 167.85 (sqrt 14 + sqrt 16) = 1299.4 gpm.
    assert test.flow_m3s / 6.30901964e-05 == pytest.approx(1299.4, abs=1.0)
    assert test.outlets == "2 1/2 in, c 0.90, 14 psi; 2.5 in, c 0.9, 16 psi"


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"outlets": [flow_readings.Outlet("", "0.9", "14")]}, ("outlets.1.bore", "nothing")),
        (
            {"outlets": [flow_readings.Outlet("2.5", "", "14")]},
            ("outlets.1.coefficient", "nothing"),
        ),
        ({"outlets": [flow_readings.Outlet("2.5", "1.2", "14")]}, ("outlets.1.coefficient", "1.2")),
        (
            {"outlets": [*OUTLETS, flow_readings.Outlet("2.5", "0.9", "")]},
            ("outlets.3.pitot", "nothing"),
        ),
        ({"outlets": OUTLETS, "flow": "900"}, ("flow", "900")),
        ({"flow": "900 gpm", "residual": "85 psi"}, ("residual", "85 psi")),
        ({"flow": "900 ft"}, ("flow", "900 ft")),
    ],
)
def test_a_refusal_names_field_and_value(ours, tested, changed, named):
    with ours.scope():
        assert refused(tested, ours.manager, **changed) == named


def test_the_margin_is_said_in_words_and_units_with_its_change(ours, tested):
    with ours.scope():
        line = supply_board.of_building(ours.building)[0].lines[0]
    # By hand: 78 - 28 * 0.95**1.85 = 52.53 psi, 52 wanted; before 80 - 18 * 0.95**1.85 = 63.63.
    assert line.said == (
        "At 950 gpm, hose 250 gpm included, the supply gives 53 psi; 52 psi is wanted:"
        " 0.5 psi to spare."
    )
    assert line.since.startswith("11.1 psi less than on ")


def test_pages_show_points_tests_and_pictures(
    ours, as_manager, tested, django_assert_max_num_queries
):
    with ours.scope():
        margin = SupplyMargin.objects.order_by("-flow_test__tested_on").first()
        test = margin.flow_test
    with django_assert_max_num_queries(14):
        page = as_manager.get(f"/supplies/{tested.pk}/").content.decode()
    assert "0.5 psi to spare" in page
    assert f"/margins/{margin.pk}.svg" in page
    with django_assert_max_num_queries(14):
        listed = as_manager.get(f"/buildings/{ours.building.pk}/supplies/").content.decode()
    assert "Mill Lane main" in listed
    building = as_manager.get(f"/buildings/{ours.building.pk}/").content.decode()
    assert "0.5 psi to spare" in building
    drawn = as_manager.get(f"/margins/{margin.pk}.svg").content.decode()
    assert "<desc>At 950 gpm" in drawn
    assert "prefers-color-scheme:dark" in drawn
    assert as_manager.get(f"/flow-tests/{test.pk}.svg").status_code == 200


def test_the_office_enters_connects_writes_and_tests(ours, as_manager):
    base = f"/buildings/{ours.building.pk}/supplies/"
    made = as_manager.post(f"{base}new/", {"code": "W-2", "name": "North main"})
    point = made.url.split("point=")[1]
    given = {"system": ours.wet.pk, "point": point, "from_on": "2014-06-01", "hose": "100 gpm"}
    assert as_manager.post(f"{base}connect/", given).status_code == 302
    placard = {"base_flow": "2650 L/min", "base_pressure": "3.6 bar", "from_on": "2014-06-01"}
    assert as_manager.post(f"/systems/{ours.wet.pk}/placard/", placard).status_code == 302
    read = {"tested_on": "2026-05-04", "static": "80", "residual": "60"}
    row = {
        "outlets_bore": ["2.5", ""],
        "outlets_coefficient": ["", ""],
        "outlets_pitot": ["14", ""],
    }
    short = as_manager.post(f"/supplies/{point}/tests/new/", {**read, **row})
    assert short.status_code == 422
    assert "outlets.1.coefficient: nothing is not accepted" in short.content.decode()
    row["outlets_coefficient"] = ["0.9", ""]
    assert as_manager.post(f"/supplies/{point}/tests/new/", {**read, **row}).status_code == 302
    with ours.scope():
        assert SupplyMargin.objects.get().inputs["demand_pressure"] == pytest.approx(3.6e5, 1e-3)


def test_the_interface_does_the_same(ours, api):
    client, base = api(ours.manager), "/api/v1/supply-points/"

    def post(address, body):
        key = f"{address}-{len(str(body))}"[-90:]
        return client.post(f"{base}{address}", body, format="json", HTTP_IDEMPOTENCY_KEY=key)

    point = post("", {"code": "W-2", "name": "North main"}).data["id"]
    on = {"system": str(ours.wet.pk), "from_on": "2014-06-01"}
    assert post(f"{point}/draws/", on).status_code == 201
    figures = {"base_flow": "700 gpm", "base_pressure": "52 psi"}
    assert post("placards/", on | figures).status_code == 204
    read = {"tested_on": "2026-05-04", "static": "80 psi", "residual": "60 psi"}
    no = post(f"{point}/tests/", read | {"outlets": [{"coefficient": "0.9", "pitot": "14"}]})
    assert no.status_code == 400
    assert "outlets.1.bore" in str(no.json())
    assert post(f"{point}/tests/", read | {"flow": "1000 gpm"}).status_code == 201
    assert len(client.get(f"{base}{point}/tests/").data) == 1
    assert len(client.get(f"{base}{point}/draws/").data) == 1
    with ours.scope():
        visit = Visit.objects.create(
            building=ours.building, performed_on=date(2026, 5, 4), state="sealed"
        )
        first = FlowTest.objects.get()
    again = read | {"flow": "900 gpm", "replaces": str(first.pk), "reason": "flow misread"}
    made = post(f"{point}/tests/", again | {"visit": str(visit.pk)})
    assert (made.status_code, made.data["visit"]) == (201, visit.pk)
    assert len(client.get(f"{base}{point}/tests/").data) == 1
    every = client.get(f"{base}{point}/tests/?corrected=yes").data
    assert {one["reason"] for one in every} == {"", "flow misread"}
    margin = client.get(f"{base}{point}/margins/").data[0]
    assert margin["said"].endswith("to spare.")
    picture = client.get(f"/api/v1/margins/{margin['id']}.svg")
    assert picture["Content-Type"] == "image/svg+xml"


def test_a_visit_that_tested_a_supply_draws_it_in_its_report(ours, tested):
    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=date(2026, 5, 4))
        visit.performed_on = date(2026, 5, 4)
        drawn = supply_board.of_visit(visit)
        facts = report.facts(visit, 1, "code") | {"supplies": drawn}
        visit.performed_on = date(2026, 5, 5)
        assert supply_board.of_visit(visit) == []
    assert drawn[0]["words"].endswith("0.5 psi to spare.")
    assert drawn[0]["earlier"][1:] == ["80", "62", "1000"]
    assert canonical_bytes(facts)
    made = pdf.render(facts, "{}", {})
    text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made)).pages)
    assert "Water supply" in text
    assert "0.5 psi to spare" in text


def test_a_wrong_test_is_corrected_on_its_page_and_stays_to_be_seen(ours, as_manager, tested):
    with ours.scope():
        wrong = FlowTest.objects.order_by("-tested_on").first()
        read = flow_readings.Read(date(2026, 6, 4), "80", "60", outlets=OUTLETS)
        by_outlets = supplies.record_test(tested, read, by=ours.manager)
    form = as_manager.get(f"/flow-tests/{by_outlets.pk}/correct/").content.decode()
    assert 'value="80 psi"' in form
    assert 'value="2 1/2 in"' in form
    address = f"/flow-tests/{wrong.pk}/correct/"
    again = {"tested_on": "2026-05-04", "static": "79 psi", "residual": "60", "flow": "1000 gpm"}
    assert as_manager.post(address, again).status_code == 422
    given = again | {"reason": "Residual misread by ten"}
    assert as_manager.post(address, given | {"residual": "90"}).status_code == 422
    assert as_manager.post(address, given).status_code == 302
    page = as_manager.get(f"/supplies/{tested.pk}/").content.decode()
    assert "1 test was corrected and no longer counts" in page
    assert "<td>50 psi</td>" in page
    assert page.count("Residual misread by ten") == 2
    with ours.scope():
        assert len(supplies.standing_tests(tested)) == 3
    late = as_manager.post(address, given)
    assert "not corrected before" in late.content.decode()


def test_a_test_recorded_from_a_visit_is_told_in_its_report_alone(ours, as_manager, tested):
    day, kept = date(2026, 5, 20), {"building": ours.building, "state": "sealed"}
    with ours.scope():
        visit, other = (Visit.objects.create(performed_on=day, **kept) for _ in range(2))
    form = as_manager.get(f"/supplies/{tested.pk}/tests/new/?visit={visit.pk}").content.decode()
    assert f'<option value="{visit.pk}" selected>' in form
    assert 'value="2026-05-20"' in form
    read = {"tested_on": "2026-05-20", "static": "80", "residual": "60", "flow": "1000"}
    address = f"/supplies/{tested.pk}/tests/new/"
    assert as_manager.post(address, read | {"visit": visit.pk}).status_code == 302
    with ours.scope():
        assert [one["words"][:10] for one in supply_board.of_visit(visit)] == ["At 950 gpm"]
        assert supply_board.of_visit(other) == []
        by_day = Visit.objects.create(performed_on=date(2026, 5, 4), **kept)
        assert len(supply_board.of_visit(by_day)) == 1


def test_more_points_ask_no_more_queries(ours, as_manager, tested, django_assert_max_num_queries):
    with ours.scope():
        for n in range(5):
            point = supplies.add_point(f"W-1{n}", f"Main {n}", by=ours.manager)
            supplies.connect(point, ours.wet, from_on=date(2014, 6, 1), by=ours.manager)
            read = flow_readings.Read(date(2026, 5, 4), "80 psi", "60 psi", "1000 gpm")
            supplies.record_test(point, read, by=ours.manager)
    with django_assert_max_num_queries(14):
        page = as_manager.get(f"/buildings/{ours.building.pk}/supplies/").content.decode()
    assert page.count("to spare") == 6


def test_a_day_to_come_is_refused(ours, tested):
    with ours.scope():
        ahead = TODAY + timedelta(days=4000)
        assert refused(tested, ours.manager, tested_on=ahead, flow="900")[0] == "tested_on"
        assert FlowTest.objects.count() == 2
