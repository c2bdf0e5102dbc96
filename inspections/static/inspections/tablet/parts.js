// Parts that several screens use: rows, choices, boxes for readings, the thumb zone.

import { h, symbol } from "./dom.js";
import { t } from "./words.js";

const MARKS = {
  pass: ["order", "st-order"], seen_in_order: ["order", "st-order"], proven: ["order", "st-order"],
  fail: ["critical", "st-critical"], finding: ["critical", "st-critical"], not_proven: ["impaired", "st-unknown"],
  could_not: ["noaccess", "st-noaccess"], not_fitted: ["none", "st-none"],
  impairment: ["impaired", "st-impaired"], critical: ["critical", "st-critical"],
  noncritical: ["noncritical", "st-noncritical"], observation: ["observation", "st-observation"],
};

/** Return the words of an answer, a proof or a class. */
export function answerWords(code) {
  return {
    pass: t("Pass"), fail: t("Fail"), seen_in_order: t("Seen in order"), finding: t("Finding"),
    could_not: t("Could not"), not_fitted: t("Not fitted"), proven: t("Proven"), not_proven: t("Not proven"),
    impairment: t("Impairment"), critical: t("Critical deficiency"), noncritical: t("Noncritical deficiency"),
    observation: t("Observation"),
  }[code] ?? code;
}

/** Return the mark of an answer: shape and words. */
export function mark(code, words = answerWords(code)) {
  const [name, shape] = MARKS[code] ?? ["unknown", "st-unknown"];
  return h("span", { class: `mark mark-${name}` }, symbol(shape, ""), h("span", {}, words));
}

/** Return the line above a heading: where one is. */
export function where(text, right = null) {
  return h("p", { class: "visit-where" }, h("span", {}, text), right && h("b", {}, right));
}

/** Return a caution at the place of the act. */
export function caution(words) {
  return h("p", { class: "caution" }, symbol("caution", ""), h("span", {}, words));
}

/** Return a reason that opens in place. */
export function why(...children) {
  return h("details", { class: "why" }, h("summary", {}, t("Why?")), h("p", {}, ...children));
}

/** Return a radio or checkbox that is a whole row. */
export function choice(name, value, words, { note = null, checked = false, type = "radio", onchange = null } = {}) {
  const input = h("input", { type, name, value, checked, onchange });
  return h("label", { class: "choice" }, input, h("b", {}, words), note && h("small", {}, note));
}

/** Return a group of choices under a question. */
export function choices(legend, ...rows) {
  return h("fieldset", {}, h("legend", {}, legend), h("div", { class: "choices" }, rows));
}

/** Return a labelled box for a line or lines of text. */
export function field(label, name, { value = "", hint = null, lines = false, type = "text", required = false, autocomplete = "off" } = {}) {
  const id = `f-${name}`;
  const given = { id, name, class: "input", required, autocomplete };
  const box = lines ? h("textarea", { ...given, value }) : h("input", { ...given, type, value });
  return h("div", { class: "field" }, h("label", { for: id }, label), hint && h("p", { class: "hint" }, hint), box);
}

/** Return the zone at the thumb: what is said, and the buttons. */
export function thumb(note, ...buttons) {
  return h("div", { class: "thumb" }, note && h("p", { class: "caption" }, note), h("div", { class: "thumb-two" }, buttons));
}

/** Return a button; `main` is the one main act of a screen. A tap while its act is not done yet does nothing. */
export function button(words, onclick, { main = false, harm = false } = {}) {
  return h("button", { type: "button", class: `btn${main ? " btn-main" : ""}${harm ? " btn-harm" : ""}`, onclick: oneAtATime(onclick) }, words);
}

function oneAtATime(act) {
  let acting = false;
  return async (event) => {
    if (acting) return;
    acting = true;
    try {
      await act(event);
    } catch (error) {
      if (!error.told) throw error;
    } finally {
      acting = false;
    }
  };
}

/** Return a link that looks like a button. */
export function linkButton(words, href, { main = false } = {}) {
  return h("a", { class: `btn${main ? " btn-main" : ""}`, href }, words);
}

/** Return a row that leads somewhere: a mark, what it is, and what is known of it. */
export function row(href, shape, title, ...notes) {
  return h("li", {}, h("a", { href }, symbol(shape), h("span", {}, h("b", {}, title), ...notes)));
}

/** Return rows in a ruled frame under a heading. */
export function rows(heading, items, note = null) {
  return h("section", { class: "left rows" }, h("h2", {}, heading), note && h("p", { class: "quiet" }, note), items.length ? h("ol", {}, items) : null);
}

/** Say at a box what is wrong with it, or nothing any more; return whether it is in order. */
export function complain(box, sentence) {
  const holder = box.closest(".field, .reading, fieldset");
  holder.querySelector(".error")?.remove();
  holder.classList.toggle("wrong", Boolean(sentence));
  if (!sentence) {
    box.removeAttribute("aria-invalid");
    return true;
  }
  box.setAttribute("aria-invalid", "true");
  holder.append(h("p", { class: "error", role: "alert" }, sentence));
  box.focus();
  return false;
}

/** Return the text in a named box, trimmed. */
export function textOf(root, name) {
  return root.querySelector(`[name="${name}"]`)?.value.trim() ?? "";
}

/** Return the value chosen in a named group, or null. */
export function chosen(root, name) {
  return root.querySelector(`[name="${name}"]:checked`)?.value ?? null;
}
