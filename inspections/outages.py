"""Water shut for work, or found shut: what proves that it is open again, and what still runs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from buildings.models import Building
from inspections import record, subjects
from inspections.catalogue_files import catalogue
from inspections.closing import Places
from inspections.events.fields import EventRefused
from inspections.models import Event, Impairment, Outage, Visit

ENDS = ("outage.end", "impairment.end")
STARTS = ("outage.start", "impairment.start")
# The item of the end state by which a control valve is seen open, counted and secured.
VALVE_OPEN = "control_valve"
STATUS_TEST, DRAIN_AFTER = "control-valve-status-test", "main-drain-after-valve"
DRAINS = "main_drain"
# From this edition on a valve status test may do instead of the main drain test (from memory).
STATUS_TEST_FROM = 2014
GOOD = ("pass", "seen_in_order", "proven")


def flow_test_after(building: Building, day: date) -> str:
    """Return the activity that shows a valve open after it was shut, by the building's edition.

    Where nobody has told the edition it is the main drain test, the stricter of the two.
    """
    edition = building.edition_on(day)
    return STATUS_TEST if edition and edition >= STATUS_TEST_FROM else DRAIN_AFTER


def check_end(kind: str, payload: Mapping[str, Any], building: Building) -> None:
    """Refuse an end as proven that names no sufficient proof.

    Raises
    ------
    EventRefused
        Saying which proof is wanted.
    """
    if kind not in ENDS or payload.get("result") != "restored_proven":
        return
    stream_id = UUID(payload["outage" if kind == "outage.end" else "impairment"])
    if lacks := lacking(stream_id, building, payload.get("proofs", [])):
        raise EventRefused("payload.proofs", payload.get("proofs"), "; ".join(lacks))


def lacking(stream_id: UUID, building: Building, named: Iterable[object]) -> list[str]:
    """Return which proofs of restoration are missing among the entries named, in words.

    Every entry named has to be of this building and system, recorded since it began, good, and the
    last word on its matter. Where a valve was shut, one has to show that valve open and secured,
    and one a flow of water after it: a main drain test, or a valve status test where the building's
    edition knows it.
    """
    start = started(stream_id, building)
    if start is None:
        return ["an outage or impairment of this building that began before"]
    case = _Case(start, building)
    known = case.good({str(one) for one in named})
    none = ["entries of this system, recorded since, by which it was proven or passed"]
    return ([] if known else none) + (case.lacks(known) if case.valve else [])


def speaking(stream_id: UUID, building: Building) -> list[str]:
    """Return the ids of all entries that speak for a restoration, in the order of the record."""
    start = started(stream_id, building)
    return list(_Case(start, building).speaking().values()) if start is not None else []


def asks_for_flow(stream_id: UUID, building: Building) -> bool:
    """Say whether a restoration asks for the valve seen open and a flow test."""
    start = started(stream_id, building)
    return start is not None and _Case(start, building).valve


@dataclass(frozen=True, slots=True)
class Running:
    """Something shut or out of service at a building.

    Attributes
    ----------
    id, name
        Its stream, and what is out of service.
    since
        When it began.
    impaired
        An impairment by now; else somebody stays at it.
    is_own
        Begun on the visit that is asked for.
    """

    id: UUID
    name: str
    since: datetime
    impaired: bool
    is_own: bool


def running_at(visit: Visit) -> list[Running]:
    """Return what is shut or out of service at a visit's building now, oldest first."""
    at = {"building_id": visit.building_id, "ended_at": None}
    rows = [*Impairment.objects.filter(**at), *Outage.objects.filter(**at, became=None)]
    places = Places(visit.building_id) if rows else None
    found = [
        Running(
            id=row.pk,
            name=places.called(row.subject_id),
            since=row.started_at,
            impaired=isinstance(row, Impairment),
            is_own=row.visit_id == visit.pk,
        )
        for row in rows
        if places is not None
    ]
    return sorted(found, key=lambda one: one.since)


def is_out(system_id: UUID, building_id: UUID) -> bool:
    """Say whether a system is shut or out of service now."""
    at = {"system_id": system_id, "building_id": building_id, "ended_at": None}
    return bool(Impairment.objects.filter(**at).exists() or Outage.objects.filter(**at).exists())


class _Case:
    """One outage, looked at for its proofs."""

    def __init__(self, start: Event, building: Building) -> None:
        subject = record.payload_of(start)["subject"]
        self.start, self.building = start, building
        self.subject_id = UUID(subject["id"])
        self.system_id = subjects.system_of(subject["kind"], self.subject_id)
        self.places = Places(building.pk)
        device = self.places.devices.get(self.subject_id)
        is_valve = device is not None and device.kind == "control_valve"
        self.valve = is_valve or start.kind == "outage.start"
        self.own_valve = self.subject_id if is_valve else None

    def good(self, named: set[str]) -> list[tuple[str, UUID, str]]:
        """Return the matters of those named that speak for it."""
        return [matter for matter, entry in self.speaking().items() if entry in named]

    def speaking(self) -> dict[tuple[str, UUID, str], str]:
        """Return what speaks for it: kind, item and matter proven or passed, and the entry."""
        rows = Event.objects.filter(building=self.building, kind__in=("item.set", "proof.set"))
        last: dict[tuple[str, UUID, str], tuple[Event, str]] = {}
        for row in rows.exclude(status="held").order_by("number"):
            payload = record.payload_of(row)
            word = payload["result" if row.kind == "proof.set" else "answer"]
            last[_matter(row.kind, payload)] = row, str(word)
        return {
            matter: str(row.id)
            for matter, (row, word) in last.items()
            if word in GOOD and self._since(row) and self._of_system(matter[1])
        }

    def lacks(self, known: Iterable[tuple[str, UUID, str]]) -> list[str]:
        proven = list(known)
        lacks = []
        if not any(kind == "proof.set" and self._shows_open(of, what) for kind, of, what in proven):
            lacks.append("the valve seen open, its turns counted, secured")
        if not any(kind == "item.set" and self._shows_flow(what) for kind, _of, what in proven):
            by_edition = flow_test_after(self.building, self._day())
            lacks.append(f"after that: {catalogue().activities[by_edition].task}")
        return lacks

    def _shows_open(self, device_id: UUID, item: str) -> bool:
        if item != VALVE_OPEN:
            return False
        return self.own_valve is None or device_id == self.own_valve

    def _shows_flow(self, activity_id: str) -> bool:
        activity = catalogue().activities.get(activity_id)
        if activity is None:
            return False
        if activity_id == STATUS_TEST:
            return flow_test_after(self.building, self._day()) == STATUS_TEST
        return activity.component == DRAINS and activity.kind == "test"

    def _day(self) -> date:
        return self.start.happened_at.astimezone(self.building.zone).date()

    def _since(self, row: Event) -> bool:
        if row.tablet is not None and row.tablet == self.start.tablet:
            return (row.seq or 0) > (self.start.seq or 0)
        return bool(row.happened_at >= self.start.happened_at)

    def _of_system(self, subject_id: UUID) -> bool:
        if self.system_id is None or subject_id in (self.subject_id, self.system_id):
            return True
        places = self.places
        item = places.devices.get(subject_id) or places.risers.get(subject_id)
        return item is not None and item.system_id == self.system_id


def started(stream_id: UUID, building: Building) -> Event | None:
    """Return the entry by which an outage or impairment of a building began; None for none."""
    found: Event | None = (
        Event.objects.filter(stream="impairment", stream_id=stream_id, building=building)
        .filter(kind__in=STARTS)
        .order_by("position")
        .first()
    )
    return found


def _matter(kind: str, payload: Mapping[str, Any]) -> tuple[str, UUID, str]:
    if kind == "proof.set":
        return kind, UUID(payload["device"]), payload["item"]
    return kind, UUID(payload["subject"]["id"]), payload["activity"]
