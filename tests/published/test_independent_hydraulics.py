"""Our computations agree with libraries that share nothing with them, over random valid inputs.

Sources: EPANET 2.2 (the engine that wntr carries) and fluids. Each tolerance says where it comes
from.
"""

import math

import fluids
import fluids.constants
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildings.units import to_si
from inspections.hydraulics.constants import BAR, FOOT, GALLON, GPM, INCH, LPM, PSI
from inspections.hydraulics.index import evaluate
from inspections.hydraulics.tables import pipe_bore_m
from tests.published.epanet import FEET_PER_PSI, Epanet

bores = st.floats(1.0, 10.0)
pressures = st.floats(10.0, 150.0)


@pytest.fixture(scope="module")
def epanet(tmp_path_factory):
    engine = Epanet(tmp_path_factory.mktemp("epanet"))
    yield engine
    engine.close()


def answer(name, **inputs):
    return evaluate(name, inputs).answer.value


@given(bore=bores, c_factor=st.floats(80.0, 150.0), speed=st.floats(2.0, 25.0),
       length=st.floats(10.0, 1000.0))  # fmt: skip
def test_friction_is_that_of_epanet(epanet, bore, c_factor, speed, length):
    """Within 1.5 percent: 1.85 and 4.87 stand for EPANET's 1.852 and 4.871."""
    flow = speed * bore**2 / 0.4085
    start = 2000.0
    _, left = epanet.solved(
        head_ft=start, demand_gpm=flow, length_ft=length, bore_in=bore, c_factor=c_factor
    )
    theirs = start / FEET_PER_PSI - left
    ours = answer("hazen_williams_pressure_loss", Q=flow * GPM, C=c_factor, d=bore * INCH,
                  L=length * FOOT) / PSI  # fmt: skip
    # A difference of two pressures in single precision, each of about a thousand psi.
    assert ours == pytest.approx(theirs, rel=0.015, abs=2e-3)


@given(static=st.floats(40.0, 150.0), share=st.floats(0.2, 0.85), flow=st.floats(300.0, 2500.0),
       target=st.floats(0.1, 0.9))  # fmt: skip
def test_a_flow_test_is_projected_as_epanet_does(epanet, static, share, flow, target):
    """A main that gives the test in EPANET leaves the target at the flow projected to it.

    Within 1 percent of the drop: 0.54 stands for 1/1.852, over up to ten times the drop.
    """
    head = static * FEET_PER_PSI
    drop_ft = (1.0 - share) * head
    # EPANET manual: h = 4.727 L q^1.852 / (C^1.852 d^4.871), here solved for the length.
    q = flow / 448.8312
    length = drop_ft * 120.0**1.852 * (10.0 / 12.0) ** 4.871 / (4.727 * q**1.852)
    main = {"head_ft": head, "length_ft": length, "bore_in": 10.0, "c_factor": 120.0}
    _, residual = epanet.solved(demand_gpm=flow, **main)
    assert residual == pytest.approx(share * static, rel=2e-3)
    projected = answer("project_flow_to_residual", static=static * PSI, residual=residual * PSI,
                       flow=flow * GPM, target=target * static * PSI)  # fmt: skip
    _, left = epanet.solved(demand_gpm=projected / GPM, **main)
    assert left == pytest.approx(target * static, abs=0.01 * static)
    kept = answer("pressure_at_flow", static=static * PSI, residual=residual * PSI,
                  flow=flow * GPM, at=projected)  # fmt: skip
    assert kept / PSI == pytest.approx(left, abs=0.01 * static)


@given(k=st.floats(1.4, 28.0), pressure=pressures)
def test_a_sprinkler_discharges_as_an_emitter_of_epanet(epanet, k, pressure):
    """Within single precision and the engine's own accuracy of 0.001 percent, ten times over."""
    flow, at = epanet.solved(
        head_ft=pressure * FEET_PER_PSI, emitter=k, length_ft=0.1, bore_in=12.0, c_factor=150.0
    )
    assert answer("k_factor_flow", p=at * PSI, K_us=k) / GPM == pytest.approx(flow, rel=1e-4)
    assert answer("k_factor_pressure", Q=flow * GPM, K_us=k) / PSI == pytest.approx(at, rel=2e-4)
    metric = k * 14.4158
    assert answer("k_factor_flow", p=at * PSI, K_si=metric) / GPM == pytest.approx(flow, rel=1e-4)


@given(residual=st.floats(20.0, 120.0), bore=st.floats(1.0, 3.0), length=st.floats(10.0, 90.0),
       coefficient=st.floats(0.7, 0.95))  # fmt: skip
def test_an_open_drain_flows_as_in_epanet(epanet, residual, bore, length, coefficient):
    """Within 1.2 percent: half of what friction may differ by, which is all that differs."""
    theirs, _ = epanet.solved(head_ft=residual * FEET_PER_PSI, length_ft=length, bore_in=bore,
                              emitter=29.84 * coefficient * bore**2)  # fmt: skip
    ours = answer("drain_flow_estimate", residual=residual * PSI, d=bore * INCH, c=coefficient,
                  L_equivalent=length * FOOT)  # fmt: skip
    assert ours / GPM == pytest.approx(theirs, rel=0.012)


@given(bore=st.floats(0.25, 6.0), pressure=st.floats(0.5, 150.0), c=st.floats(0.5, 1.0))
def test_a_nozzle_flows_as_the_orifice_equation_of_fluids_says(bore, pressure, c):
    """Exact but for the approach: 50 m of pipe before the bore leave no velocity there."""
    mass = fluids.flow_meter_discharge(
        D=50.0, Do=bore * INCH, P1=pressure * PSI, P2=0.0, rho=999.0, C=c
    )
    ours = answer("nozzle_pitot_flow", p=pressure * PSI, d=bore * INCH, c=c)
    assert ours == pytest.approx(mass / 999.0, rel=1e-6)


@given(bore=bores, speed=st.floats(0.1, 40.0), k=st.floats(0.1, 50.0))
def test_velocity_heads_and_pressures_are_those_of_fluids(bore, speed, k):
    """Exact: the same definitions at the same density."""
    flow = speed * FOOT * math.pi / 4.0 * (bore * INCH) ** 2
    at = {"Q": flow, "d": bore * INCH}
    assert answer("pipe_velocity", **at) == pytest.approx(speed * FOOT, rel=1e-12)
    assert answer("velocity_pressure", **at) == pytest.approx(
        fluids.dP_from_K(K=1.0, rho=999.0, V=speed * FOOT), rel=1e-12
    )
    assert answer("minor_loss", sum_K=k, **at) == pytest.approx(
        fluids.head_from_K(K=k, V=speed * FOOT), rel=1e-12
    )
    assert answer("pressure_to_head", p=speed * PSI) == pytest.approx(
        fluids.head_from_P(speed * PSI, 999.0), rel=1e-12
    )
    assert answer("elevation_pressure", h=speed) == pytest.approx(
        fluids.P_from_head(speed, 999.0), rel=1e-12
    )


@given(pressure=st.floats(14.0, 150.0), bore=st.floats(0.1, 2.0), c=st.floats(0.5, 1.0),
       temperature=st.floats(250.0, 330.0))  # fmt: skip
def test_choked_air_leaves_as_fluids_sizes_it(pressure, bore, c, temperature):
    """Within 0.1 percent: API 520 rounds its own constants."""
    flow = answer("air_orifice_mass_flow", p_upstream_gauge=pressure * PSI, d=bore * INCH, Cd=c,
                  T=temperature)  # fmt: skip
    absolute = pressure * PSI + 101325.0
    area = fluids.API520_A_g(
        m=flow, T=temperature, Z=1.0, MW=8314.462618 / 287.05, k=1.4, P1=absolute, Kd=c
    )
    assert area == pytest.approx(math.pi / 4.0 * (bore * INCH) ** 2, rel=1e-3)
    throat = answer("critical_pressure", p_upstream_gauge=pressure * PSI)
    assert throat == pytest.approx(fluids.P_critical_flow(absolute, 1.4), rel=1e-9)


@given(diameter=st.floats(1.0, 5.0), length=st.floats(1.0, 20.0), share=st.floats(0.01, 0.99))
@settings(max_examples=15)
def test_tanks_hold_what_fluids_says(diameter, length, share):
    """Exact geometry."""
    lying = fluids.TANK(D=diameter, L=length, horizontal=True)
    upright = fluids.TANK(D=diameter, L=length, horizontal=False)
    depth = share * diameter
    assert answer("horizontal_tank_volume", D=diameter, L=length, depth=depth) == pytest.approx(
        lying.V_from_h(depth), rel=1e-6
    )
    depth = share * length
    assert answer("vertical_tank_volume", D=diameter, depth=depth) == pytest.approx(
        upright.V_from_h(depth), rel=1e-6
    )


@given(power=st.floats(1e3, 3e5), voltage=st.floats(200.0, 6000.0), pf=st.floats(0.5, 1.0),
       poles=st.sampled_from([2, 4, 6, 8]), frequency=st.sampled_from([50.0, 60.0]))  # fmt: skip
def test_motors_draw_and_turn_as_fluids_says(power, voltage, pf, poles, frequency):
    """Exact definitions."""
    assert answer("motor_full_load_current", P=power, V=voltage, pf=pf) == pytest.approx(
        fluids.current_ideal(P=power, V=voltage, phase=3, PF=pf), rel=1e-9
    )
    speed = answer("synchronous_speed", f=frequency, poles=poles)
    assert speed == pytest.approx(to_si(fluids.speed_synchronous(frequency, poles), "rpm"))


@pytest.mark.parametrize("schedule", ["10", "40", "80"])
@pytest.mark.parametrize("size", ["1", "1 1/2", "2", "3", "4", "6", "8"])
def test_bores_of_steel_pipe_are_those_of_fluids(size, schedule):
    """Within 0.5 percent: tables round the wall to a thousandth of an inch."""
    whole, _, part = size.partition(" ")
    nominal = float(whole) + (0.5 if part else 0.0)
    _, inside, _, _ = fluids.nearest_pipe(NPS=nominal, schedule=schedule)
    assert pipe_bore_m(size, schedule) == pytest.approx(inside, rel=5e-3)


def test_units_are_those_of_fluids():
    """Exact to the last digits: the same definitions."""
    theirs = fluids.constants
    pairs = {
        "psi": (PSI, theirs.psi),
        "in": (INCH, theirs.inch),
        "ft": (FOOT, theirs.foot),
        "gal": (GALLON, theirs.gallon_US),
        "gpm": (GPM, theirs.gallon_US / theirs.minute),
        "L/min": (LPM, theirs.liter / theirs.minute),
        "bar": (BAR, theirs.bar),
    }
    for unit, (ours, other) in pairs.items():
        assert ours == pytest.approx(other, rel=1e-14)
        assert to_si(1.0, unit) == pytest.approx(other, rel=1e-14)
    assert to_si(1.0, "hp") == pytest.approx(theirs.hp, rel=1e-9)
    assert to_si(0.0, "degF") == pytest.approx(theirs.zero_Celsius - 32.0 / 1.8, rel=1e-12)
