"""The valve model in the API: types, whole scenarios, runs that are kept."""

import json
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inspections import valve_runs
from inspections.models import ValveRun
from inspections.sequence.acts import EFFECTS, FAULTS
from inspections.sequence.types import COMMON, TYPES

pytestmark = pytest.mark.django_db
FILE = Path(__file__).parents[2] / "fixtures" / "published" / "valve_scenarios.json"
ROOT = "/api/v1/valve-model"
GOOD = {
    "id": "T1",
    "system_type": "dry",
    "steps": [{"do": "open", "what": "test_connection"}, {"do": "settle"}],
    "expect": [{"after": 2, "obs": {"valve": "open", "trip_air": {"approx": 18.2, "tol": 0.1}}}],
}


@pytest.fixture
def client(api, ours):
    return api(ours.technician)


def begun(client, key="begin", **given):
    body = {"system_type": "preaction_single_electric", **given}
    answer = client.post(f"{ROOT}/runs/", body, HTTP_IDEMPOTENCY_KEY=key)
    assert answer.status_code == 201, answer.data
    return answer.data


def post(client, run, what, body, key=None):
    extra = {} if what == "diagnose" else {"HTTP_IDEMPOTENCY_KEY": key or f"{what}-{body}"[:90]}
    return client.post(f"{ROOT}/runs/{run['id']}/{what}/", body, **extra)


def test_every_type_is_told_with_what_it_is_made_of_and_what_can_be_done(client):
    types = {one["type"]: one for one in client.get(f"{ROOT}/types/").data}

    assert set(types) == set(TYPES)
    assert client.get(f"{ROOT}/types/dry_qod/").data == types["dry_qod"]
    assert "reset_qod" in types["dry_qod"]["actions"]
    assert "reset_qod" not in types["dry"]["actions"]
    assert "gauge_prime" in types["deluge_electric"]["observables"]
    assert "valve" not in types["dry"]["observables"]
    assert "qod_failed" in types["dry_qod"]["faults"]
    assert "C5" in types["dry"]["cautions"]
    assert types["dry"]["composition"]["valve"] == "dry"
    assert client.get(f"{ROOT}/types/moist/").status_code == 404


def test_every_published_scenario_is_worked_through(client):
    for scenario in json.loads(FILE.read_text("utf-8"))["scenarios"]:
        answer = client.post(f"{ROOT}/evaluate/", scenario)
        assert answer.status_code == 200, answer.data
        assert answer.data["met"], scenario["id"]
        assert len(answer.data["steps"]) == len(scenario["steps"]) + 1


def test_an_expectation_that_is_not_met_says_what_was_seen(client):
    wrong = GOOD | {"expect": [{"after": 2, "obs": {"valve": "closed"}}]}
    told = client.post(f"{ROOT}/evaluate/", wrong).data

    assert not told["met"]
    assert told["expectations"] == [
        {"after": 2, "key": "valve", "expected": "closed", "seen": "open", "met": False}
    ]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"system_type": "moist"}, "system_type: moist is not one of wet_alarm_check"),
        ({"steps": [{"do": "reset_qod"}]}, "do: 'reset_qod' does not exist on this riser; acc"),
        (
            {"steps": [{"do": "open", "what": "manual_release"}]},
            "what: 'manual_release' is not on this riser; accepted: alarm_line_valve",
        ),
        ({"faults": ["qod_failed"]}, "faults: 'qod_failed'; accepted: "),
        ({"initial": {"manual_release": True}}, "initial: manual_release is not on this riser"),
        ({"initial": {"control": -1}}, "initial: control=-1; accepted: control (0 to 100)"),
        ({"config": {"supply": 10**400}}, "supply: 1000"),
        ({"steps": [{"do": ["open"]}]}, "do: ['open']; accepted"),
        ({"steps": [{"do": "settle"}] * 1001}, "steps: 1001; accepted: 1000 at most"),
        ({"faults": "rust"}, "faults: 'rust'; accepted: a list"),
        ({"expect": [{"after": True, "obs": {}}]}, "after: True; accepted: 0 to 2"),
    ],
)
def test_a_wrong_scenario_is_refused_by_field_and_what_is_accepted(client, change, words):
    answer = client.post(f"{ROOT}/evaluate/", GOOD | change)

    assert answer.status_code == 400
    assert words in json.dumps(answer.data)


WORD = st.sampled_from([*COMMON, "do", "what", "pct", "s", "after", "obs", "has", "min", "x"])
JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8)
    | st.sampled_from([*EFFECTS, *FAULTS, *TYPES, "test_connection", "z1"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(WORD, inner, max_size=4),
    max_leaves=12,
)
NEAR = st.fixed_dictionaries(
    {},
    optional={
        "id": JSON | st.just("a"),
        "system_type": JSON | st.sampled_from(list(TYPES)),
        "config": JSON,
        "faults": JSON | st.lists(st.sampled_from(FAULTS), max_size=3),
        "initial": JSON | st.dictionaries(st.sampled_from(["control", "inlet_drain"]), JSON),
        "steps": JSON
        | st.lists(
            st.fixed_dictionaries(
                {"do": st.sampled_from([*EFFECTS, "wait", "settle"])},
                optional={
                    "what": JSON | st.just("inlet_drain"),
                    "pct": JSON,
                    "on": JSON,
                    "s": JSON,
                },
            ),
            max_size=4,
        ),
        "expect": JSON
        | st.lists(st.fixed_dictionaries({"after": st.integers(-1, 3), "obs": JSON}), max_size=2),
    },
)


@settings(suppress_health_check=list(HealthCheck), deadline=None)
@given(change=NEAR)
def test_whatever_is_sent_is_evaluated_or_refused(client, change):
    answer = client.post(f"{ROOT}/evaluate/", GOOD | change)

    assert answer.status_code in (200, 400), answer.data


@settings(suppress_health_check=list(HealthCheck), deadline=None, max_examples=30)
@given(step=JSON, seen=JSON, answers=JSON)
def test_whatever_is_sent_to_a_run_is_taken_or_refused(client, ours, step, seen, answers):
    with ours.scope():
        run = valve_runs.create({"system_type": "dry"}, by=ours.technician)
    run = {"id": run.pk}
    for number, (what, body) in enumerate(
        [("act", step), ("observe", seen), ("diagnose", {"answers": answers})]
    ):
        answer = post(client, run, what, body, key=f"{run['id']}-{number}")
        assert answer.status_code in (200, 400), answer.data


def test_a_run_is_acted_on_seen_and_diagnosed_and_taken_up_again(client):
    run = begun(client, title="Morning practice", faults=["priming_orifice_plugged"])
    assert "priming_orifice_plugged" not in json.dumps(run)
    steps = [
        {"do": "control_valve", "pct": 0},
        {"do": "open", "what": "inlet_drain"},
        {"do": "detector_alarm", "zone": "z1"},
        {"do": "settle"},
        {"do": "detector_clear", "zone": "z1"},
        {"do": "panel_reset"},
        {"do": "settle"},
    ]
    for number, step in enumerate(steps):
        answer = post(client, run, "act", step, key=f"act-{number}")
        assert answer.status_code == 200, answer.data
    shown = answer.data["observation"]
    keys = ("gauge_prime", "drip_release_drain", "solenoid_energised")
    looked = post(client, run, "observe", {key: shown[key] for key in keys})

    assert [one["name"] for one in looked.data["mismatches"]] == ["gauge_prime"]
    causes = [one["causes"] for one in looked.data["diagnosis"]["explanations"]]
    assert ["priming_orifice_plugged"] in causes
    again = client.get(f"{ROOT}/runs/{run['id']}/").data
    assert [entry["act"] for entry in again["log"] if "act" in entry] == steps
    assert again["observation"] == shown
    told = post(client, run, "diagnose", {}).data
    assert told["cause"] == []
    assert told["checks"][0]["look"] == "position:priming_supply_valve"
    post(client, run, "observe", {"position:priming_supply_valve": True})
    assert post(client, run, "diagnose", {}).data["cause"] == ["priming_orifice_plugged"]


def test_the_same_key_acts_once(client):
    run = begun(client)
    for _ in range(2):
        post(client, run, "act", {"do": "panel_reset"}, key="once")

    assert len(client.get(f"{ROOT}/runs/{run['id']}/").data["log"]) == 1


@pytest.mark.parametrize(
    ("what", "body", "words"),
    [
        ("act", {"do": "reset_clapper"}, "do: 'reset_clapper' does not exist on this riser"),
        ("act", {"do": "open"}, "what: None; accepted: a text"),
        ("act", {"do": "control_valve", "pct": 120}, "pct: 120 is not accepted"),
        ("observe", {"valve": "open"}, "seen valve: accepted: panel, lamps"),
        ("observe", {"gauge_prime": "low"}, "seen gauge_prime: 'low'; accepted: a number"),
        ("observe", {"signals": {"like": 1}}, "'like'; accepted: approx"),
        ("diagnose", {"answers": {"nice": True}}, "nice is not asked; accepted: low_points"),
    ],
)
def test_what_does_not_exist_on_a_run_is_refused_by_name(client, what, body, words):
    answer = post(client, begun(client), what, body)

    assert answer.status_code == 400
    assert words in json.dumps(answer.data)


def test_a_run_that_expired_is_gone_and_cleared_away(client, ours):
    run = begun(client)
    with ours.scope():
        ValveRun.objects.update(expires_at=timezone.now() - timedelta(seconds=1))

    assert client.get(f"{ROOT}/runs/{run['id']}/").status_code == 404
    assert post(client, run, "act", {"do": "settle"}).status_code == 404
    begun(client, key="second")
    with ours.scope():
        assert ValveRun.objects.count() == 1
