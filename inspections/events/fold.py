"""What the events of a visit amount to: its present picture, and what is still missing in it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from uuid import UUID

from inspections.events.amendments import amendments_by_target, as_amended
from inspections.events.canonical import sha256
from inspections.events.envelope import Event, unrepeated
from inspections.events.findings import FindingPicture, fold_finding
from inspections.events.heads import Heads, heads_of
from inspections.events.outages import OutagePicture, fold_outage


class VisitState(StrEnum):
    """How far a visit has come."""

    PLANNED = "planned"
    OPEN = "open"
    HANDED_IN = "handed_in"
    REVIEWED = "reviewed"
    SEALED = "sealed"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True, order=True)
class Subject:
    """What was looked at: a device, riser, zone, system, supply point or building."""

    kind: str
    id: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """The result of one activity on one subject, as found and as left."""

    subject: Subject
    activity: str
    as_found: Heads
    as_left: Heads

    @property
    def heads(self) -> Heads:
        """The answer that counts for what stands there now: as left, else as found."""
        return self.as_left if self.as_left.events else self.as_found

    @property
    def answer(self) -> str:
        """The worst answer that counts."""
        return str(self.heads.word)

    @property
    def in_conflict(self) -> bool:
        """Whether two people disagree about it."""
        return self.as_found.in_conflict or self.as_left.in_conflict


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """An item of a device's end state, and whether it was proven."""

    device: UUID
    item: str
    heads: Heads

    @property
    def result(self) -> str:
        """The worst result: not_proven, not_fitted or proven."""
        return str(self.heads.word)


@dataclass(frozen=True, slots=True, kw_only=True)
class StationPeriod:
    """A time during which the monitoring station was told to expect signals."""

    on: Event
    off: Event | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitPicture:
    """A visit as its events leave it.

    Attributes
    ----------
    state
        Planned until it is opened; a send-back opens it again; work that arrives after the hand-in
        sends it back to review.
    arrivals
        Each arrival, the first one first: a visit may go on another day.
    opened, handed_in, left_impaired, review, sealed, cancelled, imported
        The events that decided these; None where there is none.
    items, proofs
        Results by subject and activity, and end-state items by device, each with its heads.
    readings, steps, notes, photos, signatures
        What was added, in the order of the record, as amended.
    station
        The times on test; the last one without end is still running.
    findings, outages
        What was found or put out of service during this visit, from this visit's events alone.
    followed
        Acts during this visit on findings and outages that began before it.
    counted
        Every event that is in the picture, in the order of the record, as recorded.
    late
        Work that arrived after the hand-in; it is in the picture, and the review has to look at it.
    after_seal
        Work that arrived after the seal; it is not in the picture until an amendment takes it up.
    amendments
        For each corrected event the amendments that stand.
    """

    visit: UUID
    state: VisitState
    opened: Event | None = None
    arrivals: tuple[Event, ...] = ()
    handed_in: Event | None = None
    left_impaired: Event | None = None
    review: Event | None = None
    sealed: Event | None = None
    cancelled: Event | None = None
    imported: Event | None = None
    items: tuple[Item, ...] = ()
    readings: tuple[Event, ...] = ()
    steps: tuple[Event, ...] = ()
    proofs: tuple[Proof, ...] = ()
    notes: tuple[Event, ...] = ()
    photos: tuple[Event, ...] = ()
    signatures: tuple[Event, ...] = ()
    station: tuple[StationPeriod, ...] = ()
    findings: tuple[FindingPicture, ...] = ()
    outages: tuple[OutagePicture, ...] = ()
    followed: tuple[Event, ...] = ()
    counted: tuple[Event, ...] = ()
    late: tuple[Event, ...] = ()
    after_seal: tuple[Event, ...] = ()
    amendments: Mapping[UUID, tuple[Event, ...]] = field(default_factory=dict)

    @property
    def conflicts(self) -> tuple[Item | Proof, ...]:
        """Items and end-state proofs about which two people disagree."""
        items = (item for item in self.items if item.in_conflict)
        return *items, *(proof for proof in self.proofs if proof.heads.in_conflict)

    @property
    def not_arrived(self) -> tuple[UUID, ...]:
        """Events that the hand-in names and that are not here."""
        if self.handed_in is None:
            return ()
        here = {event.id for event in self.counted}
        named = (UUID(event_id) for event_id in self.handed_in.payload["manifest"]["events"])
        return tuple(event_id for event_id in named if event_id not in here)

    @property
    def shown(self) -> str:
        """The hash of what a summary of this visit shows: what a signature is put under."""
        return shown_hash(self.counted)

    @property
    def on_test(self) -> Event | None:
        """The event that put the station on test, while it still is."""
        return self.station[-1].on if self.station and self.station[-1].off is None else None


def fold(events: Iterable[Event], *, visit: UUID) -> VisitPicture:
    """Return what the events of a visit amount to.

    Parameters
    ----------
    events
        Everything recorded during the visit, whatever its stream, in the order of the record, and
        the amendments. Held and rejected events don't belong in it. Events of other visits are
        passed over; a repeated one counts once.
    visit
        The visit; without events it is planned.
    """
    walk = _Walk()
    for event in unrepeated(event for event in events if event.visit == visit):
        walk.take(event)
    known = as_amended(walk.counted)
    by_kind: dict[str, list[Event]] = {}
    for event in known:
        by_kind.setdefault(event.kind, []).append(event)
    findings, outages, followed = _elsewhere(walk.counted)
    return VisitPicture(
        visit=visit,
        state=walk.state,
        opened=next(iter(by_kind.get("visit.open", [])), None),
        arrivals=tuple(by_kind.get("visit.open", [])),
        handed_in=walk.handed_in,
        left_impaired=_last(by_kind, "visit.leave"),
        review=walk.review,
        sealed=_last(by_kind, "visit.seal"),
        cancelled=_last(by_kind, "visit.cancel"),
        imported=_last(by_kind, "visit.import"),
        items=_items(by_kind.get("item.set", [])),
        readings=tuple(by_kind.get("reading.add", [])),
        steps=tuple(by_kind.get("step.add", [])),
        proofs=_proofs(by_kind.get("proof.set", [])),
        notes=tuple(by_kind.get("note.add", [])),
        photos=tuple(by_kind.get("photo.attach", [])),
        signatures=tuple(by_kind.get("signature.add", [])),
        station=_station(by_kind.get("visit.station", [])),
        findings=findings,
        outages=outages,
        followed=followed,
        counted=tuple(walk.counted),
        late=tuple(walk.late),
        after_seal=tuple(walk.after_seal),
        amendments=amendments_by_target(walk.counted),
    )


def shown_hash(events: Iterable[Event]) -> str:
    """Return the hash of the canonical list of events that a summary shows.

    It covers the work at the building but for the signatures, each event with everything that was
    recorded except tablet and number, sorted by id.
    """
    shown = [
        event.content() for event in events if event.schema.work and event.kind != "signature.add"
    ]
    return sha256(sorted(shown, key=lambda content: str(content["id"])))


class _Walk:
    """The state of a visit, event by event."""

    def __init__(self) -> None:
        self.state = VisitState.PLANNED
        self.counted: list[Event] = []
        self.late: list[Event] = []
        self.after_seal: list[Event] = []
        self.handed_in: Event | None = None
        self.review: Event | None = None

    def take(self, event: Event) -> None:
        if self.state is VisitState.SEALED and _belongs_before_hand_in(event):
            self.after_seal.append(event)
            return
        if self.state in _WITH_REVIEWER and _belongs_before_hand_in(event):
            self.late.append(event)
        elif event.kind == "visit.hand_in":
            self.handed_in = event
        if event.kind in {"visit.review", "visit.waive_review"}:
            self.review = event
        self.counted.append(event)
        self.state = _next_state(self.state, event)


_WITH_REVIEWER = (VisitState.HANDED_IN, VisitState.REVIEWED)


def _belongs_before_hand_in(event: Event) -> bool:
    return event.schema.work or event.kind == "visit.hand_in"


def _next_state(state: VisitState, event: Event) -> VisitState:
    if state is VisitState.SEALED:
        return state
    if event.schema.work:
        return VisitState.HANDED_IN if state in _WITH_REVIEWER else VisitState.OPEN
    match event.kind:
        case "visit.hand_in":
            return VisitState.HANDED_IN
        case "visit.review" if event.payload["verdict"] == "send_back":
            return VisitState.OPEN
        case "visit.review" | "visit.waive_review":
            return VisitState.REVIEWED
        case "visit.seal":
            return VisitState.SEALED
        case "visit.cancel":
            return VisitState.CANCELLED
        case _:
            return state


def _last(by_kind: Mapping[str, Sequence[Event]], kind: str) -> Event | None:
    return next(reversed(by_kind.get(kind, [])), None)


def subject_of(event: Event) -> Subject:
    """Return what an event was recorded about; for a step or a proof, its device."""
    if "device" in event.payload:
        return Subject("device", UUID(event.payload["device"]))
    subject = event.payload["subject"]
    return Subject(subject["kind"], UUID(subject["id"]))


def _items(events: Iterable[Event]) -> tuple[Item, ...]:
    by_item: dict[tuple[Subject, str], dict[str, list[Event]]] = {}
    for event in events:
        phases = by_item.setdefault((subject_of(event), event.payload["activity"]), {})
        phases.setdefault(event.payload.get("phase", "as_found"), []).append(event)
    return tuple(
        Item(
            subject=subject,
            activity=activity,
            as_found=heads_of(phases.get("as_found", [])),
            as_left=heads_of(phases.get("as_left", [])),
        )
        for (subject, activity), phases in sorted(by_item.items(), key=lambda pair: pair[0])
    )


def _proofs(events: Iterable[Event]) -> tuple[Proof, ...]:
    by_proof: dict[tuple[UUID, str], list[Event]] = {}
    for event in events:
        key = (UUID(event.payload["device"]), event.payload["item"])
        by_proof.setdefault(key, []).append(event)
    return tuple(
        Proof(device=device, item=item, heads=heads_of(group))
        for (device, item), group in sorted(by_proof.items(), key=lambda pair: pair[0])
    )


def _station(events: Iterable[Event]) -> tuple[StationPeriod, ...]:
    periods: list[StationPeriod] = []
    running: Event | None = None
    for event in events:
        if event.payload["state"] == "on":
            running = running or event
        elif running is not None:
            periods.append(StationPeriod(on=running, off=event))
            running = None
    if running is not None:
        periods.append(StationPeriod(on=running, off=None))
    return tuple(periods)


def _elsewhere(
    events: Sequence[Event],
) -> tuple[tuple[FindingPicture, ...], tuple[OutagePicture, ...], tuple[Event, ...]]:
    amendments = [event for event in events if event.kind == "visit.amend"]
    streams: dict[tuple[str, UUID], list[Event]] = {}
    for event in events:
        if event.stream in {"finding", "impairment"}:
            streams.setdefault((event.stream, event.stream_id), []).append(event)
    findings: list[FindingPicture] = []
    outages: list[OutagePicture] = []
    followed: list[Event] = []
    for (stream, _), group in streams.items():
        if stream == "finding" and (finding := fold_finding([*group, *amendments])):
            findings.append(finding)
        elif stream == "impairment" and (outage := fold_outage([*group, *amendments])):
            outages.append(outage)
        else:
            followed += group
    return tuple(findings), tuple(outages), tuple(followed)
