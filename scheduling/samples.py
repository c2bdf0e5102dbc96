"""When samples of sprinklers fall due, of how many, from which area, and where each one stands."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from buildings.models import Building, Device
from inspections import sample_size, sampling
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.models import Sample
from scheduling.models import Occurrence


@dataclass(frozen=True, slots=True)
class SampleDue:
    """A sample that falls due of a group of sprinklers (or of a whole building).

    Attributes
    ----------
    group
        The device; None where the rule counts the whole building.
    in_area, owed
        How many there are at most, and how many of them are owed; None where that is not known.
    last
        The newest sample of it, whatever came of it.
    """

    occurrence: Occurrence
    activity: Activity
    group: Device | None
    in_area: int | None
    owed: int | None
    last: Sample | None

    @property
    def area(self) -> str:
        """Return where the sample is taken from."""
        if self.group is None:
            return str(self.occurrence.building)
        return self.group.location or str(self.group.system or self.group.riser or "")

    @property
    def year(self) -> int | None:
        """Return the year stamped on the group."""
        return self.group.attributes.get("manufacture_year") if self.group else None

    @property
    def is_waiting(self) -> bool:
        """Say whether the laboratory has a sample of it."""
        return self.last is not None and self.last.state == Sample.State.AT_LABORATORY

    @property
    def basis(self) -> str:
        """Return the source of the rule."""
        return self.activity.source


def due_at(building: Building, on: date) -> list[SampleDue]:
    """Return the samples that fall due at a building, the soonest first."""
    known = sampling.activities()
    rows = list(
        Occurrence.objects.filter(building=building, activity__in=known)
        .select_related("building", "system")
        .order_by("due_on", "activity")
    )
    if not rows:
        return []
    groups = Device.objects.select_related("system", "riser").in_bulk(
        [row.subject_id for row in rows]
    )
    newest, edition = sampling.latest(building), building.edition_on(on)
    return [
        _due(row, groups.get(row.subject_id), newest.get((row.subject_id, row.activity)), edition)
        for row in rows
    ]


def _due(
    row: Occurrence, group: Device | None, last: Sample | None, edition: int | None
) -> SampleDue:
    activity = catalogue().activities[row.activity]
    name = "quantity" if group is not None else "sprinklers_total"
    attributes: dict[str, Any] = group.attributes if group else row.building.attributes
    in_area = attributes.get(name) or None
    owed = sample_size.least(activity, in_area, edition) if in_area else None
    return SampleDue(row, activity, group, in_area, owed, last)
