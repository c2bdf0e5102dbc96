// Written from types.py, state.py, panel.py, rules.py, motion.py, acts.py, ready.py, observe.py, constraints.py, steps.py, step_acts.py, guide.py, words.py: change those.
import { _pyfunc_abs, _pyfunc_create_dict, _pyfunc_op_add, _pyfunc_op_contains, _pyfunc_op_equals, _pyfunc_op_error, _pyfunc_op_mult, _pyfunc_sorted, _pyfunc_str, _pyfunc_truthy, _pymeth_append, _pymeth_format, _pymeth_get, _pymeth_startswith } from "./runtime.js";
var ACTS, Action, BAD_LEAK, BEGIN, BEYOND_SUPPLY_PSI_S, BOTH_WITHOUT_FLOW, Breach, CHOICES, COMMON, CRACKED_PCT, Config, DRAIN_S, DRY, EDGE, EFFECTS, ELECTRIC, EMPTY_PSI, ENDING, ENGLISH, ENOUGH, EXHAUST_PSI_S, FAULTS, FAULT_PARTS, FILL_S, FINISH, FULL_OR_EMPTY, GAUGES, GAUGE_KEYS, GAUGE_TOLERANCE_PSI, GUARDS, HALF_TRAVEL_PCT, Item, LARGEST, LATE, LEAK, LIST, LOW_PILOT_PART, MOST_EVENTS, Mismatch, NORMALLY_OPEN, NORMALLY_SHUT, NO_FLOW, NO_WATER, PANEL_KEYS, PARTLY_SHUT, PASSES, POSITIVE, PREPARING, PRIME, PROVING, PSI_PER_FT, QOD_FALL_PSI_S, RATIO_WITHOUT_DIFFERENTIAL, RESET_PSI, RESTORATION, ROWS, Reading, Refusal, SLOW_LEAK_PSI_S, SMALL_FLOW, SUPPLY_PSI_S, State, Step, TAMPER_TRAVEL_PCT, TAMPER_TURNS, TESTING, TESTS, THROTTLED_PCT, TINY, TRIPPED, TYPES, Taken, USUAL_RESIDUAL_PART, WAITS, WET, WITHOUT_FLOW, WORDS, ac_power, act, acts_of, actuator_open, advance, after_acts, agrees, air_acts, air_escapes, air_feeds, air_loss, air_rate, air_signals, air_targets, alarm_check, alarm_flow, alarm_line_acts, and_settle, at_rest, auto_drain_word, before, begun, broken_by_hand_valve, broken_by_other, broken_by_reset, broken_by_water, chamber, check_override, class_of, clear_fault, cleared_acts, close_drain_acts, close_outlets_acts, close_valve, closed, codes_of, compare, compared_signals, composed, compressor, compressor_runs, constraints_of, control_valve, counts, crack_water_acts, demand, detection_acts, detection_cleared_acts, detector_alarm, detector_clear, done_step, drain_below_acts, drain_column, drain_low_points, drain_low_points_acts, drain_word, draining, dry_valve, effect, end_state, energised, fault_fits, fed, fill_rate, final_reset_acts, first_zone_acts, fitted, flow_at, fuse_sprinkler, gauge, gong_rings, guard_of, guide, hand_valve, has_item, hazard_under, hazards_of, high_side_psi, holds, inlet, inspectors_test_acts, inspectors_test_shut_acts, interlock_met, is_fitted, is_number, is_open, is_ready, is_seen, item, lacks_prime, lamps_of, latch, latches, leaving, lets_water_in, lifts_on_full_pressure, listed, live_signals, main_drain, main_drain_shut_acts, main_drain_test_acts, make_config, moved, names_hazard, next_steps, normal_state, not_normal, observe, one_pass, open_drains_acts, open_fully_acts, open_qod_acts, open_valve, opened, operate_pilot_acts, outlet_open, outlet_psi, panel_reset, panel_silence, panel_word, parts_of, passes_up, phase_of, pilot_rate, pilot_targets, pipe_psi, positions, powered, pressures, prime, prime_check_acts, prime_feed_psi, priming_valve, prove_alarm_acts, prove_reset_acts, pull_station, qod_word, ratio_now, readings_of, refusal_of, relaxed, release_disconnect, release_drain_runs, release_wanted, release_water_shut_acts, releasing_parts, replace_sprinkler, reset_clapper, reset_clapper_acts, reset_panel_acts, reset_qod, reset_qod_acts, reset_solenoid, reset_solenoid_acts, resettable, restoration, restore_air_acts, restore_pull_station, retard_of, retard_rate, seconds_to, seconds_until, set_supply, settle, shut_control_acts, signals, solenoid_open, sprays, start_fault, step_now, stop_air_acts, take, tampered, tasks_of, throttle_acts, to_next_event, trip_point_psi, trouble_signals, unproven, valve_word, vane_flow, vent_path_open, vented_by_hand, venting, waits_for, warnings_before, water, with_hand, with_name, with_prime, with_valve, with_water, without_name, word, worked_from;
COMMON = ({valve: "prime", dry: true, air: false, vent: "", pilot: false, open_nozzles: false, has_detection: false, interlock: "", has_qod: false, supply: 100.0, residual: 80.0, turns: 10, prime_hold: 0.5, ratio: 5.5, air_set: 40.0, low_air: 30.0, high_air: 60.0, high_air_switch: true, low_air_interlock: 20.0, pilot_set: 30.0, pilot_trip: 15.0, actuator_trip: 10.0, retard: 20.0, solenoid: "NC", zones_required: 1, drain_above_switch: true, reclose: "hydraulic_latch", supv_latching: true, switch_interruptible: true, prime_source: "upstream", column_ft: 0.0, room_switch: false});
TYPES = ({wet_alarm_check: ({valve: "alarm_check", dry: false}), wet_straight_pipe: ({valve: "none", dry: false, retard: 40.0}), dry: ({valve: "dry", air: true}), dry_qod: ({valve: "dry", air: true, has_qod: true}), deluge_electric: ({open_nozzles: true, has_detection: true, vent: "solenoid"}), deluge_pneumatic: ({open_nozzles: true, vent: "pilot", pilot: true}), deluge_hydraulic: ({open_nozzles: true, vent: "wetpilot"}), preaction_non_interlock: ({air: true, has_detection: true, vent: "solenoid|actuator"}), preaction_single_electric: ({air: true, has_detection: true, vent: "solenoid", air_set: 10.0, low_air: 6.0, high_air: 20.0}), preaction_single_pneumatic: ({air: true, vent: "pilot", pilot: true, air_set: 10.0, low_air: 6.0, high_air: 20.0}), preaction_double_electric_electric: ({air: true, has_detection: true, vent: "solenoid", interlock: "panel"}), preaction_double_electric_pneumatic: ({air: true, has_detection: true, vent: "solenoid&actuator"})});
CHOICES = ({valve: ["alarm_check", "none", "dry", "prime"], vent: ["", "solenoid", "pilot", "wetpilot", "solenoid|actuator", "solenoid&actuator"], interlock: ["", "panel"], solenoid: ["NC", "NO", "latching"], reclose: ["hydraulic_latch", "self_reclosing"], prime_source: ["upstream", "downstream"]});
USUAL_RESIDUAL_PART = 0.8;
LARGEST = 100000;
POSITIVE = ["supply", "turns", "ratio", "zones_required", "prime_hold"];
Config = function flx_Config (system_type, valve, dry, air, vent, pilot, open_nozzles, has_detection, interlock, has_qod, supply, residual, turns, prime_hold, ratio, air_set, low_air, high_air, high_air_switch, low_air_interlock, pilot_set, pilot_trip, actuator_trip, retard, solenoid, zones_required, drain_above_switch, reclose, supv_latching, switch_interruptible, prime_source, column_ft, room_switch) {
    return ({system_type: system_type, valve: valve, dry: dry, air: air, vent: vent, pilot: pilot, open_nozzles: open_nozzles, has_detection: has_detection, interlock: interlock, has_qod: has_qod, supply: supply, residual: residual, turns: turns, prime_hold: prime_hold, ratio: ratio, air_set: air_set, low_air: low_air, high_air: high_air, high_air_switch: high_air_switch, low_air_interlock: low_air_interlock, pilot_set: pilot_set, pilot_trip: pilot_trip, actuator_trip: actuator_trip, retard: retard, solenoid: solenoid, zones_required: zones_required, drain_above_switch: drain_above_switch, reclose: reclose, supv_latching: supv_latching, switch_interruptible: switch_interruptible, prime_source: prime_source, column_ft: column_ft, room_switch: room_switch});
};

make_config = function flx_make_config (system_type, overrides) {
    var err_2, key, stub1_seq, stub2_itr, stub3_seq, stub4_itr, stub5_seq, stub6_itr, table;
    if ((!_pyfunc_op_contains(system_type, TYPES))) {
        throw _pyfunc_op_error('ValueError', (_pymeth_format.call("system_type: {} is not one of {}", system_type, listed(TYPES))));
    }
    table = ({});
    stub1_seq = COMMON;
    if ((typeof stub1_seq === "object") && (!Array.isArray(stub1_seq))) { stub1_seq = Object.keys(stub1_seq);}
    for (stub2_itr = 0; stub2_itr < stub1_seq.length; stub2_itr += 1) {
        key = stub1_seq[stub2_itr];
        table[key] = COMMON[key];
    }
    stub3_seq = TYPES[system_type];
    if ((typeof stub3_seq === "object") && (!Array.isArray(stub3_seq))) { stub3_seq = Object.keys(stub3_seq);}
    for (stub4_itr = 0; stub4_itr < stub3_seq.length; stub4_itr += 1) {
        key = stub3_seq[stub4_itr];
        table[key] = TYPES[system_type][key];
    }
    stub5_seq = overrides;
    if ((typeof stub5_seq === "object") && (!Array.isArray(stub5_seq))) { stub5_seq = Object.keys(stub5_seq);}
    for (stub6_itr = 0; stub6_itr < stub5_seq.length; stub6_itr += 1) {
        key = stub5_seq[stub6_itr];
        check_override(key, overrides[key]);
        table[key] = overrides[key];
    }
    if ((((!_pyfunc_op_contains("residual", overrides))) && (table["residual"] > table["supply"]))) {
        table["residual"] = _pyfunc_op_mult(USUAL_RESIDUAL_PART, table["supply"]);
    }
    if ((table["residual"] > table["supply"])) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("residual: {} psi is above the supply; accepted: 0 to {}", table["residual"], table["supply"]));
    }
    return composed(system_type, table);
};

check_override = function flx_check_override (key, value) {
    var err_2, err_3, least, number;
    if ((!_pyfunc_op_contains(key, COMMON))) {
        throw _pyfunc_op_error('ValueError', (_pymeth_format.call("{}: not a field of the configuration; accepted: {}", key, listed(COMMON))));
    }
    if (_pyfunc_op_contains(key, CHOICES)) {
        if ((!_pyfunc_op_contains(value, CHOICES[key]))) {
            throw _pyfunc_op_error('ValueError', (_pymeth_format.call("{}: {} is not one of {}", key, value, listed(CHOICES[key]))));
        }
        return null;
    }
    if ((Object.prototype.toString.call(COMMON[key]).slice(8,-1).toLowerCase() === 'boolean')) {
        if (((value !== true) && (value !== false))) {
            throw _pyfunc_op_error('ValueError', _pymeth_format.call("{}: {} is not accepted; accepted: true, false", key, value));
        }
        return null;
    }
    number = ((Object.prototype.toString.call(value).slice(8,-1).toLowerCase() === 'number')) && ((!(Object.prototype.toString.call(value).slice(8,-1).toLowerCase() === 'boolean')));
    if ((((!_pyfunc_truthy(number))) || ((!((0.0 <= value) && (value <= LARGEST)))) || (_pyfunc_op_contains(key, POSITIVE) && _pyfunc_op_equals(value, 0.0)))) {
        least = "0";
        if (_pyfunc_op_contains(key, POSITIVE)) {
            least = "more than 0";
        }
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("{}: {} is not accepted; accepted: a number, {} to {}", key, value, least, LARGEST));
    }
    return null;
};

listed = function flx_listed (names) {
    var name, stub7_seq, stub8_itr, text;
    text = "";
    stub7_seq = names;
    if ((typeof stub7_seq === "object") && (!Array.isArray(stub7_seq))) { stub7_seq = Object.keys(stub7_seq);}
    for (stub8_itr = 0; stub8_itr < stub7_seq.length; stub8_itr += 1) {
        name = stub7_seq[stub8_itr];
        if ((!_pyfunc_op_equals(text, ""))) {
            text = text + ", ";
        }
        text = _pyfunc_op_add(text, name);
    }
    return text;
};

composed = function flx_composed (system_type, table) {
    return Config(system_type, table["valve"], table["dry"], table["air"], table["vent"], table["pilot"], table["open_nozzles"], table["has_detection"], table["interlock"], table["has_qod"], table["supply"], table["residual"], table["turns"], table["prime_hold"], table["ratio"], table["air_set"], table["low_air"], table["high_air"], table["high_air_switch"], table["low_air_interlock"], table["pilot_set"], table["pilot_trip"], table["actuator_trip"], table["retard"], table["solenoid"], table["zones_required"], table["drain_above_switch"], table["reclose"], table["supv_latching"], table["switch_interruptible"], table["prime_source"], table["column_ft"], table["room_switch"]);
};

NORMALLY_OPEN = ["alarm_line_valve", "air_supply_valve", "priming_supply_valve", "qod_isolation_valve"];
NORMALLY_SHUT = ["inlet_drain", "system_drain", "test_connection", "alarm_test_valve", "manual_release", "pilot_head"];
State = function flx_State (supply_psi, control_pct, inlet_psi, valve_open, prime_psi, air_psi, pilot_psi, water_frac, water_psi, chamber_psi, column_ft, low_points_ok, qod_tripped, solenoid_latched_open, release_latched, disconnect, zones, manual_station, latched, sprinkler_open, hand, compressor_on, ac_power, flow_seconds, trip_psi, faults, hazards) {
    return ({supply_psi: supply_psi, control_pct: control_pct, inlet_psi: inlet_psi, valve_open: valve_open, prime_psi: prime_psi, air_psi: air_psi, pilot_psi: pilot_psi, water_frac: water_frac, water_psi: water_psi, chamber_psi: chamber_psi, column_ft: column_ft, low_points_ok: low_points_ok, qod_tripped: qod_tripped, solenoid_latched_open: solenoid_latched_open, release_latched: release_latched, disconnect: disconnect, zones: zones, manual_station: manual_station, latched: latched, sprinkler_open: sprinkler_open, hand: hand, compressor_on: compressor_on, ac_power: ac_power, flow_seconds: flow_seconds, trip_psi: trip_psi, faults: faults, hazards: hazards});
};

Action = function flx_Action (kind, what, pct, rate, zone, psi, on, fault, s) {
    what = (what === undefined) ? "": what;
    pct = (pct === undefined) ? 0.0: pct;
    rate = (rate === undefined) ? "slow": rate;
    zone = (zone === undefined) ? "z1": zone;
    psi = (psi === undefined) ? 0.0: psi;
    on = (on === undefined) ? true: on;
    fault = (fault === undefined) ? "": fault;
    s = (s === undefined) ? 0.0: s;
    return ({kind: kind, what: what, pct: pct, rate: rate, zone: zone, psi: psi, on: on, fault: fault, s: s});
};

normal_state = function flx_normal_state (config) {
    var hand, name, pilot, prime, stub10_itr, stub11_seq, stub12_itr, stub9_seq;
    prime = null;
    if (_pyfunc_op_equals(config.valve, "prime")) {
        prime = config.supply;
    }
    pilot = null;
    if (_pyfunc_truthy(config.pilot)) {
        pilot = config.pilot_set;
    }
    hand = ({});
    stub9_seq = NORMALLY_OPEN;
    if ((typeof stub9_seq === "object") && (!Array.isArray(stub9_seq))) { stub9_seq = Object.keys(stub9_seq);}
    for (stub10_itr = 0; stub10_itr < stub9_seq.length; stub10_itr += 1) {
        name = stub9_seq[stub10_itr];
        hand[name] = true;
    }
    stub11_seq = NORMALLY_SHUT;
    if ((typeof stub11_seq === "object") && (!Array.isArray(stub11_seq))) { stub11_seq = Object.keys(stub11_seq);}
    for (stub12_itr = 0; stub12_itr < stub11_seq.length; stub12_itr += 1) {
        name = stub11_seq[stub12_itr];
        hand[name] = false;
    }
    return State(config.supply, 100.0, config.supply, false, prime, (_pyfunc_truthy(config.air))? (config.air_set) : (0.0), pilot, (_pyfunc_truthy(config.dry))? (0.0) : (1.0), (_pyfunc_truthy(config.dry))? (0.0) : (config.supply), 0.0, config.column_ft, true, false, false, false, false, [], false, [], false, hand, true, true, 0.0, null, [], []);
};

fitted = function flx_fitted (config, name) {
    if (_pyfunc_op_contains(name, ["alarm_test_valve", "alarm_line_valve"])) {
        return !_pyfunc_op_equals(config.valve, "none");
    }
    if (_pyfunc_op_equals(name, "air_supply_valve")) {
        return _pyfunc_truthy(config.air) || config.pilot;
    }
    if (_pyfunc_op_contains(name, ["priming_supply_valve", "manual_release"])) {
        return _pyfunc_op_equals(config.valve, "prime");
    }
    if (_pyfunc_op_equals(name, "qod_isolation_valve")) {
        return config.has_qod;
    }
    if (_pyfunc_op_equals(name, "pilot_head")) {
        return _pyfunc_truthy(config.pilot) || _pyfunc_op_equals(config.vent, "wetpilot");
    }
    return _pyfunc_op_contains(name, NORMALLY_SHUT);
};

is_open = function flx_is_open (config, state, name) {
    return (_pyfunc_truthy(fitted(config, name))) && _pyfunc_truthy(state.hand[name]);
};

with_hand = function flx_with_hand (state, name, is_now_open) {
    var each, hand, stub13_seq, stub14_itr;
    hand = ({});
    stub13_seq = state.hand;
    if ((typeof stub13_seq === "object") && (!Array.isArray(stub13_seq))) { stub13_seq = Object.keys(stub13_seq);}
    for (stub14_itr = 0; stub14_itr < stub13_seq.length; stub14_itr += 1) {
        each = stub13_seq[stub14_itr];
        hand[each] = state.hand[each];
    }
    hand[name] = is_now_open;
    return Object.assign(({}), state, ({hand: hand}));
};

with_name = function flx_with_name (names, name) {
    if (_pyfunc_op_contains(name, names)) {
        return names;
    }
    return _pyfunc_sorted(_pyfunc_op_add(names, [name]), undefined, false);
};

without_name = function flx_without_name (names, name) {
    var each, kept, stub15_seq, stub16_itr;
    kept = [];
    stub15_seq = names;
    if ((typeof stub15_seq === "object") && (!Array.isArray(stub15_seq))) { stub15_seq = Object.keys(stub15_seq);}
    for (stub16_itr = 0; stub16_itr < stub15_seq.length; stub16_itr += 1) {
        each = stub15_seq[stub16_itr];
        if ((!_pyfunc_op_equals(each, name))) {
            _pymeth_append.call(kept, each);
        }
    }
    return kept;
};

TAMPER_TRAVEL_PCT = 20.0;
TAMPER_TURNS = 2.0;
LOW_PILOT_PART = 0.7;
LATE = 5.0;
pipe_psi = function flx_pipe_psi (state) {
    return ((state.air_psi >= state.water_psi))? (state.air_psi) : (state.water_psi);
};

retard_of = function flx_retard_of (config, state) {
    if (_pyfunc_truthy(_pyfunc_truthy(config.dry) || _pyfunc_op_contains("retard_drain_plugged", state.faults))) {
        return 0.0;
    }
    if (_pyfunc_op_contains("retard_drain_leaking", state.faults)) {
        return _pyfunc_op_mult(LATE, config.retard);
    }
    return config.retard;
};

powered = function flx_powered (state) {
    return _pyfunc_truthy(state.ac_power) || (!_pyfunc_op_contains("battery_dead", state.faults));
};

live_signals = function flx_live_signals (config, state, alarm_flow) {
    var live, reported, stub17_seq, stub18_itr, zone;
    live = [];
    if ((!_pyfunc_truthy(powered(state)))) {
        return live;
    }
    stub17_seq = state.zones;
    if ((typeof stub17_seq === "object") && (!Array.isArray(stub17_seq))) { stub17_seq = Object.keys(stub17_seq);}
    for (stub18_itr = 0; stub18_itr < stub17_seq.length; stub18_itr += 1) {
        zone = stub17_seq[stub18_itr];
        _pymeth_append.call(live, ("detector:" + zone));
    }
    if (_pyfunc_truthy(state.manual_station)) {
        _pymeth_append.call(live, "manual_station");
    }
    reported = _pyfunc_truthy(alarm_flow) && ((!_pyfunc_op_contains("waterflow_switch_dead", state.faults)));
    if ((_pyfunc_truthy(reported) && ((state.flow_seconds >= retard_of(config, state))))) {
        _pymeth_append.call(live, "waterflow");
    }
    if (_pyfunc_truthy(tampered(config, state))) {
        _pymeth_append.call(live, "tamper");
    }
    if (_pyfunc_truthy(_pyfunc_truthy(config.air) || config.pilot)) {
        live = _pyfunc_op_add(live, air_signals(config, state));
    }
    if (_pyfunc_truthy(state.disconnect)) {
        _pymeth_append.call(live, "release_disconnected");
    }
    if ((((!_pyfunc_truthy(state.ac_power))) || (state.faults.length > 0))) {
        live = _pyfunc_op_add(live, trouble_signals(config, state));
    }
    return ((live.length > 1))? (_pyfunc_sorted(live, undefined, false)) : (live);
};

trouble_signals = function flx_trouble_signals (config, state) {
    var live;
    live = [];
    if ((_pyfunc_op_contains("solenoid_circuit_open", state.faults) && _pyfunc_truthy(config.has_detection))) {
        _pymeth_append.call(live, "release_circuit_open");
    }
    if ((!_pyfunc_truthy(state.ac_power))) {
        _pymeth_append.call(live, "ac_fail");
    }
    if (_pyfunc_op_contains("battery_dead", state.faults)) {
        _pymeth_append.call(live, "battery_fail");
    }
    if ((_pyfunc_truthy(config.room_switch) && _pyfunc_op_contains("room_cold", state.faults))) {
        _pymeth_append.call(live, "room_low_temp");
    }
    return live;
};

tampered = function flx_tampered (config, state) {
    var travel;
    travel = Math.min(TAMPER_TRAVEL_PCT, (_pyfunc_op_mult(100.0, TAMPER_TURNS) / config.turns));
    return ((state.control_pct <= (100.0 - travel))) && ((!_pyfunc_op_contains("tamper_switch_failed", state.faults)));
};

air_signals = function flx_air_signals (config, state) {
    var live, psi;
    live = [];
    if (_pyfunc_truthy(config.air)) {
        psi = pipe_psi(state);
        if (((psi <= config.low_air) && ((!_pyfunc_op_contains("low_air_switch_misset", state.faults))))) {
            _pymeth_append.call(live, "low_air");
        }
        if ((_pyfunc_truthy(config.high_air_switch) && (psi > config.high_air))) {
            _pymeth_append.call(live, "high_air");
        }
    }
    if (((state.pilot_psi !== null) && ((state.pilot_psi <= _pyfunc_op_mult(LOW_PILOT_PART, config.pilot_set))))) {
        _pymeth_append.call(live, "low_pilot_air");
    }
    return live;
};

class_of = function flx_class_of (signal) {
    if (_pyfunc_op_contains(signal, ["ac_fail", "battery_fail", "release_circuit_open"])) {
        return "trouble";
    }
    if (_pyfunc_truthy(_pyfunc_op_contains(signal, ["waterflow", "manual_station"]) || _pymeth_startswith.call(signal, "detector:"))) {
        return "alarm";
    }
    return "supervisory";
};

latch = function flx_latch (config, state, alarm_flow) {
    var lamp, latched, signal, stub19_seq, stub20_itr;
    if ((!_pyfunc_truthy(powered(state)))) {
        return Object.assign(({}), state, ({latched: [], release_latched: false}));
    }
    latched = state.latched;
    stub19_seq = live_signals(config, state, alarm_flow);
    if ((typeof stub19_seq === "object") && (!Array.isArray(stub19_seq))) { stub19_seq = Object.keys(stub19_seq);}
    for (stub20_itr = 0; stub20_itr < stub19_seq.length; stub20_itr += 1) {
        signal = stub19_seq[stub20_itr];
        if (_pyfunc_op_contains(signal, latched)) {
            continue;
        }
        lamp = class_of(signal);
        if ((_pyfunc_op_equals(lamp, "alarm") || (_pyfunc_op_equals(lamp, "supervisory") && _pyfunc_truthy(config.supv_latching)))) {
            latched = with_name(latched, signal);
        }
    }
    if ((latched.length != state.latched.length)) {
        state = Object.assign(({}), state, ({latched: latched}));
    }
    if (_pyfunc_truthy(((!_pyfunc_truthy(state.release_latched))) && (_pyfunc_truthy(release_wanted(config, state))))) {
        state = Object.assign(({}), state, ({release_latched: true}));
    }
    if ((_pyfunc_op_equals(config.solenoid, "latching") && (_pyfunc_truthy(energised(config, state))))) {
        return Object.assign(({}), state, ({solenoid_latched_open: true}));
    }
    return state;
};

release_wanted = function flx_release_wanted (config, state) {
    var detected, needed, signal, stub21_seq, stub22_itr, zones;
    if ((state.latched.length == 0)) {
        return false;
    }
    zones = 0;
    stub21_seq = state.latched;
    if ((typeof stub21_seq === "object") && (!Array.isArray(stub21_seq))) { stub21_seq = Object.keys(stub21_seq);}
    for (stub22_itr = 0; stub22_itr < stub21_seq.length; stub22_itr += 1) {
        signal = stub21_seq[stub22_itr];
        if (_pymeth_startswith.call(signal, "detector:")) {
            zones = zones + 1;
        }
    }
    needed = config.zones_required;
    if (_pyfunc_op_contains("one_zone_releases", state.faults)) {
        needed = 1.0;
    }
    detected = (zones >= needed) && ((!_pyfunc_op_contains("zones_release_nothing", state.faults)));
    if ((!_pyfunc_truthy(_pyfunc_truthy(detected) || _pyfunc_op_contains("manual_station", state.latched)))) {
        return false;
    }
    return _pyfunc_truthy(config.has_detection) && (_pyfunc_truthy(interlock_met(config, state)));
};

interlock_met = function flx_interlock_met (config, state) {
    var low;
    if ((((!_pyfunc_op_equals(config.interlock, "panel"))) || _pyfunc_op_contains("interlock_always_met", state.faults))) {
        return true;
    }
    low = pipe_psi(state) <= config.low_air_interlock;
    return _pyfunc_truthy(low) && ((!_pyfunc_op_contains("interlock_never_met", state.faults)));
};

energised = function flx_energised (config, state) {
    var intact, released;
    intact = (_pyfunc_truthy(powered(state))) && ((!_pyfunc_op_contains("solenoid_circuit_open", state.faults)));
    released = _pyfunc_truthy(state.release_latched) && ((!_pyfunc_truthy(state.disconnect)));
    if (_pyfunc_op_equals(config.solenoid, "NO")) {
        return _pyfunc_truthy(config.has_detection) && _pyfunc_truthy(intact) && ((!_pyfunc_truthy(released)));
    }
    return _pyfunc_truthy(released) && _pyfunc_truthy(intact);
};

solenoid_open = function flx_solenoid_open (config, state) {
    if (_pyfunc_truthy(((!_pyfunc_op_contains("solenoid", config.vent))) || _pyfunc_op_contains("solenoid_stuck_closed", state.faults))) {
        return false;
    }
    if (_pyfunc_op_equals(config.solenoid, "latching")) {
        return state.solenoid_latched_open;
    }
    if (_pyfunc_op_equals(config.solenoid, "NO")) {
        return !_pyfunc_truthy(energised(config, state));
    }
    return energised(config, state);
};

actuator_open = function flx_actuator_open (config, state) {
    if (_pyfunc_op_contains("actuator_stuck_open", state.faults)) {
        return true;
    }
    if (_pyfunc_op_contains("actuator_stuck_closed", state.faults)) {
        return false;
    }
    if ((state.pilot_psi !== null)) {
        return state.pilot_psi <= config.pilot_trip;
    }
    return pipe_psi(state) <= config.actuator_trip;
};

vent_path_open = function flx_vent_path_open (config, state) {
    if (_pyfunc_truthy((_pyfunc_truthy(fitted(config, "manual_release"))) && _pyfunc_truthy(state.hand["manual_release"]))) {
        return true;
    }
    if (_pyfunc_op_equals(config.vent, "wetpilot")) {
        return state.hand["pilot_head"];
    }
    if (_pyfunc_op_equals(config.vent, "pilot")) {
        return actuator_open(config, state);
    }
    if (_pyfunc_op_equals(config.vent, "solenoid|actuator")) {
        return (_pyfunc_truthy(solenoid_open(config, state))) || actuator_open(config, state);
    }
    if (_pyfunc_op_equals(config.vent, "solenoid&actuator")) {
        return (_pyfunc_truthy(solenoid_open(config, state))) && (_pyfunc_truthy(actuator_open(config, state)));
    }
    return solenoid_open(config, state);
};

PSI_PER_FT = 0.433;
RATIO_WITHOUT_DIFFERENTIAL = 1.1;
SMALL_FLOW = 0.05;
PARTLY_SHUT = 4.0;
QOD_FALL_PSI_S = 0.4;
LEAK = 0.7;
BAD_LEAK = 0.3;
PASSES = 40;
relaxed = function flx_relaxed (config, state) {
    var after, passes;
    passes = 0;
    while (passes < PASSES) {
        after = one_pass(config, state);
        if ((after === state)) {
            return state;
        }
        state = after;
        passes = passes + 1;
    }
    return state;
};

one_pass = function flx_one_pass (config, state) {
    var flow;
    state = inlet(config, state);
    state = water(config, state);
    if (_pyfunc_op_equals(config.valve, "dry")) {
        state = dry_valve(config, chamber(config, state));
    } else if ((state.prime_psi !== null)) {
        state = priming_valve(config, prime(config, state, state.prime_psi));
    }
    flow = alarm_flow(config, state);
    if ((((!_pyfunc_truthy(flow))) && ((!_pyfunc_op_equals(state.flow_seconds, 0.0))))) {
        state = Object.assign(({}), state, ({flow_seconds: 0.0}));
    }
    return latch(config, state, flow);
};

outlet_open = function flx_outlet_open (config, state) {
    return _pyfunc_truthy(state.sprinkler_open) || _pyfunc_truthy(state.hand["test_connection"]) || _pyfunc_truthy(state.hand["system_drain"]) || config.open_nozzles;
};

passes_up = function flx_passes_up (config, state) {
    return _pyfunc_truthy(state.valve_open) || _pyfunc_op_equals(config.valve, "none");
};

fed = function flx_fed (config, state) {
    return (_pyfunc_truthy(passes_up(config, state))) && (state.control_pct > 0.0) && (state.inlet_psi > 0.0);
};

demand = function flx_demand (config, state) {
    if (_pyfunc_truthy(state.hand["inlet_drain"])) {
        return 1.0;
    }
    if ((((!_pyfunc_truthy(passes_up(config, state)))) || (state.water_frac < 1.0))) {
        return 0.0;
    }
    if (_pyfunc_truthy(_pyfunc_truthy(state.hand["system_drain"]) || config.open_nozzles)) {
        return 1.0;
    }
    if (_pyfunc_truthy(_pyfunc_truthy(state.sprinkler_open) || state.hand["test_connection"])) {
        return SMALL_FLOW;
    }
    return 0.0;
};

inlet = function flx_inlet (config, state) {
    var loss, psi, relieved, travel;
    if ((state.control_pct <= 0.0)) {
        relieved = (_pyfunc_truthy(passes_up(config, state))) && (((_pyfunc_truthy(outlet_open(config, state))) || (state.water_frac < 1.0)));
        if ((((!_pyfunc_op_equals(state.inlet_psi, 0.0))) && (_pyfunc_truthy(_pyfunc_truthy(state.hand["inlet_drain"]) || relieved)))) {
            return Object.assign(({}), state, ({inlet_psi: 0.0}));
        }
        return state;
    }
    loss = (config.supply - config.residual) / Math.max(config.residual, 1.0);
    travel = 100.0 / state.control_pct;
    loss = _pyfunc_op_mult((_pyfunc_op_mult(_pyfunc_op_mult(loss, travel), travel)), demand(config, state));
    if (_pyfunc_op_contains("supply_partly_shut", state.faults)) {
        loss = _pyfunc_op_mult(loss, PARTLY_SHUT);
    }
    psi = state.supply_psi / (1.0 + loss);
    return (_pyfunc_op_equals(psi, state.inlet_psi))? (state) : (Object.assign(({}), state, ({inlet_psi: psi})));
};

water = function flx_water (config, state) {
    var drained_below;
    if ((_pyfunc_truthy(state.low_points_ok) && (state.water_frac > 0.0) && _pyfunc_truthy(config.dry))) {
        state = Object.assign(({}), state, ({low_points_ok: false}));
    }
    if (_pyfunc_op_equals(config.valve, "alarm_check")) {
        state = alarm_check(config, state);
    }
    if (_pyfunc_truthy(fed(config, state))) {
        return with_water(state, ((state.water_frac < 1.0))? (0.0) : (state.inlet_psi));
    }
    drained_below = _pyfunc_truthy(state.valve_open) && _pyfunc_truthy(config.dry) && _pyfunc_truthy(state.hand["inlet_drain"]);
    if (((state.water_frac < 1.0) || (_pyfunc_truthy(outlet_open(config, state))) || drained_below)) {
        return with_water(state, 0.0);
    }
    if ((_pyfunc_op_equals(config.valve, "alarm_check") && (state.inlet_psi > state.water_psi))) {
        return with_water(state, state.inlet_psi);
    }
    return state;
};

with_water = function flx_with_water (state, psi) {
    return (_pyfunc_op_equals(psi, state.water_psi))? (state) : (Object.assign(({}), state, ({water_psi: psi})));
};

with_prime = function flx_with_prime (state, psi) {
    return (_pyfunc_op_equals(psi, state.prime_psi))? (state) : (Object.assign(({}), state, ({prime_psi: psi})));
};

with_valve = function flx_with_valve (state, is_now_open) {
    return (_pyfunc_op_equals(is_now_open, state.valve_open))? (state) : (Object.assign(({}), state, ({valve_open: is_now_open})));
};

alarm_check = function flx_alarm_check (config, state) {
    var drawn;
    drawn = (_pyfunc_truthy(outlet_open(config, state))) || ((state.water_frac < 1.0) && (state.control_pct > 0.0));
    return with_valve(state, _pyfunc_truthy(drawn) && (state.inlet_psi > 0.0));
};

chamber = function flx_chamber (config, state) {
    var leaking, psi;
    leaking = _pyfunc_op_contains("water_seat_leaking", state.faults) && _pyfunc_op_contains("auto_drain_plugged", state.faults);
    psi = (_pyfunc_truthy(leaking))? (state.inlet_psi) : (0.0);
    return (_pyfunc_op_equals(psi, state.chamber_psi))? (state) : (Object.assign(({}), state, ({chamber_psi: psi})));
};

outlet_psi = function flx_outlet_psi (config, state) {
    if ((!_pyfunc_truthy(state.valve_open))) {
        return 0.0;
    }
    return Math.max(state.water_psi, state.inlet_psi);
};

venting = function flx_venting (config, state) {
    var held;
    if (_pyfunc_op_contains("pressure_relief_stuck_open", state.faults)) {
        return true;
    }
    held = _pyfunc_truthy(state.valve_open) && (_pyfunc_truthy(latches(config, state))) && (((Math.max(outlet_psi(config, state), state.water_psi)) > 0.0));
    return _pyfunc_truthy(held) || vent_path_open(config, state);
};

latches = function flx_latches (config, state) {
    return _pyfunc_op_equals(config.reclose, "hydraulic_latch") && ((!_pyfunc_op_contains("pressure_relief_failed", state.faults)));
};

prime_feed_psi = function flx_prime_feed_psi (config, state) {
    if (_pyfunc_op_equals(config.prime_source, "downstream")) {
        return state.inlet_psi;
    }
    return state.supply_psi;
};

prime = function flx_prime (config, state, held_psi) {
    var feed, kept;
    if (_pyfunc_truthy(venting(config, state))) {
        return with_prime(state, 0.0);
    }
    kept = 1.0;
    if (_pyfunc_truthy(_pyfunc_op_contains("solenoid_leaking", state.faults) || _pyfunc_op_contains("pressure_relief_leaking", state.faults))) {
        kept = LEAK;
    }
    if (_pyfunc_op_contains("solenoid_leaking_badly", state.faults)) {
        kept = BAD_LEAK;
    }
    feed = 0.0;
    if ((_pyfunc_truthy(state.hand["priming_supply_valve"]) && ((!_pyfunc_op_contains("priming_orifice_plugged", state.faults))))) {
        feed = prime_feed_psi(config, state);
    }
    if ((kept < 1.0)) {
        return with_prime(state, _pyfunc_op_mult(feed, kept));
    }
    return with_prime(state, Math.max(held_psi, feed));
};

priming_valve = function flx_priming_valve (config, state) {
    var gone, low, primed, rests, shut;
    if ((_pyfunc_op_contains("valve_stuck_closed", state.faults) && ((!_pyfunc_truthy(state.valve_open))))) {
        return state;
    }
    low = (state.prime_psi !== null) && ((state.prime_psi < _pyfunc_op_mult(config.prime_hold, state.inlet_psi)));
    if ((!_pyfunc_truthy(state.valve_open))) {
        return with_valve(state, _pyfunc_truthy(low) && (state.inlet_psi > 0.0));
    }
    gone = (Math.max(outlet_psi(config, state), state.water_psi)) <= 0.0;
    rests = (state.inlet_psi <= 0.0) && ((!_pyfunc_truthy(vent_path_open(config, state))));
    primed = (state.prime_psi !== null) && (state.prime_psi > 0.0);
    shut = _pyfunc_truthy(rests) || (_pyfunc_truthy(primed) && ((!_pyfunc_truthy(low))));
    if (_pyfunc_truthy(_pyfunc_truthy(shut) && (_pyfunc_truthy(_pyfunc_truthy(gone) || (!_pyfunc_truthy(latches(config, state))))))) {
        return Object.assign(({}), state, ({valve_open: false}));
    }
    return state;
};

ratio_now = function flx_ratio_now (config, state) {
    var dumped;
    dumped = _pyfunc_truthy(state.qod_tripped) && _pyfunc_truthy(state.hand["qod_isolation_valve"]);
    if (((state.chamber_psi > 0.0) || dumped)) {
        return RATIO_WITHOUT_DIFFERENTIAL;
    }
    return config.ratio;
};

trip_point_psi = function flx_trip_point_psi (config, state) {
    return (state.inlet_psi / ratio_now(config, state)) - _pyfunc_op_mult(PSI_PER_FT, state.column_ft);
};

dry_valve = function flx_dry_valve (config, state) {
    if (_pyfunc_truthy(_pyfunc_truthy(state.valve_open) || _pyfunc_op_contains("valve_stuck_closed", state.faults))) {
        return state;
    }
    if (((state.inlet_psi > 0.0) && ((state.air_psi <= trip_point_psi(config, state))))) {
        return Object.assign(({}), state, ({valve_open: true, trip_psi: state.air_psi}));
    }
    return state;
};

alarm_flow = function flx_alarm_flow (config, state) {
    if (_pyfunc_op_equals(config.valve, "none")) {
        return vane_flow(config, state);
    }
    if (_pyfunc_op_contains("alarm_line_blocked", state.faults)) {
        return false;
    }
    if ((_pyfunc_truthy(state.hand["alarm_test_valve"]) && (state.supply_psi > 0.0))) {
        return true;
    }
    if ((_pyfunc_truthy(config.switch_interruptible) && ((!_pyfunc_truthy(state.hand["alarm_line_valve"]))))) {
        return false;
    }
    if (_pyfunc_op_equals(config.valve, "alarm_check")) {
        return _pyfunc_truthy(state.valve_open) && (state.inlet_psi > 0.0);
    }
    return (state.chamber_psi > 0.0) || (outlet_psi(config, state) > 0.0);
};

vane_flow = function flx_vane_flow (config, state) {
    var drawn;
    if (_pyfunc_truthy(_pyfunc_op_contains("vane_stuck", state.faults) || (!_pyfunc_truthy(fed(config, state))))) {
        return false;
    }
    drawn = _pyfunc_truthy(state.sprinkler_open) || _pyfunc_truthy(state.hand["test_connection"]) || (state.water_frac < 1.0);
    return _pyfunc_truthy(drawn) || (_pyfunc_truthy(state.hand["system_drain"]) && _pyfunc_truthy(config.drain_above_switch));
};

gong_rings = function flx_gong_rings (config, state) {
    var timed;
    timed = state.flow_seconds >= retard_of(config, state);
    return ((!_pyfunc_op_equals(config.valve, "none"))) && _pyfunc_truthy(timed) && (_pyfunc_truthy(alarm_flow(config, state)));
};

air_escapes = function flx_air_escapes (config, state) {
    var clapper_up;
    clapper_up = _pyfunc_op_equals(config.valve, "dry") && _pyfunc_truthy(state.valve_open) && ((!_pyfunc_truthy(fed(config, state))));
    return (_pyfunc_truthy(outlet_open(config, state))) || (_pyfunc_truthy(clapper_up) && _pyfunc_truthy(state.hand["inlet_drain"]));
};

draining = function flx_draining (config, state) {
    var below;
    if (((_pyfunc_truthy(fed(config, state))) || (state.water_frac <= 0.0))) {
        return false;
    }
    if ((!_pyfunc_truthy(config.dry))) {
        return state.hand["system_drain"];
    }
    below = _pyfunc_truthy(state.valve_open) && _pyfunc_truthy(state.hand["inlet_drain"]);
    return _pyfunc_truthy(state.hand["system_drain"]) || _pyfunc_truthy(state.hand["test_connection"]) || below;
};

sprays = function flx_sprays (config, state) {
    if (((_pyfunc_truthy(fed(config, state))) && (state.water_frac >= 1.0))) {
        return "water";
    }
    if ((_pyfunc_truthy(config.dry) && ((!_pyfunc_truthy(config.open_nozzles))) && (state.water_frac > 0.0))) {
        return (_pyfunc_truthy(fed(config, state)))? ("air") : ("water");
    }
    if ((!_pyfunc_truthy(config.air))) {
        return "none";
    }
    if (((state.air_psi > 0.0) || ((_pyfunc_truthy(air_feeds(config, state))) && ((!(state.water_frac > 0.0)))))) {
        return "air";
    }
    return "none";
};

air_feeds = function flx_air_feeds (config, state) {
    return (_pyfunc_truthy(is_open(config, state, "air_supply_valve"))) && _pyfunc_truthy(state.compressor_on) && _pyfunc_truthy(state.ac_power) && ((!_pyfunc_op_contains("compressor_failed", state.faults)));
};

EXHAUST_PSI_S = 1.0;
SUPPLY_PSI_S = 0.1;
SLOW_LEAK_PSI_S = 0.05;
BEYOND_SUPPLY_PSI_S = 0.2;
FILL_S = 30.0;
DRAIN_S = 30.0;
EDGE = 1e-06;
TINY = 1e-09;
MOST_EVENTS = 400;
FULL_OR_EMPTY = [0.0, 1.0];
air_loss = function flx_air_loss (config, state) {
    var loss;
    if ((!_pyfunc_truthy(config.air))) {
        return 0.0;
    }
    loss = 0.0;
    if (_pyfunc_truthy(_pyfunc_op_contains("air_leak_slow", state.faults) || _pyfunc_op_contains("air_seat_leaking", state.faults))) {
        loss = _pyfunc_op_add(loss, SLOW_LEAK_PSI_S);
    }
    if (_pyfunc_op_contains("air_leak_beyond_supply", state.faults)) {
        loss = _pyfunc_op_add(loss, BEYOND_SUPPLY_PSI_S);
    }
    if (_pyfunc_truthy(air_escapes(config, state))) {
        loss = _pyfunc_op_add(loss, EXHAUST_PSI_S);
    }
    return loss;
};

compressor_runs = function flx_compressor_runs (config, state) {
    if ((!_pyfunc_truthy(air_feeds(config, state)))) {
        return false;
    }
    if (((state.pilot_psi !== null) && (state.pilot_psi < config.pilot_set))) {
        return true;
    }
    if ((((!_pyfunc_truthy(config.air))) || (state.water_psi >= config.air_set))) {
        return false;
    }
    return (state.air_psi < config.air_set) || ((state.air_psi <= config.air_set) && ((air_loss(config, state) > 0.0)));
};

air_rate = function flx_air_rate (config, state) {
    var gain, loss, topped;
    loss = air_loss(config, state);
    gain = 0.0;
    topped = Math.max(state.air_psi, state.water_psi) >= config.air_set;
    if ((_pyfunc_truthy(config.air) && (_pyfunc_truthy(air_feeds(config, state))))) {
        if (_pyfunc_op_equals(state.air_psi, config.air_set)) {
            return ((state.water_psi < config.air_set))? (Math.min(0.0, (SUPPLY_PSI_S - loss))) : (-loss);
        }
        if ((!_pyfunc_truthy(topped))) {
            gain = SUPPLY_PSI_S;
        }
    }
    if (((state.air_psi <= 0.0) && (loss >= gain))) {
        return 0.0;
    }
    return gain - loss;
};

pilot_rate = function flx_pilot_rate (config, state) {
    var rate;
    if ((state.pilot_psi === null)) {
        return 0.0;
    }
    rate = 0.0;
    if (_pyfunc_truthy(state.hand["pilot_head"])) {
        rate = -EXHAUST_PSI_S;
    } else if (_pyfunc_op_contains("pilot_leak_slow", state.faults)) {
        rate = -SLOW_LEAK_PSI_S;
    } else if (((_pyfunc_truthy(air_feeds(config, state))) && (state.pilot_psi < config.pilot_set))) {
        rate = SUPPLY_PSI_S;
    }
    if (((state.pilot_psi <= 0.0) && (rate < 0.0))) {
        return 0.0;
    }
    return rate;
};

fill_rate = function flx_fill_rate (config, state) {
    if (_pyfunc_truthy(fed(config, state))) {
        if ((state.water_frac < 1.0)) {
            return (state.control_pct / 100.0) / FILL_S;
        }
        return 0.0;
    }
    if (_pyfunc_truthy(draining(config, state))) {
        return (-1.0) / DRAIN_S;
    }
    return 0.0;
};

retard_rate = function flx_retard_rate (config, state) {
    if ((((state.flow_seconds < retard_of(config, state))) && (_pyfunc_truthy(alarm_flow(config, state))))) {
        return 1.0;
    }
    return 0.0;
};

seconds_to = function flx_seconds_to (value, rate, targets, limit) {
    var span, stub23_seq, stub24_itr, target;
    span = limit;
    stub23_seq = targets;
    if ((typeof stub23_seq === "object") && (!Array.isArray(stub23_seq))) { stub23_seq = Object.keys(stub23_seq);}
    for (stub24_itr = 0; stub24_itr < stub23_seq.length; stub24_itr += 1) {
        target = stub23_seq[stub24_itr];
        if ((((!_pyfunc_op_equals(rate, 0.0))) && ((((target - value) / rate) > TINY)))) {
            span = Math.min(span, ((target - value) / rate));
        }
    }
    return span;
};

moved = function flx_moved (value, rate, span, targets) {
    var after, stub25_seq, stub26_itr, target;
    if (_pyfunc_op_equals(rate, 0.0)) {
        return value;
    }
    after = _pyfunc_op_add(value, _pyfunc_op_mult(rate, span));
    stub25_seq = targets;
    if ((typeof stub25_seq === "object") && (!Array.isArray(stub25_seq))) { stub25_seq = Object.keys(stub25_seq);}
    for (stub26_itr = 0; stub26_itr < stub25_seq.length; stub26_itr += 1) {
        target = stub25_seq[stub26_itr];
        if ((((!_pyfunc_op_equals(after, target))) && (((((target - TINY) < after)) && ((after < _pyfunc_op_add(target, TINY))))))) {
            return target;
        }
    }
    return after;
};

air_targets = function flx_air_targets (config, state, rate) {
    var point, points, stub27_seq, stub28_itr, targets;
    points = [config.low_air, config.high_air, config.low_air_interlock, config.actuator_trip, trip_point_psi(config, state)];
    targets = [0.0, config.air_set];
    stub27_seq = points;
    if ((typeof stub27_seq === "object") && (!Array.isArray(stub27_seq))) { stub27_seq = Object.keys(stub27_seq);}
    for (stub28_itr = 0; stub28_itr < stub27_seq.length; stub28_itr += 1) {
        point = stub27_seq[stub28_itr];
        _pymeth_append.call(targets, (((rate > 0.0))? (_pyfunc_op_add(point, EDGE)) : (point)));
    }
    return targets;
};

pilot_targets = function flx_pilot_targets (config, rate) {
    var point, stub29_seq, stub30_itr, targets;
    targets = [0.0, config.pilot_set];
    stub29_seq = [config.pilot_trip, _pyfunc_op_mult(LOW_PILOT_PART, config.pilot_set)];
    if ((typeof stub29_seq === "object") && (!Array.isArray(stub29_seq))) { stub29_seq = Object.keys(stub29_seq);}
    for (stub30_itr = 0; stub30_itr < stub29_seq.length; stub30_itr += 1) {
        point = stub29_seq[stub30_itr];
        _pymeth_append.call(targets, (((rate > 0.0))? (_pyfunc_op_add(point, EDGE)) : (point)));
    }
    return targets;
};

begun = function flx_begun (config, state) {
    var able, falls;
    state = relaxed(config, state);
    if (_pyfunc_truthy(((!_pyfunc_truthy(config.has_qod))) || state.qod_tripped)) {
        return state;
    }
    falls = (-air_rate(config, state)) > QOD_FALL_PSI_S;
    able = _pyfunc_truthy(state.hand["qod_isolation_valve"]) && ((!_pyfunc_op_contains("qod_failed", state.faults)));
    if ((_pyfunc_truthy(falls) && _pyfunc_truthy(able))) {
        return relaxed(config, Object.assign(({}), state, ({qod_tripped: true})));
    }
    return state;
};

to_next_event = function flx_to_next_event (config, state, limit) {
    var after, air, at_air, at_pilot, fill, pilot, retard, span;
    air = air_rate(config, state);
    pilot = pilot_rate(config, state);
    fill = fill_rate(config, state);
    retard = retard_rate(config, state);
    if ((_pyfunc_op_equals(air, 0.0) && _pyfunc_op_equals(pilot, 0.0) && _pyfunc_op_equals(fill, 0.0) && _pyfunc_op_equals(retard, 0.0))) {
        return [limit, state];
    }
    at_air = [];
    at_pilot = [];
    span = limit;
    if ((!_pyfunc_op_equals(air, 0.0))) {
        at_air = air_targets(config, state, air);
        span = seconds_to(state.air_psi, air, at_air, span);
    }
    if ((((!_pyfunc_op_equals(pilot, 0.0))) && (state.pilot_psi !== null))) {
        at_pilot = pilot_targets(config, pilot);
        span = seconds_to(state.pilot_psi, pilot, at_pilot, span);
    }
    if ((!_pyfunc_op_equals(fill, 0.0))) {
        span = seconds_to(state.water_frac, fill, FULL_OR_EMPTY, span);
    }
    if ((!_pyfunc_op_equals(retard, 0.0))) {
        span = seconds_to(state.flow_seconds, retard, [retard_of(config, state)], span);
    }
    after = Object.assign(({}), state, ({air_psi: moved(state.air_psi, air, span, at_air), water_frac: moved(state.water_frac, fill, span, FULL_OR_EMPTY), flow_seconds: moved(state.flow_seconds, retard, span, [retard_of(config, state)]), pilot_psi: ((_pyfunc_op_equals(pilot, 0.0) || (state.pilot_psi === null)))? (state.pilot_psi) : (moved(state.pilot_psi, pilot, span, at_pilot))}));
    return [span, begun(config, after)];
};

advance = function flx_advance (config, state, dt) {
    var left, span, stub31_;
    left = dt;
    state = begun(config, state);
    while (left > TINY) {
        stub31_ = to_next_event(config, state, left);
        span = stub31_[0];state = stub31_[1];
        left = left - span;
    }
    return state;
};

at_rest = function flx_at_rest (config, state) {
    return ((_pyfunc_op_equals(air_rate(config, state), 0.0))) && ((_pyfunc_op_equals(pilot_rate(config, state), 0.0))) && ((_pyfunc_op_equals(fill_rate(config, state), 0.0))) && ((_pyfunc_op_equals(retard_rate(config, state), 0.0)));
};

settle = function flx_settle (config, state) {
    var events;
    state = begun(config, state);
    events = 0;
    while ((events < MOST_EVENTS) && ((!_pyfunc_truthy(at_rest(config, state))))) {
        state = to_next_event(config, state, 1000000.0)[1];
        events = events + 1;
    }
    return state;
};

seconds_until = function flx_seconds_until (config, state, signal) {
    var events, passed, span, stub32_;
    state = begun(config, state);
    passed = 0.0;
    events = 0;
    while ((events < MOST_EVENTS) && ((!_pyfunc_op_contains(signal, state.latched)))) {
        if (_pyfunc_truthy(at_rest(config, state))) {
            return null;
        }
        stub32_ = to_next_event(config, state, 1000000.0);
        span = stub32_[0];state = stub32_[1];
        passed = _pyfunc_op_add(passed, span);
        events = events + 1;
    }
    return (_pyfunc_op_contains(signal, state.latched))? (passed) : (null);
};

high_side_psi = function flx_high_side_psi (config, state) {
    if (((state.water_frac > 0.0) && (_pyfunc_truthy(fed(config, state))))) {
        return state.inlet_psi;
    }
    return pipe_psi(state);
};

RESET_PSI = 5.0;
EMPTY_PSI = 1.0;
HALF_TRAVEL_PCT = 50.0;
FAULTS = ["solenoid_leaking", "solenoid_leaking_badly", "solenoid_stuck_closed", "solenoid_circuit_open", "priming_orifice_plugged", "low_air_switch_misset", "alarm_line_blocked", "supply_partly_shut", "valve_stuck_closed", "actuator_stuck_open", "actuator_stuck_closed", "air_leak_slow", "air_leak_beyond_supply", "compressor_failed", "pilot_leak_slow", "qod_failed", "tamper_switch_failed", "vane_stuck", "water_seat_leaking", "auto_drain_plugged", "low_point_frozen", "waterflow_switch_dead", "retard_drain_plugged", "retard_drain_leaking", "pressure_relief_failed", "pressure_relief_stuck_open", "pressure_relief_leaking", "air_seat_leaking", "battery_dead", "interlock_never_met", "interlock_always_met", "one_zone_releases", "zones_release_nothing", "room_cold", "gauge_supply_isolated", "gauge_system_isolated", "gauge_prime_isolated", "gauge_pilot_isolated"];
FAULT_PARTS = ({solenoid_leaking: "solenoid", solenoid_leaking_badly: "solenoid", solenoid_stuck_closed: "solenoid", solenoid_circuit_open: "solenoid", priming_orifice_plugged: "prime", low_air_switch_misset: "air", alarm_line_blocked: "alarm_line", valve_stuck_closed: "system_valve", actuator_stuck_open: "actuator", actuator_stuck_closed: "actuator", air_leak_slow: "air", air_leak_beyond_supply: "air", compressor_failed: "air_supply", pilot_leak_slow: "pilot", qod_failed: "qod", vane_stuck: "none", water_seat_leaking: "dry", auto_drain_plugged: "dry", low_point_frozen: "dry_piping", waterflow_switch_dead: "alarm_line", retard_drain_plugged: "alarm_check", retard_drain_leaking: "alarm_check", pressure_relief_failed: "pressure_relief", pressure_relief_stuck_open: "pressure_relief", pressure_relief_leaking: "pressure_relief", air_seat_leaking: "dry", interlock_never_met: "interlock", interlock_always_met: "interlock", one_zone_releases: "cross_zones", zones_release_nothing: "detection", gauge_system_isolated: "system_gauge", gauge_prime_isolated: "prime", gauge_pilot_isolated: "pilot"});
fault_fits = function flx_fault_fits (config, fault) {
    return ((!_pyfunc_op_contains(fault, FAULT_PARTS))) || (_pyfunc_op_contains(FAULT_PARTS[fault], parts_of(config)));
};

parts_of = function flx_parts_of (config) {
    var parts;
    parts = [config.valve];
    if (_pyfunc_truthy(config.dry)) {
        _pymeth_append.call(parts, "dry_piping");
    }
    if ((!_pyfunc_op_equals(config.valve, "none"))) {
        _pymeth_append.call(parts, "alarm_line");
    }
    if (_pyfunc_op_contains(config.valve, ["dry", "prime"])) {
        _pymeth_append.call(parts, "system_valve");
    }
    if ((_pyfunc_op_equals(config.valve, "prime") && _pyfunc_op_equals(config.reclose, "hydraulic_latch"))) {
        _pymeth_append.call(parts, "pressure_relief");
    }
    if (_pyfunc_truthy(config.air)) {
        _pymeth_append.call(parts, "air");
    }
    if (_pyfunc_truthy(_pyfunc_truthy(config.air) || config.pilot)) {
        _pymeth_append.call(parts, "air_supply");
    }
    if (_pyfunc_truthy(config.pilot)) {
        _pymeth_append.call(parts, "pilot");
    }
    if ((!_pyfunc_truthy(config.open_nozzles))) {
        _pymeth_append.call(parts, "system_gauge");
    }
    return _pyfunc_op_add(parts, releasing_parts(config));
};

releasing_parts = function flx_releasing_parts (config) {
    var parts;
    parts = [];
    if (_pyfunc_op_contains("solenoid", config.vent)) {
        _pymeth_append.call(parts, "solenoid");
    }
    if ((_pyfunc_op_contains("actuator", config.vent) || _pyfunc_op_equals(config.vent, "pilot"))) {
        _pymeth_append.call(parts, "actuator");
    }
    if (_pyfunc_op_equals(config.interlock, "panel")) {
        _pymeth_append.call(parts, "interlock");
    }
    if (_pyfunc_truthy(config.has_detection)) {
        _pymeth_append.call(parts, "detection");
        _pymeth_append.call(parts, (((config.zones_required > 1.0))? ("cross_zones") : ("one_zone")));
    }
    if (_pyfunc_truthy(config.has_qod)) {
        _pymeth_append.call(parts, "qod");
    }
    return parts;
};

act = function flx_act (config, state, action) {
    var err_3, hazard, hazards, raised, stub33_seq, stub34_itr;
    raised = hazards_of(config, state, action);
    if ((raised.length > 0)) {
        hazards = state.hazards;
        stub33_seq = raised;
        if ((typeof stub33_seq === "object") && (!Array.isArray(stub33_seq))) { stub33_seq = Object.keys(stub33_seq);}
        for (stub34_itr = 0; stub34_itr < stub33_seq.length; stub34_itr += 1) {
            hazard = stub33_seq[stub34_itr];
            hazards = with_name(hazards, hazard);
        }
        state = Object.assign(({}), state, ({hazards: hazards}));
    }
    if (_pyfunc_op_equals(action.kind, "wait")) {
        if ((action.s < 0.0)) {
            throw _pyfunc_op_error('ValueError', _pymeth_format.call("s: {} is not accepted; accepted: 0 or above", action.s));
        }
        return advance(config, state, action.s);
    }
    if (_pyfunc_op_equals(action.kind, "settle")) {
        return settle(config, state);
    }
    return advance(config, effect(config, state, action), 1.0);
};

hazards_of = function flx_hazards_of (config, state, action) {
    var closes, found, jump;
    found = [];
    if (_pyfunc_op_equals(action.kind, "control_valve")) {
        if (_pyfunc_truthy(lets_water_in(config, state, action))) {
            _pymeth_append.call(found, "water_into_piping");
        }
        jump = (action.pct - state.control_pct) > HALF_TRAVEL_PCT;
        if ((_pyfunc_op_equals(action.rate, "fast") && _pyfunc_truthy(jump) && (state.inlet_psi < EMPTY_PSI))) {
            _pymeth_append.call(found, "water_hammer");
        }
    }
    if ((_pyfunc_op_equals(action.kind, "reset_clapper") && ((!_pyfunc_truthy(resettable(state)))))) {
        _pymeth_append.call(found, "reset_under_pressure");
    }
    if ((_pyfunc_op_equals(action.kind, "drain_low_points") && _pyfunc_truthy(config.dry) && (state.control_pct > 0.0))) {
        _pymeth_append.call(found, "draining_live_system");
    }
    closes = _pyfunc_op_equals(action.kind, "release_disconnect") && _pyfunc_truthy(state.disconnect) && ((!_pyfunc_truthy(action.on)));
    if ((_pyfunc_truthy(closes) && _pyfunc_truthy(state.release_latched))) {
        _pymeth_append.call(found, "release_reenergised");
    }
    return _pyfunc_sorted(found, undefined, false);
};

lets_water_in = function flx_lets_water_in (config, state, action) {
    var head, weak;
    if (((state.control_pct > 0.0) || (action.pct <= 0.0))) {
        return false;
    }
    if (_pyfunc_op_equals(config.valve, "dry")) {
        head = _pyfunc_op_add(state.air_psi, _pyfunc_op_mult(PSI_PER_FT, state.column_ft));
        return _pyfunc_truthy(state.valve_open) || (head < (state.supply_psi / ratio_now(config, state)));
    }
    if ((state.prime_psi === null)) {
        return false;
    }
    weak = state.prime_psi < _pyfunc_op_mult(config.prime_hold, state.supply_psi);
    if (_pyfunc_op_equals(config.prime_source, "downstream")) {
        weak = false;
    }
    return _pyfunc_truthy(state.valve_open) || _pyfunc_truthy(weak) || vent_path_open(config, state);
};

resettable = function flx_resettable (state) {
    return (state.control_pct <= 0.0) && (state.inlet_psi <= RESET_PSI) && ((pipe_psi(state) <= RESET_PSI));
};

effect = function flx_effect (config, state, action) {
    var err_2;
    if ((!_pyfunc_op_contains(action.kind, EFFECTS))) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("do: {} is not an action of the model", action.kind));
    }
    return new EFFECTS[action.kind](config, state, action);
};

open_valve = function flx_open_valve (config, state, action) {
    return hand_valve(state, action.what, true);
};

close_valve = function flx_close_valve (config, state, action) {
    return hand_valve(state, action.what, false);
};

hand_valve = function flx_hand_valve (state, name, is_now_open) {
    var err_2;
    if ((!_pyfunc_op_contains(name, state.hand))) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("what: {} is not a hand valve of the model", name));
    }
    return with_hand(state, name, is_now_open);
};

control_valve = function flx_control_valve (config, state, action) {
    var err_2;
    if ((!((0.0 <= action.pct) && (action.pct <= 100.0)))) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("pct: {} is not accepted; accepted: 0 to 100", action.pct));
    }
    return Object.assign(({}), state, ({control_pct: action.pct}));
};

fuse_sprinkler = function flx_fuse_sprinkler (config, state, action) {
    return Object.assign(({}), state, ({sprinkler_open: true}));
};

replace_sprinkler = function flx_replace_sprinkler (config, state, action) {
    return Object.assign(({}), state, ({sprinkler_open: false}));
};

detector_alarm = function flx_detector_alarm (config, state, action) {
    return Object.assign(({}), state, ({zones: with_name(state.zones, action.zone)}));
};

detector_clear = function flx_detector_clear (config, state, action) {
    return Object.assign(({}), state, ({zones: without_name(state.zones, action.zone)}));
};

pull_station = function flx_pull_station (config, state, action) {
    return Object.assign(({}), state, ({manual_station: true}));
};

restore_pull_station = function flx_restore_pull_station (config, state, action) {
    return Object.assign(({}), state, ({manual_station: false}));
};

panel_reset = function flx_panel_reset (config, state, action) {
    return Object.assign(({}), state, ({latched: [], release_latched: false}));
};

panel_silence = function flx_panel_silence (config, state, action) {
    return state;
};

release_disconnect = function flx_release_disconnect (config, state, action) {
    return Object.assign(({}), state, ({disconnect: action.on}));
};

reset_solenoid = function flx_reset_solenoid (config, state, action) {
    return Object.assign(({}), state, ({solenoid_latched_open: false}));
};

reset_clapper = function flx_reset_clapper (config, state, action) {
    if ((_pyfunc_op_equals(config.valve, "dry") && (_pyfunc_truthy(resettable(state))))) {
        return Object.assign(({}), state, ({valve_open: false}));
    }
    return state;
};

reset_qod = function flx_reset_qod (config, state, action) {
    return Object.assign(({}), state, ({qod_tripped: false}));
};

drain_low_points = function flx_drain_low_points (config, state, action) {
    var clear;
    clear = (state.control_pct <= 0.0) && (state.water_frac <= 0.0);
    if ((_pyfunc_truthy(clear) && ((!_pyfunc_op_contains("low_point_frozen", state.faults))))) {
        return Object.assign(({}), state, ({low_points_ok: true}));
    }
    return state;
};

drain_column = function flx_drain_column (config, state, action) {
    return Object.assign(({}), state, ({column_ft: 0.0}));
};

set_supply = function flx_set_supply (config, state, action) {
    var err_2;
    if ((action.psi < 0.0)) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("psi: {} is not accepted; accepted: 0 or above", action.psi));
    }
    return Object.assign(({}), state, ({supply_psi: action.psi}));
};

compressor = function flx_compressor (config, state, action) {
    return Object.assign(({}), state, ({compressor_on: action.on}));
};

ac_power = function flx_ac_power (config, state, action) {
    return Object.assign(({}), state, ({ac_power: action.on}));
};

start_fault = function flx_start_fault (config, state, action) {
    var err_2;
    if ((!_pyfunc_op_contains(action.fault, FAULTS))) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("fault: {} is not a fault of the model", action.fault));
    }
    return Object.assign(({}), state, ({faults: with_name(state.faults, action.fault)}));
};

clear_fault = function flx_clear_fault (config, state, action) {
    return Object.assign(({}), state, ({faults: without_name(state.faults, action.fault)}));
};

EFFECTS = ({open: open_valve, close: close_valve, control_valve: control_valve, fuse_sprinkler: fuse_sprinkler, replace_sprinkler: replace_sprinkler, detector_alarm: detector_alarm, detector_clear: detector_clear, pull_station: pull_station, restore_pull_station: restore_pull_station, panel_reset: panel_reset, panel_silence: panel_silence, release_disconnect: release_disconnect, reset_solenoid: reset_solenoid, reset_clapper: reset_clapper, reset_qod: reset_qod, drain_low_points: drain_low_points, drain_column: drain_column, set_supply: set_supply, compressor: compressor, ac_power: ac_power, start_fault: start_fault, clear_fault: clear_fault});
ENOUGH = 0.9;
Item = function flx_Item (number, code, by, standing, failing) {
    return ({number: number, code: code, by: by, standing: standing, failing: failing});
};

not_normal = function flx_not_normal (config, state) {
    var failing, live;
    failing = _pyfunc_op_add(pressures(config, state), positions(config, state));
    if ((_pyfunc_op_contains(config.valve, ["dry", "prime"]) && _pyfunc_truthy(state.valve_open))) {
        _pymeth_append.call(failing, "valve_not_set");
    }
    if ((_pyfunc_truthy(config.dry) && (state.water_frac > 0.0))) {
        _pymeth_append.call(failing, "water_in_piping");
    }
    if ((!_pyfunc_truthy(state.low_points_ok))) {
        _pymeth_append.call(failing, "low_points");
    }
    if (_pyfunc_truthy(_pyfunc_truthy(config.has_qod) && (_pyfunc_truthy(_pyfunc_truthy(state.qod_tripped) || (!_pyfunc_truthy(state.hand["qod_isolation_valve"])))))) {
        _pymeth_append.call(failing, "qod");
    }
    if (_pyfunc_truthy(state.sprinkler_open)) {
        _pymeth_append.call(failing, "sprinkler");
    }
    live = live_signals(config, state, alarm_flow(config, state));
    if (_pyfunc_truthy(_pyfunc_truthy(state.latched) || _pyfunc_truthy(live) || (!_pyfunc_truthy(powered(state))))) {
        _pymeth_append.call(failing, "panel");
    }
    if (_pyfunc_truthy(state.disconnect)) {
        _pymeth_append.call(failing, "release_disconnect");
    }
    return _pyfunc_sorted(failing, undefined, false);
};

pressures = function flx_pressures (config, state) {
    var enough, failing, psi, short;
    failing = [];
    enough = _pyfunc_op_mult(ENOUGH, config.supply);
    short = ((!_pyfunc_truthy(config.dry))) && (state.water_psi < enough);
    if (((state.inlet_psi < enough) || short)) {
        _pymeth_append.call(failing, "inlet_pressure");
    }
    if (((state.prime_psi !== null) && (state.prime_psi < enough))) {
        _pymeth_append.call(failing, "priming_pressure");
    }
    psi = pipe_psi(state);
    if ((_pyfunc_truthy(config.air) && (((psi < config.low_air) || (psi > config.high_air))))) {
        _pymeth_append.call(failing, "system_air");
    }
    if (((state.pilot_psi !== null) && ((state.pilot_psi < _pyfunc_op_mult(LOW_PILOT_PART, config.pilot_set))))) {
        _pymeth_append.call(failing, "pilot_air");
    }
    return failing;
};

positions = function flx_positions (config, state) {
    var failing, name, stub35_seq, stub36_itr, stub37_seq, stub38_itr;
    failing = [];
    if ((state.control_pct < 100.0)) {
        _pymeth_append.call(failing, "control_valve");
    }
    stub35_seq = NORMALLY_OPEN;
    if ((typeof stub35_seq === "object") && (!Array.isArray(stub35_seq))) { stub35_seq = Object.keys(stub35_seq);}
    for (stub36_itr = 0; stub36_itr < stub35_seq.length; stub36_itr += 1) {
        name = stub35_seq[stub36_itr];
        if ((((!_pyfunc_op_equals(name, "qod_isolation_valve"))) && (_pyfunc_truthy(fitted(config, name))) && ((!_pyfunc_truthy(state.hand[name]))))) {
            _pymeth_append.call(failing, name);
        }
    }
    stub37_seq = NORMALLY_SHUT;
    if ((typeof stub37_seq === "object") && (!Array.isArray(stub37_seq))) { stub37_seq = Object.keys(stub37_seq);}
    for (stub38_itr = 0; stub38_itr < stub37_seq.length; stub38_itr += 1) {
        name = stub37_seq[stub38_itr];
        if (_pyfunc_truthy((_pyfunc_truthy(fitted(config, name))) && _pyfunc_truthy(state.hand[name]))) {
            _pymeth_append.call(failing, name);
        }
    }
    if (_pyfunc_truthy((_pyfunc_truthy(fitted(config, "air_supply_valve"))) && ((!_pyfunc_truthy(state.compressor_on))))) {
        _pymeth_append.call(failing, "air_supply_valve");
    }
    return failing;
};

is_ready = function flx_is_ready (config, state) {
    return _pyfunc_op_equals((not_normal(config, state).length), 0);
};

LIST = [[1, "control_valve", "both", ["control_valve"]], [2, "supply_gauge", "model", ["inlet_pressure"]], [3, "system_gauge", "model", ["system_air", "inlet_pressure"]], [4, "prime_steady", "both", ["priming_pressure"]], [5, "pilot_air", "model", ["pilot_air"]], [6, "valve_set", "both", ["valve_not_set"]], [7, "quick_opening_device", "both", ["qod"]], [8, "priming_water_level", "person", []], [9, "drains_shut", "both", ["inlet_drain", "system_drain", "test_connection", "alarm_test_valve"]], [10, "alarm_line_open", "model", ["alarm_line_valve"]], [11, "air_supply_on", "both", ["air_supply_valve"]], [12, "priming_valve_open", "model", ["priming_supply_valve"]], [13, "manual_release_sealed", "both", ["manual_release"]], [14, "low_points_drained", "both", ["low_points", "water_in_piping"]], [15, "sprinklers_replaced", "both", ["sprinkler", "pilot_head"]], [16, "panel_normal", "both", ["panel", "release_disconnect"]], [17, "heat_on", "person", []], [18, "downstream_functions", "person", []], [19, "off_test", "person", []], [20, "owner_told", "person", []]];
has_item = function flx_has_item (config, code) {
    if (_pyfunc_op_contains(code, ["prime_steady", "manual_release_sealed"])) {
        return _pyfunc_op_equals(config.valve, "prime");
    }
    if (_pyfunc_op_equals(code, "priming_valve_open")) {
        return _pyfunc_op_equals(config.valve, "prime");
    }
    if (_pyfunc_op_equals(code, "pilot_air")) {
        return config.pilot;
    }
    if (_pyfunc_op_equals(code, "valve_set")) {
        return _pyfunc_op_contains(config.valve, ["dry", "prime"]);
    }
    if (_pyfunc_op_equals(code, "quick_opening_device")) {
        return config.has_qod;
    }
    if (_pyfunc_op_equals(code, "priming_water_level")) {
        return _pyfunc_op_equals(config.valve, "dry");
    }
    if (_pyfunc_op_equals(code, "alarm_line_open")) {
        return !_pyfunc_op_equals(config.valve, "none");
    }
    if (_pyfunc_op_equals(code, "air_supply_on")) {
        return _pyfunc_truthy(config.air) || config.pilot;
    }
    if (_pyfunc_op_equals(code, "low_points_drained")) {
        return config.dry;
    }
    return ((!_pyfunc_op_equals(code, "system_gauge"))) || (!_pyfunc_truthy(config.open_nozzles));
};

end_state = function flx_end_state (config, state, attested) {
    var failing, items, row, stub39_seq, stub40_itr;
    failing = not_normal(config, state);
    items = [];
    stub39_seq = LIST;
    if ((typeof stub39_seq === "object") && (!Array.isArray(stub39_seq))) { stub39_seq = Object.keys(stub39_seq);}
    for (stub40_itr = 0; stub40_itr < stub39_seq.length; stub40_itr += 1) {
        row = stub39_seq[stub40_itr];
        _pymeth_append.call(items, item(config, failing, attested, row));
    }
    return items;
};

item = function flx_item (config, failing, attested, row) {
    var against, by, code, number, standing, stub41_seq, stub42_itr;
    number = row[0];
    by = row[2];
    against = [];
    stub41_seq = row[3];
    if ((typeof stub41_seq === "object") && (!Array.isArray(stub41_seq))) { stub41_seq = Object.keys(stub41_seq);}
    for (stub42_itr = 0; stub42_itr < stub41_seq.length; stub42_itr += 1) {
        code = stub41_seq[stub42_itr];
        if ((_pyfunc_op_contains(code, failing) && (_pyfunc_truthy(counts(config, row[1], code))))) {
            _pymeth_append.call(against, code);
        }
    }
    standing = "not_proven";
    if (((against.length == 0) && ((_pyfunc_op_equals(by, "model") || _pyfunc_op_contains(number, attested))))) {
        standing = "proven";
    }
    if ((!_pyfunc_truthy(has_item(config, row[1])))) {
        standing = "not_fitted";
        against = [];
    }
    return Item(number, row[1], by, standing, against);
};

counts = function flx_counts (config, item_code, code) {
    return !(_pyfunc_op_equals(item_code, "system_gauge") && _pyfunc_op_equals(code, "inlet_pressure") && _pyfunc_truthy(config.dry));
};

leaving = function flx_leaving (config, state) {
    return (_pyfunc_truthy(is_ready(config, state)))? ([]) : (["left_impaired"]);
};

unproven = function flx_unproven (items) {
    var codes, each, stub43_seq, stub44_itr;
    codes = [];
    stub43_seq = items;
    if ((typeof stub43_seq === "object") && (!Array.isArray(stub43_seq))) { stub43_seq = Object.keys(stub43_seq);}
    for (stub44_itr = 0; stub44_itr < stub43_seq.length; stub44_itr += 1) {
        each = stub43_seq[stub44_itr];
        if (_pyfunc_op_equals(each.standing, "not_proven")) {
            _pymeth_append.call(codes, each.code);
        }
    }
    return codes;
};

signals = function flx_signals (config, state) {
    var shown, signal, stub45_seq, stub46_itr;
    shown = state.latched;
    stub45_seq = live_signals(config, state, alarm_flow(config, state));
    if ((typeof stub45_seq === "object") && (!Array.isArray(stub45_seq))) { stub45_seq = Object.keys(stub45_seq);}
    for (stub46_itr = 0; stub46_itr < stub45_seq.length; stub46_itr += 1) {
        signal = stub45_seq[stub46_itr];
        shown = with_name(shown, signal);
    }
    return shown;
};

lamps_of = function flx_lamps_of (shown) {
    var lamp, lit, signal, stub47_seq, stub48_itr, stub49_seq, stub50_itr;
    lit = [];
    stub49_seq = ["alarm", "supervisory", "trouble"];
    if ((typeof stub49_seq === "object") && (!Array.isArray(stub49_seq))) { stub49_seq = Object.keys(stub49_seq);}
    for (stub50_itr = 0; stub50_itr < stub49_seq.length; stub50_itr += 1) {
        lamp = stub49_seq[stub50_itr];
        stub47_seq = shown;
        if ((typeof stub47_seq === "object") && (!Array.isArray(stub47_seq))) { stub47_seq = Object.keys(stub47_seq);}
        for (stub48_itr = 0; stub48_itr < stub47_seq.length; stub48_itr += 1) {
            signal = stub47_seq[stub48_itr];
            if ((((_pyfunc_op_equals(class_of(signal), lamp))) && ((!_pyfunc_op_contains(lamp, lit))))) {
                _pymeth_append.call(lit, lamp);
            }
        }
    }
    return lit;
};

observe = function flx_observe (config, state) {
    var failing, lamps, shown, usual;
    shown = signals(config, state);
    lamps = lamps_of(shown);
    failing = not_normal(config, state);
    usual = (_pyfunc_truthy(config.dry))? (config.air_set) : (config.supply);
    return ({valve: valve_word(config, state), panel: panel_word(state, lamps), lamps: lamps, signals: shown, gauge_supply: gauge(state, "gauge_supply", state.inlet_psi, config.supply), gauge_system: gauge(state, "gauge_system", high_side_psi(config, state), usual), gauge_prime: gauge(state, "gauge_prime", state.prime_psi, config.supply), gauge_pilot: gauge(state, "gauge_pilot", state.pilot_psi, config.pilot_set), solenoid_energised: energised(config, state), solenoid_open: solenoid_open(config, state), water_in_piping: state.water_frac > 0.0, flow_test_connection: flow_at(config, state, state.hand["test_connection"]), sprinkler_discharge: flow_at(config, state, _pyfunc_truthy(state.sprinkler_open) || config.open_nozzles), flow_inlet_drain: drain_word(state), gong: gong_rings(config, state), drip_release_drain: release_drain_runs(config, state), drip_auto_drain: auto_drain_word(config, state), qod: qod_word(config, state), compressor_running: compressor_runs(config, state), trip_air: state.trip_psi, hazards: state.hazards, ready: failing.length == 0, not_normal: failing});
};

panel_word = function flx_panel_word (state, lamps) {
    if ((!_pyfunc_truthy(powered(state)))) {
        return "dark";
    }
    return ((lamps.length > 0))? (lamps[0]) : ("normal");
};

gauge = function flx_gauge (state, name, psi, usual) {
    if (((psi !== null) && ((_pyfunc_op_contains((name + "_isolated"), state.faults))))) {
        return usual;
    }
    return psi;
};

valve_word = function flx_valve_word (config, state) {
    if (_pyfunc_op_equals(config.valve, "none")) {
        return "n/a";
    }
    return (_pyfunc_truthy(state.valve_open))? ("open") : ("closed");
};

flow_at = function flx_flow_at (config, state, is_now_open) {
    return (_pyfunc_truthy(is_now_open))? (sprays(config, state)) : ("none");
};

drain_word = function flx_drain_word (state) {
    return ((_pyfunc_truthy(state.hand["inlet_drain"]) && (state.inlet_psi > 0.0)))? ("water") : ("none");
};

release_drain_runs = function flx_release_drain_runs (config, state) {
    var clear, feed, leaking;
    if ((!_pyfunc_op_equals(config.valve, "prime"))) {
        return false;
    }
    clear = !_pyfunc_op_contains("priming_orifice_plugged", state.faults);
    feed = _pyfunc_truthy(clear) && _pyfunc_truthy(state.hand["priming_supply_valve"]) && ((prime_feed_psi(config, state) > 0.0));
    leaking = _pyfunc_op_contains("solenoid_leaking", state.faults) || _pyfunc_op_contains("solenoid_leaking_badly", state.faults) || _pyfunc_op_contains("pressure_relief_leaking", state.faults);
    if (_pyfunc_truthy((_pyfunc_truthy(venting(config, state))) || vent_path_open(config, state))) {
        return feed;
    }
    return _pyfunc_truthy(feed) && _pyfunc_truthy(leaking);
};

auto_drain_word = function flx_auto_drain_word (config, state) {
    var leaking, plugged;
    leaking = _pyfunc_op_contains("water_seat_leaking", state.faults) && (state.inlet_psi > 0.0);
    plugged = _pyfunc_op_contains("auto_drain_plugged", state.faults);
    if ((_pyfunc_op_equals(config.valve, "dry") && ((!_pyfunc_truthy(state.valve_open))) && _pyfunc_truthy(leaking) && ((!_pyfunc_truthy(plugged))))) {
        return "water";
    }
    if ((_pyfunc_op_contains("air_seat_leaking", state.faults) && ((!_pyfunc_truthy(state.valve_open))) && (state.air_psi > 0.0))) {
        return "air";
    }
    return "none";
};

qod_word = function flx_qod_word (config, state) {
    if ((!_pyfunc_truthy(config.has_qod))) {
        return null;
    }
    return (_pyfunc_truthy(state.qod_tripped))? ("tripped") : ("set");
};

WET = ["C1", "C12", "C17", "C19", "C20"];
DRY = ["C1", "C2", "C3", "C4", "C5", "C12", "C13", "C15", "C16", "C17", "C19", "C20"];
PRIME = ["C1", "C10", "C11", "C12", "C13", "C17", "C19", "C20"];
ELECTRIC = ["C8", "C9", "C18"];
Breach = function flx_Breach (code, hazard) {
    return ({code: code, hazard: hazard});
};

Taken = function flx_Taken (state, warnings) {
    return ({state: state, warnings: warnings});
};

constraints_of = function flx_constraints_of (config) {
    var codes;
    if (_pyfunc_op_contains(config.valve, ["alarm_check", "none"])) {
        return WET;
    }
    if (_pyfunc_op_equals(config.valve, "dry")) {
        return (_pyfunc_truthy(config.has_qod))? (_pyfunc_op_add(DRY, ["C14"])) : (DRY);
    }
    codes = PRIME;
    if (_pyfunc_truthy(config.has_detection)) {
        codes = _pyfunc_op_add(codes, ELECTRIC);
    }
    if (_pyfunc_truthy(config.air)) {
        codes = _pyfunc_op_add(codes, ["C4", "C15"]);
    }
    if ((_pyfunc_op_equals(config.vent, "solenoid|actuator") || config.pilot)) {
        codes = _pyfunc_op_add(codes, ["C6"]);
    }
    if ((_pyfunc_op_equals(config.interlock, "panel") || _pyfunc_op_equals(config.vent, "solenoid&actuator"))) {
        codes = _pyfunc_op_add(codes, ["C7"]);
    }
    return codes;
};

warnings_before = function flx_warnings_before (config, state, action) {
    var applicable, broken, code, found, hazard, hazards, stub51_seq, stub52_itr, stub53_seq, stub54_itr;
    broken = [];
    if ((_pyfunc_op_equals(action.kind, "control_valve") && (action.pct > state.control_pct))) {
        broken = _pyfunc_op_add(broken, broken_by_water(config, state, action));
    }
    if (_pyfunc_op_equals(action.kind, "panel_reset")) {
        broken = _pyfunc_op_add(broken, broken_by_reset(config, state));
    }
    if (_pyfunc_op_contains(action.kind, ["open", "close"])) {
        broken = _pyfunc_op_add(broken, broken_by_hand_valve(config, state, action));
    }
    broken = _pyfunc_op_add(broken, broken_by_other(config, state, action));
    hazards = hazards_of(config, state, action);
    applicable = constraints_of(config);
    found = [];
    stub51_seq = broken;
    if ((typeof stub51_seq === "object") && (!Array.isArray(stub51_seq))) { stub51_seq = Object.keys(stub51_seq);}
    for (stub52_itr = 0; stub52_itr < stub51_seq.length; stub52_itr += 1) {
        code = stub51_seq[stub52_itr];
        if (_pyfunc_op_contains(code, applicable)) {
            _pymeth_append.call(found, (Breach(code, hazard_under(code, hazards))));
        }
    }
    stub53_seq = hazards;
    if ((typeof stub53_seq === "object") && (!Array.isArray(stub53_seq))) { stub53_seq = Object.keys(stub53_seq);}
    for (stub54_itr = 0; stub54_itr < stub53_seq.length; stub54_itr += 1) {
        hazard = stub53_seq[stub54_itr];
        if ((!_pyfunc_truthy(names_hazard(found, hazard)))) {
            _pymeth_append.call(found, (Breach(guard_of(config, hazard), hazard)));
        }
    }
    return found;
};

hazard_under = function flx_hazard_under (code, hazards) {
    var hazard, stub55_seq, stub56_itr;
    stub55_seq = hazards;
    if ((typeof stub55_seq === "object") && (!Array.isArray(stub55_seq))) { stub55_seq = Object.keys(stub55_seq);}
    for (stub56_itr = 0; stub56_itr < stub55_seq.length; stub56_itr += 1) {
        hazard = stub55_seq[stub56_itr];
        if (_pyfunc_op_contains(code, GUARDS[hazard])) {
            return hazard;
        }
    }
    return "";
};

names_hazard = function flx_names_hazard (found, hazard) {
    var each, stub57_seq, stub58_itr;
    stub57_seq = found;
    if ((typeof stub57_seq === "object") && (!Array.isArray(stub57_seq))) { stub57_seq = Object.keys(stub57_seq);}
    for (stub58_itr = 0; stub58_itr < stub57_seq.length; stub58_itr += 1) {
        each = stub57_seq[stub58_itr];
        if (_pyfunc_op_equals(each.hazard, hazard)) {
            return true;
        }
    }
    return false;
};

guard_of = function flx_guard_of (config, hazard) {
    var applicable, code, stub59_seq, stub60_itr;
    applicable = constraints_of(config);
    stub59_seq = GUARDS[hazard];
    if ((typeof stub59_seq === "object") && (!Array.isArray(stub59_seq))) { stub59_seq = Object.keys(stub59_seq);}
    for (stub60_itr = 0; stub60_itr < stub59_seq.length; stub60_itr += 1) {
        code = stub59_seq[stub60_itr];
        if (_pyfunc_op_contains(code, applicable)) {
            return code;
        }
    }
    return GUARDS[hazard][0];
};

GUARDS = ({water_into_piping: ["C5", "C9", "C10", "C11"], water_hammer: ["C12"], reset_under_pressure: ["C2", "C1"], draining_live_system: ["C1"], release_reenergised: ["C18"]});
broken_by_water = function flx_broken_by_water (config, state, action) {
    var broken, from_shut, live, wide;
    broken = [];
    from_shut = state.control_pct <= 0.0;
    if ((_pyfunc_truthy(from_shut) && _pyfunc_op_equals(config.valve, "dry") && _pyfunc_truthy(state.valve_open))) {
        _pymeth_append.call(broken, "C3");
    }
    if ((_pyfunc_op_equals(config.valve, "dry") && (_pyfunc_truthy(_pyfunc_truthy(from_shut) || (!_pyfunc_truthy(state.valve_open)))))) {
        live = Object.assign(({}), state, ({inlet_psi: state.supply_psi}));
        if ((state.air_psi <= trip_point_psi(config, live))) {
            _pymeth_append.call(broken, "C5");
        }
    }
    if ((_pyfunc_truthy(from_shut) && _pyfunc_truthy(config.air) && ((pipe_psi(state) <= config.low_air)))) {
        _pymeth_append.call(broken, "C7");
    }
    if (_pyfunc_truthy(_pyfunc_truthy(from_shut) && (_pyfunc_truthy(_pyfunc_truthy(state.release_latched) || solenoid_open(config, state))))) {
        _pymeth_append.call(broken, "C9");
    }
    if ((_pyfunc_truthy(from_shut) && (_pyfunc_truthy(vented_by_hand(config, state))))) {
        _pymeth_append.call(broken, "C10");
    }
    if ((_pyfunc_truthy(from_shut) && (_pyfunc_truthy(lacks_prime(config, state))))) {
        _pymeth_append.call(broken, "C11");
    }
    wide = (action.pct - state.control_pct) > HALF_TRAVEL_PCT;
    if ((_pyfunc_truthy(wide) && ((_pyfunc_truthy(from_shut) || _pyfunc_op_equals(action.rate, "fast"))))) {
        _pymeth_append.call(broken, "C12");
    }
    return broken;
};

lacks_prime = function flx_lacks_prime (config, state) {
    if (((state.prime_psi === null) || _pyfunc_op_equals(config.prime_source, "downstream"))) {
        return false;
    }
    return state.prime_psi < _pyfunc_op_mult(ENOUGH, state.supply_psi);
};

vented_by_hand = function flx_vented_by_hand (config, state) {
    var manual, pilot;
    manual = (_pyfunc_truthy(fitted(config, "manual_release"))) && _pyfunc_truthy(state.hand["manual_release"]);
    pilot = (_pyfunc_truthy(fitted(config, "pilot_head"))) && _pyfunc_truthy(state.hand["pilot_head"]);
    return _pyfunc_truthy(manual) || _pyfunc_truthy(pilot) || state.solenoid_latched_open;
};

broken_by_reset = function flx_broken_by_reset (config, state) {
    var broken, opening, tripped;
    broken = [];
    tripped = _pyfunc_op_contains(config.valve, ["dry", "prime"]) && _pyfunc_truthy(state.valve_open);
    if ((_pyfunc_truthy(tripped) && (state.control_pct > 0.0) && _pyfunc_truthy(state.release_latched))) {
        _pymeth_append.call(broken, "C1");
    }
    if (((state.zones.length > 0) || state.manual_station)) {
        _pymeth_append.call(broken, "C8");
    }
    if ((_pyfunc_op_equals(config.vent, "solenoid|actuator") && ((pipe_psi(state) <= config.actuator_trip)))) {
        _pymeth_append.call(broken, "C6");
    }
    opening = (0.0 < state.control_pct) && (state.control_pct < 100.0);
    if ((_pyfunc_truthy(opening) && ((!_pyfunc_truthy(state.release_latched))) && (state.zones.length == 0))) {
        _pymeth_append.call(broken, "C19");
    }
    return broken;
};

broken_by_hand_valve = function flx_broken_by_hand_valve (config, state, action) {
    var broken, tripped, unsafe;
    if (_pyfunc_op_equals(action.kind, "close")) {
        unsafe = _pyfunc_op_equals(action.what, "inlet_drain") && (state.control_pct > 0.0);
        return ((_pyfunc_truthy(unsafe) && (_pyfunc_truthy(lifts_on_full_pressure(config, state)))))? (["C13"]) : ([]);
    }
    broken = [];
    tripped = _pyfunc_op_contains(config.valve, ["dry", "prime"]) && _pyfunc_truthy(state.valve_open);
    if ((_pyfunc_op_equals(action.what, "system_drain") && _pyfunc_truthy(tripped) && (_pyfunc_truthy(fed(config, state))))) {
        _pymeth_append.call(broken, "C1");
    }
    if ((_pyfunc_op_equals(action.what, "air_supply_valve") && ((!_pyfunc_truthy(state.hand["air_supply_valve"]))))) {
        if ((_pyfunc_op_equals(config.valve, "dry") && _pyfunc_truthy(state.valve_open))) {
            _pymeth_append.call(broken, "C3");
        }
        if (_pyfunc_truthy(air_escapes(config, state))) {
            _pymeth_append.call(broken, "C4");
        }
        if ((!_pyfunc_truthy(state.low_points_ok))) {
            _pymeth_append.call(broken, "C15");
        }
    }
    if ((_pyfunc_op_equals(action.what, "qod_isolation_valve") && ((!_pyfunc_truthy(holds(config, state)))))) {
        _pymeth_append.call(broken, "C14");
    }
    if ((_pyfunc_op_equals(action.what, "alarm_line_valve") && _pyfunc_truthy(tripped) && ((outlet_psi(config, state) > 0.0)))) {
        _pymeth_append.call(broken, "C17");
    }
    return broken;
};

lifts_on_full_pressure = function flx_lifts_on_full_pressure (config, state) {
    var full;
    full = Object.assign(({}), state, ({inlet_psi: state.supply_psi}));
    if (_pyfunc_op_equals(config.valve, "dry")) {
        return _pyfunc_truthy(state.valve_open) || (state.air_psi <= trip_point_psi(config, full));
    }
    if ((state.prime_psi === null)) {
        return false;
    }
    if (_pyfunc_op_equals(config.prime_source, "downstream")) {
        return state.valve_open;
    }
    return _pyfunc_truthy(state.valve_open) || (state.prime_psi < _pyfunc_op_mult(config.prime_hold, state.supply_psi));
};

holds = function flx_holds (config, state) {
    return ((!_pyfunc_truthy(state.valve_open))) && (state.control_pct >= 100.0) && ((state.inlet_psi >= _pyfunc_op_mult(ENOUGH, state.supply_psi)));
};

broken_by_other = function flx_broken_by_other (config, state, action) {
    var broken, closes, under_water;
    broken = [];
    under_water = (state.control_pct > 0.0) && (state.water_frac > 0.0);
    if ((_pyfunc_op_contains(action.kind, ["replace_sprinkler", "reset_solenoid"]) && _pyfunc_truthy(under_water))) {
        _pymeth_append.call(broken, "C1");
    }
    if ((_pyfunc_op_equals(action.kind, "drain_low_points") && _pyfunc_truthy(config.dry) && (state.control_pct > 0.0))) {
        _pymeth_append.call(broken, "C1");
    }
    if (_pyfunc_op_equals(action.kind, "reset_clapper")) {
        if ((state.control_pct > 0.0)) {
            _pymeth_append.call(broken, "C1");
        }
        if (((((Math.max(state.inlet_psi, pipe_psi(state))) > RESET_PSI)) || (state.water_frac > 0.0))) {
            _pymeth_append.call(broken, "C2");
        }
    }
    closes = _pyfunc_op_equals(action.kind, "release_disconnect") && _pyfunc_truthy(state.disconnect) && ((!_pyfunc_truthy(action.on)));
    if ((_pyfunc_truthy(closes) && _pyfunc_truthy(state.release_latched))) {
        _pymeth_append.call(broken, "C18");
    }
    return broken;
};

take = function flx_take (config, state, action) {
    var warnings;
    warnings = warnings_before(config, state, action);
    return Taken(act(config, state, action), warnings);
};

GAUGES = [["supply_gauge", "pressure", "gauge_supply"], ["system_gauge", "pressure", "gauge_system"], ["prime_gauge", "pressure", "gauge_prime"], ["pilot_gauge", "pressure", "gauge_pilot"]];
GAUGE_KEYS = ["gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot"];
PANEL_KEYS = ["panel", "signals"];
NO_WATER = ["gauge_prime", "water_in_piping"];
TRIPPED = ["solenoid_energised", "gauge_prime", "gauge_pilot", "water_in_piping", "gong"];
ROWS = ({as_found: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, GAUGE_KEYS), ["qod"]), readings: GAUGES}), permissions: ({by: "person", caution: "on_test"}), main_drain_test: ({see: ["gauge_supply"], caution: "discharge", readings: [["static_before", "pressure", ""], ["residual", "pressure", "gauge_supply"]]}), main_drain_shut: ({see: _pyfunc_op_add(PANEL_KEYS, ["gauge_supply"]), readings: [["static_after", "pressure", "gauge_supply"]]}), inspectors_test: ({see: _pyfunc_op_add(PANEL_KEYS, ["flow_test_connection", "gong"]), caution: "discharge", timers: ["alarm_seconds"]}), inspectors_test_shut: ({see: _pyfunc_op_add(PANEL_KEYS, ["flow_test_connection", "gauge_system"])}), throttle: ({see: PANEL_KEYS, caution: "hands_on_wheel"}), lose_air: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, ["gauge_system", "flow_test_connection"]), NO_WATER), caution: "stop_if_water", readings: [["low_air_signal", "pressure", ""]]}), restore_air: ({see: _pyfunc_op_add(PANEL_KEYS, ["gauge_system", "gauge_prime"]), readings: [["system_gauge", "pressure", "gauge_system"]]}), first_zone: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, ["solenoid_energised"]), NO_WATER), caution: "detection"}), detection_alone: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, ["solenoid_energised"]), NO_WATER), caution: "detection"}), detection_cleared: ({see: _pyfunc_op_add(PANEL_KEYS, ["gauge_prime"])}), detection: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, TRIPPED), ["gauge_system", "sprinkler_discharge"]), caution: "detection", timers: ["trip_seconds", "alarm_seconds"]}), operate_pilot: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, TRIPPED), ["sprinkler_discharge"]), caution: "detection", timers: ["trip_seconds", "alarm_seconds"]}), air_loss_trip: ({see: _pyfunc_op_add(_pyfunc_op_add(PANEL_KEYS, TRIPPED), ["trip_air", "qod", "flow_test_connection"]), caution: "water_path", timers: ["trip_seconds", "delivery_seconds", "alarm_seconds"], readings: [["low_air_signal", "pressure", ""], ["trip_air", "pressure", "trip_air"]]}), flow: ({see: ["flow_test_connection", "gauge_supply"], caution: "water_path", timers: ["delivery_seconds"], readings: [["flowing_gauge", "pressure", "gauge_supply"]]}), drain_below: ({see: ["gauge_supply", "flow_inlet_drain", "gauge_prime", "gauge_system"], constraints: ["C1"], caution: "drain_path"}), release_water_shut: ({see: _pyfunc_op_add(PANEL_KEYS, TRIPPED), constraints: ["C1"], caution: "stop_if_water", timers: ["trip_seconds"]}), confirm_may_shut: ({by: "person", caution: "no_fire"}), shut_control: ({see: PANEL_KEYS, constraints: ["C1"], caution: "impaired"}), open_drains: ({see: ["gauge_supply", "gauge_system", "flow_test_connection", "flow_inlet_drain"], constraints: ["C1", "C2"], caution: "drain_path"}), stop_air: ({see: ["compressor_running"]}), clear_cause: ({see: PANEL_KEYS, constraints: ["C8", "C10"], items: [15]}), reset_clapper: ({see: ["gauge_supply", "gauge_system"], constraints: ["C1", "C2"], caution: "cover", items: [6]}), reset_qod: ({see: ["qod"], constraints: ["C14"]}), drain_low_points: ({see: ["water_in_piping"], constraints: ["C15"], items: [14]}), close_outlets: ({see: ["flow_test_connection"], constraints: ["C4"], items: [9]}), priming_water: ({by: "person", constraints: ["C16"], items: [8]}), air: ({see: ["gauge_system", "gauge_pilot"], constraints: ["C3", "C4", "C5", "C6", "C7", "C15"], readings: [["system_gauge", "pressure", "gauge_system"]], timers: ["air_seconds"], items: [3, 5, 11]}), reset_panel: ({see: _pyfunc_op_add(PANEL_KEYS, ["solenoid_energised", "gauge_prime", "drip_release_drain"]), constraints: ["C8", "C9"], caution: "reset"}), reset_solenoid: ({see: ["gauge_prime", "drip_release_drain"], constraints: ["C10"]}), prime_check: ({see: ["gauge_prime", "drip_release_drain"], constraints: ["C11"], readings: [["prime_gauge", "pressure", "gauge_prime"]], timers: ["prime_steady_seconds"], items: [4, 12, 13]}), crack_water: ({see: ["water_in_piping", "gauge_system", "flow_inlet_drain"], constraints: ["C5", "C9", "C11", "C12"], caution: "slowly"}), close_drain: ({see: ["water_in_piping", "gauge_supply", "gauge_system", "gauge_prime"], constraints: ["C13"], caution: "watch_gauges"}), open_fully: ({see: ["gauge_supply", "gauge_system", "gauge_prime", "water_in_piping"], constraints: ["C12"], caution: "slowly", readings: [["turns", "turns", ""], ["supply_gauge", "pressure", "gauge_supply"]], items: [1, 2]}), alarm_line: ({constraints: ["C17"], items: [9, 10]}), open_qod: ({see: ["qod", "water_in_piping"], constraints: ["C14"], items: [7]}), final_reset: ({see: PANEL_KEYS, constraints: ["C18", "C19"], items: [16]}), prove_alarm: ({see: _pyfunc_op_add(PANEL_KEYS, ["gong", "water_in_piping"]), timers: ["alarm_seconds"]}), prove_reset: ({see: _pyfunc_op_add(PANEL_KEYS, GAUGE_KEYS), items: [16], readings: GAUGES}), put_back: ({by: "person", items: [17, 18]}), off_test: ({by: "person", constraints: ["C20"], items: [19]}), tell_owner: ({by: "person", items: [20]}), recheck_low_points: ({by: "person"})});
BEGIN = ["as_found", "permissions"];
NO_FLOW = ["confirm_may_shut", "shut_control", "drain_below"];
WITHOUT_FLOW = _pyfunc_op_add(NO_FLOW, ["release_water_shut"]);
BOTH_WITHOUT_FLOW = _pyfunc_op_add(NO_FLOW, ["lose_air", "release_water_shut"]);
TESTS = ({wet_alarm_check: ({trip_test: ["inspectors_test", "inspectors_test_shut", "main_drain_test", "main_drain_shut"], no_flow_alarm_test: ["prove_alarm", "prove_reset"]}), wet_straight_pipe: ({trip_test: ["inspectors_test", "inspectors_test_shut", "main_drain_test", "main_drain_shut"]}), dry: ({trip_test: ["main_drain_test", "main_drain_shut", "air_loss_trip"], partial_trip_test: ["main_drain_test", "throttle", "air_loss_trip"]}), dry_qod: ({trip_test: ["main_drain_test", "main_drain_shut", "air_loss_trip"], partial_trip_test: ["main_drain_test", "throttle", "air_loss_trip"]}), deluge_electric: ({trip_test: ["detection"], no_flow_trip_test: WITHOUT_FLOW}), deluge_pneumatic: ({trip_test: ["operate_pilot"], no_flow_trip_test: WITHOUT_FLOW}), deluge_hydraulic: ({trip_test: ["operate_pilot"], no_flow_trip_test: WITHOUT_FLOW}), preaction_non_interlock: ({trip_test: ["detection", "flow"], air_loss_trip_test: ["air_loss_trip"], no_flow_trip_test: WITHOUT_FLOW}), preaction_single_electric: ({trip_test: ["lose_air", "restore_air", "detection", "flow"], no_flow_trip_test: WITHOUT_FLOW}), preaction_single_pneumatic: ({trip_test: ["lose_air", "restore_air", "operate_pilot", "flow"], no_flow_trip_test: WITHOUT_FLOW}), preaction_double_electric_electric: ({trip_test: ["detection_alone", "detection_cleared", "lose_air", "detection", "flow"], no_flow_trip_test: BOTH_WITHOUT_FLOW}), preaction_double_electric_pneumatic: ({trip_test: ["detection_alone", "detection_cleared", "lose_air", "detection", "flow"], no_flow_trip_test: BOTH_WITHOUT_FLOW})});
RESTORATION = ["confirm_may_shut", "shut_control", "open_drains", "stop_air", "clear_cause", "reset_clapper", "reset_qod", "drain_low_points", "close_outlets", "priming_water", "air", "reset_panel", "reset_solenoid", "prime_check", "crack_water", "close_drain", "open_fully", "alarm_line", "open_qod", "final_reset"];
FINISH = ["prove_alarm", "prove_reset", "put_back", "off_test", "tell_owner", "recheck_low_points"];
WAITS = ({stop_air: ["shut_control", "release_water_shut"], clear_cause: ["shut_control", "release_water_shut"], reset_clapper: ["open_drains"], reset_qod: ["open_drains"], drain_low_points: ["open_drains", "reset_clapper", "stop_air"], close_outlets: ["drain_low_points", "open_drains"], priming_water: ["reset_clapper", "close_outlets"], air: ["close_outlets", "priming_water", "clear_cause", "stop_air"], reset_panel: ["clear_cause", "open_drains", "air"], prime_check: ["clear_cause", "close_outlets", "air", "reset_panel", "reset_solenoid", "close_drain"], crack_water: ["clear_cause", "air", "prime_check", "reset_panel", "reset_qod", "close_outlets"], put_back: ["prove_reset"], tell_owner: ["prove_reset"], off_test: ["prove_reset"], recheck_low_points: ["prove_reset"]});
tasks_of = function flx_tasks_of (config) {
    var stub61_seq, stub62_itr, task, tasks;
    tasks = [];
    stub61_seq = TESTS[config.system_type];
    if ((typeof stub61_seq === "object") && (!Array.isArray(stub61_seq))) { stub61_seq = Object.keys(stub61_seq);}
    for (stub62_itr = 0; stub62_itr < stub61_seq.length; stub62_itr += 1) {
        task = stub61_seq[stub62_itr];
        _pymeth_append.call(tasks, task);
    }
    return _pyfunc_op_add(tasks, ["restoration"]);
};

codes_of = function flx_codes_of (config, task) {
    var code, codes, err_2, kept, stub63_seq, stub64_itr;
    if ((!_pyfunc_op_contains(task, tasks_of(config)))) {
        throw _pyfunc_op_error('ValueError', (_pymeth_format.call("task: {} is not one of {}", task, (listed(tasks_of(config))))));
    }
    codes = [];
    if ((!_pyfunc_op_equals(task, "restoration"))) {
        codes = _pyfunc_op_add(_pyfunc_op_add(codes, BEGIN), (TESTS[config.system_type][task]));
        if (((config.zones_required > 1) && _pyfunc_op_contains("detection", codes))) {
            codes = before(codes, "detection", "first_zone");
        }
    }
    if ((_pyfunc_op_equals(task, "restoration") || _pyfunc_op_contains(config.valve, ["dry", "prime"]))) {
        codes = _pyfunc_op_add(codes, restoration(config));
    } else {
        codes = _pyfunc_op_add(codes, ["put_back", "off_test", "tell_owner"]);
    }
    kept = [];
    stub63_seq = codes;
    if ((typeof stub63_seq === "object") && (!Array.isArray(stub63_seq))) { stub63_seq = Object.keys(stub63_seq);}
    for (stub64_itr = 0; stub64_itr < stub63_seq.length; stub64_itr += 1) {
        code = stub63_seq[stub64_itr];
        if (_pyfunc_truthy((_pyfunc_truthy(is_fitted(config, code))) && ((!_pyfunc_op_contains(code, kept))))) {
            _pymeth_append.call(kept, code);
        }
    }
    return kept;
};

restoration = function flx_restoration (config) {
    var code, codes, moved, stub65_seq, stub66_itr;
    codes = RESTORATION;
    if ((_pyfunc_op_equals(config.prime_source, "downstream") && _pyfunc_op_equals(config.valve, "prime"))) {
        moved = [];
        stub65_seq = codes;
        if ((typeof stub65_seq === "object") && (!Array.isArray(stub65_seq))) { stub65_seq = Object.keys(stub65_seq);}
        for (stub66_itr = 0; stub66_itr < stub65_seq.length; stub66_itr += 1) {
            code = stub65_seq[stub66_itr];
            if (_pyfunc_op_equals(code, "open_fully")) {
                _pymeth_append.call(moved, "prime_check");
            }
            if ((!_pyfunc_op_equals(code, "prime_check"))) {
                _pymeth_append.call(moved, code);
            }
        }
        codes = moved;
    }
    return _pyfunc_op_add(codes, FINISH);
};

before = function flx_before (codes, at, code) {
    var each, longer, stub67_seq, stub68_itr;
    longer = [];
    stub67_seq = codes;
    if ((typeof stub67_seq === "object") && (!Array.isArray(stub67_seq))) { stub67_seq = Object.keys(stub67_seq);}
    for (stub68_itr = 0; stub68_itr < stub67_seq.length; stub68_itr += 1) {
        each = stub67_seq[stub68_itr];
        if (_pyfunc_op_equals(each, at)) {
            _pymeth_append.call(longer, code);
        }
        _pymeth_append.call(longer, each);
    }
    return longer;
};

is_fitted = function flx_is_fitted (config, code) {
    if (_pyfunc_op_contains(code, ["stop_air", "air"])) {
        return _pyfunc_truthy(config.air) || config.pilot;
    }
    if (_pyfunc_op_contains(code, ["reset_clapper", "priming_water"])) {
        return _pyfunc_op_equals(config.valve, "dry");
    }
    if (_pyfunc_op_contains(code, ["reset_qod", "open_qod"])) {
        return config.has_qod;
    }
    if (_pyfunc_op_contains(code, ["drain_low_points", "recheck_low_points"])) {
        return config.dry;
    }
    if (_pyfunc_op_equals(code, "reset_panel")) {
        return config.has_detection;
    }
    if (_pyfunc_op_equals(code, "reset_solenoid")) {
        return _pyfunc_op_equals(config.solenoid, "latching") && _pyfunc_truthy(config.has_detection);
    }
    if (_pyfunc_op_equals(code, "prime_check")) {
        return _pyfunc_op_equals(config.valve, "prime");
    }
    return ((!_pyfunc_op_equals(code, "alarm_line"))) || (!_pyfunc_op_equals(config.valve, "none"));
};

waits_for = function flx_waits_for (codes, code) {
    var each, earlier, previous, stub69_seq, stub70_itr, stub71_seq, stub72_itr, waited;
    earlier = [];
    previous = [];
    stub69_seq = codes;
    if ((typeof stub69_seq === "object") && (!Array.isArray(stub69_seq))) { stub69_seq = Object.keys(stub69_seq);}
    for (stub70_itr = 0; stub70_itr < stub69_seq.length; stub70_itr += 1) {
        each = stub69_seq[stub70_itr];
        if (_pyfunc_op_equals(each, code)) {
            break;
        }
        _pymeth_append.call(earlier, each);
        previous = [each];
    }
    if ((!_pyfunc_op_contains(code, WAITS))) {
        return previous;
    }
    waited = [];
    stub71_seq = WAITS[code];
    if ((typeof stub71_seq === "object") && (!Array.isArray(stub71_seq))) { stub71_seq = Object.keys(stub71_seq);}
    for (stub72_itr = 0; stub72_itr < stub71_seq.length; stub72_itr += 1) {
        each = stub71_seq[stub72_itr];
        if (_pyfunc_op_contains(each, earlier)) {
            _pymeth_append.call(waited, each);
        }
    }
    return ((waited.length > 0))? (waited) : (previous);
};

CRACKED_PCT = 10.0;
THROTTLED_PCT = 20.0;
acts_of = function flx_acts_of (config, state, code) {
    if ((!_pyfunc_op_contains(code, ACTS))) {
        return [];
    }
    return new ACTS[code](config, state);
};

opened = function flx_opened (names) {
    var acts, name, stub73_seq, stub74_itr;
    acts = [];
    stub73_seq = names;
    if ((typeof stub73_seq === "object") && (!Array.isArray(stub73_seq))) { stub73_seq = Object.keys(stub73_seq);}
    for (stub74_itr = 0; stub74_itr < stub73_seq.length; stub74_itr += 1) {
        name = stub73_seq[stub74_itr];
        _pymeth_append.call(acts, Action("open", name, 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    return acts;
};

closed = function flx_closed (names) {
    var acts, name, stub75_seq, stub76_itr;
    acts = [];
    stub75_seq = names;
    if ((typeof stub75_seq === "object") && (!Array.isArray(stub75_seq))) { stub75_seq = Object.keys(stub75_seq);}
    for (stub76_itr = 0; stub76_itr < stub75_seq.length; stub76_itr += 1) {
        name = stub75_seq[stub76_itr];
        _pymeth_append.call(acts, Action("close", name, 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    return acts;
};

and_settle = function flx_and_settle (acts) {
    return _pyfunc_op_add(acts, [Action("settle", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

main_drain = function flx_main_drain (config) {
    return (_pyfunc_truthy(config.dry))? ("inlet_drain") : ("system_drain");
};

main_drain_test_acts = function flx_main_drain_test_acts (config, state) {
    return and_settle(opened([main_drain(config)]));
};

main_drain_shut_acts = function flx_main_drain_shut_acts (config, state) {
    var acts;
    acts = closed([main_drain(config)]);
    if ((!_pyfunc_truthy(config.dry))) {
        acts = _pyfunc_op_add(acts, [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
    }
    return and_settle(acts);
};

inspectors_test_acts = function flx_inspectors_test_acts (config, state) {
    return and_settle(opened(["test_connection"]));
};

inspectors_test_shut_acts = function flx_inspectors_test_shut_acts (config, state) {
    return and_settle(_pyfunc_op_add(closed(["test_connection"]), [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]));
};

restore_air_acts = function flx_restore_air_acts (config, state) {
    var acts;
    acts = _pyfunc_op_add((and_settle(closed(["test_connection"]))), [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
    return and_settle(acts);
};

throttle_acts = function flx_throttle_acts (config, state) {
    return and_settle(_pyfunc_op_add([Action("control_valve", "", THROTTLED_PCT, "slow", "z1", 0.0, true, "", 0.0)], (closed([main_drain(config)]))));
};

detection_acts = function flx_detection_acts (config, state) {
    var acts, zone;
    acts = [];
    zone = 1;
    while (zone <= config.zones_required) {
        _pymeth_append.call(acts, (Action("detector_alarm", "", 0.0, "slow", "z" + _pyfunc_str(zone), 0.0, true, "", 0.0)));
        zone = zone + 1;
    }
    return and_settle(acts);
};

first_zone_acts = function flx_first_zone_acts (config, state) {
    return and_settle([Action("detector_alarm", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

detection_cleared_acts = function flx_detection_cleared_acts (config, state) {
    return and_settle(_pyfunc_op_add(cleared_acts(config, state), [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]));
};

operate_pilot_acts = function flx_operate_pilot_acts (config, state) {
    return and_settle(opened(["pilot_head"]));
};

drain_below_acts = function flx_drain_below_acts (config, state) {
    return and_settle(opened(["inlet_drain"]));
};

release_water_shut_acts = function flx_release_water_shut_acts (config, state) {
    if (_pyfunc_truthy(config.has_detection)) {
        return detection_acts(config, state);
    }
    return operate_pilot_acts(config, state);
};

shut_control_acts = function flx_shut_control_acts (config, state) {
    return [Action("control_valve", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)];
};

open_drains_acts = function flx_open_drains_acts (config, state) {
    if (_pyfunc_truthy(config.dry)) {
        return and_settle(opened(["inlet_drain", "system_drain", "test_connection"]));
    }
    return and_settle(opened(["system_drain", "test_connection"]));
};

stop_air_acts = function flx_stop_air_acts (config, state) {
    return closed(["air_supply_valve"]);
};

cleared_acts = function flx_cleared_acts (config, state) {
    var acts, name, stub77_seq, stub78_itr, stub79_seq, stub80_itr, zone;
    acts = [];
    stub77_seq = state.zones;
    if ((typeof stub77_seq === "object") && (!Array.isArray(stub77_seq))) { stub77_seq = Object.keys(stub77_seq);}
    for (stub78_itr = 0; stub78_itr < stub77_seq.length; stub78_itr += 1) {
        zone = stub77_seq[stub78_itr];
        _pymeth_append.call(acts, Action("detector_clear", "", 0.0, "slow", zone, 0.0, true, "", 0.0));
    }
    if (_pyfunc_truthy(state.manual_station)) {
        _pymeth_append.call(acts, Action("restore_pull_station", "", 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    if (_pyfunc_truthy(state.sprinkler_open)) {
        _pymeth_append.call(acts, Action("replace_sprinkler", "", 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    stub79_seq = ["pilot_head", "manual_release"];
    if ((typeof stub79_seq === "object") && (!Array.isArray(stub79_seq))) { stub79_seq = Object.keys(stub79_seq);}
    for (stub80_itr = 0; stub80_itr < stub79_seq.length; stub80_itr += 1) {
        name = stub79_seq[stub80_itr];
        if (_pyfunc_truthy((_pyfunc_truthy(fitted(config, name))) && _pyfunc_truthy(state.hand[name]))) {
            _pymeth_append.call(acts, Action("close", name, 0.0, "slow", "z1", 0.0, true, "", 0.0));
        }
    }
    return acts;
};

reset_clapper_acts = function flx_reset_clapper_acts (config, state) {
    return [Action("reset_clapper", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)];
};

reset_qod_acts = function flx_reset_qod_acts (config, state) {
    return _pyfunc_op_add(closed(["qod_isolation_valve"]), [Action("reset_qod", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

drain_low_points_acts = function flx_drain_low_points_acts (config, state) {
    return [Action("drain_low_points", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)];
};

close_outlets_acts = function flx_close_outlets_acts (config, state) {
    if (_pyfunc_truthy(config.dry)) {
        return closed(["test_connection", "system_drain"]);
    }
    return closed(["system_drain", "inlet_drain"]);
};

air_acts = function flx_air_acts (config, state) {
    var acts;
    acts = opened(["air_supply_valve"]);
    if ((!_pyfunc_truthy(state.compressor_on))) {
        _pymeth_append.call(acts, Action("compressor", "", 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    return and_settle(acts);
};

reset_panel_acts = function flx_reset_panel_acts (config, state) {
    return and_settle([Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

reset_solenoid_acts = function flx_reset_solenoid_acts (config, state) {
    return and_settle([Action("reset_solenoid", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

prime_check_acts = function flx_prime_check_acts (config, state) {
    var acts;
    acts = [];
    if ((!_pyfunc_truthy(state.hand["priming_supply_valve"]))) {
        acts = opened(["priming_supply_valve"]);
    }
    return and_settle(acts);
};

crack_water_acts = function flx_crack_water_acts (config, state) {
    var acts;
    acts = [Action("control_valve", "", CRACKED_PCT, "slow", "z1", 0.0, true, "", 0.0)];
    if (_pyfunc_truthy(config.dry)) {
        return acts;
    }
    return and_settle(acts);
};

close_drain_acts = function flx_close_drain_acts (config, state) {
    return and_settle(closed([(_pyfunc_truthy(config.dry))? ("inlet_drain") : ("test_connection")]));
};

open_fully_acts = function flx_open_fully_acts (config, state) {
    return and_settle([Action("control_valve", "", 50.0, "slow", "z1", 0.0, true, "", 0.0), Action("control_valve", "", 100.0, "slow", "z1", 0.0, true, "", 0.0)]);
};

alarm_line_acts = function flx_alarm_line_acts (config, state) {
    return and_settle(_pyfunc_op_add(opened(["alarm_line_valve"]), closed(["alarm_test_valve"])));
};

open_qod_acts = function flx_open_qod_acts (config, state) {
    return and_settle(opened(["qod_isolation_valve"]));
};

final_reset_acts = function flx_final_reset_acts (config, state) {
    var acts;
    acts = [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)];
    if (_pyfunc_truthy(state.disconnect)) {
        _pymeth_append.call(acts, Action("release_disconnect", "", 0.0, "slow", "z1", 0.0, false, "", 0.0));
        _pymeth_append.call(acts, Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0));
    }
    return and_settle(acts);
};

prove_alarm_acts = function flx_prove_alarm_acts (config, state) {
    return and_settle(opened([_pymeth_get.call(PROVING, config.valve, "alarm_test_valve")]));
};

PROVING = ({none: "test_connection"});
prove_reset_acts = function flx_prove_reset_acts (config, state) {
    var what;
    what = _pymeth_get.call(PROVING, config.valve, "alarm_test_valve");
    return and_settle(_pyfunc_op_add(closed([what]), [Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0)]));
};

ACTS = ({main_drain_test: main_drain_test_acts, main_drain_shut: main_drain_shut_acts, inspectors_test: inspectors_test_acts, inspectors_test_shut: inspectors_test_shut_acts, throttle: throttle_acts, lose_air: inspectors_test_acts, restore_air: restore_air_acts, first_zone: first_zone_acts, detection_alone: detection_acts, detection_cleared: detection_cleared_acts, detection: detection_acts, operate_pilot: operate_pilot_acts, air_loss_trip: inspectors_test_acts, flow: inspectors_test_acts, drain_below: drain_below_acts, release_water_shut: release_water_shut_acts, shut_control: shut_control_acts, open_drains: open_drains_acts, stop_air: stop_air_acts, clear_cause: cleared_acts, reset_clapper: reset_clapper_acts, reset_qod: reset_qod_acts, drain_low_points: drain_low_points_acts, close_outlets: close_outlets_acts, air: air_acts, reset_panel: reset_panel_acts, reset_solenoid: reset_solenoid_acts, prime_check: prime_check_acts, crack_water: crack_water_acts, close_drain: close_drain_acts, open_fully: open_fully_acts, alarm_line: alarm_line_acts, open_qod: open_qod_acts, final_reset: final_reset_acts, prove_alarm: prove_alarm_acts, prove_reset: prove_reset_acts});
GAUGE_TOLERANCE_PSI = 3.0;
Reading = function flx_Reading (name, quantity, expected) {
    return ({name: name, quantity: quantity, expected: expected});
};

Step = function flx_Step (code, phase, by, acts, expected, caution, constraints, timers, readings, items) {
    return ({code: code, phase: phase, by: by, acts: acts, expected: expected, caution: caution, constraints: constraints, timers: timers, readings: readings, items: items});
};

Refusal = function flx_Refusal (missing, warnings) {
    return ({missing: missing, warnings: warnings});
};

Mismatch = function flx_Mismatch (name, expected, seen) {
    return ({name: name, expected: expected, seen: seen});
};

guide = function flx_guide (config, task) {
    var code, state, step, steps, stub81_seq, stub82_itr;
    state = normal_state(config);
    steps = [];
    stub81_seq = codes_of(config, task);
    if ((typeof stub81_seq === "object") && (!Array.isArray(stub81_seq))) { stub81_seq = Object.keys(stub81_seq);}
    for (stub82_itr = 0; stub82_itr < stub81_seq.length; stub82_itr += 1) {
        code = stub81_seq[stub82_itr];
        step = step_now(config, state, code);
        _pymeth_append.call(steps, step);
        state = done_step(config, state, step);
    }
    return steps;
};

next_steps = function flx_next_steps (config, task, state, done) {
    var code, refusal, steps, stub83_seq, stub84_itr;
    steps = [];
    stub83_seq = codes_of(config, task);
    if ((typeof stub83_seq === "object") && (!Array.isArray(stub83_seq))) { stub83_seq = Object.keys(stub83_seq);}
    for (stub84_itr = 0; stub84_itr < stub83_seq.length; stub84_itr += 1) {
        code = stub83_seq[stub84_itr];
        if (_pyfunc_op_contains(code, done)) {
            continue;
        }
        refusal = refusal_of(config, task, state, done, code);
        if (((refusal.missing.length == 0) && (refusal.warnings.length == 0))) {
            _pymeth_append.call(steps, step_now(config, state, code));
        }
    }
    return steps;
};

refusal_of = function flx_refusal_of (config, task, state, done, code) {
    var action, earlier, missing, stub85_seq, stub86_itr, stub87_seq, stub88_itr, warnings;
    missing = [];
    stub85_seq = waits_for(codes_of(config, task), code);
    if ((typeof stub85_seq === "object") && (!Array.isArray(stub85_seq))) { stub85_seq = Object.keys(stub85_seq);}
    for (stub86_itr = 0; stub86_itr < stub85_seq.length; stub86_itr += 1) {
        earlier = stub85_seq[stub86_itr];
        if ((!_pyfunc_op_contains(earlier, done))) {
            _pymeth_append.call(missing, earlier);
        }
    }
    warnings = [];
    stub87_seq = acts_of(config, state, code);
    if ((typeof stub87_seq === "object") && (!Array.isArray(stub87_seq))) { stub87_seq = Object.keys(stub87_seq);}
    for (stub88_itr = 0; stub88_itr < stub87_seq.length; stub88_itr += 1) {
        action = stub87_seq[stub88_itr];
        warnings = _pyfunc_op_add(warnings, warnings_before(config, state, action));
        state = act(config, state, action);
    }
    return Refusal(missing, warnings);
};

step_now = function flx_step_now (config, state, code) {
    var acts, applicable, constraint, constraints, expected, key, row, seen, stub89_seq, stub90_itr, stub91_seq, stub92_itr;
    row = ROWS[code];
    acts = acts_of(config, state, code);
    seen = observe(config, after_acts(config, state, acts));
    expected = ({});
    stub89_seq = _pymeth_get.call(row, "see", []);
    if ((typeof stub89_seq === "object") && (!Array.isArray(stub89_seq))) { stub89_seq = Object.keys(stub89_seq);}
    for (stub90_itr = 0; stub90_itr < stub89_seq.length; stub90_itr += 1) {
        key = stub89_seq[stub90_itr];
        if (((seen[key] !== null) && (_pyfunc_truthy(is_seen(config, key))))) {
            expected[key] = seen[key];
        }
    }
    applicable = constraints_of(config);
    constraints = [];
    stub91_seq = _pymeth_get.call(row, "constraints", []);
    if ((typeof stub91_seq === "object") && (!Array.isArray(stub91_seq))) { stub91_seq = Object.keys(stub91_seq);}
    for (stub92_itr = 0; stub92_itr < stub91_seq.length; stub92_itr += 1) {
        constraint = stub91_seq[stub92_itr];
        if (_pyfunc_op_contains(constraint, applicable)) {
            _pymeth_append.call(constraints, constraint);
        }
    }
    return Step(code, phase_of(code), _pymeth_get.call(row, "by", "model"), acts, expected, _pymeth_get.call(row, "caution", ""), constraints, _pymeth_get.call(row, "timers", []), readings_of(row, seen), _pymeth_get.call(row, "items", []));
};

is_seen = function flx_is_seen (config, key) {
    if (_pyfunc_op_contains(key, ["solenoid_energised", "solenoid_open"])) {
        return config.has_detection;
    }
    if (_pyfunc_op_equals(key, "gong")) {
        return !_pyfunc_op_equals(config.valve, "none");
    }
    if (_pyfunc_op_equals(key, "drip_release_drain")) {
        return _pyfunc_op_equals(config.valve, "prime");
    }
    return ((!_pyfunc_op_equals(key, "gauge_system"))) || (!_pyfunc_truthy(config.open_nozzles));
};

readings_of = function flx_readings_of (row, seen) {
    var gauge, name, name_quantity_gauge, quantity, readings, stub93_seq, stub94_itr;
    readings = [];
    stub93_seq = _pymeth_get.call(row, "readings", []);
    if ((typeof stub93_seq === "object") && (!Array.isArray(stub93_seq))) { stub93_seq = Object.keys(stub93_seq);}
    for (stub94_itr = 0; stub94_itr < stub93_seq.length; stub94_itr += 1) {
        name_quantity_gauge = stub93_seq[stub94_itr];
        name = name_quantity_gauge[0];
        quantity = name_quantity_gauge[1];
        gauge = name_quantity_gauge[2];
        if (_pyfunc_op_equals(gauge, "")) {
            _pymeth_append.call(readings, Reading(name, quantity, null));
        } else if ((seen[gauge] !== null)) {
            _pymeth_append.call(readings, Reading(name, quantity, seen[gauge]));
        }
    }
    return readings;
};

PREPARING = ["as_found", "permissions"];
TESTING = ["main_drain_test", "main_drain_shut", "inspectors_test", "inspectors_test_shut", "throttle", "lose_air", "restore_air", "first_zone", "detection_alone", "detection_cleared", "detection", "operate_pilot", "air_loss_trip", "flow", "drain_below", "release_water_shut"];
ENDING = ["put_back", "off_test", "tell_owner", "recheck_low_points"];
phase_of = function flx_phase_of (code) {
    if (_pyfunc_op_contains(code, PREPARING)) {
        return "before";
    }
    if (_pyfunc_op_contains(code, TESTING)) {
        return "test";
    }
    if (_pyfunc_op_contains(code, ENDING)) {
        return "end";
    }
    return "restoration";
};

after_acts = function flx_after_acts (config, state, acts) {
    var action, stub95_seq, stub96_itr;
    stub95_seq = acts;
    if ((typeof stub95_seq === "object") && (!Array.isArray(stub95_seq))) { stub95_seq = Object.keys(stub95_seq);}
    for (stub96_itr = 0; stub96_itr < stub95_seq.length; stub96_itr += 1) {
        action = stub95_seq[stub96_itr];
        state = act(config, state, action);
    }
    return state;
};

done_step = function flx_done_step (config, state, step) {
    return after_acts(config, state, step.acts);
};

compare = function flx_compare (expected, seen) {
    var found, key, stub97_seq, stub98_itr;
    found = [];
    stub97_seq = expected;
    if ((typeof stub97_seq === "object") && (!Array.isArray(stub97_seq))) { stub97_seq = Object.keys(stub97_seq);}
    for (stub98_itr = 0; stub98_itr < stub97_seq.length; stub98_itr += 1) {
        key = stub97_seq[stub98_itr];
        if ((((!_pyfunc_op_contains(key, seen))) || (seen[key] === null))) {
            continue;
        }
        if (_pyfunc_op_equals(key, "signals")) {
            found = _pyfunc_op_add(found, compared_signals(expected[key], seen[key]));
        } else if ((!_pyfunc_truthy(agrees(expected[key], seen[key])))) {
            _pymeth_append.call(found, Mismatch(key, expected[key], seen[key]));
        }
    }
    return found;
};

worked_from = function flx_worked_from (system_type, overrides, seen) {
    var known, name, stub100_itr, stub99_seq, usual;
    usual = make_config(system_type, overrides);
    known = ({});
    stub99_seq = overrides;
    if ((typeof stub99_seq === "object") && (!Array.isArray(stub99_seq))) { stub99_seq = Object.keys(stub99_seq);}
    for (stub100_itr = 0; stub100_itr < stub99_seq.length; stub100_itr += 1) {
        name = stub99_seq[stub100_itr];
        known[name] = overrides[name];
    }
    if ((_pymeth_get.call(seen, "gauge_supply", 0.0) > 0.0)) {
        known["supply"] = seen["gauge_supply"];
    }
    if ((_pyfunc_truthy(usual.air) && ((((usual.low_air < _pymeth_get.call(seen, "gauge_system", 0.0))) && ((_pymeth_get.call(seen, "gauge_system", 0.0) < usual.high_air)))))) {
        known["air_set"] = seen["gauge_system"];
    }
    if ((_pyfunc_truthy(usual.pilot) && ((_pymeth_get.call(seen, "gauge_pilot", 0.0) > usual.pilot_trip)))) {
        known["pilot_set"] = seen["gauge_pilot"];
    }
    return known;
};

compared_signals = function flx_compared_signals (expected, seen) {
    var found, signal, stub101_seq, stub102_itr, stub103_seq, stub104_itr;
    found = [];
    stub101_seq = expected;
    if ((typeof stub101_seq === "object") && (!Array.isArray(stub101_seq))) { stub101_seq = Object.keys(stub101_seq);}
    for (stub102_itr = 0; stub102_itr < stub101_seq.length; stub102_itr += 1) {
        signal = stub101_seq[stub102_itr];
        if ((!_pyfunc_op_contains(signal, seen))) {
            _pymeth_append.call(found, Mismatch(signal, true, false));
        }
    }
    stub103_seq = seen;
    if ((typeof stub103_seq === "object") && (!Array.isArray(stub103_seq))) { stub103_seq = Object.keys(stub103_seq);}
    for (stub104_itr = 0; stub104_itr < stub103_seq.length; stub104_itr += 1) {
        signal = stub103_seq[stub104_itr];
        if ((!_pyfunc_op_contains(signal, expected))) {
            _pymeth_append.call(found, Mismatch(signal, false, true));
        }
    }
    return found;
};

agrees = function flx_agrees (expected, seen) {
    var gap, same;
    if (_pyfunc_truthy((_pyfunc_truthy(is_number(expected))) && (_pyfunc_truthy(is_number(seen))))) {
        gap = _pyfunc_abs((expected - seen));
        return gap <= GAUGE_TOLERANCE_PSI;
    }
    same = _pyfunc_op_equals(expected, seen);
    return same;
};

is_number = function flx_is_number (value) {
    return ((Object.prototype.toString.call(value).slice(8,-1).toLowerCase() === 'number')) && ((!(Object.prototype.toString.call(value).slice(8,-1).toLowerCase() === 'boolean')));
};

ENGLISH = _pyfunc_create_dict("task.trip_test", "Trip test", "task.partial_trip_test", "Partial-flow trip test", "task.air_loss_trip_test", "Trip test by loss of air", "task.no_flow_trip_test", "Trip test without flow", "task.no_flow_alarm_test", "Alarm test without flow", "task.restoration", "Restoration", "phase.before", "Before you start", "phase.test", "Test", "phase.restoration", "Restoration", "phase.end", "Before you leave", "step.as_found", "Readings as found", "do.as_found", "Write down every gauge and the panel before touching anything. After a trip these readings cannot be recovered.", "step.permissions", "Permission and test mode", "do.permissions", "Permission given; monitoring station on test, with an end time; people in the building told; release and shutdown functions (fans, doors, power, elevators) dealt with; discharge path safe; piping above freezing.", "step.main_drain_test", "Main drain, wide open", "do.main_drain_test", "Open the main drain slowly to wide open. Read the supply gauge once the flow has steadied.", "step.main_drain_shut", "Shut the main drain", "do.main_drain_shut", "Shut the drain slowly and read the supply gauge again.", "step.inspectors_test", "Inspector's test connection", "do.inspectors_test", "Open the inspector's test connection fully. Time it to the waterflow signal at the panel and at the monitoring station.", "step.inspectors_test_shut", "Shut the test connection", "do.inspectors_test_shut", "Shut the test connection and reset the panel.", "step.throttle", "Throttle the control valve", "do.throttle", "With the main drain running full, close the control valve no further than where that flow begins to fall, then shut the drain.", "step.lose_air", "Lose the air alone", "do.lose_air", "Open the trip test connection and let the air go. Note the gauge at the moment of the low-air signal. The prime must stand and no water may enter.", "step.restore_air", "Restore the air", "do.restore_air", "Shut the test connection, wait for normal air, then reset the panel.", "step.first_zone", "One zone alone", "do.first_zone", "Operate a detector of the first zone. It announces; nothing is released.", "step.detection_alone", "Detection alone", "do.detection_alone", "Operate the detection as its maker says. With the air up nothing may enter the piping.", "step.detection_cleared", "Clear the detection", "do.detection_cleared", "Clear the detectors and reset the panel; read the prime again.", "step.detection", "Operate the detection", "do.detection", "Operate a detector of each zone that the release needs. Time it to the trip and to the waterflow signal.", "step.operate_pilot", "Operate the pilot line", "do.operate_pilot", "Open the test valve at the end of the pilot line. Time it to the trip and to the waterflow signal.", "step.air_loss_trip", "Trip by loss of air", "do.air_loss_trip", "From normal air, open the remote test connection fully. Note the time and the air at the trip, the low-air and waterflow signals, and the time to first water.", "step.flow", "Flow at the trip test connection", "do.flow", "Open the trip test connection. Stop the watch at first water, then let it run until clear.", "step.drain_below", "Drain below the valve", "do.drain_below", "Open the drain below the system valve until the supply gauge reads nothing, and leave it open.", "step.release_water_shut", "Operate the release, water shut", "do.release_water_shut", "Operate the detection or the pilot line as its maker says. Time it to the release; the prime falls and no water follows.", "step.confirm_may_shut", "May the water be shut?", "do.confirm_may_shut", "No fire, seen and not assumed; permission to shut the water; the impairment is noted with its start.", "step.shut_control", "Shut the control valve", "do.shut_control", "Shut it fully and count the turns. Tag it.", "step.open_drains", "Open the drains", "do.open_drains", "Open the main drain first, then the drain above the valve and the remote outlet. Let everything run out.", "step.stop_air", "Stop the air", "do.stop_air", "Shut the air supply so that it does not fight the draining.", "step.clear_cause", "Clear the cause", "do.clear_cause", "Replace opened sprinklers like for like, clear detectors, restore manual stations, shut pilot and manual releases.", "step.reset_clapper", "Reset the clapper", "do.reset_clapper", "With both sides without pressure: clean seat and rubber, set the clapper down and latch it.", "step.reset_qod", "Reset the quick-opening device", "do.reset_qod", "Shut its isolation valve, drain its chamber and set it. It stays isolated until the valve holds supply pressure.", "step.drain_low_points", "Drain every low point", "do.drain_low_points", "At each low point: water, then air only. Nothing at all from a pipe that was wet means ice or a plug.", "step.close_outlets", "Shut what is open above the valve", "do.close_outlets", "Shut drain and remote outlet, put plugs and caps back.", "step.priming_water", "Priming water", "do.priming_water", "Where the valve wants it: fill to the level plug, drain the excess, shut the priming valve.", "step.air", "Bring the air up", "do.air", "Open the air supply and wait for the set pressure.", "step.reset_panel", "Reset the panel", "do.reset_panel", "Detectors clear first. After the reset the solenoid shuts and the prime builds.", "step.reset_solenoid", "Reset the latching solenoid", "do.reset_solenoid", "Reset it by hand; the release drain stops.", "step.prime_check", "Prime steady", "do.prime_check", "Priming valve open, prime at supply pressure and steady for five minutes, release drain dry.", "step.crack_water", "Crack the water on", "do.crack_water", "With the drain cracked, open the control valve a little and let the air below be pushed out. Water in the piping: shut, drain, start again.", "step.close_drain", "Shut the drain slowly", "do.close_drain", "Watch prime and system gauges while the pressure rises.", "step.open_fully", "Open the control valve fully", "do.open_fully", "Open slowly, count the turns, back off as the valve wants it, lock or seal.", "step.alarm_line", "Alarm line open", "do.alarm_line", "Alarm line valve open, alarm test valve shut.", "step.open_qod", "Put the quick-opening device back", "do.open_qod", "Open its isolation valve slowly with the valve holding supply pressure.", "step.final_reset", "Last panel reset", "do.final_reset", "With the control valve fully open. Disconnect normal only after the panel is. No lamp may stay.", "step.prove_alarm", "Prove the waterflow signal", "do.prove_alarm", "Open the alarm test valve and time it to the signal, at the panel and at the monitoring station.", "step.prove_reset", "Back to normal", "do.prove_reset", "Shut the alarm test valve, reset the panel, read every gauge.", "step.put_back", "Everything else back", "do.put_back", "Fans, doors, power, elevators; heat on, valve room 40 F or warmer; covers and seals.", "step.off_test", "Off test", "do.off_test", "Read the signals back with the monitoring station, then off test.", "step.tell_owner", "Tell the owner", "do.tell_owner", "The owner is told, the impairment closed, tags removed.", "step.recheck_low_points", "Low points again", "do.recheck_low_points", "In cold weather somebody drains the low points again within a day or two: name who and when.", "caution.on_test", "Local codes, the authority having jurisdiction and the building's own procedures come first. Nothing is touched before the station is on test.", "caution.discharge", "Full flow at the outlet: see where it goes and that nobody stands there.", "caution.hands_on_wheel", "Keep your hands on the wheel until the valve is shut again.", "caution.stop_if_water", "If the prime falls or water enters, shut the control valve at once.", "caution.detection", "Water enters the piping when the release operates, and leaves it at any open nozzle.", "caution.water_path", "Water under pressure at the outlet: stand clear, hose secured, drain path open, no ice on walkways.", "caution.no_fire", "Shutting the water during a fire kills. See for yourself that there is none.", "caution.impaired", "From here on the area is without water. A person stays with the valve, or the impairment procedure starts.", "caution.drain_path", "Drains run under pressure: stand clear, see where the water goes.", "caution.cover", "Pressure under a clapper throws it. Both gauges at zero and the drains run out before a cover is loosened or a hand goes in.", "caution.reset", "A detector still in alarm releases again at once.", "caution.slowly", "Slowly: water hammer breaks valves and can trip this one.", "caution.watch_gauges", "The jump in pressure is the moment of a second trip. If the system gauge rises, shut the control valve and start again.", "rule.C1", "Control valve shut before anything is reset or opened: water keeps coming.", "rule.C2", "Both sides drained before the clapper or a cover is touched: pressure throws it.", "rule.C3", "Clapper down before the air: air passes an open clapper and the gauge looks right.", "rule.C4", "Outlets shut before the air, or the gauge never rises.", "rule.C5", "Air before water: without air nothing holds the valve and the piping floods.", "rule.C6", "Air before prime: the air-held actuator is an open vent until then.", "rule.C7", "Air before water: without it one of two interlocks is spent.", "rule.C8", "Detectors and stations clear before the panel reset, or it releases again.", "rule.C9", "Panel reset before water: the solenoid is still open and the piping would flood.", "rule.C10", "Solenoid, pilot line and manual release restored first: a vent beats the prime.", "rule.C11", "Prime at supply pressure and steady before water, or the valve opens.", "rule.C12", "Open the control valve slowly, the drain cracked: water hammer and surge.", "rule.C13", "The valve would lift as this drain is shut: shut the control valve, start again.", "rule.C14", "The quick-opening device goes back last, with the valve holding: else it trips.", "rule.C15", "Low points drained before the air: trapped water freezes and splits the pipe.", "rule.C16", "Priming water after the clapper and before the air, its excess drained.", "rule.C17", "Alarm line open only after the water is off the alarm port, and left open.", "rule.C18", "Disconnect closed only after reset and a normal panel: it releases at once.", "rule.C19", "Last reset only with the control valve fully open: before, it proves nothing.", "rule.C20", "Off test only after the last reset and a restore received.", "hazard.water_into_piping", "Water into the piping", "hazard.water_hammer", "Water hammer", "hazard.reset_under_pressure", "Reset under pressure", "hazard.draining_live_system", "Draining a live system", "hazard.release_reenergised", "Release energised again", "hazard.left_impaired", "Left impaired", "reading.supply_gauge", "Supply gauge", "reading.system_gauge", "System gauge", "reading.prime_gauge", "Prime gauge", "reading.pilot_gauge", "Pilot gauge", "reading.static_before", "Static before", "reading.residual", "Residual, drain wide open", "reading.static_after", "Static after", "reading.flowing_gauge", "Supply gauge, flowing", "reading.low_air_signal", "Air at the low-air signal", "reading.trip_air", "Air at the trip", "reading.turns", "Turns of the control valve", "timer.trip_seconds", "Time to trip", "timer.delivery_seconds", "Time to first water", "timer.alarm_seconds", "Time to the waterflow signal", "timer.air_seconds", "Time to normal air", "timer.prime_steady_seconds", "Prime steady for", "seen.panel", "Panel", "seen.signals", "Signals", "seen.gauge_supply", "Supply gauge", "seen.gauge_system", "System gauge", "seen.gauge_prime", "Prime gauge", "seen.gauge_pilot", "Pilot gauge", "seen.solenoid_energised", "Release output energised", "seen.water_in_piping", "Water in the piping", "seen.flow_test_connection", "At the test connection", "seen.sprinkler_discharge", "At sprinklers and nozzles", "seen.flow_inlet_drain", "At the inlet drain", "seen.gong", "Water motor gong", "seen.drip_release_drain", "Release drain running", "seen.qod", "Quick-opening device", "seen.compressor_running", "Air supply working", "seen.trip_air", "Air at the trip", "signal.waterflow", "Waterflow", "signal.detector", "Detector, zone", "signal.manual_station", "Manual station", "signal.tamper", "Valve tamper", "signal.low_air", "Low air", "signal.high_air", "High air", "signal.low_pilot_air", "Low pilot air", "signal.release_disconnected", "Release disconnected", "signal.release_circuit_open", "Release circuit open", "signal.battery_fail", "Battery failed", "signal.room_low_temp", "Valve room cold", "signal.ac_fail", "Mains failed", "panel.alarm", "Alarm", "panel.supervisory", "Supervisory", "panel.trouble", "Trouble", "panel.dark", "Dark, no power", "panel.normal", "Normal", "value.none", "Nothing", "value.air", "Air", "value.water", "Water", "value.set", "Set", "value.tripped", "Tripped", "item.control_valve", "Control valve fully open, seen, turns counted, locked or sealed", "item.supply_gauge", "Supply gauge at its usual static", "item.system_gauge", "System gauge in its band", "item.prime_steady", "Prime at supply pressure, steady five minutes, release drain dry", "item.pilot_air", "Pilot air in its band", "item.valve_set", "System valve set, automatic drain not dripping", "item.quick_opening_device", "Quick-opening device set, its isolation valve open", "item.priming_water_level", "Priming water level right", "item.drains_shut", "Drains, test connection and alarm test valve shut, plugged or capped", "item.alarm_line_open", "Alarm line valve open", "item.air_supply_on", "Air supply on, in automatic, running time sane", "item.priming_valve_open", "Priming valve open", "item.manual_release_sealed", "Manual release shut, guarded, sealed", "item.low_points_drained", "Low points drained, caps on", "item.sprinklers_replaced", "Sprinklers replaced like for like, spares restocked", "item.panel_normal", "Panel normal: no lamp, no latched input, power and batteries", "item.heat_on", "Heat on, valve room 40 F or warmer", "item.downstream_functions", "Fans, doors, power and elevators put back", "item.off_test", "Monitoring station off test, last signals read back", "item.owner_told", "Owner told, impairment closed, tags removed", "normal.control_valve", "Control valve not fully open", "normal.inlet_pressure", "Supply pressure low", "normal.priming_pressure", "Prime low", "normal.valve_not_set", "System valve not set", "normal.system_air", "System air out of its band", "normal.water_in_piping", "Water in the piping", "normal.low_points", "Low points not drained", "normal.inlet_drain", "Inlet drain open", "normal.system_drain", "System drain open", "normal.test_connection", "Test connection open", "normal.alarm_test_valve", "Alarm test valve open", "normal.manual_release", "Manual release open", "normal.pilot_head", "Pilot line open", "normal.alarm_line_valve", "Alarm line valve shut", "normal.air_supply_valve", "Air supply off", "normal.priming_supply_valve", "Priming valve shut", "normal.qod", "Quick-opening device tripped or isolated", "normal.sprinkler", "Sprinkler open", "normal.panel", "Panel not normal", "normal.release_disconnect", "Release disconnected", "normal.pilot_air", "Pilot air low");
WORDS = ({en: ENGLISH});
word = function flx_word (language, key) {
    if ((_pyfunc_op_contains(language, WORDS) && _pyfunc_op_contains(key, WORDS[language]))) {
        return WORDS[language][key];
    }
    if (_pyfunc_op_contains(key, ENGLISH)) {
        return ENGLISH[key];
    }
    return key;
};
export { make_config, normal_state, fitted, Action, act, hazards_of, advance, settle, seconds_until, observe, not_normal, is_ready, end_state, unproven, leaving, constraints_of, warnings_before, take, tasks_of, guide, next_steps, refusal_of, step_now, done_step, compare, worked_from, word, Config, ENOUGH, FAULTS, GAUGE_TOLERANCE_PSI, Mismatch, NORMALLY_OPEN, NORMALLY_SHUT, State, agrees, before, begun, detection_acts, fault_fits, is_number, main_drain, pipe_psi, with_hand, with_name };
