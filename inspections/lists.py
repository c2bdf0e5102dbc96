"""The lists of visits and findings, as pages and files narrow and sort them."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Case, IntegerField, Q, Value, When
from django.db.models.functions import Coalesce
from django.utils import timezone

from contractors import filters
from contractors.models import Membership
from inspections import access
from inspections.forms import FindingFilters, VisitFilters
from inspections.models import Finding

VISIT_ORDERS = {
    "day": "day",
    "building": "building__name",
    "technician": "technician__name",
    "state": "state",
    "report": "number",
}
WORST_FIRST = Case(
    *(When(grade=g, then=Value(n)) for n, g in enumerate(Finding.Class.values)),
    output_field=IntegerField(),
)


def visits(asked: Mapping[str, Any], member: Membership) -> tuple[VisitFilters, Any]:
    """Return the form of what narrows the list, and the visits this member may see of it.

    Each visit has its `day`: when it was done, else for when it is planned.
    """
    form = VisitFilters(asked)
    given = filters.given(form)
    rows = access.visits_of(member).annotate(day=Coalesce("performed_on", "planned_on"))
    for name in ("state", "kind", "technician"):
        if given.get(name):
            rows = rows.filter(**{name: given[name]})
    if text := given.get("building"):
        rows = rows.filter(Q(building__name__icontains=text) | Q(building__code__iexact=text))
    for name, lookup in (("day_from", "day__gte"), ("day_to", "day__lte")):
        if given.get(name):
            rows = rows.filter(**{lookup: given[name]})
    key, down = visit_order(form)
    return form, rows.order_by(f"{'-' * down}{VISIT_ORDERS[key]}", "-day", "pk")


def visit_order(form: VisitFilters) -> tuple[str, bool]:
    """Return the column that sorts the list, and whether it sorts downwards."""
    order = str(filters.given(form).get("order") or "-day")
    key = order.lstrip("-")
    return key if key in VISIT_ORDERS else "day", order.startswith("-")


def findings(asked: Mapping[str, Any]) -> tuple[FindingFilters, Any]:
    """Return the form of what narrows the list, and the findings; the open ones unless asked."""
    form = FindingFilters(asked or {"state": Finding.State.OPEN})
    rows = Finding.objects.select_related("building", "system")
    given = filters.given(form)
    for name in ("state", "grade"):
        if given.get(name):
            rows = rows.filter(**{name: given[name]})
    if text := given.get("building"):
        rows = rows.filter(Q(building__name__icontains=text) | Q(building__code__icontains=text))
    if given.get("late"):
        rows = rows.filter(respond_by__lt=timezone.localdate(), state=Finding.State.OPEN)
    return form, rows.order_by(WORST_FIRST, "found_at")
