// What the time alone calls for: clocks that run, the end of the test mode, an outage that lasts too long.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { onTest } from "./fold.js";
import { impairmentFrom, lasted, limitOf, running } from "./outages.js";
import { address } from "./shell.js";
import { language, t } from "./words.js";

const EVERY_MS = 5000;
/** Minutes before the end of the test mode at which the tablet sounds, the first one early enough to ring. */
const SOUNDS_AT = [15, 5, 0];
// What this start of the app has made an impairment already.
const made = new Set();

/** Start the clocks of the app. */
export function start(app) {
  const sounded = new Set();
  setInterval(runClocks, 1000);
  setInterval(() => look(app, sounded), EVERY_MS);
  look(app, sounded);
}

function runClocks() {
  for (const one of document.querySelectorAll(".outage-clock")) one.textContent = lasted(Number(one.dataset.since));
}

function look(app, sounded) {
  if (!app.queue) return;
  const open = [...app.packs.keys()].map((id) => app.visit(id)).filter((visit) => visit.picture.state === "open");
  for (const visit of open) lastsTooLong(app, visit);
  warn(app, open.map(endingTest).find(Boolean) ?? null, sounded);
}

// The server's clock does the same; without signal this one is sooner.
function lastsTooLong(app, visit) {
  for (const one of running(visit)) {
    if (!one.own || !one.entry.shut || one.entry.started || one.entry.shut.by !== app.api.member?.id) continue;
    if (clock.now() < limitOf(visit, one) || made.has(one.id)) continue;
    made.add(one.id);
    app.record(visit.id, "impairment.start", impairmentFrom(one.id, one.entry), { stream: "impairment", stream_id: one.id })
      .then(() => { call(); shown(app, visit.id, one.id); });
  }
}

function shown(app, visit, id) {
  if (location.hash === address("v", visit, "out", id)) app.showAgain();
  else app.showStrip();
}

function endingTest(visit) {
  const test = onTest(visit.picture);
  if (!test?.until) return null;
  const minutes = Math.ceil((Date.parse(test.until) - clock.now()) / 60_000);
  return minutes <= SOUNDS_AT[0] ? { visit, until: test.until, minutes } : null;
}

function warn(app, ending, sounded) {
  const said = ending ? `${ending.until} ${ending.minutes}` : "";
  if ((app.warning?.dataset.said ?? "") !== said) {
    app.warning = ending && warning(ending, said);
    app.showStrip();
  }
  if (!ending) return;
  const stage = SOUNDS_AT.findLast((minutes) => ending.minutes <= minutes);
  const key = `${ending.until} ${stage}`;
  if (sounded.has(key)) return;
  sounded.add(key);
  call();
}

function warning({ visit, until, minutes }, said) {
  const time = clock.timeOf(until, visit.zone, language());
  const words = minutes > 0
    ? t("Test mode ends at {time}, in {n} minutes. Ring the station: longer, or off test.", { time, n: minutes })
    : t("Test mode ended at {time}. A signal now is taken for a real alarm: ring the station.", { time });
  return h("p", { class: "alarm", role: "alert", "data-said": said }, h("a", { href: address("v", visit.id, "station") }, words));
}

// Felt in a pocket and heard beside a running pump; a tablet that can do neither shows it all the same.
function call() {
  navigator.vibrate?.([400, 200, 400, 200, 400]);
  try {
    const audio = new AudioContext();
    const [tone, loud] = [audio.createOscillator(), audio.createGain()];
    tone.frequency.value = 880;
    loud.gain.value = 0.4;
    tone.connect(loud).connect(audio.destination);
    for (const at of [0, 0.5, 1]) {
      loud.gain.setValueAtTime(0.4, audio.currentTime + at);
      loud.gain.setValueAtTime(0, audio.currentTime + at + 0.3);
    }
    tone.start();
    tone.stop(audio.currentTime + 1.5);
    tone.onended = () => audio.close();
  } catch {
    // No sound to be had.
  }
}
