"""Small helps for the templates of buildings."""

from collections.abc import Mapping
from typing import Any

from django import template

register = template.Library()


@register.filter
def of(marks: Mapping[Any, Any] | None, key: Any) -> Any:
    """Return what a mapping holds for a key, or None."""
    return marks.get(key) if marks else None


@register.filter
def spaced(word: str) -> str:
    """Write a code's underscores as spaces."""
    return str(word).replace("_", " ")
