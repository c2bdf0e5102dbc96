"""Forms of the desk pages: visits, findings, impairments, and the filters of their lists."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, Device, Riser, System
from contractors.models import Person
from inspections.catalogue_files import catalogue
from inspections.models import Finding, Impairment, Visit

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_MOMENT = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
_LONG = forms.Textarea(attrs={"rows": 3})
ANY = ("", _("any"))
HOW = [
    ("phone", _("by telephone")),
    ("in_person", _("in person")),
    ("email", _("by e-mail")),
    ("post", _("by post")),
    ("portal", _("through their portal")),
]
TOLD = [
    ("owner", _("owner")),
    ("authority", _("authority having jurisdiction")),
    ("fire_department", _("fire department")),
    ("monitoring_station", _("monitoring station")),
    ("insurer", _("insurer")),
    ("occupants", _("occupants")),
    ("other", _("other")),
]
AMEND_REASONS = [
    ("mistyped", _("mistyped")),
    ("wrong_unit", _("wrong unit")),
    ("wrong_subject", _("wrong item")),
    ("instrument_fault", _("instrument at fault")),
    ("left_out", _("left out")),
    ("judged_anew", _("judged anew")),
    ("other", _("other")),
]
CANCEL_REASONS = [
    ("no_access", _("no access")),
    ("weather", _("weather")),
    ("unsafe", _("unsafe")),
    ("owner_asked", _("the owner asked")),
    ("moved", _("moved")),
    ("entered_twice", _("entered twice")),
    ("other", _("other")),
]


class VisitFilters(forms.Form):
    """What the list of visits may be narrowed by."""

    NARROWING = ("state", "technician", "kind", "building", "day_from", "day_to")

    building = forms.CharField(label=_("Building"), required=False, max_length=80)
    state = forms.ChoiceField(label=_("State"), required=False, choices=[ANY, *Visit.State.choices])
    technician = forms.ModelChoiceField(
        label=_("Technician"),
        queryset=Person.objects.none(),
        required=False,
        empty_label=_("any"),
    )
    kind = forms.ChoiceField(label=_("Kind"), required=False, choices=[ANY, *Visit.Kind.choices])
    day_from = forms.DateField(label=_("From"), required=False, widget=_DAY)
    day_to = forms.DateField(label=_("To"), required=False, widget=_DAY)
    order = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["technician"].queryset = people  # type: ignore[attr-defined]


class FindingFilters(forms.Form):
    """What the list of findings may be narrowed by."""

    state = forms.ChoiceField(
        label=_("State"), required=False, choices=[ANY, *Finding.State.choices]
    )
    grade = forms.ChoiceField(
        label=_("Class"), required=False, choices=[ANY, *Finding.Class.choices]
    )
    building = forms.CharField(label=_("Building"), required=False, max_length=80)
    late = forms.BooleanField(label=_("Past the customary response"), required=False)


class VisitForm(forms.ModelForm):  # type: ignore[type-arg]
    """A visit as it is planned."""

    start = forms.TimeField(
        label=_("At"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=_("The building's time, where an hour is agreed."),
    )

    class Meta:
        model = Visit
        fields = ("building", "kind", "title", "planned_on", "technician", "second", "locked")
        widgets = {"planned_on": _DAY}
        labels = {"locked": _("The appointment is kept when routes are planned")}

    field_order = (
        *("building", "kind", "title", "planned_on", "start"),
        *("technician", "second", "locked"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["building"].queryset = Building.objects.order_by("name")  # type: ignore[attr-defined]
        for name in ("technician", "second"):
            self.fields[name].queryset = people  # type: ignore[attr-defined]
            self.fields[name].empty_label = _("nobody yet")  # type: ignore[attr-defined]
        self.fields["second"].label = _("Second technician")
        self.fields["planned_on"].required = True
        if not self.instance._state.adding:
            del self.fields["building"]
            if self.instance.planned_start:
                local = self.instance.planned_start.astimezone(self.instance.building.zone)
                self.initial["start"] = local.strftime("%H:%M")

    def clean(self) -> dict[str, Any]:
        """Refuse the same person twice, and make a moment of day and hour."""
        given = super().clean() or {}
        if given.get("second") and given["second"] == given.get("technician"):
            self.add_error("second", _("Another person than the first technician."))
        building = given.get("building") or (
            self.instance.building if not self.instance._state.adding else None
        )
        start, day = given.pop("start", None), given.get("planned_on")
        given["planned_start"] = (
            datetime.combine(day, start, tzinfo=building.zone)
            if start and day and building
            else None
        )
        return given

    def _post_clean(self) -> None:
        """Leave the row alone: `planned` writes it."""


class ReasonForm(forms.Form):
    """Why something is done."""

    reason = forms.CharField(label=_("Reason"), max_length=400, widget=_LONG)


class CancelForm(forms.Form):
    """Why a visit is cancelled."""

    reason = forms.ChoiceField(label=_("Why"), choices=CANCEL_REASONS)
    text = forms.CharField(label=_("In words"), max_length=400, required=False, widget=_LONG)

    def clean(self) -> dict[str, Any]:
        """Ask for words where the reason says nothing."""
        given = super().clean() or {}
        if given.get("reason") == "other" and not given.get("text"):
            self.add_error("text", _("Say in a few words why."))
        return given


class ReviewForm(forms.Form):
    """A licensed person's word on a visit."""

    verdict = forms.ChoiceField(
        label=_("Review"),
        widget=forms.RadioSelect,
        choices=[
            ("accept", _("Complete and rightly classed: seal it")),
            ("send_back", _("Send it back to the technician")),
        ],
    )
    text = forms.CharField(
        label=_("What is missing"), max_length=2000, required=False, widget=_LONG
    )

    def clean(self) -> dict[str, Any]:
        """Ask what is missing in a visit that is sent back."""
        given = super().clean() or {}
        if given.get("verdict") == "send_back" and not given.get("text"):
            self.add_error("text", _("Say what is missing; the technician sees it."))
        return given


class SettleForm(forms.Form):
    """Which of two answers is right, and why."""

    choice = forms.TypedChoiceField(
        label=_("Which is right?"), widget=forms.RadioSelect, coerce=UUID
    )
    reason = forms.CharField(label=_("Why"), max_length=400, widget=_LONG)

    def __init__(self, *args: Any, conflict: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["choice"].choices = [  # type: ignore[attr-defined]
            (str(side.id), f"{side.word.replace('_', ' ').capitalize()}, {side.by}")
            for side in conflict.sides
        ]


class PhotoForm(forms.Form):
    """A photo of a visit, and what it shows."""

    file = forms.FileField(
        label=_("Photo"), help_text=_("JPEG, PNG, WebP or HEIC, at most 20 MiB.")
    )
    caption = forms.CharField(label=_("What it shows"), max_length=200, required=False)
    finding = forms.ChoiceField(label=_("Belongs to the finding"), required=False)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Finding.objects.filter(building=visit.building, state=Finding.State.OPEN)
        found = [(str(row.pk), str(row.text)[:80]) for row in rows]
        self.fields["finding"].choices = [("", _("none")), *found]  # type: ignore[attr-defined]


class FindingForm(forms.Form):
    """What is wrong, where, and how grave it is."""

    subject = forms.ChoiceField(label=_("Item"))
    deficiency = forms.ChoiceField(
        label=_("Row of the catalogue"),
        required=False,
        help_text=_("It proposes the class, and names the re-test owed."),
    )
    grade = forms.ChoiceField(label=_("Class"), choices=[("", "-"), *Finding.Class.choices])
    text = forms.CharField(label=_("What is wrong"), max_length=600, widget=_LONG)
    location = forms.CharField(label=_("Where"), max_length=160, required=False)
    count = forms.IntegerField(label=_("How many"), min_value=1, max_value=100_000, initial=1)
    measure = forms.CharField(label=_("Temporary measure"), max_length=300, required=False)

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["subject"].choices = subjects_of(building)  # type: ignore[attr-defined]
        self.fields["deficiency"].choices = deficiency_choices()  # type: ignore[attr-defined]
        self.fields["grade"].required = False

    def clean(self) -> dict[str, Any]:
        """Take the class that the catalogue proposes where none was chosen."""
        given = super().clean() or {}
        row = catalogue().deficiencies.get(given.get("deficiency") or "")
        if not given.get("grade"):
            if row is None:
                self.add_error("grade", _("Choose a class, or a row that proposes one."))
            else:
                given["grade"] = row.finding_class
        given["activity"] = row.activity_id if row else ""
        return given


def subjects_of(building: Building) -> list[tuple[str, str]]:
    """Return the items of a building as choices: kind and id, in water order."""
    found = [(f"building:{building.pk}", str(_("The building")))]
    for model in (System, Riser, Device):
        rows = model.objects.filter(building=building).order_by("position", "code")
        found += [(f"{r.subject_kind}:{r.pk}", f"{r.code} {r.name}") for r in rows]
    return found


def subject_from(text: str) -> tuple[str, UUID]:
    """Return kind and id of a chosen subject."""
    kind, _colon, key = text.partition(":")
    return kind, UUID(key)


def deficiency_choices() -> list[Any]:
    """Return the catalogue's classes of findings, grouped by component."""
    groups: dict[str, list[tuple[str, str]]] = {}
    for row in catalogue().deficiencies.values():
        label = row.component.replace("_", " ")
        groups.setdefault(label, []).append((row.id, f"{row.finding} ({row.finding_class})"))
    return [("", _("none of these")), *sorted(groups.items())]


class ReclassForm(forms.Form):
    """Another class, with its reason."""

    grade = forms.ChoiceField(label=_("Class"), choices=Finding.Class.choices)
    reason = forms.CharField(label=_("Reason"), max_length=400, widget=_LONG)


class DecisionForm(forms.Form):
    """The owner's decision, written down on their behalf."""

    decision = forms.ChoiceField(
        label=_("The owner"),
        widget=forms.RadioSelect,
        choices=[
            ("approve", _("approves the repair")),
            ("defer", _("defers it to a day, with a reason")),
            ("decline", _("declines, with a reason")),
        ],
    )
    name = forms.CharField(label=_("Who decided"), max_length=120)
    until = forms.DateField(label=_("Until"), required=False, widget=_DAY)
    reason = forms.CharField(label=_("Reason"), max_length=400, required=False, widget=_LONG)

    def clean(self) -> dict[str, Any]:
        """Ask a deferral for a day ahead and a reason, declining for a reason."""
        given = super().clean() or {}
        decision, until = given.get("decision"), given.get("until")
        if decision == "defer" and (until is None or until <= timezone.localdate()):
            self.add_error("until", _("A day after today."))
        if decision in ("defer", "decline") and not given.get("reason"):
            self.add_error("reason", _("Say in a few words why; it is kept."))
        return given


class CloseForm(forms.Form):
    """The re-test that proves the repair."""

    result = forms.ChoiceField(label=_("Passed re-test"), widget=forms.RadioSelect)

    def __init__(self, *args: Any, results: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["result"].choices = results  # type: ignore[attr-defined]


class ImpairmentForm(forms.Form):
    """What goes or is found out of service."""

    subject = forms.ChoiceField(label=_("What is out of service"))
    nature = forms.ChoiceField(
        label=_("Kind"), choices=Impairment.Kind.choices, widget=forms.RadioSelect
    )
    extent = forms.CharField(label=_("What is unprotected"), max_length=300, widget=_LONG)
    unknown_start = forms.BooleanField(label=_("Found so, start unknown"), required=False)
    started_at = forms.DateTimeField(
        label=_("Since"), required=False, widget=_MOMENT, help_text=_("Now, where left empty.")
    )

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["subject"].choices = subjects_of(building)  # type: ignore[attr-defined]

    def clean_started_at(self) -> Any:
        """Refuse a start that lies ahead."""
        at = self.cleaned_data.get("started_at")
        if at is not None and at > timezone.now():
            raise forms.ValidationError(_("A moment up to now."))
        return at

    def clean(self) -> dict[str, Any]:
        """Refuse a moment beside an unknown start."""
        given = super().clean() or {}
        if given.get("unknown_start") and given.get("started_at"):
            self.add_error("started_at", _("Nothing, where the start is unknown."))
        return given


class NoticeForm(forms.Form):
    """Who was told of an impairment, how and when."""

    told = forms.ChoiceField(label=_("Who"), choices=TOLD)
    name = forms.CharField(label=_("Name"), max_length=120)
    how = forms.ChoiceField(label=_("How"), choices=HOW)
    at = forms.DateTimeField(label=_("When"), widget=_MOMENT, initial=timezone.localtime)


class WatchForm(forms.Form):
    """A leg of the fire watch."""

    who = forms.CharField(label=_("Who walks"), max_length=120)
    begun = forms.DateTimeField(label=_("From"), widget=_MOMENT, initial=timezone.localtime)
    ended = forms.DateTimeField(label=_("To"), widget=_MOMENT, required=False)

    def clean(self) -> dict[str, Any]:
        """Refuse a leg that ends before it begins."""
        given = super().clean() or {}
        begun, ended = given.get("begun"), given.get("ended")
        if begun and ended and ended <= begun:
            self.add_error("ended", _("A moment after the beginning."))
        return given


class EndForm(forms.Form):
    """How an impairment ends."""

    proven = forms.ChoiceField(
        label=_("Restored"),
        widget=forms.RadioSelect,
        choices=[
            ("yes", _("proven, by what is ticked below")),
            ("no", _("proof missing: a licensed person answers for it")),
        ],
    )
    proofs = forms.MultipleChoiceField(
        label=_("Proven since it began"), required=False, widget=forms.CheckboxSelectMultiple
    )
    reason = forms.CharField(
        label=_("What could not be proven, and why"),
        max_length=400,
        required=False,
        widget=_LONG,
    )

    def __init__(self, *args: Any, proofs: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["proofs"].choices = proofs  # type: ignore[attr-defined]
        if not proofs:
            self.fields["proofs"].help_text = _(
                "Nothing passed or proven is recorded at this system since it began."
            )

    def clean(self) -> dict[str, Any]:
        """Ask missing proof for its reason, and proof for what it rests on."""
        given = super().clean() or {}
        if given.get("proven") == "no" and not given.get("reason"):
            self.add_error("reason", _("Say what could not be proven, and why."))
        if given.get("proven") == "yes" and not given.get("proofs"):
            self.add_error("proofs", _("Tick what proves it, recorded since it began."))
        return given
