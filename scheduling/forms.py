"""Forms of the service manager's pages of the scheduling app."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from buildings.models import Building, System
from contractors.models import Person
from inspections import licensed
from inspections.own_work import qualifications
from scheduling import bundle, load
from scheduling.week_loads import monday_of

_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
LONGEST_PLAN_DAYS = 56
MOST_SECONDS = 300
# Nothing falls due later; the calendar itself ends in 9999.
_LAST_WEEK = date(2999, 12, 30)


class DueFilters(forms.Form):
    """What the list of what falls due may be narrowed by; its values stand in the address."""

    district = forms.ChoiceField(label=_("District"), required=False)
    system_kind = forms.ChoiceField(
        label=_("System"), required=False, choices=[("", _("any")), *System.Kind.choices]
    )
    kind = forms.ChoiceField(
        label=_("Kind"),
        required=False,
        choices=[
            ("", _("every kind")),
            ("inspection", _("inspection")),
            ("test", _("test")),
            ("maintenance", _("maintenance")),
        ],
    )
    qualification = forms.ChoiceField(label=_("Needs"), required=False)
    frequency = forms.ChoiceField(label=_("How often"), required=False)
    who = forms.ChoiceField(
        label=_("Done by"),
        required=False,
        choices=[("us", _("us")), ("owner", _("the owner")), ("all", _("anybody"))],
    )
    state = forms.ChoiceField(
        label=_("Visit"),
        required=False,
        choices=[("", _("any")), ("free", _("in no visit yet")), ("in_visit", _("in a visit"))],
    )
    week = forms.CharField(required=False, max_length=10, widget=forms.HiddenInput)
    building = forms.UUIDField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        areas = Building.objects.exclude(area="").values_list("area", flat=True).order_by("area")
        self._offer("district", _("all"), ((name, name) for name in areas.distinct()))
        often = load.frequencies()
        self._offer("frequency", _("any"), ((o, bundle.frequency_words(o)) for o in often))
        needs = filter(None, qualifications())
        self._offer("qualification", _("any"), ((n, licensed.in_words(n)) for n in needs))

    def _offer(self, name: str, everything: Any, choices: Any) -> None:
        self.fields[name].choices = [("", everything), *choices]  # type: ignore[attr-defined]

    def clean_week(self) -> str:
        """Take the Monday of a week, or overdue."""
        week = self.cleaned_data["week"]
        if week in ("", load.OVERDUE):
            return str(week)
        try:
            monday = monday_of(min(date.fromisoformat(week), _LAST_WEEK))
            return monday.isoformat()
        except ValueError:
            raise forms.ValidationError(_("overdue, or a day such as 2026-11-23.")) from None

    def asked(self) -> load.Asked:
        """Return what is asked for; a value that is not accepted narrows nothing."""
        self.is_valid()
        given = self.cleaned_data
        who = given.get("who") or "us"
        return load.Asked(
            district=given.get("district") or "",
            system_kind=given.get("system_kind") or "",
            kind=given.get("kind") or "",
            qualification=given.get("qualification") or "",
            frequency=given.get("frequency") or "",
            who="" if who == "all" else who,
            state=given.get("state") or "",
            week=given.get("week") or "",
            building=str(given.get("building") or ""),
        )


class PickForm(forms.Form):
    """What becomes of ticked work: visits of its own, or a part of those that are planned."""

    technician = forms.ModelChoiceField(
        label=_("Technician"),
        required=False,
        empty_label=_("nobody yet"),
        queryset=Person.objects.none(),
    )
    planned_on = forms.DateField(label=_("Day"), required=False, widget=_DATE)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["technician"].queryset = people  # type: ignore[attr-defined]

    def clean_planned_on(self) -> date | None:
        """Refuse days that are past."""
        day: date | None = self.cleaned_data["planned_on"]
        if day is not None and day < self.today:
            raise forms.ValidationError(_("today or a later day is needed."))
        return day


class PlanForm(forms.Form):
    """The days to plan, and how long to search."""

    from_on = forms.DateField(label=_("From"), widget=_DATE)
    to_on = forms.DateField(label=_("To"), widget=_DATE)
    seconds = forms.IntegerField(
        label=_("Seconds of search"),
        min_value=1,
        max_value=MOST_SECONDS,
        help_text=_("1 to 300. Longer finds less driving; 20 is enough for two weeks."),
    )
    bundle_first = forms.BooleanField(
        label=_("First make visits of what is owed until then and in no visit yet"), required=False
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        self.today = today
        super().__init__(*args, **kwargs)

    def clean_from_on(self) -> date:
        """Refuse days that are past."""
        day: date = self.cleaned_data["from_on"]
        if day < self.today:
            raise forms.ValidationError(_("today or a later day is needed."))
        return day

    def clean(self) -> dict[str, Any]:
        """Refuse an end before the beginning and a plan that is too long."""
        given = super().clean() or {}
        first, last = given.get("from_on"), given.get("to_on")
        if first and last and not first <= last <= first + timedelta(days=LONGEST_PLAN_DAYS - 1):
            said = _("a day from the first one on, at most %(days)s days later, is needed.")
            self.add_error("to_on", said % {"days": LONGEST_PLAN_DAYS - 1})
        return given


class MoveForm(forms.Form):
    """Where a visit is moved to by hand."""

    visit = forms.UUIDField(widget=forms.HiddenInput)
    technician = forms.ModelChoiceField(label=_("Technician"), queryset=Person.objects.none())
    on = forms.DateField(label=_("Day"), widget=_DATE)
    position = forms.IntegerField(
        label=_("Place in the day"),
        required=False,
        min_value=1,
        help_text=_("1 is the first stop. Left empty: where it costs least driving."),
    )
    start = forms.TimeField(
        label=_("Start"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=_("Left empty: as early as the day allows."),
    )
    revision = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["technician"].queryset = people  # type: ignore[attr-defined]


class AbsenceForm(forms.Form):
    """Days on which a technician does not work."""

    technician = forms.ModelChoiceField(label=_("Technician"), queryset=Person.objects.none())
    from_on = forms.DateField(label=_("Away from"), widget=_DATE)
    to_on = forms.DateField(label=_("To"), required=False, widget=_DATE)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["technician"].queryset = people  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        """Refuse an end before the beginning, and more than a year."""
        given = super().clean() or {}
        first, last = given.get("from_on"), given.get("to_on")
        if first and last and not first <= last <= first + timedelta(days=365):
            self.add_error("to_on", _("the first day or one up to a year later is needed."))
        return given

    def days(self) -> list[date]:
        """Return the days named."""
        first = self.cleaned_data["from_on"]
        last = self.cleaned_data["to_on"] or first
        return [first + timedelta(days=n) for n in range((last - first).days + 1)]
