"""Water standing and moving, friction, sprinklers."""

from inspections.hydraulics import friction, outlet, water
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.listed.fields import needed, optional
from inspections.hydraulics.tables import fahrenheit_k

_Q = needed("signed flow", "Q", "flow_m3s", "flow")
_D = needed("bore", "d", "bore_m", "actual inside diameter")
_C = needed("c factor", "C", "c_factor", "Hazen-Williams C")
_P = needed("pressure", "p", "pressure_pa", "pressure")
_RUN = (_Q, _C, _D, needed("length", "L", "length_m", "length with that of the fittings"))
_K = (
    optional("positive", "K_us", "k_us", "K in gpm/psi^0.5"),
    optional("positive", "K_si", "k_si", "K in L/min/bar^0.5"),
)
_TABLE = "NFPA 13 / UL 199 table of K factors"


def _run_cautions(flow_m3s: float, c_factor: float, bore_m: float, length_m: float) -> list[str]:
    cautions = water.velocity_cautions(flow_m3s, bore_m)
    if bore_m < 0.0254:
        cautions.append("The formula is for bores of 1 in. (25 mm) and over.")
    return cautions


WATERS = (
    Computation(
        name="water_specific_weight",
        title="Weight of water",
        source="IAPWS-95; Hydraulic Institute Engineering Data Library",
        inputs=(
            needed(
                "temperature",
                "T",
                "temperature_k",
                "of the water",
                low=273.15,
                high=fahrenheit_k(120.0),
            ),
        ),
        outputs=(Output("weight", "specific weight", "specific weight"),),
        function=water.water_specific_weight,
    ),
    Computation(
        name="elevation_pressure",
        title="Pressure of a difference in height",
        source="Density of water at 60 degF x standard gravity",
        inputs=(needed("height", "h", "height_m", "height"),),
        outputs=(Output("pressure", "pressure", "pressure"),),
        function=water.elevation_pressure,
    ),
    Computation(
        name="pressure_to_head",
        title="Height of water that a pressure holds",
        source="Hydraulic Institute Engineering Data Library: 1 psi = 2.31 ft",
        inputs=(_P,),
        outputs=(Output("head", "length", "head"),),
        function=water.pressure_to_head,
    ),
    Computation(
        name="jet_velocity_from_pressure",
        title="Velocity of a jet",
        source="Hydraulic Institute Engineering Data Library, theoretical discharge of nozzles",
        inputs=(_P,),
        outputs=(Output("velocity", "velocity", "velocity"),),
        function=water.jet_velocity_from_pressure,
    ),
    Computation(
        name="pipe_velocity",
        title="Velocity in a pipe",
        source="Flow over area",
        inputs=(_Q, _D),
        outputs=(Output("velocity", "velocity", "velocity"),),
        function=water.pipe_velocity,
        cautions=water.velocity_cautions,
    ),
    Computation(
        name="velocity_head",
        title="Velocity head",
        source="v2/2g",
        inputs=(needed("number", "v", "velocity_ms", "velocity", quantity="velocity", high=200.0),),
        outputs=(Output("head", "length", "velocity head"),),
        function=water.velocity_head,
    ),
    Computation(
        name="velocity_pressure",
        title="Velocity pressure",
        source="density v2/2",
        inputs=(_Q, _D),
        outputs=(Output("pressure", "pressure", "velocity pressure"),),
        function=water.velocity_pressure,
        cautions=water.velocity_cautions,
    ),
    Computation(
        name="hazen_williams_pressure_loss",
        title="Friction in a pipe",
        source="NFPA 13: 4.52 Q^1.85 / (C^1.85 d^4.87)",
        inputs=_RUN,
        outputs=(Output("loss", "pressure", "friction loss"),),
        function=friction.hazen_williams_pressure_loss,
        cautions=_run_cautions,
    ),
    Computation(
        name="hazen_williams_head_loss",
        title="Friction in a pipe, as head",
        source="NFPA 13: 4.52 Q^1.85 / (C^1.85 d^4.87)",
        inputs=_RUN,
        outputs=(Output("loss", "length", "friction loss"),),
        function=friction.hazen_williams_head_loss,
        cautions=_run_cautions,
    ),
    Computation(
        name="equivalent_length_C_multiplier",
        title="Equivalent lengths at another C",
        source="Building-code table of equivalent pipe lengths; (C/120)^1.85",
        inputs=(_C,),
        outputs=(Output("multiplier", "number", "multiplier"),),
        function=friction.equivalent_length_c_multiplier,
    ),
    Computation(
        name="equivalent_length",
        title="Equivalent length of a fitting",
        source="NFPA 13 equivalent length table (Sch 40 steel, C 120)",
        inputs=(
            needed("word", "fitting", "fitting", "fitting"),
            needed("word", "nominal_size", "nominal_size", "nominal size"),
            optional("c factor", "C", "c_factor", "Hazen-Williams C", default=120.0),
        ),
        outputs=(Output("length", "length", "length"),),
        function=friction.equivalent_length,
    ),
    Computation(
        name="loss_coefficient_head_curve",
        title="Head of a system at a flow",
        source="Hydraulic Institute Engineering Data Library, system curve",
        inputs=(
            needed("flow", "Q", "flow_m3s", "flow"),
            needed("coefficient", "f", "friction_factor", "Darcy friction factor"),
            needed("length", "L", "length_m", "length"),
            _D,
            optional("number", "sum_K", "sum_k", "sum of loss coefficients", default=0.0),
            optional("height", "static_head", "lift_m", "static head", default=0.0),
        ),
        outputs=(Output("head", "length", "head"),),
        function=friction.loss_coefficient_head_curve,
    ),
    Computation(
        name="minor_loss",
        title="Head that fittings take",
        source="K v2/2g; K of the EPANET manual's table",
        inputs=(
            needed("flow", "Q", "flow_m3s", "flow"),
            _D,
            needed("number", "sum_K", "sum_k", "loss coefficients, added up"),
        ),
        outputs=(Output("loss", "length", "head lost"),),
        function=friction.minor_loss,
    ),
    Computation(
        name="open_outlets_flow",
        title="Flow of a deluge system",
        source="Sum of K sqrt(p)",
        inputs=(
            needed(
                "word",
                "outlets",
                "outlets",
                "K and pressure of each open nozzle",
                many=True,
                columns=(needed("positive", "K_us", "k_us", "K in gpm/psi^0.5"), _P),
            ),
        ),
        outputs=(Output("flow", "flow", "flow in all"),),
        function=outlet.open_outlets_flow,
    ),
    Computation(
        name="pumper_outlet_factor",
        title="Multiplier of a pumper outlet",
        source="NFPA 291 table 4.10.2",
        inputs=(
            needed("pressure", "p", "pitot_pa", "velocity pressure", low=2.0 * PSI, high=300 * PSI),
        ),
        outputs=(Output("factor", "number", "multiplier"),),
        function=outlet.pumper_outlet_factor,
    ),
    Computation(
        name="k_factor_flow",
        title="Discharge of a sprinkler",
        source="Q = K sqrt(p)",
        inputs=(_P, *_K),
        outputs=(Output("flow", "flow", "flow"),),
        function=outlet.k_factor_flow,
        cautions=outlet.sprinkler_cautions,
    ),
    Computation(
        name="k_factor_pressure",
        title="Pressure at a sprinkler",
        source="p = (Q/K)2",
        inputs=(needed("flow", "Q", "flow_m3s", "flow"), *_K),
        outputs=(Output("pressure", "pressure", "pressure"),),
        function=outlet.k_factor_pressure,
    ),
    Computation(
        name="k_factor_us_to_si",
        title="Metric K factor",
        source=_TABLE,
        inputs=(needed("positive", "K_us", "k_us", "K in gpm/psi^0.5"),),
        outputs=(Output("k", "k factor", "K"),),
        function=outlet.k_factor_us_to_si,
    ),
    Computation(
        name="k_factor_percent_of_nominal",
        title="Discharge against K 5.6",
        source=_TABLE,
        inputs=(needed("positive", "K_us", "k_us", "K in gpm/psi^0.5"),),
        outputs=(Output("share", "fraction", "discharge against K 5.6"),),
        function=outlet.k_factor_percent_of_nominal,
    ),
    Computation(
        name="density_flow",
        title="Flow of a density on an area",
        source="Density x area",
        inputs=(
            needed("number", "density", "density_ms", "density", quantity="density", high=0.01),
            needed("area", "area", "area_m2", "area"),
        ),
        outputs=(Output("flow", "flow", "flow"),),
        function=outlet.density_flow,
    ),
    Computation(
        name="dry_system_area",
        title="Design area of a dry system",
        source="NFPA 13: 30 percent more than wet",
        inputs=(needed("area", "wet_area", "wet_area_m2", "design area of a wet system"),),
        outputs=(Output("area", "area", "design area"),),
        function=outlet.dry_system_area,
    ),
)
