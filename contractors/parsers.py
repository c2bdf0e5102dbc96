"""Reads the bodies of requests to the API."""

from typing import Any

from rest_framework import exceptions, parsers

MOST_DEEP = 100
"""So many lists or objects stand in one another at most: far more than anything that is asked."""


class JSONParser(parsers.JSONParser):
    """Reads JSON, and refuses what is nested so deeply that no code can walk it."""

    def parse(self, *args: Any, **more: Any) -> Any:
        """Return the value of a body."""
        try:
            body = super().parse(*args, **more)
        except RecursionError as error:
            raise _too_deep() from error
        level = [body]
        for _depth in range(MOST_DEEP):
            level = [inner for one in level for inner in _within(one)]
            if not level:
                return body
        raise _too_deep()


def _within(value: Any) -> Any:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


def _too_deep() -> exceptions.ParseError:
    said = f"JSON parse error - nested more than {MOST_DEEP} deep"
    return exceptions.ParseError(said)
