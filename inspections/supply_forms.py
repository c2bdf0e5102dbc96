"""Forms of supply points: a point, who draws on it, a placard, a flow test with its outlets."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings import units
from buildings.models import Building, SupplyPoint, System
from inspections import flow_readings
from inspections.models import Visit

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_PARTS = ("bore", "coefficient", "pitot")


class PointForm(forms.Form):
    """A point of water supply."""

    code = forms.CharField(label=_("Number"), max_length=30)
    name = forms.CharField(label=_("Name"), max_length=120)
    main_size = forms.CharField(label=_("Main"), max_length=40, required=False)


class DrawForm(forms.Form):
    """A system that draws on a point, or no longer does."""

    system = forms.ModelChoiceField(label=_("System"), queryset=System.objects.none())
    point = forms.ModelChoiceField(label=_("Supply point"), queryset=SupplyPoint.objects.none())
    from_on = forms.DateField(label=_("From"), widget=_DAY)
    height = forms.CharField(
        label=_("Base of the riser above the gauge of the flow test"),
        help_text=_("Below it: a minus before it."),
        max_length=40,
        required=False,
    )
    loss = forms.CharField(
        label=_("Loss in lead-in and backflow preventer"), max_length=40, required=False
    )
    hose = forms.CharField(
        label=_("Hose outside that the placard does not hold"), max_length=40, required=False
    )
    ends = forms.BooleanField(label=_("It no longer draws on this point"), required=False)

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own: Any = self.fields
        own["system"].queryset = building.systems.order_by("position", "code")
        own["point"].queryset = SupplyPoint.objects.order_by("code")
        for name, quantity in (("height", "length"), ("loss", "pressure"), ("hose", "flow")):
            own[name].unit = units.unit_beside(quantity, building.units)


class PlacardForm(forms.Form):
    """What a hydraulic placard asks; flows in gpm and pressures in psi where no unit is typed."""

    FIGURES: Mapping[str, str] = {
        "base_flow": "flow",
        "base_pressure": "pressure",
        "demand_flow": "flow",
        "demand_pressure": "pressure",
    }

    base_flow = forms.CharField(label=_("Flow at the base of the riser"), required=False)
    base_pressure = forms.CharField(label=_("Pressure at the base of the riser"), required=False)
    demand_flow = forms.CharField(label=_("Greatest demand, flow"), required=False)
    demand_pressure = forms.CharField(label=_("Greatest demand, pressure"), required=False)
    from_on = forms.DateField(label=_("As of"), widget=_DAY)
    source = forms.CharField(
        label=_("Read from"), help_text=_("Placard, drawing"), max_length=200, required=False
    )

    def __init__(self, *args: Any, how: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, quantity in self.FIGURES.items():
            self.fields[name].unit = units.unit_beside(quantity, how)  # type: ignore[attr-defined]


class OutletsWidget(forms.Widget):
    """Boxes for bore, coefficient and pitot of some outlets."""

    template_name = "inspections/outlets_widget.html"
    use_fieldset = True

    def id_for_label(self, id_: str) -> str:
        """Return nothing: the group has a legend, and each box its own label."""
        del id_
        return ""

    def get_context(self, name: str, value: Any, attrs: Any) -> dict[str, Any]:
        """Return what the boxes show: what was typed, then empty ones."""
        typed = list(value or [])
        empty = flow_readings.Outlet()
        rows = [*typed, *[empty] * (flow_readings.MOST_OUTLETS - len(typed))]
        return {**super().get_context(name, value, attrs), "name": name, "rows": rows}

    def value_from_datadict(self, data: Any, files: Any, name: str) -> list[flow_readings.Outlet]:
        """Return the outlets of which anything was typed."""
        del files
        columns = [data.getlist(f"{name}_{part}") for part in _PARTS]
        rows = [
            flow_readings.Outlet(*(one.strip() for one in row))
            for row in zip(*columns, strict=False)
        ]
        return [row for row in rows if row != flow_readings.Outlet()]


class OutletsField(forms.Field):
    """Flowing outlets, judged where the test is recorded."""

    widget = OutletsWidget


class FlowTestForm(forms.Form):
    """A flow test as it was read, and at which visit."""

    tested_on = forms.DateField(label=_("Day"), widget=_DAY)
    hour = forms.TimeField(
        label=_("Hour"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )
    static = forms.CharField(label=_("Static"), max_length=40)
    residual = forms.CharField(label=_("Residual while it flows"), max_length=40)
    outlets = OutletsField(label=_("Outlets that flowed"), required=False)
    flow = forms.CharField(
        label=_("Flow in all, where it was measured itself"), max_length=40, required=False
    )
    residual_hydrant = forms.CharField(label=_("Residual hydrant"), max_length=80, required=False)
    flow_hydrants = forms.CharField(label=_("Flow hydrants"), max_length=160, required=False)
    witnessed_by = forms.CharField(label=_("Witnessed by"), max_length=120, required=False)
    note = forms.CharField(label=_("Note"), max_length=400, required=False)
    visit = forms.ModelChoiceField(
        label=_("Made at the visit"),
        queryset=Visit.objects.none(),
        required=False,
        empty_label=_("at none of ours"),
    )

    def __init__(self, *args: Any, how: str, visits: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        own: Any = self.fields
        own["visit"].queryset = visits
        for name, quantity in (("static", "pressure"), ("residual", "pressure"), ("flow", "flow")):
            own[name].unit = units.unit_beside(quantity, how)
        own["outlets"].help_text = _(
            "Without a unit: bore in %(bore)s, pitot in %(pitot)s. Coefficient as in 0.90."
        ) % {
            "bore": units.unit_beside("length", how, 0.3),
            "pitot": units.unit_beside("pressure", how),
        }


class CorrectionForm(FlowTestForm):
    """A flow test as it should have been recorded, and why it is corrected."""

    reason = forms.CharField(label=_("Why it is corrected"), max_length=200)
