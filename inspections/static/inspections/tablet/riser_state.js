// Where a riser stands after what was recorded: the model, walked through the recorded steps.

import { done_step, make_config, normal_state, not_normal, refusal_of, step_now, worked_from } from "./sequence.js";
import { gauge } from "./units.js";

const STARTS = "as_found";

/**
 * Walk a valve's recorded steps through the model.
 *
 * Returns {config, state, done, records, wide}: `done` are the codes of steps that count as done.
 * A step that broke an order rule does not count; it is done again at its place. A new run begins
 * with the readings as found.
 */
export function replay(visit, valve, task) {
  const { run, config } = runOf(visit, valve);
  let state = normal_state(config);
  let done = [];
  for (const event of run) {
    const code = event.payload.step;
    const broke = refusalOf(config, task, state, done, code).warnings.length > 0;
    state = done_step(config, state, step_now(config, state, code));
    done = broke ? done.filter((one) => one !== code) : [...done, code];
  }
  return { config, state, done, records: run };
}

/** Return the steps of the present run at a valve and the riser as it was found: {run, config}. */
export function runOf(visit, valve) {
  const records = visit.picture.steps.get(valve.device) ?? [];
  const begin = Math.max(0, records.findLastIndex((event) => event.payload.step === STARTS));
  const run = records.slice(begin);
  return { run, config: make_config(valve.config.type, found(valve.config, run[0]?.payload)) };
}

/** Return what stands against a step; nothing where it is no step of this task. */
export function refusalOf(config, task, state, done, code) {
  return refusal_of(config, task, state, done, code);
}

/** Return what the model finds against a riser in service, by end-state code. */
export function failing(config, state) {
  return not_normal(config, state);
}

// The gauges as found are what this riser works from, where they make sense as such.
function found(config, first) {
  if (first?.step !== STARTS) return config.overrides;
  const read = ["gauge_supply", "gauge_system", "gauge_pilot"].filter((name) => `${name}_psi` in first.seen);
  return worked_from(config.type, config.overrides, Object.fromEntries(read.map((name) => [name, Number(first.seen[`${name}_psi`])])));
}

/** Return a pressure of the model as it is written at this building: "92 psi". */
export function pressure(psi, visit) {
  const { unit, factor } = gauge(visit.building.units);
  return `${Number((psi * factor).toFixed(factor < 1 ? 2 : 0))} ${unit}`;
}
