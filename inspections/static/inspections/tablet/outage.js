// Water shut: who stays at the valve, the steps owed while it is shut, and what proves it open again.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { phone } from "./visit.js";
import { newId } from "./ids.js";
import { ringRow } from "./finding.js";
import { asksForFlow, flowHeads, impairmentFrom, isValve, lasted, limitOf, outageOf, proofsOf, running, subjectOf, systemOf, VALVE_OPEN } from "./outages.js";
import { subjectsOf } from "./pack.js";
import { answerWords, button, caution, choice, choices, chosen, complain, field, linkButton, mark, textOf, thumb, where, why } from "./parts.js";
import { address } from "./shell.js";
import { decimal } from "./units.js";
import { language, t } from "./words.js";

const HOUR_MS = 3_600_000;

/** Shut water, or write down what was found shut: which, what is out, who stays, who was told. */
export function shutScreen(app, visit) {
  const { building } = visit;
  const subjects = inOrder(visit);
  const others = running(visit);
  const save = () => shut(app, visit, subjects, others);
  return {
    title: t("Shut water"),
    nodes: [
      where(building.name, t("Water")),
      h("h1", {}, t("What is shut?")),
      others.length ? [
        caution(t("Already out of service in this building: {what}. A second valve on the same supply can leave both without water.", { what: others.map((one) => `${one.name} (${lasted(one.since)})`).join("; ") })),
        field(t("Why is another one shut all the same?"), "second", { lines: true }),
      ] : null,
      caution(t("Before a valve is turned: the owner and the station are told, hot work stops, and somebody can open it again at once. Local codes and the authority decide what else.")),
      h("div", { class: "field" }, h("label", { for: "f-item" }, t("Valve, riser or system")),
        h("select", { id: "f-item", name: "item", class: "input" }, subjects.map((one, at) => h("option", { value: at }, [one.name, one.location, systemName(visit, one)].filter(Boolean).join(", "))))),
      choices(t("How does it stand?"),
        choice("how", "attended", t("I shut it for work"), { note: t("somebody stays at the valve until it is open again"), checked: true }),
        choice("how", "found", t("Found shut"), { note: t("an impairment; since when is not known") }),
        choice("how", "left", t("Out of service, nobody at it"), { note: t("an impairment from now") })),
      field(t("What is out of service?"), "extent", { lines: true, hint: t("Floors, areas, systems without water") }),
      field(t("Who stays at the valve?"), "person", { value: app.api.member?.name ?? "" }),
      choices(t("Who is told?"),
        choice("told", "owner", t("Owner"), { type: "checkbox", note: [building.contact.name, building.contact.phone].filter(Boolean).join(", ") }),
        choice("told", "monitoring_station", t("Monitoring station"), { type: "checkbox", note: building.station.phone })),
      thumb(t("The clock starts now: {time}", { time: clock.timeOf(clock.now(), visit.zone, language()) }),
        button(t("Shut: start the clock"), save, { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function systemName(visit, one) {
  const system = systemOf(visit, one.subject.id);
  return system === one.subject.id ? "" : visit.pack.items.find((item) => item.id === system)?.name ?? "";
}

// Valves first: they are what is turned.
function inOrder(visit) {
  const rank = (one) => (isValve(visit, one.subject.id) ? 0 : ["riser", "system"].indexOf(one.subject.kind) + 1 || 3);
  return subjectsOf(visit.pack).filter((one) => rank(one) < 3).sort((a, b) => rank(a) - rank(b));
}

async function shut(app, visit, subjects, others) {
  const root = app.main;
  const [extent, person, how] = [textOf(root, "extent"), textOf(root, "person"), chosen(root, "how")];
  const attended = how === "attended";
  const second = textOf(root, "second");
  if (others.length && !complain(root.querySelector('[name="second"]'), second ? null : t("Say why, in a few words."))) return;
  if (!complain(root.querySelector('[name="extent"]'), extent ? null : t("Say what is without water."))) return;
  if (!complain(root.querySelector('[name="person"]'), person || !attended ? null : t("Name who stays at the valve."))) return;
  const told = [...root.querySelectorAll('[name="told"]:checked')].map((box) => box.value);
  const { subject } = subjects[Number(root.querySelector('[name="item"]').value)];
  const id = newId();
  const on = { stream: "impairment", stream_id: id };
  const now = clock.instant(clock.now());
  if (attended) await app.record(visit.id, "outage.start", { outage: id, subject, extent, attended, person, started_at: now }, on);
  else await app.record(visit.id, "impairment.start", { impairment: id, subject, extent, nature: "emergency", unknown_start: how === "found", started_at: how === "found" ? null : now }, on);
  for (const who of told) await app.record(visit.id, "impairment.notice", { impairment: id, told: who, name: nameOf(visit, who), how: "phone", at: now }, on);
  if (second) await app.record(visit.id, "note.add", { text: t("Another valve shut while one is out of service: {why}", { why: second }), subject });
  if (attended) app.go("v", visit.id, "out", id);
  else app.go("v", visit.id, "ring", id);
}

function nameOf(visit, who) {
  return (who === "owner" ? visit.building.contact.name : "") || t("on the telephone");
}

/** One time out of service: its clock, the steps owed, and its end by proof. */
export function outageScreen(app, visit, id) {
  const one = outageOf(visit, id);
  if (!one) return gone(visit);
  const { entry } = one;
  const begun = new Date(one.since);
  return {
    title: one.name,
    nodes: [
      where(visit.building.name, t("since {time}", { time: clock.timeOf(begun, visit.zone, language()) })),
      h("h1", {}, one.ended ? t("Restored: {name}", { name: one.name }) : t("Out of service: {name}", { name: one.name })),
      one.ended ? null : h("p", { class: "clock-big" }, h("b", { class: "outage-clock", "data-since": one.since }, lasted(one.since))),
      h("p", { class: "visit-say" }, entry ? (entry.shut ?? entry.started).payload.extent ?? entry.started.payload.text : ""),
      standing(visit, one),
      one.ended ? afterwards(app, visit, one) : [owed(app, visit, one), restoration(app, visit, one), withoutProof(app, visit, one)],
      thumb(null, ...acts(app, visit, one), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function gone(visit) {
  return { title: t("Restored"), nodes: [where(visit.building.name), h("h1", {}, t("This has ended")), thumb(null, linkButton(t("Back to the visit"), address("v", visit.id), { main: true }))] };
}

function standing(visit, one) {
  if (one.ended) {
    const missing = one.entry.ended.payload.result === "restored_proof_missing";
    return h("p", { class: "said" }, mark(missing ? "not_proven" : "proven", missing ? t("Restored, proof missing") : t("Restored and proven")));
  }
  if (one.impaired) return h("p", { class: "said" }, mark("impairment"), " ", t("It ends only with proof that the water is on again."));
  const time = clock.timeOf(new Date(limitOf(visit, one)), visit.zone, language());
  const { person } = one.entry.shut.payload;
  return h("p", { class: "said" }, t("{person} stays at the valve. From {time} on it counts as an impairment.", { person, time }));
}

// What is owed while it lasts; each step is done once it stands in the record.
function owed(app, visit, one) {
  const { building } = visit;
  const people = [
    ["owner", t("Owner"), building.contact.name, building.contact.phone],
    ["monitoring_station", t("Monitoring station"), "", building.station.phone],
    ...(one.impaired ? [["authority", t("Authority having jurisdiction"), building.authority.name, building.authority.phone]] : []),
  ];
  return h("section", {},
    h("h2", {}, t("Owed while it is shut")),
    h("ul", { class: "ring" },
      tagRow(app, visit, one, "hung"),
      people.map((person) => ringRow(app, visit, one.id, one.entry, person)),
      one.impaired ? h("li", {}, h("b", {}, t("Others to tell")), linkButton(t("Go up and ring now"), address("v", visit.id, "ring", one.id))) : null,
      watchRow(app, visit, one)));
}

function tagRow(app, visit, one, state) {
  const tag = one.entry?.tags.findLast((event) => event.payload.state === state);
  const words = state === "hung" ? t("Tag hung") : t("Tag taken down");
  if (tag) {
    const { place, at } = tag.payload;
    return h("li", {}, h("b", {}, words), h("p", {}, mark("proven", `${place}, ${clock.timeOf(at, visit.zone, language())}`)));
  }
  const box = `tag-${state}`;
  const save = async () => {
    const place = textOf(app.main, box);
    if (!complain(app.main.querySelector(`[name="${box}"]`), place ? null : t("Say where the tag hangs."))) return;
    await app.record(visit.id, "impairment.tag", { impairment: one.id, state, place, at: clock.instant(clock.now()) }, { stream: "impairment", stream_id: one.id });
    app.showAgain();
  };
  return h("li", {}, h("b", {}, words), field(t("Where"), box, { value: t("at {name}", { name: one.name }) }), button(words, save));
}

function watchRow(app, visit, one) {
  const hours = visit.building.impairment_hours;
  const last = one.entry?.watches.at(-1);
  if (last) return h("li", {}, h("b", {}, t("Fire watch")), h("p", {}, mark("proven", t("{who}, from {time}", { who: last.payload.who, time: clock.timeOf(last.payload.from, visit.zone, language()) }))));
  if (!hours) return null;
  const due = one.since + hours * HOUR_MS;
  const time = clock.timeOf(new Date(due), visit.zone, language());
  const save = async () => {
    const who = textOf(app.main, "watch");
    if (!complain(app.main.querySelector('[name="watch"]'), who ? null : t("Name who keeps the watch."))) return;
    await app.record(visit.id, "impairment.watch", { impairment: one.id, who, from: clock.instant(clock.now()) }, { stream: "impairment", stream_id: one.id });
    app.showAgain();
  };
  const now = clock.now() >= due;
  return h("li", {}, h("b", {}, t("Fire watch")),
    h("p", {}, now ? mark("impairment", t("owed since {time}", { time })) : t("owed from {time} on, after {n} hours; earlier where the authority says so", { time, n: hours })),
    field(t("Who keeps the watch"), "watch"), button(t("The watch begins"), save));
}

function restoration(app, visit, one) {
  const proofs = proofsOf(visit, one);
  if (!asksForFlow(visit, one)) {
    return h("section", {}, h("h2", {}, t("Proof")), proofs.all.length
      ? h("p", {}, mark("proven", t("{n} entries since then show it in order", { n: proofs.all.length })))
      : h("p", {}, t("Prove its end state, or answer its test, on this visit; then it can end.")));
  }
  return h("section", {}, h("h2", {}, t("Proof that the water is on again")),
    h("ul", { class: "ring" }, valveRow(app, visit, one, proofs.valve), flowRow(app, visit, one, proofs)));
}

function valveRow(app, visit, one, proof) {
  const words = t("Valve seen open and secured");
  if (proof) return h("li", {}, h("b", {}, words), h("p", {}, mark("proven"), ` ${proof.payload.value ?? ""}`));
  const device = one.entry ? subjectOf(one.entry).id : one.subject;
  const heads = visit.picture.proofs.get(`${device} ${VALVE_OPEN}`) ?? [];
  const save = async () => {
    const value = textOf(app.main, "open");
    if (!complain(app.main.querySelector('[name="open"]'), value ? null : t("Write down the turns and how it is secured."))) return;
    await app.record(visit.id, "proof.set", { device, item: VALVE_OPEN, result: "proven", value, reason: heads.length ? t("Opened again") : "" }, { seen: heads.map((head) => head.id) });
    app.showAgain();
  };
  return h("li", {}, h("b", {}, words), field(t("Turns, lock, seal or tamper switch"), "open"), button(t("Seen open"), save));
}

function flowRow(app, visit, one, { valve, flow }) {
  const test = visit.pack.flow_test;
  const words = t(test.task);
  if (flow && valve) return h("li", {}, h("b", {}, words), h("p", {}, mark("proven", answerWords(flow.payload.answer))));
  const device = one.entry ? subjectOf(one.entry) : { kind: "device", id: one.subject };
  const heads = flowHeads(visit, device.id);
  const save = async (answer) => {
    const given = [];
    for (const reading of test.readings) {
      const box = app.main.querySelector(`[name="flow-${reading.name}"]`);
      const figure = decimal(box.value);
      const wrong = figure === null ? t("{name}: {value} is no number; accepted: digits such as 82 or 62.5", { name: t(reading.label), value: box.value || "-" }) : null;
      if (!complain(box, wrong)) return;
      given.push({ name: reading.name, typed: `${box.value.trim()} ${reading.unit}`, value: { value: figure, unit: reading.unit } });
    }
    for (const reading of given) await app.record(visit.id, "reading.add", { subject: device, activity: test.activity, ...reading });
    await app.record(visit.id, "item.set", { subject: device, activity: test.activity, answer, reason: heads.length ? t("Tested again") : "" }, { seen: heads.map((head) => head.id) });
    app.showAgain();
  };
  return h("li", {}, h("b", {}, words),
    h("p", { class: "quiet" }, test.edition ? t("By the edition of {year} adopted here.", { year: test.edition }) : t("The edition adopted here is not known: the stricter test.")),
    heads.length ? h("p", {}, mark(heads[0].payload.answer)) : null,
    valve ? [test.readings.map((reading) => field(`${t(reading.label)}, ${reading.unit}`, `flow-${reading.name}`)),
      h("div", { class: "btn-row" }, button(answerWords("pass"), () => save("pass")), button(answerWords("fail"), () => save("fail")))]
      : h("p", {}, t("First open the valve.")));
}

function acts(app, visit, one) {
  if (one.ended) return [];
  const proofs = proofsOf(visit, one);
  const flows = asksForFlow(visit, one);
  const named = flows ? [proofs.valve, proofs.flow] : proofs.all;
  const proven = named.length && named.every(Boolean);
  const made = [];
  if (proven) made.push(button(t("Restored: stop the clock"), () => end(app, visit, one, { result: "restored_proven", proofs: named.map((event) => event.id) }), { main: true }));
  if (one.entry?.shut && !one.entry.started) made.push(button(t("Nobody stays: impairment"), () => unattended(app, visit, one), { harm: true }));
  return made;
}

async function end(app, visit, one, given) {
  const shutHere = Boolean(one.entry?.shut);
  await app.record(visit.id, shutHere ? "outage.end" : "impairment.end", { [shutHere ? "outage" : "impairment"]: one.id, ...given }, { stream: "impairment", stream_id: one.id });
  app.go("v", visit.id, "out", one.id);
}

async function unattended(app, visit, one) {
  await app.record(visit.id, "impairment.start", impairmentFrom(one.id, one.entry), { stream: "impairment", stream_id: one.id });
  app.go("v", visit.id, "ring", one.id);
}

// Whoever holds a licence may say so without proof; a finding stays open until there is one.
function withoutProof(app, visit, one) {
  const { licence } = app.api.member;
  if (!licence) return h("p", { class: "quiet" }, t("Without full proof only a licensed person ends it."));
  const save = async () => {
    const reason = textOf(app.main, "unproven");
    if (!complain(app.main.querySelector('[name="unproven"]'), reason ? null : t("Say why there is no proof."))) return;
    await end(app, visit, one, { result: "restored_proof_missing", reason, licence });
  };
  return h("details", { class: "why" }, h("summary", {}, t("Restored, but proof is missing?")),
    h("p", {}, t("Your licence {licence} goes with it, and a finding stays open until there is proof.", { licence })),
    field(t("Why is there no proof?"), "unproven", { lines: true }), button(t("Restored, proof missing"), save, { harm: true }));
}

function afterwards(app, visit, one) {
  const told = [...new Set(one.entry.notices.map((event) => event.payload.told))].length;
  return h("section", {}, h("h2", {}, t("Owed now")),
    h("ul", { class: "ring" }, tagRow(app, visit, one, "taken_down")),
    h("p", {}, told ? t("Tell everybody who was told that it is restored: {n}.", { n: told }) : null),
    h("p", {}, phone(visit.building.contact.phone), " ", phone(visit.building.station.phone)), why(t("A tag that another firm or an officer hung is not yours to take down; local codes say who may.")));
}
