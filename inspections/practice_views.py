"""Pages of the practice bench: exercises, the bench itself, and what a run came to."""

import json
from pathlib import Path
from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET, require_http_methods

from contractors.doors import ContractorRequest, contractor_page
from contractors.models import Person
from inspections import practice_words as words
from inspections import practising
from inspections.acting import act
from inspections.models import PracticeExercise
from inspections.practice.faults import faults_of
from inspections.sequence.types import TYPES

LATEST_RUNS = 50
_WORKER = Path(__file__).parent / "static" / "inspections" / "bench" / "worker.js"
CAUTION = _lazy(
    "This is practice on a model with round figures. At a real riser follow the maker's "
    "instructions, the adopted codes and the authority having jurisdiction; only licensed people "
    "work on it. What is passed here is a training record, not a licence."
)


class ExerciseForm(forms.Form):
    """An exercise to be set."""

    system_type = forms.ChoiceField(label=_lazy("Type of system"))
    task = forms.ChoiceField(label=_lazy("Task"), choices=PracticeExercise.Task)
    fault = forms.ChoiceField(
        label=_lazy("Hidden fault"),
        required=False,
        help_text=_lazy(
            "Only for finding a hidden fault, and not shown to whoever practises. A fault must fit "
            "the type. The page carries it masked, so that the riser works without a connection: "
            "whoever takes the page apart can find it, but it counts only once the acts showed it."
        ),
    )
    person = forms.ModelChoiceField(
        label=_lazy("For"), queryset=Person.objects.none(), required=False
    )
    note = forms.CharField(
        label=_lazy("Note"),
        max_length=200,
        required=False,
        help_text=_lazy("Shown with the exercise. Don't give the fault away."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        fields: dict[str, Any] = self.fields
        fields["system_type"].choices = [(one, words.type_name(one)) for one in TYPES]
        fields["fault"].choices = [("", _("none: the riser is sound")), *_hideable()]
        fields["person"].queryset = Person.objects.filter(membership__isnull=False).order_by("name")
        fields["person"].empty_label = _("everybody")

    def clean(self) -> dict[str, Any]:
        """Refuse a fault that the type cannot hide, in words."""
        given: dict[str, Any] = super().clean() or {}
        hideable = faults_of(practising.config_of(given.get("system_type", "dry")))
        if given.get("fault") and given["fault"] not in hideable:
            names = "; ".join(sorted(words.fault_name(one) for one in hideable))
            self.add_error(
                "fault", _("Not on this type. Accepted: %(faults)s.") % {"faults": names}
            )
        return given


class ReleaseForm(forms.Form):
    """How long somebody is released to work alone on preaction."""

    valid_until = forms.DateField(
        label=_lazy("Last day"), widget=forms.DateInput(attrs={"type": "date"})
    )


def _hideable() -> list[tuple[str, str]]:
    codes = {code for one in TYPES for code in faults_of(practising.config_of(one))}
    return sorted(((code, words.fault_name(code)) for code in codes), key=lambda one: one[1])


@contractor_page()
@require_GET
def practice(request: ContractorRequest) -> HttpResponse:
    """List the exercises, and the runs that were handed in."""
    may_set = request.member.role in practising.SETTERS
    exercises = [
        (one, words.type_name(one.system_type), words.fault_name(one.fault) if may_set else "")
        for one in practising.exercises_of(request.member)
    ]
    runs = [
        (one, words.type_name(one.system_type))
        for one in practising.runs_of(request.member)[:LATEST_RUNS]
    ]
    context = {"exercises": exercises, "runs": runs, "may_set": may_set, "caution": CAUTION}
    return render(request, "inspections/practice.html", context)


@contractor_page(*practising.SETTERS)
@require_http_methods(["GET", "POST"])
def exercise_new(request: ContractorRequest) -> HttpResponse:
    """Set an exercise."""

    def do(given: dict[str, Any]) -> str:
        practising.set_exercise(**given, by=request.member)
        messages.success(request, _("The exercise is set."))
        return reverse("practice")

    return act(
        request,
        ExerciseForm(request.POST or None),
        do,
        title=_("Set an exercise"),
        label=_("Set it"),
        back=reverse("practice"),
    )


@contractor_page(*practising.SETTERS)
@require_http_methods(["GET", "POST"])
def exercise_withdraw(request: ContractorRequest, exercise_id: UUID) -> HttpResponse:
    """Take an exercise from the list."""
    exercise = practising.exercise_for(request.member, exercise_id)

    def do(given: dict[str, Any]) -> str:
        practising.withdraw(exercise, by=request.member)
        messages.success(request, _("The exercise is off the list."))
        return reverse("practice")

    return act(
        request,
        forms.Form(request.POST or None),
        do,
        title=_("Take an exercise off the list"),
        subtitle=f"{words.type_name(exercise.system_type)}, {exercise.get_task_display()}",
        label=_("Take it off"),
        back=reverse("practice"),
        caution=_("Runs that were handed in stay as they are."),
    )


@contractor_page()
@require_GET
@ensure_csrf_cookie
def bench(request: ContractorRequest, exercise_id: UUID) -> HttpResponse:
    """Show the bench: from here on the riser is worked in the browser."""
    exercise = practising.exercise_for(request.member, exercise_id)
    context = {
        "exercise": exercise,
        "type_name": words.type_name(exercise.system_type),
        "riser": practising.riser_of(exercise),
        "claims": practising.claims_of(exercise),
        "caution": CAUTION,
    }
    return render(request, "inspections/practice_bench.html", context)


@require_GET
@never_cache
def worker(request: HttpRequest) -> HttpResponse:
    """Give the script that keeps opened exercises for where there is no signal."""
    script = f"const BUILD = {json.dumps(settings.BUILD)};\n{_WORKER.read_text(encoding='utf-8')}"
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@contractor_page(*practising.SETTERS)
@require_http_methods(["GET", "POST"])
def run_release(request: ContractorRequest, run_id: UUID) -> HttpResponse:
    """Release the person of a run to work alone on preaction."""
    found = practising.run_for(request.member, run_id)

    def do(given: dict[str, Any]) -> str:
        made = practising.release(found, **given, by=request.member)
        told = _("%(name)s is released to work alone on preaction.")
        messages.success(request, told % {"name": made.person.name})
        return reverse("people")

    return act(
        request,
        ReleaseForm(request.POST or None),
        do,
        title=_("Release to work alone on preaction"),
        subtitle=f"{found.person or found.member.user}: {words.type_name(found.system_type)}",
        label=_("Release"),
        back=found.get_absolute_url(),
        caution=_(
            "A bench is no riser: see the person work on a real one first. From the first release "
            "on nobody without one is sent alone to trip tests of preaction systems."
        ),
    )


@contractor_page()
@require_GET
def run(request: ContractorRequest, run_id: UUID) -> HttpResponse:
    """Show what a run came to, with its debrief act by act."""
    found = practising.run_for(request.member, run_id)
    context = {
        "run": found,
        "type_name": words.type_name(found.system_type),
        "said": practising.said_of(found),
        "log": practising.log_of(found),
        "may_release": request.member.role in practising.SETTERS
        and practising.may_be_released(found),
        "caution": CAUTION,
    }
    return render(request, "inspections/practice_run.html", context)
