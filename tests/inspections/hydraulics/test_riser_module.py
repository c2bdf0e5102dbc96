"""The committed ES modules of computations and units say what Python says, in a browser."""

import functools
import http.server
import threading

import pytest

from buildings import units
from inspections import tablet_units
from inspections.hydraulics import antifreeze, compile, dry, riser
from inspections.hydraulics.constants import PSI
from inspections.hydraulics.index import evaluate
from inspections.hydraulics.tables import antifreeze_curves, delivery_limits

CURVES = [curve._asdict() for curve in antifreeze_curves()]
DELIVERIES = [row._asdict() for row in delivery_limits()]
THIS = riser.MainDrainTest("this", 45 * PSI, 70 * PSI, 60 * PSI)
EARLIER = [
    riser.MainDrainTest("previous", 48 * PSI, 70 * PSI, None),
    riser.MainDrainTest("acceptance", 60 * PSI, None, None),
]
ORIFICE = dry.Orifice(0.0127, 0.8)
VALVES = [
    dry.DryValve("differential", 5.5, None),
    dry.DryValve("low_differential", None, None),
    dry.DryValve("latch", None, 18 * PSI),
]
LATCH = [10 * PSI, 15 * PSI]
AROUND = dry.Surroundings(288.7, 101325.0, "air")
CASES = [
    (riser.nozzle_pitot_flow, [16 * PSI, 0.0635, 0.9, 1.0]),
    (riser.pitot_cautions, [90 * PSI, 0.1143, 0.9, 1.0]),
    (riser.main_drain_change, [THIS, EARLIER, 0.1, 2 * PSI]),
    (riser.main_drain_change, [THIS, [], 0.1, 2 * PSI]),
    (riser.main_drain_change, [THIS._replace(residual_pa=0.0), EARLIER, 0.1, 2 * PSI]),
    (riser.waterflow_alarm_time, [90.0, "electrical, fire alarm code", 90.0, 300.0, 10.0]),
    (riser.waterflow_alarm_time, [301.0, "local audible, sprinkler standard", 90.0, 300.0, 10.0]),
    (riser.gauge_accuracy, [300 * PSI, -10 * PSI, 0.03]),
    (riser.valve_supervisory_signal, [3.0, 0.2, 2.0, 0.2]),
    (riser.low_air_signal, [40 * PSI, 30 * PSI, 28 * PSI, 10 * PSI, 5 * PSI]),
    (riser.low_air_signal, [40 * PSI, 29 * PSI, None, 10 * PSI, 5 * PSI]),
    *(
        (dry.trip_pressure_from_differential, [100 * PSI, valve, 25 * PSI, None, 0.2, 0.1, *LATCH])
        for valve in VALVES
    ),
    *(
        (dry.dry_air_setpoint, [180 * PSI, valve, 50 * PSI, 20 * PSI, 15 * PSI, *LATCH])
        for valve in VALVES
    ),
    (dry.water_delivery_limit, ["ordinary", 50.0, list(delivery_limits())]),
    (dry.dry_time_limit_by_volume, [1.7, False, True, 1.9, 2.8]),
    (dry.dry_valve_trip_time, [1.9, 40 * PSI, 15 * PSI, ORIFICE, AROUND, "isothermal"]),
    (dry.dry_valve_trip_time, [0.8, 12 * PSI, 4 * PSI, ORIFICE, AROUND, "adiabatic"]),
    (dry.air_leak_rate, [1.9, 40 * PSI, 37 * PSI, 288.7, None, 7200.0, 101325.0]),
    (dry.air_test_verdict, [40 * PSI, 36.9 * PSI, 294.0, 290.0, 101325.0, 3 * PSI]),
    (dry.air_fill_time, [1860.0, 266.0, 1800.0, 3600.0, 258.15]),
    (antifreeze.antifreeze_freezing_point, ["glycerine", 38.0, None, list(antifreeze_curves())]),
    (
        antifreeze.antifreeze_specific_gravity,
        ["propylene_glycol", 33.0, None, 290.0, list(antifreeze_curves())],
    ),
    (
        antifreeze.antifreeze_concentration,
        ["glycerine", 1.1, 290.0, list(antifreeze_curves())],
    ),
    (riser.valve_supervisory_signal, [None, 0.2, 2.0, 0.2]),
    (antifreeze.antifreeze_limit_2023, ["glycerine", 39.0, None, 30.0, 38.0]),
    (
        antifreeze.antifreeze_protection,
        ["propylene_glycol", [30.0, 28.0], 258.0, list(antifreeze_curves())],
    ),
]


@pytest.fixture(scope="module")
def module(browser):
    class Files(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *arguments):
            pass

    handler = functools.partial(Files, directory=compile.OUT.parent)
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        page = browser.new_page()
        page.goto(f"http://127.0.0.1:{server.server_port}/riser.js")
        yield lambda script, given: page.evaluate(
            f"async (given) => {{ const m = await import('/riser.js'); {script} }}", given
        )
        page.close()
        server.shutdown()
        thread.join()


def plain(value):
    """Records as JSON has them, numbers to fifteen figures."""
    if hasattr(value, "_asdict"):
        return plain(value._asdict())
    if isinstance(value, dict):
        return {key: plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(f"{value:.12g}")
    return value


def sent(value):
    """Arguments as the browser takes them."""
    if hasattr(value, "_asdict"):
        return sent(value._asdict())
    return (
        [sent(each) for each in value]
        if isinstance(value, list)
        else (
            {key: sent(each) for key, each in value.items()} if isinstance(value, dict) else value
        )
    )


def test_the_committed_module_is_what_the_sources_give():
    assert compile.OUT.read_text(encoding="utf-8") == compile.compiled()
    assert compile.OUT_LIST.read_text(encoding="utf-8") == compile.listed()


def test_the_browser_judges_as_python_does(module):
    calls = [[function.__name__, sent(arguments)] for function, arguments in CASES]
    given = module("return given.map(([name, args]) => m[name](...args))", calls)
    for (function, arguments), answer in zip(CASES, given, strict=True):
        assert plain(answer) == plain(function(*arguments)), function.__name__


# One evaluation by field name, SI, of each computation that the tablet lists as its own.
EVALUATED = {
    "nozzle_pitot_flow": {"p": 16 * PSI, "d": 0.1143, "c": 0.9},
    "main_drain_change": {
        "current_residual": 45 * PSI, "previous_residual": 48 * PSI, "static": 70 * PSI,
        "acceptance_residual": 60 * PSI, "previous_static": 70 * PSI,
        "earlier_residuals": [58 * PSI], "static_after": 60 * PSI,
    },
    "waterflow_alarm_time": {"t": 4.0},
    "gauge_accuracy": {"full_scale": 300 * PSI, "difference": -10 * PSI},
    "valve_supervisory_signal": {"turns": 3.0, "travel_fraction": 0.2},
    "low_air_signal": {"normal": 40 * PSI, "signal_at": 30 * PSI, "trip": 28 * PSI},
    "trip_pressure_from_differential": {
        "p_water": 100 * PSI, "valve": "latch", "fixed_trip": 18 * PSI, "observed": 19 * PSI,
    },
    "dry_air_setpoint": {"p_water": 60 * PSI, "valve": "low_differential", "air": 74 * PSI},
    "water_delivery_limit": {"hazard": "ordinary", "t": 51.0},
    "dry_time_limit_by_volume": {"V": 1.7, "quick_opening_device": False, "dwelling_unit": False},
    "dry_valve_trip_time": {
        "V": 1.9, "p0_gauge": 40 * PSI, "p_trip_gauge": 15 * PSI, "d": 0.0127, "gas": "nitrogen",
    },
    "air_pressure_at_temperature": {"p1_gauge": 40 * PSI, "T1": 290.0, "T2": 284.0},
    "air_leak_rate": {"V": 1.9, "p1_gauge": 40 * PSI, "p2_gauge": 37 * PSI, "duration": 7200.0},
    "air_test_verdict": {"test": "3-year 40 psi 2 h", "start": 40 * PSI, "end": 36.9 * PSI},
    "air_fill_time": {"t": 1860.0, "space_temperature": 266.0},
    "antifreeze_freezing_point": {"fluid": "glycerine", "percent_by_volume": 38.0},
    "antifreeze_specific_gravity": {"fluid": "propylene_glycol", "percent_by_volume": 33.0},
    "antifreeze_concentration": {"fluid": "glycerine", "specific_gravity": 1.1},
    "antifreeze_limit_2023": {"fluid": "glycerine", "percent_by_volume": 39.0},
    "antifreeze_protection": {
        "fluid": "propylene_glycol", "percents_by_volume": [30.0, 28.0], "lowest": 258.0,
    },
}  # fmt: skip


def test_every_computation_of_the_tablet_comes_to_what_the_service_says(module):
    script = """const { evaluate } = await import('/calculation.js');
        const { OFFLINE } = await import('/calculations.js');
        const by = (name, fields) => Object.fromEntries(Object.entries(m.INPUTS[name]).map(
            ([key, one]) => [one.argument, fields[key] ?? one.default ?? (one.many ? [] : null)]));
        const run = ([name, fields]) => evaluate(name, by(name, fields));
        return [Object.keys(OFFLINE), given.map(run)];
    """
    offline, given = module(script, list(EVALUATED.items()))
    assert set(offline) == set(EVALUATED)
    for (name, inputs), answer in zip(EVALUATED.items(), given, strict=True):
        outcome = evaluate(name, inputs)
        values = {key: value.value for key, value in outcome.values.items()}
        assert plain({key: answer["values"].get(key) for key in values}) == plain(values), name
        assert (answer["verdict"] or None) == outcome.verdict, name
        assert answer["warnings"] == list(outcome.warnings), name
        for part, value in (("limit", outcome.limit), ("margin", outcome.margin)):
            assert plain(answer[part]) == plain(value and value.value), (name, part)


def test_the_browser_refuses_what_python_refuses(module):
    text = module(
        "try { m.nozzle_pitot_flow(-1, 0.06, 0.9, 1) } catch (e) { return e.message }", None
    )
    with pytest.raises(ValueError, match="velocity pressure") as caught:
        riser.nozzle_pitot_flow(-1.0, 0.06, 0.9, 1.0)
    assert text.endswith(str(caught.value))


def test_the_module_carries_the_tables_and_the_ranges_of_its_inputs(module):
    tables = module("return [m.DELIVERY_LIMITS, m.ANTIFREEZE_CURVES, m.INPUTS]", None)
    assert plain(tables[0]) == plain(DELIVERIES)
    assert plain(tables[1]) == plain(CURVES)
    assert tables[2]["waterflow_alarm_time"]["switch_limit"]["default"] == 90


TYPED = ["62.5", "62,5", "1,250", "1 250,5", "1.250,5", "1,250.5", "1.250.000", "1.250", "0,250"]
TYPED += ["-4", "\u22124", "+3", "007", ".5", "1\u202f250,5", "1 250"]
NO_NUMBERS = ["", "a", "1,250,5", "1 2", "1.2.3", "1.250,5.3", "--4"]


def test_the_committed_table_of_units_is_the_servers():
    assert tablet_units.OUT.read_text(encoding="utf-8") == tablet_units.compiled()


def test_the_browser_converts_every_unit_and_reads_figures_as_the_server_does(module):
    known = sorted(units.table())
    script = """const u = await import('/units.js');
        return [given[0].map((unit) => [u.toSi(50, unit), u.fromSi(u.toSi(50, unit), unit)]),
                given[1].map((typed) => u.decimal(typed)), u.toSi(1, "word")];"""
    figures, decimals, unknown = module(script, [known, TYPED + NO_NUMBERS])
    for unit, (si, back) in zip(known, figures, strict=True):
        assert si == pytest.approx(units.to_si(50.0, unit), rel=1e-14), unit
        assert back == pytest.approx(50.0, rel=1e-12), unit
    read = [units.parse(f"{typed} gpm", "flow").value for typed in TYPED]
    assert [float(one) for one in decimals[: len(TYPED)]] == read
    assert decimals[len(TYPED) :] == [None] * len(NO_NUMBERS)
    for typed in NO_NUMBERS:
        with pytest.raises(units.UnitRefused):
            units.parse(f"{typed} gpm", "flow")
    assert unknown is None
