// The frame of the app: addresses behind the #, the strip that is always there, and recording.

import * as clock from "./clock.js";
import { h, symbol } from "./dom.js";
import { fold, onTest } from "./fold.js";
import { newId } from "./ids.js";
import { notRestored } from "./end_state.js";
import * as outages from "./outages.js";
import * as store from "./store.js";
import { language, t } from "./words.js";

const WORDS = {
  kept: () => t("On this tablet"),
  sending: () => t("Sending"),
  received: () => t("Received"),
  sealed: () => t("Sealed"),
};

/** The app: what it holds, where it stands, and how things get recorded. */
export class Shell {
  constructor(api, screens) {
    this.api = api;
    this.screens = screens;
    this.queue = null;
    this.packs = new Map();
    this.receipts = new Map();
    this.seen = new Map();
    this.said = "";
    this.warning = null;
    this.news = null;
    this.strip = document.querySelector(".strip");
    this.main = document.querySelector("main");
    // Before the queue is there the app is still starting; it shows the address of then.
    addEventListener("hashchange", () => this.queue && this.show());
    // The second tap of two quick ones was meant for the screen before.
    this.main.addEventListener("click", (event) => event.detail > 1 && event.target.closest(".thumb") && stop(event), { capture: true });
    document.querySelector(".skip").addEventListener("click", (event) => {
      event.preventDefault();
      this.main.focus();
    });
  }

  /** Return a visit with its pack and picture, or null. */
  visit(id) {
    const pack = this.packs.get(id);
    if (!pack) return null;
    const events = [...pack.events, ...this.queue.eventsOf(id)];
    const before = this.seen.get(id);
    const isSame = before?.visit.pack === pack && before.events.length === events.length && before.events.every((event, place) => event === events[place]);
    if (isSame) return before.visit;
    const visit = { id, pack, picture: fold(events), building: pack.building, zone: pack.building.time_zone };
    this.seen.set(id, { events, visit });
    return visit;
  }

  /** Go to another screen of the app. */
  go(...parts) {
    const hash = address(...parts);
    if (location.hash === hash) this.show();
    else location.hash = hash;
  }

  /** Take strong contrast for bright sun, or leave it, and keep the choice. */
  async setSun(on) {
    document.documentElement.toggleAttribute("data-sun", on);
    await store.keep("sun", on);
    this.showAgain();
  }

  /** Say one sentence at the top of the next screen. */
  say(sentence) {
    this.said = sentence;
  }

  /**
   * Record something on a visit: it is kept on this tablet before anything else happens.
   *
   * `more` may hold `seen` (the heads it replaces), `stream` and `stream_id` where it stands on a
   * finding or an impairment, and `photo`.
   */
  async record(visit, kind, payload, { photo = null, ...more } = {}) {
    const event = { id: newId(), stream: "visit", stream_id: visit, visit, kind, ...more, payload: filled(payload) };
    try {
      return await this.queue.append(event, photo);
    } catch (error) {
      this.notKept(error);
      throw error;
    }
  }

  /** Say that what was done last is not recorded; what is typed stays. */
  notKept(error) {
    if (error instanceof store.Locked || error.name === "InvalidStateError") location.reload();
    const words = error.name === "QuotaExceededError"
      ? t("Not recorded: this tablet has no room left. Free some, then do it again.")
      : t("Not recorded: this tablet could not keep it. Do it again.");
    this.main.querySelector(".not-kept")?.remove();
    const told = h("p", { class: "toast not-kept", role: "alert" }, words);
    this.main.prepend(told);
    told.scrollIntoView({ block: "center" });
    error.told = true;
  }

  /** Show the screen of the present address. */
  show() {
    const parts = location.hash.startsWith("#/") ? location.hash.slice(2).split("/").map(decodeURIComponent) : [];
    for (const [id, pack] of this.packs) if (pack.withdrawn) this.packs.delete(id);
    const { className, title, nodes, news, follows } = this.screenOf(parts);
    Object.assign(this, { news: null, lookForNews: news, follows });
    this.main.className = className ?? "finding";
    const said = this.said ? h("p", { class: "toast", role: "status" }, this.said) : null;
    this.said = "";
    this.main.replaceChildren(...[said, nodes].flat(Infinity).filter(Boolean));
    document.title = `${title} · Maindrain`;
    scrollTo({ top: 0, behavior: "instant" });
    const heading = this.main.querySelector("h1");
    heading?.setAttribute("tabindex", "-1");
    heading?.focus({ preventScroll: true });
    this.showStrip();
  }

  // What an address names may be gone from the visit since, or never have been there.
  screenOf(parts) {
    try {
      return this.screens(this, parts);
    } catch (error) {
      if (parts.length < 3) throw error;
      this.say(t("This is not part of the visit now."));
      return this.screens(this, parts.slice(0, 2));
    }
  }

  /** Show the present screen again: what is typed elsewhere on it stays, and where one is on it. */
  showAgain() {
    const focused = markOf(document.activeElement, this.main);
    const boxes = () => [...this.main.querySelectorAll("input, textarea")].filter((box) => box.name && !["radio", "checkbox"].includes(box.type));
    const [typed, top] = [new Map(boxes().map((box) => [box.name, box.value])), scrollY];
    this.show();
    for (const box of boxes()) if (typed.has(box.name)) box.value = typed.get(box.name);
    if (focused) found(focused, this.main)?.focus({ preventScroll: true });
    scrollTo({ top, behavior: "instant" });
  }

  /** Show what is new without laying the screen anew: somebody is typing on it. */
  freshen() {
    this.showStrip();
    this.lookForNews?.();
  }

  /** Tell of news in the strip, or of none any more. */
  tell(news) {
    if (news && this.news?.isEqualNode(news)) return;
    this.news = news;
    this.showStrip();
  }

  /** Show the strip anew: signal, what waits, what is not restored, the time on test. */
  showStrip() {
    const visit = this.visit(location.hash.split("/")[2] ?? "") ?? this.openVisit();
    const shut = visit && outages.running(visit).find((one) => one.own);
    const cells = h("ul", {}, this.signalCell(), shut ? this.outageCell(visit, shut) : null, visit && this.testCell(visit), visit && this.restoredCell(visit, shut));
    const [before, ...told] = this.strip.childNodes;
    const below = [this.warning, this.news].filter(Boolean);
    // What has not changed is not said again, and keeps the focus.
    if (!before?.isEqualNode(cells) || told.length !== below.length || below.some((one, place) => one !== told[place])) {
      const focused = markOf(document.activeElement, this.strip);
      this.strip.replaceChildren(cells, ...below);
      if (focused) found(focused, this.strip)?.focus({ preventScroll: true });
    }
    for (const word of document.querySelectorAll(".whereabouts")) word.textContent = this.whereabouts(word.dataset.visit) ?? "";
  }

  openVisit() {
    for (const id of this.packs.keys()) {
      const visit = this.visit(id);
      if (visit.picture.state === "open") return visit;
    }
    return null;
  }

  signalCell() {
    const waiting = this.queue.waiting();
    const { signal, signedOut } = this.queue;
    const first = signedOut ? t("Signed out") : signal ? t("Signal") : t("No signal");
    const second = waiting ? t("{n} to send", { n: waiting }) : t("all sent");
    return h("li", {}, h("a", { href: address("unsent") }, symbol(signal ? "i-signal" : "i-nosignal"), h("span", {}, h("b", {}, first), second)));
  }

  testCell(visit) {
    const running = onTest(visit.picture);
    const until = running?.until ? t("until {time}", { time: clock.timeOf(running.until, visit.zone, language()) }) : "";
    const words = running ? [h("b", {}, t("On test")), until] : [h("b", {}, t("Not on test")), t("station")];
    return h("li", {}, h("a", { href: address("v", visit.id, "station") }, symbol("st-test"), h("span", {}, words)));
  }

  // Beside water that is shut there is no saying that nothing is left to restore.
  restoredCell(visit, shut) {
    const left = notRestored(visit).length;
    if (shut && !left) return null;
    const words = left ? [h("b", {}, t("{n} not", { n: left })), t("restored")] : [h("b", {}, t("Nothing left")), t("to restore")];
    return h("li", {}, h("a", { href: address("v", visit.id, "left") }, symbol(left ? "st-impaired" : "st-order"), h("span", {}, words)));
  }

  outageCell(visit, one) {
    const words = [h("b", { class: "outage-clock", "data-since": one.since, "aria-live": "off" }, outages.lasted(one.since)), one.impaired ? t("out of service") : t("water shut")];
    return h("li", { class: "is-shut" }, h("a", { href: address("v", visit.id, "out", one.id) }, symbol("st-impaired"), h("span", {}, words)));
  }

  /** Return where a visit's record is as a word that keeps itself up to date. */
  word(visit) {
    return h("span", { class: "whereabouts", "data-visit": visit }, this.whereabouts(visit) ?? "");
  }

  /** Return one of the four words for where a visit's record is, or null while it has none. */
  whereabouts(visit) {
    if (this.receipts.get(visit)?.state === "sealed" || this.packs.get(visit)?.visit.state === "sealed") return WORDS.sealed();
    if (this.queue.waiting(visit)) return this.queue.sending ? WORDS.sending() : WORDS.kept();
    const any = this.queue.eventsOf(visit).length || this.packs.get(visit)?.events.length;
    return any ? WORDS.received() : null;
  }
}

/** Return the address of a screen. */
export function address(...parts) {
  return `#/${parts.map(encodeURIComponent).join("/")}`;
}

// An element by what it is, so that the one which takes its place is known again.
function markOf(element, within) {
  if (!element || element === within || !within.contains(element)) return null;
  return element.id ? `#${element.id}` : `${element.tagName} ${element.getAttribute("href") ?? element.textContent}`;
}

function found(mark, within) {
  return [...within.querySelectorAll("a, button, input, select, textarea, summary, [tabindex]")].find((one) => markOf(one, within) === mark);
}

function stop(event) {
  event.preventDefault();
  event.stopPropagation();
}

function filled(payload) {
  const kept = Object.entries(payload).filter(([, value]) => value !== null && value !== undefined && value !== "");
  return Object.fromEntries(kept);
}
