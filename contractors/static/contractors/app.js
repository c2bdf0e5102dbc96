// What every desk page can do. No page needs it to work: it adds keys, dialogs, printing and plain words for failures.

const KEYS_OFF = "keys-off";

const isTyping = (element) =>
  element instanceof HTMLElement && (element.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(element.tagName));

// "/" goes to the search. A single key must be possible to switch off (WCAG 2.1.4).
const keysAreOff = () => localStorage.getItem(KEYS_OFF) === "yes";

function goToSearch(event) {
  const box = document.getElementById("find");
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (!box || keysAreOff() || isTyping(event.target)) return;
  event.preventDefault();
  box.focus();
  box.select();
}

// Arrows move between the rows of a list marked data-rows, while the focus stands on the main link of a row.
const rowLinks = (list) =>
  [...list.querySelectorAll("[data-row]")].map((row) => row.querySelector("[data-row-link], a[href]")).filter(Boolean);

function moveBetweenRows(event) {
  const list = event.target instanceof Element && event.target.closest("[data-rows]");
  if (!list || event.ctrlKey || event.metaKey || event.altKey || isTyping(event.target)) return;
  const links = rowLinks(list);
  const here = links.findIndex((link) => link.closest("[data-row]").contains(event.target));
  const next = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: links.length - 1 }[event.key];
  if (here < 0 || next === undefined || !links[next]) return;
  event.preventDefault();
  links[next].focus();
}

function sayKeys(foot) {
  const button = foot.querySelector("[data-keys-switch]");
  const say = () => {
    const off = keysAreOff();
    foot.querySelector("[data-keys-say]").textContent = off ? button.dataset.off : button.dataset.on;
    button.textContent = off ? button.dataset.turnOn : button.dataset.turnOff;
  };
  button.addEventListener("click", () => {
    localStorage.setItem(KEYS_OFF, keysAreOff() ? "no" : "yes");
    say();
  });
  foot.hidden = !document.getElementById("find");
  say();
}

function onClick(event) {
  const pressed = event.target instanceof Element && event.target.closest("[data-print], [data-opens], [data-closes], [data-dismiss]");
  if (!pressed) return;
  if ("print" in pressed.dataset) window.print();
  if ("opens" in pressed.dataset) document.getElementById(pressed.dataset.opens)?.showModal();
  if ("closes" in pressed.dataset) pressed.closest("dialog")?.close();
  if ("dismiss" in pressed.dataset) pressed.closest("[data-toast]")?.remove();
}

// The menu of further pages goes away with Escape, and when something else is chosen.
function closeMore(event) {
  const more = document.querySelector("details[data-more][open]");
  if (!more) return;
  if (event.type === "keydown" && event.key === "Escape") {
    more.open = false;
    more.querySelector("summary").focus();
  } else if (event.type === "click" && !more.contains(event.target)) {
    more.open = false;
  }
}

// Paper has no "Why?" to press: reasons are open while printing.
function openReasons() {
  for (const why of document.querySelectorAll("details.why:not([open])")) {
    why.open = true;
    why.dataset.openedToPrint = "";
  }
}

function closeReasons() {
  for (const why of document.querySelectorAll("details[data-opened-to-print]")) {
    why.open = false;
    delete why.dataset.openedToPrint;
  }
}

function toast(words) {
  const box = document.createElement("div");
  box.className = "toast toast-error";
  box.dataset.toast = "";
  const text = document.createElement("span");
  text.textContent = words;
  const close = document.createElement("button");
  Object.assign(close, { className: "btn btn-link", type: "button", textContent: document.body.dataset.wordClose });
  close.dataset.dismiss = "";
  box.append(text, close);
  document.getElementById("messages")?.append(box);
}

document.addEventListener("keydown", goToSearch);
document.addEventListener("keydown", moveBetweenRows);
document.addEventListener("click", onClick);
document.addEventListener("click", closeMore);
document.addEventListener("keydown", closeMore);
window.addEventListener("beforeprint", openReasons);
window.addEventListener("afterprint", closeReasons);
// A refusal goes among the toasts, whatever part of the page the answer was meant for.
function showRefusal(event) {
  const detail = event.detail;
  if (detail.xhr.status < 400 || !detail.serverResponse.includes("data-refusal")) return;
  Object.assign(detail, {
    target: document.getElementById("messages"),
    swapOverride: "beforeend",
    selectOverride: "unset",
    shouldSwap: true,
    isError: false,
  });
}

document.addEventListener("htmx:beforeSwap", showRefusal);
document.addEventListener("htmx:sendError", () => toast(document.body.dataset.wordUnreachable));
document.addEventListener("htmx:responseError", () => toast(document.body.dataset.wordRefused));
document.querySelectorAll("[data-keys]").forEach(sayKeys);
