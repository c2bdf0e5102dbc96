"""The only road from a request and an id to a building and what stands in it."""

from typing import Any
from uuid import UUID

from buildings.models import Building, Device, Jurisdiction, Riser, Sketch, System
from contractors.doors import door_of
from contractors.refusal import NotThere


def building_for(request: Any, building_id: UUID) -> Building:
    """Return a building of the caller's contractor.

    Raises
    ------
    NotThere
        When there is none of that id, or it is another contractor's.
    """
    found: Building = _theirs(request, Building.objects.select_related("jurisdiction"), building_id)
    return found


def jurisdiction_for(request: Any, jurisdiction_id: UUID) -> Jurisdiction:
    """Return an authority of the caller's contractor, or raise `NotThere`."""
    found: Jurisdiction = _theirs(request, Jurisdiction.objects.all(), jurisdiction_id)
    return found


def system_for(request: Any, system_id: UUID) -> System:
    """Return a system of the caller's contractor, or raise `NotThere`."""
    found: System = _theirs(request, System.objects.select_related("building"), system_id)
    return found


def riser_for(request: Any, riser_id: UUID) -> Riser:
    """Return a riser of the caller's contractor, or raise `NotThere`."""
    found: Riser = _theirs(request, Riser.objects.select_related("building", "system"), riser_id)
    return found


def device_for(request: Any, device_id: UUID) -> Device:
    """Return a device of the caller's contractor, or raise `NotThere`."""
    rows = Device.objects.select_related("building", "system", "riser", "parent")
    found: Device = _theirs(request, rows, device_id)
    return found


def sketch_for(request: Any, sketch_id: UUID) -> Sketch:
    """Return a sketch of the caller's contractor, withdrawn or not, or raise `NotThere`."""
    rows = Sketch.objects.select_related("building", "riser", "file", "small")
    found: Sketch = _theirs(request, rows, sketch_id)
    return found


def _theirs(request: Any, rows: Any, row_id: UUID) -> Any:
    door = door_of(request)
    if door is None or door.member is None:
        raise NotThere
    found = rows.filter(pk=row_id).first()
    if found is None:
        raise NotThere
    return found
