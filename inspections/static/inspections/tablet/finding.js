// Something wrong: picture, item, what is seen, how bad, and who is told; an impairment rings at once.

import * as clock from "./clock.js";
import { h, symbol } from "./dom.js";
import { impairmentOf, newId } from "./ids.js";
import { linesOf, subjectsOf } from "./pack.js";
import { answerWords, button, caution, choice, choices, chosen, complain, field, linkButton, mark, textOf, thumb, where } from "./parts.js";
import { photoOf, photoPayload } from "./photo.js";
import { address } from "./shell.js";
import { next } from "./lines.js";
import { phone } from "./visit.js";
import { language, t } from "./words.js";

const CLASSES = ["impairment", "critical", "noncritical", "observation"];

function meaning(grade) {
  return {
    impairment: t("The system, or part of it, cannot work. Tell people now; tags and watch follow."),
    critical: t("Can affect how it works if left. The owner is told today."),
    noncritical: t("No effect on how it works, still to be corrected."),
    observation: t("Nothing to correct; worth knowing."),
  }[grade];
}

/** A new finding: from a line that failed, on an item found by its label (`of`, its id), or on any. */
export function findingScreen(app, visit, lineId = null, itemId = null, againId = null) {
  const from = linesOf(visit.pack).find(({ line }) => line.id === lineId)?.line ?? null;
  const onItem = visit.pack.items.find((item) => item.id === itemId);
  const known = deficiencies(visit.pack, from, onItem?.id);
  const draft = { photo: null, marked: null, number: visit.picture.findings.length + 1 };
  const subjects = subjectsOf(visit.pack);
  const id = from?.subject.id ?? itemId ?? subjects[0]?.subject.id;
  const before = h("div", { class: "again" }, openHere(app, visit, id, againId));
  const sees = h("div", { class: "newly", hidden: Boolean(againId) }, seeBox(app, known));
  const onItemChosen = (event) => {
    const chosenId = subjects[Number(event.target.value)].subject.id;
    before.replaceChildren(...[openHere(app, visit, chosenId)].filter(Boolean));
    known.splice(0, known.length, ...deficiencies(visit.pack, from?.subject.id === chosenId ? from : null, chosenId));
    sees.replaceChildren(seeBox(app, known));
    showNew(app);
  };
  return {
    title: t("What is wrong?"),
    nodes: [
      where(visit.building.name, t("Finding {n}", { n: draft.number })),
      h("h1", {}, t("What is wrong?")),
      pictureBox(app, visit, draft),
      h("section", {}, h("h2", {}, t("Which item?")), itemBox(subjects, id, onItemChosen)),
      before,
      sees,
      field(t("In your words"), "text", { lines: true }),
      h("div", { class: "newly", hidden: Boolean(againId) }, field(t("Where exactly"), "location", { value: from?.location ?? onItem?.location ?? "" })),
      field(t("How many"), "count", { type: "number", value: "1" }),
      h("div", { class: "newly", hidden: Boolean(againId) }, choices(t("How bad is it?"),
        h("p", { class: "quiet proposed", "aria-live": "polite" }, ""),
        CLASSES.map((grade) => choice("class", grade, mark(grade), { note: meaning(grade) })))),
      h("div", { class: "newly", hidden: Boolean(againId) }, field(t("Temporary measure"), "measure", { hint: t("What keeps it safe until it is put right, if anything.") })),
      field(t("Whom did you tell, and when?"), "told", { hint: t("Nobody yet: leave it empty; it stays on the list of this visit.") }),
      thumb(t("Kept on this tablet first, sent when there is signal."),
        button(t("Save finding {n}", { n: draft.number }), () => save(app, visit, draft, from, subjects, known), { main: true }),
        linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function seeBox(app, known) {
  return choices(t("What do you see?"),
    known.map((one) => choice("see", one.id, one.finding, { onchange: () => propose(app, one) })),
    choice("see", "", t("Something else"), { note: t("write it below"), checked: !known.length }));
}

// What the catalogue knows of a line, else of all that is done on the item, and of its kind.
function deficiencies(pack, line, itemId) {
  const lines = line ? [line] : linesOf(pack).map((one) => one.line).filter((one) => one.subject.id === itemId);
  const kind = pack.items.find((item) => item.id === itemId)?.item_kind;
  const components = new Set(lines.map((one) => (one.component in pack.deficiencies ? one.component : one.subject_kind)));
  if (!line && kind) components.add(kind);
  const rows = [...components].flatMap((component) => pack.deficiencies[component] ?? []);
  return [...new Map(rows.map((one) => [one.id, one])).values()];
}

// What is open on the item already comes first: the same thing found again is linked, not doubled.
function openHere(app, visit, subjectId, againId = null) {
  const open = visit.pack.findings.filter((one) => one.subject.id === subjectId);
  if (!open.length) return null;
  const showed = () => {
    const one = open.find((each) => each.id === chosen(app.main, "again"));
    if (one) app.main.querySelector('[name="count"]').value = one.count;
    showNew(app);
  };
  return choices(t("Open on this item already"),
    open.map((one) => choice("again", one.id, t("Found again: {what}", { what: one.text }), { note: knownWords(one), checked: one.id === againId, onchange: showed })),
    choice("again", "", t("No, something new"), { checked: !againId, onchange: showed }));
}

function knownWords(one) {
  const times = one.seen_again ? t("found again {n} times", { n: one.seen_again }) : null;
  return [answerWords(one.class), t("since {day}", { day: clock.dayOf(one.found_on, language()) }), one.location, times].filter(Boolean).join(" · ");
}

function showNew(app) {
  const again = Boolean(chosen(app.main, "again"));
  for (const part of app.main.querySelectorAll(".newly")) part.hidden = again;
}

/** Return the box by which a picture is taken into a draft, and marked. */
export function pictureBox(app, visit, draft) {
  const shot = h("figure", { class: "shot", hidden: true });
  const note = h("p", { class: "quiet", "aria-live": "polite" });
  const take = async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    try {
      draft.photo = await photoOf(file, visit.id);
      draft.marked = null;
      show(draft.photo);
      marking.hidden = false;
      note.textContent = t("Photo kept, {n} KB.", { n: Math.ceil(draft.photo.size / 1000) });
    } catch {
      note.textContent = t("This file is no picture that can be read. Take another.");
    }
  };
  const show = (photo) => {
    shot.replaceChildren(h("img", { src: URL.createObjectURL(photo.file), alt: t("The photo just taken") }));
    shot.hidden = false;
  };
  const draw = async () => {
    const { marked } = await import("./draw.js");
    draft.marked = await marked(draft.photo, visit.id);
    show(draft.marked ?? draft.photo);
    note.textContent = draft.marked ? t("Marked; the photo without marks is kept beside it.") : t("Photo kept, {n} KB.", { n: Math.ceil(draft.photo.size / 1000) });
  };
  const marking = h("div", { hidden: true }, h("div", { class: "btn-row" }, button(t("Mark the picture"), draw)), field(t("What the picture shows"), "caption"));
  const input = h("input", { id: "f-photo", type: "file", accept: "image/*", capture: "environment", class: "hide", onchange: take });
  return h("section", {}, h("h2", {}, t("Picture")), shot, note,
    h("div", { class: "btn-row" }, input, h("label", { class: "btn", for: "f-photo" }, symbol("i-camera"), t("Take a picture"))), marking);
}

function itemBox(subjects, id, onchange) {
  const options = subjects.map((one, at) => h("option", { value: at, selected: one.subject.id === id }, [one.name, one.location].filter(Boolean).join(", ")));
  return h("div", { class: "field" }, h("label", { class: "hide", for: "f-item" }, t("Which item?")), h("select", { id: "f-item", name: "item", class: "input", onchange }, options));
}

function propose(app, one) {
  const box = app.main.querySelector(`[name="class"][value="${one.class}"]`);
  if (box) box.checked = true;
  const said = app.main.querySelector(".proposed");
  said.textContent = one.variation || t("Proposed from what you see: {class}. A licensed person decides.", { class: answerWords(one.class) });
}

async function save(app, visit, draft, from, subjects, known) {
  const root = app.main;
  const again = chosen(root, "again");
  if (again) return foundAgain(app, visit, draft, again);
  const picked = known.find((one) => one.id === chosen(root, "see")) ?? null;
  const text = [picked?.finding, textOf(root, "text")].filter(Boolean).join(". ");
  if (!complain(root.querySelector('[name="text"]'), text ? null : t("Say what is wrong, by a choice above or in your words."))) return;
  const grade = chosen(root, "class");
  if (!complain(root.querySelector('[name="class"]'), grade ? null : t("Choose how bad it is."))) return;
  const count = Number(textOf(root, "count")) || 1;
  if (!complain(root.querySelector('[name="count"]'), Number.isInteger(count) && count > 0 && count <= 1_000_000 ? null : t("How many: a whole number from 1"))) return;
  const { subject } = subjects[Number(root.querySelector('[name="item"]').value)];
  const finding = newId();
  const on = { stream: "finding", stream_id: finding };
  await app.record(visit.id, "finding.add", {
    finding, subject, class: grade, code: picked?.id, text, location: textOf(root, "location"), count, measure: textOf(root, "measure"),
    activity: from && from.subject.id === subject.id ? from.activity : null,
  }, on);
  await attach(app, visit, draft, subject, finding);
  const told = textOf(root, "told");
  if (told) await app.record(visit.id, "note.add", { text: t("Told about the finding: {who}", { who: told }), subject });
  if (grade === "impairment") app.go("v", visit.id, "ring", impairmentOf(finding));
  else next(app, visit.id);
}

async function foundAgain(app, visit, draft, to) {
  const root = app.main;
  const count = Number(textOf(root, "count")) || 1;
  if (!complain(root.querySelector('[name="count"]'), Number.isInteger(count) && count > 0 && count <= 1_000_000 ? null : t("How many: a whole number from 1"))) return;
  const finding = newId();
  const known = visit.pack.findings.find((one) => one.id === to);
  await app.record(visit.id, "finding.link", { finding, to, reason: textOf(root, "text") || t("Still the same"), count }, { stream: "finding", stream_id: finding });
  await attach(app, visit, draft, known.subject, to);
  const told = textOf(root, "told");
  if (told) await app.record(visit.id, "note.add", { text: t("Told about the finding: {who}", { who: told }), subject: known.subject });
  next(app, visit.id);
}

/**
 * Record the picture of a draft.
 *
 * The marked one is a photo beside the one it was drawn on, which stays as evidence.
 */
export async function attach(app, visit, draft, subject, finding) {
  const caption = textOf(app.main, "caption");
  if (draft.photo) await app.record(visit.id, "photo.attach", photoPayload(draft.photo, { subject, finding, caption }), { photo: draft.photo });
  if (draft.marked) await app.record(visit.id, "photo.attach", photoPayload(draft.marked, { subject, finding, caption: t("Marked: {what}", { what: caption || t("see the marks") }) }), { photo: draft.marked });
}

/**
 * Record that something is left out of service as of now; return the impairment's id.
 *
 * A finding of that class opens its own; this is for what nobody found but what is left so.
 */
export async function startImpairment(app, visit, { subject, extent }) {
  const impairment = newId();
  await app.record(visit.id, "impairment.start", {
    impairment, subject, extent: extent.slice(0, 1000), nature: "emergency", unknown_start: false, started_at: clock.instant(clock.now()),
  }, { stream: "impairment", stream_id: impairment });
  return impairment;
}

/** Whom to ring about an impairment, with their numbers, and the time each was told. */
export function ringScreen(app, visit, impairment) {
  const outage = visit.picture.impairments.get(impairment);
  const { building } = visit;
  const people = [
    ["owner", t("Owner"), building.contact.name, building.contact.phone],
    ["authority", t("Authority having jurisdiction"), building.authority.name, building.authority.phone],
    ["monitoring_station", t("Monitoring station"), "", building.station.phone],
    ["fire_department", t("Fire department"), "", building.emergency_phone],
    ["insurer", t("Insurer"), "", ""],
  ];
  const from = outage?.started ?? outage?.shut;
  return {
    title: t("Go up and ring now"),
    nodes: [
      where(building.name, from ? t("since {time}", { time: clock.timeOf(from.payload.started_at ?? from.wall, visit.zone, language()) }) : null),
      h("h1", {}, t("Go up and ring now")),
      h("p", { class: "visit-say" }, from?.payload.extent ?? from?.payload.text ?? ""),
      caution(t("An area without protection: people, fire watch and hot work come first. The building's impairment procedure, local codes and the authority decide.")),
      building.impairment_hours ? h("p", {}, t("A watch or evacuation is due after {n} hours out of service in 24 here.", { n: building.impairment_hours })) : null,
      h("ul", { class: "ring" }, people.map((one) => ringRow(app, visit, impairment, outage, one))),
      thumb(null, linkButton(t("Back to the visit"), address("v", visit.id), { main: true }), linkButton(t("Clock and restoration"), address("v", visit.id, "out", impairment))),
    ],
  };
}

/** Return one person to tell, with the number, or who was told and when. */
export function ringRow(app, visit, impairment, outage, [told, words, name, number]) {
  const notice = outage?.notices.findLast((event) => event.payload.told === told);
  const id = `told-${told}`;
  const save = async () => {
    const box = app.main.querySelector(`#f-${id}`);
    if (!complain(box, box.value.trim() ? null : t("Name who took the call."))) return;
    await app.record(visit.id, "impairment.notice", { impairment, told, name: box.value.trim(), how: "phone", at: clock.instant(clock.now()) }, { stream: "impairment", stream_id: impairment });
    app.showAgain();
  };
  if (notice) {
    const time = clock.timeOf(notice.payload.at, visit.zone, language());
    return h("li", {}, h("b", {}, words), h("p", {}, mark("proven", t("told {time}, {name}", { time, name: notice.payload.name }))));
  }
  return h("li", {}, h("b", {}, words), h("p", { class: "ring-number" }, phone(number) || t("no number known")),
    field(t("Who took the call"), id, { value: name }), button(t("Told now"), save));
}
