// What is shut or out of service: since when, whether it is an impairment, and what proves it open again.

import * as clock from "./clock.js";
import { entryKey } from "./fold.js";

/** The item of the end state by which a control valve is seen open, counted and secured. */
export const VALVE_OPEN = "control_valve";
const GOOD = ["pass", "seen_in_order", "proven"];

/** Return what runs at the building: {id, name, since, impaired, entry, own}, this visit's own first. */
export function running(visit) {
  const told = new Map((visit.pack.outages ?? []).map((one) => [one.id, one]));
  const sent = new Set(visit.pack.events.map((event) => event.id));
  const own = [...visit.picture.impairments].filter(([, entry]) => runs(entry)).filter(([id, entry]) => told.has(id) || !sent.has(begun(entry).id));
  const here = own.map(([id, entry]) => ({ id, name: nameOf(visit, entry), since: sinceOf(entry), impaired: isImpaired(visit, entry), entry, own: true, system: systemOf(visit, subjectOf(entry).id) }));
  const others = [...told.values()].filter((one) => !visit.picture.impairments.has(one.id))
    .map((one) => ({ id: one.id, name: one.name, since: Date.parse(one.since), impaired: one.impaired, entry: null, own: false, system: one.system, subject: one.subject }));
  return [...here, ...others];
}

/** Return one of them, also when it has ended; null where there is none. */
export function outageOf(visit, id) {
  const entry = visit.picture.impairments.get(id);
  return running(visit).find((one) => one.id === id)
    ?? (entry && begun(entry) ? { id, name: nameOf(visit, entry), since: sinceOf(entry), impaired: false, entry, own: true, ended: true } : null);
}

/** Return the outages of this visit that hold it: water shut, neither restored nor left as impaired. */
export function holding(visit) {
  const left = new Set(visit.picture.left?.payload.impairments ?? []);
  return running(visit).filter((one) => one.own && one.entry.shut && !(one.entry.started && left.has(one.id)));
}

function runs(entry) {
  return begun(entry) && !entry.ended;
}

function begun(entry) {
  return entry.shut ?? entry.started;
}

/** Return what an outage is about: {kind, id}. */
export function subjectOf(entry) {
  return begun(entry).payload.subject;
}

function nameOf(visit, entry) {
  const { id } = subjectOf(entry);
  return visit.pack.items.find((item) => item.id === id)?.name ?? visit.building.name;
}

/** Return the system an item stands in, or null. */
export function systemOf(visit, id) {
  return visit.pack.items.find((item) => item.id === id)?.system ?? null;
}

// The clock of the wall may be set; since the same start of the app the other one only goes on.
function sinceOf(entry) {
  const event = begun(entry);
  const now = clock.stamp();
  if (event.boot && event.boot === now.boot) return clock.now() - (now.mono - event.mono);
  return Date.parse(event.payload.started_at ?? event.wall);
}

/** Return the moment from which an attended shutdown counts as an impairment. */
export function limitOf(visit, one) {
  return one.since + visit.building.attended_minutes * 60_000;
}

function isImpaired(visit, entry) {
  return Boolean(entry.started) || clock.now() > sinceOf(entry) + visit.building.attended_minutes * 60_000;
}

/** Return how long it has lasted: 0:42:10. */
export function lasted(since) {
  const seconds = Math.max(0, Math.floor((clock.now() - since) / 1000));
  const two = (part) => String(part).padStart(2, "0");
  return `${Math.floor(seconds / 3600)}:${two(Math.floor(seconds / 60) % 60)}:${two(seconds % 60)}`;
}

/** Return the payload that makes a shutdown an impairment as of its beginning. */
export function impairmentFrom(id, entry) {
  const { subject, extent, started_at } = entry.shut.payload;
  return { impairment: id, subject, extent, nature: "planned", unknown_start: false, started_at: started_at ?? entry.shut.wall };
}

/**
 * Return what speaks for a restoration since it began: {valve, flow, all}.
 *
 * `valve` and `flow` are what a shut valve asks for: seen open, and water flowing after it.
 */
export function proofsOf(visit, one) {
  const { picture, pack } = visit;
  const subject = one.entry ? subjectOf(one.entry) : { id: one.subject };
  const from = one.entry ? picture.counted.indexOf(begun(one.entry)) : -1;
  const isGood = (heads) => heads?.length && GOOD.includes(heads[0].payload.answer ?? heads[0].payload.result) && picture.counted.indexOf(heads[0]) > from;
  const isNear = (id) => !one.system || id === subject.id || id === one.system || systemOf(visit, id) === one.system;
  const answers = [...picture.items.values()].filter(isGood).map((heads) => heads[0]).filter((event) => isNear(event.payload.subject.id));
  const states = [...picture.proofs.values()].filter(isGood).map((heads) => heads[0]).filter((event) => isNear(event.payload.device));
  const valve = states.find((event) => event.payload.item === VALVE_OPEN && (!isValve(visit, subject.id) || event.payload.device === subject.id)) ?? null;
  const flow = answers.find((event) => pack.flow_test.accepted.includes(event.payload.activity)) ?? null;
  return { valve, flow, all: [...states, ...answers] };
}

/** Say whether an item is a control valve. */
export function isValve(visit, id) {
  return visit.pack.items.find((item) => item.id === id)?.item_kind === "control_valve";
}

/** Say whether a restoration asks for the valve seen open and a flow test. */
export function asksForFlow(visit, one) {
  return Boolean(one.entry?.shut) || isValve(visit, one.entry ? subjectOf(one.entry).id : one.subject);
}

/** Return the heads of the flow test at a subject. */
export function flowHeads(visit, subjectId) {
  return visit.picture.items.get(entryKey(subjectId, visit.pack.flow_test.activity)) ?? [];
}
