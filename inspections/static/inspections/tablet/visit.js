// The list of visits, one visit's page, the arrival and the monitoring station.

import * as clock from "./clock.js";
import { h, symbol } from "./dom.js";
import { notRestored } from "./end_state.js";
import { entryKey, onTest } from "./fold.js";
import { impairmentOf } from "./ids.js";
import { running } from "./outages.js";
import { linesOf, valvesOf } from "./pack.js";
import { answerWords, button, choice, choices, chosen, complain, field, linkButton, mark, row, rows, textOf, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { guideWord, language, languages, setLanguage, t } from "./words.js";

const STATION_MINUTES = 120;

/** All visits on this tablet, today's first. */
export function listScreen(app) {
  const visits = [...app.packs.keys()].map((id) => app.visit(id));
  visits.sort((a, b) => order(a).localeCompare(order(b)));
  const [here, other] = [visits.filter(isToday), visits.filter((visit) => !isToday(visit))];
  return {
    title: t("Visits of today"),
    nodes: [
      where(app.api.member?.name ?? "", clock.dayOf(clock.now(), language())),
      h("h1", {}, t("Visits of today")),
      changed(app),
      rows(t("Today: {n}", { n: here.length }), here.map((visit) => visitRow(app, visit)), here.length ? null : t("No visit is planned for you today. New ones come as soon as there is signal.")),
      other.length ? rows(t("Other days"), other.map((visit) => visitRow(app, visit))) : null,
      h("p", { class: "btn-row spaced" }, linkButton(t("Calculate"), address("calculate"))),
      h("div", { class: "btn-row spaced" }, languages().map(([code, name]) =>
        code === language() ? null : h("button", { type: "button", class: "btn", lang: code, onclick: () => setLanguage(code).then(() => app.show()) }, name)),
        h("button", { type: "button", class: "btn", "aria-pressed": String(isSunny()), onclick: () => app.setSun(!isSunny()) }, t("Contrast for the sun"))),
    ],
  };
}

function changed(app) {
  const place = h("section", { class: "left", hidden: true });
  import("./changes.js").then(({ fill }) => fill(app, place), () => {});
  return place;
}

function isSunny() {
  return document.documentElement.hasAttribute("data-sun");
}

function order(visit) {
  return `${visit.pack.visit.planned_on ?? ""} ${visit.pack.visit.planned_start ?? ""}`;
}

function isToday(visit) {
  return visit.picture.state === "open" || visit.pack.visit.planned_on === clock.today(visit.zone);
}

function visitRow(app, visit) {
  const { pack, picture, building } = visit;
  const start = pack.visit.planned_start ? clock.timeOf(pack.visit.planned_start, visit.zone, language()) : null;
  const day = pack.visit.planned_on ? clock.dayOf(pack.visit.planned_on, language()) : "";
  const when = [isToday(visit) ? null : day, start].filter(Boolean).join(", ");
  const shape = picture.state === "open" ? "st-visit" : picture.state === "planned" ? "st-due" : "st-order";
  return row(address("v", visit.id), shape, building.name,
    [when, pack.visit.title, stateWords(picture.state)].filter(Boolean).join(" · "), h("b", { class: "row-end" }, app.word(visit.id)));
}

function stateWords(state) {
  return { planned: null, open: t("begun"), handed_in: t("handed in"), reviewed: t("reviewed"), sealed: t("sealed"), cancelled: t("cancelled") }[state];
}

/** One visit: what comes next, then everything in it in water order. */
export function visitScreen(app, visit) {
  const { pack, picture, building } = visit;
  const open = linesOf(pack).filter(({ line }) => !answerOf(visit, line));
  const closed = isClosed(visit);
  return {
    title: building.name,
    nodes: [
      where(pack.visit.title, app.word(visit.id)),
      h("h1", {}, building.name),
      h("p", { class: "quiet" }, building.address),
      picture.opened ? null : accessNotes(building),
      picture.opened ? null : whereThingsAre(visit),
      standing(visit, closed),
      closed ? null : outageRows(visit),
      closed ? null : again(visit),
      besideRow(visit, closed),
      peopleRow(visit),
      closed || !picture.opened ? null : h("p", { class: "btn-row" }, linkButton(t("Calculate"), address("calculate"))),
      pack.systems.map((system) => system.groups.map((group) => groupRows(visit, system, group))),
      valvesOf(pack).map(({ group, valve }) => valveRows(visit, group, valve)),
      findingRows(visit),
      closed ? thumb(null, linkButton(t("All visits"), "#/")) : nextThumb(visit, open),
    ],
  };
}

/** Say whether a visit is handed in, or further: the office has it now. */
export function isClosed({ picture }) {
  return ["handed_in", "reviewed", "sealed", "cancelled"].includes(picture.state);
}

function accessNotes(building) {
  return h("div", { class: "notes" },
    building.access ? h("p", {}, building.access) : null,
    building.contact.name ? h("p", {}, `${building.contact.name} `, phone(building.contact.phone)) : null);
}

/** Return a telephone number that can be rung. */
export function phone(number) {
  return number ? h("a", { class: "phone", href: `tel:${number.replace(/[^\d+]/g, "")}` }, number) : "";
}

/** Return the way to the sketches and photos of a riser, else to the building's; null without any. */
export function whereLink(visit, groupId = null) {
  const all = visit.pack.sketches ?? [];
  const own = all.filter((one) => one.riser === groupId);
  const shown = own.length ? own : all.filter((one) => !one.riser);
  return shown.length ? linkButton(t("Where it is: {n}", { n: shown.length }), address("v", visit.id, "look", shown[0].id)) : null;
}

// Small pictures; their bytes are opened behind the screen.
function whereThingsAre(visit) {
  const all = visit.pack.sketches ?? [];
  if (!all.length) return null;
  const list = h("ul", { class: "sketches" });
  import("./sketches.js").then(({ fill }) => fill(list, visit, all));
  return h("section", {}, h("h2", {}, t("Where things are")), list);
}

function standing(visit, closed) {
  if (closed) return h("p", { class: "said" }, mark("pass", t("This visit is {state}.", { state: stateWords(visit.picture.state) })));
  if (visit.picture.left) return h("p", { class: "said" }, mark("impairment", t("Left as impaired")));
  return null;
}

function nextThumb(visit, open) {
  const to = (...parts) => address("v", visit.id, ...parts);
  if (!visit.picture.opened) return thumb(null, linkButton(t("I have arrived"), to("arrive"), { main: true }));
  const left = notRestored(visit);
  const next = open[0]
    ? linkButton(t("Next: {what}", { what: open[0].line.subject_name }), to("line", open[0].line.id), { main: true })
    : left.length ? linkButton(t("Restore: {n} left", { n: left.length }), to("left"), { main: true })
      : linkButton(t("Close the visit"), to("close"), { main: true });
  return thumb(null, next, linkButton(t("Something is wrong"), to("found")), linkButton(t("Find by label"), to("scan")), open[0] || left.length ? linkButton(t("Close the visit"), to("close")) : null);
}

// Work that goes on another day begins with an arrival of its own.
function again(visit) {
  const last = visit.picture.arrivals.at(-1);
  if (!last || clock.dayAt(last.payload.at, visit.zone) === clock.today(visit.zone)) return null;
  return h("p", { class: "btn-row" }, linkButton(t("Arrived again, day {n}", { n: visit.picture.arrivals.length + 1 }), address("v", visit.id, "arrive")));
}

function peopleRow(visit) {
  const here = (visit.pack.people ?? []).filter((one) => one.here).map((one) => one.name);
  return here.length ? rows(t("On this visit"), [row(address("v", visit.id, "people"), "st-visit", here.join(", "), t("who may sign, hand over"))]) : null;
}

function outageRows(visit) {
  const now = running(visit);
  const items = now.map((one) => row(address("v", visit.id, "out", one.id), "st-impaired", one.name, one.impaired ? t("impairment, since {day}, {time}", sinceWords(visit, one)) : t("water shut, since {day}, {time}", sinceWords(visit, one))));
  return [
    items.length ? rows(t("Out of service now"), items) : null,
    visit.picture.opened ? h("p", { class: "btn-row" }, linkButton(t("Shut water"), address("v", visit.id, "shut"))) : null,
  ];
}

function sinceWords(visit, one) {
  const at = new Date(one.since);
  return { day: clock.dayOf(at, language(), visit.zone || undefined), time: clock.timeOf(at, visit.zone, language()) };
}

/** Return the heads of a line's answer, worst first; null where there is none. */
export function answerOf(visit, line) {
  const heads = visit.picture.items.get(entryKey(line.subject.id, line.activity));
  return heads?.length ? heads : null;
}

function groupRows(visit, system, group) {
  const items = group.lines.map((line) => {
    const heads = answerOf(visit, line);
    const said = heads ? [...new Set(heads.map((head) => answerWords(head.payload.answer)))].join(" / ") : t("Not answered yet");
    return row(address("v", visit.id, "line", line.id), heads ? shapeOf(heads[0].payload.answer) : "st-unknown", line.subject_name, `${said}. ${t(line.task)}`);
  });
  const bulk = group.lines.filter((line) => line.bulk_ok && !line.readings.length && !answerOf(visit, line));
  const open = group.lines.filter((line) => !answerOf(visit, line)).length;
  const heading = group.name === system.name ? system.name : `${system.name}, ${group.name}`;
  return [
    rows(heading, items, group.location || null),
    (visit.pack.sketches ?? []).some((one) => one.riser === group.id) ? h("p", { class: "btn-row" }, whereLink(visit, group.id)) : null,
    visit.picture.opened && open && !isClosed(visit) ? h("p", { class: "btn-row" }, linkButton(t("Not on this visit: {n}", { n: open }), address("v", visit.id, "rest", group.id))) : null,
    bulk.length > 1 && !isClosed(visit) ? h("p", { class: "btn-row" }, linkButton(t("As last time: {n} together", { n: bulk.length }), address("v", visit.id, "bulk", group.id))) : null,
  ];
}

/** Return what a task is called at this valve: a wet riser is not tripped. */
export function taskWords(valve, task) {
  return task === "trip_test" && valve.config.type.startsWith("wet") ? t("Alarm and main drain test") : guideWord(`task.${task}`);
}

/** Return the shape that stands for an answer. */
export function shapeOf(answer) {
  return { pass: "st-order", seen_in_order: "st-order", fail: "st-critical", finding: "st-critical", could_not: "st-noaccess", not_fitted: "st-none" }[answer] ?? "st-unknown";
}

function valveRows(visit, group, valve) {
  const steps = visit.picture.steps.get(valve.device) ?? [];
  const tasks = valve.tasks.map((task) => row(address("v", visit.id, "guide", valve.device, task), steps.length ? "st-visit" : "system-valve-closed", taskWords(valve, task), steps.length ? t("{n} steps recorded", { n: steps.length }) : valve.name));
  const left = notRestored(visit).filter((one) => one.valve === valve).length;
  const list = steps.length ? [row(address("v", visit.id, "left"), left ? "st-impaired" : "st-order", t("End state"), left ? t("{n} not restored", { n: left }) : t("everything proven"))] : [];
  return rows(t("Guided, {name}", { name: group.name }), [...tasks, ...list]);
}

function besideRow(visit, closed) {
  if (!visit.picture.opened) return null;
  const notes = visit.picture.notes.length;
  return h("p", { class: "btn-row" }, whereLink(visit), closed ? null : linkButton(notes ? t("Notes: {n}", { n: notes }) : t("Note"), address("v", visit.id, "note")));
}

function findingRows(visit) {
  const here = visit.picture.findings.map((event) => {
    const { class: grade, text, location } = event.payload;
    const outage = [...visit.picture.impairments.entries()].find(([id]) => id === impairmentOf(event.payload.finding));
    const to = outage ? address("v", visit.id, "ring", outage[0]) : address("v", visit.id);
    return row(to, `st-${grade}`, text, [answerWords(grade), location].filter(Boolean).join(" · "));
  });
  const again = new Set(visit.picture.links.map((event) => event.payload.to));
  const before = visit.pack.findings.map((one) =>
    row(address("v", visit.id, "found", "-", one.subject.id, one.id), `st-${one.class}`, one.text, [again.has(one.id) ? t("found again today") : null, t("since {day}", { day: clock.dayOf(one.found_on, language()) }), one.location].filter(Boolean).join(" · ")));
  return [here.length ? rows(t("Found on this visit"), here) : null, before.length ? rows(t("Still open from before"), before) : null];
}

/** The arrival: who lets one in, and whether the owner was told. */
export function arriveScreen(app, visit) {
  const { building } = visit;
  const save = async () => {
    const contact = textOf(app.main, "contact");
    if (!complain(app.main.querySelector('[name="contact"]'), contact ? null : t("Name who let you in."))) return;
    await app.record(visit.id, "visit.open", { at: clock.instant(clock.now()), contact, weather: textOf(app.main, "weather") });
    const told = chosen(app.main, "told");
    if (told === "yes") await app.record(visit.id, "note.add", { text: t("Owner told before the start, by {name}.", { name: app.api.member.name }) });
    app.go("v", visit.id, "station");
  };
  return {
    title: t("Arrival"),
    nodes: [
      where(building.name, t("Arrival")),
      h("h1", {}, t("Who lets you in?")),
      accessNotes(building),
      whereThingsAre(visit),
      field(t("Contact"), "contact", { value: building.contact.name, required: true }),
      field(t("Weather, where it matters"), "weather"),
      choices(t("Is the owner told that you begin?"),
        choice("told", "yes", t("Told"), { note: [building.contact.name, building.contact.phone].filter(Boolean).join(", "), checked: true }),
        choice("told", "no", t("Not yet"))),
      thumb(t("The time is kept: {time}", { time: clock.timeOf(clock.now(), visit.zone, language()) }),
        button(t("Arrived"), save, { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

/** The monitoring station: on test with reference and end, and off again with what was read back. */
export function stationScreen(app, visit) {
  const running = onTest(visit.picture);
  return running ? offTest(app, visit, running) : putOnTest(app, visit);
}

function putOnTest(app, visit) {
  const { station } = visit.building;
  const until = new Date(clock.now().getTime() + STATION_MINUTES * 60_000);
  const save = async () => {
    const time = textOf(app.main, "until");
    if (!complain(app.main.querySelector('[name="until"]'), time ? null : t("Give the time until which the station expects signals."))) return;
    await app.record(visit.id, "visit.station", {
      state: "on", account: textOf(app.main, "account"), reference: textOf(app.main, "reference"),
      operator: textOf(app.main, "operator"), until: clock.instant(clock.momentAt(time, visit.zone)),
    });
    app.go("v", visit.id);
  };
  return {
    title: t("Station on test"),
    nodes: [
      where(visit.building.name, t("Station")),
      h("h1", {}, t("Put the station on test")),
      h("p", {}, t("Ring the monitoring station: "), phone(station.phone) || t("no number known")),
      h("p", { class: "caution" }, symbol("caution", ""), h("span", {}, guideWord("caution.on_test"))),
      field(t("Account"), "account", { value: station.account }),
      field(t("Reference they give"), "reference"),
      field(t("Operator"), "operator"),
      field(t("On test until"), "until", { type: "time", value: clock.timeOf(until, visit.zone), required: true }),
      thumb(null, button(t("On test"), save, { main: true }), linkButton(t("No signals today"), address("v", visit.id))),
    ],
  };
}

function offTest(app, visit, running) {
  const longer = async () => {
    const time = textOf(app.main, "longer");
    if (!complain(app.main.querySelector('[name="longer"]'), time ? null : t("Give the time until which the station expects signals."))) return;
    await app.record(visit.id, "visit.station", { state: "on", account: visit.building.station.account, operator: textOf(app.main, "operator"), until: clock.instant(clock.momentAt(time, visit.zone)) });
    app.go("v", visit.id);
  };
  const save = async () => {
    const signals = textOf(app.main, "signals");
    if (!complain(app.main.querySelector('[name="signals"]'), signals ? null : t("Write what the station read back."))) return;
    await app.record(visit.id, "visit.station", { state: "off", reference: textOf(app.main, "reference"), operator: textOf(app.main, "operator"), signals });
    app.go("v", visit.id);
  };
  const until = running.until ? clock.timeOf(running.until, visit.zone, language()) : "";
  return {
    title: t("Station off test"),
    nodes: [
      where(visit.building.name, t("Station")),
      h("h1", {}, t("Take the station off test")),
      h("p", {}, t("On test until {time}.", { time: until }), " ", phone(visit.building.station.phone)),
      field(t("Signals read back, with their times"), "signals", { lines: true, required: true }),
      field(t("Reference they give"), "reference"),
      field(t("Operator"), "operator"),
      h("details", { class: "why" }, h("summary", {}, t("It takes longer?")),
        h("p", {}, t("Ring the station before the time is over; what comes after it is taken for a real alarm.")),
        field(t("On test until"), "longer", { type: "time" }), button(t("On test for longer"), longer)),
      thumb(null, button(t("Off test"), save, { main: true }), linkButton(t("Leave it on test"), address("v", visit.id))),
    ],
  };
}
