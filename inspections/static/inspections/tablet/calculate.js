// Calculate: the computations of the riser without signal; the others are named, and want it.

import { evaluate } from "./calculation.js";
import { OFFLINE, SUBJECTS } from "./calculations.js";
import { h } from "./dom.js";
import { button, caution, complain, linkButton, mark, row, rows, thumb, where } from "./parts.js";
import { INPUTS } from "./riser.js";
import { address } from "./shell.js";
import { decimal, fromSi, toSi } from "./units.js";
import { t } from "./words.js";

const MARK = { pass: "pass", fail: "fail", "look into it": "not_proven" };

// Units to choose from, the first one where no other is chosen; and digits behind the point.
const UNITS = {
  us: { pressure: ["psi", "bar", "kPa"], length: ["in", "mm"], volume: ["gal", "L", "ft^3"], time: ["s", "min", "h"], temperature: ["degF", "degC"], fraction: ["%"], flow: ["gpm", "L/min"], "air flow": ["ft^3/min", "L/min"] },
  metric: { pressure: ["bar", "kPa", "psi"], length: ["mm", "in"], volume: ["L", "m^3", "gal"], time: ["s", "min", "h"], temperature: ["degC", "degF"], fraction: ["%"], flow: ["L/min", "gpm"], "air flow": ["L/min", "ft^3/min"] },
};
const DIGITS = { bar: 2, "ft^3/min": 3, "L/min": 0, gpm: 0, mm: 1, in: 3 };
const SHOWN = { degF: "°F", degC: "°C", "ft^3/min": "ft³/min", "ft^3": "ft³", "m^3": "m³" };

/** All computations: those of this tablet first, then those that need signal. */
export function calculateListScreen(app) {
  const here = SUBJECTS.map(({ subject, names }) => ({ subject, names: names.filter(([name]) => name in OFFLINE) })).filter(({ names }) => names.length);
  const away = SUBJECTS.map(({ subject, names }) => ({ subject, names: names.filter(([name]) => !(name in OFFLINE)) })).filter(({ names }) => names.length);
  const signal = app.queue.signal && !app.queue.signedOut;
  const far = ([name, title]) => signal ? row(`/calculations/${name}/`, "i-signal", t(title), t("needs signal")) : h("li", { class: "quiet far" }, `${t(title)}: ${t("needs signal")}`);
  return {
    className: "finding calculate",
    title: t("Calculate"),
    nodes: [
      where(t("Works without signal")),
      h("h1", {}, t("Calculate")),
      here.map(({ subject, names }) => rows(t(subject), names.map(([name, title]) => row(address("calculate", name), "i-paper", t(title))))),
      h("details", { class: "why" }, h("summary", {}, t("With signal: {n} more", { n: away.reduce((n, { names }) => n + names.length, 0) })), away.map(({ subject, names }) => rows(t(subject), names.map(far)))),
      thumb(null, linkButton(t("All visits"), "#/")),
    ],
  };
}

/** One computation: its readings, and what they come to. */
export function calculationScreen(app, name) {
  if (!(name in OFFLINE)) return calculateListScreen(app);
  const { subject, caution: minded, names } = SUBJECTS.find((one) => one.names.some(([other]) => other === name));
  const title = t(names.find(([other]) => other === name)[1]);
  const form = new Form(name, systemOf(app));
  const said = h("div", { "aria-live": "polite" });
  const calculate = () => {
    const given = form.read();
    if (!given) return;
    said.replaceChildren(...told(app, name, title, form, given).flat(Infinity).filter(Boolean));
    if (said.childElementCount) said.scrollIntoView({ block: "center" });
  };
  return {
    className: "finding calculate",
    title,
    nodes: [
      where(t(subject)),
      h("h1", {}, title),
      minded ? caution(t(minded)) : null,
      form.first,
      form.usual.length ? h("details", { class: "why" }, h("summary", {}, t("Limits and what is usual")), form.usual) : null,
      said,
      h("p", { class: "quiet" }, OFFLINE[name].source),
      thumb(null, button(t("Calculate"), calculate, { main: true }), linkButton(t("Other calculations"), "#/calculate")),
    ],
  };
}

function systemOf(app) {
  const building = app.openVisit()?.building ?? [...app.packs.values()][0]?.building;
  return building?.units === "metric" ? "metric" : "us";
}

/** The boxes of a computation, each with its unit; what is typed stays while something is wrong. */
class Form {
  constructor(name, system) {
    this.system = system;
    this.boxes = Object.entries(INPUTS[name]).map(([field, asked]) => this.box(field, asked));
    const isUsual = ({ asked }) => asked.default !== undefined && !asked.choices;
    this.first = this.boxes.filter((box) => !isUsual(box)).map(({ node }) => node);
    this.usual = this.boxes.filter(isUsual).map(({ node }) => node);
  }

  box(field, asked) {
    const id = `c-${field}`;
    const label = labelOf(field, asked);
    const hint = h("p", { class: "hint", id: `${id}-h` }, this.hint(asked));
    const given = { id, name: field, class: "input", "aria-describedby": `${id}-h` };
    const units = UNITS[this.system][asked.quantity] ?? [];
    const unit = units.length > 1 ? h("select", { class: "input", "aria-label": t("Unit of {name}", { name: label }) }, units.map((one) => h("option", { value: one }, SHOWN[one] ?? one))) : null;
    const words = choicesOf(asked);
    const input = words ? h("select", given, h("option", { value: "" }, ""), words.map(([value, said]) => h("option", { value }, said)))
      : asked.many ? h("textarea", { ...given, rows: 3 }) : h("input", { ...given, inputmode: "decimal", autocomplete: "off" });
    const beside = unit ?? (units.length ? h("span", {}, units[0]) : null);
    const node = h("div", { class: "field" }, h("label", { for: id }, label), hint, beside ? h("div", { class: "with-unit" }, input, beside) : input);
    return { field, asked, label, input, unit: () => unit?.value ?? units[0] ?? "", node };
  }

  hint(asked) {
    const said = [];
    if (!choicesOf(asked)) said.push(accepted(asked, this.system));
    if (asked.many) said.push(t("one a line"));
    if (asked.default !== undefined) said.push(t("{value} when left empty", { value: show(asked.default, asked.quantity, this.system) }));
    else if (!asked.required) said.push(t("may stay empty"));
    return said.join(" · ");
  }

  /** Return what was typed in SI by argument, or null after saying what is wrong at its box. */
  read() {
    const given = {};
    for (const box of this.boxes) {
      const { wrong, value } = this.taken(box);
      if (!complain(box.input, wrong)) return this.open(box);
      given[box.asked.argument] = value;
    }
    return given;
  }

  taken({ asked, label, input, unit }) {
    const text = input.value.trim();
    if (!text) return asked.required ? { wrong: t("{name}: a value is wanted here.", { name: label }) } : { value: asked.default ?? (asked.many ? [] : null) };
    if (asked.quantity === "yes or no") return { value: text === "yes" };
    if (asked.choices) return { value: text };
    const values = [];
    for (const line of asked.many ? text.split("\n").filter((one) => one.trim()) : [text]) {
      const [plain, chosen] = apart(line, asked.quantity, unit());
      const number = figure(plain);
      if (number === null) return { wrong: t("{name}: {value} is no number; accepted: digits such as 82 or 62.5", { name: label, value: line.trim() }) };
      const si = chosen ? toSi(number, chosen) : number;
      if (outside(asked, si)) return { wrong: t("{name}: {value} is not accepted. Accepted: {range}.", { name: label, value: `${plain} ${SHOWN[chosen] ?? chosen}`.trim(), range: accepted(asked, this.system) }) };
      values.push(si);
    }
    return { value: asked.many ? values : values[0] };
  }

  /** Say at the box what the computation refuses; return null. */
  refuse(field, sentence) {
    const box = this.boxes.find((one) => one.field === field) ?? this.boxes[0];
    complain(box.input, `${box.label}: ${sentence}`);
    return this.open(box);
  }

  open(box) {
    const holder = box.node.closest("details");
    if (holder) holder.open = true;
    box.input.focus();
    return null;
  }
}

function labelOf(field, asked) {
  const words = asked.quantity === "yes or no" ? t(field.replaceAll("_", " ")) : t(asked.meaning);
  return words[0].toUpperCase() + words.slice(1);
}

function choicesOf(asked) {
  if (asked.quantity === "yes or no") return [["yes", t("yes")], ["no", t("no")]];
  return asked.choices?.map((one) => [one, t(one.replaceAll("_", " "))]) ?? null;
}

// A unit typed behind the figure goes before the one chosen beside the box.
function apart(text, quantity, unit) {
  const typed = text.trim();
  const known = [...(UNITS.us[quantity] ?? []), ...(UNITS.metric[quantity] ?? [])];
  const said = known.flatMap((one) => [[one, one], [SHOWN[one], one]]).find(([word]) => word && typed.toLowerCase().endsWith(word.toLowerCase()) && !/[a-z]/i.test(typed.slice(-word.length - 1, -word.length)));
  return said ? [typed.slice(0, -said[0].length).trim(), said[1]] : [typed, unit];
}

// A whole number with a fraction behind it, as bores are read, or a decimal figure.
function figure(text) {
  const parts = /^(?:(\d+) )?(\d+)\/([1-9]\d*)$/.exec(text.trim());
  if (parts) return Number(parts[1] ?? 0) + Number(parts[2]) / Number(parts[3]);
  const plain = decimal(text);
  return plain === null ? null : Number(plain);
}

function outside({ low, high, above, quantity }, si) {
  if (quantity === "count" && !Number.isInteger(si)) return true;
  const guard = 1e-9 * Math.abs(si);
  if (low !== undefined && (above ? si <= low : si < low - guard)) return true;
  return high !== undefined && si > high + guard;
}

function accepted({ low, high, above, quantity }, system) {
  const [least, most] = [low, high].map((one) => one === undefined ? null : show(one, quantity, system));
  if (least === null) return most === null ? t("a number") : t("at most {most}", { most });
  const from = above ? t("more than {least}", { least }) : least;
  return most === null ? t("{least} or more", { least: from }) : t("{least} to {most}", { least: from, most });
}

/** Return a value in SI as it is read in a system of units. */
export function show(value, quantity, system) {
  if (value === null || value === undefined) return t("not known");
  if (typeof value !== "number") return t(String(value).replaceAll("_", " "));
  const unit = UNITS[system][quantity]?.[0];
  const shown = unit ? fromSi(value, unit) : value;
  const digits = unit ? DIGITS[unit] ?? 1 : 4;
  return `${Number(shown.toFixed(digits))} ${SHOWN[unit] ?? unit ?? ""}`.trim();
}

function told(app, name, title, form, given) {
  let answer;
  try {
    answer = evaluate(name, given);
  } catch (error) {
    const [field, range, why] = error.message.replace(/^ValueError: */, "").split("; ");
    return form.refuse(field, t("not accepted: {why}. Accepted: {range}.", { why: t(why), range: t(range) })) ?? [];
  }
  const { outputs, limit, margin, version } = OFFLINE[name];
  const { system } = form;
  const values = outputs.filter(([key]) => key in answer.values && key !== "verdict").map(([key, quantity, meaning]) => [t(meaning), show(answer.values[key], quantity, system)]);
  const beside = [[t("limit"), answer.limit, limit], [t("margin"), answer.margin, margin]].filter(([, value]) => typeof value === "number").map(([words, value, quantity]) => [words, show(value, quantity, system)]);
  const reason = sentence(answer, OFFLINE[name], system);
  const words = [reason || `${values[0][0]}: ${values[0][1]}.`, ...answer.warnings.map((one) => t(one))];
  return [
    h("h2", {}, t("What it comes to")),
    answer.verdict ? h("p", {}, mark(MARK[answer.verdict], t(answer.verdict))) : null,
    h("p", { class: "visit-say" }, words[0]),
    words.slice(1).map((one) => caution(one)),
    h("dl", { class: "facts" }, [...values, ...beside].map(([term, value]) => h("div", {}, h("dt", {}, term), h("dd", {}, value)))),
    h("p", { class: "quiet" }, t("{name}, version {n}. Rounded for display; judged unrounded. The adopted edition and the authority having jurisdiction decide.", { name: name.replaceAll("_", " "), n: version })),
    keeper(app, `${title}: ${words.join(" ")} (${name}, ${version})`),
  ];
}

function sentence({ reason, values, limit }, { outputs, limit: quantity }, system) {
  const said = Object.fromEntries(outputs.map(([key, of]) => [key, show(values[key], of, system)]));
  const all = { value: said[outputs[0][0]], ...said, ...(typeof limit === "number" ? { limit: show(limit, quantity, system) } : {}) };
  return reason.replace(/\S.*?\.(?= |$)/g, (one) => t(one, all));
}

// What came out, with its warnings, goes into the record and so into the report.
function keeper(app, text) {
  const visit = app.openVisit();
  if (!visit) return null;
  const holder = h("p", { class: "btn-row" }, button(t("Keep it as a note of the visit: {name}", { name: visit.building.name }), async () => {
    await app.record(visit.id, "note.add", { text });
    holder.replaceChildren(mark("pass", t("Kept on this visit; the report shows it.")));
  }));
  return holder;
}
