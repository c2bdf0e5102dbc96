"""Composing a riser, and refusing what no riser can be."""

import pytest

from inspections.sequence.motion import settle
from inspections.sequence.ready import not_normal
from inspections.sequence.state import normal_state
from inspections.sequence.types import COMMON, TYPES, Config, make_config


@pytest.mark.parametrize("system_type", TYPES)
def test_every_type_is_ready_in_its_normal_state_and_stays_so(system_type):
    config = make_config(system_type, {})
    state = normal_state(config)

    assert not_normal(config, state) == []
    assert settle(config, state) == state


def test_every_field_of_a_configuration_can_be_overridden():
    assert set(Config._fields) == {"system_type", *COMMON}


@pytest.mark.parametrize(
    ("system_type", "overrides", "message"),
    [
        ("sprinkly", {}, "system_type: sprinkly is not one of wet_alarm_check"),
        ("dry", {"pressure": 3.0}, "pressure: not a field of the configuration; accepted: valve"),
        ("dry", {"ratio": 0.0}, "ratio: 0.0 is not accepted; accepted: a number, more than 0"),
        ("dry", {"air_set": -1.0}, "air_set: -1.0 is not accepted; accepted: a number, 0"),
        ("dry", {"air_set": "40"}, "air_set: 40 is not accepted"),
        ("dry", {"supv_latching": 1}, "supv_latching: 1 is not accepted; accepted: true, false"),
        ("dry", {"solenoid": "XX"}, "solenoid: XX is not one of NC, NO, latching"),
        ("dry", {"residual": 101.0}, "residual: 101.0 psi is above the supply"),
    ],
)
def test_bad_input_is_refused_by_field_value_and_range(system_type, overrides, message):
    with pytest.raises(ValueError, match=r"accepted|not one of|above") as refused:
        make_config(system_type, overrides)

    assert str(refused.value).startswith(message)


def test_a_low_static_pressure_alone_brings_a_residual_below_it():
    config = make_config("dry", {"supply": 60.0})

    assert 0.0 < config.residual < 60.0
