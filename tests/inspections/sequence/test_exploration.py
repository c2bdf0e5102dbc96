"""Every settled state that a riser's own acts lead to: what must hold holds in all of them."""

import itertools
from functools import cache

import pytest

from inspections.sequence import constraints, explore, panel, rules
from inspections.sequence.acts import effect
from inspections.sequence.alphabet import faults_of, full_alphabet
from inspections.sequence.guide import done_step, step_now
from inspections.sequence.motion import settle
from inspections.sequence.panel import pipe_psi
from inspections.sequence.ready import not_normal
from inspections.sequence.state import Action, normal_state
from inspections.sequence.steps import codes_of
from inspections.sequence.types import TYPES, make_config

# Depths of `make test`; the whole of each type's states is searched by one of the tests below.
SHALLOW = 3
WIDEST = 2_000


@cache
def searched(system_type, deepest):
    config = make_config(system_type, {})
    return explore.explore(config, explore.own_acts(config), deepest=deepest)


@pytest.mark.parametrize("system_type", TYPES)
def test_nothing_breaks_in_any_settled_state_and_normal_is_reachable_from_each(system_type):
    whole = searched(system_type, None)

    assert whole.closed
    assert whole.states > 50
    assert whole.broken == {}


def budget(most):
    """Go on for so many states."""
    counted = itertools.count()
    return lambda: next(counted) < most


@pytest.mark.parametrize("system_type", TYPES)
def test_with_every_act_event_and_fault_nothing_breaks_near_normal(system_type):
    config = make_config(system_type, {})
    near = explore.explore(
        config, full_alphabet(config), deepest=SHALLOW, go_on=budget(WIDEST // 10)
    )

    assert near.transitions > 1_000
    assert near.broken == {}


@pytest.mark.fuzz
@pytest.mark.parametrize("system_type", TYPES)
def test_with_every_act_event_and_fault_nothing_breaks_six_acts_deep(system_type, request):
    config = make_config(system_type, {})
    most = 20 * WIDEST if request.config.getoption("fuzz") else 20
    deep = explore.explore(config, full_alphabet(config), deepest=6, go_on=budget(most))

    assert deep.broken == {}


@pytest.mark.fuzz
@pytest.mark.parametrize("system_type", TYPES)
def test_under_every_single_fault_prime_and_pressures_keep_their_rules(system_type, request):
    config = make_config(system_type, {})
    most = 10 * WIDEST if request.config.getoption("fuzz") else 20
    for fault in faults_of(config):
        acts = explore.own_acts(config)
        found = explore.explore(config, acts, faults=[fault], go_on=budget(most))
        assert found.broken == {}, fault


@pytest.mark.parametrize("system_type", TYPES)
def test_the_guided_restoration_leads_back_to_normal_from_every_near_state(system_type):
    config = make_config(system_type, {})
    near = {repr(start): start for start in [settle(config, normal_state(config))]}
    for _ in range(2):
        for state in list(near.values()):
            for action in explore.own_acts(config):
                after = settle(config, effect(config, state, action))
                near.setdefault(repr(after), after)
    assert len(near) > 15
    for state in near.values():
        for code in codes_of(config, "restoration"):
            state = done_step(config, state, step_now(config, state, code))
        assert not_normal(config, state) == []


# Broken variants: what each would do to a riser, and the invariant that must name it.
SINGLE, DRY, DOUBLE = "preaction_single_electric", "dry", "preaction_double_electric_electric"
real_vent, real_trip = panel.vent_path_open, rules.trip_point_psi
BROKEN = {
    "the orifice beats the vent": (
        *(rules, "venting", lambda config, state: False),
        *("deluge_electric", "no_prime_while_a_vent_is_open"),
    ),
    "air loss vents the chamber of a single electric riser": (
        *(rules, "vent_path_open"),
        lambda config, state: real_vent(config, state) or pipe_psi(state) <= config.low_air,
        *(SINGLE, "air_loss_alone_never_trips_single_electric"),
    ),
    "the clapper lifts at full air": (
        *(rules, "trip_point_psi", lambda config, state: real_trip(config, state) + 100.0),
        *(DRY, "water_only_after_release"),
    ),
    "the panel forgets its interlock": (
        *(panel, "interlock_met", lambda config, state: True),
        *(DOUBLE, "water_only_after_release"),
    ),
    "nobody warns of water without air": (
        *(constraints, "broken_by_water", lambda config, state, action: []),
        *("dry_qod", "no_accepted_restoration_act_lets_water_in"),
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_variant_of_the_model_is_caught(name, monkeypatch):
    module, rule, variant, system_type, invariant = BROKEN[name]
    config = make_config(system_type, {})
    acts = explore.own_acts(config)
    monkeypatch.setattr(module, rule, variant)

    assert invariant in explore.explore(config, acts, go_on=budget(WIDEST)).broken


def test_a_clapper_that_cannot_be_reset_makes_normal_unreachable():
    config = make_config(DRY, {})

    def stuck(config, state, action):
        return state if action.kind == "reset_clapper" else effect(config, state, action)

    whole = explore.explore(config, explore.own_acts(config), step=stuck)

    assert whole.closed
    assert "normal_is_reachable" in whole.broken


def test_the_search_ends_when_it_is_called_off():
    config = make_config(SINGLE, {})
    found = explore.explore(config, [Action("detector_alarm")], go_on=lambda: False)

    assert not found.closed
    assert found.transitions == 0
