"""Dry and preaction systems: pressures, times, tightness, compressors."""

from functools import partial

from inspections.hydraulics import air, dry, dry_test
from inspections.hydraulics.answer import Answer
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.constants import HEAT_RATIO, PSI
from inspections.hydraulics.listed.fields import atmosphere, needed, optional
from inspections.hydraulics.tables import delivery_limits, fahrenheit_k, limit

AIR_TESTS = {
    "acceptance 40 psi 24 h": "air_loss_24h",
    "3-year 40 psi 2 h": "air_loss_2h",
}
_VERDICT = Output("verdict", "word", "judgement", ("pass", "fail", "look into it"))
_HOW_HELD = (
    optional(
        "number",
        "ratio",
        "ratio",
        "differential water : air; a differential valve needs it",
        low=1.0,
        above=True,
        high=20.0,
    ),
    optional(
        "word",
        "valve",
        "kind",
        "type of the dry valve",
        default="differential",
        choices=("differential", "low_differential", "latch"),
    ),
    optional("positive pressure", "fixed_trip", "fixed_pa", "pressure at which a latch lets go"),
)
_WATER = needed("pressure", "p_water", "water_pa", "water pressure below the clapper")
_TEMPERATURE = optional(
    "temperature", "T", "temperature_k", "of air and pipe", default=fahrenheit_k(60.0)
)
_ORIFICE = (
    needed("bore", "d", "bore_m", "diameter of the orifice"),
    optional("coefficient", "Cd", "coefficient", "coefficient of discharge", default=0.8),
)
_VOLUME = needed("volume", "V", "volume_m3", "volume of the piping")


def trip_pressure(ratio: float | None, kind: str, fixed_pa: float | None, **rest: float) -> Answer:
    """Put the valve together and compute; see `dry.trip_pressure_from_differential`."""
    valve = dry.DryValve(kind, ratio, fixed_pa)
    return dry.trip_pressure_from_differential(
        valve=valve, latch_least_pa=limit("latch_least"), latch_most_pa=limit("latch_most"), **rest
    )


def air_setpoint(ratio: float | None, kind: str, fixed_pa: float | None, **rest: float) -> Answer:
    """Put the valve together and compute; see `dry.dry_air_setpoint`."""
    valve = dry.DryValve(kind, ratio, fixed_pa)
    return dry.dry_air_setpoint(
        valve=valve, latch_least_pa=limit("latch_least"), latch_most_pa=limit("latch_most"), **rest
    )


def trip_time(bore_m: float, coefficient: float, **rest: object) -> Answer:
    """Put orifice and surroundings together and compute; see `dry.dry_valve_trip_time`."""
    around = dry.Surroundings(*(rest.pop(name) for name in dry.Surroundings._fields))  # type: ignore[arg-type]
    orifice = dry.Orifice(bore_m, coefficient)
    return dry.dry_valve_trip_time(orifice=orifice, around=around, **rest)  # type: ignore[arg-type]


def orifice_flow(
    upstream_pa: float,
    bore_m: float,
    coefficient: float,
    temperature_k: float,
    atmosphere_pa: float,
) -> float:
    """Put orifice and surroundings together and compute; see `air.air_orifice_mass_flow`."""
    around = dry.Surroundings(temperature_k, atmosphere_pa, "air")
    return air.air_orifice_mass_flow(upstream_pa, dry.Orifice(bore_m, coefficient), around)


def air_test(test: str, allowed_pa: float | None, **rest: float) -> Answer:
    """Judge an air test by the loss that its kind allows; see `dry.air_test_verdict`."""
    allowed = limit(AIR_TESTS[test]) if allowed_pa is None else allowed_pa
    return dry.air_test_verdict(allowed_pa=allowed, **rest)


DRY_PIPE = (
    Computation(
        name="trip_pressure_from_differential",
        title="Trip pressure of a dry valve",
        source="US Navy training manual NAVEDTRA 14259 ch. 8; sprinkler association article; state"
        " fire marshal's study text for latches",
        inputs=(
            _WATER,
            *_HOW_HELD,
            optional("pressure", "observed", "observed_pa", "trip pressure seen"),
            optional(
                "positive pressure", "previous", "previous_pa", "trip pressure of the last test"
            ),
            optional(
                "fraction", "off_limit", "off_limit", "off calculated", default=limit("trip_off")
            ),
            optional(
                "fraction",
                "change_limit",
                "change_limit",
                "off last test",
                default=limit("trip_change"),
            ),
        ),
        outputs=(
            Output("trip", "pressure", "calculated trip pressure"),
            Output("observed", "pressure", "trip pressure seen"),
        ),
        function=trip_pressure,
        limit="pressure",
        version=3,
    ),
    Computation(
        name="dry_air_setpoint",
        title="Air pressure to keep",
        source="US Navy training manual NAVEDTRA 14259 ch. 8: trip pressure + 20 psi; state fire"
        " marshal's study text for low differentials",
        inputs=(
            _WATER,
            *_HOW_HELD,
            optional("pressure", "air", "air_pa", "air pressure found"),
            optional(
                "pressure",
                "above_trip",
                "above_trip_pa",
                "kept above the trip pressure",
                default=limit("air_above_trip"),
            ),
            optional(
                "pressure",
                "above_water",
                "above_water_pa",
                "kept above the water, low differential",
                default=limit("low_differential_air"),
            ),
        ),
        outputs=(
            Output("setpoint", "pressure", "air pressure to keep"),
            Output("trip", "pressure", "calculated trip pressure"),
        ),
        function=air_setpoint,
        limit="pressure",
        version=2,
    ),
    Computation(
        name="water_delivery_limit",
        title="Time to water at the remote sprinklers",
        source="NFPA 13 calculated water delivery, as given in a public dry-pipe guide",
        inputs=(
            needed(
                "word",
                "hazard",
                "hazard",
                "hazard protected",
                choices=tuple(row.hazard for row in delivery_limits()),
                also=(
                    ("dwelling", "dwelling_unit"),
                    ("residential", "dwelling_unit"),
                    *(
                        (f"{row.hazard} hazard".replace("_", " "), row.hazard)
                        for row in delivery_limits()
                    ),
                    ("high piled storage", "high_piled"),
                ),
            ),
            optional("time", "t", "time_s", "from opening to the first water"),
        ),
        outputs=(
            Output("open_sprinklers", "count", "sprinklers opened"),
            Output("seconds", "time", "time to the first water"),
        ),
        function=partial(dry.water_delivery_limit, table=list(delivery_limits())),
        limit="time",
    ),
    Computation(
        name="dry_time_limit_by_volume",
        title="Delivery time by size of the system",
        source="Research foundation review of NFPA 13 dry system provisions",
        inputs=(
            _VOLUME,
            needed("yes or no", "quick_opening_device", "quick_opening_device", "has one"),
            needed("yes or no", "dwelling_unit", "dwelling_unit", "protects dwelling units"),
            optional("volume", "plain", "plain_m3", "spared", default=limit("dry_volume_plain")),
            optional(
                "volume",
                "quick",
                "quick_m3",
                "spared with device",
                default=limit("dry_volume_quick"),
            ),
        ),
        outputs=(
            Output("rule", "word", "time to water", ("no limit", "60 s", "15 s")),
            Output("seconds", "time", "time to water"),
        ),
        function=dry.dry_time_limit_by_volume,
        limit="time",
    ),
    Computation(
        name="dry_valve_trip_time",
        title="Time to trip of a dry valve",
        source="Blow-down of an ideal gas; agrees with real-gas quadrature",
        inputs=(
            _VOLUME,
            needed("positive pressure", "p0_gauge", "start_pa", "air pressure at the opening"),
            needed("positive pressure", "p_trip_gauge", "trip_pa", "air pressure at the trip"),
            *_ORIFICE,
            _TEMPERATURE,
            optional(
                "word",
                "model",
                "model",
                "how the air takes heat from the pipe",
                choices=("isothermal", "adiabatic"),
                default="isothermal",
            ),
            atmosphere(),
            optional(
                "word", "gas", "gas", "gas in the pipe", choices=("air", "nitrogen"), default="air"
            ),
        ),
        outputs=(
            Output("time", "time", "time to trip by the model"),
            Output("isothermal", "time", "longest"),
            Output("adiabatic", "time", "shortest"),
        ),
        function=trip_time,
    ),
    Computation(
        name="trip_test_times",
        title="Trip test against its forecast and acceptance",
        source="NFPA 25; growth by 10 to 20 percent: common practice, no source",
        inputs=(
            needed("time", "trip", "trip_s", "from opening to the trip"),
            optional("time", "delivery", "delivery_s", "from opening to the first water"),
            optional("positive time", "model", "foretold_s", "time to trip by the model"),
            optional("positive time", "acceptance", "acceptance_s", "the same at acceptance"),
            optional("positive time", "allowed", "allowed_s", "limit on the time to water"),
            optional("fraction", "growth_limit", "growth_limit", "looked into", default=0.1),
        ),
        outputs=(
            _VERDICT,
            Output("time", "time", "time from opening"),
            Output("transit", "time", "from trip to water"),
            Output("growth", "fraction", "longer than at acceptance"),
            Output("off_model", "fraction", "trip against the model"),
        ),
        function=dry_test.trip_test_times,
        limit="time",
    ),
    Computation(
        name="transit_time_least",
        title="Least time to fill the pipes",
        source="Volume over flow",
        inputs=(_VOLUME, needed("positive flow", "flow", "supply_m3s", "flow into the pipe")),
        outputs=(Output("time", "time", "least time"),),
        function=dry_test.transit_time_least,
    ),
    Computation(
        name="compressor_duty",
        title="How much the compressor runs",
        source="Leak over free air of the compressor",
        inputs=(
            needed("flow", "leak", "leak_m3s", "standard air lost", quantity="air flow"),
            needed(
                "positive flow",
                "compressor",
                "compressor_m3s",
                "standard air that it gives",
                quantity="air flow",
            ),
        ),
        outputs=(
            Output("duty", "fraction", "part of the time that it runs"),
            Output("leak", "air flow", "standard air lost"),
        ),
        function=dry_test.compressor_duty,
        limit="fraction",
    ),
    Computation(
        name="air_supply_off_test",
        title="Air supply shut off",
        source="NFPA 25: 4 h without low air signal",
        inputs=(
            needed("yes or no", "low_air_signal", "has_signalled", "the low air signal came"),
            needed("time", "t", "time_s", "how long the supply was off"),
            optional("time", "least", "least_s", "how long it has to be", default=14400.0),
        ),
        outputs=(_VERDICT, Output("time", "time", "time without supply")),
        function=dry_test.air_supply_off_test,
        limit="time",
    ),
    Computation(
        name="critical_pressure",
        title="Pressure in a choked throat",
        source="Ideal gas dynamics",
        inputs=(
            needed("pressure", "p_upstream_gauge", "upstream_pa", "air pressure"),
            optional(
                "number",
                "k",
                "heat_ratio",
                "ratio of specific heats",
                low=1.0,
                above=True,
                high=1.7,
                default=HEAT_RATIO,
            ),
            atmosphere(),
        ),
        outputs=(Output("pressure", "pressure", "absolute pressure in the throat"),),
        function=air.critical_pressure,
    ),
    Computation(
        name="choked_flow_coefficient",
        title="Coefficient of choked flow",
        source="Ideal gas dynamics: m = G p A / sqrt(R T)",
        inputs=(
            optional(
                "number",
                "k",
                "heat_ratio",
                "ratio of specific heats",
                low=1.0,
                above=True,
                high=1.7,
                default=HEAT_RATIO,
            ),
        ),
        outputs=(Output("coefficient", "number", "G"),),
        function=dry.choked_flow_coefficient,
    ),
    Computation(
        name="air_orifice_mass_flow",
        title="Air leaving by an orifice",
        source="Ideal gas dynamics; agrees with API 520",
        inputs=(
            needed("pressure", "p_upstream_gauge", "upstream_pa", "air pressure"),
            *_ORIFICE,
            _TEMPERATURE,
            atmosphere(),
        ),
        outputs=(Output("mass_flow", "mass flow", "air leaving"),),
        function=orifice_flow,
    ),
    Computation(
        name="air_pressure_at_temperature",
        title="Air pressure after a change of temperature",
        source="Ideal gas at constant volume",
        inputs=(
            needed("signed pressure", "p1_gauge", "pressure_pa", "air pressure"),
            needed("temperature", "T1", "from_k", "of the pipe at that pressure"),
            needed("temperature", "T2", "to_k", "of the pipe afterwards"),
            atmosphere(),
        ),
        outputs=(Output("pressure", "pressure", "air pressure afterwards"),),
        function=dry.air_pressure_at_temperature,
    ),
    Computation(
        name="air_leak_rate",
        title="Leak of a dry system",
        source="Standard air (14.696 psia, 60 degF) lost from a fixed volume",
        inputs=(
            _VOLUME,
            needed("pressure", "p1_gauge", "start_pa", "air pressure at the start"),
            needed("pressure", "p2_gauge", "end_pa", "air pressure at the end"),
            _TEMPERATURE,
            optional("temperature", "T2", "end_temperature_k", "of the pipe at the end"),
            needed("positive time", "duration", "duration_s", "length of the test"),
            atmosphere(),
        ),
        outputs=(
            Output("leak", "air flow", "standard air lost"),
            Output("loss", "pressure", "pressure lost, at the first temperature"),
        ),
        function=dry.air_leak_rate,
    ),
    Computation(
        name="air_test_verdict",
        title="Air test",
        source="NFPA 13: 1.5 psi in 24 h; NFPA 25: 3 psi in 2 h",
        inputs=(
            needed("word", "test", "test", "kind of test", choices=tuple(AIR_TESTS)),
            needed("pressure", "start", "start_pa", "air pressure at the start"),
            needed("pressure", "end", "end_pa", "air pressure at the end"),
            optional("temperature", "T1", "start_k", "of the pipe at the start"),
            optional("temperature", "T2", "end_k", "of the pipe at the end"),
            optional(
                "pressure", "allowed", "allowed_pa", "loss allowed, when other than the test's"
            ),
            atmosphere(),
        ),
        outputs=(_VERDICT, Output("loss", "pressure", "pressure lost")),
        function=air_test,
        limit="pressure",
    ),
    Computation(
        name="air_fill_time",
        title="Time to normal air pressure",
        source="NFPA 13: 30 min, 60 min for spaces below 5 degF",
        inputs=(
            needed("time", "t", "time_s", "time to normal air pressure"),
            optional(
                "temperature",
                "space_temperature",
                "space_k",
                "of the space",
                default=fahrenheit_k(60.0),
            ),
            optional("time", "limit", "limit_s", "limit", default=limit("air_fill")),
            optional(
                "time", "cold_limit", "cold_limit_s", "in the cold", default=limit("air_fill_cold")
            ),
            optional("temperature", "cold", "cold_k", "cold is below", default=limit("cold_space")),
        ),
        outputs=(_VERDICT, Output("value", "time", "time to normal air pressure")),
        function=dry.air_fill_time,
        limit="time",
    ),
    Computation(
        name="compressor_free_air",
        title="Air that the compressor must give",
        source="Standard air (14.696 psia, 60 degF) into a fixed volume",
        inputs=(
            _VOLUME,
            needed(
                "positive pressure",
                "p_gauge",
                "pressure_pa",
                "air pressure to reach",
                high=300 * PSI,
            ),
            _TEMPERATURE,
            optional("positive time", "time", "time_s", "time to fill", default=limit("air_fill")),
        ),
        outputs=(Output("free_air", "air flow", "standard air"),),
        function=air.compressor_free_air,
    ),
    Computation(
        name="nitrogen_purity",
        title="Nitrogen after fill and vent cycles",
        source="Perfect mixing",
        inputs=(
            needed("fraction", "supply", "supply", "purity of the supply"),
            needed("positive pressure", "p_low", "low_abs_pa", "vented to, absolute"),
            needed("positive pressure", "p_high", "high_abs_pa", "filled to, absolute"),
            needed("count", "cycles", "cycles", "how many cycles", low=0.0, high=1000.0),
        ),
        outputs=(Output("purity", "fraction", "nitrogen in the pipe"),),
        function=air.nitrogen_purity,
    ),
)
