// What the tablet keeps: packs, events not yet thrown away, photos, and a few values. All but the numbers
// that count and sort them is locked; without the PIN nobody reads it.

import { openDB } from "../../contractors/vendor/idb/idb.js";
import * as vault from "./vault.js";

const VERSION = 3;
const STORES = ["values", "packs", "events", "photos", "pictures"];
const MEMBER = document.documentElement.dataset.member ?? "";
// Where one window throws everything away, the others have nothing to show any more.
const windows = new BroadcastChannel(`maindrain-${MEMBER}`);
windows.addEventListener("message", () => location.reload());
let database_ = null;
let keys = null;
let isCleared = false;

/** What is kept was thrown away or locked anew by another window of the app: nothing can be kept under this window's keys. */
export class Locked extends Error {}

// Each person's work is kept apart: what one has not sent, no other person sends or sees.
function database() {
  database_ ??= openDB(`maindrain-${MEMBER}`, VERSION, {
    upgrade(db, before) {
      // What waits to be sent stays as it is: a newer app never costs work.
      if (before < 2) {
        for (const name of db.objectStoreNames) db.deleteObjectStore(name);
        db.createObjectStore("values");
        db.createObjectStore("packs", { keyPath: "id" });
        db.createObjectStore("events", { keyPath: "id" });
        db.createObjectStore("photos", { keyPath: "blob" });
      }
      db.createObjectStore("pictures", { keyPath: "sha256" });
    },
    blocking(_from, _to, event) { event.target.close(); },
  });
  return database_;
}

/** Say how the lock stands: `new` before a PIN was chosen, `locked`, or `open`. */
export async function lockState() {
  if (keys) return "open";
  return (await value("vault")) ? "locked" : "new";
}

/** Lock what will be kept under a PIN; false where another window chose one meanwhile. `office` is the public key of the office. */
export async function setPin(pin, office) {
  const fresh = await vault.made(pin, office);
  const tx = (await database()).transaction("values", "readwrite");
  const isFirst = !(await tx.store.get("vault"));
  if (isFirst) tx.store.put(fresh.vault, "vault");
  await tx.done;
  if (isFirst) keys = fresh.keys;
  return isFirst;
}

/**
 * Try a PIN; return how many tries are left where it was wrong, or null where it was right.
 *
 * A try is counted before it is made, so that switching the tablet off gives none back.
 */
export async function tryPin(pin) {
  const kept = await counted();
  const found = await vault.opened(kept, pin);
  if (found) {
    keys = found;
    await keep("vault", { ...kept, tries: 0 });
    return null;
  }
  const left = vault.MOST_TRIES - kept.tries;
  if (left <= 0) await wipe();
  return Math.max(left, 0);
}

async function counted() {
  const tx = (await database()).transaction("values", "readwrite");
  const kept = await tx.store.get("vault");
  const next = { ...kept, tries: kept.tries + 1 };
  tx.store.put(next, "vault");
  await tx.done;
  return next;
}

/**
 * Throw away the keys and all that came from the server; what was not sent stays for the office to open.
 *
 * The tablet counts anew afterwards, under another id.
 */
export async function wipe() {
  const tx = (await database()).transaction(STORES, "readwrite");
  const values = tx.objectStore("values");
  const [kept, stranded] = [await values.get("vault"), (await values.get("stranded")) ?? []];
  if ((await dropSent(tx)) && kept) values.put([...stranded, { id: kept.id, rescue: kept.rescue }], "stranded");
  for (const name of ["vault", "tablet", "seq", "cursor", "member", "changes"]) values.delete(name);
  for (const name of ["packs", "pictures"]) tx.objectStore(name).clear();
  await tx.done;
  keys = null;
  windows.postMessage("gone");
}

// Throws away what the server has; says whether anything is left.
async function dropSent(tx) {
  let left = false;
  for (const name of ["events", "photos"]) {
    const store = tx.objectStore(name);
    for (const row of await store.getAll()) {
      if (isToSend(row)) left = true;
      else store.delete(name === "events" ? row.id : row.blob);
    }
  }
  return left;
}

/** Throw away everything, also what was not sent; the page is left then. */
export async function clear() {
  isCleared = true;
  const tx = (await database()).transaction(STORES, "readwrite");
  for (const name of STORES) tx.objectStore(name).clear();
  await tx.done;
  windows.postMessage("gone");
}

// What an answer on its way brings is not kept any more once everything was thrown away.
async function put(store, ...row) {
  const db = await database();
  if (!isCleared) await db.put(store, ...row);
}

/** Say whether an event or a photo still has to reach the server. */
export function isToSend(row) {
  return "blob" in row ? !row.sent && !row.refused : row.status === "waiting" || row.status === "deferred";
}

/** Return how many entries and photos only the office can open: they were locked under a PIN that is gone. */
export async function stranded() {
  const [events, photos] = await everything();
  const lost = (row) => row.key !== keys?.id && isToSend(row);
  return (await value("stranded")) ? events.filter(lost).length + photos.filter(lost).length : 0;
}

/** Return a file of all that was not sent, which only the office can open. */
export async function bundle() {
  const [events, photos] = await everything();
  const kept = await value("vault");
  const envelopes = [...(await value("stranded", [])), ...(kept ? [{ id: kept.id, rescue: kept.rescue }] : [])];
  const boxed = ({ iv, data, type }) => ({ iv: vault.base64(iv), data: vault.base64(data), type });
  const content = {
    format: "maindrain tablet bundle", version: 1, member: MEMBER,
    envelopes: envelopes.map(({ id, rescue }) => ({ id, half: vault.base64(rescue.half), ...boxed(rescue) })),
    events: events.filter(isToSend).sort((a, b) => a.made - b.made).map(({ id, key, tablet, seq, box }) => ({ id, key, tablet, seq, ...boxed(box) })),
    photos: photos.filter(isToSend).map(({ blob, key, sha256, box }) => ({ blob, key, sha256, ...boxed(box) })),
  };
  return new Blob([JSON.stringify(content)], { type: "application/json" });
}

/** Throw away what only the office could open. */
export async function forgetStranded() {
  const tx = (await database()).transaction(["values", "events", "photos"], "readwrite");
  for (const name of ["events", "photos"]) {
    const store = tx.objectStore(name);
    for (const row of await store.getAll()) if (row.key !== keys?.id) store.delete(row.id ?? row.blob);
  }
  tx.objectStore("values").delete("stranded");
  await tx.done;
}

async function everything() {
  const db = await database();
  return [await db.getAll("events"), await db.getAll("photos")];
}

/** Return a kept value, or what is given for one that is not there. */
export async function value(name, otherwise = null) {
  return (await (await database()).get("values", name)) ?? otherwise;
}

/** Keep a value under a name; it is not locked. */
export async function keep(name, kept) {
  await put("values", kept, name);
}

/** Return a value that was kept locked, or null. */
export async function locked(name) {
  const box = await value(name);
  return box && vault.unlock(keys.packs, box, name);
}

/** Keep a value locked, as the packs are. */
export async function keepLocked(name, given) {
  await keep(name, await vault.lock(keys.packs, given, name));
}

/** Return all packs. */
export async function packs() {
  const rows = await (await database()).getAll("packs");
  return Promise.all(rows.map(({ id, box }) => vault.unlock(keys.packs, box, id)));
}

/** Keep a pack in place of the one before. */
export async function keepPack(pack) {
  const { id } = pack.visit;
  const box = await vault.lock(keys.packs, pack, id);
  await put("packs", { id, box });
}

/** Forget a visit's pack; its events and photos stay until they are sent. */
export async function forgetPack(visit) {
  await (await database()).delete("packs", visit);
}

/** Return the hashes of the sketches that are kept. */
export async function pictures() {
  return (await database()).getAllKeys("pictures");
}

/** Keep a sketch under the hash of its bytes, locked as the packs are. */
export async function keepPicture(sha256, file) {
  const box = await vault.lockFile(keys.packs, file, sha256);
  await put("pictures", { sha256, box });
}

/** Return the bytes of a sketch, or null where it is not kept. */
export async function pictureOf(sha256) {
  const row = await (await database()).get("pictures", sha256);
  return row ? vault.unlockFile(keys.packs, row.box, sha256) : null;
}

/** Throw away sketches by their hashes. */
export async function forgetPictures(hashes) {
  const tx = (await database()).transaction("pictures", "readwrite");
  for (const sha256 of hashes) tx.store.delete(sha256);
  await tx.done;
}

/** Return all rows of events in the order they were made: {event, made, status, reason, missing}. */
export async function events() {
  const rows = (await (await database()).getAll("events")).filter((row) => row.key === keys.id);
  const opened = await Promise.all(rows.map(openedRow));
  return opened.sort((a, b) => a.made - b.made);
}

async function openedRow(row) {
  const { id, tablet, seq, visit, ...rest } = row;
  return { ...rest, event: { ...(await vault.unlock(keys.work, row.box, id)), tablet, seq } };
}

// An open row as it is kept: what the event says stays in its box, which no later change touches.
function closedRow({ event, ...rest }) {
  return { ...rest, id: event.id, tablet: event.tablet, seq: event.seq };
}

/**
 * Number an event and keep it with its photo, all or nothing.
 *
 * The number is taken in the same transaction, so two windows never give one twice.
 */
export async function append(event, photo = null) {
  const box = await vault.lock(keys.work, event, event.id);
  const picture = photo && { ...closedPhoto(photo), key: keys.id, box: await vault.lockFile(keys.work, photo.file, photo.blob) };
  // Strict: it is on the disk before the screen goes on, whatever the battery does then.
  const tx = (await database()).transaction(["values", "events", "photos"], "readwrite", { durability: "strict" });
  const values = tx.objectStore("values");
  if ((await values.get("vault"))?.id !== keys?.id) throw new Locked();
  const [seq, made] = [((await values.get("seq")) ?? 0) + 1, ((await values.get("made")) ?? 0) + 1];
  const tablet = await values.get("tablet");
  const row = { event: { ...event, tablet, seq }, made, status: "waiting", key: keys.id, box };
  const kept = [tx.done];
  try {
    kept.push(tx.objectStore("events").add(closedRow(row)), values.put(seq, "seq"), values.put(made, "made"));
    if (picture) kept.push(tx.objectStore("photos").put(picture));
  } catch (error) {
    tx.abort();
    await tx.done.catch(() => {});
    throw error;
  }
  await Promise.all(kept);
  return { row, picture };
}

/**
 * Number what waits anew under another tablet id, from 1.
 *
 * What an entry says stays as it is, so one that arrived before is known again.
 */
export async function renumber(tablet) {
  const tx = (await database()).transaction(["values", "events"], "readwrite");
  const all = await tx.objectStore("events").getAll();
  const rows = all.filter((row) => row.key === keys.id && isToSend(row)).sort((a, b) => a.made - b.made);
  rows.forEach((row, place) => tx.objectStore("events").put({ ...row, tablet, seq: place + 1 }));
  tx.objectStore("values").put(rows.length, "seq");
  tx.objectStore("values").put(tablet, "tablet");
  await tx.done;
}

/** Keep what became of events. */
export async function keepRows(rows) {
  const tx = (await database()).transaction("events", "readwrite");
  if (!isCleared) for (const row of rows) tx.store.put(closedRow(row));
  await tx.done;
}

/** Throw away events and photos by their keys. */
export async function forget(eventIds, blobs) {
  const tx = (await database()).transaction(["events", "photos"], "readwrite");
  for (const id of eventIds) tx.objectStore("events").delete(id);
  for (const blob of blobs) tx.objectStore("photos").delete(blob);
  await tx.done;
}

/** Return the photos, each {blob, sha256, visit, type, size, sent}; their bytes stay in their boxes. */
export async function photos() {
  return (await (await database()).getAll("photos")).filter((photo) => photo.key === keys.id);
}

/** Return a photo's bytes. */
export function fileOf(photo) {
  return vault.unlockFile(keys.work, photo.box, photo.blob);
}

/** Keep a photo in place of the one before. */
export async function keepPhoto(photo) {
  await put("photos", closedPhoto(photo));
}

function closedPhoto({ file: _file, ...rest }) {
  return rest;
}
