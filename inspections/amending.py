"""The form that corrects an entry: its fields follow from what its kind of entry holds."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from buildings import units
from inspections.events.fields import Flag, OneOf, Text, Whole
from inspections.events.kinds import CURRENT, KINDS
from inspections.forms import AMEND_REASONS
from inspections.readings import WORD_UNIT

PREFIX = "new_"
LONG_LINE = 200
_LONG = forms.Textarea(attrs={"rows": 3})


class AmendForm(forms.Form):
    """The entry as it should have been, the reason and its text.

    Fields that name rows, moments or files stay as they were recorded.
    """

    reason = forms.ChoiceField(label=_("Why"), choices=AMEND_REASONS)
    text = forms.CharField(
        label=_("What was wrong"),
        max_length=1000,
        widget=_LONG,
        help_text=_("It stands in the next version of the report."),
    )

    def __init__(self, *args: Any, kind: str, payload: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.payload = payload
        schema = KINDS[kind, CURRENT[kind]].payload.fields
        self.flags = {name for name, field in schema.items() if isinstance(field.type, Flag)}
        made = {}
        for name, field in schema.items():
            found = _field(name, field.type, payload)
            if found is not None:
                found.required = field.required
                made[PREFIX + name] = found
        self.fields = {**made, **self.fields}

    def clean(self) -> dict[str, Any]:
        """Refuse a correction that corrects nothing."""
        given = super().clean() or {}
        if not self.errors and self.value() == dict(self.payload):
            self.add_error(None, _("Nothing differs from what was recorded."))
        return given

    def value(self) -> dict[str, Any]:
        """Return the entry's payload as it should have been."""
        value = dict(self.payload)
        for name in self.fields:
            if not name.startswith(PREFIX):
                continue
            own, given = name.removeprefix(PREFIX), self.cleaned_data.get(name)
            if isinstance(self.fields[name], EnteredReading):
                value |= dict(given or {})
            elif given in (None, ""):
                value.pop(own, None)
            else:
                value[own] = given == "yes" if own in self.flags else given
        return value


class EnteredReading(forms.CharField):
    """A reading with its unit, or the word that was read."""

    def __init__(self, *, recorded_in: str, **options: Any) -> None:
        self.recorded_in = recorded_in
        super().__init__(max_length=60, **options)

    def clean(self, value: Any) -> Any:
        """Return the reading as the record keeps it: as typed, and value with unit."""
        text = super().clean(value)
        if self.recorded_in == WORD_UNIT:
            return {"typed": text, "value": {"value": "0", "unit": WORD_UNIT}}
        quantity = units.quantity_of(self.recorded_in)
        try:
            found = units.parse(text, quantity, unit=self.recorded_in)
        except units.UnitRefused as refused:
            message = _("this is no such reading. Accepted: %(accepted)s.")
            raise forms.ValidationError(message % {"accepted": refused.accepted}) from None
        number = f"{found.value:.9f}".rstrip("0").rstrip(".")
        bare = text.replace(".", "").replace("-", "").isdigit()
        typed = f"{text} {found.unit}" if bare else text
        return {"typed": typed, "value": {"value": number, "unit": found.unit}}


def _field(name: str, of: Any, payload: Mapping[str, Any]) -> Any:
    label: Any = capfirst(name.replace("_", " "))
    if name == "reason":
        label = _("Remark with the entry")
    given = payload.get(name)
    if name == "value" and "typed" in payload:
        return EnteredReading(
            label=_("Reading"),
            recorded_in=payload["value"]["unit"],
            initial=payload["typed"],
            help_text=_("With its unit, as it should have been written."),
        )
    if name == "typed":
        return None
    if isinstance(of, Text):
        widget = _LONG if of.longest > LONG_LINE else forms.TextInput
        return forms.CharField(label=label, max_length=of.longest, widget=widget, initial=given)
    if isinstance(of, Whole):
        return forms.IntegerField(label=label, initial=given, min_value=of.least, max_value=of.most)
    choices = _choices(of)
    if not choices:
        return None
    initial = ("yes" if given else "no") if isinstance(given, bool) else given
    none = [("", "-")] if given is None else []
    return forms.ChoiceField(label=label, choices=[*none, *choices], initial=initial)


def _choices(of: Any) -> list[tuple[str, Any]]:
    if isinstance(of, OneOf):
        return [(word, word.replace("_", " ")) for word in of.words]
    return [("yes", _("yes")), ("no", _("no"))] if isinstance(of, Flag) else []
