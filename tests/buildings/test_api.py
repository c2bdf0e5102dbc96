"""The API of the inventory: scoped, filtered, and changed by revisions."""

import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from buildings.models import Building, Device, Revision
from tests.buildings.portfolio_rows import small

LISTS = ("contractors", "people", "buildings", "systems", "risers", "devices")


def rows_of(scene):
    yield "contractors", scene.contractor
    yield "people", scene.people["technician"]
    yield "buildings", scene.building
    yield "systems", scene.wet
    yield "risers", scene.riser
    yield "devices", scene.devices["valve"]


def test_everything_of_ours_is_read_and_nothing_of_theirs(ours, theirs, api):
    client = api(ours.technician)
    for name, row in rows_of(ours):
        assert client.get(f"/api/v1/{name}/{row.pk}/").data["id"] == str(row.pk)
    for name, row in rows_of(theirs):
        answer = client.get(f"/api/v1/{name}/{row.pk}/")
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
        listed = client.get(f"/api/v1/{name}/", {"page_size": 500}).data["results"]
        assert str(row.pk) not in {one["id"] for one in listed}


def test_strangers_and_owners_are_not_let_in(ours, api, client):
    for name in LISTS:
        assert client.get(f"/api/v1/{name}/").status_code == 401
        assert api(ours.access).get(f"/api/v1/{name}/").status_code == 403


def test_lists_are_filtered_ordered_and_searched(ours, api):
    client = api(ours.office)
    gauges = client.get("/api/v1/devices/", {"kind": "gauge", "ordering": "-code"}).data
    assert [d["kind"] for d in gauges["results"]] == ["gauge", "gauge"]
    assert gauges["results"][0]["code"] > gauges["results"][1]["code"]
    assert client.get("/api/v1/buildings/", {"search": "mill"}).data["count"] == 1
    assert client.get("/api/v1/buildings/", {"system_kind": "deluge"}).data["count"] == 0
    wrong = client.get("/api/v1/systems/", {"kind": "steam"})
    assert wrong.status_code == 400
    assert wrong.data["errors"][0]["field"] == "kind"


@pytest.mark.parametrize("name", ["buildings", "devices", "people"])
def test_a_list_asks_a_fixed_number_of_times(ours, api, django_assert_max_num_queries, name):
    client = api(ours.office)
    with django_assert_max_num_queries(14):
        client.get(f"/api/v1/{name}/")


def test_a_device_is_changed_by_a_revision_with_a_reason(ours, api):
    client, device = api(ours.office), ours.devices["air_gauge"]
    address = f"/api/v1/devices/{device.pk}/"
    missing = client.patch(address, {"serial": "G-1"})
    assert missing.status_code == 400
    assert missing.data["errors"][0]["field"] == "reason"
    done = client.patch(
        address, {"serial": "G-1", "attributes": {"dated": "2026-02-01"}, "reason": "Replaced"}
    )
    assert done.status_code == 200
    assert done.data["attributes"] == {"measures": "air", "dated": "2026-02-01"}
    with ours.scope():
        newest = Revision.objects.filter(subject_id=device.pk).latest("recorded_at")
        assert newest.facts == {"serial": "G-1", "attributes": {"dated": "2026-02-01"}}


def test_a_refused_value_is_named_with_what_is_accepted(ours, api):
    client = api(ours.office)
    made = client.post(
        "/api/v1/devices/",
        {
            "building": str(ours.building.pk),
            "riser": str(ours.riser.pk),
            "system": str(ours.preaction.pk),
            "code": "D-77",
            "name": "Gauge",
            "kind": "gauge",
            "attributes": {"measures": "weather"},
        },
    )
    assert made.status_code == 400
    assert made.data["code"] == "attribute_refused"
    assert "supply" in made.data["detail"]


def test_rows_of_others_cannot_be_named_in_what_is_entered(ours, theirs, api):
    client = api(ours.office)
    body = {"code": "S9", "name": "Strange", "kind": "wet", "building": str(theirs.building.pk)}
    answer = client.post("/api/v1/systems/", body)
    assert answer.status_code == 400
    assert answer.data["errors"][0]["field"] == "building"
    for name, row in (("devices", theirs.devices["valve"]), ("buildings", theirs.building)):
        patched = client.patch(f"/api/v1/{name}/{row.pk}/", {"name": "Mine", "reason": "x"})
        assert patched.status_code == 404


def test_a_technician_enters_a_device_but_no_building(ours, api):
    client = api(ours.technician)
    body = {
        "building": str(ours.building.pk),
        "system": str(ours.wet.pk),
        "code": "D-78",
        "name": "Low point nobody listed",
        "kind": "low_point_drain",
    }
    assert client.post("/api/v1/devices/", body).status_code == 201
    assert client.post("/api/v1/buildings/", {}).status_code == 403


def test_an_item_stays_in_its_building(ours, theirs, api):
    client = api(ours.office)
    other = client.post(
        "/api/v1/buildings/",
        {"code": "B-9", "name": "New", "address": "1", "city": "S", "taken_over_on": "2026-01-01"},
    )
    assert other.status_code == 201, other.data
    moved = client.patch(
        f"/api/v1/systems/{ours.wet.pk}/", {"building": other.data["id"], "reason": "Moved"}
    )
    assert moved.status_code == 400


def test_rows_are_imported_after_a_dry_run(ours, api):
    client = api(ours.office)
    dry = client.post("/api/v1/imports/", {"dry_run": True, "sheets": small()})
    assert dry.status_code == 200, dry.data
    assert dry.data["counts"]["devices"] == {"new": 4, "changed": 0, "same": 0}
    with ours.scope():
        assert not Building.objects.filter(code="A-1").exists()
    done = client.post("/api/v1/imports/", {"sheets": small()})
    assert done.status_code == 201
    assert done.data["history"]
    with ours.scope():
        assert Device.objects.filter(building__code="A-1").count() == 4


def test_wrong_rows_are_a_problem_with_each_place(ours, api):
    rows = small()
    rows["devices"][1]["kind"] = "steam whistle"
    answer = api(ours.office).post("/api/v1/imports/", {"sheets": rows})
    assert answer.status_code == 422
    first = answer.data["errors"][0]
    assert (first["sheet"], first["row"], first["field"]) == ("devices", 2, "kind")
    assert first["value"] == "steam whistle"
    assert "control_valve" in first["accepted"]


def test_a_zip_file_of_csv_files_is_imported(ours, api):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("offices.csv", "name,lat,lon\nYard,44.5,-70\n")
    upload = SimpleUploadedFile("portfolio.zip", content.getvalue())
    client = api(ours.office)
    done = client.post("/api/v1/imports/", {"files": [upload]}, format="multipart")
    assert done.status_code == 201, done.data
    assert done.data["counts"] == {"offices": {"new": 1, "changed": 0, "same": 0}}


def test_what_cannot_be_read_at_all_is_said_in_a_sentence(ours, api):
    client = api(ours.office)
    for name, content in (("a.pdf", b"%PDF"), ("a.xlsx", b"no"), ("a.zip", b"no")):
        upload = SimpleUploadedFile(name, content)
        answer = client.post("/api/v1/imports/", {"files": [upload]}, format="multipart")
        assert (answer.status_code, answer.data["code"]) == (400, "unreadable_file"), name
    assert client.post("/api/v1/imports/", {"sheets": {"devices": "x"}}).status_code == 400
