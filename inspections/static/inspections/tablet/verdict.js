// The verdict on a reading at once, by the riser computations or its limits.

import { MainDrainTest, low_air_signal, main_drain_change, waterflow_alarm_time, INPUTS } from "./riser.js";
import { fromSi, written } from "./units.js";
import { t } from "./words.js";

const usual = (name, input) => INPUTS[name][input].default;

/**
 * Judge a reading.
 *
 * `si` holds everything typed on the same screen, in SI by name. Returns {verdict, words} with a
 * verdict of pass, fail or "" where nothing can be said; null where nothing was typed.
 */
export function judge(reading, si) {
  if (si[reading.name] === undefined) return null;
  const byLimit = limits(reading, si[reading.name]);
  if (byLimit?.verdict === "fail") return byLimit;
  return COMPUTATIONS[reading.computation ?? reading.limit?.computation]?.(reading, si) ?? byLimit;
}

function limits(reading, value) {
  const { least_si: least, greatest_si: greatest } = reading.limit ?? {};
  if (least === undefined && greatest === undefined) return null;
  const low = least !== undefined && least !== null && value < least;
  const high = greatest !== undefined && greatest !== null && value > greatest;
  return { verdict: low || high ? "fail" : "pass", words: reading.limit.words };
}

const COMPUTATIONS = {
  main_drain_change(reading, si) {
    const earlier = reading.history.filter((one) => one.si > 0).map((one) => MainDrainTest(one.on, one.si, null, null));
    const now = MainDrainTest("", si[reading.name], si.static_pressure ?? null, si.restored_pressure ?? null);
    return computed(() => {
      const { verdict, values } = main_drain_change(now, earlier, usual("main_drain_change", "fall_limit"), usual("main_drain_change", "recovery"));
      if (verdict === "fail") return { verdict, words: t("no pressure: treat it as an impairment until it is explained") };
      if (values.fall === null) return { verdict: "", words: "" };
      const fall = Math.round(100 * values.fall);
      const words = fall < 0 ? t("{n} % above the test of {day}", { n: -fall, day: values.against }) : t("{n} % below the test of {day}; under 10 % is in order", { n: fall, day: values.against });
      return { verdict: values.finding === "investigate" ? "fail" : "pass", words };
    });
  },
  waterflow_alarm_time(reading, si) {
    const given = ["basis", "switch_limit", "local_limit", "notification_limit"].map((name) => usual("waterflow_alarm_time", name));
    return computed(() => {
      const answer = waterflow_alarm_time(si[reading.name], ...given);
      return { verdict: answer.verdict, words: answer.warnings[0] ?? reading.limit?.words ?? "" };
    });
  },
  low_air_signal(reading, si) {
    const normal = si.normal_pressure ?? si.air_pressure ?? si.system_pressure;
    if (normal === undefined) return null;
    return computed(() => {
      const answer = low_air_signal(normal, si[reading.name], null, usual("low_air_signal", "change"), usual("low_air_signal", "margin"));
      return { verdict: answer.verdict, words: t("{change} below normal; at most {limit}", { change: psi(answer.values.change, reading), limit: psi(answer.limit, reading) }) };
    });
  },
};

// A reading that cannot be, such as a residual above the static, is a fault of the typing.
function computed(run) {
  try {
    return run();
  } catch (error) {
    return { verdict: "fail", words: error.message.split("; ").slice(1).join("; ") };
  }
}

function psi(si, reading) {
  return `${written(fromSi(si, reading.unit), reading.unit)} ${reading.unit}`;
}

/** Return what is said beside a box. */
export function judgementWords(judged, reading) {
  const said = judged.verdict === "pass" ? t("In order") : t("Beyond its limit");
  return judged.words ? `${said}: ${judged.words}` : said;
}
