"""What the releasing panel holds, drops and releases."""

import pytest

from inspections.sequence.acts import act
from inspections.sequence.motion import settle
from inspections.sequence.observe import observe
from inspections.sequence.panel import energised, solenoid_open
from inspections.sequence.state import Action, normal_state
from inspections.sequence.types import make_config

SINGLE = "preaction_single_electric"


def worked(actions, system_type=SINGLE, **overrides):
    config = make_config(system_type, overrides)
    state = settle(config, normal_state(config))
    for action in actions:
        state = act(config, state, action)
    return config, state


def test_clearing_the_detector_does_not_drop_the_release():
    config, state = worked([Action("detector_alarm"), Action("detector_clear")])

    assert energised(config, state)


def test_silence_does_nothing_but_silence():
    config, alarmed = worked([Action("detector_alarm")])

    assert observe(config, act(config, alarmed, Action("panel_silence")))["panel"] == "alarm"


@pytest.mark.parametrize("event", ["detector_alarm", "pull_station"])
def test_reset_reads_a_live_input_again_in_the_same_instant(event):
    config, state = worked([Action(event), Action("panel_reset")])

    assert energised(config, state)


def test_reset_with_everything_clear_drops_the_release():
    config, state = worked(
        [Action("pull_station"), Action("restore_pull_station"), Action("panel_reset")]
    )

    assert not energised(config, state)


def test_flowing_water_latches_the_waterflow_again_after_reset():
    config, state = worked(
        [Action("open", "test_connection"), Action("settle"), Action("panel_reset")],
        system_type="wet_alarm_check",
    )

    assert "waterflow" not in observe(config, state)["signals"] or state.flow_seconds >= 20
    assert "waterflow" in observe(config, settle(config, state))["signals"]


def test_closing_the_disconnect_on_a_latched_release_energises_the_solenoid():
    config, held = worked(
        [
            Action("release_disconnect", on=True),
            Action("detector_alarm"),
            Action("detector_clear"),
        ]
    )

    closed = act(config, held, Action("release_disconnect", on=False))

    assert "release_disconnected" in observe(config, held)["signals"]
    assert not energised(config, held)
    assert energised(config, closed)
    assert closed.hazards == ["release_reenergised"]


def test_a_normally_open_solenoid_releases_when_its_circuit_opens():
    config, state = worked([Action("start_fault", fault="solenoid_circuit_open")], solenoid="NO")

    assert solenoid_open(config, state)
    assert state.valve_open


def test_a_normally_open_solenoid_holds_in_service():
    config, state = worked([], solenoid="NO")

    assert not solenoid_open(config, state)
    assert observe(config, state)["ready"]


@pytest.mark.parametrize(
    ("turns", "pct", "signalled"),
    [(10, 81.0, False), (10, 80.0, True), (40, 96.0, False), (40, 95.0, True)],
)
def test_tamper_comes_after_two_turns_or_a_fifth_of_the_travel(turns, pct, signalled):
    """Two revolutions or one-fifth of the travel: UFGS 13853N and NFPA 72 test methods."""
    config, state = worked([Action("control_valve", pct=pct)], turns=turns)

    assert ("tamper" in observe(config, state)["signals"]) is signalled


def test_a_supervisory_signal_restores_itself_where_the_panel_is_set_so():
    actions = [
        Action("open", "test_connection"),
        Action("settle"),
        Action("close", "test_connection"),
        Action("settle"),
    ]

    assert observe(*worked(actions))["panel"] == "supervisory"
    assert observe(*worked(actions, supv_latching=False))["panel"] == "normal"
