"""The form by which a step of a trip test on paper is typed in: as done, as seen, and when."""

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from inspections import guided
from inspections.paper_forms import PaperForm
from inspections.sequence.guide import Refusal, Step
from inspections.sequence.pointing import FIGURES
from inspections.sequence.words import word

PSI_PER_BAR = 14.503773773
SEEN, TIME = "seen_", "time_"
_LONG = forms.Textarea(attrs={"rows": 2})


class Figure(forms.CharField):
    """A figure where one was written down: zero or more, with a point or a comma."""

    def __init__(self, *, unit: str, **options: Any) -> None:
        self.unit = unit
        super().__init__(max_length=20, required=False, **options)

    def clean(self, value: Any) -> Decimal | None:
        """Return the figure, or None where none was written down."""
        text = super().clean(value).strip().replace(",", ".")
        if not text:
            return None
        try:
            figure = Decimal(text)
        except InvalidOperation:
            figure = Decimal(-1)
        if not (figure.is_finite() and 0 <= figure < 10**6):
            raise forms.ValidationError(_("Accepted: digits such as 82 or 62.5."))
        return figure


class StepForm(PaperForm):
    """One step: done as it must be, or what was seen instead."""

    went = forms.ChoiceField(
        label=_("How it went"),
        widget=forms.RadioSelect,
        choices=[("as_expected", _("as it must be")), ("otherwise", _("otherwise, as below"))],
    )

    def __init__(
        self, *args: Any, device: str, step: Step, against: Refusal, units: str, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.device, self.step, self.units = device, step, units
        self.others = {key: one for key, one in step.expected.items() if key not in FIGURES}
        if not self.others:
            self.fields["went"].initial = "as_expected"
            self.fields["went"].widget = forms.HiddenInput()
        for figure in guided.figures_of(step):
            self.fields[SEEN + figure.key] = self._figure(figure)
        for name in step.timers:
            self.fields[TIME + name] = Figure(label=word("en", f"timer.{name}"), unit="s")
        for key, expected in self.others.items():
            self.fields[SEEN + key] = _seen(key, expected)
        self.is_off = bool(against.missing or against.warnings)
        if self.is_off:
            self.fields["reason"] = forms.CharField(
                label=_("Why it was done otherwise than in order"), max_length=1000, widget=_LONG
            )

    def _figure(self, figure: guided.Figure) -> Figure:
        turns = figure.key == guided.TURNS
        unit = _now("turns") if turns else "bar" if self.units == "metric" else "psi"
        hint = ""
        if figure.expected is not None:
            told = f"{figure.expected:g}" if turns else guided.pressure(figure.expected, self.units)
            hint = _now("expected: %(value)s") % {"value": told}
        return Figure(label=figure.name, unit=unit, help_text=hint)

    def clean(self) -> dict[str, Any]:
        """Ask what was seen where it went otherwise."""
        given = super().clean() or {}
        if given.get("went") == "otherwise" and not self.errors:
            seen = self._seen()
            if all(seen.get(key) == expected for key, expected in self.others.items()):
                self.add_error("went", _("Choose below what was seen instead."))
        return given

    def _seen(self) -> dict[str, Any]:
        """Return what was seen, gauges in psi."""
        given = self.cleaned_data
        seen: dict[str, Any] = {}
        for figure in guided.figures_of(self.step):
            value = given.get(SEEN + figure.key)
            if value is not None:
                metric = self.units == "metric" and figure.key != guided.TURNS
                seen[figure.key] = float(value) * (PSI_PER_BAR if metric else 1.0)
        for key, expected in self.others.items():
            as_expected = given["went"] == "as_expected"
            seen[key] = expected if as_expected else _value(key, expected, given[SEEN + key])
        return seen

    def entries(self) -> list[dict[str, Any]]:
        """Return the step as an entry."""
        given, step = self.cleaned_data, self.step
        times = {
            name: f"{given[TIME + name]:f}"
            for name in step.timers
            if given[TIME + name] is not None
        }
        payload: dict[str, Any] = {
            "device": self.device,
            "step": step.code,
            "action": step.code,
            "expected": guided.named(step.expected),
            "seen": guided.named(self._seen()) | times,
            "deviation": self.is_off,
            **self.paper(),
        }
        if step.timers and step.timers[0] in times:
            payload["seconds"] = times[step.timers[0]]
        if self.is_off:
            payload["reason"] = given["reason"]
        return [{"kind": "step.add", "payload": payload}]


def _seen(key: str, expected: Any) -> forms.Field:
    label = word("en", f"seen.{key}")
    hint = _now("must be: %(value)s") % {"value": guided.value_words(key, expected)}
    values = guided.values_of(key, expected)
    options: dict[str, Any] = {"label": label, "help_text": hint, "required": False}
    if key == guided.SIGNALS:
        choices = [(one, guided.signal_words(one)) for one in values]
        widget = forms.CheckboxSelectMultiple
        return forms.MultipleChoiceField(
            choices=choices, widget=widget, initial=list(expected), **options
        )
    choices = [(_text(one), guided.value_words(key, one)) for one in values]
    return forms.ChoiceField(choices=choices, initial=_text(expected), **options)


def _text(value: Any) -> str:
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def _value(key: str, expected: Any, given: Any) -> Any:
    if key == guided.SIGNALS:
        return list(given)
    if isinstance(expected, bool):
        return given == "yes" if given else expected
    return given or expected
