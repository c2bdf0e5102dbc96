"""The work pack: everything a technician takes along for one visit, as plain JSON.

The tablet works from it alone. It holds no more than the visit needs, and it is made again whole
whenever something in it has changed; `pack_version` tells one making from another.
"""

import hashlib
import itertools
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any
from uuid import UUID

from django.utils import timezone

from buildings import sketches, units
from buildings.models import Building, Device, Riser, System
from contractors.models import Person
from inspections import also, pinned, pump_tests, readings, trips
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.closing import NEVER_IN_BULK, Places, may_be_bulk, taken_readings
from inspections.criteria import Bound, Filled
from inspections.events.fold import Subject
from inspections.models import (
    Event,
    Finding,
    Impairment,
    Outage,
    Reading,
    Result,
    Visit,
    VisitLine,
)
from inspections.outages import flow_test_after
from inspections.sequence.steps import tasks_of

MOST_HISTORY = 6
MOST_CAUTIONS = 6
_VALVES = (*("preaction_deluge_valve", "dry_pipe_valve", "alarm_check_valve", "control_valve"),)
# Measure of the catalogue -> quantity of units, and the unit a technician types in.
_TYPED: dict[str, tuple[str, str, str]] = {
    "pressure": ("pressure", "psi", "bar"),
    "time": ("time", "s", "s"),
    "temperature": ("temperature", "°F", "°C"),
    "length": ("length", "in", "mm"),
    "volume": ("volume", "gal", "L"),
    "volume_flow": ("flow", "gpm", "L/min"),
    "ratio": ("fraction", "%", "%"),
    "volume_fraction": ("fraction", "%", "%"),
    "voltage": ("voltage", "V", "V"),
    "current": ("current", "A", "A"),
    "rotational_speed": ("rotation", "rpm", "rpm"),
    "frequency": ("frequency", "Hz", "Hz"),
}
_WORDS = ("state", "text", "date")
_COMPUTATIONS = {
    "residual_pressure": "main_drain_change",
    "time_to_alarm": "waterflow_alarm_time",
    "signal_pressure": "low_air_signal",
}


def pack_of(visit: Visit) -> dict[str, Any]:
    """Return the work pack of a visit.

    Parameters
    ----------
    visit
        With its building and technician.

    Returns
    -------
    dict
        Plain JSON values; figures in SI where their name says so.
    """
    pack = _Pack(visit).made()
    text = json.dumps(pack, sort_keys=True, ensure_ascii=False)
    return pack | {"pack_version": hashlib.sha256(text.encode()).hexdigest()[:16]}


def flow_test_of(visit: Visit) -> dict[str, Any]:
    """Return the test that shows a valve open after it was shut, by the building's edition."""
    return _Pack(visit).flow_test()


@dataclass
class _Pack:
    visit: Visit

    def made(self) -> dict[str, Any]:
        visit = self.visit
        return {
            "visit": {
                "id": str(visit.pk),
                "state": visit.state,
                "title": visit.title,
                "kind": visit.kind,
                "planned_on": _iso(visit.planned_on),
                "planned_start": _iso(visit.planned_start),
                "technician": visit.technician.name if visit.technician else "",
                "minutes": visit.planned_minutes,
            },
            "catalogue_version": self.under.rules.version,
            "building": _building(self.building),
            "sketches": self._sketches(),
            "systems": list(self._systems()),
            "items": list(self._items()),
            "findings": self._findings(),
            "impairments": self._impairments(),
            "outages": self._outages(),
            "flow_test": self.flow_test(),
            "people": self._people(),
            "others": self._others(),
            "deficiencies": self._deficiencies(),
            "events": self._events(),
        }

    @property
    def building(self) -> Building:
        found: Building = self.visit.building
        return found

    @cached_property
    def places(self) -> Places:
        return Places(self.visit.building_id)

    @cached_property
    def lines(self) -> list[VisitLine]:
        return list(self.visit.lines.order_by("id"))

    @cached_property
    def history(self) -> Mapping[UUID, Mapping[str, list[Reading]]]:
        subjects = {line.subject_id for line in self.lines}
        return readings.earlier(self.building, subjects, self.visit)

    @cached_property
    def answers(self) -> Mapping[tuple[UUID, str], Result]:
        rows = Result.objects.filter(
            building=self.building, subject_id__in={line.subject_id for line in self.lines}
        ).exclude(visit=self.visit)
        newest = rows.order_by("performed_on", "recorded_at")
        return {(row.subject_id, row.activity): row for row in newest}

    @cached_property
    def under(self) -> pinned.Pinned:
        """Return the rules that judge the visit."""
        return pinned.of_visit(self.visit)

    @cached_property
    def day(self) -> date:
        """Return the day of the visit: the one it was opened on, else today."""
        today: date = timezone.now().astimezone(self.building.zone).date()
        return self.visit.performed_on or today

    def _sketches(self) -> list[dict[str, Any]]:
        """Return where things are drawn: in the building, and at the risers the visit goes to."""
        risers = {key for _system, (kind, key) in map(self._place, self.lines) if kind == "riser"}
        return sketches.taken_along(self.building.pk, risers)

    def _systems(self) -> Iterable[dict[str, Any]]:
        """Yield what the visit goes to, in water order, the building itself last."""
        grouped: dict[UUID | None, dict[tuple[str, UUID], list[VisitLine]]] = {}
        for line in self.lines:
            system_id, group = self._place(line)
            grouped.setdefault(system_id, {}).setdefault(group, []).append(line)
        order = sorted(self.places.systems.values(), key=lambda one: (one.position, one.code))
        for system in order:
            if system.pk in grouped:
                yield self._system(system, grouped[system.pk])
        if None in grouped:
            yield {
                "id": str(self.building.pk),
                "name": self.building.name,
                "kind": "building",
                "type": None,
                "position": None,
                "groups": [self._group(key, rows) for key, rows in grouped[None].items()],
            }

    def _items(self) -> Iterable[dict[str, Any]]:
        """Yield everything that stands in the building, to find by its label or its number."""
        places = self.places
        everything = [places.systems.values(), places.risers.values(), places.devices.values()]
        for item in itertools.chain.from_iterable(everything):
            if item.in_service_on(self.day):
                yield {
                    "id": str(item.pk),
                    "kind": item.subject_kind,
                    "item_kind": item.item_kind,
                    "system": self._system_of(item),
                    "code": item.code,
                    "name": item.name,
                    "location": item.location,
                    "serial": getattr(item, "serial", ""),
                }

    def _system_of(self, item: Any) -> str | None:
        system_id = item.pk if isinstance(item, System) else item.system_id
        return str(system_id) if system_id else None

    def _place(self, line: VisitLine) -> tuple[UUID | None, tuple[str, UUID]]:
        item = self.places.item(Subject(line.subject_kind, line.subject_id))
        riser = item if isinstance(item, Riser) else self.places.risers.get(_riser_id(item))
        system_id = item.pk if isinstance(item, System) else getattr(item, "system_id", None)
        if riser is not None:
            return riser.system_id, ("riser", riser.pk)
        if system_id is not None:
            return system_id, ("system", system_id)
        return None, ("building", self.building.pk)

    def _system(
        self, system: System, groups: Mapping[tuple[str, UUID], Sequence[VisitLine]]
    ) -> dict[str, Any]:
        ordered = sorted(groups.items(), key=lambda pair: self._order(pair[0]))
        return {
            "id": str(system.pk),
            "name": system.name,
            "kind": system.kind,
            "type": trips.system_type(system),
            "position": system.position,
            "groups": [self._group(key, lines, system) for key, lines in ordered],
        }

    def _order(self, group: tuple[str, UUID]) -> tuple[bool, int]:
        """Order a system's own lines before those of its risers, these by water order."""
        riser = self.places.risers.get(group[1])
        return riser is not None, riser.position if riser else 0

    def _group(
        self,
        group: tuple[str, UUID],
        lines: Sequence[VisitLine],
        system: System | None = None,
    ) -> dict[str, Any]:
        kind, group_id = group
        item = self.places.item(Subject(kind, group_id))
        return {
            "id": str(group_id),
            "kind": kind,
            "name": item.name if item else self.building.name,
            "location": item.location if item else "",
            "lines": [made for line in self._sorted(lines) if (made := self._line(line))],
            "valve": self._valve(group, system) if system else None,
        }

    def _sorted(self, lines: Sequence[VisitLine]) -> list[VisitLine]:
        def order(line: VisitLine) -> tuple[bool, int, str]:
            item = self.places.item(Subject(line.subject_kind, line.subject_id))
            is_device = isinstance(item, Device)
            return is_device, item.position if item else 0, str(line.pk)

        return sorted(lines, key=order)

    def _valve(self, group: tuple[str, UUID], system: System) -> dict[str, Any] | None:
        """Return the valve that can be tripped here, with what the guide needs to know of it."""
        here = [d for d in self.places.devices.values() if d.system_id == system.pk]
        if group[0] == "riser":
            here = [device for device in here if device.riser_id == group[1]]
        found = sorted(
            (device for device in here if device.kind in _VALVES),
            key=lambda one: (_VALVES.index(one.kind), one.position),
        )
        config = trips.config_of(found[0]) if found else None
        if config is None:
            return None
        device = found[0]
        return {
            "device": str(device.pk),
            "name": device.name,
            "config": {"type": config.system_type, "overrides": trips.overrides_of(device)},
            "tasks": tasks_of(config),
            "end_state": [
                {"code": code, "words": str(trips.END_STATE_WORDS[code])}
                for code in trips.end_state_codes(device)
            ],
        }

    def _line(self, line: VisitLine) -> dict[str, Any] | None:
        activity = self.under.activity(line.activity)
        if activity is None:
            return None
        subject = Subject(line.subject_kind, line.subject_id)
        item = self.places.item(subject)
        filled = self._filled(line, activity)
        last = self.answers.get((line.subject_id, line.activity))
        return {
            "id": str(line.pk),
            "subject": {"kind": line.subject_kind, "id": str(line.subject_id)},
            "subject_name": self.places.name(subject),
            "subject_kind": item.item_kind if item else line.subject_kind,
            "location": item.location if item else "",
            "activity": activity.id,
            "component": activity.component,
            "task": activity.task,
            "activity_kind": activity.kind,
            "group": activity.group,
            "minutes": line.minutes,
            "due": _iso(line.due_on),
            "latest": _iso(line.latest_on),
            "end_state": activity.component in NEVER_IN_BULK,
            "bulk_ok": may_be_bulk(activity),
            "readings": [
                self._reading(line, activity, name, measure, filled, point)
                for point in ("", *pump_tests.POINTS)
                for name, measure in taken_readings(activity).items()
                if point in pump_tests.points_read(activity.id, name)
            ],
            "criterion": activity.criterion_text,
            "judge": filled.tree if filled else None,
            "judge_is": activity.criterion_is if filled else "person",
            "source": self.under.source(activity),
            "rule": self.under.basis(activity)["words"],
            "confidence": activity.confidence,
            "cautions": self.under.rules.cautions_told(activity)[:MOST_CAUTIONS],
            "instruments": list(activity.instruments),
            "also": self._also(activity, item),
            "last_answer": {"answer": last.answer, "on": _iso(last.performed_on)} if last else None,
        }

    def _also(self, activity: Activity, item: Any) -> list[dict[str, Any]]:
        """Return what else may have been done with it, so that other work counts as done."""
        devices = [one for one in self.places.devices.values() if one.in_service_on(self.day)]
        return [
            {
                "what": one.what,
                "words": one.words,
                "on": [{"id": str(device.pk), "name": device.name} for device in one.on],
            }
            for one in also.asked(self.under.rules, activity, item, devices)
        ]

    def _filled(self, line: VisitLine, activity: Activity) -> Filled | None:
        if activity.criterion is None:
            return None
        asked = Reading(subject_kind=line.subject_kind, subject_id=line.subject_id)
        past = self.history.get(line.subject_id, {})
        facts = readings.Facts(self.under, asked, {}, past)
        return Filled(activity, self.under.rules, facts)

    def _reading(
        self,
        line: VisitLine,
        activity: Activity,
        name: str,
        measure: str,
        filled: Filled | None,
        point: str,
    ) -> dict[str, Any]:
        every = self.history.get(line.subject_id, {}).get(name, [])
        past = [row for row in every if row.point == point] if point else every
        quantity, unit = self._unit(measure)
        known = catalogue().kinds["reading"].attributes.get(name)
        asked_for = activity.kind == "test" and activity.criterion is not None
        return {
            "name": name,
            "point": point,
            "label": label_of(name, point),
            "asks": known.question if known else "",
            "quantity": quantity,
            "unit": unit,
            "choices": list(known.choices) if known and measure in _WORDS else [],
            "required": bool(
                asked_for and name in activity.criterion.text and point != pump_tests.PEAK  # type: ignore[union-attr]
            ),
            "history": [
                {"si": row.value_si, "typed": row.typed, "on": _iso(row.read_on)}
                for row in reversed(past[-MOST_HISTORY:])
            ],
            "baseline": _past(past[0]) if past else None,
            "last": _past(past[-1]) if past else None,
            "limit": self._limit(name, quantity, filled),
        }

    def _unit(self, measure: str) -> tuple[str, str]:
        if measure in _WORDS:
            return "word", readings.WORD_UNIT
        quantity, us, metric = _TYPED.get(measure, ("count", "count", "count"))
        return quantity, metric if self.building.units == "metric" else us

    def _limit(self, name: str, quantity: str, filled: Filled | None) -> dict[str, Any] | None:
        if filled is None or quantity == "word" or name not in filled.activity.readings:
            return None
        bounds = filled.bounds().get(name, ())
        computation = _COMPUTATIONS.get(name)
        if not bounds and computation is None:
            return None
        least = [bound for bound in bounds if bound.side == "least"]
        greatest = [bound for bound in bounds if bound.side == "greatest"]
        hardest = [
            *([max(least, key=lambda bound: bound.si)] if least else []),
            *([min(greatest, key=lambda bound: bound.si)] if greatest else []),
        ]
        return {
            "words": ", ".join(self._bound_words(bound, quantity) for bound in hardest),
            **{f"{bound.side}_si": bound.si for bound in hardest},
            **({"computation": computation} if computation else {}),
        }

    def _bound_words(self, bound: Bound, quantity: str) -> str:
        shown = units.show(bound.si, quantity, self.building.units)
        if bound.side == "least":
            return f"at least {shown}" if bound.met else f"more than {shown}"
        return f"at most {shown}" if bound.met else f"less than {shown}"

    def _findings(self) -> list[dict[str, Any]]:
        rows = Finding.objects.filter(building=self.building, state=Finding.State.OPEN)
        return [
            {
                "id": str(row.pk),
                "class": row.grade,
                "code": row.deficiency,
                "text": row.text,
                "subject": {"kind": row.subject_kind, "id": str(row.subject_id)},
                "subject_name": self.places.name(Subject(row.subject_kind, row.subject_id)),
                "location": row.location,
                "count": row.count,
                "seen_again": row.seen_again,
                "found_on": _iso(row.found_on),
            }
            for row in rows.exclude(visit=self.visit).order_by("found_at")
        ]

    def _impairments(self) -> list[dict[str, Any]]:
        rows = Impairment.objects.filter(building=self.building, ended_at=None)
        return [
            {
                "id": str(row.pk),
                "extent": row.extent,
                "since": _iso(row.started_at),
                "finding": str(row.finding_id) if row.finding_id else None,
            }
            for row in rows.order_by("started_at")
        ]

    def _outages(self) -> list[dict[str, Any]]:
        """Return what is shut or out of service at the building now, on whichever visit."""
        impaired = Impairment.objects.filter(building=self.building, ended_at=None)
        shut = Outage.objects.filter(building=self.building, ended_at=None, became=None)
        return [
            {
                "id": str(row.pk),
                "visit": str(row.visit_id) if row.visit_id else None,
                "name": self.places.called(row.subject_id),
                "subject": str(row.subject_id),
                "system": str(row.system_id) if row.system_id else None,
                "since": _iso(row.started_at),
                "impaired": isinstance(row, Impairment),
            }
            for row in [*impaired.order_by("started_at"), *shut.order_by("started_at")]
        ]

    def flow_test(self) -> dict[str, Any]:
        """Return the test that shows a valve open after it was shut, by the building's edition."""
        day = self.day
        activity = catalogue().activities[flow_test_after(self.building, day)]
        return {
            "activity": activity.id,
            "task": activity.task,
            "edition": self.building.edition_on(day),
            "accepted": [
                one.id
                for one in catalogue().activities.values()
                if one.id == activity.id or (one.component == "main_drain" and one.kind == "test")
            ],
            "readings": [
                {"name": name, "label": name.replace("_", " ").capitalize(), "unit": unit}
                for name, measure in taken_readings(activity).items()
                for _quantity, unit in [self._unit(measure)]
            ],
        }

    def _people(self) -> list[dict[str, Any]]:
        """Return who works on the visit, or has recorded something on it, with their licence."""
        crew = [one for one in (self.visit.technician, self.visit.second) if one]
        writers = Event.objects.filter(visit_id=self.visit.pk).exclude(by=None)
        ids = set(writers.order_by().values_list("by_id", flat=True).distinct())
        known = {one.membership_id: one for one in Person.objects.filter(membership_id__in=ids)}
        for one in crew:
            known[one.membership_id or one.pk] = one
        return [
            {
                "member": str(one.membership_id) if one.membership_id else None,
                "name": one.name,
                "licence": _licence(one, self.day),
                "here": one in crew,
            }
            for one in sorted(known.values(), key=lambda one: one.name)
        ]

    def _others(self) -> list[dict[str, Any]]:
        """Return the technicians to whom the visit may be handed over."""
        rows = Person.objects.filter(is_technician=True, firm="")
        rows = rows.exclude(pk=self.visit.technician_id)
        return [
            {"id": str(one.pk), "name": one.name, "licence": _licence(one, self.day)}
            for one in rows.order_by("name")
        ]

    def _deficiencies(self) -> dict[str, list[dict[str, Any]]]:
        known = [self.under.activity(line.activity) for line in self.lines]
        components = {one.component for one in known if one is not None}
        return {
            component: [
                {
                    "id": one.id,
                    "finding": one.finding,
                    "class": one.finding_class,
                    "variation": one.class_variation,
                    "activity": one.activity_id,
                    "response_days": one.response_days,
                    "source": one.source,
                }
                for one in catalogue().deficiencies_for(component=component)
            ]
            for component in sorted(components)
        }

    def _events(self) -> list[dict[str, Any]]:
        rows = Event.objects.filter(visit_id=self.visit.pk).exclude(status="held")
        return [json.loads(row.body) for row in rows.order_by("number")]


def _building(building: Building) -> dict[str, Any]:
    authority = building.jurisdiction
    return {
        "id": str(building.pk),
        "code": building.code,
        "name": building.name,
        "address": building.full_address,
        "units": building.units,
        "time_zone": building.time_zone,
        "access": building.access_notes,
        "contact": {"name": building.contact_name, "phone": building.contact_phone},
        "station": {"phone": building.station_phone, "account": building.station_account},
        "authority": {
            "name": authority.name if authority else "",
            "phone": authority.notice_phone if authority else "",
        },
        "emergency_phone": authority.emergency_phone if authority else "",
        "impairment_hours": authority.impairment_hours if authority else None,
        "attended_minutes": building.attended_minutes,
    }


def _licence(person: Person, day: date) -> str | None:
    licence = person.licence_on(day)
    return (licence.number or licence.kind) if licence else None


def _riser_id(item: Any) -> UUID | None:
    found: UUID | None = getattr(item, "riser_id", None)
    return found


def _past(row: Reading) -> dict[str, Any]:
    return {"si": row.value_si, "typed": row.typed, "on": _iso(row.read_on)}


def _iso(moment: date | None) -> str | None:
    return moment.isoformat() if moment else None


def label_of(name: str, point: str) -> str:
    """Return what a reading is called, with the point of a pump's flow at which it is taken."""
    words = name.replace("_", " ").capitalize()
    return f"{words}, {pump_tests.POINTS[point]}" if point else words
