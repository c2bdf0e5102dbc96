"""Pages of whose turn it is at a building: which items go first, chosen from a day on."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_http_methods

from buildings.access import building_for
from buildings.models import Building, TurnOrder
from contractors.doors import ContractorRequest, Role, contractor_page
from inspections.acting import act
from inspections.catalogue_files import catalogue
from scheduling import turn_orders
from scheduling.turn_orders import ByTurns

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class TurnForm(forms.Form):
    """Which half goes first, from a day on."""

    activity = forms.ChoiceField(label=_lazy("Work by turns"))
    first = forms.MultipleChoiceField(
        label=_lazy("Go first"),
        widget=forms.CheckboxSelectMultiple,
        help_text=_lazy("Half of them. The others have their turn in the cycle after."),
    )
    valid_from = forms.DateField(label=_lazy("From"), widget=_DAY)

    def __init__(self, *args: Any, known: dict[str, ByTurns], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tasks = [(name, one.activity.task) for name, one in known.items()]
        items = {i.id: i for one in known.values() for i in one.items}
        self.fields["activity"].choices = tasks  # type: ignore[attr-defined]
        if len(tasks) == 1:
            self.fields["activity"].widget = forms.HiddenInput()
            self.fields["activity"].initial = tasks[0][0]
        self.fields["first"].choices = [  # type: ignore[attr-defined]
            (str(pk), f"{item.code} {item.name}".strip()) for pk, item in items.items()
        ]


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def turn_order_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Choose which items go first where they take turns."""
    building = building_for(request, building_id)
    known = turn_orders.by_turns(building)
    tasks = ", ".join(one.activity.task for one in known.values())

    def do(given: dict[str, Any]) -> str:
        first = map(UUID, given.pop("first"))
        turn_orders.choose(building, given.pop("activity"), first, **given, by=request.member)
        return reverse("terms", args=[building.pk])

    return act(
        request,
        TurnForm(request.POST or None, known=known, initial={"valid_from": building.today}),
        do,
        title=_("Choose which go first"),
        subtitle=f"{building.name}: {tasks or _('nothing goes by turns here')}",
        label=_("Let them go first"),
        hint=_(
            "It decides where none was passed over in the last cycle; what was passed over comes"
            " first in any case, and a finding makes the work owed at all of them. A small or old"
            " system with trouble is better opened early. Where the authority having jurisdiction"
            " wants all of them in one cycle, set a frequency for the building instead."
        ),
        back=reverse("terms", args=[building.pk]),
        is_empty=not known,
    )


def shown(building: Building) -> dict[str, Any]:
    """Return what the page of settings shows of turns: what goes by turns, and what was chosen."""
    known = turn_orders.by_turns(building)
    names = {
        str(item.id): f"{item.code} {item.name}".strip()
        for one in known.values()
        for item in one.items
    }
    rows = building.turn_orders.select_related("recorded_by__user").order_by(
        "-valid_from", "-recorded_at"
    )
    return {"by_turns": known, "turn_orders": [_told(row, names) for row in rows]}


def _told(row: TurnOrder, names: dict[str, str]) -> dict[str, Any]:
    def named(ids: Iterable[str]) -> str:
        return "; ".join(names.get(one, _("one that takes no turns any more")) for one in ids)

    activity = catalogue().activities.get(row.activity)
    return {
        "row": row,
        "task": activity.task if activity else row.activity,
        "first": named(row.first),
        "then": named(row.then),
    }
