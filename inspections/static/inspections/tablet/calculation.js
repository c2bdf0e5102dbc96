// One computation evaluated on this tablet: arguments put together, and one form of answer.

import { LATCH, OFFLINE } from "./calculations.js";
import * as riser from "./riser.js";

const { DryValve, MainDrainTest, Orifice, Surroundings } = riser;

/** Return what a computation gives for inputs in SI by argument; throws where it refuses them. */
export function evaluate(name, given) {
  const { takes, cautions, outputs } = OFFLINE[name];
  const result = riser[name](...takes.map((one) => argument(one, given)));
  const more = cautions ? riser[cautions](...takes.map((one) => argument(one, given))) : [];
  const plain = result === null || typeof result !== "object";
  const answer = plain ? { values: { [outputs[0][0]]: result }, verdict: "", limit: null, margin: null, reason: "", warnings: [] } : result;
  return { ...answer, warnings: [...answer.warnings, ...more] };
}

// What a function takes that no box asks for is put together from what the boxes ask.
const PUT_TOGETHER = {
  now: (v) => MainDrainTest("this", v.current_pa, v.static_pa, v.static_after_pa),
  earlier: (v) => [["previous", v.previous_pa, v.previous_static_pa], ["acceptance", v.acceptance_pa, null], ...v.earlier_pa.map((pa) => ["earlier", pa, null])].filter(([, pa]) => pa !== null).map((one) => MainDrainTest(one[0], one[1], one[2], null)),
  valve: (v) => DryValve(v.kind, v.ratio, v.fixed_pa),
  orifice: (v) => Orifice(v.bore_m, v.coefficient),
  around: (v) => Surroundings(v.temperature_k, v.atmosphere_pa, v.gas),
  table: () => riser.DELIVERY_LIMITS,
  curves: () => riser.ANTIFREEZE_CURVES,
  latch_least_pa: () => LATCH.latch_least,
  latch_most_pa: () => LATCH.latch_most,
  allowed_pa: (v) => v.allowed_pa ?? riser.AIR_TESTS[v.test],
};

function argument(name, given) {
  return PUT_TOGETHER[name] ? PUT_TOGETHER[name](given) : given[name] ?? null;
}
