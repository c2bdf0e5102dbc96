"""What else may be done with an activity, so that other work counts as done too.

The catalogue's substitutions ask for it by code; here are the words, and what a line can be asked.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from buildings.models import Device
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import Activity

WORDS = {
    "cover_opened": _("The cover was opened, and what was seen is recorded"),
    "air_device_operated": _("The air maintenance device was worked in service"),
    "quick_opening_operated": _("The quick-opening device was worked in service"),
    "automatic_start": _("The pump started by itself"),
    "full_run_time": _("It ran for its full time"),
    "valve_flowed": _("Water flowed through the hose valve"),
    "signal_recorded": _("The signal was seen and recorded"),
}


@dataclass(frozen=True, slots=True)
class Also:
    """One question of a line; `on` lists the items to choose from, where there are several."""

    what: str
    words: str
    on: tuple[Device, ...]


def asked(rules: Catalogue, activity: Activity, item: Any, devices: Iterable[Device]) -> list[Also]:
    """Return what else may have been done with an activity on an item.

    Parameters
    ----------
    item
        A system, riser or device; None for the building.
    devices
        Those of the building.
    """
    system_id = getattr(item, "system_id", None) or getattr(item, "pk", None)
    near: dict[str, dict[Any, Device]] = {}
    for swap in rules.substitutions:
        if swap.performed != activity.id:
            continue
        wide = () if swap.reach == "item" else rules.activities[swap.closes].subjects
        for need in swap.also_needs:
            found = near.setdefault(need, {})
            here = (one for one in devices if one.kind in wide and one.system_id == system_id)
            found |= {one.pk: one for one in here}
    return [
        Also(need, str(WORDS[need]), tuple(found.values()) if len(found) > 1 else ())
        for need, found in near.items()
    ]
