"""What the design asks of an item: the data of its hydraulic placard, with two dates."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from buildings import inventory
from buildings.kinds import AttributeValue, kinds
from buildings.models import Placard
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused

GROUP = "design"


def write(
    item: Any,
    values: Mapping[str, Any],
    *,
    valid_from: date,
    source: str = "",
    by: Membership | None,
) -> Placard:
    """Write down what an item's placard says from a day on; earlier rows stay as they are.

    Parameters
    ----------
    item
        A system, riser or device.
    values
        By name of the group ``design`` (``base_flow``, ``base_pressure``, …), in the unit that the
        dictionary of kinds gives; empty ones are left out.

    Raises
    ------
    FieldRefused
        When a name or a value is none of the group's, a figure is negative, or nothing is said.
    """
    said = kinds()[GROUP].normalise(values)
    for name, value in said.items():
        if name != "lowest_temperature" and isinstance(value, int | float) and value < 0:
            raise FieldRefused(name, value, "Zero or more.")
    if not said:
        raise FieldRefused("values", "nothing", "At least one figure of the placard.")
    kind = inventory.subject_kind_of(item)
    row: Placard = Placard.objects.create(
        building_id=item.building_id,
        subject_kind=kind,
        subject_id=item.pk,
        values=said,
        source=source,
        valid_from=valid_from,
        recorded_at=timezone.now(),
        recorded_by=by,
    )
    audit.record(f"{kind}.placard", by=by, on=item, values=said, valid_from=valid_from.isoformat())
    return row


def values_of(
    subjects: Sequence[UUID], on: date, known_at: datetime | None = None
) -> dict[str, AttributeValue]:
    """Return what the design asks on a day.

    Parameters
    ----------
    subjects
        Ids of the item and of what it hangs on, the item first: its own figures go before theirs.
    on, known_at
        The day, and the moment up to which records count (None: all).
    """
    rows = Placard.objects.filter(subject_id__in=subjects, valid_from__lte=on)
    if known_at is not None:
        rows = rows.filter(recorded_at__lte=known_at)
    found: dict[UUID, dict[str, AttributeValue]] = {}
    for row in rows.order_by("valid_from", "recorded_at", "id"):
        found.setdefault(row.subject_id, {}).update(row.values)
    merged: dict[str, AttributeValue] = {}
    for subject_id in reversed(list(subjects)):
        merged |= found.get(subject_id, {})
    return merged
