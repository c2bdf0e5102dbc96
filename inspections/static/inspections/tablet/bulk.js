// Lines that are alike, answered together where the rules let it be.

import * as clock from "./clock.js";
import { h } from "./dom.js";
import { linesOf } from "./pack.js";
import { answerWords, button, choice, complain, linkButton, row, rows, thumb, where } from "./parts.js";
import { address } from "./shell.js";
import { answerOf } from "./visit.js";
import { language, t } from "./words.js";

/** Lines that are alike and may be answered as last time together; the report says that they were. */
export function bulkScreen(app, visit, groupId) {
  const open = linesOf(visit.pack).filter(({ group, line }) => group.id === groupId && line.bulk_ok && !line.readings.length && !answerOf(visit, line));
  const alone = open.map(({ line }) => ({ line, reason: whyAlone(visit, line) })).filter(({ reason }) => reason);
  const alike = open.map(({ line }) => line).filter((line) => !whyAlone(visit, line));
  const boxes = () => [...app.main.querySelectorAll('[name="line"]')];
  const save = async () => {
    const picked = new Set(boxes().filter((box) => box.checked).map((box) => box.value));
    if (!complain(boxes()[0] ?? app.main.querySelector("h1"), picked.size ? null : t("Tick what you looked at."))) return;
    for (const line of alike.filter((one) => picked.has(one.id))) {
      await app.record(visit.id, "item.set", { subject: line.subject, activity: line.activity, answer: asLastTime(line), bulk: true });
    }
    app.go("v", visit.id);
  };
  return {
    title: t("As last time"),
    nodes: [
      where(visit.building.name, open[0]?.group.name),
      h("h1", {}, t("Which of these do you see as last time?")),
      h("p", { class: "quiet" }, t("Tick what you looked at. The report says that they were answered together.")),
      alike.length ? h("fieldset", { class: "spaced" }, h("legend", { class: "hide" }, t("Looked at together")), h("div", { class: "choices" }, alike.map((line) => choice("line", line.id, line.subject_name, { type: "checkbox", note: [t(line.task), lastWords(line)].join(". ") })))) : null,
      alone.length ? rows(t("One by one"), alone.map(({ line, reason }) => row(address("v", visit.id, "line", line.id), "st-unknown", line.subject_name, `${reason}. ${t(line.task)}`))) : null,
      thumb(null,
        alike.length ? button(t("As last time"), save, { main: true }) : null,
        alike.length > 1 ? button(t("Tick all"), () => boxes().forEach((box) => { box.checked = true; })) : null,
        linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

const GOOD_BEFORE = ["seen_in_order", "not_fitted"];

function asLastTime(line) {
  return line.last_answer?.answer === "not_fitted" ? "not_fitted" : "seen_in_order";
}

function lastWords(line) {
  return line.last_answer ? t("Last time: {answer}, {day}", { answer: answerWords(line.last_answer.answer), day: clock.dayOf(line.last_answer.on, language()) }) : t("not answered before");
}

// What was not in order last time, or has something open, gets an answer of its own.
function whyAlone(visit, line) {
  const last = line.last_answer?.answer;
  if (last && !GOOD_BEFORE.includes(last)) return lastWords(line);
  if ([...visit.pack.findings, ...visit.picture.findings.map((event) => event.payload)].some((one) => one.subject.id === line.subject.id)) return t("something is open on it");
  return null;
}
