// The practice bench: the riser is worked here, by the same model that scores the run afterwards.

import { h, s } from "../tablet/dom.js";
import { newId } from "../tablet/ids.js";
import { act, make_config, normal_state, observe, settle } from "../tablet/sequence.js";
import { keepHere } from "./offline.js";
import { riser } from "./riser.js";

const given = JSON.parse(document.getElementById("riser-data").textContent);
const floor = document.getElementById("bench");
const words = given.words;
const config = make_config(given.system_type, {});
const KEPT = `practice-${floor.dataset.member}-${given.exercise}`;
const LAMPS = { alarm: "lit-impaired", supervisory: "lit-critical", trouble: "lit-critical" };
const run = { key: newId(), acts: [], noted: {}, chosen: "control_valve" };
let state = begun();

document.documentElement.dataset.symbols = floor.dataset.symbols;

function by(id) { return document.getElementById(id); }

function filled(text, values) { return text.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole); }

// Where the exercise begins: as the service begins it when it scores the run.
function begun() {
  const hidden = unmasked(given.hidden);
  const faulty = { ...normal_state(config), faults: hidden ? [hidden] : [] };
  const led = given.start.reduce((now, action) => act(config, now, action), settle(config, faulty));
  return { ...led, hazards: [], trip_psi: null };
}

function unmasked([over, under]) {
  const [pad, bytes] = [over, under].map((text) => Uint8Array.from(atob(text), (one) => one.charCodeAt(0)));
  return new TextDecoder().decode(bytes.map((one, index) => one ^ pad[index])).trim();
}

// What a person sees; nothing on this page reads the model's own truth.
function seen() {
  const record = observe(config, state);
  return Object.fromEntries(given.seen.map((key) => [key, record[key]]));
}

function isAt(position) {
  if (position === "sprinkler") return state.sprinkler_open;
  if (position === "release_disconnect") return state.disconnect;
  if (position === "compressor") return state.compressor_on;
  if (position in state.hand) return state.hand[position];
  if (/^z\d+$/.test(position)) return state.zones.includes(position);
  return state[position];
}

function pressure(psi) { return filled(words.psi, { n: Math.round(psi) }); }

// A part as it stands: {text, isOn, part, psi}.
function standing(look) {
  return (code) => {
    const part = given.parts[code];
    if (code.startsWith("gauge_")) return { text: pressure(look[code]), psi: look[code] };
    if (code === "control_valve") return turned(state.control_pct);
    if (code === "system_valve") return { text: words.inside };
    if (code === "panel") return { text: words[`panel.${look.panel}`] };
    if (code === "qod") return { text: words[`value.${look.qod}`] };
    if (code === "solenoid") return { text: `${words["seen.solenoid_energised"]}: ${look.solenoid_energised ? words.yes : words.no}` };
    if (!part.position) return { text: "" };
    const isOn = isAt(part.position);
    return { text: part.at[isOn ? 0 : 1], isOn };
  };
}

function turned(percent) {
  if (percent >= 100) return { text: words.open, part: "open" };
  return percent > 0 ? { text: filled(words.percent, { n: Math.round(percent) }), part: "part" } : { text: words.shut, part: "closed" };
}

function draw() {
  const look = seen();
  const held = document.activeElement?.dataset.part;
  const at = standing(look);
  by("riser").replaceChildren(riser({ parts: given.parts, seen: look, at, chosen: run.chosen, choose, isWet: !config.dry, label: by("riser-title").textContent }));
  if (held) by("riser").querySelector(`[data-part="${held}"]`)?.focus();
  drawPart(at);
  by("time-deeds").replaceChildren(...given.parts.time.deeds.map(button));
  drawPanel(look);
  drawSeen(look);
  drawMarks();
  drawLog();
}

function drawPart(at) {
  const part = given.parts[run.chosen];
  by("part-title").textContent = part.name;
  by("part-at").textContent = at(run.chosen).text;
  const held = document.activeElement?.dataset.deed;
  const open = part.deeds.filter((code) => !given.deeds[code].position || !isThere(given.deeds[code]));
  by("part-deeds").replaceChildren(...open.map(button));
  if (held && !document.activeElement?.dataset.deed) (by("part-deeds").querySelector(`[data-deed="${held}"], button`) ?? by("part-title")).focus();
}

function isThere({ position, to }) {
  return position === "control_valve" ? state.control_pct === to : isAt(position) === to;
}

function button(code) {
  return h("button", { class: "btn", type: "button", "data-deed": code, onclick: () => done(code) }, given.deeds[code].name);
}

function drawPanel(look) {
  const lamp = (name) => {
    const isLit = look.lamps.includes(name);
    const rays = "M12 1v3M12 20v3M1 12h3M20 12h3M4.2 4.2l2.1 2.1M17.7 17.7l2.1 2.1M4.2 19.8l2.1-2.1M17.7 6.3l2.1-2.1";
    const shape = s("svg", { viewBox: "0 0 24 24", "aria-hidden": "true" },
      s("circle", { cx: 12, cy: 12, r: 6.5, fill: isLit ? "currentColor" : "none", stroke: "currentColor", "stroke-width": 2 }),
      isLit ? s("path", { d: rays, stroke: "currentColor", "stroke-width": 2 }) : null);
    return h("li", { class: `lamp${isLit ? ` lit ${LAMPS[name]}` : ""}` }, shape, h("b", {}, words[`panel.${name}`]), h("span", {}, isLit ? words.lit : words.dark));
  };
  by("lamps").replaceChildren(...Object.keys(LAMPS).map(lamp));
  const lines = look.signals.map(signal);
  by("signals").replaceChildren(...[words[`panel.${look.panel}`], ...(lines.length ? lines : [words.no_signals])].map((text) => h("li", {}, text)));
}

function signal(code) {
  const [kind, zone] = code.split(":");
  return `${words[`signal.${kind}`]} ${zone ? zone.slice(1) : ""}`.trim();
}

function drawSeen(look) {
  by("seen").replaceChildren(...readings(look).map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value))));
}

// Gauges and outlets in words: [name, value].
function readings(look) {
  const rows = given.seen.filter((key) => !["panel", "lamps", "signals", "trip_air"].includes(key) && look[key] !== null && look[key] !== undefined);
  const value = (key) => {
    if (key.startsWith("gauge_")) return pressure(look[key]);
    return typeof look[key] === "boolean" ? (look[key] ? words.yes : words.no) : words[`value.${look[key]}`];
  };
  return rows.map((key) => [given.parts[key]?.name ?? words[`seen.${key}`], value(key)]);
}

// What a reader of the screen is told after an act: all that now stands otherwise.
function changes(was, now) {
  const before = new Map(readings(was));
  const moved = readings(now).filter(([name, value]) => before.get(name) !== value).map(([name, value]) => `${name}: ${value}`);
  if (was.panel !== now.panel) moved.unshift(`${words.panel}: ${words[`panel.${now.panel}`]}`);
  const came = now.signals.filter((one) => !was.signals.includes(one)).map((one) => `${signal(one)}: ${words["value.came"]}`);
  const gone = was.signals.filter((one) => !now.signals.includes(one)).map((one) => `${signal(one)}: ${words["value.gone"]}`);
  return [...moved, ...came, ...gone].join("; ") || words.nothing_changed;
}

function drawMarks() {
  const number = run.acts.length;
  const marked = run.noted[number] ?? [];
  const box = ([code, way, whole]) => h("label", {}, h("input", { type: "checkbox", value: code, "aria-label": whole, checked: marked.includes(code), disabled: number === 0, onchange: mark }), way);
  const row = ({ name, ways }) => h("div", {}, h("b", {}, name), ways.map(box));
  const legend = by("sights").querySelector("legend");
  by("sights").replaceChildren(legend, ...given.sights.map(row));
  if (number > 0) by("changed-after").textContent = `${number}. ${given.deeds[run.acts.at(-1)].whole}`;
}

function drawLog() {
  const named = Object.fromEntries(given.sights.flatMap(({ ways }) => ways.map(([code, , whole]) => [code, whole])));
  const row = (code, index) => {
    const marks = (run.noted[index + 1] ?? []).map((one) => named[one]).join("; ");
    return h("li", {}, `${index + 1}. ${given.deeds[code].whole}`, h("small", {}, `${words.marked}: ${marks || words.nothing_marked}`));
  };
  by("log").replaceChildren(...run.acts.map(row).reverse());
}

function choose(code) {
  run.chosen = code;
  draw();
  say(filled(words.chosen, { part: given.parts[code].name }));
  (by("part-deeds").querySelector("button") ?? by("part-title")).focus();
}

function done(code) {
  const was = seen();
  state = act(config, state, given.deeds[code].action);
  run.acts.push(code);
  keep();
  draw();
  say(`${run.acts.length}. ${given.deeds[code].whole}. ${changes(was, seen())}.`);
}

function mark() {
  run.noted[run.acts.length] = [...by("sights").querySelectorAll("input:checked")].map((one) => one.value);
  keep();
  drawLog();
}

function say(text) { by("bench-status").textContent = text; }

// A run that was not handed in outlives the page: there may be no connection.
// Whatever is added makes it another run to the service, which takes each once.
function keep() {
  Object.assign(run, { key: newId(), isAsked: false });
  localStorage.setItem(KEPT, JSON.stringify({ key: run.key, acts: run.acts, noted: run.noted }));
}

function takeUp() {
  const kept = JSON.parse(localStorage.getItem(KEPT) ?? "null");
  if (!kept?.acts.length || kept.acts.some((code) => !(code in given.deeds))) return;
  Object.assign(run, kept);
  state = kept.acts.reduce((now, code) => act(config, now, given.deeds[code].action), state);
  say(words.kept);
}

async function handIn(event) {
  event.preventDefault();
  const claim = by("claim")?.value ?? "";
  if (by("claim") && !claim) { refuse(words.choose_claim); by("claim").focus(); return; }
  const csrf = document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";
  const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": csrf, "Idempotency-Key": `${run.key}-${claim}` };
  const body = JSON.stringify({ acts: run.acts, noted: run.noted, claim });
  let answer;
  try {
    answer = await fetch(floor.dataset.handIn, { method: "POST", credentials: "same-origin", headers, body });
  } catch {
    run.isAsked = true;
    refuse(words.unreachable);
    return;
  }
  const said = await answer.json();
  if (!answer.ok) { refuse(said.detail ?? said.title); return; }
  localStorage.removeItem(KEPT);
  location.assign(said.url);
}

function refuse(text) { Object.assign(by("refused"), { textContent: text, hidden: false }); }

by("end").addEventListener("submit", handIn);
by("anew").addEventListener("click", () => {
  localStorage.removeItem(KEPT);
  Object.assign(run, { key: newId(), isAsked: false, acts: [], noted: {} });
  state = begun();
  draw();
});
by("part").addEventListener("keydown", ({ key }) => key === "Escape" && by("riser").querySelector(`[data-part="${run.chosen}"]`)?.focus());
globalThis.addEventListener("online", () => { if (run.isAsked) by("end").requestSubmit(); });
takeUp();
draw();
keepHere([floor.dataset.symbols], () => { by("kept").hidden = false; });
