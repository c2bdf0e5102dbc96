"""What the events of one outage or impairment amount to."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from inspections.events.amendments import as_amended
from inspections.events.envelope import Event, unrepeated

_ENDS = ("impairment.end", "outage.end")


@dataclass(frozen=True, slots=True, kw_only=True)
class OutagePicture:
    """A time out of service, as its events leave it: an outage, which may become an impairment.

    Attributes
    ----------
    id, started
        The stream and the event it began with.
    impairment
        The event that made it an impairment; None while a person stands at the valve.
    ended
        The event that ended it; None while it runs.
    notices, watches, tags
        Who was told, the legs of the fire watch, and the tags hung and taken down.
    """

    id: UUID
    started: Event
    impairment: Event | None
    ended: Event | None
    notices: tuple[Event, ...]
    watches: tuple[Event, ...]
    tags: tuple[Event, ...] = ()

    @property
    def runs(self) -> bool:
        """Whether it has not ended."""
        return self.ended is None

    @property
    def impairs(self) -> bool:
        """Whether it runs as an impairment."""
        return self.runs and self.impairment is not None

    @property
    def proof_missing(self) -> bool:
        """Whether it ended without proof, which leaves a finding open until there is one."""
        return self.ended is not None and self.ended.payload["result"] == "restored_proof_missing"


def fold_outage(events: Iterable[Event]) -> OutagePicture | None:
    """Return what the events of one outage or impairment amount to; None before its start.

    Parameters
    ----------
    events
        Its stream in the order of the record, together with amendments of its events. A start
        recorded after an end is a new running time: it never looks better than the facts.
    """
    stream = as_amended(unrepeated(events))
    starts = [event for event in stream if event.kind in {"outage.start", "impairment.start"}]
    if not starts:
        return None
    last = [event for event in stream if event in starts or event.kind in _ENDS][-1]
    return OutagePicture(
        id=starts[0].stream_id,
        started=starts[0],
        impairment=next((event for event in starts if event.kind == "impairment.start"), None),
        ended=last if last.kind in _ENDS else None,
        notices=tuple(event for event in stream if event.kind == "impairment.notice"),
        watches=tuple(event for event in stream if event.kind == "impairment.watch"),
        tags=tuple(event for event in stream if event.kind == "impairment.tag"),
    )
