"""What the events of one sample amount to: sent, reported on by a laboratory, replaced."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from inspections.events.envelope import Event, unrepeated
from inspections.events.kind import OUTCOMES


class SampleState(StrEnum):
    """How far a sample has come."""

    AT_LABORATORY = "at_laboratory"
    PASSED = "passed"
    FAILED = "failed"
    REPLACED = "replaced"


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplePicture:
    """A sample as its events leave it.

    Attributes
    ----------
    sent
        The event that says what was taken, by whom, and where it was sent.
    reported
        The laboratory's result; None while it is waited for.
    replacements
        What took the place of groups that failed, in the order of the record.
    """

    sent: Event
    reported: Event | None = None
    replacements: tuple[Event, ...] = ()

    @property
    def outcome(self) -> str:
        """The worst outcome of a piece: no_operation, slow or pass; empty without a result."""
        if self.reported is None:
            return ""
        found = {piece["outcome"] for piece in self.reported.payload["pieces"]}
        return next(word for word in OUTCOMES if word in found)

    @property
    def replaced(self) -> frozenset[str]:
        """The groups of which none is left."""
        return frozenset(
            one["old"]
            for event in self.replacements
            for one in event.payload["groups"]
            if "left" not in one
        )

    @property
    def still_owed(self) -> tuple[str, ...]:
        """The groups of the area that a failed sample leaves to be replaced."""
        if self.outcome in ("", "pass"):
            return ()
        return tuple(one for one in self.sent.payload["groups"] if one not in self.replaced)

    @property
    def state(self) -> SampleState:
        """How far it has come: one failed piece fails the whole area."""
        if not self.outcome:
            return SampleState.AT_LABORATORY
        if self.outcome == "pass":
            return SampleState.PASSED
        whole = bool(self.replacements) and not self.still_owed
        return SampleState.REPLACED if whole else SampleState.FAILED


def fold_sample(events: Iterable[Event]) -> SamplePicture | None:
    """Return what the events of one sample amount to; None while it is not yet described.

    Parameters
    ----------
    events
        The sample's stream in the order of the record. The first result stands: a laboratory's
        later word is a sample of its own.
    """
    by_kind: dict[str, list[Event]] = {}
    for event in unrepeated(events):
        by_kind.setdefault(event.kind, []).append(event)
    if "sample.send" not in by_kind:
        return None
    results = by_kind.get("sample.result", [])
    return SamplePicture(
        sent=by_kind["sample.send"][0],
        reported=results[0] if results else None,
        replacements=tuple(by_kind.get("sample.replace", [])),
    )
