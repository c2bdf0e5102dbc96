"""The guide: safe orders only, warnings before unsafe acts, words for everything it says."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.sequence.acts import EFFECTS, act, hazards_of
from inspections.sequence.constraints import constraints_of, take, warnings_before
from inspections.sequence.guide import (
    compare,
    done_step,
    guide,
    next_steps,
    refusal_of,
    step_now,
)
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.ready import end_state, is_ready, leaving, not_normal, unproven
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, normal_state
from inspections.sequence.steps import ROWS, codes_of, tasks_of
from inspections.sequence.types import TYPES, make_config
from inspections.sequence.words import ENGLISH, word

SINGLE = make_config("preaction_single_electric", {})
VARIANTS = [
    {},
    {"solenoid": "latching", "zones_required": 2},
    {"solenoid": "NO"},
    {"reclose": "self_reclosing"},
    {"prime_source": "downstream"},
]
TASKS = [
    (system_type, overrides, task)
    for system_type, overrides in product(TYPES, VARIANTS)
    for task in tasks_of(make_config(system_type, overrides))
]


def worked(config, *codes):
    state = normal_state(config)
    for code in codes:
        state = done_step(config, state, step_now(config, state, code))
    return state


def expected_of(code, task="trip_test", config=SINGLE):
    return next(step for step in guide(config, task) if step.code == code).expected


@pytest.mark.parametrize(("system_type", "overrides", "task"), TASKS)
@pytest.mark.parametrize("pick", [0, -1])
def test_whatever_proposed_step_is_taken_the_task_ends_in_a_ready_riser(
    system_type, overrides, task, pick
):
    config = make_config(system_type, overrides)
    state, done = normal_state(config), []

    while proposed := next_steps(config, task, state, done):
        state = done_step(config, state, proposed[pick])
        done.append(proposed[pick].code)

    assert sorted(done) == sorted(codes_of(config, task))
    assert not_normal(config, state) == []
    assert state.hazards == []


def test_the_trip_test_of_a_single_interlock_riser_proves_each_event_in_its_order():
    codes = codes_of(SINGLE, "trip_test")

    assert codes[:6] == ["as_found", "permissions", "lose_air", "restore_air", "detection", "flow"]
    assert codes.index("air") < codes.index("reset_panel") < codes.index("crack_water")
    assert codes.index("open_fully") < codes.index("final_reset") < codes.index("off_test")


def test_lost_air_alone_gives_a_supervisory_signal_and_no_water():
    assert expected_of("lose_air") == {
        "panel": "supervisory",
        "signals": ["low_air"],
        "gauge_system": 0.0,
        "flow_test_connection": "air",
        "gauge_prime": 100.0,
        "water_in_piping": False,
    }


def test_detection_trips_and_water_reaches_the_test_connection():
    tripped = expected_of("detection")

    assert tripped["gauge_prime"] == 0.0
    assert tripped["water_in_piping"]
    assert tripped["panel"] == "alarm"
    assert {"detector:z1", "waterflow"} <= set(tripped["signals"])
    assert expected_of("flow")["flow_test_connection"] == "water"


def test_the_readings_as_found_come_before_anything_is_touched():
    first = guide(SINGLE, "trip_test")[0]

    assert first.acts == []
    assert {reading.name: reading.expected for reading in first.readings} == {
        "supply_gauge": 100.0,
        "system_gauge": 10.0,
        "prime_gauge": 100.0,
    }


@pytest.mark.parametrize("system_type", TYPES)
def test_every_test_begins_with_what_is_found_and_ends_with_everybody_told(system_type):
    config = make_config(system_type, {})
    for task in tasks_of(config):
        codes = codes_of(config, task)
        assert codes[0] == ("confirm_may_shut" if task == "restoration" else "as_found")
        assert len(codes) == len(set(codes))
        assert "tell_owner" in codes
        if task != "restoration":
            assert guide(config, task)[0].acts == []


@pytest.mark.parametrize("system_type", TYPES)
def test_each_type_is_tested_with_flow_and_a_dry_one_partly_too(system_type):
    config = make_config(system_type, {})
    tasks = {task: guide(config, task) for task in tasks_of(config)}
    flowed = [
        step
        for step in tasks["trip_test"]
        if "water" in (step.expected.get(key) for key in WATER_OUT)
    ]

    assert flowed
    if system_type.startswith("dry"):
        partial = [step.code for step in tasks["partial_trip_test"]]
        assert partial.index("throttle") < partial.index("air_loss_trip")
        assert (
            partial.index("reset_clapper") < partial.index("priming_water") < partial.index("air")
        )
        assert next(s for s in tasks["partial_trip_test"] if s.code == "priming_water").items == [8]


WATER_OUT = ["flow_test_connection", "sprinkler_discharge"]


@pytest.mark.parametrize(
    "system_type", [each for each in TYPES if each.startswith(("deluge", "preaction"))]
)
def test_without_flow_the_release_is_proven_and_no_water_follows(system_type):
    config = make_config(system_type, {})
    steps = {step.code: step for step in guide(config, "no_flow_trip_test")}
    codes = list(steps)
    released = steps["release_water_shut"].expected

    assert codes.index("shut_control") < codes.index("drain_below")
    assert (
        codes.index("drain_below") < codes.index("release_water_shut") < codes.index("open_drains")
    )
    assert released["gauge_prime"] == 0.0
    assert released["water_in_piping"] is False
    assert released.get("solenoid_energised", True)
    assert steps["drain_below"].expected["gauge_supply"] == 0.0


def test_without_flow_the_alarm_of_a_wet_riser_is_proven_through_its_trim():
    config = make_config("wet_alarm_check", {})
    alarm = expected_of("prove_alarm", "no_flow_alarm_test", config)

    assert alarm["panel"] == "alarm"
    assert "waterflow" in alarm["signals"]
    assert observe(config, worked(config, "prove_alarm"))["flow_test_connection"] == "none"


@pytest.mark.parametrize(
    "system_type", ["preaction_double_electric_electric", "preaction_double_electric_pneumatic"]
)
def test_each_interlock_is_tried_alone_and_then_both_together(system_type):
    config = make_config(system_type, {})
    steps = guide(config, "trip_test")
    codes = [step.code for step in steps]
    seen = {step.code: step.expected for step in steps}
    alone = ["detection_alone", "detection_cleared", "lose_air"]

    assert codes[2:7] == [*alone, "detection", "flow"]
    assert not any(seen[code].get("water_in_piping") for code in alone)
    assert seen["detection"]["water_in_piping"] is True
    assert seen["flow"]["flow_test_connection"] == "water"


def test_a_cross_zoned_riser_proves_first_that_one_zone_releases_nothing():
    config = make_config("preaction_single_electric", {"zones_required": 2})
    alone = expected_of("first_zone", config=config)

    assert alone["panel"] == "alarm"
    assert not alone["solenoid_energised"]
    assert alone["gauge_prime"] == 100.0


TRIPPED_AND_DRAINED = ["detection", "shut_control", "open_drains"]


@pytest.mark.parametrize(
    ("system_type", "before", "action", "code", "hazard"),
    [
        ("dry", ["air_loss_trip"], Action("reset_clapper"), "C1", "reset_under_pressure"),
        (
            "dry",
            ["air_loss_trip", "shut_control"],
            Action("reset_clapper"),
            "C2",
            "",
        ),
        (
            "dry",
            ["air_loss_trip", "shut_control", "open_drains", "stop_air"],
            Action("open", "air_supply_valve"),
            "C3",
            "",
        ),
        (
            "dry",
            ["shut_control", "open_drains", "stop_air"],
            Action("open", "air_supply_valve"),
            "C4",
            "",
        ),
        (
            "dry",
            ["shut_control", "open_drains"],
            Action("control_valve", pct=10.0),
            "C5",
            "water_into_piping",
        ),
        (
            "preaction_non_interlock",
            ["shut_control", "open_drains"],
            Action("panel_reset"),
            "C6",
            "",
        ),
        (
            "preaction_double_electric_electric",
            ["shut_control", "open_drains"],
            Action("control_valve", pct=10.0),
            "C7",
            "",
        ),
        ("preaction_single_electric", TRIPPED_AND_DRAINED, Action("panel_reset"), "C8", ""),
        (
            "preaction_single_electric",
            [*TRIPPED_AND_DRAINED, "clear_cause"],
            Action("control_valve", pct=10.0),
            "C9",
            "water_into_piping",
        ),
        (
            "deluge_hydraulic",
            ["operate_pilot", "shut_control", "open_drains"],
            Action("control_valve", pct=10.0),
            "C10",
            "water_into_piping",
        ),
        (
            "preaction_single_electric",
            [*TRIPPED_AND_DRAINED, "clear_cause"],
            Action("control_valve", pct=10.0),
            "C11",
            "",
        ),
        (
            "preaction_single_electric",
            ["shut_control", "open_drains"],
            Action("control_valve", pct=100.0, rate="fast"),
            "C12",
            "water_hammer",
        ),
        (
            "dry_qod",
            ["air_loss_trip", "shut_control", "open_drains", "reset_clapper", "reset_qod"],
            Action("open", "qod_isolation_valve"),
            "C14",
            "",
        ),
        (
            "preaction_single_electric",
            [*TRIPPED_AND_DRAINED, "stop_air", "clear_cause", "close_outlets"],
            Action("open", "air_supply_valve"),
            "C15",
            "",
        ),
        ("preaction_single_electric", ["crack_water"], Action("panel_reset"), "C19", ""),
    ],
)
def test_an_act_out_of_order_is_warned_of_by_its_rule(system_type, before, action, code, hazard):
    config = make_config(system_type, {})
    state = worked(config, *before)

    found = {(each.code, each.hazard) for each in warnings_before(config, state, action)}

    assert code in {each for each, _ in found}
    assert not hazard or hazard in {each for _, each in found}


def test_shutting_the_drain_under_a_valve_that_would_lift_is_warned_of():
    state = worked(SINGLE, *TRIPPED_AND_DRAINED)
    state = act(SINGLE, state, Action("control_valve", pct=10.0))

    found = warnings_before(SINGLE, state, Action("close", "inlet_drain"))

    assert [each.code for each in found] == ["C13"]


def test_closing_the_disconnect_on_a_latched_release_is_warned_of():
    state = act(SINGLE, normal_state(SINGLE), Action("release_disconnect", on=True))
    state = act(SINGLE, state, Action("detector_alarm"))

    found = warnings_before(SINGLE, state, Action("release_disconnect", on=False))

    assert [(each.code, each.hazard) for each in found] == [("C18", "release_reenergised")]


def test_an_act_done_against_a_warning_is_done_and_flagged():
    state = worked(SINGLE, *TRIPPED_AND_DRAINED, "clear_cause", "close_outlets")

    taken = take(SINGLE, state, Action("control_valve", pct=100.0, rate="fast"))

    assert {"C9", "C12"} <= {each.code for each in taken.warnings}
    assert taken.state.hazards == ["water_hammer", "water_into_piping"]
    assert settle(SINGLE, taken.state).water_frac == 1.0


def test_water_is_never_proposed_before_the_panel_is_reset():
    done = ["confirm_may_shut", *TRIPPED_AND_DRAINED, "clear_cause", "stop_air"]
    state = worked(SINGLE, *done)

    refusal = refusal_of(SINGLE, "trip_test", state, done, "crack_water")

    assert "crack_water" not in [step.code for step in next_steps(SINGLE, "trip_test", state, done)]
    assert "reset_panel" in refusal.missing
    assert "C9" in [each.code for each in refusal.warnings]


ANY_ACTION = st.builds(
    Action,
    st.sampled_from([*EFFECTS, "settle"]),
    what=st.sampled_from([*NORMALLY_OPEN, *NORMALLY_SHUT]),
    pct=st.sampled_from([0.0, 10.0, 100.0]),
    rate=st.sampled_from(["slow", "fast"]),
    on=st.booleans(),
    psi=st.sampled_from([0.0, 100.0, 250.0]),
    fault=st.just("air_leak_slow"),
)


@given(st.sampled_from(list(TYPES)), st.lists(ANY_ACTION, max_size=8))
def test_no_hazard_comes_without_a_warning_before_it(system_type, actions):
    config = make_config(system_type, {})
    state = normal_state(config)
    for action in actions:
        warned = {each.hazard for each in warnings_before(config, state, action)}
        assert set(hazards_of(config, state, action)) <= warned
        state = act(config, state, action)


@pytest.mark.parametrize("fault", ["priming_orifice_plugged", "solenoid_stuck_closed"])
def test_a_fault_shows_as_a_named_mismatch_at_the_step_that_it_spoils(fault):
    state = normal_state(SINGLE)
    faulty = settle(SINGLE, state._replace(faults=[fault]))
    named = {}
    for code in codes_of(SINGLE, "trip_test"):
        step = step_now(SINGLE, state, code)
        state, faulty = done_step(SINGLE, state, step), done_step(SINGLE, faulty, step)
        wrong = compare(step.expected, observe(SINGLE, faulty))
        named[code] = [each.name for each in wrong]

    spoiled = next(code for code, names in named.items() if names)
    assert (
        spoiled
        == {
            "priming_orifice_plugged": "reset_panel",
            "solenoid_stuck_closed": "detection",
        }[fault]
    )
    assert "gauge_prime" in named[spoiled]


def test_what_was_not_looked_at_counts_neither_way():
    assert compare({"gauge_prime": 100.0, "gong": True}, {"gauge_prime": None}) == []


def test_a_gauge_agrees_within_three_psi_and_a_signal_is_named_by_itself():
    expected = {"gauge_prime": 100.0, "signals": ["low_air", "tamper"]}

    assert compare(expected, {"gauge_prime": 97.0, "signals": ["tamper", "low_air"]}) == []
    assert [
        (each.name, each.seen)
        for each in compare(expected, {"gauge_prime": 96.9, "signals": ["low_air", "waterflow"]})
    ] == [("gauge_prime", 96.9), ("tamper", False), ("waterflow", True)]


def test_the_end_state_is_proven_by_model_and_person_together():
    state = normal_state(SINGLE)
    nobody = {item.code: item.standing for item in end_state(SINGLE, state, [])}
    everybody = end_state(SINGLE, state, list(range(1, 21)))

    assert nobody["supply_gauge"] == "proven"
    assert nobody["control_valve"] == "not_proven"
    assert nobody["off_test"] == "not_proven"
    assert nobody["pilot_air"] == nobody["quick_opening_device"] == "not_fitted"
    assert unproven(everybody) == []


def test_what_the_model_sees_failing_stays_unproven_whoever_attests_it():
    state = worked(SINGLE, "detection")
    items = {item.code: item for item in end_state(SINGLE, state, list(range(1, 21)))}

    assert not is_ready(SINGLE, state)
    assert leaving(SINGLE, state) == ["left_impaired"]
    assert leaving(SINGLE, normal_state(SINGLE)) == []
    assert items["valve_set"].standing == "not_proven"
    assert items["valve_set"].failing == ["valve_not_set"]
    assert items["panel_normal"].failing == ["panel"]


@pytest.mark.parametrize("system_type", TYPES)
def test_every_failing_code_speaks_against_an_item_of_the_end_state(system_type):
    config = make_config(system_type, {})
    state = normal_state(config)
    for name in [*NORMALLY_OPEN, *NORMALLY_SHUT]:
        turned = settle(config, act(config, state, Action("open", name)))
        turned = settle(config, act(config, turned, Action("control_valve", pct=0.0)))
        spoken = {
            code for item in end_state(config, turned, list(range(1, 21))) for code in item.failing
        }
        assert set(not_normal(config, turned)) <= spoken


def test_a_task_that_the_riser_has_not_is_refused():
    with pytest.raises(ValueError, match="task: paint is not one of trip_test, no_flow"):
        guide(SINGLE, "paint")


@pytest.mark.parametrize("system_type", TYPES)
def test_everything_the_guide_says_has_words(system_type):
    config = make_config(system_type, {"zones_required": 2, "solenoid": "latching"})
    keys = [f"rule.{code}" for code in constraints_of(config)]
    for task in tasks_of(config):
        keys.append(f"task.{task}")
        for step in guide(config, task):
            keys += [f"step.{step.code}", f"do.{step.code}", f"phase.{step.phase}"]
            keys += [f"caution.{step.caution}"] if step.caution else []
            keys += [f"timer.{name}" for name in step.timers]
            keys += [f"reading.{reading.name}" for reading in step.readings]
            keys += [f"seen.{name}" for name in step.expected]
    items = end_state(config, normal_state(config), [])
    keys += [f"item.{item.code}" for item in items]

    assert sorted({key for key in keys if key not in ENGLISH}) == []


def test_every_step_of_the_table_is_used_by_some_task():
    used = {
        code
        for system_type, overrides, task in TASKS
        for code in codes_of(make_config(system_type, overrides), task)
    }

    assert used == set(ROWS)


def test_a_word_that_a_language_lacks_is_given_in_english():
    assert word("es", "signal.tamper") == word("en", "signal.tamper") == "Valve tamper"
    assert word("en", "signal.unheard") == "signal.unheard"
