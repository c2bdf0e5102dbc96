// What somebody else recorded at the very line that is open here: told at once, shown when it is asked for.

import { h } from "./dom.js";
import { entryKey } from "./fold.js";
import { showStanding, whoSaid } from "./lines.js";
import { personOf } from "./pack.js";
import { answerWords, button } from "./parts.js";
import { answerOf } from "./visit.js";
import { t } from "./words.js";

/** Tell what came in for a line since its screen was opened; `shown` is what the screen shows of it. */
export function tell(app, visitId, shown) {
  const visit = app.visit(visitId);
  if (!visit || !shown.list.isConnected) return;
  const { line } = shown;
  const heads = answerOf(visit, line) ?? [];
  const readings = visit.picture.readings.get(entryKey(line.subject.id, line.activity)) ?? [];
  const [answers, figures] = [fresh(heads, shown.heads), fresh(readings, shown.readings)];
  if (answers.length || figures.length) app.tell(notice());

  function notice() {
    const told = answers.length ? answers : figures;
    const names = told.map((event) => personOf(app, visit, event.by) || t("Somebody"));
    const what = told.map((event) => (answers.length ? answerWords(event.payload.answer) : figureOf(line, event)));
    const words = t("{name} recorded this meanwhile: {what}", { name: [...new Set(names)].join(", "), what: what.join(", ") });
    return h("p", { class: "news" }, h("span", {}, words), button(t("Show it"), show));
  }

  // The boxes stay as they are: only what stands beside them is laid anew.
  function show() {
    Object.assign(shown, { heads, readings });
    showStanding(app, visit, shown);
    shown.list.append(...figures.map((event) => h("li", {}, `${figureOf(line, event)}, ${whoSaid(app, visit, event)}`)));
    shown.list.hidden = false;
    app.tell(null);
    shown.list.focus({ preventScroll: true });
    shown.list.scrollIntoView({ block: "center" });
  }
}

function fresh(events, before) {
  const known = new Set(before.map((event) => event.id));
  return events.filter((event) => !known.has(event.id));
}

function figureOf(line, { payload }) {
  const reading = line.readings.find((one) => one.name === payload.name && (one.point ?? "") === (payload.point ?? ""));
  return `${t(reading?.label ?? payload.name)} ${payload.typed}`;
}
