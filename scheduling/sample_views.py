"""Pages of samples: what falls due, what is at the laboratory, its result, the replacement."""

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET, require_http_methods

from buildings.access import building_for
from buildings.models import Building, Device
from buildings.panels import Panel
from contractors import papers
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.refusal import FieldRefused, NotThere
from inspections import access, sampling
from inspections.acting import act
from inspections.finding_views import history
from inspections.models import Sample, Visit
from inspections.sampling import Piece, Replaced, Sending, Tested
from scheduling import samples

ON_A_PAGE = 50
MAY_SEND = (*OFFICE, Role.TECHNICIAN)
_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class SendForm(forms.Form):
    """A sample sent to a laboratory."""

    activity = forms.ChoiceField(label=_lazy("Which sampling"))
    groups = forms.MultipleChoiceField(
        label=_lazy("Groups of the area"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_lazy("One failed piece fails them all. Sample areas are the owner's to define."),
    )
    area = forms.CharField(label=_lazy("Area"), max_length=200, required=False)
    in_area = forms.CharField(
        label=_lazy("How many there are"),
        max_length=40,
        required=False,
        help_text=_lazy(
            "Empty: as the inventory says. A range such as 1100-1300 counts by its upper end."
        ),
    )
    pieces = forms.CharField(
        label=_lazy("Sprinklers taken"),
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_lazy(
            "A line each: its tag, after a comma where it hung, and where the area has several"
            " groups after another comma the number of its group."
        ),
    )
    taken_on = forms.DateField(label=_lazy("Taken on"), widget=_DAY)
    taken_by = forms.CharField(label=_lazy("Taken by"), max_length=200)
    sent_on = forms.DateField(label=_lazy("Sent on"), widget=_DAY)
    sent_by = forms.CharField(label=_lazy("Sent by"), max_length=200, required=False)
    laboratory = forms.CharField(label=_lazy("Laboratory"), max_length=200)
    reference = forms.CharField(label=_lazy("Reference"), max_length=200, required=False)
    visit = forms.ChoiceField(label=_lazy("Taken on the visit"), required=False)

    def __init__(self, *args: Any, building: Building, visits: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.building = building
        self.devices = {
            str(one.pk): one
            for one in Device.objects.filter(building=building, kind__in=_kinds()).order_by("code")
            if one.in_service_on(building.today)
        }
        self.visits = {str(one.pk): one for one in visits}
        known = sampling.activities().values()
        wanted = {row.activity.id for row in samples.due_at(building, building.today)}
        shown = [one for one in known if one.id in wanted] or list(known)
        self._offer("activity", [(one.id, one.task) for one in shown])
        self._offer("groups", [(key, _group_words(one)) for key, one in self.devices.items()])
        self._offer(
            "visit",
            [("", _("no visit")), *((key, str(one)) for key, one in self.visits.items())],
        )

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def sending(self, given: dict[str, Any]) -> Sending:
        """Return the sample as it was filled in."""
        groups = [self.devices[key] for key in given["groups"]]
        plain = {n: v for n, v in given.items() if n not in ("groups", "pieces", "visit")}
        lines = [line for line in given["pieces"].splitlines() if line.strip()]
        pieces = [self._piece(line, groups) for line in lines]
        return Sending(groups=groups, pieces=pieces, **plain)

    def _piece(self, line: str, groups: list[Device]) -> Piece:
        """Return the sprinkler of a line: tag, where it hung, number of its group."""
        tag, where, code = (part.strip() for part in (*line.split(",", 2), "", "")[:3])
        among = groups or list(self.devices.values())
        if not among:
            raise FieldRefused("groups", "", _("At least one group of sprinklers."))
        group = next((one for one in among if one.code == code), None) if code else among[0]
        if group is None:
            codes = ", ".join(one.code for one in among)
            raise FieldRefused("pieces", code, _("The number of a group: %(s)s.") % {"s": codes})
        return Piece(tag, group.pk, where)


class ResultForm(forms.Form):
    """The laboratory's result, piece by piece."""

    reported_on = forms.DateField(label=_lazy("Reported on"), widget=_DAY)
    number = forms.CharField(label=_lazy("Certificate number"), max_length=200, required=False)
    certificate = forms.FileField(
        label=_lazy("Certificate"),
        required=False,
        help_text=_lazy("A PDF or a picture, at most 20 MB."),
    )
    text = forms.CharField(
        label=_lazy("Remark"), max_length=2000, required=False, widget=forms.Textarea
    )

    def __init__(self, *args: Any, sample: Sample, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.tags = [one["tag"] for one in sample.pieces]
        choices = [("", _("choose")), *reversed(Sample.Outcome.choices)]
        for place, piece in enumerate(sample.pieces):
            label = ", ".join(one for one in (piece["tag"], piece.get("where")) if one)
            self.fields[f"outcome_{place}"] = forms.ChoiceField(label=label, choices=choices)
            self.fields[f"value_{place}"] = forms.DecimalField(
                label=_("%(tag)s, time to operate") % {"tag": piece["tag"]},
                required=False,
                min_value=0,
                max_value=100_000,
                decimal_places=3,
            )
            self.fields[f"value_{place}"].unit = "s"  # type: ignore[attr-defined]

    def tested(self, given: dict[str, Any]) -> list[Tested]:
        """Return the result of each piece."""
        return [
            Tested(tag, given[f"outcome_{place}"], _seconds(given[f"value_{place}"]))
            for place, tag in enumerate(self.tags)
        ]


class ReplaceForm(forms.Form):
    """What took the place of a group that failed."""

    group = forms.ChoiceField(label=_lazy("Group replaced"))
    count = forms.IntegerField(
        label=_lazy("How many"),
        min_value=1,
        help_text=_lazy("Fewer than there are: the rest keeps its year and stays owed."),
    )
    year = forms.IntegerField(label=_lazy("Year stamped on the new ones"), min_value=1874)
    on = forms.DateField(label=_lazy("Replaced on"), widget=_DAY)
    done_by = forms.CharField(label=_lazy("Replaced by"), max_length=200)
    text = forms.CharField(label=_lazy("Remark"), max_length=2000, required=False)

    def __init__(self, *args: Any, sample: Sample, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        owed = Device.objects.filter(pk__in=sample.still_owed).order_by("code")
        choices = [(str(one.pk), _group_words(one)) for one in owed]
        self.fields["group"].choices = choices  # type: ignore[attr-defined]


def _seconds(value: Any) -> dict[str, str] | None:
    if value is None:
        return None
    text = format(value, "f")
    return {"value": text.rstrip("0").rstrip(".") if "." in text else text, "unit": "s"}


def _kinds() -> set[str]:
    found = {kind for one in sampling.activities().values() for kind in one.subjects}
    return {*(found - {"building"}), "sprinkler_group"}


def _group_words(one: Device) -> str:
    facts = one.attributes
    parts = [one.code, one.name, one.location, facts.get("manufacture_year")]
    count = facts.get("quantity")
    words = ", ".join(str(part) for part in parts if part)
    return f"{words}: {count}" if count else words


def sample_for(sample_id: UUID) -> Sample:
    """Return a sample of the contractor in scope, or raise `NotThere`."""
    rows = Sample.objects.select_related("building", "system", "visit", "certificate", "finding")
    found: Sample | None = rows.filter(pk=sample_id).first()
    if found is None:
        raise NotThere
    return found


@contractor_page()
@require_GET
def sample_list(request: ContractorRequest) -> HttpResponse:
    """List samples: what is at the laboratory or owed first."""
    rows = Sample.objects.select_related("building", "system")
    waiting = rows.filter(state__in=(Sample.State.AT_LABORATORY, Sample.State.FAILED))
    done = rows.exclude(pk__in=waiting.order_by().values("pk"))
    page = Paginator(done.order_by("-taken_on", "pk"), ON_A_PAGE).get_page(request.GET.get("page"))
    context = {"waiting": waiting.order_by("sent_on", "pk"), "page_obj": page}
    return render(request, "scheduling/samples.html", context)


@contractor_page()
@require_GET
def sample(request: ContractorRequest, sample_id: UUID) -> HttpResponse:
    """Show a sample: its pieces, through whose hands it went, and what is owed."""
    found = sample_for(sample_id)
    activity = sampling.activities().get(found.activity)
    outcomes = dict(Sample.Outcome.choices)
    context = {
        "sample": found,
        "activity": activity,
        "pieces": [(one, outcomes.get(one.get("outcome"), "")) for one in found.pieces],
        "still_owed": Device.objects.filter(pk__in=found.still_owed).order_by("code"),
        "history": history("sample", found.pk),
        "may_act": request.member.role in OFFICE,
        "may_replace": request.member.role in MAY_SEND,
    }
    with timezone.override(found.building.zone):
        return render(request, "scheduling/sample.html", context)


@contractor_page(*MAY_SEND)
@require_http_methods(["GET", "POST"])
def sample_new(request: ContractorRequest, building_id: UUID) -> HttpResponse:
    """Record a sample taken at a building and sent to a laboratory."""
    building = building_for(request, building_id)
    today = building.today
    visits = (
        access.visits_of(request.member)
        .filter(building=building)
        .exclude(state__in=(Visit.State.CANCELLED, Visit.State.SEALED))
    )
    initial = {
        "activity": request.GET.get("activity"),
        "groups": request.GET.getlist("group"),
        "taken_on": today,
        "sent_on": today,
    }
    form = SendForm(
        request.POST or None,
        building=building,
        visits=visits.order_by("-planned_on")[:20],
        initial=initial,
    )

    def do(given: dict[str, Any]) -> str:
        made = sampling.send(
            building,
            form.sending(given),
            by=request.member,
            visit=form.visits.get(given["visit"]),
        )
        messages.success(request, _("The sample is in the record. It closes nothing yet."))
        return reverse("sample", args=[made.pk])

    return act(
        request,
        form,
        do,
        title=_("Sample sent from %(name)s") % {"name": building.name},
        subtitle=_due_words(building, today),
        label=_("Record the sample"),
        back=building.get_absolute_url(),
        caution=_(
            "Taking sprinklers out shuts the system: an impairment or attended outage begins."
            " Put like for like in at once. Local codes and the authority having jurisdiction"
            " may ask for more."
        ),
    )


def _due_words(building: Building, today: date) -> str:
    rows = [row for row in samples.due_at(building, today) if row.owed]
    return "; ".join(
        _("%(area)s: %(owed)s of at most %(count)s")
        % {"area": row.area, "owed": row.owed, "count": row.in_area}
        for row in rows[:4]
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def sample_result(request: ContractorRequest, sample_id: UUID) -> HttpResponse:
    """Record the laboratory's result of each piece."""
    found = sample_for(sample_id)
    form = ResultForm(request.POST or None, request.FILES or None, sample=found)

    def do(given: dict[str, Any]) -> str:
        paper = given["certificate"]
        sampling.report(
            found,
            reported_on=given["reported_on"],
            pieces=form.tested(given),
            number=given["number"],
            text=given["text"],
            certificate=(paper.name, paper.read()) if paper else None,
            by=request.member,
        )
        messages.success(request, _("The result is in the record."))
        return reverse("sample", args=[found.pk])

    return act(
        request,
        form,
        do,
        title=_("Result of the laboratory"),
        subtitle=f"{found.laboratory}, {found.area}",
        label=_("Record the result"),
        back=reverse("sample", args=[found.pk]),
        caution=_(
            "One piece that fails fails the whole area: its replacement becomes owed. A sprinkler"
            " that did not operate is an impairment; interim measures begin now."
        ),
    )


@contractor_page(*MAY_SEND)
@require_http_methods(["GET", "POST"])
def sample_replace(request: ContractorRequest, sample_id: UUID) -> HttpResponse:
    """Record that a group of a failed sample was replaced."""
    found = sample_for(sample_id)
    initial = {"on": found.building.today, "year": found.building.today.year}

    def do(given: dict[str, Any]) -> str:
        done = Replaced(UUID(given["group"]), given["count"], given["year"])
        sampling.replace(
            found,
            on=given["on"],
            done_by=given["done_by"],
            groups=[done],
            text=given["text"],
            by=request.member,
        )
        messages.success(request, _("The replacement is in the record and the inventory."))
        return reverse("sample", args=[found.pk])

    return act(
        request,
        ReplaceForm(request.POST or None, sample=found, initial=initial),
        do,
        title=_("Group replaced"),
        subtitle=found.area,
        label=_("Record the replacement"),
        back=reverse("sample", args=[found.pk]),
        caution=_("Like for like: kind, K-factor, temperature, response and listing. Re-test."),
    )


@contractor_page()
@require_GET
def sample_certificate(request: ContractorRequest, sample_id: UUID) -> HttpResponse:
    """Give the laboratory's certificate."""
    return papers.served(sample_for(sample_id).certificate)


def panel(request: Any, building: Building) -> Panel | None:
    """Return what falls due for the laboratory at a building, and where each sample stands."""
    today = building.today
    rows = samples.due_at(building, today)
    if not rows:
        return None
    context = {
        "rows": rows,
        "today": today,
        "building": building,
        "may_send": request.member.role in MAY_SEND,
    }
    link = reverse("sample_new", args=[building.pk]) if context["may_send"] else ""
    title, words = _("Samples for the laboratory"), _("Record a sample sent")
    return Panel("samples", title, "scheduling/_samples.html", context, link=link, link_words=words)
