// What a mismatch points to: likely faults ranked, the check that tells them apart, questions to a person.

import { h } from "./dom.js";
import { fault_word, pointed, recorded } from "./faults.js";
import { FIGURES, mismatchesOf, mismatchWords, standing, valueWords } from "./guide_ui.js";
import { caution, choice, choices, linkButton, mark, thumb, where } from "./parts.js";
import { pressure, runOf } from "./riser_state.js";
import { address } from "./shell.js";
import { guideWord, t } from "./words.js";

const MOST_SHOWN = 8;
const LONGEST_MS = 2000;
const POSITION = "position:";

/** What may be wrong after a step that was not as expected, from all steps up to it. */
export function likelyScreen(app, visit, device, task, code) {
  const at = standing(visit, device, task);
  const { run, config } = runOf(visit, at.valve);
  const last = run.findLastIndex((event) => event.payload.step === code);
  const steps = run.slice(0, last + 1).map(({ payload }) => ({ code: payload.step, seen: recorded(payload.seen) }));
  const holder = h("div", { "aria-live": "polite" });
  const answers = {};
  const search = (deepest) => {
    const until = performance.now() + LONGEST_MS;
    return pointed(config, steps, { ...answers }, deepest, () => performance.now() < until);
  };
  const show = () => {
    const found = search(1);
    if (found.explanations.length) return holder.replaceChildren(...told(visit, found, answer).flat().filter(Boolean));
    // Two faults at once take longer to try: what is known is shown meanwhile.
    holder.replaceChildren(h("p", {}, t("No single fault fits. Looking for two at once …")));
    setTimeout(() => holder.isConnected && holder.replaceChildren(...told(visit, search(2), answer).flat().filter(Boolean)));
  };
  const answer = async (question, yes) => {
    answers[question] = yes;
    await app.record(visit.id, "note.add", { text: `${word(`ask.${question}`)} ${yes ? t("yes") : t("no")}` });
    show();
  };
  const next = at.offered[0];
  if (steps.length) show();
  return {
    title: t("Not as expected"),
    nodes: [
      where(`${visit.building.name}, ${at.group.name}`, guideWord(`step.${code}`)),
      h("h1", {}, t("Not as expected")),
      h("div", { class: "mismatches" }, mismatchesOf(run[last]?.payload).map((one) => h("p", {}, mark("fail", mismatchWords(one, visit))))),
      holder,
      thumb(null,
        linkButton(t("Go on"), next ? address("v", visit.id, "guide", device, task, next.code) : address("v", visit.id, "guide", device, task), { main: true }),
        linkButton(t("Something is wrong"), address("v", visit.id, "found")),
        linkButton(t("Record the step again"), address("v", visit.id, "guide", device, task, code))),
    ],
  };
}

function told(visit, found, answer) {
  return [causes(found), nextCheck(visit, found), questions(found, answer)];
}

function causes({ explanations, complete, lately }) {
  const one = explanations.length === 1;
  const words = !explanations.length ? t("Neither one fault nor two at once that are known here fit. Look again at what was written down.")
    : one && complete ? t("Only this fits all that was seen. See it for yourself before anything is taken apart.")
      : t("{n} causes fit, likelier ones first; none is proven.", { n: explanations.length });
  const more = explanations.length - MOST_SHOWN;
  return h("section", { class: "left" }, h("h2", {}, t("Likely faults")), h("p", {}, words),
    lately ? h("p", {}, t("They fit only if it began at this step.")) : null,
    explanations.length ? h("ol", { class: "likely" }, explanations.slice(0, MOST_SHOWN).map((each) => h("li", {}, h("b", {}, causeWords(each))))) : null,
    more > 0 ? h("p", { class: "quiet" }, t("{n} more", { n: more })) : null,
    complete ? null : h("p", { class: "quiet" }, t("Not everything could be tried in time.")));
}

function causeWords({ causes, left }) {
  return [...(causes.length ? causes : left)].map((code) => word(`cause.${code}`)).join(", ") || t("Nothing wrong; a reading may be");
}

function nextCheck(visit, { explanations, checks, groups }) {
  if (explanations.length < 2) return null;
  const [check] = checks;
  if (!check) return h("section", { class: "left" }, h("h2", {}, t("Next check")), h("p", {}, t("No gauge and no valve tells these apart: the parts themselves have to be looked at.")));
  return h("section", { class: "left" }, h("h2", {}, t("Next check")),
    h("p", { class: "visit-say" }, `${word(`check.${check.code}`)}: ${lookWords(check.look)}`),
    check.acts.length ? caution(t("This moves the riser: station on test, nobody at the outlets, and everything put back after it.")) : null,
    h("dl", { class: "expected" }, check.outcomes.map(([value, places]) => [
      h("dt", {}, outcomeWords(visit, check.look, value)),
      h("dd", {}, places.map((place) => causeWords(explanations[place])).join("; "))])),
    groups.some((one) => one.length > 1) ? h("p", { class: "quiet" }, t("Some of them no check on the riser tells apart.")) : null);
}

function lookWords(look) {
  return look.startsWith(POSITION) ? word(`place.${look.slice(POSITION.length)}`) : word(`seen.${look}`);
}

function outcomeWords(visit, look, value) {
  if (look.startsWith(POSITION)) return typeof value === "number" ? t("{n} % open", { n: Math.round(value) }) : value ? t("open") : t("shut");
  if (value === null) return t("nothing to see");
  if (FIGURES.includes(look)) return pressure(value, visit);
  if (look === "lamps") return value.length ? value.map((one) => guideWord(`panel.${one}`)).join(", ") : t("none");
  return valueWords(look, value);
}

function questions({ questions: asked }, answer) {
  if (!asked.length) return null;
  return h("section", { class: "left" }, h("h2", {}, t("No gauge shows this")),
    asked.map((question) => choices(word(`ask.${question}`),
      choice(question, "yes", t("yes"), { onchange: () => answer(question, true) }),
      choice(question, "no", t("no"), { onchange: () => answer(question, false) }))));
}

// A table of the language comes first; what it lacks is said in English.
function word(key) {
  const said = guideWord(key);
  return said === key ? fault_word(key) : said;
}
