// Marks on a photo, drawn with a finger: arrow, circle, line and a short text. The photo itself stays as it is.

import { h } from "./dom.js";
import { photoOf } from "./photo.js";
import { button, chosen, choice, choices, field, textOf } from "./parts.js";
import { t } from "./words.js";

const LONGEST_SIDE = 1280;
const COLOUR = "#e00000";
const HALO = "#ffffff";
const STEP = 0.02;

/** Let somebody mark a photo; return the marked picture as a photo of its own, or null. */
export async function marked(photo, visit) {
  const picture = await createImageBitmap(photo.file);
  const board = new Board(picture);
  const done = await board.ask();
  picture.close();
  if (!done) return null;
  const blob = await new Promise((resolve) => board.canvas.toBlob(resolve, "image/jpeg", 0.8));
  return photoOf(blob, visit);
}

/** The picture with the marks on it, and the buttons for them. */
class Board {
  constructor(picture) {
    this.picture = picture;
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    this.canvas = h("canvas", { class: "board", tabindex: "0", role: "img", "aria-label": t("The picture, with your marks"), width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
    this.marks = [];
    this.cursor = { x: 0.5, y: 0.5 };
    this.canvas.addEventListener("pointerdown", (event) => this.begin(event));
    this.canvas.addEventListener("pointermove", (event) => this.go(event));
    for (const end of ["pointerup", "pointercancel"]) this.canvas.addEventListener(end, () => { this.present = null; });
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    this.draw();
  }

  /** Show it over the app; return whether it was kept. */
  ask() {
    return new Promise((resolve) => {
      this.dialog = h("dialog", { class: "marking", "aria-label": t("Mark the picture") },
        h("h2", {}, t("Mark the picture")),
        h("p", { class: "hint" }, t("Draw with a finger. With keys: arrows move, Enter sets the mark.")),
        this.canvas,
        choices(t("Mark"),
          choice("shape", "arrow", t("Arrow"), { checked: true }), choice("shape", "circle", t("Circle")),
          choice("shape", "line", t("Free line")), choice("shape", "text", t("Text"))),
        field(t("Text on the picture"), "words"),
        h("div", { class: "btn-row" },
          button(t("Undo"), () => { this.marks.pop(); this.draw(); }),
          button(t("Keep the marks"), () => this.close(resolve, this.marks.length > 0), { main: true }),
          button(t("Without marks"), () => this.close(resolve, false))));
      this.dialog.addEventListener("cancel", () => this.close(resolve, false));
      document.body.append(this.dialog);
      this.dialog.showModal();
    });
  }

  close(resolve, kept) {
    this.cursor = null;
    this.draw();
    this.dialog.remove();
    resolve(kept);
  }

  at(event) {
    const box = this.canvas.getBoundingClientRect();
    return { x: (event.clientX - box.left) / box.width, y: (event.clientY - box.top) / box.height };
  }

  begin(event) {
    event.preventDefault();
    this.canvas.setPointerCapture(event.pointerId);
    this.set(this.at(event));
  }

  set(point) {
    const shape = chosen(this.dialog, "shape");
    const words = textOf(this.dialog, "words").slice(0, 40);
    if (shape === "text" && !words) {
      this.dialog.querySelector('[name="words"]').focus();
      return;
    }
    this.present = { shape, words, points: [point, shape === "text" ? point : { x: point.x + 0.001, y: point.y }] };
    this.marks.push(this.present);
    this.draw();
  }

  go(event) {
    if (!this.present) return;
    const point = this.at(event);
    if (this.present.shape === "line") this.present.points.push(point);
    else if (this.present.shape === "text") this.present.points = [point, point];
    else this.present.points[1] = point;
    this.draw();
  }

  // Enter begins a mark where the cross stands and sets it where the cross went.
  key(event) {
    const moves = { ArrowLeft: [-STEP, 0], ArrowRight: [STEP, 0], ArrowUp: [0, -STEP], ArrowDown: [0, STEP] }[event.key];
    if (!moves && event.key !== "Enter") return;
    event.preventDefault();
    if (moves) {
      const within = (value) => Math.min(1, Math.max(0, value));
      this.cursor = { x: within(this.cursor.x + moves[0]), y: within(this.cursor.y + moves[1]) };
      if (this.present?.shape === "line") this.present.points.push(this.cursor);
      else if (this.present) this.present.points[1] = this.cursor;
    } else if (this.present) this.present = null;
    else this.set({ ...this.cursor });
    this.draw(true);
  }

  draw(withCross = false) {
    const { width, height } = this.canvas;
    const pen = this.canvas.getContext("2d");
    pen.drawImage(this.picture, 0, 0, width, height);
    const thick = Math.max(4, Math.round(width / 160));
    for (const one of this.marks) {
      for (const [colour, size] of [[HALO, thick * 2], [COLOUR, thick]]) stroke(pen, one, colour, size, width, height);
    }
    if (withCross && this.cursor) cross(pen, this.cursor.x * width, this.cursor.y * height, thick);
  }
}

function stroke(pen, { shape, points, words }, colour, size, width, height) {
  const [from, to] = [points[0], points.at(-1)].map(({ x, y }) => ({ x: x * width, y: y * height }));
  Object.assign(pen, { strokeStyle: colour, fillStyle: colour, lineWidth: size, lineCap: "round", lineJoin: "round" });
  pen.beginPath();
  if (shape === "circle") pen.ellipse((from.x + to.x) / 2, (from.y + to.y) / 2, Math.abs(to.x - from.x) / 2 + 1, Math.abs(to.y - from.y) / 2 + 1, 0, 0, 2 * Math.PI);
  else if (shape === "line") points.forEach(({ x, y }) => pen.lineTo(x * width, y * height));
  else if (shape === "arrow") arrow(pen, from, to, width / 20);
  else return write(pen, words, to, colour, width);
  pen.stroke();
}

function arrow(pen, from, to, head) {
  const angle = Math.atan2(to.y - from.y, to.x - from.x);
  pen.moveTo(from.x, from.y);
  pen.lineTo(to.x, to.y);
  for (const side of [-0.5, 0.5]) {
    pen.moveTo(to.x, to.y);
    pen.lineTo(to.x - head * Math.cos(angle + side), to.y - head * Math.sin(angle + side));
  }
}

function write(pen, words, { x, y }, colour, width) {
  pen.font = `bold ${Math.round(width / 16)}px sans-serif`;
  if (colour === HALO) pen.strokeText(words, x, y);
  else pen.fillText(words, x, y);
}

function cross(pen, x, y, thick) {
  Object.assign(pen, { strokeStyle: "#000000", lineWidth: thick });
  pen.beginPath();
  pen.moveTo(x - 20, y);
  pen.lineTo(x + 20, y);
  pen.moveTo(x, y - 20);
  pen.lineTo(x, y + 20);
  pen.stroke();
}
