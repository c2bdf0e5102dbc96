"""What the events of one finding amount to."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from uuid import UUID

from inspections.events.amendments import as_amended
from inspections.events.envelope import Event, unrepeated
from inspections.events.heads import Heads, heads_of


class FindingState(StrEnum):
    """How far a finding has come."""

    PROPOSED = "proposed"
    OPEN = "open"
    DROPPED = "dropped"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPicture:
    """A finding as its events leave it.

    Attributes
    ----------
    id, added
        The finding and the event that first described it.
    state
        Proposed (by a computation or a foreign report), open, dropped, or closed by evidence.
    classes
        The class as heads: two people may disagree, then the worse one is shown.
    linked_to
        The open finding of which this is a recurrence.
    decision
        The owner's last decision. It moves the follow-up, never the finding.
    closed
        The event that closed it.
    """

    id: UUID
    added: Event
    state: FindingState
    classes: Heads
    linked_to: UUID | None = None
    decision: Event | None = None
    closed: Event | None = None

    @property
    def class_(self) -> str:
        """The class to show: impairment, critical, noncritical or observation."""
        return self.classes.word or str(self.added.payload["class"])

    @property
    def deferred_until(self) -> date | None:
        """The day to which the owner put it off."""
        if self.decision is None or self.decision.payload["decision"] != "defer":
            return None
        return date.fromisoformat(self.decision.payload["until"])


def fold_finding(events: Iterable[Event]) -> FindingPicture | None:
    """Return what the events of one finding amount to; None while it is not yet described.

    Parameters
    ----------
    events
        The finding's stream in the order of the record, together with amendments of its events.

    Notes
    -----
    An owner's decision ends only an observation, and only when a closing event names it. A finding
    that was dropped or closed and is accepted again is open again: the worse reading holds.
    """
    stream = as_amended(unrepeated(events))
    by_kind: dict[str, list[Event]] = {}
    state = FindingState.PROPOSED
    for event in stream:
        by_kind.setdefault(event.kind, []).append(event)
        state = _next_state(state, event)
    if "finding.add" not in by_kind:
        return None
    added = by_kind["finding.add"][0]
    links = by_kind.get("finding.link", [])
    return FindingPicture(
        id=added.stream_id,
        added=added,
        state=state,
        classes=heads_of(event for event in stream if "class" in event.payload),
        linked_to=UUID(links[-1].payload["to"]) if links else None,
        decision=next(reversed(by_kind.get("finding.decide", [])), None),
        closed=by_kind["finding.close"][-1] if state is FindingState.CLOSED else None,
    )


def _next_state(state: FindingState, event: Event) -> FindingState:
    match event.kind:
        case "finding.add":
            proposed = event.payload.get("proposed", False)
            return FindingState.PROPOSED if proposed else FindingState.OPEN
        case "finding.accept":
            return FindingState.OPEN
        case "finding.drop":
            return FindingState.DROPPED
        case "finding.close":
            return FindingState.CLOSED
        case _:
            return state
