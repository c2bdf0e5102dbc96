"""Heads: the answers to one question that stand side by side until a person settles them.

An event takes away exactly the heads it names in `seen` and adds itself. Two people who answered
without seeing each other leave two heads, also when they say the same: were equal answers merged,
an event that names one of them would silently take the other person's answer away too.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from inspections.events.envelope import Event
from inspections.events.kind import ANSWERS, CLASSES, PROOFS

WORST_FIRST = {
    "item.set": ("answer", ANSWERS),
    "proof.set": ("result", PROOFS),
    "finding.add": ("class", CLASSES),
    "finding.reclass": ("class", CLASSES),
}
"""Kind -> the field that is compared, and its words from worst to best."""


@dataclass(frozen=True, slots=True)
class Heads:
    """The answers that stand, worst first; of two equally bad ones the later recorded comes first.

    Empty only where nothing was recorded.
    """

    events: tuple[Event, ...] = ()

    @property
    def shown(self) -> Event | None:
        """The answer to show: the worst one."""
        return self.events[0] if self.events else None

    @property
    def words(self) -> tuple[str, ...]:
        """The different answers among the heads, worst first."""
        return tuple(dict.fromkeys(_word(event) for event in self.events))

    @property
    def word(self) -> str | None:
        """The worst answer; None where nothing was recorded."""
        return self.words[0] if self.events else None

    @property
    def in_conflict(self) -> bool:
        """Whether the heads disagree, so that a person has to settle it."""
        return len(self.words) > 1

    @property
    def ids(self) -> tuple[UUID, ...]:
        """What an event that settles the matter has to name in `seen`."""
        return tuple(event.id for event in self.events)


def heads_of(events: Iterable[Event]) -> Heads:
    """Return the heads left by events about one question.

    Parameters
    ----------
    events
        All of the same subject and activity (or end-state item, or finding). Their order decides
        nothing but which of two equally bad ones comes first. A repeated event counts once; an id
        that is not here has no effect. One event may come with two values, where two amendments
        of it stand.
    """
    told = list({event.body(): event for event in events}.values())
    replaced = {one for event in told for one in event.seen if one != event.id}
    standing = [event for event in told if event.id not in replaced]
    # Answers that name each other in a ring, as no tablet makes them, do not all vanish.
    return Heads(worst_first(standing or told[-1:]))


def worst_first(events: Sequence[Event]) -> tuple[Event, ...]:
    """Return the events from worst to best answer, the latest first among equals."""
    latest_first = events[::-1]
    return tuple(sorted(latest_first, key=_badness))


def _badness(event: Event) -> int:
    _, words = WORST_FIRST[event.kind]
    return words.index(_word(event))


def _word(event: Event) -> str:
    field, _ = WORST_FIRST[event.kind]
    payload: dict[str, Any] = dict(event.payload)
    return str(payload[field])
