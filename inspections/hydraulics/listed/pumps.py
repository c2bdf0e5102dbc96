"""Fire pumps and their motors."""

from dataclasses import replace

from inspections.hydraulics import pump
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.listed.fields import needed, optional
from inspections.hydraulics.tables import limit

_VERDICT = Output("verdict", "word", "judgement", ("pass", "fail", "look into it"))
_SPEEDS = (
    needed("rotation", "n1", "speed", "speed"),
    needed("rotation", "n2", "new_speed", "other speed"),
)
_RULES = "Hydraulic Institute Engineering Data Library, affinity rules"
_ANNUAL = "NFPA 25, as given in a hospital facilities magazine"

_SPEED_CORRECTION_1 = Computation(
    name="pump_speed_correction",
    title="Test point at rated speed",
    source=_RULES,
    inputs=(
        needed("flow", "Q_test", "flow_m3s", "flow"),
        needed("pressure", "net_test", "net_pa", "net pressure"),
        needed("rotation", "n_test", "speed", "speed of the point"),
        needed("rotation", "n_rated", "rated_speed", "rated speed"),
    ),
    outputs=(
        Output("net", "pressure", "net pressure at rated speed"),
        Output("flow", "flow", "flow at rated speed"),
    ),
    function=pump.pump_speed_correction,
    cautions=pump.former_slow_point,
)
_SPEED_CORRECTION = replace(
    _SPEED_CORRECTION_1,
    version=2,
    source=f"{_RULES}; 2 percent below rated speed: common practice, no source",
    cautions=pump.slow_point,
    former=(_SPEED_CORRECTION_1,),
)

PUMPS = (
    Computation(
        name="affinity_flow",
        title="Flow at another speed",
        source=_RULES,
        inputs=(needed("flow", "Q1", "flow_m3s", "flow"), *_SPEEDS),
        outputs=(Output("flow", "flow", "flow"),),
        function=pump.affinity_flow,
    ),
    Computation(
        name="affinity_head",
        title="Head at another speed",
        source=_RULES,
        inputs=(needed("length", "H1", "head_m", "head"), *_SPEEDS),
        outputs=(Output("head", "length", "head"),),
        function=pump.affinity_head,
    ),
    _SPEED_CORRECTION,
    Computation(
        name="pump_net_pressure",
        title="Net pressure of a pump",
        source="Gauges, velocity pressures, heights",
        inputs=(
            needed("signed pressure", "suction", "suction_pa", "suction gauge"),
            needed("signed pressure", "discharge", "discharge_pa", "discharge gauge"),
            needed("flow", "Q", "flow_m3s", "flow"),
            needed("bore", "d_suction", "suction_bore_m", "bore at the suction gauge"),
            needed("bore", "d_discharge", "discharge_bore_m", "bore at the discharge gauge"),
            optional(
                "height",
                "gauge_height_difference",
                "height_m",
                "discharge gauge above suction gauge",
                default=0.0,
            ),
        ),
        outputs=(Output("net", "pressure", "net pressure"),),
        function=pump.pump_net_pressure,
    ),
    Computation(
        name="pump_acceptance_limits",
        title="Pump against its rating",
        source="NFPA 20: churn 140 percent, 65 percent at 150 percent flow",
        inputs=(
            needed("positive pressure", "rated_net", "rated_pa", "rated net pressure"),
            optional("pressure", "churn_net", "churn_pa", "net at churn"),
            optional("pressure", "net_at_rated", "at_rated_pa", "net at rated flow"),
            optional("pressure", "net_at_150pct", "overload_pa", "net at 150 percent flow"),
            optional(
                "number", "churn_limit", "churn_limit", "of rated", default=limit("pump_churn")
            ),
            optional(
                "number",
                "overload_limit",
                "overload_limit",
                "of rated",
                default=limit("pump_overload"),
            ),
        ),
        outputs=(_VERDICT, Output("margin", "fraction", "least margin, of rated")),
        function=pump.pump_acceptance_limits,
        limit="fraction",
        version=2,
    ),
    Computation(
        name="pump_annual_95pct",
        title="Pump against its first curve",
        source=_ANNUAL,
        inputs=(
            needed("positive pressure", "baseline_net", "baseline_pa", "net of the first curve"),
            needed("pressure", "net", "net_pa", "net at the same flow, at rated speed"),
            optional("fraction", "least", "least", "to be kept", default=limit("pump_annual")),
        ),
        outputs=(_VERDICT, Output("share", "fraction", "of the first curve")),
        function=pump.pump_annual_95pct,
        limit="fraction",
    ),
    Computation(
        name="motor_voltage_range",
        title="Voltage at the motor",
        source=_ANNUAL,
        inputs=(
            needed("voltage", "nameplate", "nameplate_v", "nameplate voltage"),
            needed("voltage", "measured", "measured_v", "voltage at the motor"),
            optional("fraction", "below", "below", "allowed below", default=limit("voltage_low")),
            optional("fraction", "above", "above", "allowed above", default=limit("voltage_high")),
        ),
        outputs=(_VERDICT, Output("deviation", "fraction", "off nameplate")),
        function=pump.motor_voltage_range,
        limit="voltage",
        margin="fraction",
        version=2,
    ),
    Computation(
        name="motor_current_load",
        title="Current of the motor",
        source=_ANNUAL,
        inputs=(
            needed("current", "readings", "currents_a", "each leg", many=True),
            needed("current", "nameplate", "nameplate_a", "nameplate current"),
            optional("positive", "service_factor", "service_factor", "service factor", default=1.0),
        ),
        outputs=(_VERDICT, Output("current", "current", "worst leg")),
        function=pump.motor_current_load,
        limit="current",
    ),
    Computation(
        name="phase_unbalance",
        title="Unbalance of the phases",
        source="NEMA MG-1: greatest deviation from the average, over the average",
        inputs=(
            needed("voltage", "readings", "readings", "one per phase", many=True),
            optional(
                "fraction", "note", "note", "looked into above", default=limit("phase_unbalance")
            ),
            optional("fraction", "stop", "stop", "not run above", default=limit("phase_stop")),
        ),
        outputs=(Output("unbalance", "fraction", "unbalance"),),
        function=pump.phase_unbalance,
        limit="fraction",
    ),
    Computation(
        name="current_unbalance",
        title="Unbalance of the currents",
        source="NEMA MG-1: greatest deviation from the average, over the average",
        inputs=(needed("current", "readings", "currents_a", "one per phase", many=True),),
        outputs=(Output("unbalance", "fraction", "unbalance"),),
        function=pump.current_unbalance,
    ),
    Computation(
        name="motor_full_load_current",
        title="Current of a three-phase motor",
        source="Three-phase real power",
        inputs=(
            needed("positive", "P", "power_w", "power", quantity="power", high=1e7),
            needed("voltage", "V", "voltage_v", "between lines"),
            needed("coefficient", "pf", "power_factor", "power factor"),
            optional("coefficient", "efficiency", "efficiency", "1 for input power", default=1.0),
        ),
        outputs=(Output("current", "current", "current"),),
        function=pump.motor_full_load_current,
    ),
    Computation(
        name="synchronous_speed",
        title="Synchronous speed",
        source="120 f / poles",
        inputs=(
            needed("positive", "f", "frequency_hz", "frequency", quantity="frequency", high=1000.0),
            needed("count", "poles", "poles", "poles, an even number", low=2.0, high=100.0),
        ),
        outputs=(Output("speed", "rotation", "speed of the field"),),
        function=pump.synchronous_speed,
    ),
    Computation(
        name="water_power",
        title="Power in the water",
        source="Q P / 1714 hp",
        inputs=(
            needed("flow", "Q", "flow_m3s", "flow"),
            needed("pressure", "p", "pressure_pa", "net pressure"),
        ),
        outputs=(Output("power", "power", "power"),),
        function=pump.water_power,
    ),
)
