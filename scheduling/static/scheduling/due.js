// The list of what falls due: says what the ticked rows come to, ticks a building at once, and
// fetches a building's rows when they are asked for.

const list = document.querySelector("[data-picklist]");
const fetching = new Map();

function sum(ticked) {
  const minutes = ticked.reduce((total, box) => total + Number(box.dataset.minutes), 0);
  const hours = Math.floor(minutes / 60);
  return hours ? `${hours} h ${Math.round(minutes % 60)} min` : `${Math.round(minutes)} min`;
}

function boxesOf(building) {
  return [...list.querySelectorAll(`input[name=pick][value^="${building}:"]`)];
}

function say() {
  const ticked = [...list.querySelectorAll("input[name=pick]:checked")];
  const places = new Set(ticked.map((box) => box.value.split(":")[0])).size;
  const words = list.querySelector("[data-picked]");
  const said = { 0: words.dataset.none, 1: words.dataset.one }[places] ?? words.dataset.some;
  words.textContent = said.replace("{n}", ticked.length).replace("{hours}", sum(ticked)).replace("{places}", places);
  for (const box of list.querySelectorAll("input[name=pick]")) box.closest("tr").classList.toggle("picked", box.checked);
  for (const all of list.querySelectorAll("[data-whole]")) {
    // Until its rows are there, a tick waits for them.
    if (rowsOf(all).dataset.from) continue;
    const boxes = boxesOf(all.dataset.whole);
    const on = boxes.filter((box) => box.checked).length;
    all.checked = on > 0 && on === boxes.length;
    all.indeterminate = on > 0 && on < boxes.length;
    all.disabled = !boxes.length;
  }
}

function rowsOf(all) {
  return all.closest(".at").querySelector("details");
}

async function fetchRows(details) {
  const { from } = details.dataset;
  const answer = await fetch(from).catch(() => null);
  fetching.delete(details);
  // What cannot be had now is tried again the next time; the link to it stays.
  if (!answer?.ok || answer.redirected) return;
  const rows = document.createElement("template");
  rows.innerHTML = await answer.text();
  details.replaceChildren(details.querySelector("summary"), rows.content);
  delete details.dataset.from;
}

function rowsThere(details) {
  if (!details.dataset.from) return null;
  if (!fetching.has(details)) fetching.set(details, fetchRows(details));
  return fetching.get(details);
}

async function change(event) {
  const { whole } = event.target.dataset;
  if (whole) {
    const on = event.target.checked;
    await rowsThere(rowsOf(event.target));
    for (const box of boxesOf(whole)) box.checked = on;
    // Rows that could not be had are not ticked.
    if (rowsOf(event.target).dataset.from) event.target.checked = false;
  }
  say();
}

async function toggle(event) {
  if (!event.target.open) return;
  await rowsThere(event.target);
  say();
}

if (list) {
  for (const all of list.querySelectorAll("[data-whole]")) all.hidden = false;
  list.addEventListener("change", change);
  list.addEventListener("toggle", toggle, true);
  say();
}
