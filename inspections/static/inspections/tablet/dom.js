// Builds elements; texts go in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";

/** Return an element: h("p", {class: "quiet", onclick: f}, "text", child, [more]). */
export function h(name, given = {}, ...children) {
  return filled(document.createElement(name), given, children);
}

/** Return an SVG element. */
export function s(name, given = {}, ...children) {
  return filled(document.createElementNS(SVG, name), given, children);
}

/** Return a symbol of the sprite, hidden from readers: a word stands beside it. */
export function symbol(name, size = "sym-s") {
  const sprite = document.documentElement.dataset.symbols;
  return s("svg", { class: size, "aria-hidden": "true" }, s("use", { href: `${sprite}#${name}` }));
}

function filled(element, given, children) {
  for (const [name, value] of Object.entries(given)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}
