// The guide through a trip test and the restoration, a step on a screen.

import * as clock from "./clock.js";
import { h, symbol } from "./dom.js";
import { newId } from "./ids.js";
import { valvesOf } from "./pack.js";
import { button, caution, choice, complain, field, linkButton, mark, textOf, thumb, where, why } from "./parts.js";
import { pressure, refusalOf, replay } from "./riser_state.js";
import { schematic } from "./schematic.js";
import { otherwise, recorded } from "./faults.js";
import { running, systemOf } from "./outages.js";
import { guide, make_config, next_steps, step_now } from "./sequence.js";
import { address } from "./shell.js";
import { Stopwatch } from "./stopwatch.js";
import { decimal, gauge } from "./units.js";
import { taskWords, whereLink } from "./visit.js";
import { guideWord, t } from "./words.js";

const AS_FOUND = "as_found";
const SHUTS = "shut_control";
/** Observations that are figures, psi gauge. */
export const FIGURES = ["gauge_supply", "gauge_system", "gauge_prime", "gauge_pilot", "trip_air"];

/** Where a valve's task stands: {valve, group, riser, steps, offered}. */
export function standing(visit, device, task) {
  const { valve, group } = valvesOf(visit.pack).find((one) => one.valve.device === device);
  const riser = replay(visit, valve, task);
  const steps = guide(make_config(valve.config.type, valve.config.overrides), task);
  const offered = next_steps(riser.config, task, riser.state, riser.done);
  return { valve, group, riser, steps, offered, task };
}

/** A task: the riser, the steps in their order, the present one framed. */
export function guideScreen(app, visit, device, task) {
  const at = standing(visit, device, task);
  const next = at.offered[0];
  const all = at.steps.length;
  return {
    className: "visit",
    title: taskWords(at.valve, task),
    nodes: [
      h("div", { class: "visit-step" },
        where(`${visit.building.name}, ${at.group.name}`, t("{n} of {all}", { n: at.riser.done.length, all })),
        h("h1", {}, taskWords(at.valve, task)),
        h("p", { class: "visit-say" }, next ? t("Next: {what}", { what: guideWord(`step.${next.code}`) }) : t("All steps are done.")),
        whereLink(visit, at.group.id) ? h("p", { class: "btn-row" }, whereLink(visit, at.group.id)) : null),
      schematic(visit, at.riser, next),
      stepList(visit, at, null),
      thumb(null,
        next ? linkButton(guideWord(`step.${next.code}`), address("v", visit.id, "guide", device, task, next.code), { main: true }) : linkButton(t("End state"), address("v", visit.id, "left"), { main: true }),
        linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function stepList(visit, at, present) {
  const offered = new Set(at.offered.map((step) => step.code));
  const last = new Map(at.riser.records.map((event) => [event.payload.step, event.payload]));
  const items = at.steps.map((step) => {
    const done = at.riser.done.includes(step.code);
    const now = step.code === present || (!present && step.code === at.offered[0]?.code);
    const shape = done ? "st-order" : now ? "st-due" : "st-unknown";
    const note = last.get(step.code)?.deviation ? t("done otherwise than in order: {reason}", { reason: last.get(step.code).reason }) : mismatchesOf(last.get(step.code)).length ? t("not as expected") : done ? t("done") : offered.has(step.code) ? t("may be done now") : guideWord(`phase.${step.phase}`);
    return h("li", { class: done ? "done" : now ? "now" : "", "aria-current": now ? "step" : null },
      h("a", { href: address("v", visit.id, "guide", at.valve.device, at.task, step.code) }, symbol(shape), h("span", {}, h("b", {}, guideWord(`step.${step.code}`)), note)));
  });
  return h("section", { class: "left all-steps", "aria-label": t("Steps") }, h("h2", {}, t("Steps")), h("ol", { class: "steps" }, items));
}

/** Return what a recorded step showed otherwise than expected. */
export function mismatchesOf(payload) {
  return payload ? otherwise(payload.step, recorded(payload.expected), recorded(payload.seen)) : [];
}

/** One step: what to do, the caution, what must be seen, and what was seen. */
export function stepScreen(app, visit, device, task, code) {
  const at = standing(visit, device, task);
  const step = step_now(at.riser.config, at.riser.state, code);
  const refusal = refusalOf(at.riser.config, task, at.riser.state, at.riser.done, code);
  const unsafe = refusal.missing.length > 0 || refusal.warnings.length > 0;
  const form = new StepForm(app, visit, at, step, refusal);
  const place = at.steps.findIndex((one) => one.code === code) + 1;
  return {
    className: "visit",
    title: guideWord(`step.${code}`),
    nodes: [
      h("div", { class: "visit-step" },
        where(`${visit.building.name}, ${at.group.name}`, t("Step {n} of {all}", { n: place, all: at.steps.length })),
        h("h1", {}, guideWord(`step.${code}`)),
        unsafe ? form.warning() : null,
        h("p", { class: "visit-say" }, guideWord(`do.${code}`)),
        step.caution ? caution(guideWord(`caution.${step.caution}`)) : null,
        step.constraints.length ? why(step.constraints.map((one) => guideWord(`rule.${one}`)).join(" ")) : null),
      mismatchesOf(at.riser.records.findLast((event) => event.payload.step === code)?.payload).length
        ? h("p", { class: "btn-row" }, linkButton(t("What it can be"), address("v", visit.id, "likely", device, task, code))) : null,
      schematic(visit, at.riser, step),
      h("section", { class: "visit-read", "aria-label": t("What is seen at this step") }, form.nodes()),
      stepList(visit, at, code),
      form.thumb(unsafe),
    ],
  };
}

/** What was seen at one step, and whether it is as it must be. */
class StepForm {
  constructor(app, visit, at, step, refusal) {
    Object.assign(this, { app, visit, at, step, refusal });
    this.gauge = gauge(visit.building.units);
    this.expected = this.step.code === AS_FOUND ? asFoundExpected(at, step) : step.expected;
    this.figures = figuresOf(step, this.expected);
    this.boxes = new Map();
    this.watch = new Stopwatch(`${visit.id} ${at.valve.device} ${step.code}`, step.timers);
    this.otherwise = false;
    this.mismatches = h("div", { class: "mismatches", "aria-live": "polite" });
    this.rest = h("div", { class: "observations" });
  }

  /** Say what stands against the step now; it is never proposed, only recorded when done anyway. */
  warning() {
    const missing = this.refusal.missing.map((code) => guideWord(`step.${code}`)).join(", ");
    return h("div", { class: "unsafe", role: "alert" },
      h("p", {}, mark("impairment", t("Not now"))),
      missing ? h("p", {}, t("First: {what}.", { what: missing })) : null,
      this.refusal.warnings.map((one) => h("p", {}, one.hazard ? h("b", {}, `${guideWord(`hazard.${one.hazard}`)}. `) : null, guideWord(`rule.${one.code}`))));
  }

  nodes() {
    this.drawRest();
    return [this.figures.map((figure) => this.box(figure)), this.rest, this.mismatches, h("div", { class: "anyway", hidden: true },
      field(t("Why was it done otherwise than in order?"), "deviation", { lines: true }))];
  }

  box({ key, name, expected }) {
    const id = `g-${key}`;
    const unit = key === "turns" ? t("turns") : this.gauge.unit;
    const input = h("input", { id, inputmode: "decimal", autocomplete: "off", "aria-describedby": `${id}-u`, oninput: () => this.compared() });
    this.boxes.set(key, { input, name });
    return h("div", { class: "reading" },
      h("label", { class: "reading-name", for: id }, name),
      h("p", { class: "reading-ref" }, expected === null ? t("no figure expected") : [`${t("Expected")} `, h("b", {}, pressure(expected, this.visit))]),
      h("div", { class: "with-unit" }, input, h("span", { id: `${id}-u` }, unit)));
  }

  /** Show what must be seen besides figures: named as expected, or asked one by one. */
  drawRest() {
    const keys = Object.keys(this.expected).filter((key) => !FIGURES.includes(key));
    if (!keys.length) return;
    if (!this.otherwise) {
      this.rest.replaceChildren(h("h2", {}, t("Must be seen")), h("dl", { class: "expected" }, keys.map((key) => [h("dt", {}, guideWord(`seen.${key}`)), h("dd", {}, valueWords(key, this.expected[key]))])));
      return;
    }
    this.rest.replaceChildren(h("h2", {}, t("What do you see instead?")), ...keys.map((key) => this.question(key)));
  }

  question(key) {
    const expected = this.expected[key];
    const onchange = () => this.compared();
    if (key === "signals") {
      const known = [...new Set([...expected, "waterflow", "low_air", "high_air", "tamper", "release_disconnected", "release_circuit_open", "ac_fail"])];
      return group(guideWord("seen.signals"), expected, known.map((one) => choice(key, one, signalWords(one), { type: "checkbox", checked: expected.includes(one), onchange })), key);
    }
    const values = optionsOf(key, expected);
    return group(guideWord(`seen.${key}`), expected, values.map((value) => choice(key, String(value), valueWords(key, value), { checked: value === expected, onchange })), key);
  }

  /** Return what was seen, gauges in psi, as the model compares it. */
  seen() {
    const seen = {};
    for (const [key, { input }] of this.boxes) {
      const figure = decimal(input.value);
      if (figure !== null) seen[key] = key === "turns" ? Number(figure) : Number(figure) / this.gauge.factor;
    }
    for (const [key, expected] of Object.entries(this.expected)) {
      if (!FIGURES.includes(key)) seen[key] = this.otherwise ? this.picked(key, expected) : expected;
    }
    return seen;
  }

  picked(key, expected) {
    if (key === "signals") return [...this.rest.querySelectorAll('[name="signals"]:checked')].map((box) => box.value);
    const value = this.rest.querySelector(`[name="${key}"]:checked`)?.value;
    return typeof expected === "boolean" ? value === "true" : value;
  }

  compared() {
    const found = otherwise(this.step.code, this.expected, this.seen());
    this.mismatches.replaceChildren(...found.map((one) => h("p", {}, mark("fail", mismatchWords(one, this.visit)))));
    return found;
  }

  thumb(unsafe) {
    const watch = this.watch.node;
    const done = unsafe ? button(t("It was done anyway"), () => this.anyway()) : button(this.step.by === "person" ? t("Done") : t("Done, as expected"), () => this.save(false), { main: true });
    const other = this.step.by === "person" || !Object.keys(this.expected).some((key) => !FIGURES.includes(key)) ? null : button(t("Something else"), () => this.other());
    const offered = this.at.offered[0];
    const back = unsafe && offered
      ? linkButton(t("Go to: {what}", { what: guideWord(`step.${offered.code}`) }), address("v", this.visit.id, "guide", this.at.valve.device, this.at.task, offered.code), { main: true })
      : linkButton(t("All steps"), address("v", this.visit.id, "guide", this.at.valve.device, this.at.task));
    return h("div", { class: "thumb" }, watch, h("div", { class: "thumb-two" }, unsafe ? [back, done] : [done, other, watch ? null : back]));
  }

  other() {
    this.otherwise = true;
    this.drawRest();
    this.rest.querySelector("h2").scrollIntoView({ block: "start" });
    const [done, other] = this.app.main.querySelectorAll(".thumb > .thumb-two .btn");
    done.textContent = t("Record what is seen");
    other.remove();
  }

  anyway() {
    const holder = this.app.main.querySelector(".anyway");
    if (holder.hidden) {
      holder.hidden = false;
      holder.querySelector("textarea").focus();
      holder.scrollIntoView({ block: "center" });
      return;
    }
    this.save(true);
  }

  async save(deviation) {
    const reason = textOf(this.app.main, "deviation");
    if (deviation && !complain(this.app.main.querySelector('[name="deviation"]'), reason ? null : t("Say why, in a few words."))) return;
    for (const [key, { input, name }] of this.boxes) {
      if (!complain(input, this.wrong(key, name, input.value.trim()))) return;
    }
    const times = this.watch.seconds();
    const lacking = deviation ? null : this.step.timers.find((name) => !(name in times) && name !== "air_seconds" && name !== "prime_steady_seconds");
    const box = this.app.main.querySelector(".watch");
    box?.querySelector(".error")?.remove();
    if (lacking && !this.untimed) {
      this.untimed = true;
      box.append(h("p", { class: "error", role: "alert" }, t("{what} was not timed. Time it, or record the step again without it.", { what: guideWord(`timer.${lacking}`) })));
      return;
    }
    await this.app.record(this.visit.id, "step.add", {
      device: this.at.valve.device, step: this.step.code, action: this.step.code,
      expected: named(this.expected), seen: { ...named(this.seen()), ...times },
      seconds: times[this.step.timers[0]], deviation, reason: deviation ? reason : null,
    });
    this.watch.clear();
    if (this.step.code === SHUTS && await this.startClock()) return;
    if (this.compared().length) this.app.go("v", this.visit.id, "likely", this.at.valve.device, this.at.task, this.step.code);
    else this.next();
  }

  // From here on the system is without water: its clock runs while somebody stays at the valve.
  async startClock() {
    const visit = this.app.visit(this.visit.id);
    const system = systemOf(visit, this.at.valve.device);
    const out = running(visit);
    if (!system || out.some((one) => one.system === system)) return false;
    // A second one out in the same building wants a reason, which its own screen asks for.
    if (out.length) {
      this.app.go("v", visit.id, "shut");
      return true;
    }
    const id = newId();
    const name = visit.pack.items.find((item) => item.id === system)?.name ?? this.at.valve.name;
    await this.app.record(visit.id, "outage.start", {
      outage: id, subject: { kind: "system", id: system }, extent: t("{name}: water shut for the test", { name }),
      attended: true, person: this.app.api.member?.name, started_at: clock.instant(clock.now()),
    }, { stream: "impairment", stream_id: id });
    this.app.say(t("The water is shut: the clock runs until it is proven open again."));
    return false;
  }

  wrong(key, name, text) {
    if (text && decimal(text) === null) return t("{name}: {value} is no number; accepted: digits such as 82 or 62.5", { name, value: text });
    if (!text && this.step.code === AS_FOUND) return t("{name}: write it down before anything is touched; after a trip it can't be recovered.", { name });
    return null;
  }

  next() {
    const { valve, task } = this.at;
    const fresh = standing(this.app.visit(this.visit.id), valve.device, task);
    const next = fresh.offered[0];
    if (next) this.app.go("v", this.visit.id, "guide", valve.device, task, next.code);
    else this.app.go("v", this.visit.id, "guide", valve.device, task);
  }
}

// As found, only what this riser's own record or the panel says can be expected.
function asFoundExpected(at, step) {
  const known = at.valve.config.overrides;
  const from = { gauge_supply: "supply", gauge_prime: "supply", gauge_system: "air_set", gauge_pilot: "pilot_set" };
  return Object.fromEntries(Object.entries(step.expected).filter(([key]) => !(key in from) || from[key] in known));
}

// Gauges that are looked at but have no reading of their own get a box too.
function figuresOf(step, expected) {
  const gauges = { supply_gauge: "gauge_supply", system_gauge: "gauge_system", prime_gauge: "gauge_prime", pilot_gauge: "gauge_pilot", flowing_gauge: "gauge_supply", residual: "gauge_supply", static_after: "gauge_supply", trip_air: "trip_air" };
  const found = new Map();
  for (const reading of step.readings) {
    const key = gauges[reading.name] ?? reading.name;
    found.set(key, { key, name: guideWord(`reading.${reading.name}`), expected: expected[key] ?? null });
  }
  for (const key of FIGURES.filter((one) => one in expected && !found.has(one))) {
    found.set(key, { key, name: guideWord(`seen.${key}`), expected: expected[key] });
  }
  return [...found.values()];
}

function group(legend, expected, rows, key) {
  return h("fieldset", {}, h("legend", {}, legend), h("p", { class: "quiet" }, `${t("Expected")}: ${valueWords(key, expected)}`), h("div", { class: "choices" }, rows));
}

function optionsOf(key, expected) {
  if (typeof expected === "boolean") return [true, false];
  if (key === "panel") return ["normal", "alarm", "supervisory", "trouble"];
  if (key === "qod") return ["set", "tripped"];
  return ["none", "air", "water"];
}

/** Return the words of a signal, with its zone. */
export function signalWords(signal) {
  const [name, zone] = signal.split(":");
  return zone ? `${guideWord(`signal.${name}`)} ${zone.replace("z", "")}` : guideWord(`signal.${name}`);
}

/** Return the words of what is seen for a key. */
export function valueWords(key, value) {
  if (key === "signals") return value.length ? value.map(signalWords).join(", ") : t("none");
  if (typeof value === "boolean") return value ? t("yes") : t("no");
  return guideWord(key === "panel" ? `panel.${value}` : `value.${value}`);
}

/** Return what was seen and what was expected, in one sentence. */
export function mismatchWords({ name, expected, seen }, visit) {
  if (FIGURES.includes(name)) return t("{what}: {seen}, expected {expected}", { what: guideWord(`seen.${name}`), seen: pressure(seen, visit), expected: pressure(expected, visit) });
  const key = `seen.${name}`;
  if (guideWord(key) !== key) return t("{what}: {seen}, expected {expected}", { what: guideWord(key), seen: valueWords(name, seen), expected: valueWords(name, expected) });
  return seen ? t("{what}: not expected", { what: signalWords(name) }) : t("{what}: missing", { what: signalWords(name) });
}

// As the record holds it: figures as decimal texts with their unit in the name.
function named(values) {
  const kept = {};
  for (const [key, value] of Object.entries(values)) {
    if (Array.isArray(value)) kept[key] = value.join(", ") || "none";
    else if (typeof value === "number") kept[key === "turns" ? key : `${key}_psi`] = String(Number(value.toFixed(1)));
    else if (value !== null && value !== undefined) kept[key] = value;
  }
  return kept;
}
