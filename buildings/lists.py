"""The list of buildings, as a page and a file narrow and sort it."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Q, QuerySet

from buildings import panels
from buildings.forms import Filters
from buildings.models import Building, System
from contractors import filters

ORDERS = {"name": "name", "number": "code", "district": "area", "since": "taken_over_on"}


def chosen(asked: Mapping[str, Any]) -> tuple[Filters, QuerySet[Building]]:
    """Return the form of what narrows the list, and the buildings that are left."""
    rows: QuerySet[Building] = Building.objects.all()
    districts = sorted(set(rows.exclude(area="").values_list("area", flat=True)))
    form = Filters(asked, districts=districts)
    given = filters.given(form)
    if text := given.get("q"):
        rows = rows.filter(
            Q(name__icontains=text) | Q(code__icontains=text) | Q(address__icontains=text)
        )
    if district := given.get("district"):
        rows = rows.filter(area=district)
    if kind := given.get("kind"):
        rows = rows.filter(pk__in=System.objects.filter(kind=kind).values("building"))
    for narrow in panels.standing_filters if given.get("standing") else ():
        rows = narrow(rows, given["standing"])
    order = str(given.get("order") or "name")
    column = ORDERS.get(order.lstrip("-"), "name")
    return form, rows.order_by(f"-{column}" if order.startswith("-") else column, "code")
