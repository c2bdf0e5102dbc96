"""Whose rows: the contractor (or the owner) that the running code works for.

Three nets hold a row where it belongs, each able to hold alone: `access.*_for` at the doors, the
lazy filter of this module in every query, and row policies in PostgreSQL. A query of a contractor's
table outside a scope raises `NoContractor`; it never returns an empty list.
"""

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from functools import cache
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created
from django.db.models import BooleanField, F, Func, UUIDField, Value

_contractor: ContextVar[UUID | None] = ContextVar("contractor", default=None)
_owner: ContextVar[UUID | None] = ContextVar("owner", default=None)
_schema_work: ContextVar[bool] = ContextVar("schema_work", default=False)


class NoContractor(RuntimeError):
    """A contractor's rows were asked for outside any contractor's scope."""


class WrongContractor(RuntimeError):
    """A row of one contractor was about to be written in another contractor's scope."""


def current_contractor_id() -> UUID:
    """Return the contractor in scope.

    Raises
    ------
    NoContractor
        When no contractor's scope is open.
    """
    contractor_id = _contractor.get()
    if contractor_id is None:
        raise NoContractor("no contractor in scope")
    return contractor_id


def current_owner_id() -> UUID | None:
    """Return the owner in scope, or None when a contractor (or nobody) is."""
    return _owner.get()


@contextmanager
def contractor_scope(contractor_id: UUID) -> Iterator[None]:
    """Work for one contractor: its rows are seen, every other row is as if it did not exist.

    On PostgreSQL a transaction is opened (or joined) and the row policies are told; on SQLite only
    the filter is set, since a reader there must not wait for the writer. The former scope returns
    at the end.
    """
    with _scope(_contractor, _owner, "app.contractor", "app.owner", contractor_id):
        yield


@contextmanager
def owner_scope(owner_id: UUID) -> Iterator[None]:
    """Work for one owner: only what contractors published to this owner is seen."""
    with _scope(_owner, _contractor, "app.owner", "app.contractor", owner_id):
        yield


@contextmanager
def schema_work() -> Iterator[None]:
    """Switch the guard off for migrations, which rightly touch tables as a whole."""
    token = _schema_work.set(True)
    try:
        yield
    finally:
        _schema_work.reset(token)


@contextmanager
def _scope(
    mine: ContextVar[UUID | None],
    other: ContextVar[UUID | None],
    setting: str,
    other_setting: str,
    value: UUID,
) -> Iterator[None]:
    before = (mine.get(), other.get())
    on_postgres = connection.vendor == "postgresql"
    with ExitStack() as stack:
        if on_postgres and not connection.in_atomic_block:
            stack.enter_context(transaction.atomic())
        mine_token, other_token = mine.set(value), other.set(None)
        if on_postgres:
            _tell_policies(setting, value, other_setting, None)
        try:
            yield
        finally:
            mine.reset(mine_token)
            other.reset(other_token)
            # After a failed statement the transaction takes no more commands; it ends with the
            # settings, which are local to it.
            if on_postgres and before != (None, None) and not connection.needs_rollback:
                _tell_policies(setting, before[0], other_setting, before[1])


def _tell_policies(setting: str, value: UUID | None, other: str, other_value: UUID | None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config(%s, %s, true), set_config(%s, %s, true)",
            [setting, str(value or ""), other, str(other_value or "")],
        )


_ID = UUIDField()


class CurrentContractor(Func):
    """The contractor in scope, read when the SQL is compiled; an error when there is none."""

    output_field = _ID

    def as_sql(  # type: ignore[override]
        self, compiler: Any, connection: Any, **extra: Any
    ) -> tuple[str, Any]:
        """Compile to the id of the contractor in scope."""
        return "%s", [_ID.get_db_prep_value(current_contractor_id(), connection)]


class PublishedToReader(Func):
    """True for rows that the reader in scope, an owner or a contractor, may see."""

    output_field = BooleanField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*(args or (F("contractor_id"), F("owner_id"))), **kwargs)

    def as_sql(  # type: ignore[override]
        self, compiler: Any, connection: Any, **extra: Any
    ) -> tuple[str, Any]:
        """Compile to a comparison with the owner in scope, else with the contractor."""
        by_contractor, by_owner = self.get_source_expressions()
        owner_id = _owner.get()
        column = by_contractor if owner_id is None else by_owner
        reader = current_contractor_id() if owner_id is None else owner_id
        sql, params = compiler.compile(column)
        value, value_params = compiler.compile(Value(reader, output_field=UUIDField()))
        return f"{sql} = {value}", [*params, *value_params]


@cache
def _guarded_tables() -> tuple[re.Pattern[str], re.Pattern[str]]:
    """Return patterns of the tables under policies: all, and those closed to owners."""
    tenant = [m for m in apps.get_models() if getattr(m, "is_tenant_table", False)]
    closed = [m for m in tenant if not getattr(m, "is_published_table", False)]

    def pattern(models: list[Any]) -> re.Pattern[str]:
        names = "|".join(re.escape(m._meta.db_table) for m in models) or "(?!)"
        return re.compile(rf'"(?:{names})"')

    return pattern(tenant), pattern(closed)


def _guard(execute: Any, sql: str, params: Any, many: bool, context: dict[str, Any]) -> Any:
    """Refuse a statement that names a contractor's table while no scope is open."""
    if _contractor.get() is None and not _schema_work.get():
        tenant, closed = _guarded_tables()
        text = str(sql)
        if (closed if _owner.get() else tenant).search(text):
            raise NoContractor(f"no contractor in scope for: {text[:120]}")
    return execute(sql, params, many, context)


def _install_guard(connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    if _guard not in connection.execute_wrappers:
        connection.execute_wrappers.append(_guard)


connection_created.connect(_install_guard, dispatch_uid="contractors.scope.guard")
