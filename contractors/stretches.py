"""Long lists of the API, read on from a row instead of by numbers of pages."""

import binascii
import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from contractors.refusal import FieldRefused

PAGE_SIZE, MOST = 50, 500


class Stretches(BasePagination):
    """Stretches of an ordered list: `?after=…&page_size=100`, at most 500 rows at once.

    Nothing is counted, and what is done meanwhile moves no other row from one stretch to the next.
    The columns of the order are never empty.
    """

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        """Return the rows behind or before the row that the address names.

        Raises
        ------
        FieldRefused
            When it names none.
        """
        given = {name: request.query_params.get(name) for name in ("after", "before")}
        back = bool(given["before"] and not given["after"])
        order = _whole(queryset.query.order_by)
        rows = queryset.order_by(*(map(_turned, order) if back else order))
        name = "before" if back else "after"
        if given[name]:
            rows = rows.filter(_beyond(order, _read(name, given[name], order, queryset), back))
        size = _size(request.query_params.get("page_size"))
        found = list(rows[: size + 1])
        more, found = len(found) > size, found[:size]
        if back:
            found.reverse()
        address = request.build_absolute_uri()
        self.next = self.previous = None
        if found and (more or back):
            self.next = _address(address, "after", _written(found[-1], order))
        if found and (more if back else given["after"]):
            self.previous = _address(address, "before", _written(found[0], order))
        return found

    def get_paginated_response(self, data: Any) -> Response:
        """Return the rows with the addresses of the stretches beside them."""
        return Response({"next": self.next, "previous": self.previous, "results": data})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Describe an answer."""
        link = {"type": "string", "nullable": True, "format": "uri"}
        return {
            "type": "object",
            "required": ["results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        """Describe the parameters."""
        told = {
            "after": (_("Go on behind a row, as `next` names it."), "string"),
            "before": (_("Go back from a row, as `previous` names it."), "string"),
            "page_size": (_("Rows at once, at most 500."), "integer"),
        }
        return [
            {
                "name": name,
                "required": False,
                "in": "query",
                "description": str(words),
                "schema": {"type": kind},
            }
            for name, (words, kind) in told.items()
        ]


def _whole(order: Iterable[Any]) -> list[str]:
    """Return an order that leaves no two rows in the same place."""
    names = [str(name) for name in order]
    return names if names[-1:] in (["pk"], ["-pk"]) else [*names, "pk"]


def _turned(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


def _beyond(order: Sequence[str], spot: Sequence[Any], back: bool) -> Q:
    """Return the condition of the rows behind a spot of the order, or before it."""
    found, same = Q(), Q()
    for name, value in zip(order, spot, strict=True):
        way = "lt" if name.startswith("-") != back else "gt"
        column = name.removeprefix("-")
        step = same & Q((f"{column}__{way}", value))
        if found:
            found |= step
        else:
            # Said apart, so that an index is read from there on.
            start, found = Q((f"{column}__{way}e", value)), step
        same &= Q((column, value))
    return start & found


def _written(row: Any, order: Sequence[str]) -> str:
    values = [str(getattr(row, name.removeprefix("-"))) for name in order]
    return urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")


def _read(name: str, text: Any, order: Sequence[str], rows: QuerySet[Any]) -> list[Any]:
    meta = rows.model._meta
    fields = [
        meta.pk if column == "pk" else meta.get_field(column)
        for column in (one.removeprefix("-") for one in order)
    ]
    try:
        values = json.loads(urlsafe_b64decode(text + "=" * (-len(text) % 4)))
        return [field.to_python(value) for field, value in zip(fields, values, strict=True)]
    except (binascii.Error, ValueError, TypeError, ValidationError):
        accepted = gettext("What a list in the same order named as its next or previous.")
        raise FieldRefused(name, text, accepted) from None


def _address(address: str, name: str, spot: str) -> str:
    for other in ("after", "before"):
        address = remove_query_param(address, other)
    return replace_query_param(address, name, spot)


def _size(text: str | None) -> int:
    try:
        return max(1, min(MOST, int(text or PAGE_SIZE)))
    except ValueError:
        return PAGE_SIZE
