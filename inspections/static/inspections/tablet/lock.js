// The PIN: chosen once, asked at each start and after a while away, and what is left when it is forgotten.

import { h } from "./dom.js";
import { button, caution, complain, field } from "./parts.js";
import * as store from "./store.js";
import { MOST_TRIES, weakness } from "./vault.js";
import { t } from "./words.js";

const AWAY_MS = 60 * 60_000;

const WEAK = {
  no_digits: () => t("A PIN has digits only."),
  too_short: () => t("A PIN has at least 6 digits."),
  too_long: () => t("A PIN has at most 12 digits."),
  too_plain: () => t("These digits are guessed first. Choose others."),
};

/** Ask for the PIN above everything else; return when the lock is open. */
export async function untilOpen() {
  const sheet = h("dialog", { class: "lock", "aria-labelledby": "lock-title", oncancel: (event) => event.preventDefault() });
  document.body.append(sheet);
  await new Promise((opened) => { show(sheet, opened); sheet.showModal(); });
  sheet.close();
  sheet.remove();
}

/** Ask for the PIN again whenever the app comes back after a long while. */
export function watch() {
  let left = null;
  document.addEventListener("visibilitychange", async () => {
    if (document.visibilityState === "hidden") left = [Date.now(), performance.now()];
    else if (left && !document.querySelector(".lock") && (Date.now() - left[0] > AWAY_MS || performance.now() - left[1] > AWAY_MS)) await untilOpen();
  });
}

/** Save what was not sent as a file that only the office can open. */
export async function saveBundle() {
  const link = h("a", { href: URL.createObjectURL(await store.bundle()), download: `maindrain-${new Date().toISOString().slice(0, 10)}.json` });
  link.click();
  URL.revokeObjectURL(link.href);
}

async function show(sheet, opened) {
  const state = await store.lockState();
  const nodes = state === "new" ? await choosing(sheet, opened) : asking(sheet, opened);
  sheet.replaceChildren(...nodes.filter(Boolean));
  sheet.querySelector("input")?.focus();
}

async function choosing(sheet, opened) {
  const [pin, again] = [pinField(t("PIN"), "pin", "new-password"), pinField(t("The same again"), "again", "new-password")];
  const form = asForm([pin, again], t("Lock with this PIN"), async () => {
    const [first, second] = [pin, again].map((one) => one.querySelector("input"));
    const weak = weakness(first.value);
    if (!complain(first, weak && WEAK[weak]())) return;
    if (!complain(second, first.value === second.value ? null : t("The two are not the same."))) return;
    if (await store.setPin(first.value, document.documentElement.dataset.office)) opened();
    else show(sheet, opened);
  });
  return [
    title(t("Choose a PIN for this tablet")),
    h("p", {}, t("It locks what is kept here: 6 to 12 digits.")),
    await lostWork(sheet, opened),
    form,
    h("p", { class: "quiet" }, t("After {n} wrong PINs this tablet forgets what came from the office. What was not sent stays, for the office to open.", { n: MOST_TRIES })),
  ];
}

function asking(sheet, opened) {
  const pin = pinField(t("PIN"), "pin", "current-password");
  const form = asForm([pin], t("Open"), async () => {
    const box = pin.querySelector("input");
    const left = await store.tryPin(box.value);
    if (left === null) return opened();
    if (left === 0) return location.reload();
    box.value = "";
    return complain(box, t("This is not the PIN. {n} tries are left.", { n: left }));
  });
  const forgotten = h("details", { class: "why" }, h("summary", {}, t("Forgotten?")),
    caution(t("This tablet forgets what came from the office. What was not sent stays, for the office to open.")),
    button(t("Forget, and choose a new PIN"), async () => { await store.wipe(); location.reload(); }, { harm: true }));
  return [title(t("Your PIN")), form, forgotten];
}

// Entries under a PIN that is gone: they leave as a file, and are thrown away once the office has it.
async function lostWork(sheet, opened) {
  const count = await store.stranded();
  if (!count) return null;
  return h("section", { class: "lost" },
    caution(t("{n} entries were not sent. They are locked under the PIN before; only the office can open them.", { n: count })),
    button(t("Save the file for the office"), saveBundle, { main: true }),
    h("details", { class: "why" }, h("summary", {}, t("The office has the file")),
      button(t("Throw them away here"), async () => { await store.forgetStranded(); show(sheet, opened); }, { harm: true })));
}

function title(words) {
  return h("h1", { id: "lock-title" }, words);
}

function pinField(label, name, autocomplete) {
  const box = field(label, `lock-${name}`, { type: "password", required: true, autocomplete });
  box.querySelector("input").setAttribute("inputmode", "numeric");
  return box;
}

function asForm(fields, words, act) {
  const send = h("button", { class: "btn btn-main" }, words);
  return h("form", { novalidate: true, onsubmit: async (event) => {
    event.preventDefault();
    if (send.disabled) return;
    send.disabled = true;
    await act().finally(() => { send.disabled = false; });
  } }, fields, send);
}
