"""The envelope every event comes in, and the check that lets it into the record."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any
from uuid import UUID

from inspections.events.canonical import canonical_bytes, content_of
from inspections.events.fields import (
    CODE,
    ID,
    INSTANT,
    EventRefused,
    Field,
    ListOf,
    OneOf,
    Pattern,
    Record,
    Whole,
    may,
)
from inspections.events.kind import STREAMS, Kind
from inspections.events.kinds import CURRENT, KINDS

LARGEST_EVENT_BYTES = 512 * 1024
MOST_SEEN = 64

_TICKET = Pattern(
    r"[A-Za-z0-9._:=+/-]{1,512}", "the ticket the server gave, at most 512 characters"
)
_PAYLOAD = "an object with the fields of its kind"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing recorded, checked.

    Attributes
    ----------
    id
        Made by whoever recorded it.
    stream, stream_id
        The chain it stands on: a visit, an impairment (or outage), a finding or a building.
    visit
        The visit during which it was recorded; None for acts at the desk.
    kind, version
        Which schema its payload follows.
    tablet, seq
        Which tablet sent it, and its number there from 1; None for what came by page or import.
    seen
        The events that this one takes the place of.
    wall, mono, boot, ticket
        The recorder's clock with offset; milliseconds since the app started; which start that was;
        the last contact with the server before it. See `clock`.
    by
        The person who recorded it.
    payload
        What was recorded, as plain JSON values: numbers are decimal strings.
    before
        The event as it was recorded, where its payload was brought up to date since.
    """

    id: UUID
    stream: str
    stream_id: UUID
    visit: UUID | None
    kind: str
    version: int
    tablet: UUID | None
    seq: int | None
    seen: tuple[UUID, ...]
    wall: str | None
    mono: int | None
    boot: str | None
    ticket: str | None
    by: UUID
    payload: Mapping[str, Any]
    before: "Event | None" = field(default=None, compare=False)
    _body: bytes | None = field(default=None, init=False, repr=False, compare=False)

    @property
    def schema(self) -> Kind:
        """The kind it follows."""
        return KINDS[self.kind, self.version]

    def as_dict(self) -> dict[str, object]:
        """Return the event as plain JSON values, as `check` accepts it."""
        return {name: _as_json(getattr(self, name)) for name in _TOLD}

    def content(self) -> dict[str, object]:
        """Return what was recorded, without the tablet that sent it and its number there.

        It is what a signature was shown, whatever the payload is read as since.
        """
        return content_of((self.before or self).as_dict())

    def body(self) -> bytes:
        """Return the canonical bytes: what is stored and hashed."""
        if self._body is None:
            object.__setattr__(self, "_body", canonical_bytes(self.as_dict()))
        return self._body  # type: ignore[return-value]


_TOLD = [one.name for one in fields(Event) if one.name not in ("before", "_body")]


def _as_json(value: object) -> object:
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, tuple):
        return [_as_json(item) for item in value]
    return value


_ENVELOPE = Record(
    Field("id", ID),
    Field("stream", OneOf(*STREAMS)),
    Field("stream_id", ID),
    may("visit", ID),
    Field("kind", OneOf(*sorted(CURRENT))),
    Field("version", Whole(1, 1_000)),
    may("tablet", ID),
    may("seq", Whole(1, 2**53 - 1)),
    may("seen", ListOf(ID, 0, MOST_SEEN)),
    may("wall", INSTANT),
    may("mono", Whole(0, 2**53 - 1)),
    may("boot", CODE),
    may("ticket", _TICKET),
    Field("by", ID),
)


def check(event: Mapping[str, Any]) -> Event:
    """Return the event, checked against the schema of its kind and version.

    Texts come back in NFC, ids in lower case; nothing else is changed and nothing is filled in.

    Raises
    ------
    EventRefused
        Naming the first field that cannot be used, its value, and what is accepted.
    """
    if not isinstance(event, Mapping):
        raise EventRefused("event", event, "an object")
    payload = event.get("payload")
    head = _ENVELOPE.check("event", {k: v for k, v in event.items() if k != "payload"})
    kind = _kind_of(head)
    if not isinstance(payload, Mapping):
        raise EventRefused("payload", payload, _PAYLOAD)
    checked = Event(
        id=UUID(str(head["id"])),
        stream=str(head["stream"]),
        stream_id=UUID(str(head["stream_id"])),
        visit=_uuid(head.get("visit")),
        kind=kind.name,
        version=kind.version,
        tablet=_uuid(head.get("tablet")),
        seq=head.get("seq"),
        seen=tuple(UUID(item) for item in head.get("seen", ())),
        wall=head.get("wall"),
        mono=head.get("mono"),
        boot=head.get("boot"),
        ticket=head.get("ticket"),
        by=UUID(str(head["by"])),
        payload=check_payload(kind, payload),
    )
    for rule in (_check_stream, _check_tablet, _check_seen, _check_size):
        rule(checked, kind)
    return checked


def as_recorded(event: Mapping[str, Any]) -> Event:
    """Return an event of the record, which was checked when it was let in.

    Parameters
    ----------
    event
        As `Event.as_dict` gave it, read back from its canonical bytes.
    """
    return Event(
        **{
            **event,
            "id": UUID(event["id"]),
            "stream_id": UUID(event["stream_id"]),
            "visit": _uuid(event["visit"]),
            "tablet": _uuid(event["tablet"]),
            "seen": tuple(UUID(item) for item in event["seen"]),
            "by": UUID(event["by"]),
        }
    )


def unrepeated(events: Iterable[Event]) -> list[Event]:
    """Return the events in their order, each id once: a second delivery changes nothing."""
    first: dict[UUID, Event] = {}
    for event in events:
        first.setdefault(event.id, event)
    return list(first.values())


def check_payload(kind: Kind, payload: Mapping[str, Any]) -> dict[str, Any]:
    """Return the payload, checked against its kind; `EventRefused` names what cannot be used."""
    checked = kind.payload.check("payload", payload)
    for rule in kind.rules:
        rule.check(checked)
    if kind.name == "visit.amend":
        checked["value"] = _amended_value(checked)
    return checked


def _amended_value(amendment: Mapping[str, Any]) -> dict[str, Any]:
    name = amendment["kind"]
    target = KINDS.get((name, CURRENT.get(name, 0)))
    if target is None or not target.amendable:
        names = ", ".join(sorted(known.name for known in KINDS.values() if known.amendable))
        raise EventRefused("payload.kind", name, names)
    try:
        return check_payload(target, amendment["value"])
    except EventRefused as refused:
        field = refused.field.replace("payload", "payload.value", 1)
        raise EventRefused(field, refused.value, refused.accepted) from refused


Upgrade = Callable[[Mapping[str, Any]], Mapping[str, Any]]

UPGRADES: dict[tuple[str, int], Upgrade] = {}
"""Kind and version -> how its payload becomes that of the next version.

None where a version only adds a field that may be left out: it is read as it was recorded, and
what a signature was shown is hashed so.
"""


def upgrade(event: Event, steps: Mapping[tuple[str, int], Upgrade] = UPGRADES) -> Event:
    """Return the event as its reader wants it: its payload in the newest version of its kind.

    The record itself is never rewritten: hashes are taken over the event as it was recorded.
    """
    payload, version = event.payload, event.version
    while (event.kind, version) in steps:
        payload, version = steps[event.kind, version](payload), version + 1
    if version == event.version:
        return event
    return replace(event, payload=payload, version=version, before=event)


def _uuid(value: object) -> UUID | None:
    return None if value is None else UUID(str(value))


def _kind_of(head: Mapping[str, Any]) -> Kind:
    kind = KINDS.get((head["kind"], head["version"]))
    if kind is None:
        versions = ", ".join(str(v) for name, v in sorted(KINDS) if name == head["kind"])
        raise EventRefused("event.version", head["version"], f"{versions} for {head['kind']}")
    return kind


def _check_stream(event: Event, kind: Kind) -> None:
    if event.stream not in kind.streams:
        raise EventRefused("event.stream", event.stream, ", ".join(kind.streams))
    if event.stream == "visit" and event.visit != event.stream_id:
        raise EventRefused("event.visit", event.visit, f"{event.stream_id}, the id of its stream")
    if kind.key and event.payload[kind.key] != str(event.stream_id):
        field, value = f"payload.{kind.key}", event.payload[kind.key]
        raise EventRefused(field, value, f"{event.stream_id}, the id of its stream")


def _check_tablet(event: Event, _: Kind) -> None:
    if event.tablet is None:
        if event.seq is not None:
            raise EventRefused("event.seq", event.seq, "nothing, where there is no tablet")
        return
    for name in ("seq", "wall", "mono", "boot", "ticket"):
        if getattr(event, name) is None:
            raise EventRefused(f"event.{name}", None, "a value, because the event has a tablet")


def _check_seen(event: Event, kind: Kind) -> None:
    if event.seen and not kind.replaces:
        raise EventRefused("event.seen", event.seen, f"nothing: {kind.name} replaces no event")
    if event.id in event.seen:
        raise EventRefused("event.seen", event.id, "other events than itself")
    if len(event.seen) > 1 and "reason" not in event.payload:
        accepted = "a value, because the event settles a conflict"
        raise EventRefused("payload.reason", None, accepted)


def _check_size(event: Event, _: Kind) -> None:
    size = len(event.body())
    if size > LARGEST_EVENT_BYTES:
        raise EventRefused("event", f"{size} bytes", f"at most {LARGEST_EVENT_BYTES} bytes")
