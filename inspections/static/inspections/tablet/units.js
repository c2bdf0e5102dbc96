// Units of readings: to SI and back, and how a figure is written.

import { UNITS } from "./unit_table.js";

const PSI = UNITS.psi[0];

/** Return a figure in SI; null for a unit that is not known here. */
export function toSi(figure, unit) {
  const [factor, offset] = known(unit);
  return factor === undefined ? null : figure * factor + offset;
}

/** Return an SI figure in a unit; null for a unit that is not known here. */
export function fromSi(si, unit) {
  const [factor, offset] = known(unit);
  return factor === undefined ? null : (si - offset) / factor;
}

function known(unit) {
  return Object.hasOwn(UNITS, unit) ? UNITS[unit] : [];
}

/** Return a figure for the eye, no finer than such a thing is read. */
export function written(figure, unit = "") {
  const fine = unit === "bar" || unit === "in" ? 2 : 1;
  const digits = Math.abs(figure) < 100 ? fine : 0;
  return String(Number(figure.toFixed(digits)));
}

/** Return the gauge's unit of a contractor and its factor from psi. */
export function gauge(units) {
  return units === "metric" ? { unit: "bar", factor: PSI / 100000 } : { unit: "psi", factor: 1 };
}

// Thousands are grouped by one sign throughout, and the decimal sign is another one.
const GROUPED = /^[1-9]\d{0,2}((?: \d{3})+(?:[.,]\d+)?|(?:,\d{3})+(?:\.\d+)?|(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})$/;

/**
 * Return what was typed as a decimal text (62.5), or null when it is no number.
 *
 * A comma is taken for the point, as half the world's keypads write it; before three digits it
 * groups thousands, except after a single 0. It is read as the server reads it.
 */
export function decimal(typed) {
  const plain = typed.normalize("NFKC").replace("\u2212", "-").trim().replace(/\s+/g, " ");
  const [, sign, digits] = /^([-+]?)(.*)$/.exec(plain);
  const grouped = GROUPED.exec(digits);
  const text = (grouped ? digits.replaceAll(grouped[1][0], "") : digits).replace(",", ".").replace(/^\./, "0.");
  if (!/^\d{1,12}(\.\d{1,9})?$/.test(text)) return null;
  const [whole, part] = text.split(".");
  const figure = `${whole.replace(/^0+(?=\d)/, "")}${part ? `.${part}` : ""}`;
  return sign === "-" && Number(figure) !== 0 ? `-${figure}` : figure;
}
