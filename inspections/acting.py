"""One form, one act: done once however often it is pressed, refused with all that was typed."""

from collections.abc import Callable
from typing import Any

from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from contractors.doors import ContractorRequest
from contractors.models import KeptAnswer, new_id
from contractors.refusal import FieldRefused, Refusal
from inspections.events.fields import EventRefused

LONGEST_KEY = 100


def act(
    request: ContractorRequest,
    form: Any,
    do: Callable[[dict[str, Any]], str],
    **context: Any,
) -> HttpResponse:
    """Show a form and do what it says; a refusal stands on the form, with all that was typed.

    Parameters
    ----------
    do
        Does it with the form's cleaned data, and returns where to go on.
    context
        title, label, back, caution and what else the page of the act shows.
    """
    status = 200
    key = request.POST.get("once", "")[:LONGEST_KEY] or str(new_id())
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                return redirect(once(request, key, lambda: do(form.cleaned_data)))
            except EventRefused as refused:
                _put(form, refused.field.rpartition(".")[2], refused.accepted, str(refused))
            except FieldRefused as refused:
                facts = refused.facts
                _put(form, str(facts["field"]), str(facts["accepted"]), refused.message())
            except Refusal as refused:
                form.add_error(None, refused.message())
                status = refused.status
    shown = {"form": form, "once": key, **context}
    return render(request, "inspections/act.html", shown, status=status)


def once(request: ContractorRequest, key: str, do: Callable[[], str]) -> str:
    """Do something once for the key of its form; pressed again, go where the first time led."""
    row = {"route": request.path[:120], "key": key, "actor": request.member.pk}
    with transaction.atomic():
        try:
            with transaction.atomic():
                kept = KeptAnswer.objects.create(**row, body_hash="", made_at=timezone.now())
        except IntegrityError:
            first = KeptAnswer.objects.get(**row)
            return str(first.body["to"])
        to = do()
        kept.status, kept.body = 302, {"to": to}
        kept.save(update_fields=["status", "body"])
    return to


def _put(form: Any, field: str, accepted: str, sentence: str) -> None:
    """Put a refusal beside its field, or above the form where it names none of its fields."""
    if field in form.fields:
        form.add_error(field, accepted)
    else:
        form.add_error(None, sentence)
