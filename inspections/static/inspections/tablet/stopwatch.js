// The stopwatch of a step: it runs on the tablet's stopwatch, not on its clock.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { guideWord, t } from "./words.js";

const TICK_MS = 100;
const running = new Map();

/**
 * A stopwatch with one lap for each time that is asked. It goes on while other screens show.
 *
 * `words` gives what a time is called; `onLap` is told each time that is taken, in decimal seconds.
 */
export class Stopwatch {
  constructor(key, names, { words = (name) => guideWord(`timer.${name}`), onLap = null } = {}) {
    Object.assign(this, { words, onLap });
    if (!running.has(key)) running.set(key, { started: null, laps: {} });
    this.kept = running.get(key);
    this.names = names;
    this.output = h("output", { "aria-label": t("Running time") });
    this.laps = h("div", { class: "laps" });
    this.buttons = h("div", { class: "thumb-two" });
    this.node = names.length ? h("div", { class: "watch" }, h("div", { class: "timer" }, this.output, this.laps), this.buttons) : null;
    this.draw();
  }

  /** Return the times taken as decimal seconds by name. */
  seconds() {
    return Object.fromEntries(Object.entries(this.kept.laps).map(([name, ms]) => [name, (ms / 1000).toFixed(1)]));
  }

  start() {
    this.kept.started = clock.mono();
    this.kept.laps = {};
    this.draw();
    this.tick();
  }

  lap(name) {
    this.kept.laps[name] = clock.mono() - this.kept.started;
    this.draw();
    this.onLap?.(name, this.seconds()[name]);
  }

  tick() {
    this.shownTime();
    if (this.output.isConnected && this.isRunning()) setTimeout(() => this.tick(), TICK_MS);
  }

  isRunning() {
    return this.kept.started !== null && this.names.some((name) => !(name in this.kept.laps));
  }

  shownTime() {
    const last = Math.max(0, ...Object.values(this.kept.laps));
    const ms = this.isRunning() ? clock.mono() - this.kept.started : last;
    const whole = Math.floor(ms / 1000);
    const two = (part) => String(part).padStart(2, "0");
    this.output.replaceChildren(`${two(Math.floor(whole / 60))}:${two(whole % 60)}`, h("small", {}, `.${Math.floor((ms % 1000) / 100)}`));
  }

  draw() {
    const taken = this.kept.laps;
    this.shownTime();
    this.laps.replaceChildren(...this.names.filter((name) => name in taken).map((name) => h("p", {}, `${this.words(name)} `, h("b", {}, `${(taken[name] / 1000).toFixed(1)} s`))));
    const open = this.kept.started === null ? [] : this.names.filter((name) => !(name in taken));
    const laps = open.map((name) => h("button", { type: "button", class: "btn lap", onclick: () => this.lap(name) }, this.words(name)));
    const start = h("button", { type: "button", class: "btn", onclick: () => this.start() }, this.kept.started === null ? t("Start the watch") : t("Start again"));
    this.buttons.replaceChildren(...laps, ...(this.isRunning() && laps.length ? [] : [start]));
    if (this.isRunning()) setTimeout(() => this.tick(), TICK_MS);
  }

  /** Forget the times, once they are recorded. */
  clear() {
    this.kept.started = null;
    this.kept.laps = {};
  }
}
