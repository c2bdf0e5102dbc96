// Written from constants.py, answer.py, riser.py, dry.py, antifreeze.py: change those.
export const DELIVERY_LIMITS = [{"hazard": "dwelling_unit", "open_sprinklers": 1, "seconds": 15.0}, {"hazard": "light", "open_sprinklers": 1, "seconds": 60.0}, {"hazard": "ordinary", "open_sprinklers": 2, "seconds": 50.0}, {"hazard": "extra", "open_sprinklers": 4, "seconds": 45.0}, {"hazard": "high_piled", "open_sprinklers": 4, "seconds": 40.0}];
export const ANTIFREEZE_CURVES = [{"fluid": "propylene_glycol", "basis": "volume", "percent": [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0], "freezing_k": [273.15, 272.04999999999995, 270.95, 269.25, 266.45, 264.25, 260.34999999999997, 257.04999999999995, 252.54999999999998, 246.45, 239.84999999999997], "specific_gravity": [1.0, 1.004, 1.006, 1.012, 1.017, 1.02, 1.024, 1.028, 1.032, 1.037, 1.04], "gravity_at_k": 288.7055555555556}, {"fluid": "glycerine", "basis": "weight", "percent": [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 100.0], "freezing_k": [273.15, 271.54999999999995, 268.34999999999997, 263.65, 257.65, 251.14999999999998, 239.54999999999998, 235.34999999999997, 253.95, 271.54999999999995, 290.15], "specific_gravity": [1.0, 1.02415, 1.04935, 1.0756, 1.10255, 1.12985, 1.1577, 1.1854, 1.2129, 1.2395, 1.26557], "gravity_at_k": 288.15000000000003}, {"fluid": "propylene_glycol", "basis": "volume", "percent": [0.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 38.0, 40.0, 45.0, 50.0, 60.0], "freezing_k": [273.15, 269.71999999999997, 267.9, 265.77, 263.17999999999995, 260.03999999999996, 256.23999999999995, 253.57999999999998, 251.64, 246.11999999999998, 239.48999999999998, 222.08999999999997], "specific_gravity": [1.0, 1.0106, 1.0163, 1.0217, 1.0267, 1.0313, 1.0355, 1.0379, 1.0394, 1.043, 1.0463, 1.0518], "gravity_at_k": 288.7055555555556}, {"fluid": "propylene_glycol", "basis": "weight", "percent": [0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0], "freezing_k": [273.15, 270.28, 265.97999999999996, 260.35999999999996, 252.57999999999998, 240.95999999999998, 223.14999999999998], "specific_gravity": [1.0, 1.0082, 1.0172, 1.0268, 1.0357, 1.0429, 1.0471], "gravity_at_k": 288.7055555555556}, {"fluid": "glycerine", "basis": "weight", "percent": [0.0, 10.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0], "freezing_k": [273.15, 270.84, 267.59999999999997, 265.63, 263.39, 260.82, 257.82, 254.26, 249.95999999999998, 244.70999999999998, 238.26], "specific_gravity": [1.0, 1.0241, 1.0492, 1.0621, 1.0752, 1.0885, 1.102, 1.1157, 1.1295, 1.1434, 1.1572], "gravity_at_k": 288.15000000000003}];
export const AIR_TESTS = {"acceptance 40 psi 24 h": 10342.135939752543, "3-year 40 psi 2 h": 20684.271879505086};
export const INPUTS = {"nozzle_pitot_flow": {"p": {"argument": "pitot_pa", "quantity": "pressure", "meaning": "velocity pressure on the pitot gauge", "required": true, "low": 0.0, "high": 2068427.1879505084}, "d": {"argument": "bore_m", "quantity": "length", "meaning": "measured inside diameter of the outlet", "required": true, "low": 0.0001, "high": 3.0, "above": true}, "c": {"argument": "coefficient", "quantity": "number", "meaning": "coefficient of discharge", "default": 0.9, "low": 0.0001, "high": 1.0}, "pumper_factor": {"argument": "pumper_factor", "quantity": "number", "meaning": "multiplier of a pumper outlet without a tube", "default": 1.0, "low": 0.0001, "high": 1.0}}, "main_drain_change": {"current_residual": {"argument": "current_pa", "quantity": "pressure", "meaning": "residual with the drain open", "required": true, "low": 0.0, "high": 13789514.586336723}, "previous_residual": {"argument": "previous_pa", "quantity": "pressure", "meaning": "residual of the last test", "low": 1.0, "high": 13789514.586336723, "above": true}, "acceptance_residual": {"argument": "acceptance_pa", "quantity": "pressure", "meaning": "residual at acceptance", "low": 1.0, "high": 13789514.586336723, "above": true}, "earlier_residuals": {"argument": "earlier_pa", "quantity": "pressure", "meaning": "residuals of other tests", "low": 1.0, "high": 13789514.586336723, "above": true, "many": true}, "static": {"argument": "static_pa", "quantity": "pressure", "meaning": "static before", "low": -101325.0, "high": 13789514.586336723}, "static_after": {"argument": "static_after_pa", "quantity": "pressure", "meaning": "static after", "low": 0.0, "high": 13789514.586336723}, "previous_static": {"argument": "previous_static_pa", "quantity": "pressure", "meaning": "static of the last test", "low": 0.0, "high": 13789514.586336723}, "fall_limit": {"argument": "fall_limit", "quantity": "fraction", "meaning": "fall to be explained", "default": 0.1, "low": 0.0, "high": 1.0}, "recovery": {"argument": "recovery_pa", "quantity": "pressure", "meaning": "how far static may stay below", "default": 13789.514586336723, "low": 0.0, "high": 13789514.586336723}}, "waterflow_alarm_time": {"t": {"argument": "time_s", "quantity": "time", "meaning": "from opening the test outlet to the alarm", "required": true, "low": 0.0, "high": 2592000.0}, "basis": {"argument": "basis", "quantity": "word", "meaning": "which alarm", "default": "electrical, fire alarm code", "choices": ["electrical, fire alarm code", "local audible, sprinkler standard", "occupant notification after the switch"]}, "switch_limit": {"argument": "switch_s", "quantity": "time", "meaning": "limit of the switch", "default": 90.0, "low": 0.0, "high": 2592000.0}, "local_limit": {"argument": "local_s", "quantity": "time", "meaning": "limit of the local audible alarm", "default": 300.0, "low": 0.0, "high": 2592000.0}, "notification_limit": {"argument": "notification_s", "quantity": "time", "meaning": "after the switch", "default": 10.0, "low": 0.0, "high": 2592000.0}}, "gauge_accuracy": {"full_scale": {"argument": "full_scale_pa", "quantity": "pressure", "meaning": "full scale of the gauge", "required": true, "low": 1.0, "high": 13789514.586336723, "above": true}, "difference": {"argument": "difference_pa", "quantity": "pressure", "meaning": "reading less test gauge", "required": true, "low": -13789514.586336723, "high": 13789514.586336723}, "allowed": {"argument": "allowed_fraction", "quantity": "fraction", "meaning": "allowed part of full scale", "default": 0.03, "low": 0.0, "high": 1.0}}, "valve_supervisory_signal": {"turns": {"argument": "turns", "quantity": "number", "meaning": "turns of the hand wheel until the signal", "low": 0.0, "high": 1000000.0}, "travel_fraction": {"argument": "travel_fraction", "quantity": "fraction", "meaning": "part of the stem travel until the signal", "low": 0.0, "high": 1.0}, "turns_limit": {"argument": "turns_limit", "quantity": "number", "meaning": "turns allowed", "default": 2.0, "low": 0.0, "high": 1000000.0}, "travel_limit": {"argument": "travel_limit", "quantity": "fraction", "meaning": "travel allowed", "default": 0.2, "low": 0.0, "high": 1.0}}, "low_air_signal": {"normal": {"argument": "normal_pa", "quantity": "pressure", "meaning": "normal air pressure", "required": true, "low": 1.0, "high": 13789514.586336723, "above": true}, "signal_at": {"argument": "signal_at_pa", "quantity": "pressure", "meaning": "air pressure at the signal", "required": true, "low": 0.0, "high": 13789514.586336723}, "trip": {"argument": "trip_pa", "quantity": "pressure", "meaning": "trip pressure of the valve", "low": 0.0, "high": 13789514.586336723}, "change": {"argument": "change_pa", "quantity": "pressure", "meaning": "change allowed", "default": 68947.57293168362, "low": 0.0, "high": 13789514.586336723}, "margin": {"argument": "margin_pa", "quantity": "pressure", "meaning": "wanted above the trip pressure", "default": 34473.78646584181, "low": 0.0, "high": 13789514.586336723}}, "trip_pressure_from_differential": {"p_water": {"argument": "water_pa", "quantity": "pressure", "meaning": "water pressure below the clapper", "required": true, "low": 0.0, "high": 13789514.586336723}, "ratio": {"argument": "ratio", "quantity": "number", "meaning": "differential water : air; a differential valve needs it", "low": 1.0, "high": 20.0, "above": true}, "valve": {"argument": "kind", "quantity": "word", "meaning": "type of the dry valve", "default": "differential", "choices": ["differential", "low_differential", "latch"]}, "fixed_trip": {"argument": "fixed_pa", "quantity": "pressure", "meaning": "pressure at which a latch lets go", "low": 1.0, "high": 13789514.586336723, "above": true}, "observed": {"argument": "observed_pa", "quantity": "pressure", "meaning": "trip pressure seen", "low": 0.0, "high": 13789514.586336723}, "previous": {"argument": "previous_pa", "quantity": "pressure", "meaning": "trip pressure of the last test", "low": 1.0, "high": 13789514.586336723, "above": true}, "off_limit": {"argument": "off_limit", "quantity": "fraction", "meaning": "off calculated", "default": 0.2, "low": 0.0, "high": 1.0}, "change_limit": {"argument": "change_limit", "quantity": "fraction", "meaning": "off last test", "default": 0.1, "low": 0.0, "high": 1.0}}, "dry_air_setpoint": {"p_water": {"argument": "water_pa", "quantity": "pressure", "meaning": "water pressure below the clapper", "required": true, "low": 0.0, "high": 13789514.586336723}, "ratio": {"argument": "ratio", "quantity": "number", "meaning": "differential water : air; a differential valve needs it", "low": 1.0, "high": 20.0, "above": true}, "valve": {"argument": "kind", "quantity": "word", "meaning": "type of the dry valve", "default": "differential", "choices": ["differential", "low_differential", "latch"]}, "fixed_trip": {"argument": "fixed_pa", "quantity": "pressure", "meaning": "pressure at which a latch lets go", "low": 1.0, "high": 13789514.586336723, "above": true}, "air": {"argument": "air_pa", "quantity": "pressure", "meaning": "air pressure found", "low": 0.0, "high": 13789514.586336723}, "above_trip": {"argument": "above_trip_pa", "quantity": "pressure", "meaning": "kept above the trip pressure", "default": 137895.14586336724, "low": 0.0, "high": 13789514.586336723}, "above_water": {"argument": "above_water_pa", "quantity": "pressure", "meaning": "kept above the water, low differential", "default": 103421.35939752542, "low": 0.0, "high": 13789514.586336723}}, "water_delivery_limit": {"hazard": {"argument": "hazard", "quantity": "word", "meaning": "hazard protected", "required": true, "choices": ["dwelling_unit", "light", "ordinary", "extra", "high_piled"]}, "t": {"argument": "time_s", "quantity": "time", "meaning": "from opening to the first water", "low": 0.0, "high": 2592000.0}}, "dry_time_limit_by_volume": {"V": {"argument": "volume_m3", "quantity": "volume", "meaning": "volume of the piping", "required": true, "low": 1e-06, "high": 100000.0, "above": true}, "quick_opening_device": {"argument": "quick_opening_device", "quantity": "yes or no", "meaning": "has one", "required": true}, "dwelling_unit": {"argument": "dwelling_unit", "quantity": "yes or no", "meaning": "protects dwelling units", "required": true}, "plain": {"argument": "plain_m3", "quantity": "volume", "meaning": "spared", "default": 1.8927058920000002, "low": 1e-06, "high": 100000.0, "above": true}, "quick": {"argument": "quick_m3", "quantity": "volume", "meaning": "spared with device", "default": 2.839058838, "low": 1e-06, "high": 100000.0, "above": true}}, "dry_valve_trip_time": {"V": {"argument": "volume_m3", "quantity": "volume", "meaning": "volume of the piping", "required": true, "low": 1e-06, "high": 100000.0, "above": true}, "p0_gauge": {"argument": "start_pa", "quantity": "pressure", "meaning": "air pressure at the opening", "required": true, "low": 1.0, "high": 13789514.586336723, "above": true}, "p_trip_gauge": {"argument": "trip_pa", "quantity": "pressure", "meaning": "air pressure at the trip", "required": true, "low": 1.0, "high": 13789514.586336723, "above": true}, "d": {"argument": "bore_m", "quantity": "length", "meaning": "diameter of the orifice", "required": true, "low": 0.0001, "high": 3.0, "above": true}, "Cd": {"argument": "coefficient", "quantity": "number", "meaning": "coefficient of discharge", "default": 0.8, "low": 0.0001, "high": 1.0}, "T": {"argument": "temperature_k", "quantity": "temperature", "meaning": "of air and pipe", "default": 288.7055555555556, "low": 200.0, "high": 400.0}, "model": {"argument": "model", "quantity": "word", "meaning": "how the air takes heat from the pipe", "default": "isothermal", "choices": ["isothermal", "adiabatic"]}, "atm": {"argument": "atmosphere_pa", "quantity": "pressure", "meaning": "local atmospheric pressure, absolute", "default": 101325.0, "low": 50000.0, "high": 110000.0}, "gas": {"argument": "gas", "quantity": "word", "meaning": "gas in the pipe", "default": "air", "choices": ["air", "nitrogen"]}}, "air_pressure_at_temperature": {"p1_gauge": {"argument": "pressure_pa", "quantity": "pressure", "meaning": "air pressure", "required": true, "low": -101325.0, "high": 13789514.586336723}, "T1": {"argument": "from_k", "quantity": "temperature", "meaning": "of the pipe at that pressure", "required": true, "low": 200.0, "high": 400.0}, "T2": {"argument": "to_k", "quantity": "temperature", "meaning": "of the pipe afterwards", "required": true, "low": 200.0, "high": 400.0}, "atm": {"argument": "atmosphere_pa", "quantity": "pressure", "meaning": "local atmospheric pressure, absolute", "default": 101325.0, "low": 50000.0, "high": 110000.0}}, "air_leak_rate": {"V": {"argument": "volume_m3", "quantity": "volume", "meaning": "volume of the piping", "required": true, "low": 1e-06, "high": 100000.0, "above": true}, "p1_gauge": {"argument": "start_pa", "quantity": "pressure", "meaning": "air pressure at the start", "required": true, "low": 0.0, "high": 13789514.586336723}, "p2_gauge": {"argument": "end_pa", "quantity": "pressure", "meaning": "air pressure at the end", "required": true, "low": 0.0, "high": 13789514.586336723}, "T": {"argument": "temperature_k", "quantity": "temperature", "meaning": "of air and pipe", "default": 288.7055555555556, "low": 200.0, "high": 400.0}, "T2": {"argument": "end_temperature_k", "quantity": "temperature", "meaning": "of the pipe at the end", "low": 200.0, "high": 400.0}, "duration": {"argument": "duration_s", "quantity": "time", "meaning": "length of the test", "required": true, "low": 0.001, "high": 2592000.0, "above": true}, "atm": {"argument": "atmosphere_pa", "quantity": "pressure", "meaning": "local atmospheric pressure, absolute", "default": 101325.0, "low": 50000.0, "high": 110000.0}}, "air_test_verdict": {"test": {"argument": "test", "quantity": "word", "meaning": "kind of test", "required": true, "choices": ["acceptance 40 psi 24 h", "3-year 40 psi 2 h"]}, "start": {"argument": "start_pa", "quantity": "pressure", "meaning": "air pressure at the start", "required": true, "low": 0.0, "high": 13789514.586336723}, "end": {"argument": "end_pa", "quantity": "pressure", "meaning": "air pressure at the end", "required": true, "low": 0.0, "high": 13789514.586336723}, "T1": {"argument": "start_k", "quantity": "temperature", "meaning": "of the pipe at the start", "low": 200.0, "high": 400.0}, "T2": {"argument": "end_k", "quantity": "temperature", "meaning": "of the pipe at the end", "low": 200.0, "high": 400.0}, "allowed": {"argument": "allowed_pa", "quantity": "pressure", "meaning": "loss allowed, when other than the test's", "low": 0.0, "high": 13789514.586336723}, "atm": {"argument": "atmosphere_pa", "quantity": "pressure", "meaning": "local atmospheric pressure, absolute", "default": 101325.0, "low": 50000.0, "high": 110000.0}}, "air_fill_time": {"t": {"argument": "time_s", "quantity": "time", "meaning": "time to normal air pressure", "required": true, "low": 0.0, "high": 2592000.0}, "space_temperature": {"argument": "space_k", "quantity": "temperature", "meaning": "of the space", "default": 288.7055555555556, "low": 200.0, "high": 400.0}, "limit": {"argument": "limit_s", "quantity": "time", "meaning": "limit", "default": 1800.0, "low": 0.0, "high": 2592000.0}, "cold_limit": {"argument": "cold_limit_s", "quantity": "time", "meaning": "in the cold", "default": 3600.0, "low": 0.0, "high": 2592000.0}, "cold": {"argument": "cold_k", "quantity": "temperature", "meaning": "cold is below", "default": 258.15, "low": 200.0, "high": 400.0}}, "antifreeze_freezing_point": {"fluid": {"argument": "fluid", "quantity": "word", "meaning": "antifreeze fluid", "required": true, "choices": ["propylene_glycol", "glycerine"]}, "percent_by_volume": {"argument": "volume_percent", "quantity": "number", "meaning": "percent by volume before mixing", "low": 0.0, "high": 100.0}, "percent_by_weight": {"argument": "weight_percent", "quantity": "number", "meaning": "percent by weight", "low": 0.0, "high": 100.0}}, "antifreeze_specific_gravity": {"fluid": {"argument": "fluid", "quantity": "word", "meaning": "antifreeze fluid", "required": true, "choices": ["propylene_glycol", "glycerine"]}, "percent_by_volume": {"argument": "volume_percent", "quantity": "number", "meaning": "percent by volume before mixing", "low": 0.0, "high": 100.0}, "percent_by_weight": {"argument": "weight_percent", "quantity": "number", "meaning": "percent by weight", "low": 0.0, "high": 100.0}, "T": {"argument": "temperature_k", "quantity": "temperature", "meaning": "of the sample", "default": 288.7055555555556, "low": 200.0, "high": 400.0}}, "antifreeze_concentration": {"fluid": {"argument": "fluid", "quantity": "word", "meaning": "antifreeze fluid", "required": true, "choices": ["propylene_glycol", "glycerine"]}, "specific_gravity": {"argument": "specific_gravity", "quantity": "number", "meaning": "reading", "required": true, "low": 0.9, "high": 1.3}, "T": {"argument": "temperature_k", "quantity": "temperature", "meaning": "of the sample", "default": 288.7055555555556, "low": 200.0, "high": 400.0}}, "antifreeze_limit_2023": {"fluid": {"argument": "fluid", "quantity": "word", "meaning": "antifreeze fluid", "required": true, "choices": ["propylene_glycol", "glycerine", "unknown", "ethylene_glycol", "diethylene_glycol"]}, "percent_by_volume": {"argument": "volume_percent", "quantity": "number", "meaning": "percent by volume before mixing", "low": 0.0, "high": 100.0}, "percent_by_weight": {"argument": "weight_percent", "quantity": "number", "meaning": "percent by weight", "low": 0.0, "high": 100.0}, "glycol_limit": {"argument": "glycol_limit", "quantity": "number", "meaning": "greatest percent", "default": 30.0, "low": 0.0, "high": 100.0}, "glycerine_limit": {"argument": "glycerine_limit", "quantity": "number", "meaning": "greatest percent", "default": 38.0, "low": 0.0, "high": 100.0}}, "antifreeze_protection": {"fluid": {"argument": "fluid", "quantity": "word", "meaning": "antifreeze fluid", "required": true, "choices": ["propylene_glycol", "glycerine"]}, "percents_by_volume": {"argument": "volume_percents", "quantity": "number", "meaning": "each test point", "required": true, "low": 0.0, "high": 100.0, "many": true}, "lowest": {"argument": "lowest_k", "quantity": "temperature", "meaning": "lowest expected temperature", "required": true, "low": 200.0, "high": 400.0}}};
import { _pyfunc_abs, _pyfunc_op_add, _pyfunc_op_equals, _pyfunc_op_error, _pyfunc_op_mult, _pyfunc_truthy, _pymeth_append, _pymeth_startswith } from "./runtime.js";
var Answer, AntifreezeCurve, BAR, DeliveryLimit, DryValve, FOOT, GALLON, GPM, GRAVITY, GUARD, HEAT_RATIO, INCH, LPM, MainDrainTest, Orifice, PSI, STANDARD_AIR_K, STANDARD_ATMOSPHERE_PA, Surroundings, WATER_KG_M3, _basis, _blow_down, _freezing_point, _main_drain_hint, _main_drain_judged, _percent, _percent_field, _recovery, air_fill_time, air_leak_rate, air_pressure_at_temperature, air_test_verdict, antifreeze_concentration, antifreeze_freezing_point, antifreeze_limit_2023, antifreeze_protection, antifreeze_specific_gravity, antifreeze_test_points, at_least, at_most, choked_flow_coefficient, critical_ratio, dry_air_setpoint, dry_time_limit_by_volume, dry_valve_trip_time, gauge_accuracy, gauge_range, glycerine_volume_percent, glycerine_weight_percent, interpolated, keeps, low_air_signal, main_drain_change, nozzle_pitot_flow, orifice_mass_flow, pitot_cautions, refusal, trip_pressure_from_differential, valve_cautions, valve_supervisory_signal, valve_trip_pressure, water_delivery_limit, waterflow_alarm_time;
INCH = 0.0254;
FOOT = 0.3048;
GALLON = 0.003785411784;
GPM = GALLON / 60.0;
LPM = 0.001 / 60.0;
PSI = 6894.757293168362;
BAR = 100000.0;
GRAVITY = 9.80665;
WATER_KG_M3 = 999.0;
STANDARD_ATMOSPHERE_PA = 101325.0;
STANDARD_AIR_K = 288.7055555555556;
HEAT_RATIO = 1.4;
GUARD = 1e-09;
Answer = function flx_Answer (values, verdict, limit, margin, reason, warnings) {
    return ({values: values, verdict: verdict, limit: limit, margin: margin, reason: reason, warnings: warnings});
};

at_most = function flx_at_most (value, limit) {
    return value <= (_pyfunc_op_add(limit, (_pyfunc_op_mult(GUARD, (Math.max(_pyfunc_abs(value), _pyfunc_abs(limit)))))));
};

at_least = function flx_at_least (value, limit) {
    return value >= (limit - (_pyfunc_op_mult(GUARD, (Math.max(_pyfunc_abs(value), _pyfunc_abs(limit))))));
};

refusal = function flx_refusal (field, accepted, why) {
    return (((field + "; ") + accepted) + "; ") + why;
};

interpolated = function flx_interpolated (at, knots, values) {
    var i, part;
    i = 1;
    while (((i < (knots.length - 1))) && (at > knots[i])) {
        i += 1;
    }
    part = (at - knots[i - 1]) / (knots[i] - knots[i - 1]);
    return _pyfunc_op_add(values[i - 1], (_pyfunc_op_mult(part, (values[i] - values[i - 1]))));
};

keeps = function flx_keeps (value, limit, reason, warnings) {
    var values, verdict;
    verdict = (_pyfunc_truthy(at_most(value, limit)))? ("pass") : ("fail");
    values = ({verdict: verdict, value: value});
    return Answer(values, verdict, limit, limit - value, reason, warnings);
};

MainDrainTest = function flx_MainDrainTest (name, residual_pa, static_pa, static_after_pa) {
    return ({name: name, residual_pa: residual_pa, static_pa: static_pa, static_after_pa: static_after_pa});
};

nozzle_pitot_flow = function flx_nozzle_pitot_flow (pitot_pa, bore_m, coefficient, pumper_factor) {
    var area_m2, err_2;
    if ((pitot_pa < 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("p", "0 or more", "a stream has no negative velocity pressure"));
    }
    if ((bore_m <= 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("d", "more than 0", "an outlet has a bore"));
    }
    area_m2 = _pyfunc_op_mult((_pyfunc_op_mult((Math.PI / 4.0), bore_m)), bore_m);
    return _pyfunc_op_mult((_pyfunc_op_mult(_pyfunc_op_mult(coefficient, pumper_factor), area_m2)), (Math.sqrt(_pyfunc_op_mult(2.0, pitot_pa) / WATER_KG_M3)));
};

pitot_cautions = function flx_pitot_cautions (pitot_pa, bore_m, coefficient, pumper_factor) {
    var cautions;
    cautions = [];
    if ((pitot_pa < _pyfunc_op_mult(2.0, PSI))) {
        _pymeth_append.call(cautions, "Under 2 psi (0.14 bar) the stream does not fill the outlet.");
    }
    if ((pitot_pa > _pyfunc_op_mult(80.0, PSI))) {
        _pymeth_append.call(cautions, "Over 80 psi (5.5 bar) the needle swings: open another outlet.");
    }
    if (((bore_m >= 0.1) && _pyfunc_op_equals(pumper_factor, 1.0) && (coefficient < 0.95))) {
        _pymeth_append.call(cautions, "A pumper outlet without a tube also takes the multiplier of its pressure.");
    }
    return cautions;
};

main_drain_change = function flx_main_drain_change (now, earlier, fall_limit, recovery_pa) {
    var against, compared, err_2, err_3, fall, stub1_seq, stub2_itr, test, why;
    if ((now.residual_pa < 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("current_residual", "0 or more", "water flows from the drain"));
    }
    if (((now.static_pa !== null) && (now.static_pa > 0.0) && (now.residual_pa > now.static_pa))) {
        why = "pressure can't rise while the drain flows: a gauge or a reading is wrong";
        throw _pyfunc_op_error('ValueError', refusal("current_residual", "at most the static pressure", why));
    }
    fall = null;
    against = "";
    stub1_seq = earlier;
    if ((typeof stub1_seq === "object") && (!Array.isArray(stub1_seq))) { stub1_seq = Object.keys(stub1_seq);}
    for (stub2_itr = 0; stub2_itr < stub1_seq.length; stub2_itr += 1) {
        test = stub1_seq[stub2_itr];
        if ((test.residual_pa <= 0.0)) {
            why = "a fall is measured from a pressure";
            throw _pyfunc_op_error('ValueError', refusal(test.name, "more than 0", why));
        }
        compared = (test.residual_pa - now.residual_pa) / test.residual_pa;
        if (((fall === null) || (compared > fall))) {
            fall = compared;
            against = test.name;
        }
    }
    return _main_drain_judged(now, earlier, fall, against, fall_limit, recovery_pa);
};

_main_drain_judged = function flx__main_drain_judged (now, earlier, fall, against, fall_limit, recovery_pa) {
    var margin, reason, values, verdict, warnings;
    warnings = _recovery(now, recovery_pa);
    values = ({finding: "within limit", fall: fall, against: against});
    margin = ((fall === null))? (null) : (fall_limit - fall);
    verdict = ((warnings.length == 0))? ("pass") : ("look into it");
    reason = "The greatest fall, {fall} against the {against} test, is under {limit}.";
    if ((_pyfunc_op_equals(now.residual_pa, 0.0) || ((now.static_pa !== null) && (now.static_pa <= 0.0)))) {
        values["finding"] = "investigate";
        verdict = "fail";
        reason = "No pressure at the supply gauge: treat as an impairment until it is explained.";
    } else if ((fall === null)) {
        values["finding"] = "baseline set";
        verdict = ((warnings.length == 0))? ("") : ("look into it");
        reason = "No earlier test to compare with: this one is the baseline.";
    } else if (_pyfunc_truthy(at_least(fall, fall_limit))) {
        values["finding"] = "investigate";
        verdict = "look into it";
        reason = "Residual is {fall} below the {against} test; {limit} or more is to be explained. ";
        reason = _pyfunc_op_add(reason, _main_drain_hint(now, earlier[0]));
    }
    return Answer(values, verdict, fall_limit, margin, reason, warnings);
};

_recovery = function flx__recovery (now, recovery_pa) {
    var warnings;
    warnings = [];
    if (((now.static_pa === null) || (now.static_after_pa === null))) {
        return warnings;
    }
    if ((!_pyfunc_truthy(at_most(now.static_pa - now.static_after_pa, recovery_pa)))) {
        _pymeth_append.call(warnings, "Static did not come back after the drain was shut: a valve not fully open, or a weak supply.");
    }
    return warnings;
};

_main_drain_hint = function flx__main_drain_hint (now, last) {
    var residual_fall_pa, static_fall_pa;
    if (((now.static_pa === null) || (last.static_pa === null))) {
        return "See that every control valve is fully open.";
    }
    residual_fall_pa = last.residual_pa - now.residual_pa;
    static_fall_pa = last.static_pa - now.static_pa;
    if ((residual_fall_pa <= 0.0)) {
        return "It has not fallen since the last test: the cause is older.";
    }
    if ((static_fall_pa >= _pyfunc_op_mult(0.8, residual_fall_pa))) {
        return "Static fell as much: the supply changed.";
    }
    if ((static_fall_pa <= _pyfunc_op_mult(0.2, residual_fall_pa))) {
        return "Static is unchanged: a valve partly shut, or an obstruction.";
    }
    return "Static fell too, but less: supply and valves both come into question.";
};

waterflow_alarm_time = function flx_waterflow_alarm_time (time_s, basis, switch_s, local_s, notification_s) {
    var err_2, limit_s, warnings;
    if ((time_s < 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("t", "0 or more", "the alarm follows the flow"));
    }
    limit_s = switch_s;
    if (_pymeth_startswith.call(basis, "local")) {
        limit_s = local_s;
    }
    if (_pymeth_startswith.call(basis, "occupant")) {
        limit_s = notification_s;
    }
    warnings = [];
    if (((time_s < 5.0) && _pymeth_startswith.call(basis, "electrical"))) {
        _pymeth_append.call(warnings, "A retard under 5 s suggests nuisance alarms.");
    }
    return keeps(time_s, limit_s, "Alarm after {value}; {limit} allowed.", warnings);
};

gauge_accuracy = function flx_gauge_accuracy (full_scale_pa, difference_pa, allowed_fraction) {
    var err_2, limit_pa, reason;
    if ((full_scale_pa <= 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("full_scale", "more than 0", "a gauge has a range"));
    }
    limit_pa = _pyfunc_op_mult(allowed_fraction, full_scale_pa);
    reason = "The gauge is off by {value}; {limit} of error is allowed.";
    return keeps(_pyfunc_abs(difference_pa), limit_pa, reason, []);
};

gauge_range = function flx_gauge_range (full_scale_pa, test_pa) {
    var err_2, margin, reason, share, values, verdict;
    if ((test_pa > full_scale_pa)) {
        throw _pyfunc_op_error('ValueError', refusal("test_pressure", "at most full_scale", "the gauge would break"));
    }
    share = test_pa / full_scale_pa;
    margin = ((share < 0.5))? (share - 0.25) : (0.75 - share);
    verdict = (_pyfunc_truthy((_pyfunc_truthy(at_least(share, 0.25))) && (_pyfunc_truthy(at_most(share, 0.75)))))? ("pass") : ("look into it");
    values = ({verdict: verdict, share: share});
    reason = "{share} of full scale; a quarter to three quarters is wanted.";
    return Answer(values, verdict, null, margin, reason, []);
};

valve_supervisory_signal = function flx_valve_supervisory_signal (turns, travel_fraction, turns_limit, travel_limit) {
    var by_travel, by_turns, err_2, margin, reason, values, verdict, why;
    if (((turns === null) && (travel_fraction === null))) {
        why = "one of turns and travel tells when the signal came";
        throw _pyfunc_op_error('ValueError', refusal("turns", "turns or travel_fraction", why));
    }
    by_turns = (turns !== null) && (_pyfunc_truthy(at_most(turns, turns_limit)));
    by_travel = (travel_fraction !== null) && (_pyfunc_truthy(at_most(travel_fraction, travel_limit)));
    verdict = (_pyfunc_truthy(_pyfunc_truthy(by_turns) || by_travel))? ("pass") : ("fail");
    values = ({verdict: verdict, turns: turns, travel: travel_fraction});
    reason = "Signal after {turns} turns, {travel} of the travel; two turns or a fifth is allowed.";
    margin = ((turns === null))? (null) : (turns_limit - turns);
    return Answer(values, verdict, turns_limit, margin, reason, []);
};

low_air_signal = function flx_low_air_signal (normal_pa, signal_at_pa, trip_pa, change_pa, margin_pa) {
    var change, err_2, reason, values, verdict, warnings;
    if ((normal_pa <= 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("normal", "more than 0", "a supervised system holds air"));
    }
    change = _pyfunc_abs((normal_pa - signal_at_pa));
    reason = "Signal after a change of {change}; {limit} allowed.";
    verdict = (_pyfunc_truthy(at_most(change, change_pa)))? ("pass") : ("fail");
    warnings = [];
    if (((trip_pa !== null) && (signal_at_pa <= trip_pa))) {
        verdict = "fail";
        reason = "The signal comes at or below the trip pressure: the valve trips unannounced.";
    } else if (((trip_pa !== null) && ((signal_at_pa < _pyfunc_op_add(trip_pa, margin_pa))))) {
        _pymeth_append.call(warnings, "The signal comes close above the trip pressure.");
    }
    values = ({verdict: verdict, change: change});
    return Answer(values, verdict, change_pa, change_pa - change, reason, warnings);
};

DeliveryLimit = function flx_DeliveryLimit (hazard, open_sprinklers, seconds) {
    return ({hazard: hazard, open_sprinklers: open_sprinklers, seconds: seconds});
};

Orifice = function flx_Orifice (bore_m, coefficient) {
    return ({bore_m: bore_m, coefficient: coefficient});
};

Surroundings = function flx_Surroundings (temperature_k, atmosphere_pa, gas) {
    return ({temperature_k: temperature_k, atmosphere_pa: atmosphere_pa, gas: gas});
};

DryValve = function flx_DryValve (kind, ratio, fixed_pa) {
    return ({kind: kind, ratio: ratio, fixed_pa: fixed_pa});
};

valve_trip_pressure = function flx_valve_trip_pressure (water_pa, valve) {
    var err_2, err_3, why;
    if ((water_pa < 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("p_water", "0 or more", "gauge pressure below the clapper"));
    }
    if (_pyfunc_op_equals(valve.kind, "latch")) {
        if ((valve.fixed_pa === null)) {
            why = "a latch lets go at a pressure of its own, whatever the water";
            throw _pyfunc_op_error('ValueError', refusal("fixed_trip", "the pressure of the valve's instructions", why));
        }
        return valve.fixed_pa;
    }
    if ((valve.ratio === null)) {
        if (_pyfunc_op_equals(valve.kind, "low_differential")) {
            return water_pa;
        }
        throw _pyfunc_op_error('ValueError', refusal("ratio", "more than 1", "a differential valve trips by its ratio"));
    }
    if ((valve.ratio <= 1.0)) {
        throw _pyfunc_op_error('ValueError', refusal("ratio", "more than 1", "air holds a greater water pressure"));
    }
    return water_pa / valve.ratio;
};

valve_cautions = function flx_valve_cautions (valve, latch_least_pa, latch_most_pa) {
    var cautions, low;
    cautions = [];
    if ((_pyfunc_op_equals(valve.kind, "latch") && (valve.fixed_pa !== null))) {
        low = !_pyfunc_truthy(at_least(valve.fixed_pa, latch_least_pa));
        if (_pyfunc_truthy(_pyfunc_truthy(low) || (!_pyfunc_truthy(at_most(valve.fixed_pa, latch_most_pa))))) {
            _pymeth_append.call(cautions, "A latch lets go at 10 to 15 psi (0.7 to 1.0 bar) as a rule.");
        }
    }
    if ((_pyfunc_op_equals(valve.kind, "low_differential") && (valve.ratio !== null) && (valve.ratio > 2.0))) {
        _pymeth_append.call(cautions, "A low-differential valve has a ratio near 1: is it a differential one?");
    }
    return cautions;
};

trip_pressure_from_differential = function flx_trip_pressure_from_differential (water_pa, valve, observed_pa, previous_pa, off_limit, change_limit, latch_least_pa, latch_most_pa) {
    var bound_pa, margin_pa, reason, trip_pa, values, warnings;
    trip_pa = valve_trip_pressure(water_pa, valve);
    warnings = valve_cautions(valve, latch_least_pa, latch_most_pa);
    values = ({trip: trip_pa, observed: observed_pa});
    if ((observed_pa === null)) {
        return Answer(values, "", null, null, "The valve trips at {trip}.", warnings);
    }
    bound_pa = _pyfunc_op_mult(trip_pa, (((observed_pa < trip_pa))? (1.0 - off_limit) : (1.0 + off_limit)));
    margin_pa = (_pyfunc_abs((bound_pa - trip_pa))) - (_pyfunc_abs((observed_pa - trip_pa)));
    if ((!_pyfunc_truthy(at_most(_pyfunc_abs((observed_pa - trip_pa)), _pyfunc_op_mult(off_limit, trip_pa))))) {
        reason = "Tripped at {observed} where {trip} is calculated: look into the cause.";
        return Answer(values, "look into it", bound_pa, margin_pa, reason, warnings);
    }
    if (((previous_pa !== null) && ((!_pyfunc_truthy(at_most(_pyfunc_abs((observed_pa - previous_pa)), _pyfunc_op_mult(change_limit, previous_pa))))))) {
        reason = "Trip pressure moved to {observed} since the last test: look into the cause.";
        return Answer(values, "look into it", bound_pa, margin_pa, reason, warnings);
    }
    reason = "Tripped at {observed}; {trip} is calculated.";
    return Answer(values, "pass", bound_pa, margin_pa, reason, warnings);
};

dry_air_setpoint = function flx_dry_air_setpoint (water_pa, valve, air_pa, above_trip_pa, above_water_pa, latch_least_pa, latch_most_pa) {
    var reason, setpoint_pa, trip_pa, values, verdict, warnings;
    trip_pa = valve_trip_pressure(water_pa, valve);
    warnings = valve_cautions(valve, latch_least_pa, latch_most_pa);
    setpoint_pa = _pyfunc_op_add(trip_pa, above_trip_pa);
    reason = "Keep {setpoint}: the trip pressure of {trip} with its margin.";
    if (_pyfunc_op_equals(valve.kind, "low_differential")) {
        setpoint_pa = _pyfunc_op_add(water_pa, above_water_pa);
        reason = "Keep at least {setpoint}: low-differential valves hold 15 to 20 psi (1.0 to 1.4";
        reason += " bar) more air than water.";
    }
    values = ({setpoint: setpoint_pa, trip: trip_pa});
    if ((air_pa === null)) {
        return Answer(values, "", setpoint_pa, null, reason, warnings);
    }
    verdict = (_pyfunc_truthy(at_least(air_pa, setpoint_pa)))? ("pass") : ("fail");
    return Answer(values, verdict, setpoint_pa, air_pa - setpoint_pa, reason, warnings);
};

water_delivery_limit = function flx_water_delivery_limit (hazard, time_s, table) {
    var err_1, reason, row, stub3_seq, stub4_itr, values, verdict;
    stub3_seq = table;
    if ((typeof stub3_seq === "object") && (!Array.isArray(stub3_seq))) { stub3_seq = Object.keys(stub3_seq);}
    for (stub4_itr = 0; stub4_itr < stub3_seq.length; stub4_itr += 1) {
        row = stub3_seq[stub4_itr];
        if (_pyfunc_op_equals(row.hazard, hazard)) {
            values = ({open_sprinklers: row.open_sprinklers, seconds: row.seconds});
            reason = "Water is due within {seconds} with {open_sprinklers} open.";
            if ((time_s === null)) {
                return Answer(values, "", row.seconds, null, reason, []);
            }
            verdict = (_pyfunc_truthy(at_most(time_s, row.seconds)))? ("pass") : ("fail");
            return Answer(values, verdict, row.seconds, row.seconds - time_s, reason, []);
        }
    }
    throw _pyfunc_op_error('ValueError', refusal("hazard", "a hazard of the delivery table", "it sets the limit"));
    return null;
};

dry_time_limit_by_volume = function flx_dry_time_limit_by_volume (volume_m3, quick_opening_device, dwelling_unit, plain_m3, quick_m3) {
    var err_2, limit_s, rule, spared_m3, values;
    if ((volume_m3 <= 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("V", "more than 0", "a system has a volume"));
    }
    spared_m3 = (_pyfunc_truthy(quick_opening_device))? (quick_m3) : (plain_m3);
    rule = "60 s";
    limit_s = 60.0;
    if (_pyfunc_truthy(dwelling_unit)) {
        rule = "15 s";
        limit_s = 15.0;
    } else if (_pyfunc_truthy(at_most(volume_m3, spared_m3))) {
        rule = "no limit";
        limit_s = null;
    }
    values = ({rule: rule, seconds: limit_s});
    return Answer(values, "", limit_s, null, "Time to water at the test outlet: {rule}.", []);
};

choked_flow_coefficient = function flx_choked_flow_coefficient (heat_ratio) {
    var exponent;
    exponent = (heat_ratio + 1.0) / (_pyfunc_op_mult(2.0, (heat_ratio - 1.0)));
    return _pyfunc_op_mult(Math.sqrt(heat_ratio), (Math.pow(2.0 / (heat_ratio + 1.0), exponent)));
};

critical_ratio = function flx_critical_ratio (heat_ratio) {
    return Math.pow(2.0 / (heat_ratio + 1.0), heat_ratio / (heat_ratio - 1.0));
};

orifice_mass_flow = function flx_orifice_mass_flow (upstream_abs_pa, atmosphere_pa, area_m2, temperature_k, gas) {
    var k, r, speed, swing;
    k = HEAT_RATIO;
    speed = Math.sqrt(_pyfunc_op_mult(gas, temperature_k));
    if ((atmosphere_pa <= (_pyfunc_op_mult(critical_ratio(k), upstream_abs_pa)))) {
        return (_pyfunc_op_mult(_pyfunc_op_mult(area_m2, upstream_abs_pa), choked_flow_coefficient(k))) / speed;
    }
    r = atmosphere_pa / upstream_abs_pa;
    swing = Math.pow(r, 2.0 / k) - (Math.pow(r, (k + 1.0) / k));
    return (_pyfunc_op_mult(_pyfunc_op_mult(area_m2, upstream_abs_pa), (Math.sqrt(_pyfunc_op_mult((_pyfunc_op_mult(2.0, k) / (k - 1.0)), Math.max(swing, 0.0)))))) / speed;
};

dry_valve_trip_time = function flx_dry_valve_trip_time (volume_m3, start_pa, trip_pa, orifice, around, model) {
    var adiabatic_s, area_m2, constant, err_2, isothermal_s, reason, scale, start, trip, values, warnings, why;
    if ((trip_pa <= 0.0)) {
        why = "the flow stops at atmospheric pressure";
        throw _pyfunc_op_error('ValueError', refusal("p_trip_gauge", "more than 0", why));
    }
    if ((trip_pa >= start_pa)) {
        why = "the pressure falls from the start to the trip";
        throw _pyfunc_op_error('ValueError', refusal("p_trip_gauge", "less than p0_gauge", why));
    }
    warnings = [];
    if ((orifice.coefficient < 0.5)) {
        _pymeth_append.call(warnings, "A coefficient under 0.5 is unusual for an open sprinkler or test outlet.");
    }
    constant = (_pyfunc_op_equals(around.gas, "nitrogen"))? (296.8) : (287.05);
    area_m2 = _pyfunc_op_mult((_pyfunc_op_mult((_pyfunc_op_mult((Math.PI / 4.0), orifice.bore_m)), orifice.bore_m)), orifice.coefficient);
    scale = volume_m3 / (_pyfunc_op_mult(area_m2, (Math.sqrt(_pyfunc_op_mult(constant, around.temperature_k)))));
    start = _pyfunc_op_add(start_pa, around.atmosphere_pa) / around.atmosphere_pa;
    trip = _pyfunc_op_add(trip_pa, around.atmosphere_pa) / around.atmosphere_pa;
    isothermal_s = _pyfunc_op_mult(scale, _blow_down(start, trip, 1.0));
    adiabatic_s = _pyfunc_op_mult(scale, _blow_down(start, trip, HEAT_RATIO));
    values = ({time: (_pyfunc_op_equals(model, "adiabatic"))? (adiabatic_s) : (isothermal_s), isothermal: isothermal_s, adiabatic: adiabatic_s});
    reason = "The air falls to the trip pressure in {adiabatic} to {isothermal}.";
    return Answer(values, "", null, null, reason, warnings);
};

_blow_down = function flx__blow_down (start, trip, polytrope) {
    var choke, choked_to, flow, g, i, p, power, ratio, steps, total, warmth, width;
    choke = 1.0 / critical_ratio(HEAT_RATIO);
    choked_to = Math.max(trip, Math.min(choke, start));
    total = 0.0;
    if ((start > choke)) {
        ratio = start / choked_to;
        g = choked_flow_coefficient(HEAT_RATIO);
        if (_pyfunc_op_equals(polytrope, 1.0)) {
            total = Math.log(ratio) / g;
        } else {
            power = (polytrope - 1.0) / _pyfunc_op_mult(2.0, polytrope);
            total = _pyfunc_op_mult(((2.0 / (polytrope - 1.0)) / g), (Math.pow(ratio, power) - 1.0));
        }
    }
    steps = 800;
    width = (choked_to - trip) / steps;
    i = 0;
    while ((i < steps) && (width > 0.0)) {
        p = _pyfunc_op_add(trip, (_pyfunc_op_mult((i + 0.5), width)));
        warmth = Math.pow(p / start, (polytrope - 1.0) / polytrope);
        flow = orifice_mass_flow(p, 1.0, 1.0, 1.0, 1.0) / Math.sqrt(warmth);
        total = _pyfunc_op_add(total, width / (_pyfunc_op_mult(_pyfunc_op_mult(polytrope, warmth), flow)));
        i += 1;
    }
    return total;
};

air_pressure_at_temperature = function flx_air_pressure_at_temperature (pressure_pa, from_k, to_k, atmosphere_pa) {
    return ((_pyfunc_op_mult(_pyfunc_op_add(pressure_pa, atmosphere_pa), to_k)) / from_k) - atmosphere_pa;
};

air_leak_rate = function flx_air_leak_rate (volume_m3, start_pa, end_pa, temperature_k, end_temperature_k, duration_s, atmosphere_pa) {
    var atmospheres, err_2, leak_m3s, reason, values;
    if ((duration_s <= 0.0)) {
        throw _pyfunc_op_error('ValueError', refusal("duration", "more than 0", "a rate needs a time"));
    }
    if ((end_temperature_k !== null)) {
        end_pa = air_pressure_at_temperature(end_pa, end_temperature_k, temperature_k, atmosphere_pa);
    }
    atmospheres = (start_pa - end_pa) / STANDARD_ATMOSPHERE_PA;
    leak_m3s = ((_pyfunc_op_mult(_pyfunc_op_mult(volume_m3, atmospheres), STANDARD_AIR_K)) / temperature_k) / duration_s;
    values = ({leak: leak_m3s, loss: start_pa - end_pa});
    if ((leak_m3s < 0.0)) {
        reason = "The pressure rose: the pipe warmed, or a valve passes. No pass by itself.";
        return Answer(values, "look into it", null, null, reason, []);
    }
    return Answer(values, "", null, null, "{loss} lost, {leak} of standard air.", []);
};

air_test_verdict = function flx_air_test_verdict (start_pa, end_pa, start_k, end_k, atmosphere_pa, allowed_pa) {
    var loss_pa, reason, values, verdict, warnings;
    warnings = [];
    if (((start_k !== null) && (end_k !== null))) {
        end_pa = air_pressure_at_temperature(end_pa, end_k, start_k, atmosphere_pa);
    } else {
        _pymeth_append.call(warnings, "Not corrected for temperature: 10 degF (5.6 K) moves about 1 psi.");
    }
    loss_pa = start_pa - end_pa;
    verdict = (_pyfunc_truthy(at_most(loss_pa, allowed_pa)))? ("pass") : ("fail");
    reason = "{loss} lost; {limit} allowed.";
    if ((loss_pa < 0.0)) {
        verdict = "look into it";
        reason = "The pressure rose: the pipe warmed, or a valve passes. No pass by itself.";
    }
    values = ({verdict: verdict, loss: loss_pa});
    return Answer(values, verdict, allowed_pa, allowed_pa - loss_pa, reason, warnings);
};

air_fill_time = function flx_air_fill_time (time_s, space_k, limit_s, cold_limit_s, cold_k) {
    var allowed_s;
    allowed_s = ((space_k < cold_k))? (cold_limit_s) : (limit_s);
    return keeps(time_s, allowed_s, "Normal air pressure after {value}; {limit} allowed.", []);
};

AntifreezeCurve = function flx_AntifreezeCurve (fluid, basis, percent, freezing_k, specific_gravity, gravity_at_k) {
    return ({fluid: fluid, basis: basis, percent: percent, freezing_k: freezing_k, specific_gravity: specific_gravity, gravity_at_k: gravity_at_k});
};

glycerine_weight_percent = function flx_glycerine_weight_percent (volume_percent) {
    var glycerine;
    glycerine = _pyfunc_op_mult(1.2656, volume_percent);
    return _pyfunc_op_mult(100.0, glycerine) / (_pyfunc_op_add(glycerine, (_pyfunc_op_mult(0.9991, (100.0 - volume_percent)))));
};

glycerine_volume_percent = function flx_glycerine_volume_percent (weight_percent) {
    var glycerine;
    glycerine = weight_percent / 1.2656;
    return _pyfunc_op_mult(100.0, glycerine) / (_pyfunc_op_add(glycerine, ((100.0 - weight_percent) / 0.9991)));
};

antifreeze_freezing_point = function flx_antifreeze_freezing_point (fluid, volume_percent, weight_percent, curves) {
    var field;
    field = _percent_field(volume_percent);
    return _freezing_point(fluid, volume_percent, weight_percent, curves, field);
};

_freezing_point = function flx__freezing_point (fluid, volume_percent, weight_percent, curves, field) {
    var basis, curve, err_2, percent, point, stub5_seq, stub6_itr, warmest, why;
    percent = _percent(fluid, volume_percent, weight_percent);
    basis = _basis(fluid, volume_percent);
    if ((_pyfunc_op_equals(fluid, "glycerine") && (percent > 67.0))) {
        why = "above about 67 percent by weight the freezing point rises again";
        throw _pyfunc_op_error('ValueError', refusal(field, "67 by weight at most", why));
    }
    warmest = null;
    stub5_seq = curves;
    if ((typeof stub5_seq === "object") && (!Array.isArray(stub5_seq))) { stub5_seq = Object.keys(stub5_seq);}
    for (stub6_itr = 0; stub6_itr < stub5_seq.length; stub6_itr += 1) {
        curve = stub5_seq[stub6_itr];
        if ((_pyfunc_op_equals(curve.fluid, fluid) && _pyfunc_op_equals(curve.basis, basis) && (percent <= curve.percent[curve.percent.length -1]))) {
            point = interpolated(percent, curve.percent, curve.freezing_k);
            if (((warmest === null) || (point > warmest))) {
                warmest = point;
            }
        }
    }
    if ((warmest === null)) {
        throw _pyfunc_op_error('ValueError', refusal(field, "0 to 60", "no data beyond it"));
    }
    return warmest;
};

antifreeze_specific_gravity = function flx_antifreeze_specific_gravity (fluid, volume_percent, weight_percent, temperature_k, curves) {
    var at_table, basis, curve, err_1, percent, stub7_seq, stub8_itr;
    percent = _percent(fluid, volume_percent, weight_percent);
    basis = _basis(fluid, volume_percent);
    stub7_seq = curves;
    if ((typeof stub7_seq === "object") && (!Array.isArray(stub7_seq))) { stub7_seq = Object.keys(stub7_seq);}
    for (stub8_itr = 0; stub8_itr < stub7_seq.length; stub8_itr += 1) {
        curve = stub7_seq[stub8_itr];
        if ((_pyfunc_op_equals(curve.fluid, fluid) && _pyfunc_op_equals(curve.basis, basis) && (percent <= curve.percent[curve.percent.length -1]))) {
            at_table = interpolated(percent, curve.percent, curve.specific_gravity);
            return at_table - (_pyfunc_op_mult(0.00045, (temperature_k - curve.gravity_at_k)));
        }
    }
    throw _pyfunc_op_error('ValueError', (refusal(_percent_field(volume_percent), "0 to 60", "no data beyond it")));
    return null;
};

antifreeze_concentration = function flx_antifreeze_concentration (fluid, specific_gravity, temperature_k, curves) {
    var basis, curve, err_1, err_4, gravity, percent, reason, stub10_itr, stub9_seq, values, warnings, why;
    basis = (_pyfunc_op_equals(fluid, "glycerine"))? ("weight") : ("volume");
    stub9_seq = curves;
    if ((typeof stub9_seq === "object") && (!Array.isArray(stub9_seq))) { stub9_seq = Object.keys(stub9_seq);}
    for (stub10_itr = 0; stub10_itr < stub9_seq.length; stub10_itr += 1) {
        curve = stub9_seq[stub10_itr];
        if ((_pyfunc_op_equals(curve.fluid, fluid) && _pyfunc_op_equals(curve.basis, basis))) {
            gravity = _pyfunc_op_add(specific_gravity, (_pyfunc_op_mult(0.00045, (temperature_k - curve.gravity_at_k))));
            if (((gravity < curve.specific_gravity[0]) || (gravity > curve.specific_gravity[curve.specific_gravity.length -1]))) {
                why = "outside the table of this solution: wrong fluid or wrong reading";
                throw _pyfunc_op_error('ValueError', refusal("specific_gravity", "a gravity of the table", why));
            }
            percent = interpolated(gravity, curve.specific_gravity, curve.percent);
            warnings = [];
            if (_pyfunc_op_equals(fluid, "propylene_glycol")) {
                _pymeth_append.call(warnings, "A hydrometer alone is not enough for propylene glycol: confirm by refractometer.");
            } else {
                percent = glycerine_volume_percent(percent);
            }
            values = ({percent_by_volume: percent});
            reason = "The sample holds {percent_by_volume} percent by volume.";
            return Answer(values, "", null, null, reason, warnings);
        }
    }
    throw _pyfunc_op_error('ValueError', refusal("fluid", "a fluid of the table", "it sets the scale"));
    return null;
};

antifreeze_limit_2023 = function flx_antifreeze_limit_2023 (fluid, volume_percent, weight_percent, glycol_limit, glycerine_limit) {
    var err_2, limit, percent, reason, values, why, within;
    if ((((!_pyfunc_op_equals(fluid, "glycerine"))) && ((!_pyfunc_op_equals(fluid, "propylene_glycol"))))) {
        values = ({finding: "over limit", percent_by_volume: null});
        reason = "An unknown solution, or one that is not permitted, is drained and replaced.";
        return Answer(values, "fail", null, null, reason, []);
    }
    percent = volume_percent;
    if (((percent === null) && (weight_percent !== null) && _pyfunc_op_equals(fluid, "glycerine"))) {
        percent = glycerine_volume_percent(weight_percent);
    }
    if ((percent === null)) {
        why = "the limit is by volume";
        throw _pyfunc_op_error('ValueError', refusal("percent_by_volume", "0 to 100", why));
    }
    limit = (_pyfunc_op_equals(fluid, "glycerine"))? (glycerine_limit) : (glycol_limit);
    within = at_most(percent, limit);
    values = ({finding: (_pyfunc_truthy(within))? ("within limit") : ("over limit"), percent_by_volume: percent});
    reason = "{percent_by_volume} percent by volume; {limit} allowed.";
    if ((!_pyfunc_truthy(within))) {
        reason += " Drain and replace.";
    }
    return Answer(values, (_pyfunc_truthy(within))? ("pass") : ("fail"), limit, limit - percent, reason, []);
};

antifreeze_test_points = function flx_antifreeze_test_points (volume_m3, plain_m3, each_m3) {
    var more, reason, values, warnings;
    more = 0;
    while (volume_m3 > (_pyfunc_op_mult((_pyfunc_op_add(plain_m3, _pyfunc_op_mult(more, each_m3))), (1.0 + (1e-09))))) {
        more += 1;
    }
    values = ({points: 4.0 + more});
    warnings = ["How a part of 100 gal counts is not stated: a begun one is counted."];
    reason = "{points} points: top, bottom, most remote, supply connection, and more by volume.";
    return Answer(values, "", null, null, reason, (_pyfunc_op_equals(more, 0))? ([]) : (warnings));
};

antifreeze_protection = function flx_antifreeze_protection (fluid, volume_percents, lowest_k, curves) {
    var err_2, percent, point_k, reason, stub11_seq, stub12_itr, values, verdict, warmest_k;
    if ((volume_percents.length == 0)) {
        throw _pyfunc_op_error('ValueError', refusal("percents_by_volume", "one or more", "the weakest governs"));
    }
    warmest_k = 0.0;
    stub11_seq = volume_percents;
    if ((typeof stub11_seq === "object") && (!Array.isArray(stub11_seq))) { stub11_seq = Object.keys(stub11_seq);}
    for (stub12_itr = 0; stub12_itr < stub11_seq.length; stub12_itr += 1) {
        percent = stub11_seq[stub12_itr];
        point_k = _freezing_point(fluid, percent, null, curves, "percents_by_volume");
        warmest_k = Math.max(warmest_k, point_k);
    }
    verdict = ((warmest_k < lowest_k))? ("pass") : ("fail");
    values = ({verdict: verdict, freezing_point: warmest_k});
    reason = "The weakest sample freezes at {freezing_point}; {limit} is expected.";
    return Answer(values, verdict, lowest_k, lowest_k - warmest_k, reason, []);
};

_basis = function flx__basis (fluid, volume_percent) {
    return (((volume_percent !== null) && ((!_pyfunc_op_equals(fluid, "glycerine")))))? ("volume") : ("weight");
};

_percent_field = function flx__percent_field (volume_percent) {
    return ((volume_percent !== null))? ("percent_by_volume") : ("percent_by_weight");
};

_percent = function flx__percent (fluid, volume_percent, weight_percent) {
    var err_1, err_2, why;
    if (((volume_percent !== null) && (weight_percent !== null))) {
        why = "one concentration, by volume or by weight";
        throw _pyfunc_op_error('ValueError', refusal("percent_by_weight", "nothing beside percent_by_volume", why));
    }
    if ((volume_percent !== null)) {
        return (_pyfunc_op_equals(fluid, "glycerine"))? (glycerine_weight_percent(volume_percent)) : (volume_percent);
    }
    if ((weight_percent !== null)) {
        return weight_percent;
    }
    throw _pyfunc_op_error('ValueError', refusal("percent_by_volume", "0 to 100", "a concentration is needed"));
    return null;
};
export { MainDrainTest, DryValve, Orifice, Surroundings, nozzle_pitot_flow, pitot_cautions, main_drain_change, waterflow_alarm_time, gauge_accuracy, valve_supervisory_signal, low_air_signal, trip_pressure_from_differential, dry_air_setpoint, water_delivery_limit, dry_time_limit_by_volume, dry_valve_trip_time, air_pressure_at_temperature, air_leak_rate, air_test_verdict, air_fill_time, antifreeze_freezing_point, antifreeze_specific_gravity, antifreeze_concentration, antifreeze_limit_2023, antifreeze_protection };
