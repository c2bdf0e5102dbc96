"""Forms of buildings and what stands in them; the attributes' fields come from the dictionary."""

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings import kinds
from buildings.kinds import Attribute, ValueType
from buildings.models import Building, Device, Jurisdiction, Riser, System
from buildings.portfolio.values import HOURS, Unreadable
from contractors.forms_renderer import QuantityField

PREFIX = "attr_"
_UNIT_SIGNS = {"gallon": "gal", "gallon/minute": "gpm", "inch": "in", "foot": "ft", "second": "s"}
_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class Filters(forms.Form):
    """What the list of buildings may be narrowed by."""

    q = forms.CharField(label=_("Name, number or street"), required=False, max_length=80)
    district = forms.ChoiceField(label=_("District"), required=False)
    kind = forms.ChoiceField(
        label=_("With a system"), required=False, choices=[("", _("any")), *System.Kind.choices]
    )
    standing = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    order = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)

    def __init__(self, *args: Any, districts: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("all")), *((name, name) for name in districts)]
        self.fields["district"].choices = choices  # type: ignore[attr-defined]


class HoursField(forms.CharField):
    """Hours written as people write them; held as weekday to spans."""

    def prepare_value(self, value: Any) -> Any:
        """Write held hours."""
        return hours_in_words(value) if isinstance(value, Mapping) else value

    def to_python(self, value: Any) -> Any:
        """Read hours."""
        text = super().to_python(value)
        if not text:
            return {}
        try:
            return HOURS(text)
        except Unreadable as error:
            accepted = _("write %(accepted)s.") % {"accepted": str(error)}
            raise forms.ValidationError(accepted) from None


class _Changes(forms.ModelForm):  # type: ignore[type-arg]
    """Columns and attributes of a row; for a row that is there, since when and why they change."""

    def __init__(self, *args: Any, kind: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_new = self.instance._state.adding
        self.kind = kinds.kind_named(kind) if kind else None
        for attribute in self.kind.attributes.values() if self.kind else ():
            if attribute.name == "kind":
                continue
            given = (self.instance.attributes or {}).get(attribute.name)
            self.fields[PREFIX + attribute.name] = attribute_field(attribute, given)
        if not self.is_new:
            self.fields["valid_from"] = forms.DateField(
                label=_("Has been so since"),
                initial=getattr(self.instance, "building", self.instance).today,
                widget=_DATE,
                help_text=_("The day in the world, up to today. What was known before stays."),
            )
            self.fields["reason"] = forms.CharField(
                label=_("Why it changes"), max_length=200, help_text=_("Such as: seen on site.")
            )

    def values(self) -> dict[str, Any]:
        """Return what changed: columns, and attributes under `attributes`."""
        found: dict[str, Any] = {}
        attributes: dict[str, Any] = {}
        for name in self.fields if self.is_new else self.changed_data:
            if name in ("valid_from", "reason"):
                continue
            value = self.cleaned_data.get(name)
            if name.startswith(PREFIX):
                attributes[name.removeprefix(PREFIX)] = stored(value)
            else:
                found[name] = value
        if self.is_new:
            attributes = {name: value for name, value in attributes.items() if value is not None}
        return {**found, "attributes": attributes}

    def columns(self) -> Iterator[forms.BoundField]:
        """Yield the fields of the row's own columns."""
        return (f for f in self.visible_fields() if not _is_attribute(f) and not _is_change(f))

    def attributes(self) -> Iterator[forms.BoundField]:
        """Yield the fields that rules read."""
        return (f for f in self.visible_fields() if _is_attribute(f))

    def change(self) -> Iterator[forms.BoundField]:
        """Yield since when and why."""
        return (f for f in self.visible_fields() if _is_change(f))

    def _post_clean(self) -> None:
        """Leave the row alone: the action writes it, from a day on."""


def _is_attribute(field: forms.BoundField) -> bool:
    return field.name.startswith(PREFIX)


def _is_change(field: forms.BoundField) -> bool:
    return field.name in ("valid_from", "reason")


class BuildingForm(_Changes):
    """A building."""

    jurisdiction = forms.ModelChoiceField(
        label=_("Authority having jurisdiction"),
        queryset=Jurisdiction.objects.none(),
        required=False,
        empty_label=_("not known"),
    )
    hours = HoursField(
        label=_("Hours for visits"),
        required=False,
        help_text=_("Such as Mon-Fri 07:00-17:00; empty means any hour."),
    )

    class Meta:
        model = Building
        fields = (
            *("code", "name", "address", "city", "region", "postal_code", "country", "area"),
            *("latitude", "longitude", "time_zone", "units", "jurisdiction", "taken_over_on"),
            *("hours", "access_notes", "contact_name", "contact_phone", "contact_email"),
            *("station_phone", "station_account"),
            *("suspended_from", "suspended_until", "suspension_reason"),
        )
        widgets = {
            "taken_over_on": _DATE,
            "suspended_from": _DATE,
            "suspended_until": _DATE,
            "access_notes": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, kind="building", **kwargs)
        self.fields["jurisdiction"].queryset = Jurisdiction.objects.order_by("name")  # type: ignore[attr-defined]


class ItemForm(_Changes):
    """A system, riser or device of one building."""

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        models: tuple[tuple[str, Any], ...] = (
            ("system", System),
            ("riser", Riser),
            ("parent", type(self.instance)),
        )
        for name, model in models:
            field = self.fields.get(name)
            if field is None:
                continue
            rows = model.objects.filter(building=building)
            if name == "parent" and not self.is_new:
                rows = rows.exclude(pk=self.instance.pk)
            field.queryset = rows.order_by("position", "code")  # type: ignore[attr-defined]
            if not field.required:
                field.empty_label = _("none")  # type: ignore[attr-defined]
            field.label_from_instance = lambda row: f"{row.code}, {row.name}"  # type: ignore[attr-defined]


_ITEM_FIELDS = ("code", "name", "location", "position")
_ITEM_DATES = ("in_service_from", "in_service_to")
_ITEM_WIDGETS = {"in_service_from": _DATE, "in_service_to": _DATE}


class SystemForm(ItemForm):
    """A system or a part of the supply."""

    class Meta:
        model = System
        fields = (*_ITEM_FIELDS, "parent", *_ITEM_DATES)
        widgets = _ITEM_WIDGETS
        labels = {"parent": _("Hangs on the system")}


class RiserForm(ItemForm):
    """A riser."""

    class Meta:
        model = Riser
        fields = (*_ITEM_FIELDS, "system", *_ITEM_DATES)
        widgets = _ITEM_WIDGETS
        labels = {"system": _("Feeds the system")}


class DeviceForm(ItemForm):
    """A device."""

    class Meta:
        model = Device
        fields = (*_ITEM_FIELDS, "system", "riser", "parent", "serial", *_ITEM_DATES)
        widgets = _ITEM_WIDGETS
        labels = {
            "system": _("System"),
            "riser": _("Riser"),
            "parent": _("Hangs on the device"),
        }


def hours_in_words(hours: Mapping[str, Any]) -> str:
    """Write hours of visits, days that are alike together: ``Mon-Fri 07:00-17:00``."""
    runs: list[list[Any]] = []
    for day in range(7):
        spans = hours.get(str(day)) or []
        if runs and runs[-1][2] == spans and runs[-1][1] == day - 1:
            runs[-1][1] = day
        else:
            runs.append([day, day, spans])
    return "; ".join(
        f"{_DAY_NAMES[first]}{'' if first == last else '-' + _DAY_NAMES[last]} {', '.join(spans)}"
        for first, last, spans in runs
        if spans
    )


def stored(value: Any) -> Any:
    """Return an attribute's value as its field gives it, as it is kept; None for none."""
    if value in ("", None):
        return None
    return float(value) if hasattr(value, "as_tuple") else value


def attribute_field(attribute: Attribute, given: Any) -> forms.Field:
    """Return the field of an attribute, with the value it has."""
    options: dict[str, Any] = {
        "label": (attribute.question or attribute.name.replace("_", " ")).capitalize(),
        "required": False,
        "initial": given,
        "help_text": attribute.meaning,
    }
    unknown: Any = _("not known")
    if attribute.default is not None:
        taken = {True: _("yes"), False: _("no")}.get(attribute.default, attribute.default)  # type: ignore[call-overload]
        unknown = _("not said, taken to be %(default)s") % {"default": taken}
    match attribute.value_type:
        case ValueType.TRUTH:
            options["initial"] = {True: "yes", False: "no"}.get(given, "")
            choices = [("", unknown), ("yes", _("yes")), ("no", _("no"))]
            return forms.ChoiceField(choices=choices, **options)
        case ValueType.CHOICE:
            words = [(word, word.replace("_", " ")) for word in attribute.choices]
            return forms.ChoiceField(choices=[("", unknown), *words], **options)
        case ValueType.NUMBER if attribute.unit and attribute.unit != "dimensionless":
            unit = _UNIT_SIGNS.get(attribute.unit, attribute.unit)
            return QuantityField(unit=unit, **options)
        case ValueType.NUMBER:
            return forms.FloatField(**options)
        case ValueType.INTEGER:
            return forms.IntegerField(min_value=0, **options)
        case ValueType.YEAR:
            first, last = kinds.EARLIEST_YEAR, kinds.LATEST_YEAR
            return forms.IntegerField(min_value=first, max_value=last, **options)
        case ValueType.DATE:
            return forms.DateField(widget=_DATE, **options)
        case ValueType.TEXT:
            return forms.CharField(max_length=kinds.LONGEST_TEXT, **options)
