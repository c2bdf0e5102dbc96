"""Check a condition's types and make it ready to be evaluated.

Three-valued logic: false and unknown is false, true or unknown is true, everything else that rests
on an unknown is unknown. A comparison with a missing parent or attribute is false.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import Enum, auto
from functools import partial

from inspections.conditions.facts import Answer, Fact, Facts, Kind, Origin, Shape, Value, Vocabulary
from inspections.conditions.language import (
    All,
    Arithmetic,
    Call,
    Comparison,
    ConditionError,
    Either,
    Literal,
    Membership,
    Name,
    Node,
    Not,
    read,
)
from inspections.conditions.units import PLAIN, UNITS, Unit

TODAY = "today"
LIMIT = "limit."
_DAYS_PER_YEAR = 365.25
# Two figures converted from different units agree to far better than this and to no better.
_CLOSE = 1e-9


class _Missing(Enum):
    MISSING = auto()


_MISSING = _Missing.MISSING
_Rests = tuple[Fact, ...]
_Truth = Callable[[Facts], tuple[bool | None, _Rests]]
_Found = tuple[Value | _Missing | None, _Rests]
_Reading = Callable[[Facts], _Found]


@dataclass(frozen=True, slots=True)
class _Part:
    kind: Kind
    run: _Reading


@dataclass(frozen=True, slots=True, eq=False)
class Condition:
    """A checked condition.

    Attributes
    ----------
    text
        As it was written.
    names
        The facts that it may look up.
    """

    text: str
    names: frozenset[str]
    _run: _Truth

    def evaluate(self, facts: Facts) -> Answer:
        """Return what the condition comes to, and what that rests on."""
        value, rests = self._run(facts)
        shown = dict.fromkeys(fact for fact in rests if fact.name != TODAY)
        return Answer(value, tuple(shown))


def compile_condition(text: str, vocabulary: Vocabulary) -> Condition:
    """Return a condition whose names and types have been checked.

    Parameters
    ----------
    text
        A condition of the language; see `inspections.conditions.language`.
    vocabulary
        The names it may use.

    Raises
    ------
    ConditionError
        When the text cannot be read, a name is unknown, a word is none of those that the attribute
        may have, or figures of different dimensions meet.
    """
    checker = _Checker(vocabulary)
    run = checker.truth(read(text))
    return Condition(text, frozenset(checker.names), run)


class _Checker:
    """Turns a tree into closures, once; each method returns what one kind of node does."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self.vocabulary = vocabulary
        self.names: set[str] = set()

    def truth(self, node: Node) -> _Truth:
        match node:
            case All(parts):
                return partial(_all, [self.truth(one) for one in parts])
            case Either(parts):
                return partial(_either, [self.truth(one) for one in parts])
            case Not(inner):
                return partial(_not, self.truth(inner))
            case Comparison(operator, left, right):
                return self.comparison(operator, self.part(left), self.part(right))
            case Membership(left, choices, negated):
                sought = self.part(left)
                self.demand(sought, Shape.WORD, "looked for among words")
                _check_words(sought.kind, choices)
                return partial(_membership, sought.run, frozenset(choices), negated)
            case Literal() | Name() | Call() | Arithmetic():
                bare = self.part(node)
                self.demand(bare, Shape.TRUTH, "used as a condition")
                return partial(_bare, bare.run)

    def demand(self, part: _Part, shape: Shape, use: str) -> None:
        if part.kind.shape is not shape:
            raise ConditionError(f"a {part.kind.shape.value} is {use}; a {shape.value} is wanted")

    def comparison(self, operator: str, left: _Part, right: _Part) -> _Truth:
        shape = left.kind.shape
        self.demand(right, shape, f"compared with a {shape.value}")
        if shape is Shape.NUMBER:
            _same_dimension(left, right)
        elif shape in (Shape.WORD, Shape.TRUTH) and operator not in ("==", "!="):
            raise ConditionError(f"a {shape.value} cannot be compared by {operator!r}")
        if shape is Shape.WORD:
            _check_words(left.kind, right.kind.choices)
        test = _NUMBER_TESTS[operator] if shape is Shape.NUMBER else _ORDER_TESTS[operator]
        return partial(_comparison, test, left.run, right.run)

    def part(self, node: Node) -> _Part:
        match node:
            case Literal(value):
                return _Part(_literal_kind(value), lambda _: (value, ()))
            case Name(name):
                return self.name(name)
            case Arithmetic(operator, left, right):
                return self.arithmetic(operator, self.part(left), self.part(right))
            case Call(function, arguments):
                return self.call(function, arguments)
            case Not() | All() | Either() | Comparison() | Membership():
                raise ConditionError("a condition is used where a value is wanted")

    def name(self, name: str) -> _Part:
        kind = self.vocabulary.kind_of(name)
        if kind is None:
            raise ConditionError(f"there is no attribute, reading or limit {name!r}")
        self.names.add(name)
        unit = kind.unit
        if kind.shape is not Shape.NUMBER or (unit.factor == 1.0 and unit.offset == 0.0):
            return _Part(kind, partial(_look_up, name))
        return _Part(kind, partial(_look_up_in_si, name, unit))

    def arithmetic(self, operator: str, left: _Part, right: _Part) -> _Part:
        for part in (left, right):
            self.demand(part, Shape.NUMBER, "reckoned with")
        if operator == "*":
            if not (left.kind.unit.is_plain or right.kind.unit.is_plain):
                raise ConditionError("one factor of a product must be a plain number")
            dimension = (right if left.kind.unit.is_plain else left).kind.unit.dimension
            return _number(dimension, partial(_reckon, lambda a, b: a * b, (left, right)))
        _same_dimension(left, right)
        dimension = left.kind.unit.dimension
        if dimension == "temperature":
            raise ConditionError("temperatures are not added or subtracted")
        reckoning = _SUMS[operator]
        return _number(dimension, partial(_reckon, reckoning, (left, right)))

    def call(self, function: str, arguments: tuple[Node, ...]) -> _Part:
        match function, arguments:
            case "q", (Literal(float(value)), Literal(str(unit_name))):
                if unit_name not in UNITS:
                    raise ConditionError(f"there is no unit {unit_name!r}")
                unit = UNITS[unit_name]
                figure = unit.to_si(value)
                return _number(unit.dimension, lambda _: (figure, ()))
            case "limit", (Literal(str(name)),):
                return self.name(LIMIT + name)
            case "years_since", (argument,):
                return self.years_since(self.part(argument))
            case "abs", (argument,):
                parts = (self.part(argument),)
                return self.function(abs, parts)
            case (("min" | "max"), (_, _)):
                chosen = min if function == "min" else max
                return self.function(chosen, tuple(self.part(node) for node in arguments))
            case _:
                raise ConditionError(f"{function!r} is no function of such values")

    def function(self, function: Callable[..., float], parts: tuple[_Part, ...]) -> _Part:
        for part in parts:
            self.demand(part, Shape.NUMBER, "reckoned with")
            _same_dimension(parts[0], part)
        dimension = parts[0].kind.unit.dimension
        return _number(dimension, partial(_reckon, function, parts))

    def years_since(self, part: _Part) -> _Part:
        if part.kind.shape is not Shape.DATE and not part.kind.year:
            raise ConditionError("years_since wants a year or a date")
        self.names.add(TODAY)
        today = _Part(Kind(Shape.DATE), partial(_look_up, TODAY))
        return _number(PLAIN, partial(_reckon, _years, (part, today)))


def _number(dimension: str, run: _Reading) -> _Part:
    return _Part(Kind(Shape.NUMBER, Unit(dimension)), run)


def _literal_kind(value: float | str | bool) -> Kind:
    if isinstance(value, bool):
        return Kind(Shape.TRUTH)
    if isinstance(value, str):
        return Kind(Shape.WORD, choices=(value,))
    return Kind(Shape.NUMBER)


def _same_dimension(left: _Part, right: _Part) -> None:
    one, other = left.kind.unit.dimension, right.kind.unit.dimension
    if one != other:
        raise ConditionError(f"a figure of {one} meets one of {other}")


def _check_words(kind: Kind, words: tuple[str, ...]) -> None:
    if not kind.choices or not words:
        return
    strangers = sorted(set(words) - set(kind.choices))
    if strangers and len(kind.choices) > 1:
        accepted = ", ".join(kind.choices)
        raise ConditionError(f"{', '.join(strangers)!r} is none of: {accepted}")


def _look_up(name: str, facts: Facts) -> _Found:
    fact = facts.look_up(name)
    return (_MISSING if fact.origin is Origin.MISSING else fact.value), (fact,)


def _look_up_in_si(name: str, unit: Unit, facts: Facts) -> _Found:
    fact = facts.look_up(name)
    if fact.origin is Origin.MISSING:
        return _MISSING, (fact,)
    value = fact.value
    if not isinstance(value, int | float):
        return None, (fact,)
    return unit.to_si(value), (fact,)


def _years(since: float | date, today: date) -> float:
    if isinstance(since, date):
        return (today - since).days / _DAYS_PER_YEAR
    return today.year - since


def _reckon(function: Callable[..., float], parts: tuple[_Part, ...], facts: Facts) -> _Found:
    values = []
    rests: _Rests = ()
    unknown: _Rests = ()
    for part in parts:
        value, found = part.run(facts)
        if value is _MISSING:
            return _MISSING, found
        if value is None:
            unknown += found
        values.append(value)
        rests += found
    return (None, unknown) if unknown else (function(*values), rests)


def _bare(run: _Reading, facts: Facts) -> tuple[bool | None, _Rests]:
    value, rests = run(facts)
    if value is None:
        return None, rests
    return value is True, rests


def _not(part: _Truth, facts: Facts) -> tuple[bool | None, _Rests]:
    value, rests = part(facts)
    return (None if value is None else not value), rests


def _all(parts: list[_Truth], facts: Facts) -> tuple[bool | None, _Rests]:
    rests: _Rests = ()
    outcome: bool | None = True
    for part in parts:
        value, found = part(facts)
        if value is False:
            return False, found
        if value is None:
            outcome = None
        rests += found
    return outcome, rests


def _either(parts: list[_Truth], facts: Facts) -> tuple[bool | None, _Rests]:
    rests: _Rests = ()
    outcome: bool | None = False
    for part in parts:
        value, found = part(facts)
        if value is True:
            return True, found
        if value is None:
            outcome = None
        rests += found
    return outcome, rests


def _comparison(
    test: Callable[..., bool], left: _Reading, right: _Reading, facts: Facts
) -> tuple[bool | None, _Rests]:
    one, its_facts = left(facts)
    other, other_facts = right(facts)
    if one is _MISSING:
        return False, its_facts
    if other is _MISSING:
        return False, other_facts
    if one is None or other is None:
        return None, its_facts + other_facts
    return test(one, other), its_facts + other_facts


def _membership(
    run: _Reading, choices: frozenset[str], negated: bool, facts: Facts
) -> tuple[bool | None, _Rests]:
    value, rests = run(facts)
    if value is _MISSING:
        return False, rests
    if value is None:
        return None, rests
    return (value in choices) is not negated, rests


def _close(one: float, other: float) -> bool:
    return abs(one - other) <= _CLOSE * max(abs(one), abs(other))


_SUMS: dict[str, Callable[[float, float], float]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
}
_NUMBER_TESTS: dict[str, Callable[[float, float], bool]] = {
    "==": _close,
    "!=": lambda a, b: not _close(a, b),
    "<": lambda a, b: a < b and not _close(a, b),
    "<=": lambda a, b: a <= b or _close(a, b),
    ">": lambda a, b: a > b and not _close(a, b),
    ">=": lambda a, b: a >= b or _close(a, b),
}
_ORDER_TESTS: dict[str, Callable[..., bool]] = {
    "==": lambda a, b: a == b,
    "!=": lambda a, b: a != b,
    "<": lambda a, b: a < b,
    "<=": lambda a, b: a <= b,
    ">": lambda a, b: a > b,
    ">=": lambda a, b: a >= b,
}
