"""Keys made by constraints that migrations see, so that no table can be added without them.

`TenantRows` gives a table its composite key and (on PostgreSQL) its row policy, `SameContractor` a
composite foreign key that cannot point at another contractor's row, `SameContractorOfMany` the same
for rows written by the hundred thousand, `Sealed` refuses UPDATE and DELETE. A system check demands
them for every model of a contractor's rows.
"""

from typing import Any

from django.db import DEFAULT_DB_ALIAS
from django.db.models import BaseConstraint, CompositePrimaryKey, Model, Q
from django.db.models.constraints import UniqueConstraint


def tenant_keys(
    *foreign_keys: str, published: bool = False, of_many: tuple[str, ...] = ()
) -> list[BaseConstraint]:
    """Return the constraints of a table of contractors' rows.

    Parameters
    ----------
    foreign_keys
        Names of the foreign keys that point at other tables of contractors' rows.
    published
        True for a table that owners read too.
    of_many
        More such keys, of rows that are written by the hundred thousand.
    """
    return [
        TenantRows(name="%(app_label)s_%(class)s_rows", published=published),
        *(
            SameContractor(field=field, name=f"%(app_label)s_%(class)s_same_{field}")
            for field in foreign_keys
        ),
        *(
            SameContractorOfMany(field=field, name=f"%(app_label)s_%(class)s_same_{field}")
            for field in of_many
        ),
    ]


def _table(model: type[Model]) -> str:
    # SQLite remakes a table under this prefix and renames it afterwards.
    return model._meta.db_table.removeprefix("new__")


class _DdlConstraint(BaseConstraint):
    """A constraint that the database keeps by statements of its own."""

    def statements(self, model: type[Model], vendor: str) -> list[str]:
        """Return the statements that set the constraint up."""
        raise NotImplementedError

    def inline(self, model: type[Model], vendor: str) -> str | None:
        """Return the part that stands inside CREATE TABLE, where there is one."""
        return None

    def undo(self, model: type[Model], vendor: str) -> list[str]:
        """Return the statements that take the constraint away."""
        return []

    def constraint_sql(self, model: Any, schema_editor: Any) -> Any:
        """Return the inline part; the rest is deferred to the end of the migration."""
        vendor = schema_editor.connection.vendor
        schema_editor.deferred_sql.extend(self.statements(model, vendor))
        return self.inline(model, vendor)

    def create_sql(self, model: Any, schema_editor: Any) -> str:
        """Return the statements for a table that exists (not used by SQLite, which remakes it)."""
        return ";\n".join(self.statements(model, schema_editor.connection.vendor))

    def remove_sql(self, model: Any, schema_editor: Any) -> str:
        """Return the statements that take the constraint away."""
        return ";\n".join(self.undo(model, schema_editor.connection.vendor)) or "SELECT 1"

    def validate(
        self,
        model: type[Model],
        instance: Model,
        exclude: Any = None,
        using: str = DEFAULT_DB_ALIAS,
    ) -> None:
        """Leave the check to the database."""

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and other.deconstruct() == self.deconstruct()

    def __hash__(self) -> int:
        return hash((type(self), self.name))


class TenantRows(_DdlConstraint):
    """Primary key (contractor_id, id) and row policy; on SQLite UNIQUE (contractor_id, id)."""

    def __init__(self, *, name: str, published: bool = False) -> None:
        self.published = published
        super().__init__(name=name)

    def deconstruct(self) -> Any:
        """Return what a migration needs to make this again."""
        path, args, kwargs = super().deconstruct()
        if self.published:
            kwargs["published"] = True
        return path, args, kwargs

    def inline(self, model: type[Model], vendor: str) -> str | None:
        """Return the unique key that composite foreign keys point at."""
        if vendor == "sqlite" and not isinstance(model._meta.pk, CompositePrimaryKey):
            return f'CONSTRAINT "{self.name}" UNIQUE ("contractor_id", "id")'
        return None

    def statements(self, model: type[Model], vendor: str) -> list[str]:
        """Return the key and the policy for PostgreSQL."""
        if vendor != "postgresql":
            return []
        table = _table(model)
        rule = "contractor_id = app_contractor()"
        if self.published:
            rule = (
                "CASE WHEN COALESCE(current_setting('app.owner', true), '') <> ''"
                f" THEN owner_id = app_owner() ELSE {rule} END"
            )
        key = (
            []
            if isinstance(model._meta.pk, CompositePrimaryKey)
            else [
                f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_pkey"',
                f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_pkey"'
                " PRIMARY KEY (contractor_id, id)",
            ]
        )
        return [
            *key,
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" FORCE ROW LEVEL SECURITY',
            f'CREATE POLICY "{self.name}" ON "{table}" USING ({rule}) WITH CHECK ({rule})',
        ]

    def undo(self, model: type[Model], vendor: str) -> list[str]:
        """Take the policy away; the key goes with the table."""
        return [f'DROP POLICY "{self.name}" ON "{_table(model)}"'] if vendor == "postgresql" else []


class SameContractor(_DdlConstraint):
    """A foreign key (contractor_id, x_id) to (contractor_id, id): never a stranger's row."""

    def __init__(self, *, field: str, name: str) -> None:
        self.field = field
        super().__init__(name=name)

    def deconstruct(self) -> Any:
        """Return what a migration needs to make this again."""
        path, args, kwargs = super().deconstruct()
        return path, args, {**kwargs, "field": self.field}

    def _clause(self, model: type[Model]) -> str:
        field = model._meta.get_field(self.field)
        target = _table(field.related_model)  # type: ignore[arg-type]
        return (
            f'CONSTRAINT "{self.name}" FOREIGN KEY ("contractor_id", "{field.column}")'  # type: ignore[union-attr]
            f' REFERENCES "{target}" ("contractor_id", "id") DEFERRABLE INITIALLY DEFERRED'
        )

    def inline(self, model: type[Model], vendor: str) -> str | None:
        """Return the key for SQLite, which takes it only inside CREATE TABLE."""
        return self._clause(model) if vendor == "sqlite" else None

    def statements(self, model: type[Model], vendor: str) -> list[str]:
        """Return the key for PostgreSQL."""
        if vendor != "postgresql":
            return []
        return [f'ALTER TABLE "{_table(model)}" ADD {self._clause(model)}']

    def create_sql(self, model: Any, schema_editor: Any) -> str:
        """Leave the key to the end of the migration: its target may not have its own key yet."""
        schema_editor.deferred_sql.extend(self.statements(model, schema_editor.connection.vendor))
        return ""

    def undo(self, model: type[Model], vendor: str) -> list[str]:
        """Take the key away."""
        if vendor != "postgresql":
            return []
        return [f'ALTER TABLE "{_table(model)}" DROP CONSTRAINT "{self.name}"']


class SameContractorOfMany(SameContractor):
    """The key of rows written by the hundred thousand: those of a statement are checked together.

    A foreign key looks up the target of every row, a third of the database's work on a whole
    programme. PostgreSQL checks it when rows are written; that its target goes is not refused, so
    it is for rows that go with their target.
    """

    def statements(self, model: type[Model], vendor: str) -> list[str]:
        """Return one trigger for rows written together, and one for a row that is turned elsewhere.

        A row changes its target hardly ever, and a trigger of the statement would run each time.
        """
        if vendor != "postgresql":
            return []
        field = model._meta.get_field(self.field)
        table, column = _table(model), field.column  # type: ignore[union-attr]
        target = _table(field.related_model)  # type: ignore[arg-type]
        check = f"EXECUTE FUNCTION app_same_contractor('{column}', '{target}')"
        moved = (
            f'(OLD.contractor_id, OLD."{column}") IS DISTINCT FROM'
            f' (NEW.contractor_id, NEW."{column}")'
        )
        return [
            f'CREATE TRIGGER "{self.name}_insert" AFTER INSERT ON "{table}"'
            f" REFERENCING NEW TABLE AS written FOR EACH STATEMENT {check}",
            f'CREATE TRIGGER "{self.name}_update" AFTER UPDATE ON "{table}"'
            f" FOR EACH ROW WHEN ({moved}) {check}",
        ]

    def undo(self, model: type[Model], vendor: str) -> list[str]:
        """Take the triggers away."""
        if vendor != "postgresql":
            return []
        table = _table(model)
        return [f'DROP TRIGGER "{self.name}_{act}" ON "{table}"' for act in ("insert", "update")]


class Sealed(_DdlConstraint):
    """Rows that are written once: the database refuses UPDATE and DELETE, whoever asks.

    Parameters
    ----------
    unless
        SQL condition on the old row (alias `old`) under which a change is still allowed, such as
        `old.sealed_at IS NULL`; None seals every row as it is written.
    """

    def __init__(self, *, name: str, unless: str | None = None) -> None:
        self.unless = unless
        super().__init__(name=name)

    def deconstruct(self) -> Any:
        """Return what a migration needs to make this again."""
        path, args, kwargs = super().deconstruct()
        if self.unless:
            kwargs["unless"] = self.unless
        return path, args, kwargs

    def statements(self, model: type[Model], vendor: str) -> list[str]:
        """Return one trigger for each of UPDATE and DELETE."""
        table = _table(model)
        when = f"WHEN (NOT ({self.unless}))" if self.unless else ""
        made = []
        for act in ("UPDATE", "DELETE"):
            trigger = f"{self.name}_{act.lower()}"
            if vendor == "postgresql":
                body = "EXECUTE FUNCTION app_refuse_change()"
                made.append(
                    f'CREATE TRIGGER "{trigger}" BEFORE {act} ON "{table}"'
                    f" FOR EACH ROW {when} {body}"
                )
            else:
                body = f"SELECT RAISE(ABORT, 'sealed rows of {table} are never changed');"
                made.append(
                    f'CREATE TRIGGER IF NOT EXISTS "{trigger}" BEFORE {act} ON "{table}"'
                    f" FOR EACH ROW {when} BEGIN {body} END"
                )
        return made

    def undo(self, model: type[Model], vendor: str) -> list[str]:
        """Take the triggers away."""
        on = f' ON "{_table(model)}"' if vendor == "postgresql" else ""
        return [f'DROP TRIGGER "{self.name}_{act}"{on}' for act in ("update", "delete")]


def unique_here(
    *fields: str, name: str, message: Any = None, only: Q | None = None
) -> UniqueConstraint:
    """Return a uniqueness within one contractor, so that it betrays nothing of others."""
    return UniqueConstraint(
        fields=["contractor", *fields],
        name=name,
        condition=only,
        violation_error_message=message,
    )


__all__ = [
    "SameContractor",
    "SameContractorOfMany",
    "Sealed",
    "TenantRows",
    "tenant_keys",
    "unique_here",
]
