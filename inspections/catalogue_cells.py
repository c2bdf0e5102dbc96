"""Read single values of the catalogue's tables; what cannot be read is named with its column."""

import math
from collections.abc import Collection

from buildings.tables import Row, split
from inspections import intervals
from inspections.conditions.compiled import Condition, compile_condition
from inspections.conditions.facts import Vocabulary
from inspections.conditions.units import SI_OF_MEASURE
from inspections.intervals import Span

_OTHER_MEASURES = ("state", "text", "date")
FIRST_EDITION, LAST_EDITION = 1900, 2200


def condition(column: str, row: Row, vocabulary: Vocabulary) -> Condition:
    """Return a condition over the names of a vocabulary."""
    try:
        return compile_condition(row[column], vocabulary)
    except ValueError as error:
        raise ValueError(f"{column}: {error}") from None


def readings(text: str) -> dict[str, str]:
    """Return what each reading measures, by name."""
    found: dict[str, str] = {}
    for part in split(text):
        name, _, measure = (piece.strip() for piece in part.partition(":"))
        if measure not in SI_OF_MEASURE and measure not in _OTHER_MEASURES:
            raise ValueError(f"reading {name}: {measure!r} is no measure")
        if name in found:
            raise ValueError(f"reading {name} is there twice")
        found[name] = measure
    return found


def repeat(column: str, row: Row) -> Span:
    """Return an interval that is longer than nothing."""
    try:
        return intervals.repeat(row[column])
    except ValueError as error:
        raise ValueError(f"{column}: {error}") from None


def days(column: str, row: Row) -> int:
    """Return a time to respond in days; ``PT0H`` is at once."""
    if row[column] == "PT0H":
        return 0
    span = repeat(column, row)
    if span.months or span.working_days:
        raise ValueError(f"{column} is {row[column]}; PT0H or days such as P30D are accepted")
    return span.days


def editions(row: Row) -> tuple[int | None, int | None]:
    """Return the first and the last edition of a row; None for no bound."""
    first, last = (_edition(name, row) for name in ("edition_from", "edition_to"))
    if first is not None and last is not None and last < first:
        raise ValueError(f"the last edition, {last}, lies before the first, {first}")
    return first, last


def edition(column: str, row: Row) -> int:
    """Return the year of an edition."""
    found = _edition(column, row)
    if found is None:
        raise ValueError(f"{column} is empty; a year such as 2020 is accepted")
    return found


def _edition(column: str, row: Row) -> int | None:
    written = row[column]
    if not written:
        return None
    if not written.isdecimal() or not FIRST_EDITION <= int(written) <= LAST_EDITION:
        raise ValueError(f"{column} is {written!r}; a year such as 2020 is accepted")
    return int(written)


def one_of(column: str, value: str, accepted: Collection[str]) -> str:
    """Return a word that is one of those accepted."""
    if value not in accepted:
        words = ", ".join(word or "nothing" for word in accepted)
        raise ValueError(f"{column} is {value!r}; accepted: {words}")
    return value


def confidence(row: Row) -> str:
    """Return how sure a figure is."""
    return one_of("confidence", row["confidence"], ("read", "memory", "practice"))


def filled(column: str, row: Row) -> str:
    """Return a text that may not be empty."""
    if not row[column]:
        raise ValueError(f"{column} is empty")
    return row[column]


def truth(column: str, row: Row) -> bool:
    """Return true or false."""
    return one_of(column, row[column], ("true", "false")) == "true"


def number(column: str, row: Row) -> float:
    """Return a number."""
    try:
        found = float(row[column])
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise ValueError(f"{column} is {row[column]!r}; a number is accepted")
    return found


def not_negative(column: str, row: Row) -> float:
    """Return a number from 0 on."""
    found = number(column, row)
    if found < 0:
        raise ValueError(f"{column} is {row[column]}; a number from 0 is accepted")
    return found


def whole(column: str, row: Row, least: int = 0) -> int:
    """Return a whole number."""
    written = row[column]
    if not written.isdecimal() or int(written) < least:
        raise ValueError(f"{column} is {written!r}; a whole number from {least} is accepted")
    return int(written)
