// One line of a visit on one screen: the task, its readings with their limits, and the answer.

import * as clock from "./clock.js";
import { judge as judgeTree } from "./criteria.js";
import { h } from "./dom.js";
import { entryKey } from "./fold.js";
import { linesOf, personOf } from "./pack.js";
import { answerWords, button, caution, choice, complain, field, linkButton, mark, textOf, thumb, where, why } from "./parts.js";
import { address } from "./shell.js";
import { Stopwatch } from "./stopwatch.js";
import { decimal, fromSi, toSi, written } from "./units.js";
import { judge, judgementWords } from "./verdict.js";
import { answerOf, whereLink } from "./visit.js";
import { language, t } from "./words.js";

const LIKELY = { inspection: "seen_in_order", maintenance: "seen_in_order", test: "pass" };
const SHOWN_CAUTIONS = 2;
const WRONG = { inspection: "finding", maintenance: "finding", test: "fail" };

/** One line: its question, its readings, its answer. */
export function lineScreen(app, visit, lineId) {
  const all = linesOf(visit.pack);
  const place = all.findIndex(({ line }) => line.id === lineId);
  const { system, group, line } = all[place];
  const boxes = new Boxes(visit, line);
  // An answer takes the place of those that this screen shows, and of no others.
  const shown = {
    line, heads: answerOf(visit, line) ?? [], readings: boxes.recorded, list: h("ul", { class: "heads", tabindex: "-1" }),
    settle: field(t("Two answers stand. Why is yours right?"), "settle"),
  };
  showStanding(app, visit, shown);
  const answer = (code) => save(app, visit, line, boxes, shown.heads, code);
  const [likely, wrong] = [LIKELY, WRONG].map((usual) => button(answerWords(usual[line.activity_kind]), () => answer(usual[line.activity_kind])));
  boxes.onJudged = (isBad) => {
    likely.classList.toggle("btn-main", !isBad);
    wrong.classList.toggle("btn-main", isBad);
  };
  boxes.judgeAll();
  return {
    title: line.subject_name,
    nodes: [
      where(group.name === system.name ? system.name : `${system.name}, ${group.name}`, t("{n} of {all}", { n: place + 1, all: all.length })),
      h("h1", {}, line.subject_name),
      line.location ? h("p", { class: "quiet" }, line.location) : null,
      whereLink(visit, group.id) ? h("p", { class: "btn-row" }, whereLink(visit, group.id)) : null,
      h("p", { class: "visit-say" }, t(line.task)),
      cautions(line),
      shown.list,
      line.instruments?.length ? h("p", { class: "quiet" }, t("Instruments: {names}", { names: line.instruments.join(", ") })) : null,
      lastAnswer(line),
      boxes.nodes,
      boxes.watch?.node,
      boxes.criterion,
      also(line, shown.heads),
      shown.settle,
      h("div", { class: "field could-not", hidden: true }, field(t("Why could it not be done?"), "reason", { lines: true }), button(t("Record: could not"), () => answer("could_not"))),
      line.criterion ? why(criterionWords(line), h("span", { class: "source" }, ` ${[line.source, line.rule].filter(Boolean).join("; ")}`)) : null,
      thumb(null,
        likely,
        wrong,
        button(t("Could not"), () => ask(app)),
        button(answerWords("not_fitted"), () => answer("not_fitted")),
        linkButton(t("Note"), address("v", visit.id, "note", line.subject.id))),
    ],
    news: () => import("./news.js").then(({ tell }) => tell(app, visit.id, shown), () => {}),
  };
}

/** Show the answers that stand for a line; where two do, it is asked which is right. */
export function showStanding(app, visit, { heads, list, settle }) {
  list.replaceChildren(...heads.map((head) => h("li", {}, mark(head.payload.answer), ` ${whoSaid(app, visit, head)} `, head.payload.reason ?? "")));
  list.hidden = !heads.length;
  settle.hidden = heads.length < 2;
}

// The first ones stand open before the act; the rest are one touch away.
function cautions(line) {
  const all = line.cautions.map((one) => caution(t(one.words ?? one)));
  const rest = all.slice(SHOWN_CAUTIONS);
  return [all.slice(0, SHOWN_CAUTIONS), rest.length ? h("details", { class: "why" }, h("summary", {}, t("More cautions: {n}", { n: rest.length })), ...rest) : null];
}

// What was done besides: it lets other work count as done, where the rules say so.
function also(line, heads) {
  if (!line.also?.length) return null;
  const before = heads.at(-1)?.payload.also ?? [];
  const row = (one, item) => {
    const was = before.find((said) => said.what === one.what);
    const checked = Boolean(was && (!item || was.on?.includes(item.id)));
    return choice("also", item ? `${one.what} ${item.id}` : one.what, one.words, { type: "checkbox", note: item?.name, checked });
  };
  const all = line.also.flatMap((one) => (one.on.length ? one.on.map((item) => row(one, item)) : [row(one, null)]));
  return h("fieldset", { class: "spaced" }, h("legend", {}, t("Done with it as well")), h("div", { class: "choices" }, all));
}

function alsoDone(app) {
  const found = new Map();
  for (const box of app.main.querySelectorAll('[name="also"]:checked')) {
    const [what, item] = box.value.split(" ");
    const said = found.get(what) ?? { what };
    found.set(what, item ? { what, on: [...(said.on ?? []), item] } : said);
  }
  return found.size ? [...found.values()] : undefined;
}

function criterionWords(line) {
  const [prose, expression] = line.criterion.split("expr:");
  return (prose.trim().replace(/;$/, "") || expression || "").trim();
}

/** Return who recorded something and when. */
export function whoSaid(app, visit, event) {
  const name = personOf(app, visit, event.by);
  const time = event.wall ? clock.timeOf(event.wall, visit.zone, language()) : "";
  return [name, time].filter(Boolean).join(", ");
}

function ask(app) {
  const holder = app.main.querySelector(".could-not");
  holder.hidden = false;
  holder.querySelector("textarea").focus();
  holder.scrollIntoView({ block: "center" });
}

function lastAnswer(line) {
  if (!line.last_answer) return null;
  const { answer, on } = line.last_answer;
  return h("p", { class: "quiet" }, t("Last time: {answer}, {day}", { answer: answerWords(answer), day: clock.dayOf(on, language()) }));
}

async function save(app, visit, line, boxes, heads, answer) {
  const given = answer === "could_not" || answer === "not_fitted" ? [] : boxes.checked(answer);
  if (given === null) return;
  const reason = answer === "could_not" ? textOf(app.main, "reason") : textOf(app.main, "settle");
  if (answer === "could_not" && !complain(app.main.querySelector('[name="reason"]'), reason ? null : t("Say why it could not be done."))) return;
  if (heads.length > 1 && !reason) {
    complain(app.main.querySelector('[name="settle"]'), t("Say why, in a few words."));
    return;
  }
  for (const reading of given) await app.record(visit.id, "reading.add", { subject: line.subject, activity: line.activity, ...reading });
  boxes.watch?.clear();
  await app.record(visit.id, "item.set", { subject: line.subject, activity: line.activity, answer, reason, also: answer === "could_not" || answer === "not_fitted" ? undefined : alsoDone(app) }, { seen: heads.map((head) => head.id) });
  if (answer === "finding" || answer === "fail") app.go("v", visit.id, "found", line.id);
  else next(app, visit.id);
}

/** Go to the next line without an answer, or back to the visit. */
export function next(app, visitId) {
  const visit = app.visit(visitId);
  const open = linesOf(visit.pack).find(({ line }) => !answerOf(visit, line));
  if (open) app.go("v", visitId, "line", open.line.id);
  else app.go("v", visitId);
}

/** The boxes for a line's readings; each is judged as it is typed. */
class Boxes {
  constructor(visit, line) {
    this.visit = visit;
    this.line = line;
    this.recorded = visit.picture.readings.get(entryKey(line.subject.id, line.activity)) ?? [];
    this.boxes = new Map();
    this.nodes = line.readings.map((reading) => this.box(reading));
    this.criterion = h("p", { class: "said", "aria-live": "polite" });
    this.onJudged = () => {};
    this.watch = this.stopwatch();
  }

  /** Return a stopwatch for the readings that are times; a lap writes itself into its box. */
  stopwatch() {
    const timed = this.line.readings.filter((reading) => reading.unit === "s");
    if (!timed.length) return null;
    const words = (name) => t(timed.find((one) => one.name === name).label);
    const onLap = (name, seconds) => {
      this.boxes.get(name).input.value = seconds;
      this.judgeAll();
    };
    return new Stopwatch(`${this.visit.id} ${this.line.id}`, timed.map((one) => one.name), { words, onLap });
  }

  box(reading) {
    const id = `r-${keyOf(reading)}`;
    const before = this.recorded.findLast(({ payload }) => payload.name === reading.name && (payload.point ?? "") === (reading.point ?? ""));
    const verdict = h("p", { class: "reading-verdict", "aria-live": "polite" });
    const word = reading.unit === "word";
    const known = before ? (word ? before.payload.typed : before.payload.value.value) : timed(this.visit, this.line, reading);
    const input = word && reading.choices?.length
      ? h("select", { id, class: "input", onchange: () => this.judgeAll() }, h("option", { value: "" }, ""), reading.choices.map((one) => h("option", { value: one, selected: one === known }, one.replaceAll("_", " "))))
      : h("input", { id, inputmode: word ? "text" : "decimal", autocomplete: "off", value: known ?? "", "aria-describedby": `${id}-u`, oninput: () => this.judgeAll() });
    this.boxes.set(keyOf(reading), { reading, input, verdict, before });
    return h("div", { class: "reading" },
      h("label", { class: "reading-name", for: id }, t(reading.label)),
      h("p", { class: "reading-ref" }, this.reference(reading)),
      word && reading.choices?.length ? input : h("div", { class: "with-unit" }, input, h("span", { id: `${id}-u` }, word ? "" : shownUnit(reading.unit))),
      verdict);
  }

  reference(reading) {
    const said = [];
    if (reading.limit?.words) said.push(h("b", {}, reading.limit.words));
    const last = reading.last;
    if (last) said.push(`${t("last")} `, h("b", {}, figure(last.si, reading, last.typed)), `, ${clock.dayOf(last.on, language())}`);
    const baseline = reading.baseline;
    if (baseline && baseline.on !== last?.on) said.push(`${t("first")} `, h("b", {}, figure(baseline.si, reading, baseline.typed)));
    if (!said.length) return reading.required ? t("wanted") : t("nothing to compare with yet");
    return said.flatMap((one, at) => (at && typeof one === "string" && !one.startsWith(",") ? [". ", one] : [one]));
  }

  /** Return what is typed in SI by name, where it is a number. */
  typed() {
    const si = {};
    for (const { reading, input } of this.boxes.values()) {
      const text = decimal(input.value);
      if (text !== null && reading.unit !== "word" && !reading.point) si[reading.name] = toSi(Number(text), reading.unit);
    }
    return si;
  }

  judgeAll() {
    const si = this.typed();
    this.failing = [];
    for (const { reading, input, verdict } of this.boxes.values()) {
      const judged = input.value.trim() ? judge(reading, si) : null;
      verdict.replaceChildren(...(judged?.verdict ? [mark(judged.verdict, judgementWords(judged, reading))] : []));
      if (judged?.verdict === "fail") this.failing.push(reading);
    }
    this.judgeLine(si);
    this.onJudged(this.failing.length > 0 || this.verdict === false);
  }

  /** Say what the criterion of the whole line comes to, once its readings decide it. */
  judgeLine(si) {
    const words = [...this.boxes.values()].filter(({ reading, input }) => reading.unit === "word" && input.value.trim());
    const read = { ...si, ...Object.fromEntries(words.map(({ reading, input }) => [reading.name, input.value.trim()])) };
    const any = this.line.judge !== null && this.line.judge !== undefined && Object.keys(read).length > 0;
    this.verdict = any ? judgeTree(this.line.judge, read) : null;
    const partly = this.line.judge_is === "part" ? ` ${t("The rest is for you to judge.")}` : "";
    const said = { true: ["pass", t("By its criterion: in order.") + partly], false: ["fail", t("By its criterion: not in order.")] }[this.verdict];
    this.criterion.replaceChildren(...(said ? [mark(...said)] : []));
  }

  /** Return the readings to record, or null when a box has to be put right first. */
  checked(answer) {
    const given = [];
    const last = [...this.boxes.values()].at(-1);
    for (const { reading, input, before } of this.boxes.values()) {
      const text = input.value.trim();
      if (!complain(input, this.wrong(reading, text, answer))) return null;
      if (!text || isSame(before, text)) continue;
      const value = reading.unit === "word" ? { value: "0", unit: "word" } : { value: decimal(text), unit: reading.unit };
      given.push({ name: reading.name, ...(reading.point ? { point: reading.point } : {}), typed: reading.unit === "word" ? text : `${text} ${shownUnit(reading.unit)}`.trim(), value });
    }
    if (answer === "pass" && this.verdict === false && !complain(last.input, t("By its criterion this test can't pass. Type the readings again or answer Fail."))) return null;
    return given;
  }

  wrong(reading, text, answer) {
    const name = t(reading.label);
    if (!text) return reading.required ? t("{name}: a reading is wanted here.", { name }) : null;
    if (reading.unit !== "word" && decimal(text) === null) return t("{name}: {value} is no number; accepted: digits such as 82 or 62.5", { name, value: text });
    if (answer === "pass" && this.failing.includes(reading)) return t("{name} is beyond its limit: this test can't pass. Type it again or answer Fail.", { name });
    return null;
  }
}

// At a pump the same is read at several points of its flow.
function keyOf({ name, point }) {
  return point ? `${name}--${point}` : name;
}

function isSame(before, text) {
  return before && (before.payload.typed === text || before.payload.value.value === decimal(text));
}

function shownUnit(unit) {
  return unit === "count" ? "" : unit;
}

function figure(si, reading, typed) {
  const shown = reading.unit === "word" ? null : fromSi(si, reading.unit);
  return shown === null ? typed : `${written(shown, reading.unit)} ${shownUnit(reading.unit)}`;
}

// What the guide's stopwatch and gauges already know of this valve.
const FROM_GUIDE = { trip_time: "trip_seconds", delivery_time: "delivery_seconds", time_to_alarm: "alarm_seconds" };

function timed(visit, line, reading) {
  const key = FROM_GUIDE[reading.name];
  const steps = visit.picture.steps.get(line.subject.id) ?? [];
  return key && reading.unit === "s" ? steps.findLast((event) => event.payload.seen[key])?.payload.seen[key] ?? null : null;
}
