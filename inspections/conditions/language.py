"""Read the text of a condition into a tree.

The language: ``and``, ``or``, ``not``; ``== != < <= > >=``; ``in (…)``, ``not in (…)``; ``+ - *``;
numbers, quoted words, ``True``, ``False``; names such as ``item.supervised``; and the calls
``q(10,"foot")``, ``limit("name")``, ``years_since(x)``, ``abs(x)``, ``min(x, y)``, ``max(x, y)``.
"""

import re
from dataclasses import dataclass


class ConditionError(ValueError):
    """A condition that cannot be read or whose types do not fit; the message says why."""


@dataclass(frozen=True, slots=True)
class Literal:
    """A number, a word, or a truth value."""

    value: float | str | bool


@dataclass(frozen=True, slots=True)
class Name:
    """A fact to be looked up, such as ``item.supervised`` or ``duration``."""

    name: str


@dataclass(frozen=True, slots=True)
class Call:
    """One of the functions of the language."""

    function: str
    arguments: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Arithmetic:
    """A sum, difference or product."""

    operator: str
    left: "Node"
    right: "Node"


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two values held against each other."""

    operator: str
    left: "Node"
    right: "Node"


@dataclass(frozen=True, slots=True)
class Membership:
    """A value looked for among words; ``negated`` for ``not in``."""

    left: "Node"
    choices: tuple[str, ...]
    negated: bool


@dataclass(frozen=True, slots=True)
class Not:
    """The contrary of a condition."""

    part: "Node"


@dataclass(frozen=True, slots=True)
class All:
    """Conditions joined by ``and``."""

    parts: tuple["Node", ...]


@dataclass(frozen=True, slots=True)
class Either:
    """Conditions joined by ``or``."""

    parts: tuple["Node", ...]


Node = Literal | Name | Call | Arithmetic | Comparison | Membership | Not | All | Either

_TOKEN = re.compile(
    r"""\s*(?:
      (?P<number>\d+(?:\.\d+)?)
    | (?P<word>"[^"]*")
    | (?P<name>[a-z_][a-z0-9_]*(?:\.[a-z_][a-z0-9_]*)?|True|False)
    | (?P<mark>==|!=|<=|>=|[<>()+\-*,])
    )""",
    re.VERBOSE,
)
_COMPARISONS = ("==", "!=", "<", "<=", ">", ">=")
_RESERVED = ("and", "or", "not", "in")
_DEPTH = 40


def read(text: str) -> Node:
    """Return the tree of a condition.

    Raises
    ------
    ConditionError
        When the text is not of the language; the message names the place.
    """
    reader = _Reader(text)
    node = reader.either()
    reader.end()
    return node


class _Reader:
    """Recursive descent over the tokens, one method per level of binding."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.tokens: list[tuple[str, str, int]] = []
        self.depth = 0
        self.position = 0
        at = 0
        end = len(text.rstrip())
        while at < end:
            match = _TOKEN.match(text, at)
            if match is None:
                raise ConditionError(f"cannot read {text[at:].strip()[:20]!r} at character {at}")
            kind = match.lastgroup or ""
            self.tokens.append((kind, match[kind], match.start(kind)))
            at = match.end()

    def next_is(self, *values: str) -> bool:
        if self.position >= len(self.tokens):
            return False
        kind, value, _ = self.tokens[self.position]
        return kind != "word" and value in values

    def take(self) -> tuple[str, str]:
        if self.position >= len(self.tokens):
            raise ConditionError("the condition ends too early")
        kind, value, _ = self.tokens[self.position]
        self.position += 1
        return kind, value

    def expect(self, mark: str) -> None:
        if not self.next_is(mark):
            raise ConditionError(f"{mark!r} is missing {self.place()}")
        self.position += 1

    def place(self) -> str:
        if self.position >= len(self.tokens):
            return "at the end"
        _, value, at = self.tokens[self.position]
        return f"before {value!r} at character {at}"

    def end(self) -> None:
        if self.position < len(self.tokens):
            raise ConditionError(f"nothing was expected {self.place()}")

    def either(self) -> Node:
        self.depth += 1
        if self.depth > _DEPTH:
            raise ConditionError(f"more than {_DEPTH} levels of brackets")
        parts = [self.all()]
        while self.next_is("or"):
            self.take()
            parts.append(self.all())
        self.depth -= 1
        return parts[0] if len(parts) == 1 else Either(tuple(parts))

    def all(self) -> Node:
        parts = [self.negation()]
        while self.next_is("and"):
            self.take()
            parts.append(self.negation())
        return parts[0] if len(parts) == 1 else All(tuple(parts))

    def negation(self) -> Node:
        negated = False
        while self.next_is("not"):
            self.take()
            negated = not negated
        node = self.comparison()
        return Not(node) if negated else node

    def comparison(self) -> Node:
        left = self.sum()
        if self.next_is("in", "not"):
            _, word = self.take()
            if word == "not":
                self.expect("in")
            return Membership(left, self.choices(), negated=word == "not")
        if not self.next_is(*_COMPARISONS):
            return left
        _, operator = self.take()
        right = self.sum()
        if self.next_is(*_COMPARISONS):
            raise ConditionError(f"comparisons are not chained {self.place()}")
        return Comparison(operator, left, right)

    def choices(self) -> tuple[str, ...]:
        self.expect("(")
        found = []
        while True:
            kind, value = self.take()
            if kind != "word":
                raise ConditionError(f"a quoted word is wanted after 'in', not {value!r}")
            found.append(value[1:-1])
            if not self.next_is(","):
                break
            self.take()
        self.expect(")")
        return tuple(found)

    def sum(self) -> Node:
        left = self.product()
        while self.next_is("+", "-"):
            _, operator = self.take()
            left = Arithmetic(operator, left, self.product())
        return left

    def product(self) -> Node:
        left = self.atom()
        while self.next_is("*"):
            self.take()
            left = Arithmetic("*", left, self.atom())
        return left

    def atom(self) -> Node:
        kind, value = self.take()
        if kind == "number":
            return Literal(float(value))
        if kind == "word":
            return Literal(value[1:-1])
        if value in ("True", "False"):
            return Literal(value == "True")
        if value == "(":
            node = self.either()
            self.expect(")")
            return node
        if kind != "name" or value in _RESERVED:
            raise ConditionError(f"a value is wanted, not {value!r}")
        if not self.next_is("("):
            return Name(value)
        self.take()
        arguments = [self.either()]
        while self.next_is(","):
            self.take()
            arguments.append(self.either())
        self.expect(")")
        return Call(value, tuple(arguments))
