// The riser as a line drawing, from what it is composed of and where the model stands.

import { h, s } from "./dom.js";
import { pressure } from "./riser_state.js";
import { observe } from "./sequence.js";
import { guideWord, t } from "./words.js";

const X = 150;
const PLACES = {
  control_valve: [X, 262], system_valve: [X, 176], inlet_drain: [214, 222], system_drain: [214, 130],
  test_connection: [322, 74], alarm_test_valve: [60, 196], panel: [40, 34], air_supply_valve: [60, 84],
};
const ACT_PLACES = {
  control_valve: "control_valve", panel_reset: "panel", detector_alarm: "panel", detector_clear: "panel",
  reset_clapper: "system_valve", reset_qod: "system_valve", reset_solenoid: "panel", drain_low_points: "system_drain",
};

/** Return the drawing of a riser; the place of the present step is framed. */
export function schematic(visit, { config, state, records }, step = null) {
  const seen = observe(config, state);
  const place = PLACES[placeOf(step)];
  const title = s("title", {}, description(seen));
  return h("figure", { class: "drawing visit-drawing" }, s("svg", { class: "d", viewBox: "0 0 366 300", role: "img" },
    title, pipes(config, state), valves(config, state, seen), gauges(visit, config, seen, records.length > 0),
    place ? s("rect", { class: "here", x: place[0] - 30, y: place[1] - 30, width: 60, height: 60 }) : null));
}

function placeOf(step) {
  const act = step?.acts.find((one) => one.kind in ACT_PLACES || one.what in PLACES);
  return act ? (act.what in PLACES ? act.what : ACT_PLACES[act.kind]) : null;
}

function description(seen) {
  const water = seen.water_in_piping ? t("water in the piping") : t("no water in the piping");
  return `${t("Riser by the steps recorded")}: ${t("system valve")} ${wordOf(seen.valve)}, ${guideWord(`panel.${seen.panel}`)}, ${water}`;
}

function wordOf(valve) {
  return { open: t("open"), closed: t("closed") }[valve] ?? t("none");
}

function pipes(config, state) {
  const top = `M${X} 150V40H322V62`;
  const wetAbove = state.water_frac > 0;
  const wetBelow = state.inlet_psi > 0;
  return [
    s("path", { class: "p-out", d: `M${X} 300V176` }), s("path", { class: `p-in${wetBelow ? " water" : ""}`, d: `M${X} 300V176` }),
    s("path", { class: "p-out", d: `M${X} 176${top.replace(`M${X} 150`, "")}` }), s("path", { class: `p-in${wetAbove ? " water" : ""}`, d: `M${X} 176${top.replace(`M${X} 150`, "")}` }),
    config.air && !wetAbove && state.air_psi > 0 ? s("path", { class: "p-dots", d: top }) : null,
    s("path", { class: `trim${wetBelow ? " water" : ""}`, d: `M${X} 222H200` }), s("path", { class: "trim", d: `M${X} 130H200` }),
  ];
}

function use(name, x, y, size, turned = 0) {
  const sprite = document.documentElement.dataset.symbols;
  return s("use", { href: `${sprite}#${name}`, x: x - size / 2, y: y - size / 2, width: size, height: size, transform: turned ? `rotate(${turned} ${x} ${y})` : null });
}

function label(x, y, strong, soft, end = "") {
  return [s("text", { class: `strong small ${end}`, x, y }, strong), s("text", { class: `soft small ${end}`, x, y: y + 15 }, soft)];
}

function valves(config, state, seen) {
  const part = state.control_pct >= 100 ? "open" : state.control_pct > 0 ? "part" : "closed";
  const position = { open: t("open"), part: t("part open"), closed: t("shut") };
  const hand = (name) => (state.hand[name] ? "open" : "closed");
  return [
    use(`control-valve-${part}`, ...PLACES.control_valve, 44, 90), label(190, 262, t("Control valve"), position[part]),
    config.valve === "none" ? null : [use(`system-valve-${seen.valve === "open" ? "open" : "closed"}`, ...PLACES.system_valve, 52), label(190, 172, t("System valve"), wordOf(seen.valve))],
    use(`drain-${hand("inlet_drain")}`, ...PLACES.inlet_drain, 34), label(238, 219, t("Main drain"), position[hand("inlet_drain")]),
    use(`drain-${hand("system_drain")}`, ...PLACES.system_drain, 34), label(238, 127, t("Drain above"), position[hand("system_drain")]),
    use("test-connection", ...PLACES.test_connection, 44), s("text", { class: "strong small end", x: 360, y: 22 }, `${t("Test connection")}, ${position[hand("test_connection")]}`),
    use(state.sprinkler_open ? "sprinkler-open" : "sprinkler-closed", 236, 56, 28),
    config.has_detection ? [s("path", { class: "wire", d: "M62 26H120V158" }), use("panel", ...PLACES.panel, 42), label(10, 84, guideWord(`panel.${seen.panel}`), seen.solenoid_energised ? t("release on") : t("release off"))] : null,
  ];
}

// Before the gauges were read nobody knows their figures; the model's are round ones.
function gauges(visit, config, seen, isRead) {
  const one = (words, psi, x, y) => (psi === null || psi === undefined ? null : label(x, y, isRead ? pressure(psi, visit) : t("not read"), words));
  return [
    one(t("supply"), seen.gauge_supply, 40, 236),
    one(t("prime"), seen.gauge_prime, 40, 162),
    config.open_nozzles ? null : one(config.air ? t("system air") : t("system"), seen.gauge_system, 168, 72),
    seen.gauge_pilot === null ? null : one(t("pilot"), seen.gauge_pilot, 40, 116),
  ];
}
