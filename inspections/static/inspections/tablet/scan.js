// Finds an item by its label, read by the camera, or by its number, name or serial number, typed.

import { h } from "./dom.js";
import { answerOf, shapeOf } from "./visit.js";
import { linesOf, subjectsOf } from "./pack.js";
import { button, field, linkButton, row, rows, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { t } from "./words.js";

const EVERY_MS = 250;
const MOST_SHOWN = 12;
const ID = /[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}/;

/** Find an item of the building. */
export function scanScreen(app, visit) {
  const subjects = subjectsOf(visit.pack);
  const found = h("div", { "aria-live": "polite" });
  const camera = h("div", { class: "camera" });
  const box = field(t("Number, name or serial number"), "sought", {});
  box.querySelector("input").addEventListener("input", ({ target }) => found.replaceChildren(matches(visit, subjects, target.value.trim())));
  const look = async () => {
    const id = await read(camera);
    if (id === null) return;
    const one = subjects.find(({ subject }) => subject.id === id);
    if (one) app.go("v", visit.id, "item", id);
    else found.replaceChildren(h("p", { class: "error", role: "alert" }, t("This label belongs to another building, or its item was added later.")));
  };
  return {
    title: t("Find by label"),
    nodes: [
      where(visit.building.name),
      h("h1", {}, t("Find by label")),
      camera, box, found,
      thumb(null, button(t("Read the label"), look, { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

/** One item: its lines on this visit, and what may be wrong with it. */
export function subjectScreen(app, visit, id) {
  const one = subjectsOf(visit.pack).find(({ subject }) => subject.id === id);
  if (!one) return scanScreen(app, visit);
  const lines = linesOf(visit.pack).filter(({ line }) => line.subject.id === id);
  return {
    title: one.name,
    nodes: [
      where(visit.building.name, one.code),
      h("h1", {}, one.name),
      one.location ? h("p", { class: "quiet" }, one.location) : null,
      rows(t("On this visit: {n}", { n: lines.length }), lines.map(({ line }) => {
        const heads = answerOf(visit, line);
        return row(address("v", visit.id, "line", line.id), heads ? shapeOf(heads[0].payload.answer) : "st-unknown", t(line.task));
      }), lines.length ? null : t("Nothing is asked of it today.")),
      thumb(null, linkButton(t("Something is wrong"), address("v", visit.id, "found", "of", id)), linkButton(t("Find another"), address("v", visit.id, "scan"), { main: true }), linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function matches(visit, subjects, sought) {
  if (!sought) return "";
  const word = plain(sought);
  const hits = subjects.filter((one) => [one.code, one.name, one.serial, one.location].some((text) => plain(text).includes(word)));
  hits.sort((a, b) => (plain(b.code) === word) - (plain(a.code) === word));
  const shown = hits.slice(0, MOST_SHOWN).map((one) => row(address("v", visit.id, "item", one.subject.id), "i-pin", one.name, [one.code, one.location].filter(Boolean).join(", ")));
  return rows(t("Found: {n}", { n: hits.length }), shown, hits.length > MOST_SHOWN ? t("Type more to see the others.") : null);
}

function plain(text) {
  return (text ?? "").normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
}

// Shows the camera until a label is read; null where there is no camera, or somebody went on.
async function read(place) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    place.replaceChildren(h("p", { class: "error", role: "alert" }, t("The camera is not to be had. Type the number on the label.")));
    return null;
  }
  const video = h("video", { playsinline: true, muted: true });
  place.replaceChildren(video);
  try {
    video.srcObject = stream;
    await video.play();
    const detector = await reader();
    while (video.isConnected) {
      const [code] = await detector.detect(video).catch(() => []);
      const id = code?.rawValue.toLowerCase().match(ID)?.[0];
      if (id) return id;
      await new Promise((done) => { setTimeout(done, EVERY_MS); });
    }
    return null;
  } finally {
    stream.getTracks().forEach((track) => track.stop());
    place.replaceChildren();
  }
}

// The browser's own reader where it has one; else the library's, which is fetched for it.
async function reader() {
  const Detector = globalThis.BarcodeDetector ?? (await import("../../contractors/vendor/qr/decode.js")).BarcodeDetector;
  return new Detector({ formats: ["qr_code"] });
}
