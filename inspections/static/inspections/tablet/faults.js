// Written from hypotheses.py, diagnosis.py, checks.py, pointing.py, fault_words.py: change those.
import { Action, Config, ENOUGH, FAULTS, GAUGE_TOLERANCE_PSI, Mismatch, NORMALLY_OPEN, NORMALLY_SHUT, State, act, advance, agrees, before, begun, compare, detection_acts, done_step, fault_fits, fitted, is_number, main_drain, normal_state, observe, pipe_psi, settle, step_now, warnings_before, with_hand, with_name } from "./sequence.js";
import { _pyfunc_abs, _pyfunc_create_dict, _pyfunc_float, _pyfunc_op_add, _pyfunc_op_contains, _pyfunc_op_equals, _pyfunc_op_error, _pyfunc_op_mult, _pyfunc_truthy, _pymeth_append, _pymeth_endswith, _pymeth_format, _pymeth_get, _pymeth_split, _pymeth_startswith } from "./runtime.js";
var APART, COARSE, Check, Diagnosis, Done, EVOLVING, Explanation, FAULT_WORDS, FIGURES, FLOWING, MOST_EXPLANATIONS, OBSERVABLE, ODDS, ODDS_SOURCE, PAIR_ODDS, POSITION, POSITIONS, PSI, Pointed, QUESTIONS, Record, SECONDS, SIZES, SLIPS, SOUND_ODDS, USUAL_ODDS, acted, allowed_by_answers, always, ambiguity_groups, at_the_last, check_record, checks_of, demanded, diagnose, diagnose_from, explained, fault_word, fits, gain_of, holds_a_simpler, holds_all, hypotheses_of, in_order, injected, is_alike, is_position, left_behind, lets_water, looked, looked_at, meets, most_telling, named, next_checks, odds, odds_of, opens, otherwise, pairs_of, pointed, position_of, questions_left, ranked, record_of_steps, recorded, rest, same_names, shuts, split_by, states_after, told_apart, variants_of, walked, water_shut_checks, within, without_any;
ODDS_SOURCE = "common practice, no source";
PAIR_ODDS = 0.05;
USUAL_ODDS = 1.0;
SOUND_ODDS = 20.0;
ODDS = ({control_valve_closed: 3.0, control_valve_not_fully_open: 3.0, alarm_line_valve_closed: 4.0, priming_valve_shut: 3.0, air_supply_valve_shut: 3.0, qod_isolated: 4.0, inlet_drain_open: 2.0, system_drain_open: 2.0, test_connection_open: 2.0, alarm_test_valve_open: 2.0, manual_release_open: 2.0, pilot_head_open: 1.0, release_disconnect_open: 2.0, compressor_off: 2.0, water_column: 2.0, air_leak_slow: 3.0, priming_orifice_plugged: 2.0, detector_still_in_alarm: 3.0, manual_station_not_restored: 2.0, panel_not_reset: 2.0, low_point_frozen: 2.0, actuator_stuck_open: 0.5, valve_stuck_closed: 0.5, air_leak_beyond_supply: 0.5});
POSITIONS = ({alarm_line_valve_closed: ["alarm_line_valve", false], air_supply_valve_shut: ["air_supply_valve", false], priming_valve_shut: ["priming_supply_valve", false], qod_isolated: ["qod_isolation_valve", false], inlet_drain_open: ["inlet_drain", true], system_drain_open: ["system_drain", true], test_connection_open: ["test_connection", true], alarm_test_valve_open: ["alarm_test_valve", true], manual_release_open: ["manual_release", true], pilot_head_open: ["pilot_head", true]});
SLIPS = ({detector_clear: "detector_still_in_alarm", restore_pull_station: "manual_station_not_restored", panel_reset: "panel_not_reset", reset_solenoid: "solenoid_not_reset", reset_clapper: "clapper_not_reset", reset_qod: "qod_not_reset", replace_sprinkler: "sprinkler_not_replaced"});
SIZES = ({control_valve_not_fully_open: [90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0], water_column: [15.0, 30.0, 60.0]});
COARSE = ({control_valve_not_fully_open: [60.0, 30.0], water_column: [30.0]});
EVOLVING = ["air_leak_slow", "air_leak_beyond_supply", "compressor_failed", "compressor_off", "air_supply_valve_shut", "pilot_leak_slow"];
QUESTIONS = ({low_points_ran_clear: "low_point_frozen", compressor_rests: "air_leak_slow", pilot_air_rests: "pilot_leak_slow", room_at_40_f: "room_cold", supply_gauge_moves: "gauge_supply_isolated", system_gauge_moves: "gauge_system_isolated", prime_gauge_moves: "gauge_prime_isolated", pilot_gauge_moves: "gauge_pilot_isolated", battery_holds_under_load: "battery_dead"});
hypotheses_of = function flx_hypotheses_of (config, acts) {
    var action, code, codes, fault, stub1_seq, stub2_itr, stub3_seq, stub4_itr, stub5_seq, stub6_itr;
    codes = [];
    stub1_seq = POSITIONS;
    if ((typeof stub1_seq === "object") && (!Array.isArray(stub1_seq))) { stub1_seq = Object.keys(stub1_seq);}
    for (stub2_itr = 0; stub2_itr < stub1_seq.length; stub2_itr += 1) {
        code = stub1_seq[stub2_itr];
        if (_pyfunc_truthy(fitted(config, POSITIONS[code][0]))) {
            _pymeth_append.call(codes, code);
        }
    }
    codes = _pyfunc_op_add(codes, ["control_valve_closed", "control_valve_not_fully_open"]);
    if (_pyfunc_truthy(_pyfunc_truthy(config.air) || config.pilot)) {
        _pymeth_append.call(codes, "compressor_off");
    }
    if (_pyfunc_truthy(config.has_detection)) {
        _pymeth_append.call(codes, "release_disconnect_open");
    }
    if (_pyfunc_op_equals(config.valve, "dry")) {
        _pymeth_append.call(codes, "water_column");
    }
    stub3_seq = FAULTS;
    if ((typeof stub3_seq === "object") && (!Array.isArray(stub3_seq))) { stub3_seq = Object.keys(stub3_seq);}
    for (stub4_itr = 0; stub4_itr < stub3_seq.length; stub4_itr += 1) {
        fault = stub3_seq[stub4_itr];
        if (_pyfunc_truthy(fault_fits(config, fault))) {
            _pymeth_append.call(codes, fault);
        }
    }
    stub5_seq = acts;
    if ((typeof stub5_seq === "object") && (!Array.isArray(stub5_seq))) { stub5_seq = Object.keys(stub5_seq);}
    for (stub6_itr = 0; stub6_itr < stub5_seq.length; stub6_itr += 1) {
        action = stub5_seq[stub6_itr];
        if ((_pyfunc_op_contains(action.kind, SLIPS) && ((!_pyfunc_op_contains(SLIPS[action.kind], codes))))) {
            _pymeth_append.call(codes, SLIPS[action.kind]);
        }
    }
    return codes;
};

odds_of = function flx_odds_of (code) {
    return _pymeth_get.call(ODDS, code, USUAL_ODDS);
};

variants_of = function flx_variants_of (causes) {
    var code, stub7_seq, stub8_itr;
    stub7_seq = causes;
    if ((typeof stub7_seq === "object") && (!Array.isArray(stub7_seq))) { stub7_seq = Object.keys(stub7_seq);}
    for (stub8_itr = 0; stub8_itr < stub7_seq.length; stub8_itr += 1) {
        code = stub7_seq[stub8_itr];
        if (_pyfunc_op_contains(code, SIZES)) {
            return ((causes.length == 1))? (SIZES[code]) : (COARSE[code]);
        }
    }
    return [0.0];
};

injected = function flx_injected (config, state, causes, size) {
    var code, stub10_itr, stub9_seq;
    stub9_seq = causes;
    if ((typeof stub9_seq === "object") && (!Array.isArray(stub9_seq))) { stub9_seq = Object.keys(stub9_seq);}
    for (stub10_itr = 0; stub10_itr < stub9_seq.length; stub10_itr += 1) {
        code = stub9_seq[stub10_itr];
        if (_pyfunc_op_contains(code, POSITIONS)) {
            state = with_hand(state, POSITIONS[code][0], POSITIONS[code][1]);
        } else if (_pyfunc_op_contains(code, FAULTS)) {
            state = Object.assign(({}), state, ({faults: with_name(state.faults, code)}));
        } else if (_pyfunc_op_equals(code, "control_valve_closed")) {
            state = Object.assign(({}), state, ({control_pct: 0.0}));
        } else if (_pyfunc_op_equals(code, "control_valve_not_fully_open")) {
            state = Object.assign(({}), state, ({control_pct: size}));
        } else if (_pyfunc_op_equals(code, "compressor_off")) {
            state = Object.assign(({}), state, ({compressor_on: false}));
        } else if (_pyfunc_op_equals(code, "release_disconnect_open")) {
            state = Object.assign(({}), state, ({disconnect: true}));
        } else if (_pyfunc_op_equals(code, "water_column")) {
            state = Object.assign(({}), state, ({column_ft: size}));
        }
    }
    return state;
};

left_behind = function flx_left_behind (config, state) {
    var left, shut_with_air;
    left = [];
    if ((state.hazards.length > 0)) {
        _pymeth_append.call(left, "wrong_reset_order");
    }
    if ((state.zones.length > 0)) {
        _pymeth_append.call(left, "detector_still_in_alarm");
    }
    if (_pyfunc_truthy(state.manual_station)) {
        _pymeth_append.call(left, "manual_station_not_restored");
    }
    if ((_pyfunc_truthy(state.release_latched) && (state.zones.length == 0) && ((!_pyfunc_truthy(state.manual_station))))) {
        _pymeth_append.call(left, "panel_not_reset");
    }
    if ((_pyfunc_truthy(state.solenoid_latched_open) && ((!_pyfunc_truthy(state.release_latched))))) {
        _pymeth_append.call(left, "solenoid_not_reset");
    }
    shut_with_air = (state.control_pct <= 0.0) && ((pipe_psi(state) >= _pyfunc_op_mult(ENOUGH, config.low_air)));
    if ((_pyfunc_op_equals(config.valve, "dry") && _pyfunc_truthy(state.valve_open) && _pyfunc_truthy(shut_with_air))) {
        _pymeth_append.call(left, "clapper_not_reset");
    }
    if ((_pyfunc_truthy(state.qod_tripped) && ((!_pyfunc_truthy(state.valve_open))))) {
        _pymeth_append.call(left, "qod_not_reset");
    }
    if (((config.column_ft > 0.0) && (state.column_ft > 0.0))) {
        _pymeth_append.call(left, "water_column");
    }
    return left;
};

OBSERVABLE = ["panel", "lamps", "signals", "gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot", "solenoid_energised", "water_in_piping", "flow_test_connection", "sprinkler_discharge", "flow_inlet_drain", "gong", "drip_release_drain", "drip_auto_drain", "qod", "compressor_running", "trip_air"];
POSITION = "position:";
Record = function flx_Record (acts, seen, answers) {
    return ({acts: acts, seen: seen, answers: answers});
};

Explanation = function flx_Explanation (causes, left, since, share, state) {
    return ({causes: causes, left: left, since: since, share: share, state: state});
};

Diagnosis = function flx_Diagnosis (explanations, cause, questions, tried, complete) {
    return ({explanations: explanations, cause: cause, questions: questions, tried: tried, complete: complete});
};

always = function flx_always () {
    return true;
};

diagnose = function flx_diagnose (config, record, deepest, go_on) {
    deepest = (deepest === undefined) ? 2: deepest;
    go_on = (go_on === undefined) ? always: go_on;
    return diagnose_from(config, settle(config, normal_state(config)), record, deepest, go_on);
};

diagnose_from = function flx_diagnose_from (config, sound, record, deepest, go_on) {
    var asked, causes, code, codes, complete, depth, found, sets, stub11_seq, stub12_itr, stub13_seq, stub14_itr, tried;
    check_record(config, record);
    codes = allowed_by_answers(hypotheses_of(config, record.acts), record.answers);
    asked = demanded(record.answers);
    found = [];
    tried = 0;
    complete = true;
    sets = [[]];
    stub11_seq = codes;
    if ((typeof stub11_seq === "object") && (!Array.isArray(stub11_seq))) { stub11_seq = Object.keys(stub11_seq);}
    for (stub12_itr = 0; stub12_itr < stub11_seq.length; stub12_itr += 1) {
        code = stub11_seq[stub12_itr];
        _pymeth_append.call(sets, [code]);
    }
    depth = 1;
    while ((depth <= deepest) && (sets.length > 0)) {
        stub13_seq = sets;
        if ((typeof stub13_seq === "object") && (!Array.isArray(stub13_seq))) { stub13_seq = Object.keys(stub13_seq);}
        for (stub14_itr = 0; stub14_itr < stub13_seq.length; stub14_itr += 1) {
            causes = stub13_seq[stub14_itr];
            if ((_pyfunc_truthy(complete) && ((!_pyfunc_truthy(go_on()))))) {
                complete = false;
            }
            if ((_pyfunc_truthy(complete) && (_pyfunc_truthy(holds_all(causes, asked))) && ((!_pyfunc_truthy(holds_a_simpler(found, causes, depth)))))) {
                tried = tried + 1;
                found = _pyfunc_op_add(found, explained(config, sound, record, causes));
            }
        }
        sets = ((_pyfunc_op_equals(depth, 1) && (found.length == 0)))? (pairs_of(codes)) : ([]);
        depth = depth + 1;
    }
    found = ranked(found);
    return Diagnosis(found, ((_pyfunc_truthy(complete) && (found.length == 1)))? (found[0].causes) : ([]), questions_left(config, record.answers, found), tried, complete);
};

check_record = function flx_check_record (config, record) {
    var accepted, code, entry, err_2, err_3, err_4, key, stub15_seq, stub16_itr, stub17_seq, stub18_itr, stub19_seq, stub20_itr;
    if (_pyfunc_truthy(record.seen.length != (record.acts.length + 1))) {
        throw _pyfunc_op_error('ValueError', _pymeth_format.call("seen: {} entries for {} acts; accepted: one before the first act and one after each", record.seen.length, record.acts.length));
    }
    stub17_seq = record.seen;
    if ((typeof stub17_seq === "object") && (!Array.isArray(stub17_seq))) { stub17_seq = Object.keys(stub17_seq);}
    for (stub18_itr = 0; stub18_itr < stub17_seq.length; stub18_itr += 1) {
        entry = stub17_seq[stub18_itr];
        stub15_seq = entry;
        if ((typeof stub15_seq === "object") && (!Array.isArray(stub15_seq))) { stub15_seq = Object.keys(stub15_seq);}
        for (stub16_itr = 0; stub16_itr < stub15_seq.length; stub16_itr += 1) {
            key = stub15_seq[stub16_itr];
            if (_pyfunc_truthy(((!_pyfunc_op_contains(key, OBSERVABLE))) && ((!_pyfunc_truthy(is_position(config, key)))))) {
                accepted = named(_pyfunc_op_add(OBSERVABLE, [POSITION + "NAME"]));
                throw _pyfunc_op_error('ValueError', _pymeth_format.call("seen: {} cannot be observed here; accepted: {}", key, accepted));
            }
        }
    }
    stub19_seq = record.answers;
    if ((typeof stub19_seq === "object") && (!Array.isArray(stub19_seq))) { stub19_seq = Object.keys(stub19_seq);}
    for (stub20_itr = 0; stub20_itr < stub19_seq.length; stub20_itr += 1) {
        code = stub19_seq[stub20_itr];
        if ((!_pyfunc_op_contains(code, QUESTIONS))) {
            throw _pyfunc_op_error('ValueError', (_pymeth_format.call("answers: {} is not asked; accepted: {}", code, named(QUESTIONS))));
        }
    }
    return null;
};

is_position = function flx_is_position (config, key) {
    var name;
    if ((!_pymeth_startswith.call(key, POSITION))) {
        return false;
    }
    name = key.slice(POSITION.length);
    return _pyfunc_op_equals(name, "control_valve") || fitted(config, name);
};

named = function flx_named (names) {
    var name, stub21_seq, stub22_itr, text;
    text = "";
    stub21_seq = names;
    if ((typeof stub21_seq === "object") && (!Array.isArray(stub21_seq))) { stub21_seq = Object.keys(stub21_seq);}
    for (stub22_itr = 0; stub22_itr < stub21_seq.length; stub22_itr += 1) {
        name = stub21_seq[stub22_itr];
        text = (_pyfunc_op_equals(text, ""))? (name) : ((text + ", ") + name);
    }
    return text;
};

allowed_by_answers = function flx_allowed_by_answers (codes, answers) {
    var code, kept, question, ruled_out, stub23_seq, stub24_itr, stub25_seq, stub26_itr;
    kept = [];
    stub25_seq = codes;
    if ((typeof stub25_seq === "object") && (!Array.isArray(stub25_seq))) { stub25_seq = Object.keys(stub25_seq);}
    for (stub26_itr = 0; stub26_itr < stub25_seq.length; stub26_itr += 1) {
        code = stub25_seq[stub26_itr];
        ruled_out = false;
        stub23_seq = answers;
        if ((typeof stub23_seq === "object") && (!Array.isArray(stub23_seq))) { stub23_seq = Object.keys(stub23_seq);}
        for (stub24_itr = 0; stub24_itr < stub23_seq.length; stub24_itr += 1) {
            question = stub23_seq[stub24_itr];
            if ((_pyfunc_truthy(answers[question]) && _pyfunc_op_equals(QUESTIONS[question], code))) {
                ruled_out = true;
            }
        }
        if ((!_pyfunc_truthy(ruled_out))) {
            _pymeth_append.call(kept, code);
        }
    }
    return kept;
};

demanded = function flx_demanded (answers) {
    var asked, question, stub27_seq, stub28_itr;
    asked = [];
    stub27_seq = answers;
    if ((typeof stub27_seq === "object") && (!Array.isArray(stub27_seq))) { stub27_seq = Object.keys(stub27_seq);}
    for (stub28_itr = 0; stub28_itr < stub27_seq.length; stub28_itr += 1) {
        question = stub27_seq[stub28_itr];
        if ((!_pyfunc_truthy(answers[question]))) {
            _pymeth_append.call(asked, QUESTIONS[question]);
        }
    }
    return asked;
};

holds_all = function flx_holds_all (causes, asked) {
    var code, stub29_seq, stub30_itr;
    stub29_seq = asked;
    if ((typeof stub29_seq === "object") && (!Array.isArray(stub29_seq))) { stub29_seq = Object.keys(stub29_seq);}
    for (stub30_itr = 0; stub30_itr < stub29_seq.length; stub30_itr += 1) {
        code = stub29_seq[stub30_itr];
        if ((!_pyfunc_op_contains(code, causes))) {
            return false;
        }
    }
    return true;
};

holds_a_simpler = function flx_holds_a_simpler (found, causes, depth) {
    var each, stub31_seq, stub32_itr;
    if (_pyfunc_op_equals(depth, 1)) {
        return false;
    }
    stub31_seq = found;
    if ((typeof stub31_seq === "object") && (!Array.isArray(stub31_seq))) { stub31_seq = Object.keys(stub31_seq);}
    for (stub32_itr = 0; stub32_itr < stub31_seq.length; stub32_itr += 1) {
        each = stub31_seq[stub32_itr];
        if (((each.causes.length < causes.length) && (_pyfunc_truthy(holds_all(causes, each.causes))))) {
            return true;
        }
    }
    return false;
};

pairs_of = function flx_pairs_of (codes) {
    var first, pairs, second;
    pairs = [];
    first = 0;
    while (first < codes.length) {
        second = first + 1;
        while (second < codes.length) {
            _pymeth_append.call(pairs, ([codes[first], codes[second]]));
            second = second + 1;
        }
        first = first + 1;
    }
    return pairs;
};

explained = function flx_explained (config, sound, record, causes) {
    var code, evolves, one, size, start, stub33_seq, stub34_itr, stub35_seq, stub36_itr;
    evolves = false;
    stub33_seq = causes;
    if ((typeof stub33_seq === "object") && (!Array.isArray(stub33_seq))) { stub33_seq = Object.keys(stub33_seq);}
    for (stub34_itr = 0; stub34_itr < stub33_seq.length; stub34_itr += 1) {
        code = stub33_seq[stub34_itr];
        evolves = _pyfunc_truthy(evolves) || _pyfunc_op_contains(code, EVOLVING);
    }
    stub35_seq = variants_of(causes);
    if ((typeof stub35_seq === "object") && (!Array.isArray(stub35_seq))) { stub35_seq = Object.keys(stub35_seq);}
    for (stub36_itr = 0; stub36_itr < stub35_seq.length; stub36_itr += 1) {
        size = stub35_seq[stub36_itr];
        start = injected(config, sound, causes, size);
        one = walked(config, settle(config, start), record, causes, "before");
        if (((one.length == 0) && _pyfunc_truthy(evolves))) {
            one = walked(config, begun(config, start), record, causes, "lately");
        }
        if ((one.length > 0)) {
            return one;
        }
    }
    return [];
};

walked = function flx_walked (config, state, record, causes, since) {
    var code, done, left, seen, stub37_seq, stub38_itr;
    state = Object.assign(({}), state, ({hazards: [], trip_psi: null}));
    left = [];
    done = 0;
    while (done <= record.acts.length) {
        if ((done > 0)) {
            state = acted(config, state, record.acts[done - 1], causes);
        }
        seen = record.seen[done];
        if (_pyfunc_truthy(looked(seen))) {
            if ((!_pyfunc_truthy(fits(config, state, seen)))) {
                return [];
            }
            stub37_seq = left_behind(config, state);
            if ((typeof stub37_seq === "object") && (!Array.isArray(stub37_seq))) { stub37_seq = Object.keys(stub37_seq);}
            for (stub38_itr = 0; stub38_itr < stub37_seq.length; stub38_itr += 1) {
                code = stub37_seq[stub38_itr];
                left = with_name(left, code);
            }
        }
        done = done + 1;
    }
    return [Explanation(causes, left, since, odds(causes), state)];
};

looked = function flx_looked (seen) {
    var key, stub39_seq, stub40_itr;
    stub39_seq = seen;
    if ((typeof stub39_seq === "object") && (!Array.isArray(stub39_seq))) { stub39_seq = Object.keys(stub39_seq);}
    for (stub40_itr = 0; stub40_itr < stub39_seq.length; stub40_itr += 1) {
        key = stub39_seq[stub40_itr];
        if ((seen[key] !== null)) {
            return true;
        }
    }
    return false;
};

acted = function flx_acted (config, state, action, causes) {
    if ((_pyfunc_op_contains(action.kind, SLIPS) && _pyfunc_op_contains(SLIPS[action.kind], causes))) {
        return advance(config, state, 1.0);
    }
    return act(config, state, action);
};

fits = function flx_fits (config, state, seen) {
    var key, predicted, stub41_seq, stub42_itr, wanted;
    predicted = observe(config, state);
    stub41_seq = seen;
    if ((typeof stub41_seq === "object") && (!Array.isArray(stub41_seq))) { stub41_seq = Object.keys(stub41_seq);}
    for (stub42_itr = 0; stub42_itr < stub41_seq.length; stub42_itr += 1) {
        key = stub41_seq[stub42_itr];
        wanted = seen[key];
        if ((wanted === null)) {
            continue;
        }
        if (_pymeth_startswith.call(key, POSITION)) {
            if ((!_pyfunc_truthy(meets(wanted, position_of(state, key))))) {
                return false;
            }
        } else if ((!_pyfunc_truthy(meets(wanted, predicted[key])))) {
            return false;
        }
    }
    return true;
};

position_of = function flx_position_of (state, key) {
    var name;
    name = key.slice(POSITION.length);
    if (_pyfunc_op_equals(name, "control_valve")) {
        return state.control_pct;
    }
    return state.hand[name];
};

meets = function flx_meets (wanted, predicted) {
    var lacking;
    if (Array.isArray(wanted)) {
        return same_names(wanted, predicted);
    }
    if ((!(Object.prototype.toString.call(wanted).slice(8,-1).toLowerCase() === 'object'))) {
        return agrees(wanted, predicted);
    }
    if (_pyfunc_truthy(_pyfunc_op_contains("has", wanted) || _pyfunc_op_contains("lacks", wanted))) {
        lacking = without_any(predicted, _pymeth_get.call(wanted, "lacks", []));
        return _pyfunc_truthy(lacking) && (_pyfunc_truthy(holds_all(predicted, _pymeth_get.call(wanted, "has", []))));
    }
    return (_pyfunc_truthy(is_number(predicted))) && (_pyfunc_truthy(within(wanted, predicted)));
};

without_any = function flx_without_any (names, unwanted) {
    var name, stub43_seq, stub44_itr;
    stub43_seq = unwanted;
    if ((typeof stub43_seq === "object") && (!Array.isArray(stub43_seq))) { stub43_seq = Object.keys(stub43_seq);}
    for (stub44_itr = 0; stub44_itr < stub43_seq.length; stub44_itr += 1) {
        name = stub43_seq[stub44_itr];
        if (_pyfunc_op_contains(name, names)) {
            return false;
        }
    }
    return true;
};

within = function flx_within (wanted, value) {
    var gap;
    if (_pyfunc_op_contains("approx", wanted)) {
        gap = _pyfunc_abs((value - wanted["approx"]));
        if ((gap > _pymeth_get.call(wanted, "tol", 0.0))) {
            return false;
        }
    }
    if ((_pyfunc_op_contains("min", wanted) && (value < wanted["min"]))) {
        return false;
    }
    return !(_pyfunc_op_contains("max", wanted) && (value > wanted["max"]));
};

same_names = function flx_same_names (seen, predicted) {
    return (seen.length == predicted.length) && (_pyfunc_truthy(holds_all(predicted, seen)));
};

odds = function flx_odds (causes) {
    var code, stub45_seq, stub46_itr, weight;
    weight = ((causes.length == 0))? (SOUND_ODDS) : (1.0);
    stub45_seq = causes;
    if ((typeof stub45_seq === "object") && (!Array.isArray(stub45_seq))) { stub45_seq = Object.keys(stub45_seq);}
    for (stub46_itr = 0; stub46_itr < stub45_seq.length; stub46_itr += 1) {
        code = stub45_seq[stub46_itr];
        weight = _pyfunc_op_mult(weight, odds_of(code));
    }
    if ((causes.length > 1)) {
        weight = _pyfunc_op_mult(weight, PAIR_ODDS);
    }
    return weight;
};

ranked = function flx_ranked (found) {
    var best, each, fewer, left, likelier, order, rest, stub47_seq, stub48_itr, stub49_seq, stub50_itr, stub51_seq, stub52_itr, total;
    total = 0.0;
    stub47_seq = found;
    if ((typeof stub47_seq === "object") && (!Array.isArray(stub47_seq))) { stub47_seq = Object.keys(stub47_seq);}
    for (stub48_itr = 0; stub48_itr < stub47_seq.length; stub48_itr += 1) {
        each = stub47_seq[stub48_itr];
        total = _pyfunc_op_add(total, each.share);
    }
    left = found;
    order = [];
    while (left.length > 0) {
        best = left[0];
        stub49_seq = left;
        if ((typeof stub49_seq === "object") && (!Array.isArray(stub49_seq))) { stub49_seq = Object.keys(stub49_seq);}
        for (stub50_itr = 0; stub50_itr < stub49_seq.length; stub50_itr += 1) {
            each = stub49_seq[stub50_itr];
            fewer = each.causes.length < best.causes.length;
            likelier = (each.causes.length == best.causes.length) && (each.share > best.share);
            if (_pyfunc_truthy(_pyfunc_truthy(fewer) || likelier)) {
                best = each;
            }
        }
        rest = [];
        stub51_seq = left;
        if ((typeof stub51_seq === "object") && (!Array.isArray(stub51_seq))) { stub51_seq = Object.keys(stub51_seq);}
        for (stub52_itr = 0; stub52_itr < stub51_seq.length; stub52_itr += 1) {
            each = stub51_seq[stub52_itr];
            if ((!_pyfunc_op_equals(each.causes, best.causes))) {
                _pymeth_append.call(rest, each);
            }
        }
        left = rest;
        _pymeth_append.call(order, (Object.assign(({}), best, ({share: best.share / total}))));
    }
    return order;
};

questions_left = function flx_questions_left (config, answers, found) {
    var asked, each, question, stub53_seq, stub54_itr, stub55_seq, stub56_itr;
    asked = [];
    stub55_seq = QUESTIONS;
    if ((typeof stub55_seq === "object") && (!Array.isArray(stub55_seq))) { stub55_seq = Object.keys(stub55_seq);}
    for (stub56_itr = 0; stub56_itr < stub55_seq.length; stub56_itr += 1) {
        question = stub55_seq[stub56_itr];
        if (_pyfunc_op_contains(question, answers)) {
            continue;
        }
        stub53_seq = found;
        if ((typeof stub53_seq === "object") && (!Array.isArray(stub53_seq))) { stub53_seq = Object.keys(stub53_seq);}
        for (stub54_itr = 0; stub54_itr < stub53_seq.length; stub54_itr += 1) {
            each = stub53_seq[stub54_itr];
            if ((_pyfunc_op_contains(QUESTIONS[question], each.causes) && ((!_pyfunc_op_contains(question, asked))))) {
                _pymeth_append.call(asked, question);
            }
        }
    }
    return asked;
};

MOST_EXPLANATIONS = 12;
APART = 2.0;
Check = function flx_Check (code, acts, look, outcomes, gain, effort) {
    return ({code: code, acts: acts, look: look, outcomes: outcomes, gain: gain, effort: effort});
};

checks_of = function flx_checks_of (config) {
    var name, rows, stub57_seq, stub58_itr;
    rows = [["look", [], "", 0.0]];
    stub57_seq = _pyfunc_op_add(NORMALLY_OPEN, NORMALLY_SHUT);
    if ((typeof stub57_seq === "object") && (!Array.isArray(stub57_seq))) { stub57_seq = Object.keys(stub57_seq);}
    for (stub58_itr = 0; stub58_itr < stub57_seq.length; stub58_itr += 1) {
        name = stub57_seq[stub58_itr];
        if (_pyfunc_truthy(fitted(config, name))) {
            _pymeth_append.call(rows, (["position", [], _pyfunc_op_add(POSITION, name), 1.0]));
        }
    }
    _pymeth_append.call(rows, (["position", [], POSITION + "control_valve", 1.0]));
    if ((!_pyfunc_op_equals(config.valve, "none"))) {
        _pymeth_append.call(rows, (["alarm_test", [opens("alarm_test_valve"), rest(60.0)], "", 2.0]));
    }
    if (_pyfunc_truthy(_pyfunc_truthy(config.air) || config.pilot)) {
        _pymeth_append.call(rows, (["air_supply_shut", [shuts("air_supply_valve"), rest(100.0)], "", 3.0]));
    }
    if (_pyfunc_truthy(config.has_detection)) {
        _pymeth_append.call(rows, (["panel_reset", [new Action("panel_reset", "", 0.0, "slow", "z1", 0.0, true, "", 0.0), rest(30.0)], "", 2.0]));
    }
    _pymeth_append.call(rows, (["main_drain", [opens(main_drain(config)), rest(60.0)], "", 3.0]));
    _pymeth_append.call(rows, (["tamper", [new Action("control_valve", "", 70.0, "slow", "z1", 0.0, true, "", 0.0)], "", 3.0]));
    if (_pyfunc_op_contains(config.valve, ["alarm_check", "none"])) {
        _pymeth_append.call(rows, (["test_connection", [opens("test_connection"), rest(90.0)], "", 4.0]));
    }
    _pymeth_append.call(rows, (["mains_off", [new Action("ac_power", "", 0.0, "slow", "z1", 0.0, false, "", 0.0), rest(5.0)], "", 4.0]));
    return _pyfunc_op_add(rows, water_shut_checks(config));
};

water_shut_checks = function flx_water_shut_checks (config) {
    var detection, lose, rows, shut;
    shut = [new Action("control_valve", "", 0.0, "slow", "z1", 0.0, true, "", 0.0), opens("inlet_drain"), rest(10.0)];
    rows = [];
    if (_pyfunc_truthy(config.has_detection)) {
        detection = detection_acts(config, normal_state(config));
        _pymeth_append.call(rows, ["detection_water_shut", _pyfunc_op_add(shut, detection), "", 6.0]);
    }
    if (_pyfunc_truthy(config.air)) {
        lose = [opens("test_connection"), rest(120.0)];
        _pymeth_append.call(rows, ["air_loss_water_shut", _pyfunc_op_add(shut, lose), "", 6.0]);
    }
    if (_pyfunc_truthy(fitted(config, "pilot_head"))) {
        lose = [opens("pilot_head"), rest(60.0)];
        _pymeth_append.call(rows, ["pilot_water_shut", _pyfunc_op_add(shut, lose), "", 6.0]);
    }
    if (_pyfunc_truthy(fitted(config, "manual_release"))) {
        _pymeth_append.call(rows, (["release_water_shut", _pyfunc_op_add(shut, [opens("manual_release")]), "", 6.0]));
    }
    return rows;
};

opens = function flx_opens (name) {
    return new Action("open", name, 0.0, "slow", "z1", 0.0, true, "", 0.0);
};

shuts = function flx_shuts (name) {
    return new Action("close", name, 0.0, "slow", "z1", 0.0, true, "", 0.0);
};

rest = function flx_rest (seconds) {
    return new Action("wait", "", 0.0, "slow", "z1", 0.0, true, "", seconds);
};

next_checks = function flx_next_checks (config, explanations, seen) {
    var best, found, likely, predicted, row, state, states, stub59_seq, stub60_itr, stub61_seq, stub62_itr;
    likely = explanations.slice(0,MOST_EXPLANATIONS);
    found = [];
    if ((likely.length < 2)) {
        return found;
    }
    stub61_seq = checks_of(config);
    if ((typeof stub61_seq === "object") && (!Array.isArray(stub61_seq))) { stub61_seq = Object.keys(stub61_seq);}
    for (stub62_itr = 0; stub62_itr < stub61_seq.length; stub62_itr += 1) {
        row = stub61_seq[stub62_itr];
        states = states_after(config, likely, row[1]);
        if ((states.length < likely.length)) {
            continue;
        }
        predicted = [];
        stub59_seq = states;
        if ((typeof stub59_seq === "object") && (!Array.isArray(stub59_seq))) { stub59_seq = Object.keys(stub59_seq);}
        for (stub60_itr = 0; stub60_itr < stub59_seq.length; stub60_itr += 1) {
            state = stub59_seq[stub60_itr];
            _pymeth_append.call(predicted, observe(config, state));
        }
        best = most_telling(row, likely, states, predicted, seen);
        if ((best.gain > 0.0)) {
            _pymeth_append.call(found, best);
        }
    }
    return in_order(found);
};

states_after = function flx_states_after (config, likely, acts) {
    var action, each, state, states, stub63_seq, stub64_itr, stub65_seq, stub66_itr, unsafe;
    states = [];
    stub65_seq = likely;
    if ((typeof stub65_seq === "object") && (!Array.isArray(stub65_seq))) { stub65_seq = Object.keys(stub65_seq);}
    for (stub66_itr = 0; stub66_itr < stub65_seq.length; stub66_itr += 1) {
        each = stub65_seq[stub66_itr];
        state = each.state;
        stub63_seq = acts;
        if ((typeof stub63_seq === "object") && (!Array.isArray(stub63_seq))) { stub63_seq = Object.keys(stub63_seq);}
        for (stub64_itr = 0; stub64_itr < stub63_seq.length; stub64_itr += 1) {
            action = stub63_seq[stub64_itr];
            unsafe = (warnings_before(config, state, action).length) > 0;
            state = acted(config, state, action, each.causes);
            if (_pyfunc_truthy(_pyfunc_truthy(unsafe) || lets_water(config, each.state, state))) {
                return states;
            }
        }
        _pymeth_append.call(states, state);
    }
    return states;
};

lets_water = function flx_lets_water (config, before, after) {
    var entered;
    entered = _pyfunc_truthy(config.dry) && (after.water_frac > before.water_frac);
    return _pyfunc_truthy(entered) || (after.hazards.length > before.hazards.length);
};

most_telling = function flx_most_telling (row, likely, states, predicted, seen) {
    var at_hand, best, gain, key, keys, outcomes, place, stub67_seq, stub68_itr, values;
    keys = ((!_pyfunc_op_equals(row[2], "")))? ([row[2]]) : (OBSERVABLE);
    best = Check(row[0], row[1], "", [], 0.0, row[3]);
    stub67_seq = keys;
    if ((typeof stub67_seq === "object") && (!Array.isArray(stub67_seq))) { stub67_seq = Object.keys(stub67_seq);}
    for (stub68_itr = 0; stub68_itr < stub67_seq.length; stub68_itr += 1) {
        key = stub67_seq[stub68_itr];
        if ((((_pyfunc_op_equals((row[1].length), 0))) && _pyfunc_op_contains(key, seen))) {
            continue;
        }
        values = [];
        place = 0;
        while (place < states.length) {
            at_hand = _pymeth_startswith.call(key, POSITION);
            _pymeth_append.call(values, ((_pyfunc_truthy(at_hand))? (position_of(states[place], key)) : (predicted[place][key])));
            place = place + 1;
        }
        outcomes = told_apart(values);
        gain = gain_of(outcomes, likely);
        if ((gain > best.gain)) {
            best = Object.assign(({}), best, ({look: key, outcomes: outcomes, gain: gain}));
        }
    }
    return best;
};

told_apart = function flx_told_apart (values) {
    var outcome, outcomes, place, placed, stub69_seq, stub70_itr;
    outcomes = [];
    place = 0;
    while (place < values.length) {
        placed = false;
        stub69_seq = outcomes;
        if ((typeof stub69_seq === "object") && (!Array.isArray(stub69_seq))) { stub69_seq = Object.keys(stub69_seq);}
        for (stub70_itr = 0; stub70_itr < stub69_seq.length; stub70_itr += 1) {
            outcome = stub69_seq[stub70_itr];
            if (_pyfunc_truthy(((!_pyfunc_truthy(placed))) && (_pyfunc_truthy(is_alike(outcome[0], values[place]))))) {
                _pymeth_append.call(outcome[1], place);
                placed = true;
            }
        }
        if ((!_pyfunc_truthy(placed))) {
            _pymeth_append.call(outcomes, ([values[place], [place]]));
        }
        place = place + 1;
    }
    return outcomes;
};

is_alike = function flx_is_alike (one, other) {
    if (_pyfunc_truthy((_pyfunc_truthy(is_number(one))) && (_pyfunc_truthy(is_number(other))))) {
        return agrees(one / APART, other / APART);
    }
    return agrees(one, other);
};

gain_of = function flx_gain_of (outcomes, likely) {
    var bits, each, outcome, place, share, stub71_seq, stub72_itr, stub73_seq, stub74_itr, stub75_seq, stub76_itr, total;
    total = 0.0;
    stub71_seq = likely;
    if ((typeof stub71_seq === "object") && (!Array.isArray(stub71_seq))) { stub71_seq = Object.keys(stub71_seq);}
    for (stub72_itr = 0; stub72_itr < stub71_seq.length; stub72_itr += 1) {
        each = stub71_seq[stub72_itr];
        total = _pyfunc_op_add(total, each.share);
    }
    bits = 0.0;
    stub75_seq = outcomes;
    if ((typeof stub75_seq === "object") && (!Array.isArray(stub75_seq))) { stub75_seq = Object.keys(stub75_seq);}
    for (stub76_itr = 0; stub76_itr < stub75_seq.length; stub76_itr += 1) {
        outcome = stub75_seq[stub76_itr];
        share = 0.0;
        stub73_seq = outcome[1];
        if ((typeof stub73_seq === "object") && (!Array.isArray(stub73_seq))) { stub73_seq = Object.keys(stub73_seq);}
        for (stub74_itr = 0; stub74_itr < stub73_seq.length; stub74_itr += 1) {
            place = stub73_seq[stub74_itr];
            share = _pyfunc_op_add(share, ((likely[place].share) / total));
        }
        if ((share > 0.0)) {
            bits = bits - ((_pyfunc_op_mult(share, Math.log(share))) / Math.log(2.0));
        }
    }
    return (Math.floor(_pyfunc_op_mult(bits, 1000.0) + 0.5)) / 1000.0;
};

in_order = function flx_in_order (found) {
    var best, easier, left, more, order, place;
    left = found;
    order = [];
    while (left.length > 0) {
        best = 0;
        place = 0;
        while (place < left.length) {
            more = (left[place].gain) > (left[best].gain);
            easier = (left[place].effort) < (left[best].effort);
            if ((_pyfunc_truthy(more) || (((_pyfunc_op_equals((left[place].gain), (left[best].gain)))) && _pyfunc_truthy(easier)))) {
                best = place;
            }
            place = place + 1;
        }
        _pymeth_append.call(order, left[best]);
        left = _pyfunc_op_add(left.slice(0,best), left.slice(best + 1));
    }
    return order;
};

ambiguity_groups = function flx_ambiguity_groups (config, explanations) {
    var everyone, groups, likely, place, row, states, stub77_seq, stub78_itr;
    likely = explanations.slice(0,MOST_EXPLANATIONS);
    groups = [];
    if ((likely.length == 0)) {
        return groups;
    }
    everyone = [];
    place = 0;
    while (place < likely.length) {
        _pymeth_append.call(everyone, place);
        place = place + 1;
    }
    groups = [everyone];
    stub77_seq = checks_of(config);
    if ((typeof stub77_seq === "object") && (!Array.isArray(stub77_seq))) { stub77_seq = Object.keys(stub77_seq);}
    for (stub78_itr = 0; stub78_itr < stub77_seq.length; stub78_itr += 1) {
        row = stub77_seq[stub78_itr];
        states = states_after(config, likely, row[1]);
        if ((states.length == likely.length)) {
            groups = split_by(config, groups, row[2], states);
        }
    }
    while (place < explanations.length) {
        _pymeth_append.call(groups[groups.length - 1], place);
        place = place + 1;
    }
    return groups;
};

split_by = function flx_split_by (config, groups, look, states) {
    var at_hand, group, inner, key, outcome, place, predicted, split, state, stub79_seq, stub80_itr, stub81_seq, stub82_itr, stub83_seq, stub84_itr, stub85_seq, stub86_itr, stub87_seq, stub88_itr, stub89_seq, stub90_itr, together, values;
    predicted = [];
    stub79_seq = states;
    if ((typeof stub79_seq === "object") && (!Array.isArray(stub79_seq))) { stub79_seq = Object.keys(stub79_seq);}
    for (stub80_itr = 0; stub80_itr < stub79_seq.length; stub80_itr += 1) {
        state = stub79_seq[stub80_itr];
        _pymeth_append.call(predicted, observe(config, state));
    }
    stub89_seq = ((!_pyfunc_op_equals(look, "")))? ([look]) : (OBSERVABLE);
    if ((typeof stub89_seq === "object") && (!Array.isArray(stub89_seq))) { stub89_seq = Object.keys(stub89_seq);}
    for (stub90_itr = 0; stub90_itr < stub89_seq.length; stub90_itr += 1) {
        key = stub89_seq[stub90_itr];
        split = [];
        stub87_seq = groups;
        if ((typeof stub87_seq === "object") && (!Array.isArray(stub87_seq))) { stub87_seq = Object.keys(stub87_seq);}
        for (stub88_itr = 0; stub88_itr < stub87_seq.length; stub88_itr += 1) {
            group = stub87_seq[stub88_itr];
            values = [];
            stub81_seq = group;
            if ((typeof stub81_seq === "object") && (!Array.isArray(stub81_seq))) { stub81_seq = Object.keys(stub81_seq);}
            for (stub82_itr = 0; stub82_itr < stub81_seq.length; stub82_itr += 1) {
                place = stub81_seq[stub82_itr];
                at_hand = _pymeth_startswith.call(key, POSITION);
                _pymeth_append.call(values, ((_pyfunc_truthy(at_hand))? (position_of(states[place], key)) : (predicted[place][key])));
            }
            stub85_seq = told_apart(values);
            if ((typeof stub85_seq === "object") && (!Array.isArray(stub85_seq))) { stub85_seq = Object.keys(stub85_seq);}
            for (stub86_itr = 0; stub86_itr < stub85_seq.length; stub86_itr += 1) {
                outcome = stub85_seq[stub86_itr];
                together = [];
                stub83_seq = outcome[1];
                if ((typeof stub83_seq === "object") && (!Array.isArray(stub83_seq))) { stub83_seq = Object.keys(stub83_seq);}
                for (stub84_itr = 0; stub84_itr < stub83_seq.length; stub84_itr += 1) {
                    inner = stub83_seq[stub84_itr];
                    _pymeth_append.call(together, group[inner]);
                }
                _pymeth_append.call(split, together);
            }
        }
        groups = split;
    }
    return groups;
};

PSI = "_psi";
SECONDS = "_seconds";
FLOWING = ["main_drain_test", "flow"];
FIGURES = ["gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot", "trip_air"];
Done = function flx_Done (code, seen) {
    return ({code: code, seen: seen});
};

Pointed = function flx_Pointed (explanations, groups, cause, checks, questions, complete, lately) {
    return ({explanations: explanations, groups: groups, cause: cause, checks: checks, questions: questions, complete: complete, lately: lately});
};

recorded = function flx_recorded (values) {
    var found, key, stub91_seq, stub92_itr, value;
    found = ({});
    stub91_seq = values;
    if ((typeof stub91_seq === "object") && (!Array.isArray(stub91_seq))) { stub91_seq = Object.keys(stub91_seq);}
    for (stub92_itr = 0; stub92_itr < stub91_seq.length; stub92_itr += 1) {
        key = stub91_seq[stub92_itr];
        value = values[key];
        if (_pyfunc_truthy(_pymeth_endswith.call(key, SECONDS))) {
            continue;
        }
        if (_pyfunc_truthy(_pymeth_endswith.call(key, PSI))) {
            found[key.slice(0,key.length - PSI.length)] = _pyfunc_float(value);
        } else if ((_pyfunc_op_equals(key, "signals") && ((Object.prototype.toString.call(value).slice(8,-1).toLowerCase() === 'string')))) {
            found[key] = (_pyfunc_op_contains(value, ["none", ""]))? ([]) : (_pymeth_split.call(value, ", "));
        } else {
            found[key] = value;
        }
    }
    return found;
};

otherwise = function flx_otherwise (code, expected, seen) {
    var each, flowing, found, stub93_seq, stub94_itr;
    found = [];
    stub93_seq = compare(expected, seen);
    if ((typeof stub93_seq === "object") && (!Array.isArray(stub93_seq))) { stub93_seq = Object.keys(stub93_seq);}
    for (stub94_itr = 0; stub94_itr < stub93_seq.length; stub94_itr += 1) {
        each = stub93_seq[stub94_itr];
        flowing = _pyfunc_op_contains(code, FLOWING) && _pyfunc_op_equals(each.name, "gauge_supply");
        if ((((!_pyfunc_truthy(flowing))) || (each.seen < each.expected))) {
            _pymeth_append.call(found, each);
        }
    }
    return found;
};

record_of_steps = function flx_record_of_steps (config, steps, answers) {
    var action, acts, done, is_last, key, looked, place, seen, state, step, stub95_seq, stub96_itr, stub97_seq, stub98_itr;
    state = normal_state(config);
    acts = [];
    seen = [({})];
    place = 0;
    while (place < steps.length) {
        done = steps[place];
        step = step_now(config, state, done.code);
        state = done_step(config, state, step);
        stub95_seq = step.acts;
        if ((typeof stub95_seq === "object") && (!Array.isArray(stub95_seq))) { stub95_seq = Object.keys(stub95_seq);}
        for (stub96_itr = 0; stub96_itr < stub95_seq.length; stub96_itr += 1) {
            action = stub95_seq[stub96_itr];
            _pymeth_append.call(acts, action);
            _pymeth_append.call(seen, ({}));
        }
        is_last = _pyfunc_op_equals(place, (steps.length - 1));
        looked = looked_at(done, observe(config, state)["gauge_supply"], is_last);
        stub97_seq = seen[seen.length - 1];
        if ((typeof stub97_seq === "object") && (!Array.isArray(stub97_seq))) { stub97_seq = Object.keys(stub97_seq);}
        for (stub98_itr = 0; stub98_itr < stub97_seq.length; stub98_itr += 1) {
            key = stub97_seq[stub98_itr];
            if ((!_pyfunc_op_contains(key, looked))) {
                looked[key] = seen[seen.length - 1][key];
            }
        }
        seen[seen.length - 1] = looked;
        place = place + 1;
    }
    return Record(acts, seen, answers);
};

looked_at = function flx_looked_at (done, supply, is_last) {
    var key, looked, stub100_itr, stub99_seq, value;
    looked = ({});
    stub99_seq = done.seen;
    if ((typeof stub99_seq === "object") && (!Array.isArray(stub99_seq))) { stub99_seq = Object.keys(stub99_seq);}
    for (stub100_itr = 0; stub100_itr < stub99_seq.length; stub100_itr += 1) {
        key = stub99_seq[stub100_itr];
        value = done.seen[key];
        if ((((!_pyfunc_op_contains(key, OBSERVABLE))) || (value === null))) {
            continue;
        }
        if ((_pyfunc_op_equals(key, "gauge_supply") && _pyfunc_op_contains(done.code, FLOWING))) {
            if ((_pyfunc_truthy(is_last) && (_pyfunc_truthy(is_number(value))) && ((value < (supply - GAUGE_TOLERANCE_PSI))))) {
                looked[key] = ({max: supply - GAUGE_TOLERANCE_PSI});
            }
        } else {
            looked[key] = value;
        }
    }
    return looked;
};

pointed = function flx_pointed (config, steps, answers, deepest, go_on) {
    var begun_now, checks, found, lately, record;
    deepest = (deepest === undefined) ? 2: deepest;
    go_on = (go_on === undefined) ? always: go_on;
    record = record_of_steps(config, steps, answers);
    found = diagnose(config, record, 1, go_on);
    lately = false;
    if (((found.explanations.length == 0) && (steps.length > 1))) {
        begun_now = at_the_last(config, steps, answers, go_on);
        lately = begun_now.explanations.length > 0;
        found = (_pyfunc_truthy(lately))? (begun_now) : (found);
    }
    if (((found.explanations.length == 0) && (deepest > 1))) {
        found = diagnose(config, record, deepest, go_on);
    }
    checks = next_checks(config, found.explanations, record.seen[record.seen.length - 1]);
    return Pointed(found.explanations, ambiguity_groups(config, found.explanations), found.cause, checks, found.questions, found.complete, lately);
};

at_the_last = function flx_at_the_last (config, steps, answers, go_on) {
    var _action, done, record, seen, state, step, stub101_seq, stub102_itr, stub103_seq, stub104_itr, supply;
    state = normal_state(config);
    stub101_seq = steps.slice(0,steps.length - 1);
    if ((typeof stub101_seq === "object") && (!Array.isArray(stub101_seq))) { stub101_seq = Object.keys(stub101_seq);}
    for (stub102_itr = 0; stub102_itr < stub101_seq.length; stub102_itr += 1) {
        done = stub101_seq[stub102_itr];
        state = done_step(config, state, step_now(config, state, done.code));
    }
    step = step_now(config, state, steps[steps.length - 1].code);
    seen = [({})];
    stub103_seq = step.acts;
    if ((typeof stub103_seq === "object") && (!Array.isArray(stub103_seq))) { stub103_seq = Object.keys(stub103_seq);}
    for (stub104_itr = 0; stub104_itr < stub103_seq.length; stub104_itr += 1) {
        _action = stub103_seq[stub104_itr];
        _pymeth_append.call(seen, ({}));
    }
    supply = observe(config, done_step(config, state, step))["gauge_supply"];
    seen[seen.length - 1] = looked_at(steps[steps.length - 1], supply, true);
    record = Record(step.acts, seen, answers);
    return diagnose_from(config, state, record, 1, go_on);
};

FAULT_WORDS = _pyfunc_create_dict("cause.alarm_line_valve_closed", "Alarm line valve shut", "cause.air_supply_valve_shut", "Air supply valve shut", "cause.priming_valve_shut", "Priming valve shut", "cause.qod_isolated", "Quick-opening device isolated", "cause.inlet_drain_open", "Inlet drain open", "cause.system_drain_open", "Drain above the valve open", "cause.test_connection_open", "Test connection open", "cause.alarm_test_valve_open", "Alarm test valve open", "cause.manual_release_open", "Manual release open", "cause.pilot_head_open", "Pilot line open", "cause.control_valve_closed", "Control valve shut", "cause.control_valve_not_fully_open", "Control valve not fully open", "cause.compressor_off", "Air supply switched off", "cause.release_disconnect_open", "Release disconnected at the panel", "cause.water_column", "Water standing above the clapper", "cause.solenoid_leaking", "Solenoid leaking", "cause.solenoid_leaking_badly", "Solenoid leaking badly", "cause.solenoid_stuck_closed", "Solenoid stuck shut", "cause.solenoid_circuit_open", "Release circuit broken", "cause.priming_orifice_plugged", "Priming line plugged", "cause.low_air_switch_misset", "Low-air switch set wrong or dead", "cause.alarm_line_blocked", "Alarm line blocked", "cause.supply_partly_shut", "Supply partly shut or obstructed upstream", "cause.valve_stuck_closed", "System valve stuck shut", "cause.actuator_stuck_open", "Actuator stuck open", "cause.actuator_stuck_closed", "Actuator stuck shut", "cause.air_leak_slow", "Slow air leak", "cause.air_leak_beyond_supply", "Air leak greater than the air supply", "cause.compressor_failed", "Air supply failed", "cause.pilot_leak_slow", "Slow leak of the pilot line", "cause.qod_failed", "Quick-opening device failed", "cause.tamper_switch_failed", "Tamper switch dead", "cause.vane_stuck", "Vane of the waterflow switch stuck", "cause.water_seat_leaking", "Water seat leaking", "cause.auto_drain_plugged", "Automatic drain plugged", "cause.low_point_frozen", "Low point frozen or plugged", "cause.waterflow_switch_dead", "Waterflow switch dead", "cause.retard_drain_plugged", "Retard chamber does not drain", "cause.retard_drain_leaking", "Retard chamber loses too much", "cause.pressure_relief_failed", "Hydraulic latch does not hold", "cause.pressure_relief_stuck_open", "Hydraulic latch stuck open", "cause.pressure_relief_leaking", "Hydraulic latch leaking", "cause.air_seat_leaking", "Air seat leaking", "cause.battery_dead", "Battery dead", "cause.interlock_never_met", "Panel never sees the low air", "cause.interlock_always_met", "Panel does not wait for the low air", "cause.one_zone_releases", "One zone alone releases", "cause.zones_release_nothing", "Panel not set to release on these zones", "cause.room_cold", "Valve room cold", "cause.gauge_supply_isolated", "Cock of the supply gauge shut", "cause.gauge_system_isolated", "Cock of the system gauge shut", "cause.gauge_prime_isolated", "Cock of the prime gauge shut", "cause.gauge_pilot_isolated", "Cock of the pilot gauge shut", "cause.detector_still_in_alarm", "A detector still in alarm", "cause.manual_station_not_restored", "Manual station not restored", "cause.panel_not_reset", "Panel not reset", "cause.solenoid_not_reset", "Latching solenoid not reset", "cause.clapper_not_reset", "Clapper not down and latched", "cause.qod_not_reset", "Quick-opening device not set", "cause.sprinkler_not_replaced", "Sprinkler not replaced", "check.look", "Look, touching nothing", "check.position", "See how this valve stands", "check.alarm_test", "Open the alarm test valve for a minute", "check.air_supply_shut", "Shut the air supply and watch for 100 seconds", "check.panel_reset", "Reset the panel and wait half a minute", "check.main_drain", "Open the main drain wide and wait a minute", "check.tamper", "Turn the control valve a third of its travel towards shut", "check.test_connection", "Open the test connection for a minute and a half", "check.mains_off", "Switch off the panel's mains", "check.detection_water_shut", "With the water shut and the inlet drained, operate the detection", "check.air_loss_water_shut", "With the water shut and the inlet drained, let the air go", "check.pilot_water_shut", "With the water shut and the inlet drained, open the pilot line", "check.release_water_shut", "With the water shut and the inlet drained, open the manual release", "place.alarm_line_valve", "Alarm line valve", "place.air_supply_valve", "Air supply valve", "place.priming_supply_valve", "Priming valve", "place.qod_isolation_valve", "Isolation valve of the quick-opening device", "place.inlet_drain", "Inlet drain", "place.system_drain", "Drain above the valve", "place.test_connection", "Test connection", "place.alarm_test_valve", "Alarm test valve", "place.manual_release", "Manual release", "place.pilot_head", "Pilot line", "place.control_valve", "Control valve", "ask.low_points_ran_clear", "Did every low point give water and then air?", "ask.compressor_rests", "Does the air supply rest for long between its runs?", "ask.pilot_air_rests", "Does the pilot air stand with its supply shut?", "ask.room_at_40_f", "Is the valve room at 40 F (4 C) or warmer?", "ask.supply_gauge_moves", "Does the supply gauge move when its cock is turned?", "ask.system_gauge_moves", "Does the system gauge move when its cock is turned?", "ask.prime_gauge_moves", "Does the prime gauge move when its cock is turned?", "ask.pilot_gauge_moves", "Does the pilot gauge move when its cock is turned?", "ask.battery_holds_under_load", "Does the battery hold the panel under load?", "seen.lamps", "Lamps", "seen.drip_auto_drain", "Automatic drain");
fault_word = function flx_fault_word (key) {
    return _pymeth_get.call(FAULT_WORDS, key, key);
};
export { diagnose, next_checks, ambiguity_groups, recorded, otherwise, pointed, fault_word };
