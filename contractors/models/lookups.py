"""`among`: one of many ids, in a query of one parameter however many there are."""

import json
from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from django.db.models import ForeignKey, Lookup, Model, UUIDField


@UUIDField.register_lookup
@ForeignKey.register_lookup
class Among(Lookup):
    """As `in` for ids or rows: `building__among=buildings`.

    `in` makes a parameter of each id, which takes longer than finding the rows of a whole chunk.
    """

    lookup_name = "among"

    def get_prep_lookup(self) -> list[str]:
        """Return the ids as text."""
        return texts_of(self.rhs)

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        """Compile to a comparison with an array."""
        lhs, params = self.process_lhs(compiler, connection)
        within, ids = among("postgresql", self.rhs)
        return f"{lhs} {within}", [*params, ids]

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        """Compile to a look into a list as JSON."""
        lhs, params = self.process_lhs(compiler, connection)
        within, ids = among("sqlite", self.rhs)
        return f"{lhs} {within}", [*params, ids]


def texts_of(ids: Iterable[Model | UUID]) -> list[str]:
    """Return ids, or those of rows, as text."""
    return [(one.pk if isinstance(one, Model) else one).hex for one in ids]


def among(vendor: str, ids: Sequence[str]) -> tuple[str, str]:
    """Return what follows a column that is to be one of many ids, and its only parameter."""
    if vendor == "postgresql":
        return "= ANY(%s::uuid[])", f"{{{','.join(ids)}}}"
    return "IN (SELECT value FROM json_each(%s))", json.dumps(ids)


__all__ = ["Among", "among", "texts_of"]
