// Sketches and photos of where things are: fetched while there is signal, looked at without any.

import { h } from "./dom.js";
import { sha256 } from "./fold.js";
import { button, linkButton, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import * as store from "./store.js";
import { t } from "./words.js";

// As much as a tablet takes along; the days that come first go first.
const MOST_BYTES = 80 * 2 ** 20;
const STEP = 1.5;
const MOST = 8;
let running = null;

/** Fetch the sketches that the packs name and the tablet lacks; say whether any came. */
export function fetchMissing(app) {
  running ??= fetched(app).finally(() => { running = null; });
  return running;
}

async function fetched(app) {
  const wanted = takenAlong([...app.packs.values()]);
  const kept = new Set(await store.pictures());
  await store.forgetPictures([...kept].filter((hash) => !wanted.has(hash)));
  let came = false;
  for (const [hash, one] of wanted) {
    if (kept.has(hash)) continue;
    const file = await app.api.picture(one.id).catch((error) => {
      if (error.status === 404) return null; // Withdrawn meanwhile; the next pack knows.
      throw error;
    });
    if (!file || (await sha256(await file.arrayBuffer())) !== hash) continue;
    await store.keepPicture(hash, file);
    came = true;
  }
  return came;
}

function takenAlong(packs) {
  const found = new Map();
  let bytes = 0;
  packs.sort((a, b) => (a.visit.planned_on ?? "").localeCompare(b.visit.planned_on ?? ""));
  for (const one of packs.flatMap((pack) => pack.sketches ?? [])) {
    if (found.has(one.sha256) || bytes + one.size > MOST_BYTES) continue;
    bytes += one.size;
    found.set(one.sha256, one);
  }
  return found;
}

/** Fill a list with small pictures that lead to the large ones. */
export function fill(list, visit, all) {
  list.replaceChildren(...all.map((one) => {
    const image = h("img", { alt: "", width: one.width, height: one.height });
    const note = h("small", {}, one.riser_name);
    show(image, one, note);
    return h("li", {}, h("a", { href: address("v", visit.id, "look", one.id) }, image, h("span", {}, one.caption), note));
  }));
}

async function show(image, one, note) {
  const file = await store.pictureOf(one.sha256);
  if (!file) {
    image.remove();
    note.textContent = t("Not on this tablet yet; it comes when there is signal.");
    return;
  }
  image.addEventListener("load", () => URL.revokeObjectURL(image.src), { once: true });
  image.src = URL.createObjectURL(file);
}

/** One sketch, as large as one wants it. */
export function lookScreen(app, visit, id) {
  const all = visit.pack.sketches ?? [];
  const place = Math.max(all.findIndex((one) => one.id === id), 0);
  const one = all[place];
  const back = button(t("Back"), () => history.back());
  if (!one) return { title: t("Where things are"), nodes: [h("h1", {}, t("Where things are")), thumb(null, back)] };
  const board = new Board(one);
  const next = all.length > 1 ? linkButton(t("Next picture"), address("v", visit.id, "look", all[(place + 1) % all.length].id)) : null;
  return {
    title: one.caption,
    nodes: [
      where(`${visit.building.name}, ${one.riser_name || t("of the whole building")}`, t("{n} of {all}", { n: place + 1, all: all.length })),
      h("h1", {}, one.caption),
      board.node,
      thumb(null,
        button(t("Larger"), () => board.larger(STEP), { main: true }), button(t("Smaller"), () => board.larger(1 / STEP)),
        button(t("Whole picture"), () => board.whole()), next, back),
    ],
  };
}

/** A picture that fingers, mouse and keys make larger and move. */
class Board {
  constructor(one) {
    this.one = one;
    this.scale = 1;
    this.fingers = new Map();
    const note = h("p", { class: "quiet" });
    this.image = h("img", { alt: one.caption, draggable: "false" });
    this.box = h("div", {
      class: "board-box", tabindex: "0", role: "group", "aria-label": one.caption, "aria-description": t("The keys plus and minus make it larger and smaller, the arrows move it."),
      onkeydown: (event) => this.key(event), onpointerdown: (event) => this.down(event), onpointermove: (event) => this.move(event),
      onpointerup: (event) => this.up(event), onpointercancel: (event) => this.up(event),
      ondblclick: (event) => (this.scale > 1 ? this.whole() : this.larger(2.5, event)),
      onwheel: (event) => { if (event.ctrlKey) { event.preventDefault(); this.larger(event.deltaY < 0 ? 1.2 : 1 / 1.2, event); } },
    }, this.image);
    this.node = h("div", {}, this.box, note);
    show(this.image, one, note);
    new ResizeObserver(() => this.draw()).observe(this.box);
  }

  key(event) {
    const act = { "+": () => this.larger(STEP), "=": () => this.larger(STEP), "-": () => this.larger(1 / STEP), 0: () => this.whole() }[event.key];
    if (!act || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    act();
  }

  down(event) {
    this.fingers.set(event.pointerId, event);
    if (this.scale > 1 || this.fingers.size > 1) this.box.setPointerCapture(event.pointerId);
  }

  up(event) {
    this.fingers.delete(event.pointerId);
  }

  move(event) {
    const before = this.fingers.get(event.pointerId);
    if (!before) return;
    const other = [...this.fingers.values()].find((one) => one.pointerId !== event.pointerId);
    this.fingers.set(event.pointerId, event);
    if (other) {
      const middle = { clientX: (event.clientX + other.clientX) / 2, clientY: (event.clientY + other.clientY) / 2 };
      this.larger(apart(event, other) / Math.max(apart(before, other), 1), middle);
    } else if (this.scale > 1) {
      this.box.scrollBy(before.clientX - event.clientX, before.clientY - event.clientY);
    }
  }

  /** Make it larger by a factor; the point given, or the middle, stays where it is. */
  larger(factor, point = null) {
    const { left, top, width, height } = this.box.getBoundingClientRect();
    const [x, y] = point ? [point.clientX - left, point.clientY - top] : [width / 2, height / 2];
    const [from, at] = [this.scale, [this.box.scrollLeft + x, this.box.scrollTop + y]];
    this.scale = Math.min(Math.max(this.scale * factor, 1), MOST);
    this.draw();
    this.box.scrollTo((at[0] * this.scale) / from - x, (at[1] * this.scale) / from - y);
  }

  whole() {
    this.scale = 1;
    this.draw();
  }

  draw() {
    const { width, height } = this.one;
    const fit = Math.min(this.box.clientWidth / width, (0.6 * innerHeight) / height);
    this.image.style.width = `${width * fit * this.scale}px`;
    this.box.classList.toggle("is-large", this.scale > 1);
  }
}

function apart(one, other) {
  return Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
}
