"""Labels of a building's items: asked for, printed, and where a scanned one leads."""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from buildings.access import building_for
from buildings.models import Building, Device, Riser, System
from buildings.panels import Panel
from contractors.doors import ContractorRequest, contractor_page
from contractors.refusal import NotThere
from inspections import labels

KINDS = [
    ("system", gettext_lazy("Systems")),
    ("riser", gettext_lazy("Risers")),
    ("device", gettext_lazy("Devices")),
]


class LabelForm(forms.Form):
    """Which labels, and on what paper."""

    sheet = forms.ChoiceField(
        label=gettext_lazy("Paper"),
        choices=[(key, sheet.name) for key, sheet in labels.SHEETS.items()],
    )
    kinds = forms.MultipleChoiceField(
        label=gettext_lazy("Of"), choices=KINDS, widget=forms.CheckboxSelectMultiple
    )
    system = forms.ChoiceField(label=gettext_lazy("System"), required=False)
    skip = forms.IntegerField(
        label=gettext_lazy("Labels gone from the first sheet"),
        min_value=0,
        max_value=29,
        initial=0,
        required=False,
    )

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = [(str(row.pk), row.name) for row in building.systems.all()]
        self.fields["system"].choices = [("", _("all")), *rows]  # type: ignore[attr-defined]


@contractor_page()
@require_http_methods(["GET", "POST"])
def label_sheets(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Ask which labels are wanted, and give them as a PDF."""
    building = building_for(request, building_id)
    first = {"sheet": "letter-30", "kinds": ["riser", "device"]}
    form = LabelForm(request.POST or None, building=building, initial=first)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        system = UUID(given["system"]) if given["system"] else None
        wanted = labels.labels_of(building, given["kinds"], system)
        if wanted:
            sheet = labels.SHEETS[given["sheet"]]
            content = labels.render(wanted, sheet, skip=given["skip"] or 0)
            answer = HttpResponse(content, content_type="application/pdf")
            answer["Content-Disposition"] = f'attachment; filename="labels-{building.code}.pdf"'
            return answer
        form.add_error(None, _("Nothing of that stands here; choose another part."))
    shown = {
        "form": form,
        "title": _("Labels of %(name)s") % {"name": building.name},
        "back": building.get_absolute_url(),
        "label": _("Make the sheets (PDF)"),
        "hint": _(
            "Print at full size. The code leads to the item, on the tablet and on any telephone."
        ),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "inspections/act.html", shown, status=status)


@contractor_page()
@require_GET
def at(request: ContractorRequest, item_id: UUID) -> HttpResponse:
    """Lead from a scanned label to its item."""
    for model in (Riser, Device, System):
        if model.objects.filter(pk=item_id).exists():
            return redirect(reverse(model.subject_kind, args=[item_id]))
    raise NotThere


def label_panel(request: Any, building: Building) -> Panel | None:
    """Return the way to a building's labels."""
    return Panel(
        "labels",
        _("Labels"),
        "inspections/_labels.html",
        aside=True,
        link=reverse("labels", args=[building.pk]),
        link_words=_("Make sheets of labels"),
    )
