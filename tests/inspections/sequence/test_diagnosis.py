"""Diagnosis: what contradicts an observation is never named, and what is left is told apart."""

import functools
import itertools
import random

import pytest

from inspections.sequence.acts import FAULTS, act, fault_fits
from inspections.sequence.checks import ambiguity_groups, next_checks
from inspections.sequence.diagnosis import OBSERVABLE, Record, diagnose, explained
from inspections.sequence.hypotheses import hypotheses_of, injected
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import TYPES, make_config

OPEN_TEST = [Action("open", what="test_connection"), Action("settle")]
DETECTION = [Action("detector_alarm"), Action("settle")]


def seen_at(config, state):
    return {key: value for key, value in observe(config, state).items() if key in OBSERVABLE}


def recorded(config, causes, acts):
    state = settle(config, injected(config, settle(config, normal_state(config)), causes, 30.0))
    state = state._replace(hazards=[], trip_psi=None)
    seen = [seen_at(config, state)]
    for action in acts:
        state = act(config, state, action)
        seen.append(seen_at(config, state))
    return Record(acts, seen, {})


def causes_of(diagnosis):
    return [each.causes for each in diagnosis.explanations]


def acts_for(config):
    return [*OPEN_TEST, *DETECTION] if config.has_detection else OPEN_TEST


@pytest.mark.parametrize("system_type", TYPES)
def test_every_single_fault_laid_in_is_among_the_explanations(system_type):
    config = make_config(system_type, {})
    for fault in FAULTS:
        if fault_fits(config, fault):
            record = recorded(config, [fault], acts_for(config))
            assert [fault] in causes_of(diagnose(config, record)), fault


@pytest.mark.parametrize("system_type", TYPES)
def test_a_sound_riser_is_named_sound_first(system_type):
    config = make_config(system_type, {})
    found = diagnose(config, recorded(config, [], acts_for(config)))

    assert found.explanations[0].causes == []


def test_no_explanation_contradicts_an_observation():
    rng = random.Random(6)
    for _ in range(30):
        config = make_config(rng.choice(list(TYPES)), {})
        causes = rng.sample(hypotheses_of(config, []), 2)
        record = recorded(config, causes, acts_for(config))
        found = diagnose(config, record, 1)
        sound = settle(config, normal_state(config))
        for each in found.explanations:
            assert explained(config, sound, record, each.causes), (causes, each.causes)


def test_two_faults_at_once_are_found_as_a_pair():
    config = make_config("preaction_single_electric", {})
    both = ["alarm_line_blocked", "tamper_switch_failed"]
    acts = [Action("control_valve", pct=50.0), *DETECTION]
    record = recorded(config, both, acts)

    assert diagnose(config, record, 1).explanations == []
    assert both in [sorted(each.causes) for each in diagnose(config, record).explanations]


def test_a_slow_leak_and_a_dead_air_supply_are_found_together():
    config = make_config("dry", {})
    seen = [{}, {"gauge_system": {"approx": 27.5, "tol": 2}, "signals": ["low_air"]}]
    found = diagnose(config, Record([Action("wait", s=250.0)], seen, {}))

    assert ["air_leak_slow", "compressor_failed"] in causes_of(found)
    assert found.cause == []


@pytest.mark.parametrize(
    ("system_type", "acts", "seen", "group", "check"),
    [
        (
            "wet_alarm_check",
            OPEN_TEST,
            {"flow_test_connection": "water", "signals": [], "gong": False},
            {"alarm_line_valve_closed", "alarm_line_blocked"},
            ["position:alarm_line_valve", "alarm_test"],
        ),
        (
            "preaction_single_electric",
            [
                *(Action("control_valve", pct=0.0), *DETECTION),
                *(Action("detector_clear"), Action("panel_reset"), Action("settle")),
            ],
            {"gauge_prime": 0, "drip_release_drain": False, "solenoid_energised": False},
            {"priming_valve_shut", "priming_orifice_plugged"},
            ["position:priming_supply_valve"],
        ),
        (
            "dry_qod",
            [Action("fuse_sprinkler"), Action("settle")],
            {"qod": "set", "trip_air": {"approx": 18.2, "tol": 1.5}},
            {"qod_isolated", "qod_failed"},
            ["position:qod_isolation_valve"],
        ),
    ],
)
def test_an_ambiguity_stays_two_and_the_next_check_separates_it(
    system_type, acts, seen, group, check
):
    config = make_config(system_type, {})
    record = Record(acts, [{"gauge_system": 40.0 if "dry" in system_type else None}], {})
    record.seen.extend([{}] * (len(acts) - 1) + [seen])
    found = diagnose(config, record)

    assert {each.causes[0] for each in found.explanations} == group
    assert found.cause == []
    checks = next_checks(config, found.explanations, record.seen[-1])
    named = [one.look if one.code == "position" else one.code for one in checks]
    assert named[: len(check)] == check
    assert ambiguity_groups(config, found.explanations) == [[0], [1]]


def test_an_answered_question_decides_what_no_gauge_shows():
    config = make_config("dry", {})
    record = recorded(config, ["low_point_frozen"], [Action("wait", s=60.0)])

    unasked = diagnose(config, record)
    well = diagnose(config, record._replace(answers={"low_points_ran_clear": True}))
    badly = diagnose(config, record._replace(answers={"low_points_ran_clear": False}))

    assert "low_points_ran_clear" in unasked.questions
    assert ["low_point_frozen"] in causes_of(unasked)
    assert ["low_point_frozen"] not in causes_of(well)
    assert badly.cause == ["low_point_frozen"]


def test_an_unsafe_check_is_not_offered():
    config = make_config("preaction_single_electric", {})
    for one, other in itertools.combinations(hypotheses_of(config, []), 2):
        left = [
            explained(config, settle(config, normal_state(config)), Record([], [{}], {}), [cause])
            for cause in (one, other)
        ]
        explanations = [each for found in left for each in found]
        for check in next_checks(config, explanations, {}):
            for each in explanations:
                state = each.state
                for action in check.acts:
                    state = act(config, state, action)
                assert state.water_frac <= each.state.water_frac, (check.code, each.causes)


def test_the_search_ends_when_it_is_called_off():
    config = make_config("dry", {})
    asked = iter([True] * 5 + [False] * 1000)
    found = diagnose(config, recorded(config, [], OPEN_TEST), 2, lambda: next(asked))

    assert not found.complete
    assert found.tried == 5


def test_a_search_that_is_called_off_at_the_first_fit_claims_no_cause():
    config = make_config("dry", {})
    for allowed in range(40):
        go_on = functools.partial(next, iter([True] * allowed), False)
        found = diagnose(config, recorded(config, [], OPEN_TEST), 2, go_on)
        if len(found.explanations) == 1:
            break

    assert len(found.explanations) == 1
    assert not found.complete
    assert found.cause == []


@pytest.mark.parametrize(
    ("record", "message"),
    [
        (Record([], [], {}), "seen: 0 entries for 0 acts"),
        (Record([], [{"valve": "open"}], {}), "seen: valve cannot be observed here; accepted: pan"),
        (Record([], [{"position:door": True}], {}), "seen: position:door cannot be observed"),
        (Record([], [{}], {"is_it_nice": True}), "answers: is_it_nice is not asked; accepted: low"),
    ],
)
def test_a_record_that_cannot_be_is_refused(record, message):
    with pytest.raises(ValueError, match="accepted") as refused:
        diagnose(make_config("dry", {}), record)

    assert str(refused.value).startswith(message)
