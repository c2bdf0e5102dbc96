"""What a technician judges at the riser: pitot, main drain, alarms, gauges, antifreeze."""

from functools import partial

from inspections.hydraulics import antifreeze, riser
from inspections.hydraulics.answer import Answer
from inspections.hydraulics.computation import Computation, Field, Output
from inspections.hydraulics.constants import GALLON, PSI
from inspections.hydraulics.listed.fields import needed, optional
from inspections.hydraulics.tables import (
    FLUIDS,
    antifreeze_curves,
    antifreeze_limit,
    fahrenheit_k,
    limit,
)

ALARM_BASES = (
    "electrical, fire alarm code",
    "local audible, sprinkler standard",
    "occupant notification after the switch",
)
_JUDGED = ("pass", "fail", "look into it")
_VERDICT = Output("verdict", "word", "judgement", _JUDGED)
_CURVES = list(antifreeze_curves())
_CONCENTRATION = (
    optional("percent", "percent_by_volume", "volume_percent", "percent by volume before mixing"),
    optional("percent", "percent_by_weight", "weight_percent", "percent by weight"),
)


def main_drain_tests(
    current_pa: float,
    previous_pa: float | None,
    acceptance_pa: float | None,
    earlier_pa: list[float],
    **rest: float | None,
) -> Answer:
    """Put the readings of this test and of the earlier ones together and judge; see `riser`."""
    now = riser.MainDrainTest("this", current_pa, rest["static_pa"], rest["static_after_pa"])
    tests = [
        riser.MainDrainTest(name, residual_pa, static_pa, None)
        for name, residual_pa, static_pa in (
            ("previous", previous_pa, rest["previous_static_pa"]),
            ("acceptance", acceptance_pa, None),
            *(("earlier", residual_pa, None) for residual_pa in earlier_pa),
        )
        if residual_pa is not None
    ]
    return riser.main_drain_change(
        now, tests, rest["fall_limit"] or 0.0, rest["recovery_pa"] or 0.0
    )


def _fluid(*more: str) -> Field:
    return needed(
        "word",
        "fluid",
        "fluid",
        "antifreeze fluid",
        choices=(*FLUIDS, *more),
        also=(("glycerin", "glycerine"), ("glycerol", "glycerine")),
    )


def _limit_of_edition(name: str, edition: str, source: str, years: str) -> Computation:
    return Computation(
        name=name,
        title=f"Limit of a legacy antifreeze solution, {years}",
        source=source,
        inputs=(
            _fluid("unknown", "ethylene_glycol", "diethylene_glycol"),
            *_CONCENTRATION,
            *(
                optional(
                    "percent",
                    f"{short}_limit",
                    f"{short}_limit",
                    "greatest percent",
                    default=antifreeze_limit(fluid, edition),
                )
                for short, fluid in (("glycol", "propylene_glycol"), ("glycerine", "glycerine"))
            ),
        ),
        outputs=(
            Output("finding", "word", "judgement", ("within limit", "over limit")),
            Output("percent_by_volume", "number", "percent by volume"),
        ),
        function=antifreeze.antifreeze_limit_2023,
        limit="number",
    )


AT_RISER = (
    Computation(
        name="nozzle_pitot_flow",
        title="Flow from a pitot reading",
        source="NFPA 291: 29.84 c d2 sqrt(p)",
        inputs=(
            needed(
                "pressure", "p", "pitot_pa", "velocity pressure on the pitot gauge", high=300 * PSI
            ),
            needed("bore", "d", "bore_m", "measured inside diameter of the outlet"),
            optional("coefficient", "c", "coefficient", "coefficient of discharge", default=0.9),
            optional(
                "coefficient",
                "pumper_factor",
                "pumper_factor",
                "multiplier of a pumper outlet without a tube",
                default=1.0,
            ),
        ),
        outputs=(Output("flow", "flow", "flow from the outlet"),),
        function=riser.nozzle_pitot_flow,
        cautions=riser.pitot_cautions,
    ),
    Computation(
        name="main_drain_change",
        title="Main drain test",
        source="NFPA 25: 10 percent fall of the full-flow pressure is to be explained",
        inputs=(
            needed("pressure", "current_residual", "current_pa", "residual with the drain open"),
            optional(
                "positive pressure", "previous_residual", "previous_pa", "residual of the last test"
            ),
            optional(
                "positive pressure",
                "acceptance_residual",
                "acceptance_pa",
                "residual at acceptance",
            ),
            optional(
                "positive pressure",
                "earlier_residuals",
                "earlier_pa",
                "residuals of other tests",
                many=True,
            ),
            optional("signed pressure", "static", "static_pa", "static before"),
            optional("pressure", "static_after", "static_after_pa", "static after"),
            optional(
                "pressure", "previous_static", "previous_static_pa", "static of the last test"
            ),
            optional(
                "fraction",
                "fall_limit",
                "fall_limit",
                "fall to be explained",
                default=limit("main_drain_fall"),
            ),
            optional(
                "pressure",
                "recovery",
                "recovery_pa",
                "how far static may stay below",
                default=limit("main_drain_recovery"),
            ),
        ),
        outputs=(
            Output(
                "finding",
                "word",
                "what the test shows",
                ("investigate", "within limit", "baseline set"),
            ),
            Output("fall", "fraction", "greatest fall of the residual"),
            Output("against", "word", "the test it is measured from"),
        ),
        function=main_drain_tests,
        limit="fraction",
    ),
    Computation(
        name="waterflow_alarm_time",
        title="Waterflow alarm",
        source="NFPA 72 17.13.2: 90 s; NFPA 13: 5 min for the local audible alarm",
        inputs=(
            needed("time", "t", "time_s", "from opening the test outlet to the alarm"),
            optional(
                "word",
                "basis",
                "basis",
                "which alarm",
                choices=ALARM_BASES,
                also=(
                    ("electrical", ALARM_BASES[0]),
                    ("local audible", ALARM_BASES[1]),
                    ("occupant notification", ALARM_BASES[2]),
                    ("occupant notification, fire alarm code", ALARM_BASES[2]),
                ),
                default=ALARM_BASES[0],
            ),
            *(
                optional("time", name, argument, meaning, default=limit(key))
                for name, argument, meaning, key in (
                    ("switch_limit", "switch_s", "limit of the switch", "waterflow_switch"),
                    ("local_limit", "local_s", "limit of the local audible alarm", "local_audible"),
                    ("notification_limit", "notification_s", "after the switch", "notification"),
                )
            ),
        ),
        outputs=(_VERDICT, Output("value", "time", "time to the alarm")),
        function=riser.waterflow_alarm_time,
        limit="time",
    ),
    Computation(
        name="gauge_accuracy",
        title="Gauge against a test gauge",
        source="NFPA 25: within 3 percent of full scale",
        inputs=(
            needed("positive pressure", "full_scale", "full_scale_pa", "full scale of the gauge"),
            needed(
                "signed pressure",
                "difference",
                "difference_pa",
                "reading less test gauge",
                low=-2000.0 * PSI,
            ),
            optional(
                "fraction",
                "allowed",
                "allowed_fraction",
                "allowed part of full scale",
                default=limit("gauge_accuracy"),
            ),
        ),
        outputs=(_VERDICT, Output("value", "pressure", "error of the gauge")),
        function=riser.gauge_accuracy,
        limit="pressure",
    ),
    Computation(
        name="gauge_range",
        title="Gauge for a test pressure",
        source="25 to 75 percent of full scale: common practice, no source",
        inputs=(
            needed("positive pressure", "full_scale", "full_scale_pa", "full scale of the gauge"),
            needed("pressure", "test_pressure", "test_pa", "pressure to be read"),
        ),
        outputs=(_VERDICT, Output("share", "fraction", "of full scale")),
        function=riser.gauge_range,
        margin="fraction",
    ),
    Computation(
        name="valve_supervisory_signal",
        title="Supervisory signal of a control valve",
        source="UFGS 13853: two turns or one-fifth of the travel",
        inputs=(
            optional("number", "turns", "turns", "turns of the hand wheel until the signal"),
            optional(
                "fraction",
                "travel_fraction",
                "travel_fraction",
                "part of the stem travel until the signal",
            ),
            optional(
                "number",
                "turns_limit",
                "turns_limit",
                "turns allowed",
                default=limit("valve_turns"),
            ),
            optional(
                "fraction",
                "travel_limit",
                "travel_limit",
                "travel allowed",
                default=limit("valve_travel"),
            ),
        ),
        outputs=(
            _VERDICT,
            Output("turns", "number", "turns until the signal"),
            Output("travel", "fraction", "part of the travel until the signal"),
        ),
        function=riser.valve_supervisory_signal,
        limit="number",
        version=2,
    ),
    Computation(
        name="low_air_signal",
        title="Air pressure signal",
        source="NFPA 72: signal on a change of 10 psi",
        inputs=(
            needed("positive pressure", "normal", "normal_pa", "normal air pressure"),
            needed("pressure", "signal_at", "signal_at_pa", "air pressure at the signal"),
            optional("pressure", "trip", "trip_pa", "trip pressure of the valve"),
            optional(
                "pressure", "change", "change_pa", "change allowed", default=limit("low_air_change")
            ),
            optional(
                "pressure",
                "margin",
                "margin_pa",
                "wanted above the trip pressure",
                default=limit("low_air_margin"),
            ),
        ),
        outputs=(_VERDICT, Output("change", "pressure", "change until the signal")),
        function=riser.low_air_signal,
        limit="pressure",
    ),
    Computation(
        name="antifreeze_freezing_point",
        title="Freezing point of antifreeze",
        source="Lange's Handbook of Chemistry, table 5.13, and fitted library data: the warmer one",
        inputs=(_fluid(), *_CONCENTRATION),
        outputs=(Output("freezing_point", "temperature", "freezing point"),),
        function=partial(antifreeze.antifreeze_freezing_point, curves=_CURVES),
    ),
    Computation(
        name="antifreeze_specific_gravity",
        title="Specific gravity of antifreeze",
        source="Lange's Handbook of Chemistry, table 5.13",
        inputs=(
            _fluid(),
            *_CONCENTRATION,
            optional(
                "temperature", "T", "temperature_k", "of the sample", default=fahrenheit_k(60.0)
            ),
        ),
        outputs=(Output("specific_gravity", "number", "density over that of water"),),
        function=partial(antifreeze.antifreeze_specific_gravity, curves=_CURVES),
    ),
    Computation(
        name="antifreeze_concentration",
        title="Concentration from a hydrometer",
        source="Lange's Handbook of Chemistry, table 5.13",
        inputs=(
            _fluid(),
            needed("number", "specific_gravity", "specific_gravity", "reading", low=0.9, high=1.3),
            optional(
                "temperature", "T", "temperature_k", "of the sample", default=fahrenheit_k(60.0)
            ),
        ),
        outputs=(Output("percent_by_volume", "number", "percent by volume"),),
        function=partial(antifreeze.antifreeze_concentration, curves=_CURVES),
    ),
    _limit_of_edition(
        "antifreeze_limit_2023",
        "NFPA 25 2023",
        "NFPA 25 2023: 30 percent propylene glycol, 38 percent glycerine by volume",
        "edition 2023",
    ),
    _limit_of_edition(
        "antifreeze_limit_2014_2020",
        "NFPA 25 2014-2020",
        "NFPA 25 2014 to 2020, with an approved risk assessment, to 30 September 2022: 40 percent"
        " propylene glycol, 50 percent glycerine by volume",
        "editions 2014 to 2020",
    ),
    Computation(
        name="glycerine_weight_percent",
        title="Glycerine by weight from by volume",
        source="Densities 1.2656 and 0.9991 g/mL at 60 degF",
        inputs=(needed("percent", "percent_by_volume", "volume_percent", "percent by volume"),),
        outputs=(Output("percent_by_weight", "number", "percent by weight"),),
        function=antifreeze.glycerine_weight_percent,
    ),
    Computation(
        name="antifreeze_test_points",
        title="Points at which antifreeze is measured",
        source="NFPA 25: four, one more per 100 gal over 150 gal",
        inputs=(
            needed("volume", "V", "volume_m3", "volume of the system", high=1000.0),
            optional("volume", "plain", "plain_m3", "four up to", default=150.0 * GALLON),
            optional("volume", "each", "each_m3", "one more per", default=100.0 * GALLON, low=0.01),
        ),
        outputs=(Output("points", "count", "points"),),
        function=antifreeze.antifreeze_test_points,
    ),
    Computation(
        name="antifreeze_protection",
        title="Protection of the weakest sample",
        source="Lange's Handbook of Chemistry, table 5.13, and fitted library data: the warmer one",
        inputs=(
            _fluid(),
            needed(
                "percent", "percents_by_volume", "volume_percents", "each test point", many=True
            ),
            needed("temperature", "lowest", "lowest_k", "lowest expected temperature"),
        ),
        outputs=(_VERDICT, Output("freezing_point", "temperature", "of the weakest sample")),
        function=partial(antifreeze.antifreeze_protection, curves=_CURVES),
        limit="temperature",
    ),
)
