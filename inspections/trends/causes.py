"""Rules of the hints, test by test. Facts are SI: Pa, s, m3/s, shares (-).

Shares of change that count as "unchanged" (5 percent) and "down" (10 percent) are common practice,
no source, except the 10 percent of a main drain (NFPA 25 annex).
"""

from collections.abc import Mapping
from types import MappingProxyType

from inspections.trends.hints import Cause, Observation, Test

UNCHANGED, DOWN = 0.05, 0.10
_METHOD = "the way of testing: drain, outlets, gauges or hour not as before"


def _fall(before: float, now: float) -> float:
    return (before - now) / before if before > 0 else 0.0


def _near(before: float, now: float) -> bool:
    return abs(_fall(before, now)) <= UNCHANGED


def _down(before: float, now: float) -> bool:
    return _fall(before, now) >= DOWN * (1.0 - 1e-9)


MAIN_DRAIN = Test(
    "main_drain",
    "main drain test",
    {
        "static": "gauge before the drain opens, Pa",
        "residual": "gauge with the drain wide open and steady, Pa",
        "static_before": "the same at the earlier test, Pa",
        "residual_before": "the same at the earlier test, Pa",
        "return_time": "time until the pressure is back, s",
        "return_time_before": "the same at the earlier test, s",
    },
    (
        Observation(
            "residual_down",
            "the flowing pressure fell by 10 percent or more",
            ("residual_before", "residual"),
            _down,
        ),
        Observation(
            "static_ordinary",
            "the static pressure is as before",
            ("static_before", "static"),
            _near,
        ),
        Observation(
            "static_down", "the static pressure fell too", ("static_before", "static"), _down
        ),
        Observation(
            "falls_alike",
            "static and flowing pressure fell by the same amount",
            ("static_before", "static", "residual_before", "residual"),
            lambda sb, s, rb, r: sb > s and abs((sb - s) - (rb - r)) <= 0.25 * (sb - s),
        ),
        Observation(
            "slow_return",
            "the pressure came back slowly",
            ("return_time_before", "return_time"),
            # More than a few seconds beyond the usual.
            lambda before, now: now - before > 5.0,
        ),
        Observation(
            "no_flow",
            "no pressure is left with the drain open",
            ("residual",),
            lambda residual: residual <= 0.0,
        ),
        Observation(
            "residual_up",
            "the flowing pressure is well above the earlier one",
            ("residual_before", "residual"),
            lambda before, now: _fall(before, now) <= -DOWN,
        ),
    ),
    (
        Cause(
            "a control valve partly closed upstream of the gauge",
            "Trace every valve from the supply to the riser by hand: stem, indicator, turns to "
            "open; then test again.",
            ("residual_down", "static_ordinary", "slow_return", "no_flow"),
            ("falls_alike",),
        ),
        Cause(
            "an obstruction in the lead-in or the riser (tubercles, stones, a stuck check valve)",
            "Valves proven open: compare with a flow test at the nearest hydrant; then look "
            "inside the check valve and the main.",
            ("residual_down", "static_ordinary", "slow_return", "no_flow"),
            ("falls_alike",),
        ),
        Cause(
            "a change of the supply: season or hour, a closed street valve, a pump or tank",
            "Ask the water purveyor; read a hydrant or another riser on the same main at the "
            "same hour.",
            ("static_down", "falls_alike", "slow_return"),
            ("static_ordinary",),
        ),
        Cause(
            "the drain not wide open, or plugged beyond its valve",
            "Open the drain to the stop, watch the outlet run full, read again.",
            ("residual_up",),
            ("residual_down",),
        ),
        Cause(
            "a gauge in error",
            "Check against a test gauge on the same cock.",
            ("residual_up", "static_down"),
        ),
        Cause(_METHOD, "Repeat with the same drain, gauges and hour as before.", ("residual_up",)),
    ),
)

PUMP = Test(
    "pump",
    "fire pump test",
    {
        "churn": "net pressure at no flow over that of the base curve, speed corrected, -",
        "rated": "the same at rated flow, -",
        "overload": "the same at 150 percent flow or the most that was reached, -",
        "speed": "speed measured over rated speed at rated flow, -",
        "suction": "suction at the greatest flow, Pa gauge",
        "suction_before": "the same at the earlier test, Pa gauge",
        "uncorrected": "net pressure at rated flow, as read, over the base curve, -",
    },
    (
        Observation(
            "slow_driver",
            "the pump ran more than 2 percent under its speed",
            ("speed",),
            lambda speed: speed < 0.98,
        ),
        Observation(
            "right_once_corrected",
            "the curve is right once corrected to rated speed",
            ("uncorrected", "rated"),
            lambda raw, rated: raw < 0.95 <= rated,
        ),
        Observation(
            "even_fall",
            "the whole corrected curve is down by about the same share",
            ("churn", "rated", "overload"),
            lambda c, r, o: max(c, r, o) < 0.97 and max(c, r, o) - min(c, r, o) <= 0.03,
        ),
        Observation(
            "falls_at_flow",
            "churn is right and the curve falls away with the flow",
            ("churn", "overload"),
            lambda c, o: c >= 0.97 and o < 0.95,
        ),
        Observation(
            "churn_low",
            "churn is low and the rest of the curve nearly right",
            ("churn", "overload"),
            lambda c, o: c < 0.95 and o >= 0.97,
        ),
        Observation(
            "suction_low",
            "suction at the greatest flow fell by 10 percent or more",
            ("suction_before", "suction"),
            _down,
        ),
        Observation(
            "suction_ordinary",
            "suction is as before",
            ("suction_before", "suction"),
            _near,
        ),
    ),
    (
        Cause(
            "the driver runs slow: governor, voltage, belt or load",
            "Measure the speed at each point; governor or voltage and current next.",
            ("slow_driver", "right_once_corrected"),
            ("even_fall",),
        ),
        Cause(
            "wear: impeller, wear rings",
            "Listen and measure end play; compare shut-off and full flow with earlier years; "
            "then open the casing.",
            ("even_fall", "falls_at_flow", "churn_low"),
            ("right_once_corrected",),
        ),
        Cause(
            "an obstruction in the impeller or the suction (stones, a strainer, a closed vane)",
            "Look through the suction and the impeller eye; compare suction gauge with the tank.",
            ("falls_at_flow", "suction_low"),
            ("even_fall", "right_once_corrected"),
        ),
        Cause(
            "the supply or the suction valve: less water reaches the pump",
            "Read suction at no flow and at full flow; trace the suction valve; flow test of the "
            "main.",
            ("suction_low", "falls_at_flow"),
            ("suction_ordinary",),
        ),
        Cause(
            "a relief or by-pass that leaks back",
            "Feel and shut off the relief and by-pass one after the other; repeat churn.",
            ("churn_low", "even_fall"),
        ),
        Cause(
            "a gauge, a nozzle coefficient or the speed reading in error",
            "Check gauges against a test gauge; second tachometer; bore of each nozzle.",
            ("even_fall", "falls_at_flow", "churn_low", "right_once_corrected", "suction_low"),
        ),
    ),
)

DRY_TRIP = Test(
    "dry_trip",
    "dry pipe trip test",
    {
        "trip": "time from opening to the trip, s",
        "trip_before": "the same at the earlier test, s",
        "delivery": "time from opening to water at the test connection, s",
        "delivery_before": "the same at the earlier test, s",
        "air": "air pressure at the start, Pa",
        "air_before": "the same at the earlier test, Pa",
        "trip_air": "air pressure at the trip, Pa",
        "trip_air_before": "the same at the earlier test, Pa",
    },
    (
        Observation(
            "slow_trip",
            "the valve tripped at least a quarter later than before",
            ("trip_before", "trip"),
            lambda before, now: now >= 1.25 * before,
        ),
        Observation(
            "slow_transit",
            "water took at least a quarter longer from the trip to the test connection",
            ("trip_before", "trip", "delivery_before", "delivery"),
            lambda tb, t, db, d: d - t >= 1.25 * (db - tb) > 0.0,
        ),
        Observation(
            "higher_air",
            "the air pressure at the start was higher",
            ("air_before", "air"),
            lambda before, now: now > 1.10 * before,
        ),
        Observation(
            "lower_air",
            "the air pressure at the start was lower: the trip time flatters the valve",
            ("air_before", "air"),
            lambda before, now: now < 0.90 * before,
        ),
        Observation(
            "lower_trip_point",
            "the valve let go at a lower air pressure than before",
            ("trip_air_before", "trip_air"),
            _down,
        ),
    ),
    (
        Cause(
            "the quick-opening device: shut off, clogged or not re-equalised",
            "Test the device by itself and watch its chamber pressure.",
            ("slow_trip",),
            ("higher_air",),
        ),
        Cause(
            "air set too high",
            "Set the air to the valve's instructions and trip again.",
            ("slow_trip", "higher_air"),
            first=True,
        ),
        Cause(
            "the valve seat sticks, or its differential has changed",
            "Open the valve: clapper, seat, facing; then trip again.",
            ("slow_trip", "lower_trip_point"),
        ),
        Cause(
            "air is fed in during the trip",
            "Shut off the air supply as the test asks, and trip again.",
            ("slow_trip",),
        ),
        Cause(
            "the pipe is obstructed or has trapped air or water",
            "Internal assessment of the pipe at the far end; drain the low points; flush.",
            ("slow_transit",),
        ),
        Cause(
            "the supply gives less water: a valve partly closed, or a weaker main",
            "Main drain test at the riser; compare flowing pressure with before.",
            ("slow_transit",),
        ),
        Cause(
            "the system has grown since",
            "Compare the volume of pipe with the drawing and the acceptance test.",
            ("slow_transit", "slow_trip"),
        ),
        Cause(
            "the trip test was begun at low air: not comparable",
            "Restore the normal air and repeat.",
            ("lower_air",),
            first=True,
        ),
    ),
)

BACKFLOW = Test(
    "backflow",
    "backflow forward flow test",
    {
        "flow": "flow reached over the demand, -",
        "loss": "pressure lost across the assembly, Pa",
        "loss_expected": "loss of the curve at this flow, or of the earlier test, Pa",
        "inlet": "inlet gauge at this flow, Pa",
        "inlet_before": "the same at the earlier test, Pa",
    },
    (
        Observation(
            "loss_high",
            "the loss is more than 15 percent above what is expected",
            ("loss_expected", "loss"),
            lambda expected, loss: loss > 1.15 * expected,
        ),
        Observation("loss_negative", "the loss is negative", ("loss",), lambda loss: loss < 0.0),
        Observation(
            "flow_short", "the flow did not reach the demand", ("flow",), lambda flow: flow < 1.0
        ),
        Observation(
            "loss_ordinary",
            "the loss is as expected",
            ("loss_expected", "loss"),
            lambda expected, loss: 0.0 <= loss <= 1.15 * expected,
        ),
        Observation(
            "inlet_down", "the inlet pressure fell by 10 percent", ("inlet_before", "inlet"), _down
        ),
    ),
    (
        Cause(
            "a check of the assembly sticks or is fouled",
            "Open the assembly: clapper, spring, seat; test again at the same flow.",
            ("loss_high", "flow_short"),
            ("loss_ordinary",),
        ),
        Cause(
            "a shut-off valve of the assembly not fully open",
            "Count the turns to open on both valves, then test again.",
            ("loss_high", "flow_short"),
            ("loss_ordinary",),
        ),
        Cause(
            "the supply: less pressure or flow reaches the inlet",
            "Read the inlet static and flowing; flow test of the main.",
            ("flow_short", "inlet_down"),
            ("loss_high",),
        ),
        Cause(
            "the test outlet is too small to pass the demand",
            "Add outlets or a test header: the assembly is not verified by this flow.",
            ("flow_short", "loss_ordinary"),
            ("loss_high",),
        ),
        Cause(
            "gauges exchanged or in error",
            "Exchange the gauges and read again; check against a test gauge.",
            ("loss_negative", "loss_high"),
            first=True,
        ),
    ),
)

WATERFLOW = Test(
    "waterflow",
    "waterflow alarm test",
    {
        "time": "time from flow to the signal at the panel, s",
        "time_before": "the same at the earlier test, s",
        "limit": "longest time, s",
        "station": "time from the panel to the monitoring station, s",
    },
    (
        Observation(
            "late", "the signal came after its limit", ("limit", "time"), lambda ok, now: now > ok
        ),
        Observation(
            "slower",
            "the signal came at least half as late again as before",
            ("time_before", "time"),
            lambda before, now: now >= 1.5 * before and now - before >= 5.0,
        ),
        Observation("very_fast", "the signal came in under 5 s", ("time",), lambda now: now < 5.0),
        Observation(
            "station_late",
            "the station had the signal more than 10 s after the panel",
            ("station",),
            lambda station: station > 10.0,
        ),
    ),
    (
        Cause(
            "the retard of the switch is set too long or has drifted",
            "Read and set the retard; time it again.",
            ("late", "slower"),
        ),
        Cause(
            "trapped air in the pipe delays the vane",
            "Vent at the inspector's connection and time it again.",
            ("late", "slower"),
        ),
        Cause(
            "the vane is stiff, damaged or its pipe fouled",
            "Take the switch off and look at the vane and the pipe.",
            ("late", "slower"),
        ),
        Cause(
            "the test connection gives less than one sprinkler's flow",
            "Compare its orifice with the smallest sprinkler; clean it.",
            ("late", "slower"),
        ),
        Cause(
            "no retard: surges may raise false signals",
            "Look at the retard and the number of unwanted signals.",
            ("very_fast",),
        ),
        Cause(
            "water was moving already, or the watch was started late",
            "Wait for still water and time it again.",
            ("very_fast",),
        ),
        Cause(
            "the path from the panel to the station",
            "Ask the station for its times; test the second path.",
            ("station_late",),
        ),
        Cause(
            "the clocks of panel and station differ",
            "Compare both clocks with the telephone's.",
            ("station_late",),
            first=True,
        ),
    ),
)

TWO_GAUGES = Test(
    "two_gauges",
    "two gauges that should agree",
    {
        "one": "first gauge, Pa",
        "other": "second gauge, Pa",
        "allowed": "sum of what both may be wrong (3 percent of full scale each), Pa",
        "height": "pressure of the height between them, Pa",
        "check_between": "1 where a check valve stands between them, else 0",
    },
    (
        Observation(
            "within_error",
            "the difference is within what the gauges may be wrong",
            ("one", "other", "allowed"),
            lambda a, b, allowed: 0.0 < abs(a - b) <= allowed,
        ),
        Observation(
            "beyond_error",
            "the difference is more than the gauges may be wrong",
            ("one", "other", "allowed"),
            lambda a, b, allowed: abs(a - b) > allowed,
        ),
        Observation(
            "height_explains",
            "the height between them explains it",
            ("one", "other", "allowed", "height"),
            lambda a, b, allowed, height: (
                abs(a - b) > allowed and abs(abs(a - b) - abs(height)) <= allowed
            ),
        ),
        Observation(
            "held_by_check",
            "a check valve between them can hold the higher pressure",
            ("one", "other", "check_between", "allowed"),
            lambda a, b, check, allowed: check == 1.0 and abs(a - b) > allowed,
        ),
    ),
    (
        Cause(
            "a gauge in error",
            "Put a test gauge on each cock in turn; relieve both to zero.",
            ("within_error", "beyond_error"),
            first=True,
        ),
        Cause(
            "a gauge cock closed or its pipe plugged",
            "Bleed each cock: the needle must fall and come back.",
            ("beyond_error",),
            first=True,
        ),
        Cause(
            "the height between them",
            "Measure the height; 0.433 psi for each foot.",
            ("height_explains", "within_error"),
        ),
        Cause(
            "pressure held above a check valve",
            "Relieve the higher side and watch whether it rises again.",
            ("held_by_check",),
            ("height_explains",),
        ),
        Cause(
            "the system between them: a closed valve, flow or an obstruction",
            "Gauges proven right first; then trace the valves between them.",
            ("beyond_error",),
            ("height_explains", "held_by_check"),
        ),
    ),
)

TESTS: Mapping[str, Test] = MappingProxyType(
    {test.name: test for test in (MAIN_DRAIN, PUMP, DRY_TRIP, BACKFLOW, WATERFLOW, TWO_GAUGES)}
)
