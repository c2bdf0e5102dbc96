"""What a mismatch at a step of the guide points to."""

import itertools

import pytest

from inspections.sequence.acts import FAULTS
from inspections.sequence.checks import checks_of
from inspections.sequence.diagnosis import OBSERVABLE, POSITION, Record, diagnose
from inspections.sequence.fault_words import FAULT_WORDS, fault_word
from inspections.sequence.guide import done_step, step_now, worked_from
from inspections.sequence.hypotheses import QUESTIONS, SLIPS, hypotheses_of, injected
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.pointing import Done, otherwise, pointed, recorded
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, normal_state
from inspections.sequence.steps import codes_of
from inspections.sequence.types import TYPES, make_config
from inspections.sequence.words import ENGLISH

SINGLE = make_config("preaction_single_electric", {})
SHOWN = [
    (system_type, cause)
    for system_type in TYPES
    for cause in hypotheses_of(make_config(system_type, {}), [])
]


def up_to_the_mismatch(config, cause):
    """The steps of a trip test at a riser with a cause laid in, until one is not as expected."""
    sound = normal_state(config)
    faulty = settle(config, injected(config, settle(config, sound), [cause], 50.0))
    steps = []
    for code in codes_of(config, "trip_test"):
        step = step_now(config, sound, code)
        sound, faulty = done_step(config, sound, step), done_step(config, faulty, step)
        shown = observe(config, faulty)
        steps.append(Done(code, {key: shown[key] for key in step.expected}))
        if otherwise(code, step.expected, steps[-1].seen):
            return steps
    return []


@pytest.mark.parametrize("system_type", TYPES)
def test_at_the_first_mismatch_the_true_cause_is_named_and_never_alone_beside_another(system_type):
    config = make_config(system_type, {})
    named = 0
    for cause in hypotheses_of(config, []):
        steps = up_to_the_mismatch(config, cause)
        if not steps:
            continue
        found = pointed(config, steps, {}, 1)
        assert [cause] in [each.causes for each in found.explanations]
        assert (len(found.cause) == 0) == (len(found.explanations) > 1)
        assert sorted(itertools.chain(*found.groups)) == list(range(len(found.explanations)))
        named += 1
    assert named >= 8


def test_the_next_check_takes_the_likely_causes_apart():
    found = pointed(SINGLE, up_to_the_mismatch(SINGLE, "priming_orifice_plugged"), {})

    assert [each.causes for each in found.explanations] == [
        ["priming_valve_shut"],
        ["priming_orifice_plugged"],
    ]
    assert found.cause == []
    assert (found.checks[0].code, found.checks[0].look) == (
        "position",
        "position:priming_supply_valve",
    )
    assert found.checks[0].outcomes == [(False, [0]), (True, [1])]


def test_what_no_gauge_shows_is_asked_and_its_answer_counts():
    steps = up_to_the_mismatch(SINGLE, "gauge_prime_isolated")

    asked = pointed(SINGLE, steps, {}, 1)
    answered = pointed(SINGLE, steps, {"prime_gauge_moves": True}, 1)

    assert asked.questions == ["prime_gauge_moves"]
    assert answered.explanations == []
    assert answered.questions == []


def test_what_was_sound_until_now_may_have_begun_at_this_step():
    steps = [
        Done("as_found", {"gauge_prime": 100.0, "panel": "normal"}),
        Done("lose_air", {"gauge_prime": 70.0, "signals": ["low_air"]}),
    ]

    found = pointed(SINGLE, steps, {})

    assert found.lately
    assert found.cause == []
    assert [each.causes for each in found.explanations][:2] == [
        ["solenoid_leaking"],
        ["pressure_relief_leaking"],
    ]
    assert not pointed(SINGLE, steps[1:], {}).lately


def test_a_search_that_is_called_off_claims_no_cause():
    steps = up_to_the_mismatch(SINGLE, "solenoid_stuck_closed")
    left = iter([True] * 12)

    found = pointed(SINGLE, steps, {}, 2, lambda: next(left, False))

    assert not found.complete
    assert found.cause == []


@pytest.mark.parametrize(("allowed", "tried"), [(0, 0), (5, 5)])
def test_a_diagnosis_stops_at_the_callers_first_no(allowed, tried):
    left = iter([True] * allowed)
    asked = []

    def go_on():
        asked.append(1)
        return next(left, False)

    found = diagnose(SINGLE, Record([Action("settle")], [{}, {"panel": "alarm"}], {}), 2, go_on)

    assert not found.complete
    assert found.tried == tried
    assert len(asked) == allowed + 1


def test_the_flowing_supply_speaks_only_when_it_is_lower_than_expected():
    expected = {"gauge_supply": 80.0}

    assert otherwise("flow", expected, {"gauge_supply": 92.0}) == []
    assert [one.name for one in otherwise("flow", expected, {"gauge_supply": 60.0})] == [
        "gauge_supply"
    ]
    assert [one.name for one in otherwise("open_fully", expected, {"gauge_supply": 92.0})] == [
        "gauge_supply"
    ]


def test_a_record_is_read_back_as_the_model_names_it():
    assert recorded(
        {
            "gauge_prime_psi": "97.5",
            "signals": "low_air, tamper",
            "trip_seconds": "12",
            "flow_test_connection": "none",
            "gong": False,
        }
    ) == {
        "gauge_prime": 97.5,
        "signals": ["low_air", "tamper"],
        "flow_test_connection": "none",
        "gong": False,
    }
    assert recorded({"signals": "none"}) == {"signals": []}


def test_the_gauges_as_found_are_worked_from_where_they_make_sense():
    seen = {"gauge_supply": 88.0, "gauge_system": 0.0, "gauge_pilot": 30.0}

    assert worked_from("preaction_single_electric", {"turns": 8.0}, seen) == {
        "turns": 8.0,
        "supply": 88.0,
    }


def test_everything_that_is_named_has_words():
    keys = [f"cause.{code}" for code in [*FAULTS, *SLIPS.values()]]
    keys += [f"cause.{cause}" for _, cause in SHOWN]
    keys += [f"ask.{question}" for question in QUESTIONS]
    keys += [f"place.{name}" for name in [*NORMALLY_OPEN, *NORMALLY_SHUT, "control_valve"]]
    keys += [f"seen.{key}" for key in OBSERVABLE]
    for system_type in TYPES:
        for code, _acts, look, _effort in checks_of(make_config(system_type, {})):
            keys.append(f"check.{code}")
            assert look in ("", *OBSERVABLE) or look.startswith(POSITION)

    assert sorted({key for key in keys if key not in FAULT_WORDS | ENGLISH}) == []
    assert fault_word("cause.unheard") == "cause.unheard"
