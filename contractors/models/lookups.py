"""`among`: one of many ids, in a query of one parameter however many there are."""

import json
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
        return [_id_of(one).hex for one in self.rhs]

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        """Compile to a comparison with an array."""
        lhs, params = self.process_lhs(compiler, connection)
        return f"{lhs} = ANY(%s::uuid[])", [*params, f"{{{','.join(self.rhs)}}}"]

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        """Compile to a look into a list as JSON."""
        lhs, params = self.process_lhs(compiler, connection)
        within = f"{lhs} IN (SELECT value FROM json_each(%s))"  # noqa: S608, lhs is a column
        return within, [*params, json.dumps(self.rhs)]


def _id_of(one: Any) -> UUID:
    found: UUID = one.pk if isinstance(one, Model) else one
    return found


__all__ = ["Among"]
