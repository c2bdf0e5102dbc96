"""The days from which an item's readings no longer compare with those before.

It became another item, its trim was changed, or what the reading rests on was replaced beside it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q

from buildings.models import Device, Revision
from inspections.trends.series import Split

# Facts that make an item another one: readings before do not compare with those after.
REPLACED: Mapping[str, str] = {
    "serial": "device replaced",
    "kind": "another kind",
    "valve_kind": "another valve",
}
TRIM: Mapping[str, str] = {
    "differential": "trim changed",
    "main_drain": "drain changed",
    "orifice_known": "test outlet changed",
    "size": "another size of outlet",
    "retard": "delay set anew",
    "outlet_setting": "outlet pressure set anew",
    "rated_flow": "new pump",
    "rated_pressure": "new pump",
    "rated_speed": "new pump",
    "quantity": "number of nozzles changed",
}
WHY: Mapping[str, str] = {**REPLACED, **TRIM}
_SYSTEM_VALVES = ("dry_pipe_valve", "preaction_deluge_valve")
_TRIP_RESTS_ON = (*_SYSTEM_VALVES, "quick_opening_device", "test_connection")
# A control valve is not here: what a new one left closed must show as a fall, not as a new start.
RESTS_ON: Mapping[str, tuple[str, ...]] = {
    "trip_time": _TRIP_RESTS_ON,
    "delivery_time": _TRIP_RESTS_ON,
    "trip_air_pressure": _SYSTEM_VALVES,
    "time_to_operate": ("quick_opening_device",),
    "time_to_alarm": ("waterflow_switch", "test_connection"),
    "nozzle_pressure": ("spray_nozzle_group", "mist_nozzle_group"),
}
"""Name of a reading -> kinds of devices beside the item whose replacement ends its series."""
_BESIDE = frozenset(kind for kinds in RESTS_ON.values() for kind in kinds)
_WORDS: Mapping[str, str] = {
    "dry_pipe_valve": "dry pipe valve replaced",
    "preaction_deluge_valve": "valve replaced",
    "quick_opening_device": "quick-opening device replaced",
    "test_connection": "test outlet replaced",
    "waterflow_switch": "waterflow switch replaced",
    "spray_nozzle_group": "nozzles replaced",
    "mist_nozzle_group": "nozzles replaced",
}


class Splits:
    """The splits of several items of one building, in two queries however many there are."""

    def __init__(self, items: Sequence[Any]) -> None:
        self._beside = _beside(items)
        subjects = {item.pk for item in items} | {
            device.pk for devices in self._beside.values() for device in devices
        }
        self._own = _revised(subjects)

    def of(self, item: Any, name: str) -> list[Split]:
        """Return the splits of an item's readings of that name."""
        found = list(self._own.get(item.pk, ()))
        devices = [d for d in self._beside[item.pk] if d.kind in RESTS_ON.get(name, ())]
        for device in devices:
            words = _WORDS[device.kind]
            found += [Split(one.on, words) for one in self._own.get(device.pk, ())]
            begun = device.in_service_from
            if begun is not None and _follows_another(device, begun, devices):
                found.append(Split(begun, words))
        return found


def _beside(items: Sequence[Any]) -> dict[UUID, list[Device]]:
    """Return the devices that readings may rest on: those of the item's riser, else its system."""
    places = {item.pk: _place(item) for item in items}
    found: dict[UUID, list[Device]] = {item.pk: [] for item in items}
    wanted = Q(riser_id__in={riser for riser, _ in places.values() if riser})
    wanted |= Q(system_id__in={system for _, system in places.values() if system})
    for device in Device.objects.filter(wanted, kind__in=_BESIDE):
        for item in items:
            riser, system = places[item.pk]
            here = device.riser_id == riser if riser and device.riser_id else None
            if item.pk != device.pk and (device.system_id == system if here is None else here):
                found[item.pk].append(device)
    return found


def _place(item: Any) -> tuple[UUID | None, UUID | None]:
    riser = item.pk if item.subject_kind == "riser" else getattr(item, "riser_id", None)
    system = item.pk if item.subject_kind == "system" else getattr(item, "system_id", None)
    return riser, system


def _follows_another(device: Device, begun: date, beside: Iterable[Device]) -> bool:
    """Say whether a device came in where one of its kind had gone out of service."""
    return any(
        one.pk != device.pk
        and one.kind == device.kind
        and one.in_service_to is not None
        and one.in_service_to <= begun
        for one in beside
    )


def _revised(subjects: Iterable[UUID]) -> dict[UUID, list[Split]]:
    rows = Revision.objects.filter(subject_id__in=subjects)
    found: dict[UUID, list[Split]] = defaultdict(list)
    known: dict[UUID, dict[str, Any]] = defaultdict(dict)
    for subject_id, on, facts in rows.order_by("valid_from", "recorded_at").values_list(
        "subject_id", "valid_from", "facts"
    ):
        found[subject_id] += _changed(known[subject_id], on, facts)
    return found


def _changed(known: dict[str, Any], on: date, facts: Mapping[str, Any]) -> Iterable[Split]:
    told = {**facts, **(facts.get("attributes") or {})}
    for name in WHY.keys() & told.keys():
        if known.get(name) not in (None, "", told[name]):
            yield Split(on, WHY[name])
        known[name] = told[name]
