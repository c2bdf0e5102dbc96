// The words of the app: English stands in the code, other languages in a table each.

import * as store from "./store.js";
import { word } from "./sequence.js";

// A table is fetched when it is wanted; the worker keeps it for where there is no signal.
const TABLES = { es: () => Promise.all([import("./words_es.js"), import("./pack_es.js")]).then(([{ SPANISH: words, SPANISH_GUIDE: guide }, brought]) => ({ words: Object.assign({}, ...Object.values(brought), words), guide })) };
let chosen = "en";
let table = null;

/** Take up the language that was chosen on this tablet, else that of the page. */
export async function startLanguage() {
  const page = document.documentElement.lang.slice(0, 2);
  await speak(await store.value("language", page in TABLES ? page : "en"));
}

async function speak(code) {
  table = (await TABLES[code]?.()) ?? null;
  chosen = code;
  document.documentElement.lang = code;
}

/** Choose a language and keep the choice. */
export async function setLanguage(code) {
  await speak(code);
  await store.keep("language", code);
}

/** Return the code of the present language. */
export function language() {
  return chosen;
}

/** Return the languages there are: [code, name]. */
export function languages() {
  return [["en", "English"], ["es", "Español"]];
}

/** Return an English sentence in the present language, with its {names} filled in. */
export function t(english, given = {}) {
  const said = table?.words[english] ?? english;
  return said.replace(/\{(\w+)\}/g, (whole, name) => given[name] ?? whole);
}

/** Return what the guide says for a key, in the present language. */
export function guideWord(key) {
  return table?.guide[key] ?? word(chosen, key);
}
