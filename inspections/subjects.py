"""What results, findings and impairments are about: a building, system, riser or device."""

from datetime import date, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID

from buildings.models import Device, Riser, subject_model
from inspections.catalogue_files import catalogue

# Days until a finding calls for a repair or a decision, where the catalogue's row says nothing:
# common practice, no source. Observations owe nothing by a day.
RESPONSE_DAYS = {"impairment": 0, "critical": 30, "noncritical": 90}


def subject_for(subject_kind: str, subject_id: UUID) -> Any:
    """Return the building, system, riser or device, or None when it is not there."""
    return subject_model(subject_kind).objects.filter(pk=subject_id).first()


def system_of(subject_kind: str, subject_id: UUID) -> UUID | None:
    """Return the id of the system that a subject belongs to; None at the building itself."""
    if subject_kind == "system":
        return subject_id
    model: Any = {"riser": Riser, "device": Device}.get(subject_kind)
    if model is None:
        return None
    found: UUID | None = (
        model.objects.filter(pk=subject_id).values_list("system_id", flat=True).first()
    )
    return found


def customary_response(grade: str, deficiency: str, found_on: date) -> date | None:
    """Return the day by which a finding customarily calls for a repair or a decision.

    Parameters
    ----------
    grade
        impairment, critical, noncritical or observation.
    deficiency
        Row of the catalogue's classes of findings; empty where none was chosen.
    """
    row = _deficiency(deficiency)
    days = row.response_days if row else RESPONSE_DAYS.get(grade)
    if grade == "observation" or days is None:
        return None
    return found_on + timedelta(days=days)


@lru_cache(maxsize=512)
def _deficiency(code: str) -> Any:
    return catalogue().deficiencies.get(code)
