"""The computations as a program meets them that knows nothing of them: schemas, refusals."""

import itertools
import json

import pytest
from jsonschema import Draft202012Validator

from inspections.hydraulics.index import COMPUTATIONS, schema

pytestmark = pytest.mark.django_db
ROOT = "/api/v1/calculations/"
SCHEMAS = {name: schema(name) for name in COMPUTATIONS}
EXAMPLES = {name: one["input"]["examples"][0] for name, one in SCHEMAS.items()}
# One of each kind of bad value that every input refuses.
BAD = [
    "5 stone",
    "nan psi",
    "NaN",
    "1e400 psi",
    "'; --",
    "",
    [],
    {},
    {"value": "x", "unit": "psi"},
    {"value": 1e308, "unit": "psi"},
    10**400,
    -1e300,
    [1, 2, 3],
]


def test_every_schema_is_one_and_takes_its_example(ours, api):
    listed = {one["name"]: one for one in api(ours.technician).get(ROOT).json()}
    assert listed == json.loads(json.dumps(SCHEMAS))
    for one in listed.values():
        for side in ("input", "output"):
            Draft202012Validator.check_schema(one[side])
        Draft202012Validator(one["input"]).validate(one["input"]["examples"][0])


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_an_example_comes_to_what_the_schema_of_outputs_says(ours, api, name):
    answer = api(ours.technician).post(f"{ROOT}{name}/", EXAMPLES[name], format="json")
    assert answer.status_code == 200, answer.json()
    Draft202012Validator(SCHEMAS[name]["output"]).validate(answer.json())


@pytest.mark.parametrize("name", COMPUTATIONS)
def test_a_bad_value_is_refused_by_name_with_what_is_accepted(ours, api, name):
    client = api(ours.technician)
    # Each input gets one of them: the computation itself is searched with all (test_bad_input).
    turn = itertools.cycle(BAD[len(name) % len(BAD) :] + BAD[: len(name) % len(BAD)])
    for field in COMPUTATIONS[name].inputs:
        bad = next(one for one in turn if is_bad_for(field, one))
        given = EXAMPLES[name] | {field.name: bad}
        answer = client.post(f"{ROOT}{name}/", given, format="json")
        body = answer.json()
        assert answer.status_code == 400, (field.name, bad, body)
        (error,) = body["errors"]
        columns = {column.name for column in field.columns}
        assert error["field"] in {field.name, *columns}, (bad, error)
        assert error["accepted"]
        assert error["field"] in body["detail"]


def is_bad_for(field, value):
    """Say whether an input refuses a value: any text is a word, and a list may be empty."""
    if value == []:
        return field.required or not field.many
    if field.many and isinstance(value, list):
        return field.quantity != "number"
    return field.quantity != "word" or bool(field.choices) or not isinstance(value, str)


@pytest.mark.parametrize(
    ("name", "given", "field", "word"),
    [
        ("equivalent_length", {"nominal_size": "41 in"}, "nominal_size", "1, "),
        ("equivalent_length", {"fitting": "bend"}, "fitting", "elbow_90_standard"),
        ("pipe_volume_per_length", {"nominal_size": "41 in"}, "nominal_size", "1 1/4"),
        ("pipe_volume_per_length", {"schedule": "999"}, "schedule", "40"),
    ],
)
def test_what_a_table_lacks_is_told_with_what_it_has(ours, api, name, given, field, word):
    answer = api(ours.technician).post(f"{ROOT}{name}/", EXAMPLES[name] | given, format="json")
    (error,) = answer.json()["errors"]
    assert (answer.status_code, error["field"]) == (400, field)
    assert (error["value"], word in error["accepted"]) == (given[field], True)


@pytest.mark.parametrize(
    ("name", "given", "unit", "value"),
    [
        # By hand: 0.433 psi/ft over 1.5 ft; 3.6 bar are 52.2 psi, whose root times 5.6 is 40.5 gpm.
        ("elevation_pressure", {"h": "1' 6\""}, "psi", 0.6496),
        ("k_factor_flow", {"K_us": 5.6, "p": "3.6 bar"}, "gpm", 40.46),
        ("k_factor_flow", {"K_us": 5.6, "p": [3.6, "bar"]}, "gpm", 40.46),
        ("k_factor_flow", {"K_us": 5.6, "p": {"value": 3.6, "unit": "bar"}}, "gpm", 40.46),
    ],
)
def test_a_value_is_taken_in_every_form_of_its_unit(ours, api, name, given, unit, value):
    answer = api(ours.technician).post(f"{ROOT}{name}/", given, format="json").json()
    (shown,) = answer["values"].values()
    assert shown == {"value": pytest.approx(value, rel=1e-3), "unit": unit}


@pytest.mark.parametrize("body", [b"[1]", b"null", b'"x"', b"{", b'{"p": NaN}', b"\xff\xfe", b""])
def test_a_body_that_is_no_object_is_refused(ours, api, body):
    answer = api(ours.technician).post(
        f"{ROOT}nozzle_pitot_flow/", body, content_type="application/json"
    )
    assert answer.status_code == 400
    assert answer.json()["detail"]


@pytest.mark.parametrize("deep", [101, 940, 5000])
def test_a_body_nested_beyond_reason_is_refused(ours, api, deep):
    body = b'{"p":' + b"[" * deep + b"]" * deep + b"}"
    answer = api(ours.technician).post(
        f"{ROOT}nozzle_pitot_flow/", body, content_type="application/json"
    )
    assert answer.status_code == 400
    assert "nested more than 100 deep" in answer.json()["detail"]
