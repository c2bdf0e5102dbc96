"""A visit on paper: printed as a blank, and typed in again line by line."""

from typing import Any
from uuid import UUID

from django import forms
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from contractors.doors import ContractorRequest, contractor_page
from contractors.models import Person
from contractors.refusal import FieldRefused, NotThere
from inspections import access, blank, closing, paper_forms, projections, visits
from inspections.events.fold import VisitPicture
from inspections.events.missing import Lack, Missing
from inspections.models import Event, Visit
from inspections.outages import running_at
from inspections.paper_acts import FIELD, append, groups_of, proposed, type_in


class DayForm(forms.Form):
    """Which day's visits are printed."""

    day = forms.DateField(
        label=gettext_lazy("Day"),
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )
    technician = forms.ModelChoiceField(
        label=gettext_lazy("Technician"),
        queryset=Person.objects.none(),
        required=False,
        empty_label=gettext_lazy("any"),
    )
    paper = forms.ChoiceField(
        label=gettext_lazy("Paper"),
        required=False,
        choices=[
            ("", gettext_lazy("as usual at the building")),
            ("letter", gettext_lazy("Letter")),
            ("A4", gettext_lazy("A4")),
        ],
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_technician=True).order_by("name")
        self.fields["technician"].queryset = people  # type: ignore[attr-defined]


@contractor_page()
@require_GET
def visit_blank(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Give the blank of a visit as a PDF."""
    found = access.visit_for(request.member, visit_id)
    return as_pdf([found], f"visit-{found.building.code}", request.GET.get("paper", ""))


@contractor_page()
@require_http_methods(["GET", "POST"])
def visit_blanks(request: ContractorRequest) -> HttpResponse:
    """Ask for a day, and give the blanks of its visits as one PDF."""
    form = DayForm(request.POST or None, initial={"day": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        person = given["technician"]
        try:
            found = blank.of_day(request.member, given["day"], person.pk if person else None)
        except blank.NothingToPrint as refused:
            form.add_error("day", refused.message())
        except blank.TooMany as refused:
            form.add_error("technician", refused.message())
        else:
            return as_pdf(found, f"visits-{given['day']}", given["paper"])
    shown = {
        "form": form,
        "title": _("Visits on paper"),
        "subtitle": _("Every visit of a day that is still to be done, for when a tablet fails."),
        "back": reverse("visits"),
        "label": _("Make the blanks (PDF)"),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "inspections/act.html", shown, status=status)


def as_pdf(found: list[Visit], name: str, paper: str) -> HttpResponse:
    """Return the blanks of visits as a download.

    Raises
    ------
    FieldRefused
        When the paper is none of `blank.PAPERS`; empty is what is usual at the building.
    """
    if paper and paper not in blank.PAPERS:
        raise FieldRefused("paper", paper, ", ".join(blank.PAPERS))
    content = blank.render(found, paper)
    answer = HttpResponse(content, content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="{name}.pdf"'
    return answer


@contractor_page(*FIELD)
@require_GET
def visit_paper(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """List a visit's lines by their codes; a typed code leads to its line."""
    found = access.visit_for(request.member, visit_id)
    typed = request.GET.get("code", "")
    line = blank.line_of(found, typed) if typed else None
    if line is not None:
        return redirect("paper_line", line_id=line)
    shown = {
        "visit": found,
        "blank": blank.facts(found),
        "typed": typed,
        "may_type": found.state in Visit.UNDER_WAY,
        "outages": running_at(found),
    }
    with timezone.override(found.building.zone):
        return render(request, "inspections/paper.html", shown, status=404 if typed else 200)


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_line(request: ContractorRequest, line_id: UUID) -> HttpResponse:
    """Type in the result of one line, with the time at which it was written down."""
    row = access.line_for(request.member, line_id)
    found = access.visit_for(request.member, row.visit_id)
    line = _line_of(blank.facts(found), line_id)
    seen = _typed_before(found, line)
    return type_in(
        request,
        found,
        lambda: paper_forms.LineForm(
            request.POST or None, line=line, seen=seen, initial=proposed(found)
        ),
        title=f"{line['code']}: {line['subject_name']}",
        what=line["task"],
        caution=_already(line),
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_arrival(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in the arrival, which opens the visit."""
    found = access.visit_for(request.member, visit_id)
    return type_in(
        request,
        found,
        lambda: paper_forms.ArrivalForm(request.POST or None, initial=proposed(found)),
        title=_("Arrival, from paper"),
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_finding(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in a finding from paper."""
    found = access.visit_for(request.member, visit_id)
    return type_in(
        request,
        found,
        lambda: paper_forms.FindingOnPaperForm(
            request.POST or None, building=found.building, initial=proposed(found)
        ),
        title=_("Finding, from paper"),
        caution=_(
            "Class impairment means out of service: its clock runs from the time on the paper."
            " See to its notices at once, if nobody has."
        ),
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_station(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in that the monitoring station was put on test, or taken off again."""
    found = access.visit_for(request.member, visit_id)
    on_test = projections.picture(found.pk).on_test is not None
    first = proposed(found) | {
        "state": "off" if on_test else "on",
        "account": found.building.station_account,
    }
    return type_in(
        request,
        found,
        lambda: paper_forms.StationForm(request.POST or None, initial=first),
        title=_("Monitoring station, from paper"),
        caution=_("If the station is still on test, ring it now: nobody answers its signals."),
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_note(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in a note from paper."""
    found = access.visit_for(request.member, visit_id)
    return type_in(
        request,
        found,
        lambda: paper_forms.NoteForm(request.POST or None, initial=proposed(found)),
        title=_("Note, from paper"),
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_leave(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in that the visit was left with something out of service."""
    found = access.visit_for(request.member, visit_id)
    left = [one for one in running_at(found) if one.impaired]
    return type_in(
        request,
        found,
        lambda: paper_forms.LeaveForm(request.POST or None, running=left, initial=proposed(found)),
        title=_("Left as impaired, from paper"),
        caution=_(
            "Whoever leaves a system impaired says so to the owner, the authority and the station,"
            " and a watch follows where they ask for it. See to what is still owed at once."
        )
        if left
        else _("Nothing is impaired here now. Type in first what is shut or out of service."),
        is_empty=not left,
    )


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_hand_in(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in who signed, and hand the visit in as of the time on the paper."""
    found = access.visit_for(request.member, visit_id)
    lacks = _lacks(found)

    def write(form: paper_forms.HandInForm) -> str:
        append(request, found, form.entries(projections.picture(found.pk).shown))
        visits.hand_in(found, by=request.member, via=Event.Via.PAGE, paper=form.paper()["paper"])
        return found.get_absolute_url()

    return type_in(
        request,
        found,
        lambda: paper_forms.HandInForm(request.POST or None, visit=found, initial=proposed(found)),
        title=_("Signatures and hand-in, from paper"),
        write=write,
        label=_("Hand it in"),
        above="inspections/_paper_missing.html",
        lacks=lacks,
        hint=_(
            "The names are put under what is typed in by now, as signed on paper. Keep the paper:"
            " add its photo before you hand in."
        ),
    )


def _lacks(found: Visit) -> list[tuple[str, str]]:
    """Return what the visit still lacks but for its signatures, each with where it is typed in."""
    lines = {
        (line.subject_id, line.activity): reverse("paper_line", args=[line.pk])
        for line in found.lines.all()
    }
    missing = closing.missing(found, projections.picture(found.pk))
    signed = (Lack.NOT_SIGNED, Lack.OWNER_NOT_SIGNED, Lack.CHANGED_SINCE_SIGNED)
    return [
        (one.sentence, _typed_at(found, one, lines)) for one in missing if one.lack not in signed
    ]


def _typed_at(found: Visit, one: Missing, lines: dict[tuple[UUID, str], str]) -> str:
    need, of_visit = one.required, [found.pk]
    if need is None:
        name = {Lack.NOT_OPENED: "paper_arrival", Lack.ON_TEST: "paper_station"}.get(one.lack)
        return reverse(name or "visit_paper", args=of_visit)
    if one.lack is Lack.IN_CONFLICT:
        return found.get_absolute_url()
    if need.what == "proof":
        return reverse("paper_end_state", args=[found.pk, need.subject.id])
    return lines.get((need.subject.id, need.code), reverse("visit_paper", args=of_visit))


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_end_state(request: ContractorRequest, visit_id: UUID, device_id: UUID) -> HttpResponse:
    """Type in what was seen of a valve's end state."""
    found = access.visit_for(request.member, visit_id)
    valves = [group["valve"] for group in groups_of(blank.facts(found)) if group["valve"]]
    valve = next((one for one in valves if one["device"] == str(device_id)), None)
    if valve is None:
        raise NotThere
    return type_in(
        request,
        found,
        lambda: paper_forms.EndStateForm(
            request.POST or None, valve=valve, initial=proposed(found)
        ),
        title=_("End state from paper: %(name)s") % {"name": valve["name"]},
        caution=_("Only what was seen at the valve counts as proven; leave the others blank."),
    )


def _line_of(facts: dict[str, Any], line_id: UUID) -> dict[str, Any]:
    lines = (line for group in groups_of(facts) for line in group["lines"])
    found: dict[str, Any] | None = next(
        (line for line in lines if line["id"] == str(line_id)), None
    )
    if found is None:
        raise NotThere
    return found


def _already(line: dict[str, Any]) -> str:
    if not line["recorded"]:
        return ""
    return _(
        "In the app already: %(answer)s. Another answer from paper takes the place of one typed in"
        " before; beside one from a tablet it stands until a person decides."
    ) % {"answer": line["recorded"].replace("_", " ")}


def _typed_before(found: Visit, line: dict[str, Any]) -> list[UUID]:
    """Return the one answer from paper that a new one corrects; a tablet's is never replaced."""
    seen: VisitPicture = projections.picture(found.pk)
    for item in seen.items:
        is_it = (str(item.subject.id), item.activity) == (line["subject"]["id"], line["activity"])
        if is_it and len(item.heads.events) == 1 and item.heads.events[0].payload.get("paper"):
            return [item.heads.events[0].id]
    return []
