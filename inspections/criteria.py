"""A criterion of the catalogue with everything known of its item filled in.

What is left are the readings of the visit, so that a tablet judges without asking the server. The
tree is plain JSON: ``["all", …]``, ``["any", …]``, ``["not", x]``, ``["<=", a, b]``,
``["in", a, [words]]``, ``["not in", a, [words]]``, ``["+", a, b]``, ``["abs", a]``. A leaf is
``{"read": name}``, a figure in SI, a word, a truth, ``{"unknown": name}`` or ``{"absent": name}``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity
from inspections.conditions.compiled import LIMIT
from inspections.conditions.facts import Facts, Origin
from inspections.conditions.language import (
    All,
    Arithmetic,
    Call,
    Comparison,
    Either,
    Literal,
    Membership,
    Name,
    Node,
    Not,
    read,
)
from inspections.conditions.units import UNITS
from inspections.vocabulary import ReadingVocabulary

_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}
_REACHES = {"<": "greatest", "<=": "greatest", ">": "least", ">=": "least"}


@dataclass(frozen=True, slots=True)
class Bound:
    """How far one reading may go: `side` is least or greatest, `met` whether the figure will do."""

    side: str
    si: float
    met: bool


class Filled:
    """An activity's criterion at one item.

    Parameters
    ----------
    activity
        One that has a criterion.
    facts
        What is known: limits, earlier readings, attributes. Readings of the visit itself are asked
        for by bare names, which it must not know.
    """

    def __init__(self, activity: Activity, catalogue: Catalogue, facts: Facts) -> None:
        assert activity.criterion is not None
        self.activity, self.facts = activity, facts
        limits = {limit.name: limit.unit for limit in catalogue.limits}
        self.words = ReadingVocabulary(
            catalogue.kinds, activity.subjects, limits, activity.readings
        )
        self.tree = self._node(read(activity.criterion.text))

    def bounds(self) -> Mapping[str, tuple[Bound, ...]]:
        """Return the plain bounds on single readings, those that must hold whatever else does."""
        found: dict[str, list[Bound]] = {}
        parts = self.tree[1:] if self.tree[0] == "all" else [self.tree]
        for part in parts:
            name, bound = _bound(part)
            if bound is not None:
                found.setdefault(name, []).append(bound)
        return {name: tuple(several) for name, several in found.items()}

    def _node(self, node: Node) -> Any:
        match node:
            case All(parts):
                return ["all", *map(self._node, parts)]
            case Either(parts):
                return ["any", *map(self._node, parts)]
            case Not(part):
                return ["not", self._node(part)]
            case Comparison(operator, left, right):
                return [operator, self._node(left), self._node(right)]
            case Membership(left, choices, negated):
                return ["not in" if negated else "in", self._node(left), list(choices)]
            case Arithmetic(operator, left, right):
                return _reckoned([operator, self._node(left), self._node(right)])
            case Literal(value):
                return value
            case Name(name):
                return self._name(name)
            case Call(function, arguments):
                return self._call(function, arguments)

    def _call(self, function: str, arguments: tuple[Node, ...]) -> Any:
        match function, arguments:
            case "q", (Literal(float(value)), Literal(str(unit))):
                return UNITS[unit].to_si(value)
            case "limit", (Literal(str(name)),):
                return self._name(LIMIT + name)
            case "years_since", _:
                return {"unknown": "today"}
            case _:
                return _reckoned([function, *map(self._node, arguments)])

    def _name(self, name: str) -> Any:
        if name in self.activity.readings:
            return {"read": name}
        fact = self.facts.look_up(name)
        if fact.origin is Origin.MISSING:
            return {"absent": name}
        kind = self.words.kind_of(name)
        value = fact.value
        if value is None or kind is None:
            return {"unknown": name}
        if isinstance(value, int | float) and not isinstance(value, bool):
            return kind.unit.to_si(value)
        return value if isinstance(value, bool | str) else value.isoformat()


def _reckoned(tree: list[Any]) -> Any:
    """Return the figure of a sum, product or function whose parts are all known."""
    figures = tree[1:]
    if not all(isinstance(figure, int | float) for figure in figures):
        open_ends = [figure for figure in figures if isinstance(figure, dict)]
        absent = [end for end in open_ends if "absent" in end]
        unknown = [end for end in open_ends if "unknown" in end]
        return next(iter(absent + unknown), tree)
    match tree[0]:
        case "+":
            return figures[0] + figures[1]
        case "-":
            return figures[0] - figures[1]
        case "*":
            return figures[0] * figures[1]
        case "abs":
            return abs(figures[0])
        case "min":
            return min(figures)
        case _:
            return max(figures)


def _bound(part: Any) -> tuple[str, Bound | None]:
    if not isinstance(part, list) or part[0] not in _TURNED:
        return "", None
    operator, left, right = part
    if isinstance(right, dict) and "read" in right and isinstance(left, int | float):
        operator, left, right = _TURNED[operator], right, left
    if not (isinstance(left, dict) and "read" in left and isinstance(right, int | float)):
        return "", None
    bound = Bound(_REACHES[operator], float(right), met=operator.endswith("="))
    return str(left["read"]), bound
