"""Frozen dataclasses to and from JSON values, strictly: a wrong field is named, never guessed."""

import dataclasses
import types
import typing
from datetime import date
from enum import StrEnum
from typing import Any, TypeVar

T = TypeVar("T")


def to_json(value: Any) -> Any:
    """Return a dataclass (or a tuple of them) as plain JSON values; dates as ISO 8601 text."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [to_json(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    return value


def from_json(kind: type[T], value: Any, path: str = "") -> T:
    """Return the dataclass `kind` read from plain JSON values.

    Parameters
    ----------
    kind
        A dataclass whose fields are int, float, str, bool, date, enums of text, dataclasses,
        tuples of these, or one of these or None.
    value
        What `json.loads` returned.
    path
        Where the value stands, for messages.

    Raises
    ------
    ValueError
        When a field is missing, unknown, of another type or out of range; names field, value and
        what is accepted.
    """
    return typing.cast(T, _read(kind, value, path or kind.__name__.lower()))


def _read(kind: Any, value: Any, path: str) -> Any:
    origin = typing.get_origin(kind)
    if origin in (types.UnionType, typing.Union):
        if value is None:
            return None
        (inner,) = (a for a in typing.get_args(kind) if a is not type(None))
        return _read(inner, value, path)
    if origin is tuple:
        return _read_tuple(typing.get_args(kind)[0], value, path)
    if dataclasses.is_dataclass(kind):
        return _read_dataclass(typing.cast(type, kind), value, path)
    return _read_scalar(kind, value, path)


def _read_tuple(inner: Any, value: Any, path: str) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple):
        raise _refused(path, value, "a list")
    if inner is int and all(type(item) is int for item in value):
        return tuple(value)
    return tuple(_read(inner, item, f"{path}[{i}]") for i, item in enumerate(value))


def _read_dataclass(kind: type, value: Any, path: str) -> Any:
    if not isinstance(value, dict):
        raise _refused(path, value, "an object")
    fields = {f.name: f for f in dataclasses.fields(kind)}
    hints = typing.get_type_hints(kind)
    if unknown := sorted(set(value) - set(fields)):
        raise _refused(f"{path}.{unknown[0]}", value[unknown[0]], f"only {', '.join(fields)}")
    for name, field in fields.items():
        if name not in value and field.default is field.default_factory is dataclasses.MISSING:
            raise _refused(f"{path}.{name}", None, "a value; it is missing")
    read = {name: _read(hints[name], value[name], f"{path}.{name}") for name in value}
    return kind(**read)


def _read_scalar(kind: Any, value: Any, path: str) -> Any:
    if isinstance(kind, type) and issubclass(kind, date | StrEnum):
        return _read_text(kind, value, path)
    if kind is float and type(value) is int:
        return float(value)
    if type(value) is not kind:
        raise _refused(path, value, {int: "a whole number", str: "text"}.get(kind, kind.__name__))
    return value


def _read_text(kind: type[date] | type[StrEnum], value: Any, path: str) -> Any:
    try:
        return kind(value) if issubclass(kind, StrEnum) else kind.fromisoformat(value)
    except (TypeError, ValueError):
        words = ", ".join(kind) if issubclass(kind, StrEnum) else ""
        accepted = f"one of {words}" if words else "a date as YYYY-MM-DD"
        raise _refused(path, value, accepted) from None


def _refused(path: str, value: Any, accepted: str) -> ValueError:
    return ValueError(f"{path} is {value!r}; accepted: {accepted}")
