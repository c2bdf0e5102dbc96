"""Time: exact from event to event, whatever the spans it is asked in."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.sequence.acts import FAULTS, act
from inspections.sequence.motion import advance, at_rest, seconds_until, settle
from inspections.sequence.state import NORMALLY_OPEN, NORMALLY_SHUT, Action, normal_state
from inspections.sequence.types import TYPES, make_config

ACTIONS = st.one_of(
    st.builds(
        Action,
        st.sampled_from(["open", "close"]),
        st.sampled_from([*NORMALLY_OPEN, *NORMALLY_SHUT]),
    ),
    st.builds(lambda pct: Action("control_valve", pct=pct), st.sampled_from([0.0, 20.0, 100.0])),
    st.builds(lambda fault: Action("start_fault", fault=fault), st.sampled_from(FAULTS)),
    st.sampled_from(
        [
            Action("detector_alarm"),
            Action("detector_clear"),
            Action("panel_reset"),
            Action("fuse_sprinkler"),
            Action("reset_clapper"),
            Action("compressor", on=False),
        ]
    ),
)


def worked(system_type, actions):
    config = make_config(system_type, {})
    state = normal_state(config)
    for action in actions:
        state = act(config, state, action)
    return config, state


def rounded(state):
    return {
        name: round(value, 5) if isinstance(value, float) else value
        for name, value in state._asdict().items()
    }


@given(
    st.sampled_from(list(TYPES)),
    st.lists(ACTIONS, max_size=5),
    st.floats(0.5, 90.0),
    st.integers(2, 40),
)
def test_many_short_spans_lead_where_one_long_span_does(system_type, actions, span, parts):
    config, state = worked(system_type, actions)
    stepped = state
    for _ in range(parts):
        stepped = advance(config, stepped, span)

    assert rounded(stepped) == rounded(advance(config, state, span * parts))


@given(st.sampled_from(list(TYPES)), st.lists(ACTIONS, max_size=6))
def test_a_settled_riser_stays_as_it_is(system_type, actions):
    config, state = worked(system_type, actions)

    settled = settle(config, state)

    assert at_rest(config, settled)
    assert advance(config, settled, 1000.0) == settled


def test_the_dry_valve_trips_when_its_air_has_fallen_to_the_inlet_over_the_ratio():
    config, state = worked("dry", [])
    opened = state._replace(hand={**state.hand, "test_connection": True})

    # 40 psi falls at 1 less 0.1 psi/s to 100 / 5.5 psi.
    assert seconds_until(config, opened, "waterflow") == pytest.approx((40 - 100 / 5.5) / 0.9)
    assert settle(config, opened).trip_psi == pytest.approx(100 / 5.5)


def test_a_signal_that_never_comes_has_no_time():
    config, state = worked("dry", [])

    assert seconds_until(config, state, "waterflow") is None


def test_the_piping_is_full_half_a_minute_after_the_trip():
    config, state = worked("preaction_single_electric", [Action("detector_alarm")])

    assert advance(config, state, 28.5).water_frac < 1.0
    assert advance(config, state, 29.5).water_frac == 1.0


def test_a_part_shut_control_valve_shows_only_while_water_flows():
    drained = [Action("open", "system_drain"), Action("settle")]
    config, still = worked("wet_alarm_check", [Action("control_valve", pct=60.0)])
    _, open_wide = worked("wet_alarm_check", drained)
    _, part_shut = worked("wet_alarm_check", [Action("control_valve", pct=60.0), *drained])

    assert still.inlet_psi == config.supply
    assert open_wide.inlet_psi == pytest.approx(config.residual)
    assert part_shut.inlet_psi < 0.9 * config.residual
