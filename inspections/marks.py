"""What the inspections app shows on the page of a building."""

from typing import Any

from django.utils.translation import gettext as _

from buildings.models import Building
from buildings.panels import Panel
from contractors.doors import OFFICE, Role
from inspections.models import Finding, Impairment


def found_here(request: Any, building: Building) -> Panel:
    """Return the panel of what is open and out of service, with what can be recorded."""
    role = request.door.role
    return Panel(
        id="found",
        title=_("Found and out of service"),
        template="inspections/_found_here.html",
        aside=True,
        context={
            "building": building,
            "findings": Finding.objects.filter(
                building=building, state__in=(Finding.State.OPEN, Finding.State.PROPOSED)
            ).order_by("found_at"),
            "impairments": Impairment.objects.filter(building=building, ended_at=None),
            "may_find": role in (*OFFICE, Role.TECHNICIAN),
            "may_plan": role in OFFICE,
        },
    )
