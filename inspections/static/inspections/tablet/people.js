// Several people, several days: who is on the visit, handing it over half way, what is left for another day.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { entryKey } from "./fold.js";
import { lasted, running } from "./outages.js";
import { linesOf, personOf } from "./pack.js";
import { answerWords, button, caution, choice, choices, chosen, complain, field, linkButton, mark, row, rows, textOf, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { answerOf } from "./visit.js";
import { language, t } from "./words.js";

/** Who is on the visit with which licence, what each recorded, and where two disagree. */
export function peopleScreen(app, visit) {
  const counts = new Map();
  for (const event of visit.picture.counted) if (event.by) counts.set(event.by, (counts.get(event.by) ?? 0) + 1);
  const people = (visit.pack.people ?? []).map((one) =>
    h("li", {}, h("b", {}, one.name), h("p", {}, [one.licence ? t("licence {number}", { number: one.licence }) : t("no licence: does not sign"), t("{n} recorded", { n: counts.get(one.member) ?? 0 })].join(" · "))));
  const open = ["planned", "open"].includes(visit.picture.state);
  return {
    title: t("On this visit"),
    nodes: [
      where(visit.building.name, t("On this visit")),
      h("h1", {}, t("On this visit")),
      h("ul", { class: "ring" }, people),
      disagreements(app, visit),
      arrivals(visit),
      thumb(null, open ? linkButton(t("Hand over"), address("v", visit.id, "over"), { main: true }) : null, linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function disagreements(app, visit) {
  const items = linesOf(visit.pack).map(({ line }) => ({ line, heads: answerOf(visit, line) ?? [] }))
    .filter(({ heads }) => new Set(heads.map((head) => head.payload.answer)).size > 1)
    .map(({ line, heads }) => row(address("v", visit.id, "line", line.id), "st-both", line.subject_name,
      heads.map((head) => `${answerWords(head.payload.answer)} (${personOf(app, visit, head.by) || "?"})`).join(" / ")));
  return items.length ? rows(t("Answered differently"), items, t("The worse answer counts until one of you settles it with a reason.")) : null;
}

function arrivals(visit) {
  const items = visit.picture.arrivals;
  if (items.length < 2) return null;
  return h("section", {}, h("h2", {}, t("Days")), h("ul", { class: "plain" }, items.map(({ payload }) =>
    h("li", {}, `${clock.dayOf(payload.at, language(), visit.zone || undefined)}, ${clock.timeOf(payload.at, visit.zone, language())}`))));
}

/** Hand a visit over: the next one gets it with all that is recorded, and this tablet keeps it too. */
export function handOverScreen(app, visit) {
  const others = visit.pack.others ?? [];
  if (!others.length) return nobodyElse(visit);
  const open = linesOf(visit.pack).filter(({ line }) => !answerOf(visit, line));
  const save = async () => {
    const to = others.find((one) => one.id === chosen(app.main, "to"));
    if (!complain(app.main.querySelector('[name="to"]'), to ? null : t("Choose who goes on."))) return;
    const text = textOf(app.main, "text");
    if (!complain(app.main.querySelector('[name="text"]'), text ? null : t("Say how it stands: what is shut, what is open, what comes next."))) return;
    await app.record(visit.id, "visit.hand_over", { to: to.id, name: to.name, text });
    app.say(t("Handed over to {name}. It reaches their tablet when both have signal; it stays on this one too.", { name: to.name }));
    app.go("v", visit.id);
  };
  return {
    title: t("Hand over"),
    nodes: [
      where(visit.building.name, t("Hand over")),
      h("h1", {}, t("Who goes on?")),
      running(visit).map((one) => h("p", { class: "said" }, mark("impairment", t("{name}: out of service for {time}", { name: one.name, time: lasted(one.since) })))),
      caution(t("Say it in person too: what is shut, who is at the valve, what is on test.")),
      choices(t("Technician"), others.map((one) => choice("to", one.id, one.name, { note: one.licence ? t("licence {number}", { number: one.licence }) : t("no licence: does not sign") }))),
      h("p", { class: "said" }, mark(open.length ? "not_proven" : "proven", t("{n} not answered yet", { n: open.length }))),
      field(t("How it stands"), "text", { lines: true }),
      thumb(null, button(t("Hand over"), save, { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

// Nothing to fill in: were there a field, a pack that brings others would not be shown.
function nobodyElse(visit) {
  return {
    title: t("Hand over"),
    nodes: [
      where(visit.building.name, t("Hand over")),
      h("h1", {}, t("Who goes on?")),
      h("p", {}, t("The office knows nobody else.")),
      thumb(null, linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

/** Part of a visit that is not done on it: each item stays due by itself, with the reason. */
export function restScreen(app, visit, groupId) {
  const open = linesOf(visit.pack).filter(({ group, line }) => group.id === groupId && !visit.picture.items.has(entryKey(line.subject.id, line.activity)));
  const save = async () => {
    const reason = textOf(app.main, "reason");
    if (!complain(app.main.querySelector('[name="reason"]'), reason ? null : t("Say why it could not be done."))) return;
    for (const { line } of open) await app.record(visit.id, "item.set", { subject: line.subject, activity: line.activity, answer: "could_not", reason, bulk: true });
    app.go("v", visit.id);
  };
  return {
    title: t("Not on this visit"),
    nodes: [
      where(visit.building.name, open[0]?.group.name),
      h("h1", {}, t("Not on this visit: {n}", { n: open.length })),
      h("p", { class: "quiet" }, t("Each of these stays due and is named in the report with the reason. Tell the owner.")),
      h("ul", { class: "plain" }, open.map(({ line }) => h("li", {}, `${line.subject_name}: ${t(line.task)}`))),
      field(t("Why is it not done?"), "reason", { lines: true }),
      thumb(null, button(t("Not on this visit"), save, { harm: true }), linkButton(t("Back to the visit"), address("v", visit.id), { main: true })),
    ],
  };
}
