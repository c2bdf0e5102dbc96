// The picture of a visit from its events, and the hash of what was shown.

import { impairmentOf } from "./ids.js";

const ANSWERS = ["fail", "finding", "could_not", "not_fitted", "pass", "seen_in_order"];
const PROOFS = ["not_proven", "not_fitted", "proven"];
const AT_THE_BUILDING = new Set([
  "visit.open", "visit.station", "item.set", "reading.add", "step.add", "proof.set", "note.add",
  "photo.attach", "signature.add", "visit.leave", "visit.hand_over",
  "finding.add", "sample.send",
]);

/** Return the key of an entry: what was looked at, and for which activity. */
export function entryKey(subjectId, activity) {
  return `${subjectId} ${activity}`;
}

/**
 * Return what the events of a visit amount to.
 *
 * items and proofs are heads: the answers that stand, worst first. An event takes away exactly
 * those it names in `seen`, in whatever order they come.
 */
export function fold(events) {
  const picture = {
    state: "planned", opened: null, station: [], items: new Map(), readings: new Map(),
    steps: new Map(), proofs: new Map(), photos: [], notes: [], findings: [], links: [], signatures: [], arrivals: [],
    impairments: new Map(), left: null, handedIn: null, counted: [], lastWork: null,
    replaced: new Set(),
  };
  const met = new Set();
  for (const event of events) {
    if (met.has(event.id)) continue;
    met.add(event.id);
    take(picture, event);
  }
  return picture;
}

function take(picture, event) {
  const payload = event.payload;
  picture.counted.push(event);
  if (AT_THE_BUILDING.has(event.kind)) {
    picture.state = "open";
    picture.lastWork = event;
  }
  switch (event.kind) {
    case "visit.open": picture.opened ??= event; picture.arrivals.push(event); break;
    case "visit.station": station(picture.station, event); break;
    case "item.set": heads(picture, picture.items, entryKey(payload.subject.id, payload.activity), event, ANSWERS, "answer"); break;
    case "proof.set": heads(picture, picture.proofs, `${payload.device} ${payload.item}`, event, PROOFS, "result"); break;
    case "reading.add": pushed(picture.readings, entryKey(payload.subject.id, payload.activity), event); break;
    case "step.add": pushed(picture.steps, payload.device, event); break;
    case "photo.attach": picture.photos.push(event); break;
    case "note.add": picture.notes.push(event); break;
    case "finding.add": found(picture, event); break;
    case "signature.add": picture.signatures.push(event); break;
    case "outage.start": begin(outage(picture, payload.outage), "shut", event); break;
    case "impairment.start": begin(outage(picture, payload.impairment), "started", event); break;
    case "impairment.notice": outage(picture, payload.impairment).notices.push(event); break;
    case "impairment.watch": outage(picture, payload.impairment).watches.push(event); break;
    case "impairment.tag": outage(picture, payload.impairment).tags.push(event); break;
    case "impairment.end": outage(picture, payload.impairment).ended = event; break;
    case "outage.end": outage(picture, payload.outage).ended = event; break;
    case "finding.link": picture.links.push(event); break;
    case "visit.leave": picture.left = event; break;
    case "visit.hand_in": picture.handedIn = event; picture.state = "handed_in"; break;
    case "visit.review": picture.state = payload.verdict === "send_back" ? "open" : "reviewed"; break;
    case "visit.seal": picture.state = "sealed"; break;
    case "visit.cancel": picture.state = "cancelled"; break;
  }
}

function pushed(map, key, event) {
  if (!map.has(key)) map.set(key, []);
  map.get(key).push(event);
}

// A finding of class impairment opens its impairment by itself, here as on the server.
function found(picture, event) {
  picture.findings.push(event);
  const { finding, proposed } = event.payload;
  if (event.payload.class === "impairment" && !proposed) outage(picture, impairmentOf(finding)).started ??= event;
}

function outage(picture, key) {
  if (!picture.impairments.has(key)) picture.impairments.set(key, { shut: null, started: null, notices: [], watches: [], tags: [], ended: null });
  return picture.impairments.get(key);
}

// A start recorded after an end is a new running time, as on the server.
function begin(entry, name, event) {
  entry[name] ??= event;
  entry.ended = null;
}

function station(periods, event) {
  const running = periods.length && !periods[periods.length - 1].off;
  if (event.payload.state === "on") {
    if (!running) periods.push({ on: event, off: null, until: event.payload.until });
    else if (event.payload.until) periods[periods.length - 1].until = event.payload.until;
  } else if (running) periods[periods.length - 1].off = event;
}

// Stored worst first, of two equally bad ones the later recorded.
function heads({ replaced }, map, key, event, words, field) {
  for (const id of event.seen ?? []) if (id !== event.id) replaced.add(`${key} ${id}`);
  const told = [event, ...(map.get(key) ?? [])];
  const standing = told.filter((one) => !replaced.has(`${key} ${one.id}`));
  const badness = (one) => words.indexOf(one.payload[field]);
  map.set(key, (standing.length ? standing : [event]).sort((a, b) => badness(a) - badness(b)));
}

/** Return the running time on test, or null. */
export function onTest(picture) {
  const last = picture.station[picture.station.length - 1];
  return last && !last.off ? last : null;
}

/** Return the signature of the technician that still covers everything, or null. */
export function standingSignature(picture) {
  const at = picture.counted.findLastIndex(
    (event) => event.kind === "signature.add" && event.payload.role === "technician",
  );
  const changed = picture.counted.slice(at + 1).some(isShown);
  return at >= 0 && !changed ? picture.counted[at] : null;
}

function isShown(event) {
  return AT_THE_BUILDING.has(event.kind) && event.kind !== "signature.add";
}

/** Return the one spelling of a value as text: sorted keys, no spaces, composed letters. */
export function canonical(value) {
  if (typeof value === "string") return JSON.stringify(value.normalize("NFC"));
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (value !== null && typeof value === "object") {
    const names = Object.keys(value).map((name) => [name.normalize("NFC"), name]).sort((a, b) => (a[0] < b[0] ? -1 : 1));
    return `{${names.map(([name, key]) => `${JSON.stringify(name)}:${canonical(value[key])}`).join(",")}}`;
  }
  return JSON.stringify(value);
}

/** Return the SHA-256 of a text or bytes, 64 hexadecimal digits. */
export async function sha256(content) {
  const bytes = typeof content === "string" ? new TextEncoder().encode(content) : content;
  const hashed = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
  return [...hashed].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/** Return the hash of what a summary of these events shows: what a signature is put under. */
export async function shownHash(events) {
  const shown = events.filter(isShown).map(content);
  shown.sort((a, b) => (a.id < b.id ? -1 : 1));
  return sha256(canonical(shown));
}

function content(event) {
  const clocks = { wall: null, mono: null, boot: null, ticket: null };
  const kept = { visit: null, ...clocks, ...event, seen: [...(event.seen ?? [])].sort() };
  delete kept.tablet;
  delete kept.seq;
  return kept;
}
