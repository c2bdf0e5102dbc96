"""The beginnings of words by which rows are found, kept beside the rows they come from."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models

from contractors.keys import tenant_keys
from contractors.models.base import TenantModel, searched

MOST_WORDS, LONGEST_WORD = 24, 40
# Letters that have no accent to take off, as they are written without them.
_PLAIN = str.maketrans(
    {"ø": "o", "đ": "d", "ł": "l", "ħ": "h", "æ": "ae", "œ": "oe", "ð": "d", "þ": "th"}
)


class WordField(models.CharField):  # type: ignore[type-arg]
    """Text compared byte by byte, so that a span of an index holds all words of a beginning."""

    def db_parameters(self, connection: Any) -> Any:
        """Return the column's type; SQLite compares bytes without being told."""
        found = super().db_parameters(connection)
        if connection.vendor == "postgresql":
            found["collation"] = "C"
        return found


class SearchWord(TenantModel):
    """A word of a row that can be searched, folded: lower case, no accents, letters and digits.

    Attributes
    ----------
    kind
        What was found: building, system, riser, device, person, visit, report.
    place
        Which word of the row it is; the telling ones come first.
    """

    kind = models.CharField(max_length=12)
    subject_id = models.UUIDField()
    word = WordField(max_length=LONGEST_WORD)
    place = models.PositiveSmallIntegerField()

    class Meta(TenantModel.Meta):
        constraints = [*tenant_keys()]
        indexes = [
            models.Index(fields=["contractor", "kind", "word"], name="contractors_word_begins"),
            models.Index(fields=["contractor", "subject_id", "word"], name="contractors_word_of"),
        ]

    def __str__(self) -> str:
        return f"{self.word} ({self.kind})"


@dataclass(frozen=True, slots=True)
class Kept:
    """Which words of a model's rows are kept, and the columns they come from."""

    kind: str
    columns: tuple[str, ...]
    texts: Callable[[Any], Sequence[str]]


def words_of(text: str) -> list[str]:
    """Return the words of a text, folded, in their order.

    Examples
    --------
    >>> words_of("Señal V-12, Große Halle")
    ['senal', 'v', '12', 'grosse', 'halle']
    """
    folded = unicodedata.normalize("NFKD", text.casefold().translate(_PLAIN))
    bare = "".join(letter for letter in folded if not unicodedata.combining(letter))
    return [word[:LONGEST_WORD] for word in re.findall(r"[^\W_]+", bare)]


def keep_words(model: type[models.Model], columns: Sequence[str]) -> None:
    """Have the words of these columns kept whenever a row of the model is written."""
    names = tuple(columns)
    kept = Kept(model._meta.model_name or "", names, lambda row: [getattr(row, n) for n in names])
    searched[model] = lambda rows, changed, fresh: _keep(kept, rows, changed, fresh=fresh)


def _keep(
    kept: Kept, rows: Iterable[Any], changed: Iterable[str] | None, *, fresh: bool = False
) -> None:
    if changed is not None and not {*changed} & {*kept.columns}:
        return
    rows = list(rows)
    if not fresh:
        SearchWord.objects.filter(subject_id__in=[row.pk for row in rows]).delete()
    SearchWord.objects.bulk_create(
        (word for row in rows for word in _made(kept, row)), batch_size=1000
    )


def _made(kept: Kept, row: Any) -> Iterable[SearchWord]:
    places: dict[str, int] = {}
    for text in kept.texts(row):
        words = words_of(str(text or ""))
        # A number such as V-12 is typed as one word too.
        joined = "".join(words)
        if len(words) > 1 and len(joined) <= LONGEST_WORD and any(map(str.isdigit, joined)):
            words.append(joined)
        for word in words:
            places.setdefault(word, len(places))
    pk: UUID = row.pk
    return (
        SearchWord(kind=kept.kind, subject_id=pk, word=word, place=place)
        for word, place in list(places.items())[:MOST_WORDS]
    )
