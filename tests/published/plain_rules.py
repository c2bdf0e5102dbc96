"""The rules of the tables once more, read by Python's own parser: what holds for which item.

A second reading, apart from the program's: three words (true, false, ask), unknown carried through,
a parent or attribute that an item has not makes a comparison false.
"""

import ast
import csv
import operator
from datetime import date
from pathlib import Path

TABLES = Path(__file__).resolve().parents[2] / "fixtures" / "catalogue" / "itm"
UNKNOWN, MISSING = "?", "-"
COMPARED = {
    ast.Eq: operator.eq,
    ast.NotEq: operator.ne,
    ast.Lt: operator.lt,
    ast.LtE: operator.le,
    ast.Gt: operator.gt,
    ast.GtE: operator.ge,
    ast.In: lambda one, some: one in some,
    ast.NotIn: lambda one, some: one not in some,
}


def table(name):
    with (TABLES / name).open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def kinds():
    """Return the rows of the dictionary, by kind and attribute."""
    found = {}
    for row in table("kinds.csv"):
        found.setdefault(row["kind"], {})[row["attribute"]] = row
    return found


KINDS = kinds()
RULES = {row["id"]: row for row in table("activity_rules.csv")}
ACTIVITIES = {row["id"]: row for row in table("activities.csv")}


def read(row, text):
    """Return a default of the dictionary as a value."""
    if row["type"] == "bool":
        return text in ("yes", "true")
    return float(text) if row["type"] in ("number", "integer", "year") else text


def all_of(parts):
    """Return and: false where one is, else unknown where one is."""
    parts = [False if one == MISSING else one for one in parts]
    return False if False in parts else UNKNOWN if UNKNOWN in parts else True


def any_of(parts):
    """Return or: true where one is, else unknown where one is."""
    parts = [False if one == MISSING else one for one in parts]
    return True if True in parts else UNKNOWN if UNKNOWN in parts else False


class Asking:
    """One item, with what it hangs on, on a day."""

    def __init__(self, scopes, edition, as_of):
        self.scopes, self.edition, self.as_of = scopes, edition, as_of

    def holds(self, text):
        return self.truth(ast.parse(text, mode="eval").body) if text else True

    def truth(self, node):
        match node:
            case ast.BoolOp(op=ast.And(), values=values):
                return all_of([self.truth(one) for one in values])
            case ast.BoolOp(values=values):
                return any_of([self.truth(one) for one in values])
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                found = self.truth(operand)
                return UNKNOWN if found == UNKNOWN else not found
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                return self.compared(self.value(left), type(op), self.value(right))
        found = self.value(node)
        return False if found == MISSING else found

    def compared(self, one, op, other):
        if MISSING in (one, other):
            return False
        if UNKNOWN in (one, other):
            return UNKNOWN
        return COMPARED[op](one, other)

    def value(self, node):
        match node:
            case ast.Constant(value=value):
                return value
            case ast.Tuple(elts=elements):
                return tuple(self.value(one) for one in elements)
            case ast.Name(id="true" | "false" as word):
                return word == "true"
            case ast.Name(id="edition"):
                return self.edition or UNKNOWN
            case ast.Name(id="subject"):
                return self.scopes["item"]["kind"]
            case ast.Attribute(value=ast.Name(id=scope), attr=name):
                return self.attribute(scope, name)
            case ast.Call(func=ast.Name(id="years_since"), args=[argument]):
                return self.age(self.value(argument))
            case ast.Call(func=ast.Name(id="q"), args=[figure, _unit]):
                return self.value(figure)
        return self.truth(node)

    def attribute(self, scope, name):
        item = self.scopes.get(scope)
        row = KINDS[item["kind"]].get(name) if item else None
        if row is None:
            return MISSING
        given = item["attributes"].get(name)
        if given is not None:
            return given
        default = row["default_if_unknown"]
        return read(row, default) if default else UNKNOWN

    def age(self, since):
        if since in (UNKNOWN, MISSING):
            return since
        if isinstance(since, str):
            return (self.as_of - date.fromisoformat(since)).days / 365.25
        return self.as_of.year - since


def in_edition(row, edition):
    first, last = row["edition_from"], row["edition_to"]
    if not first and not last:
        return True
    if edition is None:
        return UNKNOWN
    return (not first or int(first) <= edition) and (not last or edition <= int(last))


def words(data):
    """Yield building, item and activity with the word that the rules come to."""
    as_of = date.fromisoformat(data["about"]["as_of"])
    for building in data["buildings"]:
        whole = {**building, "kind": "building"}
        by_id = {one["id"]: one for one in building["items"]} | {building["id"]: whole}
        for item in by_id.values():
            scopes = {"building": whole, "item": item}
            at = item
            while at is not whole:
                at = by_id[at.get("parent") or building["id"]]
                scopes.setdefault(at["kind"], at)
            if item is not whole:
                scopes.setdefault(item["kind"], item)
            asking = Asking(scopes, building.get("adopted_edition"), as_of)
            for activity_id, rule in RULES.items():
                if item["kind"] not in rule["subject"].split(";"):
                    continue
                found = all_of(
                    [
                        in_edition(ACTIVITIES[activity_id], asking.edition),
                        asking.holds(rule["gate"]),
                        asking.holds(rule["applies"]),
                    ]
                )
                word = {True: "true", False: "false", UNKNOWN: "ask"}[found]
                yield (building["id"], item["id"], activity_id), word


def takes_turns(activity_id, scopes, edition=None, as_of=None):
    """Return whether an item is one of those that take turns at an activity."""
    row = {one["activity"]: one for one in table("alternating.csv")}.get(activity_id)
    return bool(row) and Asking(scopes, edition, as_of).holds(row["among"]) is True


def turn(place, days, findings, least_after, chosen=()):
    """Return whether it is an item's turn, whether it waits, or was opened by a finding.

    Told backwards, from the newest cycle: an item is on if the cycle before left it over, or if
    that one left nothing over and it was chosen last; where none was chosen, if its place is even.
    """
    firsts, ends = [], None
    for day in sorted({day for own in days for day in own}):
        if ends is None or day >= ends:
            firsts.append(day)
            ends = least_after(day)

    def was_done(item, first):
        return any(first <= day < least_after(first) for day in days[item])

    def on(item, number):
        everybody = range(len(days)) if number else ()
        left = [one for one in everybody if not was_done(one, firsts[number - 1])]
        if left:
            return item in left
        return item in chosen[-1] if chosen else item % 2 == 0

    for found_on, where in findings:
        if where == place or any(day > found_on for day in days[place]):
            continue
        begun = [first for first in firsts if first <= found_on < least_after(first)]
        if not any(begun and begun[-1] <= day <= found_on for day in days[place]):
            return "opened"
    return "turn" if on(place, len(firsts)) else "waits"
