// The clocks of this tablet, as an event carries them.

import { newId } from "./ids.js";
import * as store from "./store.js";

// A clock no farther off than this is right; a page that lies still for longer is started anew.
const [RIGHT_MS, LONGEST_SLEEP_MS] = [60_000, 14 * 86_400_000];

const boot = newId();
let ticket = null;
let slow = 0;
let heard = null;

/** Take up what the last contact before the app was started said of the time. */
export async function start() {
  ticket ??= await store.value("ticket");
  slow ||= await store.value("slow", 0);
}

/** Note and keep what an answer of the server says of the time: its ticket, and the moment. */
export async function note(answer) {
  if (!answer.ticket) return;
  ticket = answer.ticket;
  await store.keep("ticket", ticket);
  const at = Date.parse(answer.server_time);
  if (!at) return;
  heard = { at, mono: performance.now() };
  slow = Math.abs(at - Date.now()) > RIGHT_MS ? at - Date.now() : 0;
  await store.keep("slow", slow);
}

/** Return the moment now, as far as is known: by this tablet's clock, put right by the last contact. */
export function now() {
  const byClock = Date.now() + slow;
  if (!heard) return new Date(byClock);
  // The stopwatch stops in sleep and never runs ahead: what it cannot explain was a clock set anew.
  const byStopwatch = heard.at + performance.now() - heard.mono;
  const slept = byClock - byStopwatch;
  return new Date(slept < -2 * RIGHT_MS || slept > LONGEST_SLEEP_MS ? byStopwatch : byClock);
}

/** Return the clocks now, as they are and not put right: {wall, mono, boot, ticket}. */
export function stamp() {
  return { wall: instant(new Date()), mono: mono(), boot, ticket };
}

/** Return milliseconds since the app started; never goes back. */
export function mono() {
  return Math.floor(performance.now());
}

/** Return a moment as text with its offset from UTC. */
export function instant(moment) {
  const minutes = -moment.getTimezoneOffset();
  const local = new Date(moment.getTime() + minutes * 60_000).toISOString().slice(0, -1);
  const size = Math.abs(minutes);
  const two = (part) => String(part).padStart(2, "0");
  return `${local}${minutes < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}

/** Return the time of day at a building: 14:05. */
export function timeOf(moment, zone, language = "en") {
  const options = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  return new Date(moment).toLocaleTimeString(language, { ...options, timeZone: zone || undefined });
}

/** Return a day in words: 12 Jan 2026. */
export function dayOf(moment, language = "en", zone = undefined) {
  const dayOnly = typeof moment === "string" && moment.length === 10;
  const timeZone = dayOnly ? "UTC" : zone;
  const options = { day: "numeric", month: "short", year: "numeric", timeZone };
  return new Date(moment).toLocaleDateString(language, options);
}

/** Return the date of a moment in a zone as YYYY-MM-DD. */
export function dayAt(moment, zone) {
  return new Date(moment).toLocaleDateString("sv", { timeZone: zone || undefined });
}

/** Return today's date in a zone as YYYY-MM-DD. */
export function today(zone) {
  return now().toLocaleDateString("sv", { timeZone: zone || undefined });
}

/** Return the moment of a time of day (HH:MM) at a building, the next one not long past. */
export function momentAt(clock, zone) {
  const [hour, minute] = clock.split(":").map(Number);
  const [h, m] = timeOf(now(), zone).split(":").map(Number);
  let ahead = hour * 60 + minute - (h * 60 + m);
  if (ahead < -12 * 60) ahead += 24 * 60;
  const moment = new Date(now().getTime() + ahead * 60_000);
  moment.setSeconds(0, 0);
  return moment;
}
