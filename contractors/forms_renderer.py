"""How forms are drawn, and numbers that are asked for with their unit."""

from decimal import Decimal
from typing import Any

from django import forms
from django.forms.renderers import TemplatesSetting
from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _


class FormRenderer(TemplatesSetting):
    """Draws every form with this product's own field: label, help, unit inside, error beneath."""

    form_template_name = "contractors/form.html"
    formset_template_name = "contractors/formset.html"
    field_template_name = "_field.html"


class QuantityField(forms.DecimalField):
    """A number with its unit beside the box and its accepted range in words.

    Parameters
    ----------
    unit
        As shown: ``psi``, ``gal/min``, ``°F``.
    min_value, max_value
        Smallest and largest number taken, in `unit`. None: no limit on that side.
    """

    widget = forms.TextInput

    def __init__(
        self,
        *,
        unit: str,
        min_value: Decimal | int | None = None,
        max_value: Decimal | int | None = None,
        **options: Any,
    ) -> None:
        self.unit = unit
        options.setdefault("help_text", _range(min_value, max_value, unit))
        options["error_messages"] = {
            "invalid": format_lazy(_("a number in {unit} is needed, such as 62.5."), unit=unit),
            "min_value": format_lazy(
                _("%(show_value)s {unit} is less than the smallest taken, %(limit_value)s {unit}."),
                unit=unit,
            ),
            "max_value": format_lazy(
                _("%(show_value)s {unit} is more than the largest taken, %(limit_value)s {unit}."),
                unit=unit,
            ),
        } | options.get("error_messages", {})
        super().__init__(min_value=min_value, max_value=max_value, **options)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """Ask phones for digits, and leave the range to the server, which answers in words."""
        return {"inputmode": "decimal"}


def _range(low: Decimal | int | None, high: Decimal | int | None, unit: str) -> str | Promise:
    if low is not None and high is not None:
        return format_lazy(_("{low} to {high} {unit}"), low=low, high=high, unit=unit)
    if low is not None:
        return format_lazy(_("at least {low} {unit}"), low=low, unit=unit)
    if high is not None:
        return format_lazy(_("at most {high} {unit}"), high=high, unit=unit)
    return ""
