"""Water supplies: flow tests, hydrants, drains, standpipes, backflow, reducing valves."""

from inspections.hydraulics import drain, supply
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.constants import INCH, PSI
from inspections.hydraulics.listed.fields import needed, optional
from inspections.hydraulics.tables import limit

_VERDICT = Output("verdict", "word", "judgement", ("pass", "fail", "look into it"))
_TEST = (
    needed("positive pressure", "static", "static_pa", "static at the residual hydrant"),
    needed("pressure", "residual", "residual_pa", "residual there while the flow runs"),
    needed("positive flow", "flow", "flow_m3s", "flow of the test"),
)

SUPPLIES = (
    Computation(
        name="hydrant_total_flow",
        title="Flow of several outlets",
        source="NFPA 291: each outlet by itself, then added",
        inputs=(
            needed(
                "word",
                "outlets",
                "outlets",
                "velocity pressure, bore, coefficient and multiplier of each outlet",
                many=True,
                columns=(
                    needed("pressure", "p", "pitot_pa", "velocity pressure", high=300 * PSI),
                    needed("bore", "d", "bore_m", "measured inside diameter"),
                    needed("coefficient", "c", "coefficient", "coefficient of discharge"),
                    needed("coefficient", "pumper_factor", "pumper_factor", "multiplier, else 1"),
                ),
            ),
        ),
        outputs=(Output("flow", "flow", "flow in all"),),
        function=supply.hydrant_total_flow,
    ),
    Computation(
        name="marking_residual",
        title="Residual for marking a hydrant",
        source="NFPA 291: 20 psi; half of a static under 40 psi, from memory",
        inputs=(needed("positive pressure", "static", "static_pa", "static"),),
        outputs=(Output("residual", "pressure", "residual"),),
        function=supply.marking_residual,
    ),
    Computation(
        name="project_flow_to_residual",
        title="Flow at a wanted residual",
        source="NFPA 291: Q = Q_F ((P_S - P_R)/(P_S - P_F))^0.54",
        inputs=(
            *_TEST,
            optional(
                "pressure",
                "target",
                "target_pa",
                "wanted residual",
                default=limit("marking_residual"),
            ),
        ),
        outputs=(Output("flow", "flow", "flow at the wanted residual"),),
        function=supply.project_flow_to_residual,
    ),
    Computation(
        name="pressure_at_flow",
        title="Pressure at a flow",
        source="P = P_S - (P_S - P_F)(Q/Q_F)^1.85",
        inputs=(*_TEST, needed("flow", "at", "at_m3s", "flow asked for")),
        outputs=(Output("pressure", "pressure", "pressure left"),),
        function=supply.pressure_at_flow,
    ),
    Computation(
        name="hydrant_class",
        title="Class of a hydrant",
        source="NFPA 291: AA from 1500 gpm, A from 1000, B from 500, C below",
        inputs=(needed("flow", "flow_at_20psi", "flow_m3s", "flow at 20 psi"),),
        outputs=(
            Output("class", "word", "class", ("AA", "A", "B", "C")),
            Output("colour", "word", "colour of bonnet and caps"),
        ),
        function=supply.hydrant_class,
    ),
    Computation(
        name="supply_margin",
        title="Supply against demand",
        source="Pressure at the demand flow less the demand",
        inputs=(
            *_TEST,
            needed("flow", "demand_flow", "demand_m3s", "flow of the demand"),
            needed("pressure", "demand_pressure", "demand_pa", "demand at the place of the test"),
            optional("flow", "hose", "hose_m3s", "outside hose taken there", default=0.0),
        ),
        outputs=(
            Output("margin", "pressure", "margin"),
            Output("available", "pressure", "pressure available"),
            Output("share", "fraction", "margin against the pressure available"),
            Output("flow_margin", "flow", "more flow at the demand pressure"),
        ),
        function=supply.supply_margin,
        limit="pressure",
    ),
    Computation(
        name="drain_flow_estimate",
        title="Flow through an open drain",
        source="Insurer guideline PRC.14.1.2.2",
        inputs=(
            needed("positive pressure", "residual", "residual_pa", "residual with the drain open"),
            optional("bore", "d", "bore_m", "inside diameter", default=2.067 * INCH),
            optional("coefficient", "c", "coefficient", "of the open end", default=0.85),
            optional("c factor", "C", "c_factor", "Hazen-Williams C", default=120.0),
            needed("length", "L_equivalent", "length_m", "pipe with the length of its fittings"),
        ),
        outputs=(Output("flow", "flow", "flow"),),
        function=drain.drain_flow_estimate,
    ),
    Computation(
        name="standpipe_demand",
        title="Flow of a standpipe test",
        source="NFPA 14: 500 gpm and 250 per further standpipe, to 1000 or 1250 gpm",
        inputs=(
            needed("count", "standpipes", "standpipes", "how many"),
            needed("yes or no", "sprinklered", "sprinklered", "sprinklers throughout"),
        ),
        outputs=(Output("flow", "flow", "flow"),),
        function=supply.standpipe_demand,
    ),
    Computation(
        name="standpipe_residual",
        title="Residual at the remote outlet",
        source="NFPA 14: 100 psi; 65 psi before 1993 and for 1-1/2 in. stations",
        inputs=(
            needed("pressure", "residual", "residual_pa", "residual at the outlet"),
            optional(
                "yes or no", "before_1993", "before_1993", "older or 1-1/2 in.", default=False
            ),
        ),
        outputs=(_VERDICT, Output("residual", "pressure", "residual at the outlet")),
        function=supply.standpipe_residual,
        limit="pressure",
    ),
    Computation(
        name="backflow_forward_flow",
        title="Forward flow through a backflow assembly",
        source="NFPA 25: yearly at the system demand",
        inputs=(
            needed("flow", "flow", "flow_m3s", "flow reached"),
            needed("positive flow", "demand", "demand_m3s", "system demand with hose"),
            needed("pressure", "inlet", "inlet_pa", "inlet gauge while it flows"),
            needed("pressure", "outlet", "outlet_pa", "outlet gauge while it flows"),
            optional("pressure", "curve_loss", "curve_loss_pa", "loss by the assembly's curve"),
            optional(
                "pressure",
                "over_curve",
                "over_curve_pa",
                "looked into above the curve",
                default=limit("backflow_over_curve"),
            ),
        ),
        outputs=(
            Output("loss", "pressure", "loss across the assembly"),
            Output("flow", "flow", "flow reached"),
        ),
        function=supply.backflow_forward_flow,
        limit="flow",
    ),
    Computation(
        name="pressure_reducing_valve",
        title="Pressure reducing valve",
        source="Rating downstream 175 psi from memory; common practice, no source",
        inputs=(
            needed("pressure", "inlet_static", "inlet_static_pa", "inlet static"),
            needed("pressure", "outlet_static", "outlet_static_pa", "outlet static"),
            optional("pressure", "outlet_residual", "outlet_residual_pa", "outlet at design flow"),
            optional("pressure", "rated", "rated_pa", "rating downstream", default=175.0 * PSI),
            optional("pressure", "least_residual", "least_residual_pa", "design residual"),
            optional(
                "positive pressure", "previous_outlet", "previous_outlet_pa", "at the last test"
            ),
        ),
        outputs=(_VERDICT, Output("outlet", "pressure", "outlet static")),
        function=supply.pressure_reducing_valve,
        limit="pressure",
    ),
)
