// The riser in lines, laid out from the parts that it is composed of.

import { s } from "../tablet/dom.js";

const SIZE = { wide: 390, left: 118, middle: 152, row: 94, symbol: 36, line: 13, letters: 17, lettersAside: 12 };
const PIPE = SIZE.left + 24;
const WIRE = SIZE.left - 4;
const TRIM = SIZE.left + SIZE.middle - 8;
// Where the parts stand, from the top; what a riser does not have is left out.
const COLUMNS = {
  electric: ["panel", "ac_power", "zone_1", "zone_2", "manual_station", "release_disconnect", "solenoid"],
  alarm: ["alarm_line_valve", "alarm_test_valve"],
  riser: ["sprinkler", "gauge_system", "system_drain", "system_valve", "inlet_drain", "gauge_supply", "control_valve"],
  above: ["test_connection", "air_supply_valve", "compressor", "low_points", "qod_isolation_valve", "qod"],
  below: ["gauge_prime", "priming_supply_valve", "manual_release", "gauge_pilot", "pilot_head"],
};
const SYMBOLS = {
  panel: "panel", ac_power: "panel", manual_station: "manual-release", release_disconnect: "manual-release", solenoid: "solenoid", low_points: "low-point",
  compressor: "compressor", qod: "check-valve", system_valve: "check-valve-up",
};

/**
 * Return the drawing.
 *
 * `given`: parts, seen (what can be observed, nothing else), at (a part as it stands: in words,
 * whether it is open), chosen, choose(part).
 */
export function riser(given) {
  const columns = Object.fromEntries(Object.entries(COLUMNS).map(([name, codes]) => [name, codes.filter((code) => isThere(given, code))]));
  const [left, right] = [[...columns.electric, ...columns.alarm], [...columns.above, ...columns.below]];
  const high = SIZE.row * Math.max(left.length, right.length, columns.riser.length);
  const places = { ...spread(left, 26, high), ...spread(columns.riser, PIPE, high), ...spread(right, TRIM + 34, high) };
  return s("svg", { class: "d", viewBox: `0 0 ${SIZE.wide} ${high}`, role: "group", "aria-label": given.label },
    wire(columns, places), trim(columns, places), pipes(given, places, high), Object.entries(places).map(([code, place]) => cell(given, code, place)));
}

function isThere({ parts, seen }, code) {
  return code in parts && (!code.startsWith("gauge_") || (seen[code] !== null && seen[code] !== undefined));
}

function spread(codes, x, high) {
  const step = high / codes.length;
  return Object.fromEntries(codes.map((code, index) => [code, { x, y: index * step + step / 2 - 20, step }]));
}

function pipes({ seen, isWet }, places, high) {
  const [top, foot] = [places.sprinkler?.y ?? 8, high];
  const seat = (places.system_valve ?? places.inlet_drain).y;
  const air = !isWet && !seen.water_in_piping && seen.gauge_system > 0;
  return [...pipe(top, seat, isWet || seen.water_in_piping), air ? s("path", { class: "p-dots", d: `M${PIPE} ${top}V${seat}` }) : null, ...pipe(seat, foot, seen.gauge_supply > 0)];
}

function pipe(from, to, isFull) {
  const d = `M${PIPE} ${from}V${to}`;
  return [s("path", { class: "p-out", d }), s("path", { class: `p-in${isFull ? " water" : ""}`, d })];
}

// From everything electric to the valve that the panel releases, where it releases one.
function wire({ electric }, places) {
  const rows = electric.map((code) => places[code]);
  const to = places.solenoid || "zone_1" in places ? places.system_valve : null;
  const last = Math.max(rows.at(-1).y, to?.y ?? 0);
  return s("path", { class: "wire", d: `M${WIRE} ${rows[0].y}V${last}${rows.map(({ x, y }) => `M${x} ${y}H${WIRE}`).join("")}${to ? `M${WIRE} ${to.y}H${PIPE}` : ""}` });
}

// Above and below the seat one line each joins its parts, between the words beside the riser.
function trim({ above, below, alarm }, places) {
  const lines = [alarm.map((code) => `M${places[code].x} ${places[code].y}H${PIPE}`).join("")];
  const seat = places.system_valve ?? places.inlet_drain;
  for (const [codes, side] of [[above, -0.5], [below, 0.5]]) {
    const rows = codes.map((code) => places[code].y);
    const joint = seat.y + side * seat.step;
    if (rows.length) lines.push(`M${PIPE} ${joint}H${TRIM}M${TRIM} ${Math.min(joint, ...rows)}V${Math.max(joint, ...rows)}`, ...codes.map((code) => `M${TRIM} ${places[code].y}H${places[code].x}`));
  }
  return s("path", { class: "trim", d: lines.join("") });
}

function cell(given, code, { x, y, step }) {
  const { parts, at, chosen, choose } = given;
  const said = at(code);
  const isRiser = x === PIPE;
  const aside = isRiser && code.endsWith("_drain") ? 22 : 0;
  const names = lines(parts[code].name, aside ? SIZE.lettersAside : SIZE.letters);
  const rows = [...names, ...lines(said.text, SIZE.letters)];
  const words = { x: isRiser ? x + 25 + aside * 0.8 : x - 18, y: isRiser ? y + 4 - (SIZE.line * (rows.length - 1)) / 2 : y + 31 };
  const spot = { x: isRiser ? x - 22 : x - 23, y: y - 23, width: isRiser ? SIZE.middle - 10 : SIZE.left - 8, height: Math.min(SIZE.row, step) - 4 };
  const body = [
    s("rect", { class: "spot", ...spot }),
    code.startsWith("gauge_") ? dial(x, y, said.psi) : use(symbolOf(code, said), x + aside, y + aside / 3, code === "control_valve" ? 90 : 0),
    rows.map((text, index) => s("text", { class: index < names.length ? "small strong" : "small", x: words.x, y: words.y + SIZE.line * index, "aria-hidden": "true" }, text)),
  ];
  const spoken = said.text ? `${parts[code].name}, ${said.text}` : parts[code].name;
  if (parts[code].deeds.length === 0) return s("g", { role: "img", "aria-label": spoken }, body);
  const press = (event) => { if (event.type === "click" || event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(code); } };
  return s("g", { role: "button", tabindex: "0", "data-part": code, "aria-label": spoken, "aria-pressed": String(code === chosen), onclick: press, onkeydown: press }, body);
}

function lines(text, letters) {
  if (text.length <= letters) return text ? [text] : [];
  const middle = text.lastIndexOf(" ", letters);
  return middle > 0 ? [text.slice(0, middle), ...lines(text.slice(middle + 1), letters)] : [text];
}

function symbolOf(code, said) {
  if (code === "control_valve") return `control-valve-${said.part}`;
  const word = said.isOn ? "open" : "closed";
  if (code.endsWith("_drain") || code === "test_connection") return `drain-${word}`;
  if (code === "sprinkler") return `sprinkler-${word}`;
  if (code.startsWith("zone_")) return said.isOn ? "detector-alarm" : "detector";
  return SYMBOLS[code] ?? `control-valve-${word}`;
}

function use(name, x, y, turned) {
  const half = SIZE.symbol / 2;
  const sprite = document.documentElement.dataset.symbols;
  return s("use", { href: `${sprite}#${name}`, x: x - half, y: y - half, width: SIZE.symbol, height: SIZE.symbol, transform: turned ? `rotate(${turned} ${x} ${y})` : null });
}

// A face of 0 to 200 psi over three quarters of a turn.
function dial(x, y, psi) {
  const turn = (-135 + 270 * Math.min(1, Math.max(0, psi / 200))) * Math.PI / 180;
  return [
    s("circle", { class: "g-face", cx: x, cy: y, r: 18 }),
    s("path", { class: "g-needle", d: `M${x} ${y}L${(x + 13 * Math.sin(turn)).toFixed(1)} ${(y - 13 * Math.cos(turn)).toFixed(1)}` }),
    s("circle", { class: "g-hub", cx: x, cy: y, r: 2.5 }),
  ];
}
