"""Forms of follow-ups, response times and notices."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from buildings.models import Jurisdiction
from contractors.models import Contractor, MailChoice
from inspections.models import Finding
from scheduling import ladders, legal, responses, waiting
from scheduling.models import Basis, FollowUp, ResponseTime

_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_TIME = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
_GRADES = [(one.value, one.label) for one in responses.ANSWERED]


class FollowUpFilters(forms.Form):
    """What the list of follow-ups may be narrowed by."""

    grade = forms.ChoiceField(label=_("Class"), required=False, choices=[("", _("any")), *_GRADES])
    kind = forms.ChoiceField(
        label=_("What"), required=False, choices=[("", _("anything")), *FollowUp.Kind.choices]
    )
    age = forms.ChoiceField(
        label=_("Age"),
        required=False,
        choices=[
            ("", _("any")),
            (waiting.LATE, _("past its day")),
            ("7", _("open a week or more")),
            ("30", _("open 30 days or more")),
            ("90", _("open 90 days or more")),
            ("365", _("open a year or more")),
        ],
    )
    who = forms.ChoiceField(
        label=_("Waits for"),
        required=False,
        choices=[("", _("anybody")), ("owner", _("the owner")), ("us", _("us"))],
    )
    building = forms.CharField(label=_("Building"), required=False, max_length=120)

    def asked(self) -> waiting.Asked:
        """Return what is asked for; a value that is not accepted narrows nothing."""
        self.is_valid()
        given = self.cleaned_data
        return waiting.Asked(**{name: given.get(name) or "" for name in self.fields})


class RedateForm(forms.Form):
    """Another day for what was ticked."""

    on = forms.DateField(label=_("New day"), widget=_DATE)
    reason = forms.CharField(label=_("Why"), max_length=400)


class _RuleForm(forms.Form):
    """What all rules have: what they rest on, and from when they hold."""

    basis = forms.ChoiceField(label=_("Rests on"), choices=Basis.choices, initial=Basis.PRACTICE)
    source = forms.CharField(
        label=_("Where it stands"),
        max_length=200,
        required=False,
        help_text=_("Needed for a law or a contract."),
    )
    valid_from = forms.DateField(label=_("In force from"), widget=_DATE, initial=timezone.localdate)


class _OfJurisdiction(_RuleForm):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["jurisdiction"]
        field.queryset = Jurisdiction.objects.order_by("name")  # type: ignore[attr-defined]


class ResponseForm(_OfJurisdiction):
    """How soon findings of a class are answered."""

    grade = forms.ChoiceField(label=_("Class"), choices=_GRADES)
    jurisdiction = forms.ModelChoiceField(
        label=_("Authority"),
        queryset=Jurisdiction.objects.none(),
        required=False,
        empty_label=_("all of our buildings"),
    )
    days = forms.IntegerField(
        label=_("Days"),
        min_value=0,
        max_value=responses.MOST_DAYS,
        required=False,
        help_text=_("0 for the same day. Empty takes the rule away: the customary time counts."),
    )
    counts = forms.ChoiceField(label=_("Counted"), choices=ResponseTime.Counts.choices)
    field_order = ("grade", "jurisdiction", "days", "counts", "basis", "source", "valid_from")


class OverdueForm(_OfJurisdiction):
    """What an overdue test counts as."""

    jurisdiction = forms.ModelChoiceField(
        label=_("Authority"), queryset=Jurisdiction.objects.none(), empty_label=None
    )
    what = forms.ChoiceField(
        label=_("Overdue test"),
        choices=[(legal.SAMPLING, _("sprinkler sampling")), *((r, r) for r in legal.REPEATS)],
    )
    grade = forms.ChoiceField(
        label=_("Counts as"),
        required=False,
        choices=[
            ("", _("no finding")),
            *((v, label) for v, label in _GRADES if v != Finding.Class.IMPAIRMENT),
        ],
    )
    basis = forms.ChoiceField(label=_("Rests on"), choices=[(Basis.LAW.value, Basis.LAW.label)])
    field_order = ("jurisdiction", "what", "grade", "basis", "source", "valid_from")


class HolidayForm(forms.Form):
    """A day on which an authority does not work."""

    jurisdiction = forms.ModelChoiceField(
        label=_("Authority"), queryset=Jurisdiction.objects.none(), empty_label=None
    )
    on = forms.DateField(label=_("Day"), widget=_DATE)
    name = forms.CharField(label=_("Name"), max_length=80)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["jurisdiction"]
        field.queryset = Jurisdiction.objects.order_by("name")  # type: ignore[attr-defined]


class OutageForm(forms.Form):
    """When outages at an authority's buildings call for more."""

    jurisdiction = forms.ModelChoiceField(
        label=_("Authority"), queryset=Jurisdiction.objects.none(), empty_label=None
    )
    impairment_hours = forms.FloatField(
        label=_("Interim measures from"),
        help_text=_("Hours out of service in 24, such as 10."),
    )
    attended_minutes = forms.IntegerField(
        label=_("Attended shutdown, at most"),
        help_text=_("Minutes; longer ones are impairments. 0 where each one is to be told."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["jurisdiction"]
        field.queryset = Jurisdiction.objects.order_by("name")  # type: ignore[attr-defined]


class LadderForm(_RuleForm):
    """A ladder, written a line a step."""

    steps = forms.CharField(
        label=_("Steps"),
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false"}),
        help_text=_(
            "A line a step: when, how often again (0 for once), who. Such as: 7, 0, principal."
            " Who: technician, owner, manager, principal, authority; join several by +."
        ),
    )
    grade = forms.CharField(widget=forms.HiddenInput, max_length=12)
    field_order = ("steps", "basis", "source", "valid_from")

    def clean_steps(self) -> list[dict[str, Any]]:
        """Read the lines; what the ladder refuses is said later, with its field."""
        found = []
        for place, line in enumerate(self.cleaned_data["steps"].splitlines(), start=1):
            if not line.strip():
                continue
            parts = [part.strip() for part in line.split(",")]
            if len(parts) != 3:
                said = _("line %(n)s has when, how often and who, with commas between.")
                raise forms.ValidationError(said % {"n": place})
            after, every, tell = parts
            names = [name.strip() for name in tell.split("+")]
            found.append({"after": after, "every": every, "tell": names})
        return found


def as_lines(steps: tuple[ladders.Step, ...]) -> str:
    """Return a ladder as it is written in the form."""
    return "\n".join(f"{step.after}, {step.every}, {'+'.join(step.tell)}" for step in steps)


class HoursForm(forms.Form):
    """Quiet hours, and how owners get mail."""

    quiet_from = forms.TimeField(label=_("Quiet from"), widget=_TIME)
    quiet_until = forms.TimeField(label=_("Quiet until"), widget=_TIME)
    digest_at = forms.TimeField(
        label=_("Gathered mail goes at"),
        widget=_TIME,
        help_text=_("Local time of whoever reads it."),
    )
    owner_mail = forms.ChoiceField(
        label=_("Owners get mail"),
        choices=[(v, label) for v, label in MailChoice.choices if v != MailChoice.NONE],
        help_text=_("Where an owner's person has not chosen. Impairments always come at once."),
    )

    @classmethod
    def of(cls, ours: Contractor) -> "HoursForm":
        """Return the form with what is set."""
        return cls(initial={name: getattr(ours, name) for name in cls.base_fields})


class MailForm(forms.Form):
    """How a person wants ordinary mail."""

    mail = forms.ChoiceField(
        label=_("Mail about ordinary matters"), widget=forms.RadioSelect, required=False
    )

    def __init__(self, *args: Any, owners: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        first = [("", _("as your contractor has set it"))] if owners else []
        self.fields["mail"].required = not owners
        self.fields["mail"].choices = [*first, *MailChoice.choices]  # type: ignore[attr-defined]


class HowForm(forms.Form):
    """Who was told, and how."""

    how = forms.CharField(label=_("To whom and how"), max_length=200)
