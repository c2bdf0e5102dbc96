"""What the cells of an imported sheet may hold, and how each is read."""

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from typing import Any
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from contractors.models.people import minutes_of

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
FREQUENCY_WORDS = {
    "daily": "P1D",
    "weekly": "P7D",
    "monthly": "P1M",
    "quarterly": "P3M",
    "semiannual": "P6M",
    "annual": "P1Y",
}
MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]


class Unreadable(ValueError):
    """A cell holds something that its column does not take; the text says what it takes."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What a column takes: in words, and as the function that reads it."""

    accepted: str
    read: Callable[[str], Any]

    def __call__(self, text: str) -> Any:
        """Return the value, or raise `Unreadable` with what is accepted."""
        try:
            return self.read(text)
        except (ValueError, ValidationError):
            raise Unreadable(self.accepted) from None


def text(longest: int) -> Cell:
    """Return a cell for text of at most so many characters."""

    def read(value: str) -> str:
        if len(value) > longest or any(ord(c) < 32 and c not in "\n\t" for c in value):
            raise ValueError
        return value

    return Cell(f"text of up to {longest} characters", read)


def code(longest: int) -> Cell:
    """Return a cell for a number or short code."""
    words = f"a number or code of up to {longest} characters without spaces at its ends"
    return Cell(words, text(longest).read)


def slug(longest: int) -> Cell:
    """Return a cell for a code of letters, digits and hyphens."""

    def read(value: str) -> str:
        if len(value) > longest or not re.fullmatch(r"[a-zA-Z0-9_-]+", value):
            raise ValueError
        return value.lower()

    return Cell(f"up to {longest} letters, digits and hyphens, such as harbor-schools", read)


def number(least: float, most: float) -> Cell:
    """Return a cell for a number within bounds."""

    def read(value: str) -> float:
        found = float(value)
        if not math.isfinite(found) or not least <= found <= most:
            raise ValueError
        return found

    return Cell(f"a number from {least:g} to {most:g}", read)


def whole(least: int, most: int) -> Cell:
    """Return a cell for a whole number within bounds."""

    def read(value: str) -> int:
        found = float(value)
        if found != int(found) or not least <= found <= most:
            raise ValueError
        return int(found)

    return Cell(f"a whole number from {least} to {most}", read)


def one_of(words: Iterable[str]) -> Cell:
    """Return a cell for one word of a list, in any case, with spaces or hyphens."""
    known = {plain(word): word for word in words}

    def read(value: str) -> str:
        if plain(value) not in known:
            raise ValueError
        return known[plain(value)]

    return Cell(f"one of: {', '.join(known.values())}", read)


@lru_cache(maxsize=4096)
def plain(word: str) -> str:
    """Return a word or heading as it is compared: small letters, one underscore between words."""
    return "_".join(re.split(r"[\s_-]+", word.strip().casefold()))


def _truth(value: str) -> bool:
    word = value.casefold()
    if word not in ("yes", "y", "true", "1", "x", "no", "n", "false", "0"):
        raise ValueError
    return word in ("yes", "y", "true", "1", "x")


def _day(value: str) -> date:
    # A workbook's date cell may come with a time of midnight.
    return date.fromisoformat(re.sub(r"[ T]00:00(:00)?$", "", value))


def _email(value: str) -> str:
    validate_email(value)
    return value.lower()


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _zone(value: str) -> str:
    if value not in _zones():
        raise ValueError
    return value


def _spans(value: str) -> dict[str, list[str]]:
    """Read ``Mon-Fri 07:00-12:00, 13:00-17:00; Sat 08:00-12:00``."""
    found: dict[str, list[str]] = {}
    for part in filter(None, (piece.strip() for piece in value.split(";"))):
        named, _space, times = part.partition(" ")
        first, _dash, last = named.casefold().partition("-")
        begins, ends = DAYS.index(first[:3]), DAYS.index((last or first)[:3])
        spans = [_span(span.strip()) for span in times.split(",")]
        if ends < begins:
            raise ValueError
        for day in range(begins, ends + 1):
            found.setdefault(str(day), []).extend(spans)
    if not found:
        raise ValueError
    return found


def _span(value: str) -> str:
    begins, _dash, ends = (part.strip() for part in value.partition("-"))
    if minutes_of(begins) >= minutes_of(ends):
        raise ValueError
    return f"{begins}-{ends}"


def _week(value: str) -> dict[str, list[str]]:
    spans = _spans(value)
    if any(len(of_day) > 1 for of_day in spans.values()):
        raise ValueError
    return {day: of_day[0].split("-") for day, of_day in spans.items()}


def _frequencies(value: str) -> list[str]:
    found = []
    for part in filter(None, (piece.strip() for piece in re.split(r"[;,]", value))):
        word = FREQUENCY_WORDS.get(part.casefold(), part.upper())
        if not re.fullmatch(r"P\d{1,3}[DWMY]", word):
            raise ValueError
        found.append(word)
    return found


def _month(value: str) -> int:
    name = value.strip().casefold()[:3]
    return MONTHS.index(name) + 1 if name in MONTHS else whole(1, 12).read(value)


TRUTH = Cell("yes or no", _truth)
DAY = Cell("a date like 2026-05-31", _day)
EMAIL = Cell("an e-mail address", _email)
ZONE = Cell("a time zone such as America/Chicago", _zone)
HOURS = Cell("hours such as Mon-Fri 07:00-17:00; Sat 08:00-12:00", _spans)
WEEK = Cell("one span a day such as Mon-Thu 07:00-16:30; Fri 07:00-12:00", _week)
FREQUENCIES = Cell("frequencies such as weekly; monthly, or P7D; P1M", _frequencies)
MONTH = Cell("a month such as April, or 1 to 12", _month)
LATITUDE = number(-90, 90)
LONGITUDE = number(-180, 180)
