"""Drawings as files: for whom they are drawn, and kept so that each is drawn once."""

import hashlib
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.core.cache import cache
from django.http import HttpResponse
from django.utils.translation import get_language, gettext

from inspections.pictures.reader import ANYBODY, VERSION, WORDS, Reader

if TYPE_CHECKING:
    from inspections.pictures.canvas import Picture

KEPT_FOR = 30 * 24 * 3600


def reader_of(request: Any) -> Reader:
    """Return who sees the pictures that a request asks for; ``?narrow`` for a telephone."""
    return Reader(in_words().words, "narrow" in request.GET)


def in_words() -> Reader:
    """Return a reader of the present language."""
    if (get_language() or "en").startswith("en"):
        return ANYBODY
    return Reader({word: gettext(word) for word in WORDS})


def kept(given: Any, draw: Callable[[Any, Reader], "Picture"], reader: Reader) -> Any:
    """Return the picture of what is given, drawn once for each reader.

    Parameters
    ----------
    given
        What it shows; its `repr` says all of it.
    draw
        Draws it.
    """
    key = hashlib.sha256(f"{VERSION}{given!r}{reader!r}".encode()).hexdigest()
    return cache.get_or_set(f"picture:{key}", lambda: draw(given, reader), KEPT_FOR)


def svg(drawn: "Picture") -> HttpResponse:
    """Return a picture as a file."""
    answer = HttpResponse(drawn.svg, content_type="image/svg+xml")
    answer["Cache-Control"] = "private, max-age=60"
    return answer
