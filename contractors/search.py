"""Find buildings, what stands in them, people, visits and reports by the beginnings of words.

Each upper app's rows come in as a `Source`; the words are kept by `SearchWord` whenever a row is
written. A search is a span of a plain index for each kind, under the row policies.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Exists, Model, OuterRef, QuerySet

from contractors.doors import Door
from contractors.models import SearchWord
from contractors.models.base import searched
from contractors.models.search import keep_words, words_of

FIRST = 8
MOST = 200
MOST_TYPED = 6
# Of a kind, so many beginnings are looked at; who types so little that more begin so, types more.
CANDIDATES = 1000
_LAST = "\U0010ffff"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """What was found: two lines, and where it stands."""

    kind: str
    id: UUID
    title: str
    detail: str
    url: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Hits of one kind, the best first.

    Attributes
    ----------
    count
        How many there are in all; the last ones are not listed.
    is_more
        Whether even `count` is not all: too little was typed.
    """

    kind: str
    label: Any
    hits: tuple[Hit, ...]
    count: int
    is_more: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A kind of rows that can be found.

    Attributes
    ----------
    columns
        Those whose words are kept, the telling ones first.
    rows
        The rows that somebody who came through a door may open.
    hit
        (title, detail, address) of a row.
    is_open
        Whether every member may open every row, so that only the listed ones are read.
    """

    model: type[Model]
    label: Any
    columns: tuple[str, ...]
    rows: Callable[[Door], QuerySet[Any]]
    hit: Callable[[Any], tuple[str, str, str]]
    is_open: bool = True

    @property
    def kind(self) -> str:
        """Return the kind's name in addresses and data."""
        return self.model._meta.model_name or ""


# Of an owner: (words, most, kind) -> groups of what contractors published to the owner in scope.
OwnerSource = Callable[[Sequence[str], int, str], list[Group]]

sources: list[Source] = []
owner_sources: list[OwnerSource] = []


def add(source: Source) -> None:
    """Let rows of a kind be found, and have their words kept from now on."""
    sources.append(source)
    keep_words(source.model, source.columns)


def search(text: str, door: Door, *, most: int = FIRST, kind: str = "") -> list[Group]:
    """Return what has, for every word typed, a word that begins with it; grouped by kind.

    Parameters
    ----------
    most
        So many hits of each kind are listed.
    kind
        Only this kind; every kind without it.
    """
    typed = words_of(text)[:MOST_TYPED]
    if not typed:
        return []
    if door.member is None:
        return [group for find in owner_sources for group in find(typed, most, kind)]
    asked = [source for source in sources if not kind or source.kind == kind]
    groups = (_group(source, typed, door, most) for source in asked)
    return [group for group in groups if group is not None]


def _group(source: Source, typed: Sequence[str], door: Door, most: int) -> Group | None:
    ranked, is_more = _ranked(source.kind, typed)
    if not ranked:
        return None
    rows = source.rows(door)
    if not source.is_open:
        allowed = set(rows.filter(pk__in=ranked).values_list("pk", flat=True))
        ranked = [pk for pk in ranked if pk in allowed]
    there = rows.in_bulk(ranked[:most])
    hits = tuple(_hit(source, there[pk]) for pk in ranked[:most] if pk in there)
    if not hits:
        return None
    return Group(
        kind=source.kind, label=source.label, hits=hits, count=len(ranked), is_more=is_more
    )


def _hit(source: Source, row: Any) -> Hit:
    title, detail, url = source.hit(row)
    return Hit(kind=source.kind, id=row.pk, title=title, detail=detail, url=url)


def _ranked(kind: str, typed: Sequence[str]) -> tuple[list[UUID], bool]:
    """Return the rows that match, whole words before beginnings and telling words before others."""
    telling = max(typed, key=len)
    rows = SearchWord.objects.filter(kind=kind, **begins(telling))
    for other in typed:
        if other != telling:
            near = SearchWord.objects.filter(subject_id=OuterRef("subject_id"), **begins(other))
            rows = rows.filter(Exists(near))
    found = list(
        rows.order_by("word", "place").values_list("subject_id", "word", "place")[: CANDIDATES + 1]
    )
    best: dict[UUID, tuple[bool, int]] = {}
    for subject_id, word, place in found[:CANDIDATES]:
        rank = (word != telling, place)
        best[subject_id] = min(best.get(subject_id, rank), rank)
    return sorted(best, key=lambda pk: (*best[pk], pk)), len(found) > CANDIDATES


def begins(word: str) -> dict[str, str]:
    """Return the span of words that begin so; comparing leaks nothing, so an index is used."""
    return {"word__gte": word, "word__lt": word + _LAST}


def matching(typed: Sequence[str], texts: Iterable[str]) -> bool:
    """Say whether every typed word begins a word of the texts."""
    words = [word for text in texts for word in words_of(text)]
    return all(any(word.startswith(one) for word in words) for one in typed)


def rebuild() -> int:
    """Keep the words of every row of the contractor in scope anew; return how many rows.

    Needed once for rows older than the search; afterwards it changes nothing.
    """
    SearchWord.objects.all().delete()
    count = 0
    for source in sources:
        batch: list[Any] = []
        for row in source.model._default_manager.order_by("pk").iterator(2000):
            batch.append(row)
            if len(batch) == 2000:
                count += _keep_again(source, batch)
                batch = []
        count += _keep_again(source, batch)
    return count


def _keep_again(source: Source, rows: list[Any]) -> int:
    if rows:
        searched[source.model](rows, None, True)
    return len(rows)
