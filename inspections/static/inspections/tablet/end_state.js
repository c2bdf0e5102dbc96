// The end-state list: each item proven, not proven or not fitted, one by one and never in bulk.

import { h } from "./dom.js";
import { address } from "./shell.js";
import { answerWords, button, caution, complain, field, linkButton, mark, row, rows, textOf, thumb, where } from "./parts.js";
import { valvesOf } from "./pack.js";
import { replay } from "./riser_state.js";
import { end_state } from "./sequence.js";
import { guideWord, t } from "./words.js";

/** Return the end-state items still open at the valves that were worked on: {valve, item, heads}. */
export function notRestored(visit) {
  return valvesOf(visit.pack).flatMap(({ valve, group }) =>
    (visit.picture.steps.get(valve.device) ?? []).length
      ? valve.end_state
          .map((item) => ({ valve, group, item, heads: proofOf(visit, valve, item.code) }))
          .filter(({ heads }) => !heads.length || heads[0].payload.result === "not_proven")
      : [],
  );
}

function proofOf(visit, valve, code) {
  return visit.picture.proofs.get(`${valve.device} ${code}`) ?? [];
}

/** The list of everything not restored yet, valve by valve. */
export function leftScreen(app, visit) {
  const open = notRestored(visit);
  const items = open.map(({ valve, item, heads }) =>
    row(address("v", visit.id, "end", valve.device, item.code), heads.length ? "st-impaired" : "st-unknown", sentence(t(item.words)),
      heads.length ? answerWords("not_proven") : t("not looked at yet")));
  const note = open.length
    ? t("Empty this list to close as restored. Left filled, the visit closes as impaired, with the notices owed.")
    : t("Nothing is left to restore.");
  return {
    title: t("Not restored"),
    nodes: [
      where(visit.building.name),
      h("h1", {}, open.length ? t("Not restored: {n}", { n: open.length }) : t("Nothing left to restore")),
      rows(t("One by one"), items, note),
      thumb(null,
        open.length ? linkButton(t("Next item"), nextAddress(visit, open)) : linkButton(t("Close the visit"), address("v", visit.id, "close"), { main: true }),
        open.length ? linkButton(t("Leave as impaired"), address("v", visit.id, "leave")) : null,
        linkButton(t("Back to the visit"), address("v", visit.id))),
    ],
  };
}

function nextAddress(visit, open) {
  return address("v", visit.id, "end", open[0].valve.device, open[0].item.code);
}

/** One item of the list on a screen of its own. */
export function itemScreen(app, visit, device, code) {
  const { valve, group } = valvesOf(visit.pack).find((one) => one.valve.device === device);
  const item = valve.end_state.find((one) => one.code === code);
  const place = valve.end_state.indexOf(item) + 1;
  const heads = proofOf(visit, valve, code);
  const against = modelAgainst(visit, valve, code);
  const save = async (result) => {
    const root = app.main;
    const reason = textOf(root, "reason");
    if (result === "proven" && against.length) return;
    if ((result === "not_proven" || heads.length > 1) && !reason) {
      complain(root.querySelector('[name="reason"]'), t("Say why, in a few words."));
      return;
    }
    await app.record(visit.id, "proof.set", { device, item: code, result, value: textOf(root, "value"), reason }, { seen: heads.map((head) => head.id) });
    const open = notRestored(app.visit(visit.id)).filter((one) => !one.heads.length);
    if (open.length) app.go("v", visit.id, "end", open[0].valve.device, open[0].item.code);
    else app.go("v", visit.id, "left");
  };
  return {
    title: t(item.words),
    nodes: [
      where(`${visit.building.name}, ${group.name}`, t("{n} of {all}", { n: place, all: valve.end_state.length })),
      h("h1", {}, sentence(t(item.words))),
      heads.length ? h("p", {}, mark(heads[0].payload.result), " ", heads[0].payload.value ?? "", " ", heads[0].payload.reason ?? "") : null,
      against.length ? caution(t("By the steps recorded so far: {what}. Do the step, then prove it.", { what: against.map((one) => guideWord(`normal.${one}`)).join("; ") })) : null,
      field(t("What you saw (value, turns, seal number)"), "value"),
      field(t("Reason"), "reason", { hint: t("Wanted for not proven, and where two answers stand.") }),
      thumb(t("Look at it yourself. Each item has an answer of its own."),
        against.length
          ? h("button", { type: "button", class: "btn", "aria-disabled": "true" }, answerWords("proven"))
          : button(answerWords("proven"), () => save("proven"), { main: true }),
        button(answerWords("not_proven"), () => save("not_proven")),
        button(answerWords("not_fitted"), () => save("not_fitted"))),
    ],
  };
}

function modelAgainst(visit, valve, code) {
  if (!(visit.picture.steps.get(valve.device) ?? []).length) return [];
  const task = valve.tasks[0];
  const { config, state } = replay(visit, valve, task);
  return end_state(config, state, []).find((one) => one.code === code)?.failing ?? [];
}

/** Return words with a capital at their beginning. */
export function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}
