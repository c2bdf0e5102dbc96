"""What a computation is: inputs with ranges, outputs, a function, and what evaluating it gives."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from inspections.hydraulics.answer import Answer, at_least, at_most

SI_UNITS = {
    "pressure": "Pa",
    "flow": "m^3/s",
    "air flow": "m^3/s",
    "length": "m",
    "area": "m^2",
    "volume": "m^3",
    "volume per length": "m^3/m",
    "velocity": "m/s",
    "time": "s",
    "temperature": "K",
    "density": "m/s",
    "specific weight": "N/m^3",
    "mass flow": "kg/s",
    "rotation": "rad/s",
    "frequency": "Hz",
    "voltage": "V",
    "current": "A",
    "power": "W",
    "k factor": "m^3/s/Pa^0.5",
    "fraction": "",
    "number": "",
    "count": "",
    "word": "",
    "yes or no": "",
}
"""The quantities and their SI unit; density is a flow on an area (application density)."""

_NO_FLOATS = frozenset({"word", "yes or no", "count"})

Show = Callable[[float, str], str]
"""Writes a value in SI of a quantity for a reader."""


class Value(NamedTuple):
    """A value in SI (a word or None where there is no number) with its quantity and SI unit."""

    value: float | str | None
    quantity: str
    unit: str


class InputRefused(ValueError):
    """An input that can't be accepted.

    Attributes
    ----------
    field, value
        Name of the input and what was given (SI; None when it is missing).
    accepted, why
        What is accepted and the reason, in words.
    """

    def __init__(self, field: str, value: object, accepted: str, why: str) -> None:
        self.field, self.value, self.accepted, self.why = field, value, accepted, why
        given = "nothing" if value is None else value
        super().__init__(f"{field}: {given} given; accepted: {accepted} ({why})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """An input: its public name, the argument it fills, quantity, meaning and range in SI.

    `above` excludes the lower end. `many` takes a list; `columns` make each item a row of fields.
    `also` holds other words for a choice, in small letters with spaces.
    """

    name: str
    argument: str
    quantity: str
    meaning: str
    low: float | None = None
    high: float | None = None
    above: bool = False
    required: bool = True
    default: object = None
    choices: tuple[str, ...] = ()
    also: tuple[tuple[str, str], ...] = ()
    many: bool = False
    columns: tuple["Field", ...] = ()

    @property
    def unit(self) -> str:
        """The SI unit; empty for numbers and words."""
        return SI_UNITS.get(self.quantity, "")

    def checked(self, value: object, show: Show) -> object:
        """Return the value when it lies in the range, or raise `InputRefused`."""
        if self.many:
            if isinstance(value, str) or not isinstance(value, Sequence):
                raise InputRefused(self.name, value, "a list", self.meaning)
            if self.required and not value:
                raise InputRefused(self.name, value, "one or more", self.meaning)
            return [self._item(item, show) for item in value]
        return self._one(value, show)

    def _item(self, item: object, show: Show) -> object:
        if not self.columns:
            return self._one(item, show)
        names = ", ".join(column.name for column in self.columns)
        if not isinstance(item, Sequence) or len(item) != len(self.columns):
            raise InputRefused(self.name, item, f"rows of {names}", self.meaning)
        return tuple(
            column.checked(part, show) for column, part in zip(self.columns, item, strict=True)
        )

    def _one(self, value: object, show: Show) -> object:
        # Most values are plain numbers well inside their range: they are through at once.
        if (
            type(value) is float
            and self.quantity not in _NO_FLOATS
            and (value > self.low if self.low is not None else value > -math.inf)
            and (value < self.high if self.high is not None else value < math.inf)
        ):
            return value
        if self.quantity == "yes or no":
            if not isinstance(value, bool):
                raise InputRefused(self.name, value, "true or false", self.meaning)
            return value
        if self.quantity == "word":
            return self._word(value)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputRefused(self.name, value, self.accepted(show), "it is not a number")
        if not _is_finite(value):
            raise InputRefused(self.name, value, self.accepted(show), "it is not finite")
        if self.quantity == "count" and value != int(value):
            raise InputRefused(self.name, value, self.accepted(show), "it counts whole things")
        if self._outside(value):
            why = f"{self.meaning}: {self._why_outside(value)}"
            raise InputRefused(self.name, self._shown(value, show), self.accepted(show), why)
        return int(value) if self.quantity == "count" else float(value)

    def _word(self, value: object) -> str:
        if not isinstance(value, str) or not value.strip():
            raise InputRefused(self.name, value, "a word", self.meaning)
        if not self.choices or value in self.choices:
            return value
        meant = {_plain_word(choice): choice for choice in self.choices} | dict(self.also)
        if _plain_word(value) not in meant:
            raise InputRefused(self.name, value, ", ".join(self.choices), self.meaning)
        return meant[_plain_word(value)]

    def _outside(self, value: float) -> bool:
        if self.low is not None and (value <= self.low if self.above else value < self.low):
            return self.above or not at_least(value, self.low)
        return self.high is not None and not at_most(value, self.high)

    def _why_outside(self, value: float) -> str:
        """Say what is wrong with a value outside the range."""
        if self.low is not None and value <= self.low:
            if value < 0.0 <= self.low:
                return "it is never negative"
            return "it cannot be nothing" if self.above else "less than is met in the trade"
        if self.high == 1.0:
            return "a part of the whole is at most 1"
        return "more than instruments and parts of the trade reach; look at the unit"

    def accepted(self, show: Show) -> str:
        """Say in words what is accepted."""
        if self.low is None and self.high is None:
            return "a number" if not self.unit else f"a {self.quantity}"
        if self.high is None:
            least = self._shown(self.low or 0.0, show)
            return f"more than {least}" if self.above else f"{least} or more"
        if self.low is None:
            return f"at most {self._shown(self.high, show)}"
        word = "more than " if self.above else ""
        return f"{word}{self._shown(self.low, show)} to {self._shown(self.high, show)}"

    def _shown(self, value: float, show: Show) -> str:
        return show(value, self.quantity)


class Output(NamedTuple):
    """A value that comes back: public name, quantity, meaning; `words` when it is one of a few."""

    name: str
    quantity: str
    meaning: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Computation:
    """A named, versioned computation; the first output is its answer.

    `function` takes the fields' arguments and returns the answer's value or an `Answer`;
    `cautions` takes the same and returns warnings. `limit` is the quantity of the limit, `margin`
    that of the margin when it differs. `version` rises whenever a result may change; `former` holds
    the versions before it that a kept result may name.
    """

    name: str
    title: str
    source: str
    inputs: tuple[Field, ...]
    outputs: tuple[Output, ...]
    function: Callable[..., Any]
    cautions: Callable[..., list[str]] | None = None
    limit: str = ""
    margin: str = ""
    version: int = 1
    former: tuple["Computation", ...] = ()

    def at(self, version: int) -> "Computation":
        """Return the computation as it was in a version, or raise `LookupError`."""
        for one in (self, *self.former):
            if one.version == version:
                return one
        raise LookupError(f"{self.name}: version {version} is not known")

    def evaluate(self, inputs: Mapping[str, object], show: Show) -> "Outcome":
        """Check the inputs, compute, and say it in words; see `index.evaluate`."""
        arguments = self._arguments(inputs, show)
        try:
            result = self.function(**arguments)
        except InputRefused:
            raise
        except ValueError as error:
            field, accepted, why = _parts(str(error))
            raise InputRefused(field, self._given(field, inputs, show), accepted, why) from error
        answer = result if isinstance(result, Answer) else self._plain(result)
        warnings = [*answer.warnings, *(self.cautions(**arguments) if self.cautions else ())]
        return self._outcome(answer, warnings, show)

    def _arguments(self, inputs: Mapping[str, object], show: Show) -> dict[str, object]:
        known = {field.name for field in self.inputs}
        for name in inputs:
            if name not in known:
                accepted = ", ".join(field.name for field in self.inputs)
                raise InputRefused(name, inputs[name], accepted, f"{self.name} has no such input")
        arguments: dict[str, object] = {}
        for field in self.inputs:
            value = inputs.get(field.name)
            if value is not None:
                arguments[field.argument] = field.checked(value, show)
            elif field.required:
                raise InputRefused(field.name, None, field.accepted(show), field.meaning)
            else:
                arguments[field.argument] = [] if field.many else field.default
        return arguments

    def _given(self, name: str, inputs: Mapping[str, object], show: Show) -> object:
        value = inputs.get(name)
        for field in self.inputs:
            if field.name == name and isinstance(value, float) and not field.many:
                return show(value, field.quantity)
        return value

    def _plain(self, value: float | str) -> Answer:
        return Answer({self.outputs[0].name: value}, "", None, None, "", [])

    def _outcome(self, answer: Answer, warnings: list[str], show: Show) -> "Outcome":
        values = {
            output.name: Value(
                answer.values[output.name], output.quantity, SI_UNITS[output.quantity]
            )
            for output in self.outputs
            if output.name in answer.values
        }
        words = {name: _told(value, show) for name, value in values.items()}
        if answer.limit is not None:
            words["limit"] = show(answer.limit, self.limit or "number")
        words.setdefault("value", words[self.outputs[0].name])
        first = self.outputs[0]
        plain = f"{first.meaning}: {words[first.name]}."
        return Outcome(
            name=self.name,
            version=self.version,
            values=values,
            verdict=answer.verdict or None,
            limit=_value(answer.limit, self.limit),
            margin=_value(answer.margin, self.margin or self.limit),
            reason=answer.reason.format_map(words) if answer.reason else plain,
            warnings=tuple(warnings),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a computation gave, with the name and version that gave it.

    `values` are in SI, the answer first. `verdict` is "pass", "fail", "look into it" or None;
    `margin` is positive on the good side of `limit`.
    """

    name: str
    version: int
    values: dict[str, Value]
    verdict: str | None
    limit: Value | None
    margin: Value | None
    reason: str
    warnings: tuple[str, ...]

    @property
    def answer(self) -> Value:
        """The first value."""
        return next(iter(self.values.values()))


def si_text(value: float, quantity: str) -> str:
    """Write a value in its SI unit with six figures."""
    return f"{value:.6g} {SI_UNITS.get(quantity, '')}".strip()


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False


def _plain_word(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def _told(value: Value, show: Show) -> str:
    if value.value is None:
        return "not known"
    return value.value if isinstance(value.value, str) else show(value.value, value.quantity)


def _value(value: float | None, quantity: str) -> Value | None:
    kind = quantity or "number"
    return None if value is None else Value(value, kind, SI_UNITS[kind])


def _parts(text: str) -> tuple[str, str, str]:
    field, _, rest = text.partition("; ")
    accepted, _, why = rest.partition("; ")
    return field, accepted, why
