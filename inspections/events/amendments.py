"""Amendments laid over the events they correct."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from uuid import UUID

from inspections.events.envelope import Event
from inspections.events.fields import EventRefused


def amendments_by_target(events: Iterable[Event]) -> dict[UUID, tuple[Event, ...]]:
    """Return, for each corrected event, the amendments that stand; those replaced are left out."""
    found: dict[UUID, dict[UUID, Event]] = {}
    for event in events:
        if event.kind == "visit.amend":
            standing = found.setdefault(UUID(event.payload["target"]), {})
            for replaced in event.seen:
                standing.pop(replaced, None)
            standing[event.id] = event
    return {target: tuple(standing.values()) for target, standing in found.items()}


def check_amendment(amendment: Event, target: Event) -> None:
    """Refuse an amendment that does not fit the event it names.

    Raises
    ------
    EventRefused
        When it names another event or kind, or another finding, impairment or outage: ids stay.
    """
    if amendment.payload["target"] != str(target.id):
        raise EventRefused("payload.target", amendment.payload["target"], str(target.id))
    if amendment.payload["kind"] != target.kind:
        raise EventRefused("payload.kind", amendment.payload["kind"], target.kind)
    key = target.schema.key
    if key and amendment.payload["value"][key] != target.payload[key]:
        field, value = f"payload.value.{key}", amendment.payload["value"][key]
        raise EventRefused(field, value, f"{target.payload[key]}: an amendment keeps the id")


def as_amended(events: Sequence[Event]) -> list[Event]:
    """Return the events as they are now known: a corrected one holds what its amendment says.

    An amendment that `check_amendment` refuses has no effect. Where two amendments of one event
    stand side by side, both values come back, so that the worse one is shown.
    """
    amendments = amendments_by_target(events)
    known: list[Event] = []
    for event in events:
        if event.kind == "visit.amend":
            continue
        values = [
            amendment.payload["value"]
            for amendment in amendments.get(event.id, ())
            if _fits(amendment, event)
        ]
        known += [replace(event, payload=value) for value in values] or [event]
    return known


def _fits(amendment: Event, target: Event) -> bool:
    try:
        check_amendment(amendment, target)
    except EventRefused:
        return False
    return True
