// Closing a visit: what is missing, the summary as one tells it, signatures, the hand-in.

import * as clock from "./clock.js";
import { h, s, symbol } from "./dom.js";
import { notRestored, sentence } from "./end_state.js";
import { entryKey, onTest, shownHash, standingSignature } from "./fold.js";
import { startImpairment } from "./finding.js";
import { holding, impairmentFrom, lasted, running } from "./outages.js";
import { linesOf, valvesOf } from "./pack.js";
import { answerWords, button, caution, choice, choices, chosen, complain, field, linkButton, mark, row, rows, textOf, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { answerOf } from "./visit.js";
import { language, t } from "./words.js";

const PLACE_MS = 6000;
const PAD = { width: 600, height: 200 };
const MOST_POINTS = 1500;
const OF_OWNER = ["owner_rep", "refused", "absent"];

/** Return what a visit still lacks: {words, to, shape, riser}, riser by riser, its own matters last. */
export function lacking(visit) {
  const { id, pack, picture } = visit;
  const to = (...parts) => address("v", id, ...parts);
  const lacks = holding(visit).map((one) => ({ words: t("{name}: water still shut", { name: one.name }), to: to("out", one.id), shape: "st-impaired", riser: t("Water still shut") }));
  for (const { valve, item, heads } of notRestored(visit)) {
    if (picture.left && heads.length) continue;
    const { group } = valvesOf(pack).find((one) => one.valve.device === valve.device);
    lacks.push({ riser: riserOf(pack, group), words: sentence(t(item.words)), to: to("end", valve.device, item.code), shape: heads.length ? "st-impaired" : "st-unknown" });
  }
  for (const { line, group } of linesOf(pack)) {
    const heads = answerOf(visit, line);
    const riser = riserOf(pack, group);
    if (!heads) lacks.push({ riser, words: `${line.subject_name}, ${t(line.task)}`, to: to("line", line.id), shape: "st-unknown" });
    else if (new Set(heads.map((head) => head.payload.answer)).size > 1) lacks.push({ riser, words: t("{name}: two answers stand, settle it", { name: line.subject_name }), to: to("line", line.id), shape: "st-both" });
    else if (isUnread(visit, line, heads)) lacks.push({ riser, words: t("{name}: a reading is missing", { name: line.subject_name }), to: to("line", line.id), shape: "st-unknown" });
  }
  const itself = t("The visit itself");
  if (!picture.opened) lacks.push({ riser: itself, words: t("Arrival: time and contact"), to: to("arrive"), shape: "st-unknown" });
  if (onTest(picture)) lacks.push({ riser: itself, words: t("Monitoring station still on test"), to: to("station"), shape: "st-test" });
  return byRiser(lacks);
}

function riserOf(pack, group) {
  const system = pack.systems.find((one) => one.groups.includes(group));
  return system && system.name !== group.name ? `${system.name}, ${group.name}` : group.name;
}

// What belongs to one riser stands together, its end state first.
function byRiser(lacks) {
  const found = new Map(lacks.map((one) => [one.riser, []]));
  for (const one of lacks) found.get(one.riser).push(one);
  return [...found.values()].flat();
}

function missingRows(lacks) {
  const risers = [...new Set(lacks.map((one) => one.riser))];
  return risers.map((riser) => {
    const own = lacks.filter((one) => one.riser === riser);
    return rows(t("{riser}: {n} missing", { riser, n: own.length }), own.map((lack) => row(lack.to, lack.shape, lack.words)));
  });
}

function isUnread(visit, line, heads) {
  if (["could_not", "not_fitted"].includes(heads[0].payload.answer)) return false;
  const read = new Set((visit.picture.readings.get(entryKey(line.subject.id, line.activity)) ?? []).map((event) => event.payload.name));
  return line.readings.some((reading) => reading.required && !read.has(reading.name));
}

/** The close: what is missing is named first, then the summary, then who signs. */
export function closeScreen(app, visit) {
  const { picture } = visit;
  const lacks = lacking(visit);
  const technician = standingSignature(picture);
  const owner = picture.signatures.findLast((event) => OF_OWNER.includes(event.payload.role));
  const refused = app.queue.refused.filter((one) => one.event.visit === visit.id);
  return {
    title: t("Close the visit"),
    nodes: [
      where(visit.building.name, app.word(visit.id)),
      h("h1", {}, lacks.length ? t("Missing: {n}", { n: lacks.length }) : t("Nothing is missing")),
      refused.map((one) => refusedBox(app, one)),
      missingRows(lacks),
      lacks.length ? null : summary(visit),
      lacks.length ? null : rows(t("Signatures"), [
        row(address("v", visit.id, "sign", "technician"), technician ? "st-order" : "st-unknown", t("Technician"), signedWords(visit, technician)),
        row(address("v", visit.id, "sign", "owner"), owner ? "st-order" : "st-unknown", t("Owner's representative"), signedWords(visit, owner)),
      ]),
      closeThumb(app, visit, lacks, technician, owner),
    ],
  };
}

/** What stands in place of a screen that records, once the visit is handed in: it is frozen here. */
export function frozenScreen(app, visit, name, id) {
  const found = name === "line" ? linesOf(visit.pack).find(({ line }) => line.id === id)?.line : null;
  const heads = found ? answerOf(visit, found) ?? [] : [];
  const read = found ? visit.picture.readings.get(entryKey(found.subject.id, found.activity)) ?? [] : [];
  const refused = app.queue.refused.filter((one) => one.event.visit === visit.id);
  return {
    title: found?.subject_name ?? t("Handed in: nothing is changed here any more"),
    nodes: [
      where(visit.building.name, app.word(visit.id)),
      h("h1", {}, found?.subject_name ?? t("Handed in: nothing is changed here any more")),
      refused.map((one) => refusedBox(app, one)),
      found ? h("p", { class: "visit-say" }, t(found.task)) : null,
      found ? h("p", { class: "said" }, heads.length ? heads.map((head) => [mark(head.payload.answer), ` ${head.payload.reason ?? ""}`]) : t("Not answered")) : null,
      read.length ? h("ul", { class: "plain" }, read.map((event) => h("li", {}, `${label(found, event.payload.name)}: `, h("b", {}, event.payload.typed)))) : null,
      found ? h("p", {}, t("Handed in: nothing is changed here any more")) : null,
      h("p", { class: "quiet" }, t("What was left out or mistyped goes to the office: it corrects the entry and keeps both.")),
      thumb(null, linkButton(t("Back to the visit"), address("v", visit.id), { main: true })),
    ],
  };
}

function signedWords(visit, event) {
  if (!event) return t("missing");
  const { role, name, reason } = event.payload;
  const time = event.wall ? clock.timeOf(event.wall, visit.zone, language()) : "";
  const words = { refused: t("refused: {reason}", { reason }), absent: t("absent: {reason}", { reason }) }[role] ?? name;
  return `${words} ${time}`;
}

function closeThumb(app, visit, lacks, technician, owner) {
  const back = linkButton(t("Back to the visit"), address("v", visit.id));
  if (lacks.length) {
    const left = (holding(visit).length || (notRestored(visit).length && !visit.picture.left)) ? linkButton(t("Leave as impaired"), address("v", visit.id, "leave")) : null;
    return thumb(null, h("a", { class: "btn btn-main", href: lacks[0].to }, t("Go to the first")), left, back);
  }
  if (!technician) return thumb(null, linkButton(t("Sign as technician"), address("v", visit.id, "sign", "technician"), { main: true }), back);
  if (!owner) return thumb(null, linkButton(t("Owner's representative"), address("v", visit.id, "sign", "owner"), { main: true }), back);
  return thumb(t("Handed in, it goes to review. What is on this tablet is sent when there is signal."),
    button(t("Hand in"), () => handIn(app, visit.id), { main: true }), back);
}

function refusedBox(app, one) {
  const lacks = (one.missing ?? []).map((lack) => h("li", {}, lack.sentence));
  const read = async () => { await app.queue.acknowledge(one); app.show(); };
  return h("div", { class: "caution" }, symbol("caution", ""), h("div", {}, h("b", {}, t("Not accepted: {what}", { what: one.reason ?? "" })), lacks.length ? h("ul", { class: "plain" }, lacks) : null, button(t("Read"), read)));
}

/** Return the summary in the order one tells it: what was found, what was measured, how it is left. */
function summary(visit) {
  const { picture, pack } = visit;
  const lines = linesOf(pack);
  const counts = new Map();
  for (const { line } of lines) {
    const answer = answerOf(visit, line)[0].payload.answer;
    counts.set(answer, (counts.get(answer) ?? 0) + 1);
  }
  const outages = running(visit).filter((one) => one.own);
  const steps = [...picture.steps.values()].flat();
  const off = steps.filter((event) => event.payload.deviation);
  const found = picture.findings.map((event) => h("li", {}, mark(event.payload.class), ` ${event.payload.text}`));
  const read = lines.flatMap(({ line }) => (picture.readings.get(entryKey(line.subject.id, line.activity)) ?? []).map((event) =>
    h("li", {}, `${line.subject_name}, ${label(line, event.payload.name)}: `, h("b", {}, event.payload.typed))));
  return h("section", { class: "sheet summary" },
    h("h2", {}, outages.length || picture.left ? t("Left as impaired") : t("In service as left")),
    outages.length ? h("ul", {}, outages.map((one) => h("li", {}, t("{name}: out of service for {time}", { name: one.name, time: lasted(one.since) })))) : null,
    h("p", {}, [...counts].map(([answer, n]) => `${n} ${answerWords(answer).toLowerCase()}`).join(", ")),
    found.length ? [h("h3", {}, t("Found")), h("ul", {}, found)] : h("p", {}, t("Nothing was found.")),
    read.length ? [h("h3", {}, t("Measured")), h("ul", {}, read)] : null,
    steps.length ? [h("h3", {}, t("Trip test and restoration")), h("p", {}, t("{n} steps recorded, {m} otherwise than in order.", { n: steps.length, m: off.length })), h("ul", {}, off.map((event) => h("li", {}, event.payload.reason)))] : null,
    picture.photos.length ? h("p", {}, t("Photos: {n}", { n: picture.photos.length })) : null);
}

function label(line, name) {
  return t(line.readings.find((one) => one.name === name)?.label ?? name);
}

/** One signature: the technician's, or the owner's representative who signs, refuses or is absent. */
export function signScreen(app, visit, who) {
  if (lacking(visit).length) return closeScreen(app, visit);
  const technician = who === "technician";
  const shown = h("p", { class: "hash", "aria-label": t("Check code of what is shown") }, "…");
  shownHash(visit.picture.counted).then((hash) => { shown.textContent = hash.match(/.{1,8}/g).join(" "); });
  const save = async () => {
    const role = technician ? "technician" : chosen(app.main, "role");
    const [name, reason] = [textOf(app.main, "name"), textOf(app.main, "reason")];
    if (!complain(app.main.querySelector('[name="name"]'), name || !["technician", "owner_rep"].includes(role) ? null : t("Type the name in full."))) return;
    if (!technician && !complain(app.main.querySelector('[name="reason"]'), reason || role === "owner_rep" ? null : t("Say why there is no signature."))) return;
    const strokes = pad.strokes();
    const place = app.main.querySelector('[name="place"]')?.checked ? await placeNow() : null;
    const hash = await shownHash(app.visit(visit.id).picture.counted);
    await app.record(visit.id, "signature.add", { role, name: role === "refused" || role === "absent" ? null : name, capacity: textOf(app.main, "capacity"), reason: role === "owner_rep" ? "" : reason, shown: hash, place, strokes }, { version: place || strokes ? 2 : 1 });
    app.go("v", visit.id, "close");
  };
  const pad = new Pad();
  const licence = app.api.member.licence;
  const licensed = technician && !licence ? (visit.pack.people ?? []).filter((one) => one.here && one.licence) : [];
  if (licensed.length) return notYours(visit, licensed);
  return {
    title: technician ? t("Technician signs") : t("Owner's representative"),
    nodes: [
      where(visit.building.name, t("Signature")),
      h("h1", {}, technician ? t("Technician signs") : t("Owner's representative")),
      summary(visit),
      technician && !licence ? caution(t("The office has no licence of yours that holds today. The review looks at that.")) : null,
      technician ? null : choices(t("Who is there?"),
        choice("role", "owner_rep", t("Signs"), { checked: true, note: t("has seen this summary") }),
        choice("role", "refused", t("Refuses to sign")),
        choice("role", "absent", t("Nobody there"))),
      field(t("Name"), "name", { value: technician ? app.api.member.name : visit.building.contact.name }),
      field(t("Capacity"), "capacity", { value: technician ? [t("Technician"), licence].filter(Boolean).join(", ") : "" }),
      technician ? null : field(t("Reason, where nobody signs"), "reason"),
      pad.node,
      navigator.geolocation ? h("div", { class: "choices spaced" }, choice("place", "yes", t("Keep where it is signed"), { type: "checkbox", note: t("the device asks first; without it the signature counts all the same") })) : null,
      h("p", { class: "caption" }, t("Check code of what is shown")), shown,
      thumb(t("The name is put under what is shown above, by its check code."), button(t("Sign"), save, { main: true }), linkButton(t("Back"), address("v", visit.id, "close"))),
    ],
  };
}

/** Room to sign with a finger. It may stay empty: the typed name counts. */
class Pad {
  constructor() {
    this.lines = [];
    this.path = s("path", {});
    const board = s("svg", {
      class: "pad", viewBox: `0 0 ${PAD.width} ${PAD.height}`, role: "img", "aria-label": t("Room to sign with a finger"),
      onpointerdown: (event) => this.begin(event), onpointermove: (event) => this.go(event), onpointerup: () => { this.line = null; }, onpointercancel: () => { this.line = null; },
    }, this.path);
    const clear = () => { this.lines = []; this.draw(); };
    this.node = h("section", {}, h("h2", {}, t("Signature")), h("p", { class: "hint" }, t("With a finger; it may stay empty, the typed name counts.")), board, h("p", { class: "btn-row" }, button(t("Clear the signature"), clear)));
  }

  begin(event) {
    event.currentTarget.setPointerCapture(event.pointerId);
    this.line = [];
    this.lines.push(this.line);
    this.go(event);
  }

  go(event) {
    if (!this.line || this.lines.flat().length >= MOST_POINTS) return;
    const { left, top, width, height } = event.currentTarget.getBoundingClientRect();
    const within = (value, most) => Math.min(Math.max(Math.round(value), 0), most);
    const point = `${within(((event.clientX - left) / width) * PAD.width, PAD.width)},${within(((event.clientY - top) / height) * PAD.height, PAD.height)}`;
    if (this.line.at(-1) !== point) this.line.push(point);
    this.draw();
  }

  draw() {
    this.path.setAttribute("d", this.lines.map((line) => `M${line.join(" L")}`).join(" "));
  }

  /** Return the points of each stroke, strokes apart by a semicolon; null where nothing is drawn. */
  strokes() {
    return this.lines.map((line) => line.join(" ")).filter(Boolean).join(";") || null;
  }
}

// Where the device is, if it may and can say so soon; in a basement it often cannot.
function placeNow() {
  return new Promise((resolve) => {
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => resolve({ latitude: coords.latitude.toFixed(5), longitude: coords.longitude.toFixed(5), accuracy_m: String(Math.ceil(coords.accuracy)) }),
      () => resolve(null),
      { enableHighAccuracy: true, timeout: PLACE_MS, maximumAge: 600_000 });
  });
}

// An apprentice's work is kept as the apprentice's; the licensed person on the visit signs.
function notYours(visit, licensed) {
  const names = licensed.map((one) => one.name).join(", ");
  return {
    title: t("Technician signs"),
    nodes: [
      where(visit.building.name, t("Signature")),
      h("h1", {}, t("{names} signs", { names })),
      h("p", {}, t("The licensed person on this visit signs on a tablet of their own, which holds all that is sent. Who recorded what is kept.")),
      summary(visit),
      thumb(null, linkButton(t("Back to the visit"), address("v", visit.id), { main: true })),
    ],
  };
}

async function handIn(app, visitId) {
  const { picture } = app.visit(visitId);
  const events = picture.counted.map((event) => event.id);
  const photos = [...new Set(picture.photos.map((event) => event.payload.sha256))];
  await app.record(visitId, "visit.hand_in", { manifest: { events, count: events.length, photos }, shown: await shownHash(picture.counted) });
  app.say(t("Handed in. Keep this tablet on until it says Received."));
  app.go("v", visitId);
}

/** Leaving with something not restored: said in words, with the notices that are owed. */
export function leaveScreen(app, visit) {
  const left = notRestored(visit);
  const shut = holding(visit);
  const save = async () => {
    const reason = textOf(app.main, "reason");
    if (!complain(app.main.querySelector('[name="reason"]'), reason ? null : t("Say why it is left impaired."))) return;
    for (const { id, entry } of shut.filter((one) => !one.entry.started)) {
      await app.record(visit.id, "impairment.start", impairmentFrom(id, entry), { stream: "impairment", stream_id: id });
    }
    const found = running(visit).filter((one) => one.own).map((one) => one.id);
    const before = (visit.pack.impairments ?? []).map((one) => one.id);
    const named = [...new Set([...found, ...(found.length ? [] : before)])];
    const valve = left[0]?.valve;
    const subject = valve ? { kind: "device", id: valve.device } : { kind: "building", id: visit.building.id };
    if (!named.length) named.push(await startImpairment(app, visit, { subject, extent: left.map((one) => one.item.words).join("; ") || reason }));
    await app.record(visit.id, "visit.leave", { impairments: named, reason, told: textOf(app.main, "told") });
    app.go("v", visit.id, "ring", named[0]);
  };
  return {
    title: t("Leave as impaired"),
    nodes: [
      where(visit.building.name),
      h("h1", {}, t("Leave as impaired")),
      caution(t("Whoever leaves a system impaired says so to the owner, the authority and the station, and a watch follows where they ask for it.")),
      shut.length ? rows(t("Water still shut"), shut.map((one) => row(address("v", visit.id, "out", one.id), "st-impaired", one.name, lasted(one.since)))) : null,
      rows(t("Not restored: {n}", { n: left.length }), left.map(({ valve, item }) => row(address("v", visit.id, "end", valve.device, item.code), "st-impaired", sentence(t(item.words))))),
      field(t("Why is it left impaired?"), "reason", { lines: true }),
      field(t("Whom did you tell, and when?"), "told"),
      thumb(null, button(t("Leave as impaired"), save, { harm: true }), linkButton(t("Back to the list"), address("v", visit.id, "left"), { main: true })),
    ],
  };
}
