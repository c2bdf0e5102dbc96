// Judges readings by a criterion of the pack: three-valued, as the server judges.

const CLOSE = 1e-9;
const ABSENT = Symbol("absent");

/**
 * Return true or false, or null where something it needs is not known yet.
 *
 * tree: as the pack holds it. readings: name to a figure in SI, or to the word read.
 */
export function judge(tree, readings) {
  return truth(tree, readings);
}

function truth(tree, given) {
  if (!Array.isArray(tree)) {
    const bare = value(tree, given);
    return bare === null ? null : bare === true;
  }
  const [head, ...parts] = tree;
  switch (head) {
    case "all": return joined(parts, given, false);
    case "any": return joined(parts, given, true);
    case "not": return contrary(truth(parts[0], given));
    case "in": return within(value(parts[0], given), parts[1], true);
    case "not in": return within(value(parts[0], given), parts[1], false);
    default: return compared(head, value(parts[0], given), value(parts[1], given));
  }
}

/** One part that decides settles it; otherwise one that is not known leaves it open. */
function joined(parts, given, decisive) {
  let outcome = !decisive;
  for (const part of parts) {
    const found = truth(part, given);
    if (found === decisive) return decisive;
    if (found === null) outcome = null;
  }
  return outcome;
}

function contrary(found) {
  return found === null ? null : !found;
}

function within(found, words, wanted) {
  if (found === ABSENT) return false;
  return found === null ? null : words.includes(found) === wanted;
}

function compared(operator, one, other) {
  if (one === ABSENT || other === ABSENT) return false;
  if (one === null || other === null) return null;
  const close = typeof one === "number" && Math.abs(one - other) <= CLOSE * Math.max(Math.abs(one), Math.abs(other));
  switch (operator) {
    case "==": return close || one === other;
    case "!=": return !(close || one === other);
    case "<": return one < other && !close;
    case "<=": return one <= other || close;
    case ">": return one > other && !close;
    default: return one >= other || close;
  }
}

function value(tree, given) {
  if (Array.isArray(tree)) return reckoned(tree[0], tree.slice(1).map((part) => value(part, given)));
  if (tree === null || typeof tree !== "object") return tree;
  if ("read" in tree) return given[tree.read] ?? null;
  return "absent" in tree ? ABSENT : null;
}

function reckoned(operator, figures) {
  if (figures.includes(ABSENT)) return ABSENT;
  if (figures.includes(null)) return null;
  const [one, other] = figures;
  switch (operator) {
    case "+": return one + other;
    case "-": return one - other;
    case "*": return one * other;
    case "abs": return Math.abs(one);
    case "min": return Math.min(one, other);
    default: return Math.max(one, other);
  }
}
