"""Pages of the days on which work is not wanted at a building."""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_http_methods

from buildings.access import building_for
from buildings.models import Building, OffLimits
from contractors.doors import ContractorRequest, Role, contractor_page
from contractors.refusal import NotThere
from inspections.acting import act
from scheduling import off_limits

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
HERE, AUTHORITY, EVERYWHERE = "building", "authority", "all"


class OffForm(forms.Form):
    """Days on which work is not wanted."""

    where = forms.ChoiceField(label=_lazy("Where"))
    work = forms.ChoiceField(label=_lazy("What is not wanted"), choices=OffLimits.Work.choices)
    from_on = forms.DateField(label=_lazy("First day"), widget=_DAY)
    until_on = forms.DateField(label=_lazy("Last day"), widget=_DAY)
    yearly = forms.BooleanField(
        label=_lazy("On the same days each year"),
        required=False,
        help_text=_lazy("Such as a school's term or a hotel's season."),
    )
    authority = forms.CharField(
        label=_lazy("By whose word"),
        max_length=120,
        help_text=_lazy("The water utility, the school, the manager of the house."),
    )
    reason = forms.CharField(
        label=_lazy("Reason"), max_length=200, help_text=_lazy("Such as a ban on using water.")
    )

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = building.jurisdiction
        under = [(AUTHORITY, _("every building under %(name)s") % {"name": place})] if place else []
        choices = [(HERE, building.name), *under, (EVERYWHERE, _("all of our buildings"))]
        self.fields["where"].choices = choices  # type: ignore[attr-defined]


class NothingForm(forms.Form):
    """Only a button."""


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def off_limits_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Keep days free of work: at the building, under its authority, or everywhere."""
    building = building_for(request, building_id)

    def do(given: dict[str, Any]) -> str:
        where = given.pop("where")
        off_limits.keep(
            **given,
            building=building if where == HERE else None,
            jurisdiction=building.jurisdiction if where == AUTHORITY else None,
            by=request.member,
        )
        return reverse("terms", args=[building.pk])

    return act(
        request,
        OffForm(request.POST or None, building=building),
        do,
        title=_("Keep days free of work"),
        subtitle=building.name,
        label=_("Keep them free"),
        hint=_(
            "Wanted days move off them inside their windows. The latest day of the rules stays:"
            " ask the authority having jurisdiction where no day is left."
        ),
        back=reverse("terms", args=[building.pk]),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def off_limits_end(request: ContractorRequest, off_id: UUID) -> HttpResponse:
    """Give days free again."""
    row = off_for(off_id)
    place = reverse("terms", args=[row.building_id]) if row.building_id else reverse("due")

    def do(_given: dict[str, Any]) -> str:
        off_limits.withdraw(row, by=request.member)
        return place

    return act(
        request,
        NothingForm(request.POST if request.method == "POST" else None),
        do,
        title=_("Give these days free again"),
        subtitle=f"{row.authority}: {row.reason}",
        label=_("Give them free"),
        hint=_("Visits that were planned by them stay where they are."),
        back=place,
    )


def off_for(off_id: UUID) -> OffLimits:
    """Return days off limits of the caller's contractor, or raise `NotThere`."""
    found: OffLimits | None = (
        OffLimits.objects.select_related("building").filter(pk=off_id, withdrawn_at=None).first()
    )
    if found is None:
        raise NotThere
    return found
