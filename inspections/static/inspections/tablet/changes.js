// What the office or somebody else changed since this tablet last asked: told until it was seen here.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { sentence } from "./end_state.js";
import { impairmentOf } from "./ids.js";
import { button } from "./parts.js";
import * as store from "./store.js";
import { language, t } from "./words.js";

const MOST = 40;

/** Keep what an answer to a pull changes in the packs of before; return it. */
export async function note(app, before, answer) {
  // The first packs of a tablet are no change.
  if (!before.size) return [];
  const found = [
    ...answer.withdrawn.filter(({ visit }) => before.has(visit)).flatMap((one) => taken(app, before.get(one.visit), one)),
    ...answer.visits.flatMap((pack) => (before.has(pack.visit.id) ? differing(app, before.get(pack.visit.id), pack) : come(app, pack))),
  ];
  // A building with several visits tells of itself once.
  const once = new Map(found.map((one) => [JSON.stringify({ ...one, visit: one.ofBuilding ? null : one.visit }), one]));
  if (once.size) await store.keepLocked("changes", [...(await kept()), ...once.values()].slice(-MOST));
  return [...once.values()];
}

/** Say in the strip that something changed, where no news stand there and the list is not open. */
export function tell(app, found) {
  if (!found.length || app.news || ["", "#/"].includes(location.hash)) return;
  const more = found.length > 1 ? ` ${t("And {n} more.", { n: found.length - 1 })}` : "";
  app.tell(h("p", { class: "news" }, h("span", {}, `${found[0].building}: ${words(found[0])}${more}`), button(t("Show it"), () => app.go())));
}

/** Fill the place for them on the list of visits. */
export async function fill(app, place) {
  const changes = await kept();
  if (!changes.length) return;
  const seen = async () => {
    await store.keepLocked("changes", []);
    place.replaceChildren();
    place.hidden = true;
    app.main.focus();
  };
  place.hidden = false;
  place.replaceChildren(
    h("h2", {}, t("Changed meanwhile: {n}", { n: changes.length })),
    h("ul", { class: "plain" }, changes.map((one) => h("li", {}, h("b", {}, one.building), sentence(words(one))))),
    h("p", { class: "btn-row" }, button(t("Seen"), seen)));
}

async function kept() {
  return (await store.locked("changes")) ?? [];
}

function taken(app, pack, { visit, reason, planned_on }) {
  const events = app.queue.eventsOf(visit);
  if (reason === "closed" || events.some((event) => event.kind === "visit.hand_over")) return [];
  const what = { cancelled: "cancelled", given_away: "given_away", moved: planned_on ? "moved" : "unplanned" }[reason] ?? "unplanned";
  return [of(pack, what, { day: pack.visit.planned_on, on: planned_on, worked: events.length > 0 })];
}

function come(app, pack) {
  const { planned_on, state } = pack.visit;
  const over = pack.events.findLast((event) => event.kind === "visit.hand_over");
  if (over) return [of(pack, "handed_over", { name: pack.people.find((one) => one.member === over.by)?.name ?? "", text: over.payload.text })];
  const isNow = state === "open" || (state === "planned" && planned_on <= clock.today(pack.building.time_zone));
  return isNow ? [of(pack, "new", { at: pack.visit.planned_start, zone: pack.building.time_zone })] : [];
}

function differing(app, was, is) {
  const zone = is.building.time_zone;
  const own = (what, facts) => of(is, what, facts);
  const ofBuilding = (what, facts) => ({ ...of(is, what, facts), ofBuilding: true });
  const [planned, before] = [is.visit, was.visit];
  const handedOver = is.events.filter((event) => event.kind === "visit.hand_over" && event.by === app.api.member.id).length;
  const crew = (pack) => pack.people.filter((one) => one.here).map((one) => one.name).join(", ");
  const found = [];
  if (planned.planned_on !== before.planned_on) found.push(own(planned.planned_on ? "moved" : "unplanned", { day: before.planned_on, on: planned.planned_on, at: planned.planned_start, zone }));
  else if (planned.planned_start !== before.planned_start && planned.planned_start) found.push(own("hour", { at: planned.planned_start, zone }));
  if (crew(is) !== crew(was) && !handedOver) found.push(own("crew", { names: crew(is) }));
  if (is.building.access !== was.building.access) found.push(ofBuilding("access", { text: is.building.access }));
  const [contact, contactWas] = [is.building.contact, was.building.contact];
  if (contact.name !== contactWas.name || contact.phone !== contactWas.phone) found.push(ofBuilding("contact", { text: [contact.name, contact.phone].filter(Boolean).join(", ") }));
  return [...found, ...outages(app, was, is).map(([what, one]) => ofBuilding(what, { name: one.name, at: one.since, zone }))];
}

// What this person shut, made an impairment or restored here is no news to them.
function outages(app, was, is) {
  const mine = new Set([...app.packs.values()].flatMap((pack) => pack.events).filter((event) => event.by === app.api.member.id).map(actOn));
  const had = new Map(was.outages.map((one) => [one.id, one]));
  const here = new Set(is.outages.map((one) => one.id));
  const begun = is.outages.filter((one) => (!had.has(one.id) || (one.impaired && !had.get(one.id).impaired)) && !mine.has(`start ${one.id}`));
  const ended = was.outages.filter((one) => !here.has(one.id) && !mine.has(`end ${one.id}`));
  return [...begun.map((one) => [one.impaired ? "impaired" : "shut", one]), ...ended.map((one) => ["restored", one])];
}

function actOn({ kind, stream_id: id, payload }) {
  return kind === "finding.add" ? `start ${impairmentOf(payload.finding)}` : `${kind.split(".")[1]} ${id}`;
}

function of(pack, what, facts) {
  return { visit: pack.visit.id, building: pack.building.name, what, facts };
}

function words({ what, facts }) {
  const day = facts.day ? clock.dayOf(facts.day, language()) : t("no day");
  const time = facts.at ? clock.timeOf(facts.at, facts.zone, language()) : "";
  const when = [facts.on && clock.dayOf(facts.on, language()), time].filter(Boolean).join(", ");
  const keeps = facts.worked ? ` ${t("What you recorded is kept and goes to the office.")}` : "";
  const said = {
    cancelled: () => t("the visit of {day} is cancelled.", { day }),
    given_away: () => t("the visit of {day} went to somebody else.", { day }),
    unplanned: () => t("the visit of {day} is out of the plan.", { day }),
    moved: () => (facts.day ? t("moved from {day} to {when}.", { day, when }) : t("planned for {when} now.", { when })),
    hour: () => t("planned for {when} now.", { when: time }),
    crew: () => t("on this visit now: {names}.", { names: facts.names }),
    access: () => (facts.text ? t("new access notes: {text}", { text: facts.text }) : t("the access notes were taken away.")),
    contact: () => t("the contact is {name} now.", { name: facts.text || t("nobody") }),
    impaired: () => t("{name} is out of service since {time}.", { name: facts.name, time }),
    shut: () => t("water shut at {name} since {time}.", { name: facts.name, time }),
    restored: () => t("{name} is back in service.", { name: facts.name }),
    new: () => t("a new visit for you."),
    handed_over: () => t("{name} handed it over: {text}", { name: facts.name || t("Somebody"), text: facts.text }),
  }[what];
  return said() + keeps;
}
