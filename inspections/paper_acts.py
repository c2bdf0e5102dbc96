"""What all pages share by which a visit on paper is typed in."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors.doors import OFFICE, ContractorRequest, Role
from inspections import entries, record
from inspections.acting import act
from inspections.models import Event, Visit

FIELD = (*OFFICE, Role.TECHNICIAN)


def type_in(
    request: ContractorRequest,
    found: Visit,
    make_form: Callable[[], Any],
    *,
    title: str,
    what: str = "",
    back: str = "",
    write: Callable[[Any], str] | None = None,
    **context: Any,
) -> HttpResponse:
    """Show a form and record what it says on the visit, as taken down on paper.

    Parameters
    ----------
    make_form
        Makes the form, whose `entries` are recorded; the time it proposes is the building's.
    write
        Records it otherwise, and returns where to go on; empty for `back`.
    back
        Where to go on; the visit's lines where left out.
    context
        caution, hint and above, as the page of an act shows them.
    """
    back = back or reverse("visit_paper", args=[found.pk])
    closed = found.state not in Visit.UNDER_WAY

    def do(_given: dict[str, Any]) -> str:
        to = write(form) if write else append(request, found, form.entries())
        messages.success(request, _("Typed in; the record has both times."))
        return to or back

    with timezone.override(found.building.zone):
        form = make_form()
        if closed and request.method == "POST":
            raise record.WrongState(kind=_("Work"), state=str(found.get_state_display()))
        if closed:
            context["caution"] = _("The visit is handed in: corrections are made on its page.")
        shown = {
            "title": title,
            "subtitle": ", ".join(part for part in (str(found), what) if part),
            "back": back,
            "label": _("Type it in"),
            "is_empty": closed,
        }
        return act(request, form, do, **(shown | context))


def append(request: ContractorRequest, found: Visit, given: list[dict[str, Any]]) -> str:
    """Record entries of a page; return no address to go on to."""
    entries.append(found, given, by=request.member, via=Event.Via.PAGE)
    return ""


def proposed(found: Visit, last: datetime | None = None) -> dict[str, datetime]:
    """Propose the time on the paper: that of the entry before, else the arrival, else the start."""
    begun = last or found.opened_at or found.planned_start
    return {"at": timezone.localtime(begun).replace(second=0, microsecond=0)} if begun else {}


def groups_of(facts: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the groups of lines of a blank."""
    return [group for system in facts["systems"] for group in system["groups"]]
