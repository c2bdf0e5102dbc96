"""Pages of what decides due days at a building: regimes, settings of due days, leave to rest."""

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET, require_http_methods

from buildings import inventory as stock
from buildings.access import building_for
from buildings.models import Agreement, Building, Regime, Suspension, Timing
from buildings.panels import Panel
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.refusal import FieldRefused, NotThere
from inspections.acting import act
from inspections.catalogue_rows import regime_words
from scheduling import off_limits, terms, turn_views

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_CLOSED = 20
_REST_CAUTION = _lazy(
    "Leave comes from the authority having jurisdiction, not from us. A vacant building usually"
    " stays protected: keep wet pipe heated above freezing, or have it drained under an"
    " impairment, with a fire watch where the authority asks for one. The insurer usually wants to"
    " know before a building stands empty or its protection rests. Usual practice; local code and"
    " the policy decide."
)


class RegimeForm(forms.Form):
    """A regime laid beside the standard."""

    regime = forms.ChoiceField(label=_lazy("Regime"))
    authority = forms.CharField(
        label=_lazy("Who asks for it"),
        max_length=120,
        help_text=_lazy("The accreditor, agency or insurer, and where it stands."),
    )
    edition = forms.IntegerField(
        label=_lazy("Edition"), required=False, min_value=1900, max_value=2200
    )
    valid_from = forms.DateField(label=_lazy("In force from"), widget=_DAY)
    valid_until = forms.DateField(label=_lazy("Last day in force"), widget=_DAY, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(name, regime_words(name)) for name in terms.regimes()]
        self.fields["regime"].choices = choices  # type: ignore[attr-defined]


class RegimeEndForm(forms.Form):
    """The last day of a regime."""

    valid_until = forms.DateField(
        label=_lazy("Last day in force"), widget=_DAY, initial=timezone.localdate
    )


class DueForm(forms.Form):
    """How due days are reckoned."""

    agreement = forms.ModelChoiceField(
        label=_lazy("Holds for"),
        queryset=Agreement.objects.none(),
        required=False,
        empty_label=_lazy("all of our buildings"),
        help_text=_lazy("An agreement's own setting goes before ours."),
    )
    valid_from = forms.DateField(label=_lazy("From"), widget=_DAY, initial=timezone.localdate)
    anchoring = forms.ChoiceField(
        label=_lazy("Due days"), choices=Timing.Anchoring.choices, initial=Timing.Anchoring.MIXED
    )
    rolling_year = forms.BooleanField(
        label=_lazy("Count performances in any twelve months, not in the calendar year"),
        required=False,
    )
    week_starts = forms.TypedChoiceField(
        label=_lazy("The week begins on"), choices=list(WEEKDAYS.items()), coerce=int, initial=0
    )
    frost_from = forms.CharField(
        label=_lazy("Frost from"),
        max_length=5,
        required=False,
        help_text=_lazy("Month and day, such as 11-15. Empty: by the latitude."),
    )
    frost_until = forms.CharField(label=_lazy("Frost until"), max_length=5, required=False)

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["agreement"]
        field.queryset = building.agreements.order_by("-valid_from")
        field.label_from_instance = agreement_words


class RestForm(forms.Form):
    """Leave for a building or an item to rest."""

    subject = forms.ChoiceField(
        label=_lazy("What rests"), help_text=_lazy("What hangs on it rests with it.")
    )
    authority = forms.CharField(
        label=_lazy("By leave of"),
        max_length=120,
        help_text=_lazy("The authority's name, such as the fire prevention bureau."),
    )
    reason = forms.CharField(label=_lazy("Reason"), max_length=200)
    from_on = forms.DateField(label=_lazy("First day out"), widget=_DAY)
    back_on = forms.DateField(
        label=_lazy("First day back, as expected"),
        widget=_DAY,
        required=False,
        help_text=_lazy("Empty while nobody knows it. Everything falls due again on that day."),
    )

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = subject_names(building)
        choices = [(f"{kind}:{pk}", name) for (kind, pk), name in names.items()]
        self.fields["subject"].choices = choices  # type: ignore[attr-defined]


class BackForm(forms.Form):
    """The day on which what rested is back."""

    back_on = forms.DateField(label=_lazy("First day back"), widget=_DAY)


class NothingForm(forms.Form):
    """Only a button."""


def agreement_words(agreement: Agreement) -> str:
    """Return which agreement it is."""
    words = _("this building's agreement from %(day)s")
    return words % {"day": date_format(agreement.valid_from)}


def subject_names(building: Building) -> dict[tuple[str, UUID], str]:
    """Return what may rest at a building, by kind and id, the building itself first."""
    names = {("building", building.pk): str(_("the whole building"))}
    for item in stock.tree(building).items:
        if item.in_service:
            names[item.subject_kind, item.id] = f"{item.code} {item.name or item.kind}".strip()
    return names


def subject_for(building: Building, subject_kind: str, subject_id: UUID) -> Any:
    """Return the building, or a system, riser or device of it.

    Raises
    ------
    FieldRefused
        When nothing of that kind and id stands there.
    """
    if subject_kind == "building" and subject_id == building.pk:
        return building
    found: Any = None if subject_kind == "building" else stock.subject_of(subject_kind, subject_id)
    if found is None or found.building_id != building.pk:
        said = _("The building, or a system, riser or device of it.")
        raise FieldRefused("subject", str(subject_id), said)
    return found


def panel(request: Any, building: Building) -> Panel:
    """Return how due days are set at a building, in a few words."""
    today = building.today
    rests = [row for row in terms.suspensions().filter(building=building) if _still(row, today)]
    context = {
        "timing": timing_at(building, today),
        "regimes": [row for row in building.regimes.all() if _in_force(row, today)],
        "rests": rests,
        "today": today,
    }
    return Panel(
        "terms",
        _("How due days are set here"),
        "scheduling/_terms.html",
        context,
        aside=True,
        link=reverse("terms", args=[building.pk]),
        link_words=_("All settings"),
    )


def timing_at(building: Building, today: date) -> Timing | None:
    """Return the setting of due days that holds at a building on a day; None for the usual."""
    agreed = building.agreements.filter(valid_from__lte=today).order_by("-valid_from").first()
    own = Q(agreement=agreed) if agreed and _in_force(agreed, today) else Q(pk=None)
    rows = Timing.objects.filter(own | Q(agreement=None), valid_from__lte=today)
    found = list(rows.order_by("valid_from", "recorded_at"))
    of_it = [row for row in found if row.agreement_id]
    return (of_it or found)[-1] if found else None


def _in_force(row: Any, today: date) -> bool:
    return row.valid_from <= today and (row.valid_until is None or today <= row.valid_until)


def _still(row: Suspension, today: date) -> bool:
    return not row.withdrawn and (row.back_on is None or today < row.back_on)


@require_GET
@contractor_page(*OFFICE)
def term_list(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Show what decides due days at a building: by whose word, from when and until when."""
    building = building_for(request, building_id)
    today = building.today
    agreements = list(building.agreements.order_by("-valid_from"))
    timings = Timing.objects.filter(Q(agreement=None) | Q(agreement__in=agreements))
    names = subject_names(building)
    rests = list(
        terms.suspensions().filter(building=building).select_related("recorded_by__user")[:_CLOSED]
    )
    shown = {
        "building": building,
        "today": today,
        "in_force": timing_at(building, today),
        "timings": timings.select_related("agreement", "recorded_by__user").order_by(
            "-valid_from", "-recorded_at"
        )[:_CLOSED],
        "regimes": building.regimes.select_related("recorded_by__user").order_by("-valid_from"),
        "rests": [
            (
                row,
                names.get((row.subject_kind, row.subject_id), row.subject_kind),
                _still(row, today),
            )
            for row in rests
        ],
        "off_limits": off_limits.of_building(building).select_related(
            "jurisdiction", "recorded_by__user"
        ),
        **turn_views.shown(building),
        "caution": _REST_CAUTION,
        "may_set": request.member.role == Role.MANAGER,
        "weekdays": WEEKDAYS,
    }
    return render(request, "scheduling/terms.html", shown)


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def regime_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Lay a regime beside the standard at a building."""
    building = building_for(request, building_id)

    def do(given: dict[str, Any]) -> str:
        told = {name: value for name, value in given.items() if name != "regime"}
        terms.ask_for(building, given["regime"], **told, by=request.member)
        return _of(building)

    return act(
        request,
        RegimeForm(request.POST or None, initial={"valid_from": building.today}),
        do,
        title=_("Lay a regime beside the standard"),
        subtitle=building.name,
        label=_("Have it hold"),
        hint=_("It narrows the windows, never widens them; where two clash the earlier day rules."),
        back=_of(building),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def regime_end(request: ContractorRequest, regime_id: UUID) -> HttpResponse:
    """End a regime after a last day in force."""
    row: Regime | None = Regime.objects.select_related("building").filter(pk=regime_id).first()
    if row is None:
        raise NotThere
    building = row.building

    def do(given: dict[str, Any]) -> str:
        terms.end_regime(row, **given, by=request.member)
        return _of(building)

    return act(
        request,
        RegimeEndForm(request.POST or None),
        do,
        title=_("End %(regime)s") % {"regime": regime_words(row.regime)},
        subtitle=building.name,
        label=_("End it"),
        hint=_("Days up to the last one keep it; nothing of the past changes."),
        back=_of(building),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def due_setting_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Set how due days are reckoned, for all of our buildings or for one agreement."""
    building = building_for(request, building_id)

    def do(given: dict[str, Any]) -> str:
        terms.time_by(**given, by=request.member)
        return _of(building)

    return act(
        request,
        DueForm(request.POST or None, building=building),
        do,
        title=_("Set how due days are reckoned"),
        subtitle=building.name,
        label=_("Set it"),
        hint=_("What is open is derived anew; the latest days of the rules never move out."),
        back=_of(building),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def rest_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Write down leave for a building or an item to rest."""
    building = building_for(request, building_id)

    def do(given: dict[str, Any]) -> str:
        told = {name: value for name, value in given.items() if name != "subject"}
        kind, _colon, pk = given["subject"].partition(":")
        terms.suspend(subject_for(building, kind, UUID(pk)), **told, by=request.member)
        return _of(building)

    return act(
        request,
        RestForm(request.POST or None, building=building, initial={"from_on": building.today}),
        do,
        title=_("Write down leave to rest"),
        subtitle=building.name,
        label=_("Let it rest"),
        caution=_REST_CAUTION,
        back=_of(building),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def rest_back(request: ContractorRequest, matter: UUID) -> HttpResponse:
    """Say on which day what rested is back."""
    row = rest_for(matter)

    def do(given: dict[str, Any]) -> str:
        terms.resume(row, **given, by=request.member)
        return _of(row.building)

    return act(
        request,
        BackForm(request.POST or None, initial={"back_on": row.building.today}),
        do,
        title=_("Back from rest"),
        subtitle=row.building.name,
        label=_("It is back"),
        hint=_("What fell due meanwhile is owed on that day."),
        back=_of(row.building),
    )


@require_http_methods(["GET", "POST"])
@contractor_page(Role.MANAGER)
def rest_withdraw(request: ContractorRequest, matter: UUID) -> HttpResponse:
    """Take back leave that was written in error."""
    row = rest_for(matter)

    def do(_given: dict[str, Any]) -> str:
        terms.withdraw(row, by=request.member)
        return _of(row.building)

    return act(
        request,
        NothingForm(request.POST if request.method == "POST" else None),
        do,
        title=_("Written in error"),
        subtitle=f"{row.building.name}: {row.reason}",
        label=_("Take it back"),
        hint=_("It never held: what fell due meanwhile is owed as ever."),
        back=_of(row.building),
    )


def rest_for(matter: UUID) -> Suspension:
    """Return the newest word on a leave to rest, or raise `NotThere`."""
    found = terms.suspensions().select_related("building").filter(matter=matter).first()
    if found is None:
        raise NotThere
    return found


def _of(building: Building) -> str:
    return reverse("terms", args=[building.pk])
