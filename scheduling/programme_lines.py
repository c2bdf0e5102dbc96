"""What a building's programme is made of: plain values, ready for JSON."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

# The status of an occurrence that is foreseen only: it follows an open one.
LATER = "later"


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A performance in the record.

    Attributes
    ----------
    grade
        Whose word it is: our own record, another firm's report, the owner's word, an acceptance.
    result, visit
        Ids of the record; None for what was told at take-over or rests on an acceptance.
    activity
        What was performed: another activity than the one asked for, where that took its place.
    """

    on: date
    grade: str
    activity: str
    result: UUID | None = None
    visit: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Regime:
    """One rule that bounds the occurrence.

    Attributes
    ----------
    provisional
        The regime does not define the word itself; the definition is borrowed or common practice.
    """

    name: str
    edition: str
    word: str
    activity: str
    source: str
    confidence: str
    provisional: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """An attribute that decided, such as ``system.gas``, and where its value comes from.

    `label` says it in words and `said` its value, as the dictionary of kinds has them.
    """

    name: str
    label: str
    said: str
    value: Any
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """The reason of an occurrence, in words and as data.

    Attributes
    ----------
    words
        Sentences, the one that decides first.
    edition
        The adopted edition; None where nobody knows it.
    source, confidence
        Of the catalogue's row.
    decided
        The attributes on which it rests that the activity applies.
    last
        The last performance that counts.
    clash
        Which regimes leave no day in common; empty when there is none.
    impaired
        What is out of service there, in words; empty when nothing is.
    """

    words: tuple[str, ...]
    edition: int | None
    source: str
    confidence: str
    catalogue: str
    regimes: tuple[Regime, ...]
    decided: tuple[Decided, ...]
    last: Done | None
    clash: str = ""
    season: str = ""
    impaired: str = ""
    suspended: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """What an activity is done on."""

    id: UUID
    subject_kind: str
    kind: str
    name: str
    system: UUID | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One occurrence.

    Attributes
    ----------
    key
        Item, activity and due day: the same for the same occurrence.
    status
        ``in_order``, ``due_by``, ``overdue``, ``not_known_yet``, ``suspended``; ``later`` for one
        that follows an open one and is foreseen only.
    plannable
        Whether ordinary work may be planned for it: not where the item is impaired or suspended.
    owner_gap
        The owner does it, and its latest day has passed without an entry.
    """

    key: str
    subject: Subject
    activity: str
    task: str
    kind: str
    frequency: str
    earliest: date | None
    due: date
    latest: date
    status: str
    by_owner: bool
    owner_gap: bool
    plannable: bool
    minutes: float
    qualification: str
    season: str
    why: Why


@dataclass(frozen=True, slots=True, kw_only=True)
class Performed:
    """A performance within the span asked for."""

    subject: Subject
    activity: str
    task: str
    on: date
    answer: str
    grade: str
    result: UUID
    visit: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """What a building owes from one day to another, as seen on a day and known at a moment.

    Attributes
    ----------
    on, known_at
        The day of the question, and the moment whose knowledge answers it; None is now.
    first, last
        Foreseen occurrences are those due between them; open ones are always there.
    with_us
        Whether the contractor is engaged on that day. Without it nothing is owed by us.
    suspended
        Why the building owes nothing, in words; empty when it does.
    provisional
        The adopted edition is not known, so windows are taken from the newest.
    lines
        By due day.
    performed
        What the record holds between `first` and `last`, up to `on`.
    """

    building: UUID
    name: str
    on: date
    known_at: datetime | None
    first: date
    last: date
    edition: int | None
    catalogue: str
    with_us: bool
    suspended: str
    provisional: bool
    lines: tuple[Line, ...]
    performed: tuple[Performed, ...]

    @property
    def open(self) -> tuple[Line, ...]:
        """Return the open occurrences: one for each item and activity."""
        return tuple(line for line in self.lines if line.status != LATER)

    def data(self) -> dict[str, Any]:
        """Return it as plain data that JSON can hold."""
        found: dict[str, Any] = plain(asdict(self))
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyNot:
    """Why an activity is on a building's programme or not.

    Attributes
    ----------
    owed
        Whether it has due dates of its own.
    how
        As `inspections.applies.How` names it; ``unknown_here`` where the kind of item never has
        it, ``not_there`` where the item stands not in the building on that day, ``suspended`` and
        ``not_with_us`` where it rests.
    asks
        What somebody has to say before it can be decided.
    within
        Item and activity with which it is done.
    lines
        Its occurrences, where it is owed.
    """

    building: UUID
    item: UUID
    activity: str
    on: date
    owed: bool
    how: str
    words: tuple[str, ...]
    source: str = ""
    confidence: str = ""
    edition: int | None = None
    decided: tuple[Decided, ...] = ()
    asks: tuple[str, ...] = ()
    within: tuple[tuple[str, str], ...] = ()
    lines: tuple[Line, ...] = ()

    def data(self) -> dict[str, Any]:
        """Return it as plain data that JSON can hold."""
        found: dict[str, Any] = plain(asdict(self))
        return found


def plain(value: Any) -> Any:
    """Return a value with days, moments and ids as text, as JSON holds them."""
    if isinstance(value, dict):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [plain(one) for one in value]
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value
