"""Samples at the desk and in the API: what falls due, sent, reported on, replaced."""

import base64
from datetime import UTC, date, datetime

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile

from buildings import inventory
from buildings.models import Device
from contractors.models import KeptAnswer
from inspections.models import Finding, Sample, Visit
from inspections.report import facts
from scheduling import due, samples

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
FAST = "sprinkler-test-fast-response-20y"


@pytest.fixture(autouse=True)
def now():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def group(ours):
    attributes = {
        "quantity": 500,
        "manufacture_year": 2004,
        "response": "fast",
        "type": "spray",
        "dry_type": False,
        "harsh_environment": False,
    }
    with ours.scope():
        device = Device(
            building=ours.building,
            system=ours.wet,
            riser=ours.wet_riser,
            code="G-1",
            name="Level 2 sprinklers",
            location="Level 2",
            kind="sprinkler_group",
            attributes=attributes,
        )
        inventory.add([device], by=None, tell=False)
        due.derive(ours.building)
    return device


def form(group, **more):
    return {
        "activity": FAST,
        "groups": [str(group.pk)],
        "pieces": "\n".join(f"T{n}, bay {n}" for n in range(1, 6)),
        "taken_on": "2026-11-20",
        "taken_by": "Sam Technician",
        "sent_on": "2026-11-21",
        "laboratory": "Weir Test House",
        "once": "a",
        **more,
    }


def body(ours, group, **more):
    return {
        "building": str(ours.building.pk),
        "activity": FAST,
        "groups": [str(group.pk)],
        "pieces": [{"tag": f"T{n}", "group": str(group.pk)} for n in range(5)],
        "taken_on": "2026-11-20",
        "taken_by": "Sam Technician",
        "sent_on": "2026-11-21",
        "laboratory": "Weir Test House",
        **more,
    }


def test_what_is_owed_stands_with_when_where_how_many_and_why(ours, group):
    with ours.scope():
        (row,) = [
            one
            for one in samples.due_at(ours.building, date(2026, 11, 25))
            if one.group is not None and one.group.pk == group.pk
        ]
        assert (row.owed, row.in_area, row.area, row.year) == (5, 500, "Level 2", 2004)
        assert row.occurrence.due_on == date(2024, 1, 1)
        assert row.basis


def test_the_buildings_page_shows_the_samples_that_fall_due(ours, group, as_manager):
    page = as_manager.get(f"/buildings/{ours.building.pk}/").content.decode()
    assert "Samples for the laboratory" in page
    assert "5 of at most 500" in page
    assert f"/buildings/{ours.building.pk}/samples/new/?activity={FAST}" in page


def test_the_samples_of_many_groups_are_asked_for_in_a_steady_number_of_queries(
    ours, group, django_assert_max_num_queries
):
    with ours.scope():
        first = Device.objects.get(pk=group.pk)
        more = [
            Device(
                building=ours.building,
                system=ours.wet,
                riser=ours.wet_riser,
                code=f"G-{n}",
                name=f"Group {n}",
                kind="sprinkler_group",
                attributes=first.attributes,
            )
            for n in range(2, 12)
        ]
        inventory.add(more, by=None, tell=False)
        due.derive(ours.building)
        with django_assert_max_num_queries(6):
            assert len(samples.due_at(ours.building, date(2026, 11, 25))) >= 11


def test_the_desk_records_a_sample_its_result_and_the_replacement(ours, group, as_manager):
    new = f"/buildings/{ours.building.pk}/samples/new/"
    page = as_manager.get(f"{new}?activity={FAST}&group={group.pk}").content.decode()
    assert "Level 2: 5 of at most 500" in page
    assert "Taking sprinklers out shuts the system" in page
    answer = as_manager.post(new, form(group))
    assert answer.status_code == 302, answer.content.decode()[:3000]
    shown = as_manager.get(answer["Location"]).content.decode()
    assert "At the laboratory" in shown
    assert "bay 3" in shown
    with ours.scope():
        sample = Sample.objects.get()
        assert sample.owed == 5
    scan = SimpleUploadedFile("c.pdf", b"%PDF-1.4 made up", content_type="application/pdf")
    told = {f"outcome_{n}": "pass" for n in range(5)} | {"outcome_1": "slow", "value_1": "61.5"}
    answer = as_manager.post(
        f"/samples/{sample.pk}/result/",
        {"reported_on": "2026-11-24", "certificate": scan, "once": "b", **told},
    )
    assert answer.status_code == 302, answer.content.decode()[:3000]
    shown = as_manager.get(f"/samples/{sample.pk}/").content.decode()
    assert "61.5 s" in shown
    assert "To be replaced" in shown
    assert as_manager.get(f"/samples/{sample.pk}/certificate/").content == b"%PDF-1.4 made up"
    answer = as_manager.post(
        f"/samples/{sample.pk}/replaced/",
        {
            "group": str(group.pk),
            "count": "500",
            "year": "2026",
            "on": "2026-11-25",
            "done_by": "Crew 2",
            "once": "c",
        },
    )
    assert answer.status_code == 302, answer.content.decode()[:3000]
    assert "Nothing more is owed" in as_manager.get(f"/samples/{sample.pk}/").content.decode()
    assert "Level 2" in as_manager.get("/samples/").content.decode()
    with ours.scope():
        assert Finding.objects.get().state == "closed"
        assert KeptAnswer.objects.count() == 3


def test_a_form_sent_twice_records_one_sample(ours, group, as_manager):
    new = f"/buildings/{ours.building.pk}/samples/new/"
    first, second = as_manager.post(new, form(group)), as_manager.post(new, form(group))
    assert first["Location"] == second["Location"]
    with ours.scope():
        assert Sample.objects.count() == 1


def test_too_few_are_refused_beside_their_field_with_all_that_was_typed(ours, group, as_manager):
    answer = as_manager.post(
        f"/buildings/{ours.building.pk}/samples/new/", form(group, pieces="T1, bay 1")
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "At least 5 of 500 in the area" in page
    assert "T1, bay 1" in page


def test_a_technician_sends_and_the_office_records_the_result(ours, group, as_technician):
    new = f"/buildings/{ours.building.pk}/samples/new/"
    answer = as_technician.post(new, form(group))
    assert answer.status_code == 302
    with ours.scope():
        sample = Sample.objects.get()
    assert as_technician.get(f"/samples/{sample.pk}/result/").status_code == 403


def test_the_api_records_a_sample_its_result_and_the_replacement(ours, group, api):
    client = api(ours.office)
    listed = client.get(f"/api/v1/samples/due/?building={ours.building.pk}").json()
    assert {"owed": 5, "in_area": 500, "year": 2004, "area": "Level 2"}.items() <= next(
        one for one in listed if one["group"] == str(group.pk)
    ).items()
    made = client.post("/api/v1/samples/", body(ours, group), HTTP_IDEMPOTENCY_KEY="a")
    assert made.status_code == 201, made.json()
    again = client.post("/api/v1/samples/", body(ours, group), HTTP_IDEMPOTENCY_KEY="a")
    assert again.json()["id"] == made.json()["id"]
    key = made.json()["id"]
    pieces = [{"tag": f"T{n}", "outcome": "pass"} for n in range(5)]
    pieces[2] |= {"outcome": "no_operation", "text": "deposit on the button"}
    paper = {"name": "c.pdf", "content": base64.b64encode(b"%PDF-1").decode()}
    told = {"reported_on": "2026-11-24", "pieces": pieces, "certificate": paper, "number": "C1"}
    done = client.post(f"/api/v1/samples/{key}/result/", told)
    assert done.status_code == 200, done.json()
    assert (done.json()["state"], done.json()["outcome"]) == ("failed", "no_operation")
    assert done.json()["has_certificate"] is True
    assert client.get(f"/api/v1/samples/{key}/certificate/").content == b"%PDF-1"
    finding = client.get(f"/api/v1/findings/{done.json()['finding']}/").json()
    assert (finding["class"], finding["deficiency"]) == ("impairment", "d-spr-test-no-operate")
    twice = client.post(f"/api/v1/samples/{key}/result/", told)
    assert (twice.status_code, twice.json()["code"]) == (409, "reported_already")
    part = {"group": str(group.pk), "count": 500, "year": 2026}
    over = client.post(
        f"/api/v1/samples/{key}/replace/",
        {"on": "2026-11-25", "done_by": "Crew 2", "groups": [part]},
    )
    assert over.json()["state"] == "replaced"
    rows = client.get("/api/v1/samples/?state=replaced").json()["results"]
    assert [row["id"] for row in rows] == [key]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"activity": "main-drain-annual"}, "activity"),
        ({"groups": []}, "groups"),
        ({"taken_on": "2026-12-24"}, "taken_on"),
        ({"sent_on": "2026-11-01"}, "sent_on"),
        ({"in_area": "about 500"}, "in_area"),
        ({"pieces": []}, "pieces"),
    ],
)
def test_bad_input_is_refused_by_its_field(ours, group, api, change, field):
    answer = api(ours.office).post("/api/v1/samples/", body(ours, group, **change))
    assert answer.status_code == 400
    assert field in str(answer.json())
    with ours.scope():
        assert not Sample.objects.exists()


def test_bytes_that_are_no_paper_are_refused(ours, group, api):
    client = api(ours.office)
    key = client.post("/api/v1/samples/", body(ours, group)).json()["id"]
    pieces = [{"tag": f"T{n}", "outcome": "pass"} for n in range(5)]
    wrong = {"name": "c.pdf", "content": base64.b64encode(b"<html>").decode()}
    told = {"reported_on": "2026-11-24", "pieces": pieces, "certificate": wrong}
    assert client.post(f"/api/v1/samples/{key}/result/", told).status_code == 422
    told["certificate"] = {"name": "c.pdf", "content": "not base64!"}
    assert client.post(f"/api/v1/samples/{key}/result/", told).status_code == 400
    with ours.scope():
        assert Sample.objects.get().state == "at_laboratory"


def test_the_report_names_the_sample_that_the_visit_took(ours, group, api):
    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=date(2026, 11, 20))
    made = api(ours.office).post("/api/v1/samples/", body(ours, group, visit=str(visit.pk)))
    assert made.status_code == 201, made.json()
    with ours.scope():
        visit.refresh_from_db()
        (told,) = facts(visit, 1, "code")["samples"]
        assert (told["laboratory"], told["owed"], told["state"]) == (
            "Weir Test House",
            5,
            "at_laboratory",
        )
        assert len(told["pieces"]) == 5
        assert visit.state == "open"


def test_results_do_not_come_through_the_entries_of_a_visit(ours, group, api):
    client = api(ours.office)
    with ours.scope():
        visit = Visit.objects.create(building=ours.building, planned_on=date(2026, 11, 25))
    key = client.post("/api/v1/samples/", body(ours, group)).json()["id"]
    payload = {"sample": key, "reported_on": "2026-11-24", "pieces": []}
    answer = client.post(
        f"/api/v1/visits/{visit.pk}/entries/",
        [{"kind": "sample.result", "stream_id": key, "payload": payload}],
    )
    assert answer.status_code == 400
    assert "not a valid choice" in str(answer.json())
