"""Many rows at once, in a fraction of the time that objects and their statements take."""

import gc
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import cache
from itertools import islice
from types import NoneType
from typing import Any
from uuid import UUID

import psycopg
from django.db import connection

from contractors.models.base import new_ids, searched
from contractors.models.lookups import among, texts_of
from contractors.scope import current_contractor_id

WORTH_COPYING = 100
_AT_ONCE = 1000


def add(model: Any, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Write new rows of the contractor in scope.

    Parameters
    ----------
    columns
        Attributes that each row gives, such as `building_id`, never its own id; the others get
        their defaults. A column of JSON takes a dict or a list.
    """
    if not _is_worth_copying(model, rows):
        made = [model(**dict(zip(columns, row, strict=True))) for row in rows]
        model.objects.bulk_create(made, batch_size=_AT_ONCE)
        return
    given, key = [model._meta.get_field(name) for name in columns], model._meta.pk
    left = [field for field in model._meta.concrete_fields if field not in (*given, key)]
    (same,) = _lines([[field.get_default() for field in left]])
    names = ", ".join(f'"{field.column}"' for field in (*given, *left, key))
    both = zip(_lines(rows), new_ids(len(rows)), strict=True)
    lines = (f"{line}\t{same}\t{pk:032x}\n" for line, pk in both)
    with _aside(model, names, lines) as cursor:
        table = model._meta.db_table
        # Names of a model only, no value of anybody.
        cursor.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM aside")  # noqa: S608


@contextmanager
def uncollected() -> Iterator[None]:
    """Hold the search for cycles off meanwhile.

    Many rows make objects by the ten thousand and hardly a cycle; the search would go through all
    of them, and the catalogue, again and again: a quarter of the time of a derivation.
    """
    wanted = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if wanted:
            gc.enable()


def read(rows: Any) -> list[tuple[Any, ...]]:
    """Return the rows of a `values_list`; binary values come over as they are, not spelled out."""
    if connection.vendor != "postgresql":
        return list(rows)
    statement, params = rows.query.sql_with_params()
    with uncollected(), connection.cursor() as cursor, ExitStack() as stack:
        if connection.queries_logged:
            stack.enter_context(cursor.debug_sql(statement, params))
        stack.enter_context(connection.wrap_database_errors)
        # Django's own cursor puts parameters in by itself, and then takes nothing but text.
        binary = stack.enter_context(psycopg.Cursor(connection.connection))
        return binary.execute(statement, params, prepare=False, binary=True).fetchall()


def filled(models: Sequence[Any], buildings: Iterable[Any]) -> frozenset[Any]:
    """Return those of some tables that hold a row of any of the buildings; one query.

    Most buildings have nothing in most tables, and asking each of them takes longer than deriving.
    """
    within, ids = among(connection.vendor, texts_of(buildings))
    contractor = models[0]._meta.get_field("contractor")
    here = [contractor.get_db_prep_value(current_contractor_id(), connection), ids]
    asked = ", ".join(
        # Names of a model only, no value of anybody.
        f'EXISTS (SELECT 1 FROM "{one._meta.db_table}"'  # noqa: S608
        f" WHERE contractor_id = %s AND building_id {within})"
        for one in models
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {asked}", here * len(models))
        told = cursor.fetchone()
    return frozenset(model for model, holds in zip(models, told, strict=True) if holds)


def change(model: Any, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Write some columns of rows of the contractor in scope; each gives its id, then the values."""
    fields = [model._meta.get_field(name) for name in columns]
    if not _is_worth_copying(model, rows):
        names = ("pk", *columns)
        made = [model(**dict(zip(names, row, strict=True))) for row in rows]
        if made:
            model.objects.bulk_update(made, [field.name for field in fields], batch_size=200)
        return
    told = [f'"{field.column}"' for field in fields]
    lines = (f"{line}\n" for line in _lines(rows))
    with _aside(model, ", ".join(["id", *told]), lines) as cursor:
        cursor.execute(
            # Names of a model only, no value of anybody.
            f"UPDATE {model._meta.db_table} t SET {', '.join(f'{n} = a.{n}' for n in told)}"  # noqa: S608
            " FROM aside a WHERE t.id = a.id AND t.contractor_id = %s",
            [current_contractor_id()],
        )


def _is_worth_copying(model: Any, rows: Sequence[Any]) -> bool:
    few = len(rows) < WORTH_COPYING
    return not few and connection.vendor == "postgresql" and model not in searched


@contextmanager
def _aside(model: Any, names: str, lines: Iterator[str]) -> Iterator[Any]:
    """Copy lines into a table aside: row security lets no COPY into the model's own."""
    told = f"AS SELECT {names} FROM {model._meta.db_table} WITH NO DATA"  # noqa: S608
    with connection.cursor() as cursor:
        if _packs_soon():
            cursor.execute("SET LOCAL default_toast_compression = lz4")
        cursor.execute(f"CREATE TEMP TABLE aside ON COMMIT DROP {told}")
        with cursor.copy(f"COPY aside ({names}) FROM STDIN") as copy:
            while some := "".join(islice(lines, _AT_ONCE)):
                copy.write(some)
        yield cursor
        cursor.execute("DROP TABLE aside")


@cache
def _packs_soon() -> bool:
    """Say whether the server can pack long values the quicker way; they stay packed from then."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT 'lz4' = ANY(enumvals) FROM pg_settings WHERE name = 'default_toast_compression'"
        )
        return any(cursor.fetchone() or ())


def _lines(rows: Sequence[Sequence[Any]]) -> Iterator[str]:
    """Yield rows as COPY reads them, told by column: most of its values are there many times."""
    columns = [_column(values) for values in zip(*rows, strict=True)]
    return map("\t".join, zip(*columns, strict=True))


def _column(values: Sequence[Any]) -> Iterator[str]:
    """Yield the values of a column; a dict or a list goes into one of JSON."""
    if _OF_JSON.isdisjoint(map(type, values)):
        return map(_Texts().__getitem__, values)
    return map(_Objects().text, values)


class _Texts(dict[Any, str]):
    """Values as COPY reads them, each told once."""

    def __missing__(self, value: Any) -> str:
        text = self[value] = _AS_TEXT.get(type(value), str)(value)
        return text


class _Objects:
    """JSON as COPY reads it; an object that many rows share is told once."""

    def __init__(self) -> None:
        # By place in memory, which stays an object's own while a row holds it.
        self._told: dict[int, str] = {}

    def text(self, value: Any) -> str:
        """Return what stands in a column."""
        if value is None:
            return r"\N"
        return (
            f"[{', '.join(map(self._json, value))}]" if type(value) is list else self._json(value)
        )

    def _json(self, value: Any) -> str:
        text = self._told.get(id(value))
        if text is None:
            text = self._told[id(value)] = json.dumps(value).replace("\\", r"\\")
        return text


def _escaped(text: str) -> str:
    text = text.replace("\\", r"\\").replace("\t", r"\t")
    return text.replace("\n", r"\n").replace("\r", r"\r")


_OF_JSON = {dict, list}
_AS_TEXT: dict[type, Callable[[Any], str]] = {
    NoneType: lambda _none: r"\N",
    UUID: lambda id_: id_.hex,
    str: _escaped,
    bytes: lambda value: rf"\\x{value.hex()}",
}


def copy(source: Any, target: Any, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """Write rows that repeat others of the contractor in scope, without fetching those.

    Parameters
    ----------
    source, target
        Tables of contractors' rows; each column of the target is one of the source too, or one of
        `columns`. Nothing in the target is searched by its words.
    columns
        Attributes of the copy that are its own, such as `id`.
    rows
        Of each copy the id of what it repeats, then its own values.
    """
    own = [target._meta.get_field(name) for name in columns]
    same = [field for field in target._meta.concrete_fields if field not in own]
    names = ", ".join(f'"{field.column}"' for field in (*own, *same))
    told = [f"k.column{place}" for place, _field in enumerate(own, start=2)]
    told += [f's."{field.column}"' for field in same]
    fields, contractor = (source._meta.pk, *own), source._meta.get_field("contractor")
    with connection.cursor() as cursor:
        for start in range(0, len(rows), _AT_ONCE):
            keys, params = _keys(fields, rows[start : start + _AT_ONCE])
            # Names of models only, no value of anybody.
            cursor.execute(
                f"INSERT INTO {target._meta.db_table} ({names}) SELECT {', '.join(told)}"  # noqa: S608
                f" FROM {keys}"
                f" JOIN {source._meta.db_table} s ON s.id = k.column1 AND s.contractor_id = %s",
                [*params, contractor.get_db_prep_value(current_contractor_id(), connection)],
            )


def _keys(fields: Sequence[Any], rows: Sequence[Sequence[Any]]) -> tuple[str, list[Any]]:
    """Return rows as a table `k` of a statement, with its parameters: on PostgreSQL few."""
    if connection.vendor == "postgresql":
        names = ", ".join(f"column{place}" for place, _field in enumerate(fields, start=1))
        arrays = ", ".join(f"%s::{field.db_type(connection)}[]" for field in fields)
        return f"unnest({arrays}) AS k({names})", [list(one) for one in zip(*rows, strict=True)]
    values = f"({', '.join(['%s'] * len(fields))})"
    params = [
        field.get_db_prep_value(value, connection)
        for row in rows
        for field, value in zip(fields, row, strict=True)
    ]
    return f"(VALUES {', '.join([values] * len(rows))}) AS k", params
