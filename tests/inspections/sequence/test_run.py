"""Scenario files: what is accepted, and how a wrong one is refused."""

import pytest

from inspections.sequence.run import ScenarioError, run_file, run_scenario

GOOD = {
    "id": "T1",
    "system_type": "dry",
    "steps": [{"do": "open", "what": "test_connection"}, {"do": "settle"}],
    "expect": [{"after": 2, "obs": {"valve": "open", "trip_air": {"approx": 18.2, "tol": 0.1}}}],
}


def test_a_mismatch_names_place_expectation_and_what_was_seen():
    wrong = GOOD | {"expect": [{"after": 2, "obs": {"valve": "closed", "qod": {"min": 3}}}]}

    assert run_scenario(GOOD) == []
    assert run_scenario(wrong) == [
        "after 2 valve: expected closed, seen 'open'",
        "after 2 qod: expected {'min': 3}, seen None",
    ]


def step(**fields):
    return {"steps": [fields]}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"id": 3}, "id: 3; accepted: a text"),
        ({"system_type": "moist"}, "T1 system_type: moist is not one of"),
        ({"config": {"ratio": 0}}, "T1 ratio: 0 is not accepted"),
        ({"faults": ["rust"]}, "T1 faults: 'rust'; accepted: solenoid_leaking"),
        ({"initial": {"control": 120}}, "T1 initial: control=120; accepted: control"),
        ({"initial": {"door": True}}, "T1 initial: door=True"),
        (step(do="dance"), "T1 step 1 do: 'dance'; accepted: open"),
        (step(do="open"), "T1 step 1 what: None; accepted"),
        (step(do="open", what="door"), "T1 step 1: what: door is not a hand valve"),
        (step(do="wait", s=-1), "T1 step 1 s: -1; accepted: a number, 0 to 1000000"),
        (step(do="control_valve", pct=101), "T1 step 1: pct: 101 is not accepted"),
        (step(do="control_valve", pct=9, rate="mad"), "T1 step 1 rate: 'mad'"),
        (step(do="settle", colour="red"), "T1 step 1: ['colour']; accepted"),
        (step(do="start_fault", fault="rust"), "T1 step 1: fault: rust is not a fault"),
        ({"expect": [{"after": 9, "obs": {}}]}, "T1 after: 9; accepted: 0 to 2"),
        ({"expect": [{"after": 0, "obs": {"smell": 1}}]}, "T1 obs: 'smell'; accepted"),
        (
            {"expect": [{"after": 0, "obs": {"valve": {"like": 1}}}]},
            "T1 after 0 valve: 'like'; accepted",
        ),
        ({"expect": [{"after": 0, "obs": {"qod": {"min": "x"}}}]}, "T1 after 0 qod: min: 'x'"),
        ({"expect": [{"after": 0, "obs": 7}]}, "T1 after 0 obs: 7; accepted: an object"),
        ({"steps": "open"}, "T1 steps: accepted: a list of objects"),
    ],
)
def test_a_wrong_scenario_is_refused_by_place_value_and_range(change, message):
    with pytest.raises(ScenarioError) as refused:
        run_scenario(GOOD | change)

    assert str(refused.value).startswith(message)


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({"schema": "other"}, "schema: 'other'; accepted: 'valve-scenarios/1'"),
        ({"schema": "valve-scenarios/1", "scenarios": 3}, "scenarios: accepted: a list"),
        ({"schema": "valve-scenarios/1", "scenarios": [GOOD, GOOD]}, "id: T1 more than once"),
    ],
)
def test_a_wrong_file_is_refused(document, message):
    with pytest.raises(ScenarioError) as refused:
        run_file(document)

    assert str(refused.value).startswith(message)
