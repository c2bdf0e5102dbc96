// A stop is dragged along the time lines: while it rests somewhere, the page says what that costs and breaks.
// Everything here is also possible with the form that a press on the stop opens.

const lines = document.querySelector("[data-lines]");
const STEP = 5;
const REST = 300;
const MOVED = 4;

function unit() {
  return lines.viewBox.baseVal.width / lines.getBoundingClientRect().width;
}

function rowAt(y) {
  const rows = [...lines.querySelectorAll("[data-line]")];
  return rows.findLast((row) => Number(row.dataset.y) <= y) ?? rows[0];
}

function clock(minutes) {
  const whole = Math.max(0, Math.min(24 * 60 - STEP, Math.round(minutes / STEP) * STEP));
  return `${String(Math.floor(whole / 60)).padStart(2, "0")}:${String(whole % 60).padStart(2, "0")}`;
}

function ask(stop, row, x) {
  const minutes = Number(lines.dataset.first) + (x - Number(lines.dataset.left)) / Number(lines.dataset.scale);
  const values = {
    visit: stop.dataset.stop,
    technician: row.dataset.line,
    on: lines.dataset.on,
    start: clock(minutes),
    position: "",
    revision: lines.dataset.revision,
  };
  window.htmx.ajax("GET", lines.dataset.move, { target: "#move", swap: "innerHTML", values });
}

function begin(event) {
  const stop = event.target.closest("[data-stop]");
  if (!stop || event.button !== 0) return;
  const shape = stop.querySelector("rect");
  const from = { x: event.clientX, y: event.clientY, left: Number(shape.getAttribute("x")) };
  const home = Number(stop.closest("[data-line]").dataset.y);
  let moved = false;
  let resting = 0;
  let last = null;

  const where = (now) => {
    const scale = unit();
    const row = rowAt(home + 30 + (now.clientY - from.y) * scale);
    return { x: from.left + (now.clientX - from.x) * scale, row };
  };
  const drag = (now) => {
    if (!moved && Math.hypot(now.clientX - from.x, now.clientY - from.y) < MOVED) return;
    moved = true;
    stop.classList.add("line-moving");
    const { x, row } = where(now);
    stop.setAttribute("transform", `translate(${x - from.left} ${Number(row.dataset.y) - home})`);
    clearTimeout(resting);
    resting = setTimeout(() => ask(stop, row, x), REST);
    last = { row, x };
  };
  const end = (up) => {
    clearTimeout(resting);
    document.removeEventListener("pointermove", drag);
    document.removeEventListener("pointerup", end);
    document.removeEventListener("pointercancel", end);
    stop.classList.remove("line-moving");
    if (!moved) return;
    stop.addEventListener("click", (click) => click.preventDefault(), { once: true, capture: true });
    if (up.type === "pointerup") ask(stop, last.row, last.x);
    else stop.removeAttribute("transform");
  };
  document.addEventListener("pointermove", drag);
  document.addEventListener("pointerup", end);
  document.addEventListener("pointercancel", end);
}

if (lines) {
  for (const stop of lines.querySelectorAll("[data-stop]")) stop.dataset.movable = "";
  lines.addEventListener("pointerdown", begin);
  lines.addEventListener("dragstart", (event) => event.preventDefault());
}
