"""The catalogue's activities and the computations in the API."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.catalogue_files import catalogue
from inspections.hydraulics.index import COMPUTATIONS

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(ours, api):
    return api(ours.office)


def test_every_activity_is_listed_by_pages_and_has_its_own_address(ours, office):
    first = office.get("/api/v1/activities/", {"page_size": 500}).data
    assert first["count"] == len(catalogue().activities)
    for row in first["results"][::37]:
        assert office.get(f"/api/v1/activities/{row['id']}/").data == row
    drain = office.get("/api/v1/activities/main-drain-annual/").data
    assert (drain["kind"], drain["frequency"]) == ("test", "P1Y")
    assert drain["readings"]["residual_pressure"] == "pressure"
    assert drain["cautions"]
    assert {"source", "confidence", "edition_from", "season", "regime", "condition"} <= set(drain)
    assert office.get("/api/v1/activities/polish/").status_code == 404


def test_activities_are_narrowed_and_ordered(ours, office):
    asked = {"kind": "test", "frequency": "P1Y", "regime": "nfpa25", "page_size": 500}
    rows = office.get("/api/v1/activities/", asked).data["results"]
    assert rows
    assert {(r["kind"], r["frequency"], r["regime"]) for r in rows} == {("test", "P1Y", "nfpa25")}
    down = office.get("/api/v1/activities/", asked | {"ordering": "-id"}).data["results"]
    assert [r["id"] for r in down] == [r["id"] for r in rows][::-1]
    found = office.get("/api/v1/activities/", {"q": "MAIN-DRAIN"}).data["results"]
    assert "main-drain-annual" in [r["id"] for r in found]
    some = office.get("/api/v1/activities/", {"subject": "gauge"}).data["results"]
    assert all("gauge" in r["subjects"] for r in some)


@pytest.mark.parametrize(
    ("asked", "accepted"),
    [
        ({"kind": "polish"}, "kind"),
        ({"ordering": "beauty"}, "ordering"),
        ({"edition": "newest"}, "edition"),
        ({"confidence": "high"}, "confidence"),
    ],
)
def test_a_word_that_is_no_filter_is_refused_by_name(ours, office, asked, accepted):
    answer = office.get("/api/v1/activities/", asked)
    assert (answer.status_code, answer.data["errors"][0]["field"]) == (400, accepted)


@pytest.mark.parametrize("name", ["component", "regime", "frequency", "subject"])
def test_a_word_that_no_activity_has_is_refused_with_those_there_are(ours, office, name):
    answer = office.get("/api/v1/activities/", {name: "moonlight"})
    assert answer.status_code == 400
    assert answer.data["facts"]["value"] == "moonlight"
    assert answer.data["facts"]["accepted"].startswith("Accepted: ")


def test_every_computation_is_listed_with_its_schemas(ours, office):
    listed = office.get("/api/v1/calculations/").data
    assert {one["name"] for one in listed} == set(COMPUTATIONS)
    for one in listed:
        assert one["input"]["type"] == "object"
        assert office.get(f"/api/v1/calculations/{one['name']}/").data == one
    assert office.get("/api/v1/calculations/luck/").status_code == 404
    assert office.post("/api/v1/calculations/luck/", {}).status_code == 404


def test_a_pitot_reading_becomes_a_flow_whichever_way_it_is_written(ours, api):
    """Q = 29.84 c d**2 sqrt(p) from memory: 2.5 in, 0.9, 16 psi is 671 gpm."""
    for client in (api(ours.technician), api(ours.trainer)):
        for pressure in ("16 psi", {"value": 16, "unit": "psi"}):
            body = {"d": "2.5 in", "p": pressure, "c": 0.9}
            answer = client.post("/api/v1/calculations/nozzle_pitot_flow/", body)
            assert answer.status_code == 200, answer.data
            flow = answer.data["values"]["flow"]
            assert flow["unit"] == "gpm"
            assert flow["value"] == pytest.approx(671, abs=1)


def test_bad_input_names_field_value_and_what_is_accepted(ours, office):
    right = {"d": "2.5 in", "p": "16 psi", "c": 0.9}
    for change, field in (
        ({"p": "16 gpm"}, "p"),
        ({"p": "fast"}, "p"),
        ({"p": None}, "p"),
        ({"d": "-2 in"}, "d"),
        ({"weather": "fair"}, "weather"),
    ):
        answer = office.post("/api/v1/calculations/nozzle_pitot_flow/", right | change)
        assert (answer.status_code, answer.data["code"]) == (400, "invalid"), change
        (error,) = answer.data["errors"]
        assert error["field"] == field
        assert error["accepted"]
    assert office.post("/api/v1/calculations/nozzle_pitot_flow/", [1]).status_code == 400


def test_owners_and_strangers_stay_outside(ours, api, client):
    for name in ("activities", "calculations"):
        assert api(ours.access).get(f"/api/v1/{name}/").status_code == 403
        assert client.get(f"/api/v1/{name}/").status_code == 401
        assert api(ours.technician).get(f"/api/v1/{name}/").status_code == 200


scalars = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
values = st.recursive(
    scalars | st.sampled_from(["52 psi", "2 in", "5 gpm", "1:30"]),
    lambda part: st.lists(part, max_size=3) | st.dictionaries(st.text(max_size=5), part, max_size=3)
    | st.fixed_dictionaries({"value": part, "unit": part}),
    max_leaves=6,
)  # fmt: skip


@st.composite
def sent(draw):
    """A computation and a body: its inputs filled with anything, any JSON, or no JSON at all."""
    name = draw(st.sampled_from(sorted(COMPUTATIONS)))
    named = {field.name: values for field in COMPUTATIONS[name].inputs}
    some = st.fixed_dictionaries({}, optional={**named, "weather": values})
    as_json = (some | values).map(json.dumps).map(str.encode)
    return name, draw(as_json | st.binary(max_size=20))


def test_whatever_is_sent_to_a_computation_is_answered_or_told_what_is_wrong(ours, office):
    @given(sent())
    def answered(request):
        name, body = request
        answer = office.generic(
            "POST", f"/api/v1/calculations/{name}/", body, content_type="application/json"
        )
        assert answer.status_code in (200, 400), answer.content
        if answer.status_code == 400:
            assert answer["Content-Type"] == "application/problem+json"
            assert {"status", "title", "code"} <= set(answer.json())

    answered()
