"""Volumes, proof tests, spare sprinklers, samples, temperature classes."""

from inspections.hydraulics import stock, tank, volume
from inspections.hydraulics.computation import Computation, Output
from inspections.hydraulics.listed.fields import needed, optional

_PIPE = (
    needed("word", "nominal_size", "nominal_size", "nominal size"),
    optional("word", "schedule", "schedule", "schedule or type", default="40"),
)
_VERDICT = Output("verdict", "word", "judgement", ("pass", "fail", "look into it"))
_TANK = needed("bore", "D", "diameter_m", "inside diameter", high=200.0)

STOCKS = (
    Computation(
        name="pipe_volume_per_length",
        title="Volume of a pipe",
        source="Bores of ASME B36.10M, ASTM B88 and others in the pipe table",
        inputs=_PIPE,
        outputs=(Output("volume", "volume per length", "volume per length"),),
        function=volume.pipe_volume_per_length,
    ),
    Computation(
        name="system_volume",
        title="Volume of a system",
        source="Sum of bore area x length",
        inputs=(
            needed(
                "word",
                "pipes",
                "pipes",
                "size, schedule and length of each run",
                many=True,
                columns=(*_PIPE, needed("length", "length", "length_m", "length")),
            ),
        ),
        outputs=(Output("volume", "volume", "volume of the piping"),),
        function=volume.system_volume,
    ),
    Computation(
        name="vertical_tank_volume",
        title="Water in an upright tank",
        source="Cylinder",
        inputs=(_TANK, needed("length", "depth", "depth_m", "depth of the water")),
        outputs=(Output("volume", "volume", "volume"),),
        function=volume.vertical_tank_volume,
    ),
    Computation(
        name="horizontal_tank_volume",
        title="Water in a lying tank",
        source="Segment of a cylinder, flat ends",
        inputs=(
            _TANK,
            needed("length", "L", "length_m", "length"),
            needed("length", "depth", "depth_m", "depth of the water"),
            optional(
                "word", "ends", "ends", "shape of the ends", choices=("flat",), default="flat"
            ),
        ),
        outputs=(Output("volume", "volume", "volume"),),
        function=lambda ends, **tank: volume.horizontal_tank_volume(**tank),
    ),
    Computation(
        name="horizontal_tank_fill",
        title="How full a lying tank is",
        source="Segment of a cylinder, by volume and not by depth",
        inputs=(
            _TANK,
            needed("positive length", "L", "length_m", "length"),
            needed("length", "depth", "depth_m", "depth of the water"),
        ),
        outputs=(
            Output("full", "fraction", "full by volume"),
            Output("volume", "volume", "volume"),
        ),
        function=tank.horizontal_tank_fill,
    ),
    Computation(
        name="tank_duration",
        title="How long a tank lasts",
        source="Usable volume over demand",
        inputs=(
            needed("volume", "usable", "usable_m3", "water above the vortex plate"),
            needed("positive flow", "demand", "demand_m3s", "demand with hose"),
            optional("positive time", "wanted", "wanted_s", "duration wanted"),
        ),
        outputs=(Output("duration", "time", "duration"),),
        function=tank.tank_duration,
        limit="time",
    ),
    Computation(
        name="pressure_tank_air",
        title="Air in a pressure tank",
        source="30/A - 15 psi, from memory",
        inputs=(needed("fraction", "air", "air_fraction", "part that holds air", low=0.05),),
        outputs=(Output("pressure", "pressure", "air pressure"),),
        function=tank.pressure_tank_air,
    ),
    Computation(
        name="pipe_slope",
        title="Slope of dry system pipes",
        source="Branch lines 1/2 in., mains 1/4 in. per 10 ft, from memory",
        inputs=(
            needed("length", "rise", "rise_m", "fall towards the drain"),
            needed("positive length", "run", "run_m", "length of the pipe"),
            needed("word", "pipe", "pipe", "which pipe", choices=("branch", "main")),
        ),
        outputs=(_VERDICT, Output("slope", "fraction", "slope")),
        function=tank.pipe_slope,
        limit="fraction",
    ),
    Computation(
        name="hydrostatic_test_pressure",
        title="Hydrostatic test",
        source="Washington Administrative Code 296-24-60209; OSHA 1910.158: 2 h",
        inputs=(
            needed(
                "positive pressure", "normal_pressure", "normal_pa", "normal or greatest pressure"
            ),
            optional("word", "system", "system", "what is tested", default="new or altered piping"),
        ),
        outputs=(Output("pressure", "pressure", "test pressure"),),
        function=stock.hydrostatic_test_pressure,
    ),
    Computation(
        name="fdc_hydrostatic_test",
        title="Test of fire department connection piping",
        source="NFPA 25 (2020) 13.8.5",
        inputs=(optional("word", "system", "system", "what is tested"),),
        outputs=(
            Output("pressure", "pressure", "test pressure"),
            Output("duration", "time", "held for"),
            Output("interval", "time", "every"),
        ),
        function=lambda system: stock.fdc_hydrostatic_test(),
    ),
    Computation(
        name="spare_sprinklers",
        title="Spare sprinklers",
        source="NFPA 13: under 300 six, 300 to 1000 twelve, over 1000 twenty-four",
        inputs=(
            needed("count", "installed", "installed", "sprinklers installed"),
            optional("count", "middle_from", "middle_from", "middle band starts at", default=300),
        ),
        outputs=(Output("spares", "count", "at least, of every type and rating present"),),
        function=stock.spare_sprinklers,
    ),
    Computation(
        name="sprinkler_sample_size",
        title="Sprinklers to send to test",
        source="NFPA 25 (2020): four or 1 percent, whichever is greater",
        inputs=(needed("count", "in_area", "in_area", "sprinklers of the area"),),
        outputs=(Output("sample", "count", "sprinklers to send"),),
        function=stock.sprinkler_sample_size,
    ),
    Computation(
        name="sprinkler_temperature_class",
        title="Temperature class of a sprinkler",
        source="NFPA 13 table of temperature ratings",
        inputs=(needed("temperature", "rating", "rating_k", "temperature rating", high=700.0),),
        outputs=(
            Output("class", "word", "class"),
            Output("frame", "word", "colour of a frame"),
            Output("bulb", "word", "colour of a bulb"),
            Output("ceiling", "temperature", "hottest ceiling"),
        ),
        function=stock.sprinkler_temperature_class,
    ),
)
