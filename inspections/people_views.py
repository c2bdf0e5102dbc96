"""Desk pages of the contractor's people and their licences."""

from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from contractors import audit, licences, papers, principals
from contractors.doors import OFFICE, ContractorRequest, Role, contractor_page
from contractors.models import Licence, Person
from contractors.refusal import NotThere
from inspections import licensed, practising
from inspections import practice_words as words
from inspections.acting import act

_DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class _Scanned(forms.Form):
    """What every form of a licence may bring along."""

    scan = forms.FileField(
        label=_lazy("Scanned certificate"),
        required=False,
        help_text=_lazy("A PDF or a picture, at most 20 MB."),
    )

    @property
    def scanned(self) -> licences.Scan | None:
        """Return the uploaded file: its name and its bytes."""
        given = self.cleaned_data.get("scan")
        return (given.name, given.read()) if given else None


class LicenceForm(_Scanned):
    """A licence of a person."""

    kind = forms.ChoiceField(label=_lazy("Kind"), choices=Licence.Kind.choices)
    number = forms.CharField(label=_lazy("Number"), max_length=40, required=False)
    jurisdiction = forms.CharField(
        label=_lazy("Counts in"),
        max_length=80,
        required=False,
        help_text=_lazy(
            "A state such as ME, a country or the name of an authority, several with semicolons;"
            " empty: everywhere."
        ),
    )
    valid_from = forms.DateField(label=_lazy("Valid from"), widget=_DAY)
    valid_until = forms.DateField(label=_lazy("Last day"), widget=_DAY)
    field_order = ("kind", "number", "jurisdiction", "valid_from", "valid_until", "scan")


class RenewForm(_Scanned):
    """The renewal of a licence."""

    valid_until = forms.DateField(label=_lazy("New last day"), widget=_DAY)
    valid_from = forms.DateField(
        label=_lazy("Valid from"),
        widget=_DAY,
        required=False,
        help_text=_lazy("Empty: the day after the old one ends."),
    )
    number = forms.CharField(
        label=_lazy("New number"),
        max_length=40,
        required=False,
        help_text=_lazy("Empty: it stays the same."),
    )
    field_order = ("valid_until", "valid_from", "number", "scan")


class EndForm(forms.Form):
    """The end of a licence before its time."""

    on = forms.DateField(label=_lazy("Last day"), widget=_DAY)
    reason = forms.CharField(label=_lazy("Why"), max_length=400)


class PersonForm(forms.ModelForm):  # type: ignore[type-arg]
    """Somebody new: one of ours, or of another firm."""

    class Meta:
        model = Person
        fields = ("code", "name", "firm", "phone", "email", "is_technician")

    def clean_code(self) -> str:
        """Refuse a code that stands for somebody else."""
        code: str = self.cleaned_data["code"]
        if Person.objects.filter(code=code).exists():
            raise forms.ValidationError(_("This code stands for somebody else; choose another."))
        return code


def people_of(request: ContractorRequest) -> Any:
    """Return the people a member may see with their licences: a technician only their own."""
    rows = Person.objects.prefetch_related("licences", "licences__scan").order_by("name", "code")
    if request.member.role == Role.TECHNICIAN:
        return rows.filter(membership=request.member)
    return rows


def _licence_for(request: ContractorRequest, licence_id: UUID) -> Licence:
    rows = Licence.objects.filter(person__in=people_of(request).order_by().values("pk"))
    found: Licence | None = rows.select_related("person", "scan").filter(pk=licence_id).first()
    if found is None:
        raise NotThere
    return found


@contractor_page()
@require_GET
def people(request: ContractorRequest) -> HttpResponse:
    """List people with their licences; what ends soonest stands first in each."""
    today = timezone.localdate()
    ends = {one.licence.pk: one for one in licences.ending(today)}
    found = list(people_of(request))
    rows = [
        (
            person,
            [(one, ends.get(one.pk), licensed.in_words(one.kind)) for one in _shown(person)],
        )
        for person in found
    ]
    practised = practising.granted_to(found)
    context = {
        "rows": rows,
        "today": today,
        "ending": [one for one in ends.values() if one.days >= 0],
        "practised": [
            (one, [(words.type_name(run.system_type), run) for run in practised[one.pk]])
            for one in found
            if one.pk in practised
        ],
        "may_act": request.member.role in OFFICE,
        "beyond": _beyond(request, today),
        "members": principals.members() if request.member.role in OFFICE else (),
        "may_name": request.member.role == Role.MANAGER,
    }
    return render(request, "inspections/people.html", context)


def _beyond(request: ContractorRequest, today: date) -> list[licensed.Beyond]:
    """Return visits beyond a licence's end: to a technician their own."""
    found = licensed.beyond(today)
    if request.member.role in OFFICE:
        return found
    own = set(people_of(request).values_list("pk", flat=True))
    return [one for one in found if {one.visit.technician_id, one.visit.second_id} & own]


@contractor_page(Role.MANAGER)
@require_POST
def member_answers(request: ContractorRequest, member_id: UUID) -> HttpResponse:
    """Say that a member answers for the contractor, or does so no more."""
    answers = request.POST.get("answers") == "yes"
    row = principals.answer(member_id, answers=answers, by=request.member)
    told = _("%(who)s answers for the contractor.") if answers else _("%(who)s is not told last.")
    messages.success(request, told % {"who": row.user})
    return redirect("people")


def _shown(person: Person) -> list[Licence]:
    return sorted(person.licences.all(), key=lambda one: (one.kind, one.valid_until))


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def person_new(request: ContractorRequest) -> HttpResponse:
    """Enter somebody: one of ours, or of another firm."""
    form = PersonForm(request.POST or None)

    def do(given: dict[str, Any]) -> str:
        made = form.save()
        audit.record("person.entered", by=request.member, on=made, firm=made.firm)
        messages.success(request, _("%(name)s is entered.") % {"name": made.name})
        return reverse("people")

    title = _("Enter a person")
    return act(request, form, do, title=title, label=_("Enter"), back=reverse("people"))


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def licence_new(request: ContractorRequest, person_id: UUID) -> HttpResponse:
    """Write a licence of a person down."""
    person = people_of(request).filter(pk=person_id).first()
    if person is None:
        raise NotThere
    form = LicenceForm(request.POST or None, request.FILES or None)

    def do(given: dict[str, Any]) -> str:
        facts = {name: value for name, value in given.items() if name != "scan"}
        licences.add(person, **facts, scan=form.scanned, by=request.member)
        messages.success(request, _("The licence is written down."))
        return reverse("people")

    return act(
        request,
        form,
        do,
        title=_("Licence of %(name)s") % {"name": person.name},
        label=_("Write it down"),
        back=reverse("people"),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def licence_renew(request: ContractorRequest, licence_id: UUID) -> HttpResponse:
    """Write the renewal of a licence down."""
    licence = _licence_for(request, licence_id)
    form = RenewForm(request.POST or None, request.FILES or None)

    def do(given: dict[str, Any]) -> str:
        licences.renew(
            licence,
            valid_until=given["valid_until"],
            valid_from=given["valid_from"],
            number=given["number"],
            scan=form.scanned,
            by=request.member,
        )
        messages.success(request, _("The renewal is written down."))
        return reverse("people")

    return act(
        request,
        form,
        do,
        title=_("Renew a licence"),
        subtitle=_words(licence),
        label=_("Write the renewal down"),
        back=reverse("people"),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def licence_end(request: ContractorRequest, licence_id: UUID) -> HttpResponse:
    """End a licence before its time."""
    licence = _licence_for(request, licence_id)

    def do(given: dict[str, Any]) -> str:
        licences.end(licence, **given, by=request.member)
        messages.success(request, _("The licence is ended."))
        return reverse("people")

    return act(
        request,
        EndForm(request.POST or None),
        do,
        title=_("End a licence"),
        subtitle=_words(licence),
        label=_("End it"),
        back=reverse("people"),
        caution=_("From the next day on nobody can be sent on it. What was signed before stays."),
    )


@contractor_page()
@require_GET
def licence_scan(request: ContractorRequest, licence_id: UUID) -> HttpResponse:
    """Give the scanned certificate of a licence."""
    return papers.served(_licence_for(request, licence_id).scan)


def _words(licence: Licence) -> str:
    kind = licensed.in_words(licence.kind)
    return f"{kind} {licence.number}, {licence.person}".replace(" ,", ",")
