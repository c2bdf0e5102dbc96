"""Desk pages of the rules: what is asked of buildings, by whose word, and what is laid over it."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from buildings.models import Adoption, Building, Jurisdiction
from contractors import filters
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.refusal import FieldRefused, NotThere
from inspections import rules
from inspections.acting import act
from inspections.api.catalogue import every_activity, windows_of
from inspections.catalogue_files import catalogue, refused
from inspections.catalogue_rows import Activity
from inspections.models import Rule
from inspections.own_work import MEASURES, qualifications, readings_of, subject_kinds

ON_A_PAGE = 50
_DATE = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_ANY = ("", gettext_lazy("any"))
_KINDS = [
    ("inspection", gettext_lazy("inspection")),
    ("test", gettext_lazy("test")),
    ("maintenance", gettext_lazy("maintenance")),
]
_CAUTION = gettext_lazy(
    "The adopted edition and the authority having jurisdiction decide. A rule counts from the last"
    " performance: what is late by it is overdue on its first day in force."
)


class RuleFilters(forms.Form):
    """What the list of rules may be narrowed by."""

    q = forms.CharField(label=gettext_lazy("Word"), required=False, max_length=80)
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), required=False, choices=[_ANY, *_KINDS])
    frequency = forms.ChoiceField(label=gettext_lazy("Frequency"), required=False)
    ours = forms.ChoiceField(
        label=gettext_lazy("Changed"),
        required=False,
        choices=[
            ("", gettext_lazy("all rules")),
            ("changed", gettext_lazy("only what we or an authority changed")),
        ],
    )

    def __init__(self, *args: Any, spans: Any = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [_ANY, *((str(span), str(span)) for span in spans)]
        self.fields["frequency"].choices = choices  # type: ignore[attr-defined]


@require_GET
@contractor_page(*OFFICE)
def rule_list(request: ContractorRequest) -> HttpResponse:
    """Show the activities in force today, with what is laid over them."""
    today = timezone.localdate()
    book = rules.RuleBook.read()
    laid = [row for row in book.rows if book.holds_on(row, today)]
    known = every_activity()
    spans = sorted({one.frequency for one in known if one.frequency}, key=_length)
    form = RuleFilters(request.GET, spans=spans)
    changed: dict[str, list[Rule]] = {}
    for row in laid:
        changed.setdefault(row.activity, []).append(row)
    rows = _narrowed(known, filters.given(form), changed)
    page = Paginator(rows, ON_A_PAGE).get_page(request.GET.get("page"))
    shown = {
        "form": form,
        "page_obj": page,
        "rows": [(one, changed.get(one.id, ())) for one in page],
        "laid": sorted(book.rows, key=lambda row: (row.until_on is not None, row.activity)),
        "today": today,
        "version": catalogue().version,
        "refused": refused(),
        "may_set": request.member.role == Role.MANAGER,
    }
    return render(request, "inspections/rules.html", shown)


def _length(span: Any) -> float:
    return float(span.nominal_days)


def _narrowed(
    known: list[Activity], given: Mapping[str, Any], changed: Mapping[str, Any]
) -> list[Activity]:
    word = (given.get("q") or "").lower()
    tests: list[Callable[[Activity], bool]] = [
        lambda one: word in f"{one.id} {one.component} {one.task} {one.source}".lower(),
        lambda one: given.get("kind") in (None, "", one.kind),
        lambda one: given.get("frequency") in (None, "", str(one.frequency)),
        lambda one: not given.get("ours") or one.id in changed,
    ]
    found = [one for one in known if all(test(one) for test in tests)]
    return sorted(found, key=lambda one: (one.id not in changed, one.component, one.id))


@require_GET
@contractor_page(*OFFICE)
def activity(request: ContractorRequest, activity_id: str) -> HttpResponse:
    """Show one activity: when it applies, how often, why, and what is laid over it."""
    found = catalogue().activities.get(activity_id)
    if found is None:
        raise NotThere
    shown = {
        "activity": found,
        "windows": windows_of(found),
        "laid": Rule.objects.filter(activity=activity_id).select_related(
            "adoption__jurisdiction", "jurisdiction", "building"
        ),
        "turns": catalogue().alternating.get(activity_id),
        "families": catalogue().roles(activity_id),
        "closes": [s for s in catalogue().substitutions if activity_id in (s.performed, s.closes)],
        "deficiencies": catalogue().deficiencies_for(activity_id=activity_id),
        "cautions": catalogue().cautions_told(found),
        "differences": [d for d in catalogue().differences if d.activity_id in ("*", activity_id)],
        "version": catalogue().version,
        "may_set": request.member.role == Role.MANAGER,
    }
    return render(request, "inspections/activity.html", shown)


class _Said(forms.Form):
    """What every rule states: where it stands, why, and from when it holds."""

    source = forms.CharField(
        label=gettext_lazy("Where it stands"),
        max_length=300,
        help_text=gettext_lazy("The contract, policy, law or rule, with its section."),
    )
    reason = forms.CharField(label=gettext_lazy("Reason"), max_length=400, required=False)
    from_on = forms.DateField(
        label=gettext_lazy("In force from"), widget=_DATE, initial=timezone.localdate
    )


class _Placed(_Said):
    jurisdiction = forms.ModelChoiceField(
        label=gettext_lazy("Only under"),
        queryset=Jurisdiction.objects.none(),
        required=False,
        empty_label=gettext_lazy("any authority"),
    )
    building = forms.ModelChoiceField(
        label=gettext_lazy("Only at"),
        queryset=Building.objects.none(),
        required=False,
        empty_label=gettext_lazy("all of our buildings"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = {"jurisdiction": Jurisdiction, "building": Building}
        for name, model in places.items():
            self.fields[name].queryset = model.objects.order_by("name")  # type: ignore[attr-defined]


_FREQUENCY = gettext_lazy("An interval such as P7D, P1M, P3M or P1Y.")
_ACTIVITY = gettext_lazy("Its id, as the list of rules shows it.")


class StricterForm(_Placed):
    """More often than the catalogue asks, or judged more strictly."""

    activity = forms.CharField(label=gettext_lazy("Activity"), max_length=80, help_text=_ACTIVITY)
    frequency = forms.CharField(
        label=gettext_lazy("Done every"), max_length=10, required=False, help_text=_FREQUENCY
    )
    criterion = forms.CharField(
        label=gettext_lazy("And only in order when"),
        max_length=600,
        required=False,
        help_text=gettext_lazy(
            "A condition on its readings, such as count_defective <= 2; the criterion that is there"
            " still holds."
        ),
    )
    field_order = ("activity", "frequency", "criterion", "source", "reason", "from_on")


class OwnForm(_Placed):
    """An activity of our own."""

    activity = forms.CharField(
        label=gettext_lazy("Its id"),
        max_length=60,
        initial="own-",
        help_text=gettext_lazy("own- and small letters, digits and hyphens; used once."),
    )
    task = forms.CharField(label=gettext_lazy("What is done"), max_length=200)
    kind = forms.ChoiceField(label=gettext_lazy("Kind"), choices=_KINDS)
    subjects = forms.MultipleChoiceField(
        label=gettext_lazy("On"), help_text=gettext_lazy("One kind of item or several.")
    )
    applies = forms.CharField(
        label=gettext_lazy("Where"),
        max_length=600,
        required=False,
        help_text=gettext_lazy(
            "A condition such as system.kind == “dry”, in straight quotes; empty for every one."
        ),
    )
    frequency = forms.CharField(
        label=gettext_lazy("Done every"), max_length=10, help_text=_FREQUENCY
    )
    readings = forms.CharField(
        label=gettext_lazy("Readings"),
        max_length=1000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=format_lazy(
            gettext_lazy("One a line, such as air_pressure: pressure. It may measure {measures}."),
            measures=", ".join(MEASURES),
        ),
    )
    criterion = forms.CharField(
        label=gettext_lazy("In order when"),
        max_length=600,
        required=False,
        help_text=gettext_lazy(
            "A condition on the readings, such as count_defective <= 2; empty where the technician"
            " judges."
        ),
    )
    caution = forms.CharField(
        label=gettext_lazy("Caution"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("What can hurt somebody, and what is done about it."),
    )
    instruments = forms.CharField(
        label=gettext_lazy("Instruments"),
        max_length=300,
        required=False,
        help_text=gettext_lazy("Separated by commas."),
    )
    minutes = forms.FloatField(label=gettext_lazy("Minutes for each"), initial=10)
    qualification = forms.ChoiceField(label=gettext_lazy("Qualification"), initial="inspector")
    field_order = (
        *("activity", "task", "kind", "subjects", "applies", "frequency", "readings", "criterion"),
        *("caution", "instruments", "minutes"),
    )

    def clean_readings(self) -> dict[str, str]:
        """Return the readings by name."""
        try:
            return readings_of(self.cleaned_data["readings"])
        except FieldRefused as refused:
            raise forms.ValidationError(str(refused)) from None

    def clean_instruments(self) -> list[str]:
        """Return the instruments."""
        parts = self.cleaned_data["instruments"].split(",")
        return [one.strip() for one in parts if one.strip()]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = {
            "subjects": subject_kinds(catalogue()),
            "qualification": qualifications(),
        }
        for name, words in named.items():
            choices = [(word, word.replace("_", " ")) for word in words]
            self.fields[name].choices = choices  # type: ignore[attr-defined]


class TakesInForm(_Placed):
    """By what law or agreement longer work takes in the shorter."""

    adoption = forms.ModelChoiceField(
        label=gettext_lazy("Said by law of"),
        queryset=Adoption.objects.none(),
        required=False,
        empty_label=gettext_lazy("no law: it is agreed"),
    )
    field_order = ("adoption", "source", "reason", "from_on")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer_adoptions(self.fields["adoption"])


def _offer_adoptions(field: Any) -> None:
    rows = Adoption.objects.select_related("jurisdiction")
    field.queryset = rows.order_by("jurisdiction__name", "-valid_from")
    field.label_from_instance = lambda row: f"{row.jurisdiction}: {row}"


class AmendmentForm(_Said):
    """What an authority changed in the edition that it adopted."""

    adoption = forms.ModelChoiceField(
        label=gettext_lazy("Adopted edition"), queryset=Adoption.objects.none(), empty_label=None
    )
    act = forms.ChoiceField(
        label=gettext_lazy("What it changed"),
        choices=[(one.value, one.label) for one in rules.AMENDMENTS],
    )
    activity = forms.CharField(label=gettext_lazy("Activity"), max_length=80, help_text=_ACTIVITY)
    frequency = forms.CharField(
        label=gettext_lazy("Done every"), max_length=10, required=False, help_text=_FREQUENCY
    )
    criterion = forms.CharField(
        label=gettext_lazy("Criterion"),
        max_length=600,
        required=False,
        help_text=gettext_lazy("A condition on its readings, such as count_defective <= 2."),
    )
    field_order = ("adoption", "act", "activity", "frequency", "criterion", "source", "reason")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        _offer_adoptions(self.fields["adoption"])


class EndForm(forms.Form):
    """The last day of a rule, and why it ends."""

    until_on = forms.DateField(
        label=gettext_lazy("Last day in force"), widget=_DATE, initial=timezone.localdate
    )
    why = forms.CharField(label=gettext_lazy("Why it ends"), max_length=300)


_FORMS: dict[str, tuple[type[_Said], Any]] = {
    "stricter": (
        StricterForm,
        gettext_lazy("Ask more of an activity"),
    ),
    "own": (OwnForm, gettext_lazy("Add an activity of our own")),
    "takes_in": (TakesInForm, gettext_lazy("Let longer work take in the shorter")),
    "amendment": (AmendmentForm, gettext_lazy("Write down an authority's amendment")),
}


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def rule_new(request: ContractorRequest, what: str) -> HttpResponse:
    """Set a rule: it is refused whole, or in force from its day on."""
    if what not in _FORMS:
        raise NotThere
    made, title = _FORMS[what]
    first = {"activity": request.GET["activity"]} if request.GET.get("activity") else None

    def do(given: dict[str, Any]) -> str:
        row = rules.set_rule({"act": what, "activity": rules.EVERY, **given}, by=request.member)
        return row.get_absolute_url()

    return act(
        request,
        made(request.POST or None, initial=first),
        do,
        title=title,
        label=_("Set the rule"),
        caution=_CAUTION,
        back=reverse("rules"),
    )


@require_GET
@contractor_page(*OFFICE)
def rule(request: ContractorRequest, rule_id: UUID) -> HttpResponse:
    """Show one rule of ours or an amendment, with its reason and source."""
    row = _rule_for(rule_id)
    shown = {
        "row": row,
        "activity": catalogue().activities.get(row.activity),
        "frequency": rules.frequency_words(row.frequency),
        "may_set": request.member.role == Role.MANAGER,
        "ended": row.until_on is not None and row.until_on < _today(),
    }
    return render(request, "inspections/rule.html", shown)


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def rule_end(request: ContractorRequest, rule_id: UUID) -> HttpResponse:
    """End a rule after a last day in force."""
    row = _rule_for(rule_id)

    def do(given: dict[str, Any]) -> str:
        return rules.end(row, **given, by=request.member).get_absolute_url()

    return act(
        request,
        EndForm(request.POST or None),
        do,
        title=_("End the rule on %(activity)s") % {"activity": row.activity},
        label=_("End it"),
        hint=_("Days up to the last one keep the rule; nothing of the past changes."),
        back=row.get_absolute_url(),
    )


def _today() -> date:
    return timezone.localdate()


def _rule_for(rule_id: UUID) -> Rule:
    rows = Rule.objects.select_related(
        "adoption__jurisdiction", "jurisdiction", "building", "recorded_by__user", "ended_by__user"
    )
    row: Rule | None = rows.filter(pk=rule_id).first()
    if row is None:
        raise NotThere
    return row
