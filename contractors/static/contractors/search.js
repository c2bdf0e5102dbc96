// Offers what begins with the typed words, under the box. Without it the box is a plain form.

const box = document.getElementById("find");
const offers = document.getElementById("find-offers");
const WAIT = 150;
let timer = 0;
let asked = null;

const links = () => [...offers.querySelectorAll("[data-offer]")];

function close() {
  clearTimeout(timer);
  asked?.abort();
  offers.hidden = true;
  box.setAttribute("aria-expanded", "false");
}

async function ask() {
  asked?.abort();
  asked = new AbortController();
  const address = `${offers.dataset.url}?${new URLSearchParams({ q: box.value })}`;
  try {
    const answer = await fetch(address, { signal: asked.signal, headers: { accept: "text/html" } });
    if (!answer.ok || answer.redirected) return close();
    offers.innerHTML = await answer.text();
    offers.hidden = !offers.textContent.trim();
    box.setAttribute("aria-expanded", String(!offers.hidden));
  } catch (error) {
    if (error.name !== "AbortError") close();
  }
}

function move(event) {
  if (event.key === "Escape" && !offers.hidden) {
    event.preventDefault();
    close();
    box.focus();
    return;
  }
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  const all = links();
  if (!step || offers.hidden || !all.length) return;
  event.preventDefault();
  const next = all.indexOf(document.activeElement) + step;
  if (next < 0) box.focus();
  else all[Math.min(next, all.length - 1)].focus();
}

if (box && offers) {
  const form = box.form;
  box.setAttribute("role", "combobox");
  box.setAttribute("aria-controls", offers.id);
  box.setAttribute("aria-expanded", "false");
  box.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, WAIT);
  });
  form.addEventListener("keydown", move);
  form.addEventListener("focusout", (event) => {
    if (!form.contains(event.relatedTarget)) close();
  });
}
