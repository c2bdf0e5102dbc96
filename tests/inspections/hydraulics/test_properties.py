"""What holds for every input: more flow, less pressure; what is impossible is refused."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.hydraulics import dry, friction, supply, volume
from inspections.hydraulics.constants import FOOT, GPM, INCH, PSI
from inspections.hydraulics.index import COMPUTATIONS, InputRefused, evaluate, schema
from inspections.hydraulics.riser import MainDrainTest, main_drain_change, nozzle_pitot_flow

AROUND = dry.Surroundings(temperature_k=288.7, atmosphere_pa=101325.0, gas="air")
ORIFICE = dry.Orifice(bore_m=0.5 * INCH, coefficient=0.8)
flows = st.floats(1.0 * GPM, 5000.0 * GPM)


@given(flows, flows, st.floats(40.0, 150.0), st.floats(0.05, 0.95))
def test_more_flow_never_raises_the_pressure_that_a_supply_keeps(one, two, static, share):
    less, more = sorted((one, two))
    kept = [
        supply.pressure_at_flow(static * PSI, share * static * PSI, 1000 * GPM, at).values[
            "pressure"
        ]
        for at in (less, more)
    ]
    assert kept[1] <= kept[0]


@given(st.floats(40.0, 150.0), st.floats(0.1, 0.9), flows, st.floats(0.05, 0.95))
def test_a_projected_flow_leaves_the_residual_it_was_projected_to(static, share, flow, target):
    test = (static * PSI, share * static * PSI, flow)
    wanted = target * static * PSI
    projected = supply.project_flow_to_residual(*test, wanted).values["flow"]
    left = supply.pressure_at_flow(*test, projected).values["pressure"]
    # 0.54 stands for 1/1.85 = 0.5405.
    assert left == pytest.approx(wanted, abs=0.005 * static * PSI)


@given(flows, flows, st.floats(80.0, 150.0), st.floats(1 * INCH, 12 * INCH))
def test_friction_grows_with_the_flow_and_turns_with_it(one, two, c_factor, bore):
    less, more = (
        friction.hazen_williams_pressure_loss(flow, c_factor, bore, 100 * FOOT)
        for flow in sorted((one, two))
    )
    assert 0.0 < less <= more
    assert friction.hazen_williams_pressure_loss(-one, c_factor, bore, 1.0) == (
        -friction.hazen_williams_pressure_loss(one, c_factor, bore, 1.0)
    )


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_more_pitot_pressure_never_lowers_the_flow(one, two):
    less, more = (nozzle_pitot_flow(p * PSI, 2.5 * INCH, 0.9, 1.0) for p in sorted((one, two)))
    assert less <= more


@given(st.floats(5.0, 60.0), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_a_lower_trip_pressure_takes_longer_and_isothermal_is_the_longest(start, one, two):
    low, high = sorted((one, two))
    times = [
        dry.dry_valve_trip_time(
            1.9, start * PSI, share * start * PSI, ORIFICE, AROUND, "isothermal"
        )
        for share in (low, high)
    ]
    assert times[0].values["time"] >= times[1].values["time"]
    for answer in times:
        assert answer.values["isothermal"] >= answer.values["adiabatic"]


@given(st.floats(0.1, 100.0), st.floats(200.0, 350.0), st.floats(200.0, 350.0))
def test_air_pressure_comes_back_with_its_temperature(pressure, one, two):
    moved = dry.air_pressure_at_temperature(pressure * PSI, one, two, 101325.0)
    back = dry.air_pressure_at_temperature(moved, two, one, 101325.0)
    assert back == pytest.approx(pressure * PSI, rel=1e-9)


@given(st.floats(0.0, 1.0))
def test_a_lying_tank_holds_as_much_below_as_it_lacks_above(share):
    full = volume.horizontal_tank_volume(2.0, 5.0, 2.0)
    parts = [volume.horizontal_tank_volume(2.0, 5.0, depth) for depth in (2 * share, 2 - 2 * share)]
    assert sum(parts) == pytest.approx(full)
    assert full == pytest.approx(math.pi * 5.0)


@given(st.lists(st.floats(20.0, 120.0), min_size=1, max_size=8), st.floats(20.0, 120.0))
def test_the_worst_earlier_test_decides_the_main_drain(earlier, now):
    tests = [MainDrainTest("earlier", residual * PSI, None, None) for residual in earlier]
    answer = main_drain_change(MainDrainTest("this", now * PSI, None, None), tests, 0.1, 2 * PSI)
    alone = main_drain_change(
        MainDrainTest("this", now * PSI, None, None),
        [max(tests, key=lambda test: test.residual_pa)],
        0.1,
        2 * PSI,
    )
    assert answer.values == alone.values


def test_a_first_main_drain_test_is_the_baseline_and_no_pass():
    outcome = evaluate("main_drain_change", {"current_residual": 60 * PSI})
    assert outcome.answer.value == "baseline set"
    assert outcome.verdict is None


def test_a_main_drain_without_pressure_fails_as_an_impairment():
    outcome = evaluate("main_drain_change", {"current_residual": 0.0, "static": 0.0})
    assert outcome.verdict == "fail"
    assert "impairment" in outcome.reason


@pytest.mark.parametrize(
    ("static_now", "hint"),
    [(70.0, "partly shut"), (55.0, "supply changed"), (64.0, "both come into question")],
)
def test_a_fall_of_the_residual_is_explained_by_the_static(static_now, hint):
    outcome = evaluate(
        "main_drain_change",
        {
            "current_residual": 45 * PSI,
            "previous_residual": 60 * PSI,
            "static": static_now * PSI,
            "previous_static": 70 * PSI,
        },
    )
    assert outcome.verdict == "look into it"
    assert hint in outcome.reason


@pytest.mark.parametrize(
    ("name", "inputs", "field"),
    [
        ("nozzle_pitot_flow", {"p": -1.0, "d": 0.06}, "p"),
        ("nozzle_pitot_flow", {"p": 1e5, "d": 0.0}, "d"),
        ("nozzle_pitot_flow", {"p": 1e5, "d": 0.06, "c": 1.1}, "c"),
        ("nozzle_pitot_flow", {"p": math.nan, "d": 0.06}, "p"),
        ("nozzle_pitot_flow", {"p": True, "d": 0.06}, "p"),
        ("nozzle_pitot_flow", {"d": 0.06}, "p"),
        ("nozzle_pitot_flow", {"p": 1e5, "d": 0.06, "x": 1.0}, "x"),
        ("main_drain_change", {"current_residual": 5e5, "static": 4e5}, "current_residual"),
        (
            "project_flow_to_residual",
            {"static": 5e5, "residual": 5e5, "flow": 0.05},
            "residual",
        ),
        (
            "project_flow_to_residual",
            {"static": 5e5, "residual": 4e5, "flow": 0.05, "target": 5e5},
            "target",
        ),
        ("pumper_outlet_factor", {"p": 1.9 * PSI}, "p"),
        ("trip_pressure_from_differential", {"p_water": 5e5, "ratio": 1.0}, "ratio"),
        (
            "dry_valve_trip_time",
            {"V": 1.9, "p0_gauge": 2e5, "p_trip_gauge": 2e5, "d": 0.0127},
            "p_trip_gauge",
        ),
        (
            "antifreeze_freezing_point",
            {"fluid": "glycerine", "percent_by_weight": 70.0},
            "percent_by_weight",
        ),
        ("antifreeze_freezing_point", {"fluid": "glycerine"}, "percent_by_volume"),
        ("antifreeze_freezing_point", {"fluid": "brine", "percent_by_volume": 30.0}, "fluid"),
        ("sprinkler_temperature_class", {"rating": (172 + 459.67) / 1.8}, "rating"),
        ("spare_sprinklers", {"installed": 2.5}, "installed"),
        ("synchronous_speed", {"f": 60.0, "poles": 3}, "poles"),
        (
            "backflow_forward_flow",
            {"flow": 0.03, "demand": 0.03, "inlet": 4e5, "outlet": 5e5},
            "outlet",
        ),
        ("horizontal_tank_volume", {"D": 2.0, "L": 5.0, "depth": 2.5}, "depth"),
        ("k_factor_flow", {"p": 1e5}, "K_us"),
        ("equivalent_length", {"fitting": "bend", "nominal_size": "4 in"}, "fitting"),
        ("pipe_volume_per_length", {"nominal_size": "7 in"}, "nominal_size"),
        ("no_such_computation", {}, "computation"),
    ],
)
def test_what_is_impossible_is_refused_by_field_and_what_is_accepted(name, inputs, field):
    with pytest.raises(InputRefused) as caught:
        evaluate(name, inputs)
    assert caught.value.field == field
    assert caught.value.accepted
    assert caught.value.why


@pytest.mark.parametrize(
    ("name", "inputs", "word"),
    [
        ("nozzle_pitot_flow", {"p": 1.0 * PSI, "d": 0.0635}, "2 psi"),
        (
            "project_flow_to_residual",
            {"static": 70 * PSI, "residual": 66 * PSI, "flow": 0.05},
            "Low",
        ),
        ("waterflow_alarm_time", {"t": 3.0}, "nuisance"),
        (
            "antifreeze_concentration",
            {"fluid": "propylene_glycol", "specific_gravity": 1.02},
            "refractometer",
        ),
    ],
)
def test_what_is_doubtful_is_kept_with_a_warning(name, inputs, word):
    assert any(word in warning for warning in evaluate(name, inputs).warnings)


@pytest.mark.parametrize("name", sorted(COMPUTATIONS))
def test_every_computation_has_a_schema_that_names_each_input(name):
    described = schema(name)
    assert set(described["input"]["properties"]) == {f.name for f in COMPUTATIONS[name].inputs}
    assert all(entry["description"] for entry in described["input"]["properties"].values())
    assert described["source"]


def test_a_trip_time_near_the_atmosphere_is_longer_than_the_choked_formula_says():
    # Source: derived; the all-choked form is short by 12 percent for 18 to 1 psig (isothermal).
    answer = dry.dry_valve_trip_time(1.0, 18 * PSI, 1 * PSI, ORIFICE, AROUND, "isothermal")
    area = math.pi / 4 * ORIFICE.bore_m**2 * ORIFICE.coefficient
    speed = math.sqrt(287.05 * AROUND.temperature_k)
    ratio = (18 * PSI + 101325.0) / (1 * PSI + 101325.0)
    choked = math.log(ratio) / (area * dry.choked_flow_coefficient(1.4) * speed)
    assert choked / answer.values["time"] == pytest.approx(0.88, abs=0.01)
