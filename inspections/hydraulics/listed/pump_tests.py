"""The fire pump as a whole: test, supply behind it, relief valves, controllers, motors."""

from dataclasses import replace

from inspections.hydraulics import pump_test
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.listed.fields import needed, optional

_VERDICT = Output("verdict", "word", "judgement", ("pass", "fail", "look into it"))

_FIRE_PUMP_TEST_1 = Computation(
    name="fire_pump_test",
    title="Fire pump test",
    source="NFPA 20: 140 percent at churn, 65 percent at 150 percent flow; NFPA 25: 95 percent"
    " of the first curve",
    inputs=(
        needed("positive flow", "rated_flow", "rated_m3s", "rated flow"),
        needed("positive pressure", "rated_net", "rated_pa", "rated net pressure"),
        needed("rotation", "rated_speed", "rated_speed", "rated speed"),
        needed(
            "word",
            "points",
            "points",
            "flow, net pressure and speed of each point as tested",
            many=True,
            columns=(
                needed("flow", "point_flow", "flow_m3s", "flow"),
                needed("pressure", "point_net", "net_pa", "net pressure"),
                needed("rotation", "point_speed", "speed", "speed"),
            ),
        ),
        optional(
            "word",
            "baseline",
            "baseline",
            "flow and net pressure of the first curve at rated speed",
            many=True,
            columns=(
                needed("flow", "first_flow", "flow_m3s", "flow"),
                needed("positive pressure", "first_net", "net_pa", "net pressure"),
            ),
        ),
        optional("yes or no", "acceptance", "is_acceptance", "the first test", default=False),
    ),
    outputs=(
        _VERDICT,
        Output("margin", "fraction", "least margin"),
        Output("churn", "fraction", "at churn, of rated"),
        Output("at_rated", "fraction", "at rated flow, of rated"),
        Output("overload", "fraction", "at 150 percent flow, of rated"),
        Output("against_curve", "fraction", "worst against the first curve"),
        Output("share", "fraction", "what was judged"),
    ),
    function=pump_test.fire_pump_test,
    cautions=pump_test.former_slow_points,
    limit="fraction",
)
_FIRE_PUMP_TEST = replace(
    _FIRE_PUMP_TEST_1,
    version=2,
    source=f"{_FIRE_PUMP_TEST_1.source}; 2 percent below rated speed: common practice, no source",
    cautions=pump_test.slow_points,
    former=(_FIRE_PUMP_TEST_1,),
)

PUMP_TESTS = (
    _FIRE_PUMP_TEST,
    Computation(
        name="vertical_turbine_net_pressure",
        title="Net pressure of a vertical turbine pump",
        source="Discharge gauge, velocity pressure, height of the gauge over the pumping level",
        inputs=(
            needed("pressure", "discharge", "discharge_pa", "discharge gauge"),
            needed("flow", "Q", "flow_m3s", "flow"),
            needed("bore", "d_discharge", "bore_m", "bore at the discharge gauge"),
            needed("length", "lift", "lift_m", "gauge above the pumping water level", high=2000.0),
        ),
        outputs=(Output("net", "pressure", "net pressure"),),
        function=pump_test.vertical_turbine_net_pressure,
    ),
    Computation(
        name="affinity_power",
        title="Shaft power at another speed",
        source="Hydraulic Institute Engineering Data Library, affinity rules",
        inputs=(
            needed("positive", "P1", "power_w", "shaft power", quantity="power", high=1e7),
            needed("rotation", "n1", "speed", "speed"),
            needed("rotation", "n2", "new_speed", "other speed"),
        ),
        outputs=(Output("power", "power", "shaft power"),),
        function=pump_test.affinity_power,
    ),
    Computation(
        name="motor_slip",
        title="Slip of a motor",
        source="1 to 4 percent: common practice, no source",
        inputs=(
            needed("rotation", "synchronous", "synchronous", "synchronous speed"),
            needed("rotation", "speed", "speed", "speed of the shaft"),
        ),
        outputs=(Output("slip", "fraction", "slip"),),
        function=pump_test.motor_slip,
    ),
    Computation(
        name="supply_with_pump",
        title="Demand behind a fire pump",
        source="Suction at the demand and net of the pump; 20 psi at the suction of a public main",
        inputs=(
            needed("signed pressure", "suction", "suction_pa", "suction while the demand flows"),
            needed("pressure", "pump_net", "pump_net_pa", "net of the pump at that flow"),
            needed("flow", "flow", "flow_m3s", "flow through the pump"),
            needed("positive flow", "rated_flow", "rated_m3s", "rated flow of the pump"),
            needed("pressure", "demand_pressure", "demand_pa", "demand at the discharge"),
        ),
        outputs=(
            Output("margin", "pressure", "margin"),
            Output("available", "pressure", "pressure at the discharge"),
            Output("suction", "pressure", "suction"),
        ),
        function=pump_test.supply_with_pump,
        limit="pressure",
    ),
    Computation(
        name="relief_valve",
        title="Relief valve of a pump",
        source="From memory; 5 percent against the last test: common practice, no source",
        inputs=(
            needed("signed pressure", "suction_max", "suction_pa", "greatest static at suction"),
            needed("pressure", "churn_net", "churn_pa", "net at churn"),
            needed("positive pressure", "rating", "rating_pa", "rating of the weakest part"),
            optional("positive pressure", "opening", "opening_pa", "opens at"),
            optional("positive pressure", "previous_opening", "previous_pa", "at the last test"),
        ),
        outputs=(
            _VERDICT,
            Output("value", "pressure", "greatest pressure"),
            Output("moved", "fraction", "off the last test"),
        ),
        function=pump_test.relief_valve,
        limit="pressure",
    ),
    Computation(
        name="pump_controller_settings",
        title="Start and stop of the pumps",
        source="From memory: steps of 10 and 5 psi under the stop",
        inputs=(
            needed("pressure", "churn_net", "churn_pa", "net at churn"),
            needed("signed pressure", "suction_static", "suction_pa", "least static at suction"),
            needed("pressure", "jockey_stop", "jockey_stop_pa", "pressure maintenance pump stops"),
            needed(
                "pressure", "jockey_start", "jockey_start_pa", "pressure maintenance pump starts"
            ),
            needed("pressure", "pump_start", "pump_start_pa", "fire pump starts"),
        ),
        outputs=(_VERDICT, Output("stop", "pressure", "churn with the least static")),
        function=pump_test.controller_settings,
        margin="pressure",
    ),
)
