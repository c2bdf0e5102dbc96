"""What a visit has to record before it can be handed in."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from buildings.models import Device, Riser, System
from inspections import pinned, trips
from inspections.catalogue_rows import LOOKED_UP, Activity
from inspections.events import missing as lacking
from inspections.events.fields import EventRefused
from inspections.events.fold import Subject, VisitPicture
from inspections.events.missing import LAST, Missing, Required
from inspections.models import Outage, Visit

# Looked at one by one: valve positions, gauges, connections, and what the end-state list names.
NEVER_IN_BULK = (
    *("control_valve", "gauge", "fdc", "main_drain", "prv", "supervisory_switch"),
    *("alarm_valve", "dry_pipe_valve", "preaction_valve", "deluge_valve"),
    *("quick_opening_device", "air_compressor", "nitrogen_generator", "air_maintenance_device"),
    *("releasing_panel", "low_point_drain", "valve_enclosure"),
)


def missing(visit: Visit, picture: VisitPicture) -> list[Missing]:
    """Return what the visit lacks: water that is shut, then riser by riser, end-state first.

    The sentences are in the reader's language.
    """
    shut = [name for _outage, name in not_left(visit, picture)]
    found = lacking.missing(picture, required(visit, picture), shut=shut)
    return [replace(one, sentence=_in_words(one)) for one in found]


def _in_words(one: Missing) -> str:
    return lacking.said(_(lacking.SENTENCES[one.lack]), one.words, one.answers)


def not_left(visit: Visit, picture: VisitPicture) -> list[tuple[Outage, str]]:
    """Return the outages of a visit that run on and were not left as an impairment, by name."""
    left = picture.left_impaired
    named = {UUID(one) for one in left.payload["impairments"]} if left else set()
    rows = Outage.objects.filter(visit=visit, ended_at=None).order_by("started_at")
    open_ones = [one for one in rows if one.became_id is None or one.pk not in named]
    places = Places(visit.building_id) if open_ones else None
    return [(one, places.called(one.subject_id)) for one in open_ones] if places else []


def may_be_bulk(activity: Activity) -> bool:
    """Say whether an activity may be answered for many at once: looked at, nothing read or set."""
    return (
        activity.kind == "inspection"
        and activity.component not in NEVER_IN_BULK
        and not taken_readings(activity)
    )


def check_bulk(kind: str, payload: Mapping[str, Any], visit: Visit) -> None:
    """Refuse an answer for many at once to what is looked at one by one.

    Parameters
    ----------
    visit
        Whose rules say what the activity is: one of the contractor's own counts as any other.

    Raises
    ------
    EventRefused
        For anything but a visual inspection outside the end-state list. What nobody got to is no
        answer about its state: that may be said of all that is left.
    """
    if kind != "item.set" or not payload.get("bulk") or payload["answer"] == "could_not":
        return
    activity = pinned.of_visit(visit).activity(payload["activity"])
    if activity is None or not may_be_bulk(activity):
        raise EventRefused("payload.bulk", True, "left out: each of these has its own answer")


def required(visit: Visit, picture: VisitPicture) -> list[Required]:
    """Return what the visit's activities ask for, and the end state of every valve tripped."""
    places = Places(visit.building_id)
    needs: list[Required] = []
    sent, under = _sent(picture), pinned.of_visit(visit)
    for line in visit.lines.order_by("id"):
        activity = under.activity(line.activity)
        if activity is not None and (str(line.subject_id), line.activity) not in sent:
            needs += _needs(Subject(line.subject_kind, line.subject_id), activity, places)
    for device_id in {UUID(step.payload["device"]) for step in picture.steps}:
        needs += _end_state(device_id, places)
    return needs


def _sent(picture: VisitPicture) -> set[tuple[str, str]]:
    """Return what was sampled for the laboratory on this visit, which answers its line."""
    return {
        (subject, event.payload["activity"])
        for event in picture.counted
        if event.kind == "sample.send"
        for subject in event.payload["groups"] or [event.payload["subject"]["id"]]
    }


def taken_readings(activity: Activity) -> dict[str, str]:
    """Return the readings a technician takes for an activity: name to what it measures."""
    return {
        name: measure
        for name, measure in activity.readings.items()
        if not name.startswith(LOOKED_UP)
    }


def needed_readings(activity: Activity) -> list[str]:
    """Return the readings without which a test is not recorded: those that its criterion names."""
    if activity.kind != "test" or activity.criterion is None:
        return []
    return [name for name in taken_readings(activity) if name in activity.criterion.names]


def is_recorded(activity: Activity, read: Collection[str]) -> bool:
    """Say whether a result carries its readings: those needed, else any of a test that has some."""
    needed = needed_readings(activity)
    if needed or activity.kind != "test":
        return set(needed) <= set(read)
    return bool(read) or not taken_readings(activity)


class Places:
    """Where each subject of a building stands: its name, its riser, and that riser's order."""

    def __init__(self, building_id: UUID) -> None:
        of_it = {"building_id": building_id}
        self.risers = {r.pk: r for r in Riser.objects.filter(**of_it)}
        self.systems = {s.pk: s for s in System.objects.filter(**of_it)}
        self.devices = {d.pk: d for d in Device.objects.filter(**of_it)}

    def item(self, subject: Subject) -> Any:
        """Return the row of a system, riser or device; None for the building itself."""
        rows: dict[str, dict[UUID, Any]] = {
            "system": self.systems,
            "riser": self.risers,
            "device": self.devices,
        }
        return rows.get(subject.kind, {}).get(subject.id)

    def name(self, subject: Subject) -> str:
        """Return what a subject is called."""
        item = self.item(subject)
        return item.name if item else "Building"

    def called(self, subject_id: UUID) -> str:
        """Return what a system, riser or device of this id is called."""
        for rows in (self.devices, self.risers, self.systems):
            if item := rows.get(subject_id):
                return str(item.name)
        return "Building"

    def place(self, subject: Subject) -> tuple[str, int]:
        """Return the riser or system a subject is listed under, and its order of water flow."""
        item = self.item(subject)
        riser = item if isinstance(item, Riser) else getattr(item, "riser_id", None)
        if isinstance(riser, UUID):
            riser = self.risers.get(riser)
        system_id = item.pk if isinstance(item, System) else getattr(item, "system_id", None)
        system = self.systems.get(system_id) if system_id else None
        above = riser or system
        if above is None:
            return "", LAST
        return above.name, (system.position if system else above.position)


def _needs(subject: Subject, activity: Activity, places: Places) -> Iterable[Required]:
    riser, order = places.place(subject)
    words = f"{places.name(subject)}, {activity.task}"
    common: dict[str, Any] = {"subject": subject, "code": activity.id, "riser": riser}
    yield Required(what="item", words=words, riser_order=order, **common)
    for name in needed_readings(activity):
        told = f"{places.name(subject)}, {name.replace('_', ' ')}"
        yield Required(what="reading", words=told, name=name, riser_order=order, **common)


def _end_state(device_id: UUID, places: Places) -> Iterable[Required]:
    device = places.devices.get(device_id)
    subject = Subject("device", device_id)
    riser, order = places.place(subject)
    for code in trips.end_state_codes(device) if device else ():
        yield Required(
            what="proof",
            subject=subject,
            code=code,
            words=str(trips.END_STATE_WORDS[code]),
            riser=riser,
            riser_order=order,
        )
