// The technician's app starts here: what is kept is shown at once, then the server is asked.

import * as alarm from "./alarm.js";
import { Api } from "./api.js";
import * as clock from "./clock.js";
import { h } from "./dom.js";
import { itemScreen, leftScreen } from "./end_state.js";
import { findingScreen, ringScreen } from "./finding.js";
import { lineScreen } from "./lines.js";
import * as lock from "./lock.js";
import * as offline from "./offline.js";
import * as pack from "./pack.js";
import { button, linkButton, thumb } from "./parts.js";
import { Queue } from "./queue.js";
import { Shell } from "./shell.js";
import * as store from "./store.js";
import { arriveScreen, isClosed, listScreen, stationScreen, visitScreen } from "./visit.js";
import { startLanguage, t } from "./words.js";

const PULL_AGAIN_MS = 5 * 60_000;

// Fetched once the app stands; the worker keeps them for where there is no signal.
const [closing, guided, water, labels, people, likely, computing] = [
  lazily(() => import("./close.js")), lazily(() => import("./guide_ui.js")),
  lazily(() => import("./outage.js")), lazily(() => import("./scan.js")),
  lazily(() => import("./people.js")), lazily(() => import("./likely.js")),
  lazily(() => import("./calculate.js")),
];
const [drawings, notes, unsent, together] = [
  lazily(() => import("./sketches.js")), lazily(() => import("./note.js")),
  lazily(() => import("./unsent.js")), lazily(() => import("./bulk.js")),
];

const SCREENS = {
  arrive: arriveScreen, station: stationScreen, line: lineScreen, bulk: together("bulkScreen"), found: findingScreen,
  ring: ringScreen, end: itemScreen, left: leftScreen,
  close: closing("closeScreen"), sign: closing("signScreen"), leave: closing("leaveScreen"),
  shut: water("shutScreen"), out: water("outageScreen"),
  people: people("peopleScreen"), over: people("handOverScreen"), rest: people("restScreen"),
  scan: labels("scanScreen"), item: labels("subjectScreen"),
  likely: likely("likelyScreen"),
  look: drawings("lookScreen"), note: notes("noteScreen"),
  guide: (app, visit, device, task, step) => guided(step ? "stepScreen" : "guideScreen")(app, visit, device, task, step),
};

// What records work: once a visit is handed in it is frozen on this tablet.
const RECORDING = new Set(["arrive", "station", "line", "bulk", "found", "end", "close", "sign", "leave", "shut", "over", "rest", "note", "guide", "likely"]);
const frozen = closing("frozenScreen");

// Gives screens of a module: while it is not here yet, one that waits for it.
function lazily(load) {
  let module = null;
  let isLost = false;
  const loaded = () => load().then((found) => { module = found; }, () => { isLost = true; });
  addEventListener("ready", () => loaded().then(() => { isLost = false; }), { once: true });
  return (name) => (app, ...rest) => {
    if (module) return module[name](app, ...rest);
    if (isLost) return notHere(() => { isLost = false; app.show(); });
    loaded().then(() => app.showAgain());
    return { title: t("Opening"), nodes: [h("h1", {}, t("Opening"))] };
  };
}

function notHere(again) {
  return {
    title: t("Not here yet"),
    nodes: [
      h("h1", {}, t("Not here yet")),
      h("p", {}, t("This part of the app has not come over. It needs signal once, then it stays on this tablet.")),
      thumb(null, button(t("Try again"), again, { main: true }), linkButton(t("All visits"), "#/")),
    ],
  };
}

function screenOf(app, [place, id, name, ...rest]) {
  if (place === "unsent") return unsent("unsentScreen")(app);
  if (place === "calculate") return computing(id ? "calculationScreen" : "calculateListScreen")(app, id);
  const visit = place === "v" ? app.visit(id) : null;
  if (!visit) return listScreen(app);
  if (!name) return visitScreen(app, visit);
  if (isClosed(visit) && RECORDING.has(name)) return frozen(app, visit, name, ...rest);
  return (SCREENS[name] ?? visitScreen)(app, visit, ...rest);
}

async function start() {
  // Without HTTPS a browser gives no hashing, and what is signed could not be named.
  if (!window.isSecureContext) {
    document.querySelector("main").replaceChildren(h("h1", {}, t("This address is not secure")), h("p", {}, t("The app works under https:// only. Ask the office for that address.")));
    return;
  }
  await startLanguage();
  document.documentElement.toggleAttribute("data-sun", await store.value("sun", false));
  const api = new Api();
  const app = new Shell(api, screenOf);
  await offline.start();
  await lock.untilOpen();
  lock.watch();
  await clock.start();
  api.tablet = await store.value("tablet");
  api.member = await store.locked("member");
  app.packs = await pack.kept();
  alarm.start(app);
  app.queue = new Queue(api, {
    onChange: () => (app.follows ? showAnew(app) : app.showStrip()),
    onRefused: (refused) => { app.say(t("Not accepted: {what}", { what: refused[0].reason ?? "" })); showAnew(app); },
    onReceived: () => refresh(app),
  });
  await app.queue.start();
  if (app.packs.size) app.show();
  dispatchEvent(new Event("ready"));
  await refresh(app, true);
  setInterval(() => refresh(app), PULL_AGAIN_MS);
}

// Packs come anew; what somebody is typing is not taken from under their fingers.
async function refresh(app, first = false) {
  try {
    const changes = await import("./changes.js");
    const before = new Map(app.packs);
    const answer = await pull(app);
    const told = await changes.note(app, before, answer);
    if (first || answer.visits.length || answer.withdrawn.length) showAnew(app);
    else app.showStrip();
    changes.tell(app, told);
    const { fetchMissing } = await import("./sketches.js");
    if (await fetchMissing(app)) showAnew(app);
  } catch (error) {
    app.queue.failed(error);
    if (first) showAnew(app);
  }
}

// Laid anew under a finger, the screen would lose the tap.
function showAnew(app) {
  if (app.main.querySelector(":active")) setTimeout(showAnew, 99, app);
  else if (isReading(app)) app.showAgain();
  else app.freshen();
}

async function pull(app) {
  const answer = await pack.pull(app.api, app.packs, app.queue);
  app.queue.signal = true;
  const { visits } = await app.api.receipts();
  app.receipts = new Map(visits.map((one) => [one.visit, one]));
  if (app.queue.waiting()) app.queue.send();
  return answer;
}

function isReading(app) {
  return !app.main.querySelector("input, textarea, select, details[open]");
}

start();
