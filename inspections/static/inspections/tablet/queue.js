// Everything recorded goes into the queue on this tablet first, and from there to the server.

import * as clock from "./clock.js";
import * as store from "./store.js";

const MOST_AT_ONCE = 100;
const WAITS_S = [2, 5, 15, 60, 300];
const LONGEST_KEPT_ASIDE = 100_000;
// Answers after which the same is sent again later; every other 4xx stays as it is.
const LATER = new Set([401, 403, 404, 408, 409, 425, 429, 460]);

/** The queue of one tablet: appends, sends in order, retries, and says how it stands. */
export class Queue {
  constructor(api, { onChange, onRefused, onReceived }) {
    this.api = api;
    this.rows = [];
    this.photos = [];
    this.signal = navigator.onLine;
    this.signedOut = false;
    this.shutOut = false;
    this.sending = false;
    this.failures = 0;
    this.notBefore = 0;
    this.timer = null;
    this.trouble = null;
    this.hooks = { onChange, onRefused, onReceived };
  }

  /** Read what was kept, and start sending. */
  async start() {
    await this.read();
    addEventListener("online", () => this.send());
    addEventListener("offline", () => this.lost());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.send());
    this.send();
  }

  /** Take up what is kept, also by another window of the app. */
  async read() {
    const known = new Map(this.rows.map((row) => [row.event.id, row]));
    for (const row of await store.events()) known.set(row.event.id, Object.assign(known.get(row.event.id) ?? row, row));
    this.rows = [...known.values()].sort((a, b) => a.made - b.made);
    const blobs = new Map(this.photos.map((photo) => [photo.blob, photo]));
    for (const photo of await store.photos()) blobs.set(photo.blob, Object.assign(blobs.get(photo.blob) ?? photo, photo));
    this.photos = [...blobs.values()];
  }

  /** Keep an event on this tablet, with its photo if it has one; return it. */
  async append(event, photo = null) {
    const { row, picture } = await store.append({ version: 1, ...clock.stamp(), ...event, by: this.api.member.id }, photo);
    if (!this.rows.some((one) => one.event.id === row.event.id)) this.rows.push(row);
    if (picture && !this.photos.some((one) => one.blob === picture.blob)) this.photos.push(picture);
    this.hooks.onChange();
    this.send();
    return row.event;
  }

  /** Return the events of a visit that count here: all that were not refused. */
  eventsOf(visit) {
    return this.rows.filter((row) => row.event.visit === visit && row.status !== "rejected").map((row) => row.event);
  }

  /** Return the rows that the server refused. */
  get refused() {
    return this.rows.filter((row) => row.status === "rejected" && !row.seen);
  }

  /** Return how many events and photos wait, of one visit or in all. */
  waiting(visit = null) {
    const mine = (id) => visit === null || id === visit;
    const events = this.rows.filter((row) => store.isToSend(row) && mine(row.event.visit));
    return events.length + this.photos.filter((photo) => store.isToSend(photo) && mine(photo.visit)).length;
  }

  /** Note that somebody has read why an event was refused. */
  async acknowledge(row) {
    row.seen = true;
    await store.keepRows([row]);
    this.hooks.onChange();
  }

  /** Send what waits under another tablet id: the server does not know the one before any more. */
  async renumber(tablet) {
    await store.renumber(tablet);
    await this.read();
  }

  /** Throw away what is in the record of visits that are no longer on this tablet. */
  async prune(visits) {
    const gone = (id) => !visits.has(id) && !this.waiting(id);
    const rows = this.rows.filter((row) => gone(row.event.visit) && (row.status !== "rejected" || row.seen));
    const photos = this.photos.filter((photo) => gone(photo.visit));
    if (!rows.length && !photos.length) return;
    await store.forget(rows.map((row) => row.event.id), photos.map((photo) => photo.blob));
    this.rows = this.rows.filter((row) => !rows.includes(row));
    this.photos = this.photos.filter((photo) => !photos.includes(photo));
  }

  lost() {
    this.signal = false;
    this.hooks.onChange();
  }

  /** Send what waits, events first; one call at a time. */
  async send() {
    clearTimeout(this.timer);
    if (this.sending || !this.api.tablet) return;
    const left = this.notBefore - performance.now();
    if (left > 0) {
      this.timer = setTimeout(() => this.send(), left);
      return;
    }
    this.sending = true;
    this.hooks.onChange();
    try {
      await this.read();
      // Another window may have had to register anew.
      this.api.tablet = await store.value("tablet", this.api.tablet);
      const sent = (await this.sendEvents()) + (await this.sendPhotos());
      Object.assign(this, { signal: true, signedOut: false, shutOut: false, failures: 0, trouble: null, sending: false });
      this.hooks.onChange();
      if (sent) this.hooks.onReceived();
    } catch (error) {
      this.sending = false;
      this.failed(error);
      return;
    }
    // What came while this was on its way goes at once; what waits for others, a little later.
    if (this.rows.some((row) => row.status === "waiting")) this.send();
    else if (this.waiting()) this.again();
  }

  async sendEvents() {
    const tried = new Set();
    let [sent, most] = [0, MOST_AT_ONCE];
    for (;;) {
      const batch = this.rows.filter((row) => store.isToSend(row) && !tried.has(row.event.id)).slice(0, most);
      if (batch.length === 0) return sent;
      try {
        await this.push(batch, batch.map((row) => row.event));
      } catch (error) {
        if (!isUnreadable(error)) throw error;
        // Halved until the one that cannot be read stands alone; that one is put aside over there.
        most = Math.max(1, Math.floor(batch.length / 2));
        if (batch.length > 1) continue;
        await this.push(batch, batch.map((row) => putAside(row.event)));
      }
      batch.forEach((row) => tried.add(row.event.id));
      sent += batch.length;
    }
  }

  async push(batch, events) {
    const { boot, mono, wall } = clock.stamp();
    const answer = await this.api.push({ tablet: this.api.tablet, boot, mono, wall, events });
    if (!Array.isArray(answer.results)) throw new TypeError("the answer is not the server's");
    await clock.note(answer);
    await this.settle(batch, answer);
  }

  async sendPhotos() {
    let sent = 0;
    for (const photo of this.photos.filter(store.isToSend)) {
      try {
        await this.api.upload(photo, await store.fileOf(photo));
        photo.sent = true;
        photo.box = null;
      } catch (error) {
        if (!(error.status >= 400 && error.status < 500) || LATER.has(error.status)) throw error;
        photo.refused = error.message;
      }
      await store.keepPhoto(photo);
      sent += 1;
    }
    return sent;
  }

  async settle(batch, answer) {
    const results = new Map(answer.results.map((result) => [result.id, result]));
    const refused = [];
    for (const row of batch) {
      const result = results.get(row.event.id);
      if (!result) continue;
      row.status = result.status === "duplicate" ? result.first : result.status;
      row.reason = result.reason;
      row.missing = result.missing;
      if (row.status === "rejected") refused.push(row);
    }
    const lost = this.rows.filter((row) => row.event.tablet === this.api.tablet && row.event.seq >= answer.next && !store.isToSend(row) && !results.has(row.event.id));
    lost.forEach((row) => { row.status = "waiting"; });
    await store.keepRows([...batch, ...lost]);
    if (answer.results.some((result) => this.neverComes(result))) await this.forgetTablet();
    this.hooks.onChange();
    if (refused.length) this.hooks.onRefused(refused);
  }

  // Whether an entry waits for a number that no entry here has.
  neverComes({ status, reason, expected }) {
    const own = (row) => row.event.tablet === this.api.tablet && row.event.seq === expected;
    return status === "deferred" && reason === "gap" && !this.rows.some((row) => store.isToSend(row) && own(row));
  }

  // Known under no id the tablet is registered anew, and counts what waits from 1.
  async forgetTablet() {
    this.api.tablet = null;
    await store.keep("tablet", null);
  }

  failed(error) {
    this.shutOut = error.status === 403 && error.code !== "tablet_revoked";
    this.signedOut = error.status === 401 || this.shutOut;
    this.signal = error.status !== undefined;
    this.trouble = error.status === undefined ? null : error.message;
    if (!this.signedOut) this.again(error.wait);
    this.hooks.onChange();
  }

  again(least = 0) {
    const wait = WAITS_S[Math.min(this.failures, WAITS_S.length - 1)] * (0.75 + Math.random() / 2);
    this.failures += 1;
    // A server that names a time is not asked before it, whatever is recorded meanwhile.
    this.notBefore = least ? performance.now() + least * 1000 : 0;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.send(), Math.max(wait, least) * 1000);
  }
}

function isUnreadable(error) {
  return error.status === 400 || error.status === 413;
}

// Only what counts it, and its text: the server keeps it aside whole for a person to read.
function putAside(event) {
  const { id, tablet, seq, visit } = event;
  return { id, tablet, seq, visit, text: JSON.stringify(event).slice(0, LONGEST_KEPT_ASIDE) };
}
