"""Forms of the sketches and photos of a building."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, Riser, Sketch
from contractors import pictures


class SketchForm(forms.Form):
    """What a sketch or photo shows, and where it belongs."""

    kind = forms.ChoiceField(
        label=_("What it is"),
        choices=Sketch.Kind.choices,
        initial=Sketch.Kind.SKETCH,
        widget=forms.RadioSelect,
    )
    caption = forms.CharField(
        label=_("What it shows"),
        max_length=200,
        help_text=_("In a few words, such as: ground floor, risers and the way to the valve room."),
    )
    riser = forms.ModelChoiceField(
        label=_("Belongs to"),
        queryset=Riser.objects.none(),
        required=False,
        empty_label=_("the whole building"),
    )

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["riser"].queryset = building.risers.order_by("position", "code")  # type: ignore[attr-defined]


class NewSketchForm(SketchForm):
    """A sketch or photo as it is added."""

    file = forms.FileField(label=_("Picture"))
    field_order = ("file", "kind", "caption", "riser")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = _(
            "Accepted: %(kinds)s. It is written anew without the place and camera data in it."
        ) % {"kinds": pictures.accepted_words()}


class ChangedSketchForm(SketchForm):
    """A sketch or photo as it is changed."""

    position = forms.IntegerField(
        label=_("Place in the order"), min_value=1, help_text=_("1 is shown first.")
    )


class WithdrawForm(forms.Form):
    """Why a sketch or photo is shown no more."""

    why = forms.CharField(label=_("Why"), max_length=200)
