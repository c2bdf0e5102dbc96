"""Desk pages of tablets: which there are, and what of theirs waits for a person."""

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
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods

from contractors.doors import OFFICE, ContractorRequest, contractor_page
from contractors.refusal import NotThere
from inspections import held
from inspections.acting import act
from inspections.models import Quarantined, Visit

ON_A_PAGE = 50


class DecideForm(forms.Form):
    """What becomes of an entry that waits."""

    decision = forms.ChoiceField(
        label=gettext_lazy("What becomes of it"),
        choices=[
            (Quarantined.Decision.TAKEN, gettext_lazy("Take it into the record")),
            (Quarantined.Decision.LEFT_OUT, gettext_lazy("Leave it out")),
        ],
        widget=forms.RadioSelect,
    )
    why = forms.CharField(
        label=gettext_lazy("Reason, where it is left out"), max_length=300, required=False
    )

    def clean(self) -> dict[str, Any]:
        """Ask for the reason where work is left out."""
        given = super().clean() or {}
        if given.get("decision") == Quarantined.Decision.LEFT_OUT and not given.get("why"):
            self.add_error("why", _("Say why it stays out of the record."))
        return given


class BundleForm(forms.Form):
    """The file that a tablet saved."""

    file = forms.FileField(
        label=gettext_lazy("File from the tablet"),
        help_text=gettext_lazy("The one that the tablet saved; only this installation opens it."),
    )


@contractor_page(*OFFICE)
@require_GET
def tablet_list(request: ContractorRequest) -> HttpResponse:
    """Show the tablets, and the entries that wait for a person."""
    page = Paginator(held.waiting(), ON_A_PAGE).get_page(request.GET.get("page"))
    shown = {"page_obj": page, "rows": told(page.object_list), "tablets": held.tablets()}
    return render(request, "inspections/tablets.html", shown)


def told(rows: Any) -> list[dict[str, Any]]:
    """Return waiting entries as a page tells them: what, of which visit, why it waits."""
    rows = list(rows)
    wanted = [row.visit_id for row in rows if row.visit_id]
    visits = {one.pk: one for one in Visit.objects.filter(pk__in=wanted).select_related("building")}
    found = []
    for row in rows:
        entry = held.entry_of(row)
        payload = entry.get("payload")
        found.append(
            {
                "row": row,
                "kind": str(entry.get("kind") or _("entry")),
                "payload": payload if isinstance(payload, dict) else {},
                "visit": visits.get(row.visit_id),
            }
        )
    return found


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def held_entry(request: ContractorRequest, row_id: UUID) -> HttpResponse:
    """Show an entry that waits, whole, and decide about it."""
    row = Quarantined.objects.filter(pk=row_id).select_related("by__user").first()
    if row is None:
        raise NotThere

    def do(given: dict[str, Any]) -> str:
        if given["decision"] == Quarantined.Decision.TAKEN:
            held.take(row, by=request.member)
            messages.success(request, _("The entry is in the record."))
        else:
            held.leave_out(row, by=request.member, reason=given["why"])
            messages.success(request, _("The entry stays out; its text is kept."))
        return reverse("tablets")

    (one,) = told([row])
    return act(
        request,
        DecideForm(request.POST or None, initial={"decision": Quarantined.Decision.TAKEN}),
        do,
        title=_("Entry of %(who)s that waits") % {"who": row.by.user.name if row.by else ""},
        back=reverse("tablets"),
        label=_("Decide"),
        above="inspections/_held_entry.html",
        one=one,
        text=held.entry_of(row),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def tablet_revoke(request: ContractorRequest, tablet_id: UUID) -> HttpResponse:
    """Take a tablet out of use."""
    tablet = held.tablet(tablet_id)

    def do(_given: dict[str, Any]) -> str:
        held.revoke(tablet, by=request.member, now=timezone.now())
        messages.success(request, _("The tablet is out of use."))
        return reverse("tablets")

    return act(
        request,
        forms.Form(request.POST or None),
        do,
        title=_("Take %(tablet)s out of use") % {"tablet": tablet},
        back=reverse("tablets"),
        label=_("Take it out of use"),
        caution=_(
            "From its next contact on it brings and fetches nothing. What it still holds leaves it "
            "as a file, which you take over on this page."
        ),
    )


@contractor_page(*OFFICE)
@require_http_methods(["GET", "POST"])
def tablet_bundle(request: ContractorRequest) -> HttpResponse:
    """Take over what a tablet saved as a file."""

    def do(given: dict[str, Any]) -> str:
        received = held.receive(given["file"].read(held.LARGEST_BYTES + 1), by=request.member)
        kept = ngettext(
            "%(n)s entry waits for you.", "%(n)s entries wait for you.", received.kept
        ) % {"n": received.kept}
        known = _("%(n)s were here already.") % {"n": received.known}
        lost = _("%(n)s could not be opened.") % {"n": received.unreadable}
        parts = [kept, known if received.known else "", lost if received.unreadable else ""]
        messages.success(request, " ".join(filter(None, parts)))
        return reverse("tablets")

    return act(
        request,
        BundleForm(request.POST or None, request.FILES or None),
        do,
        title=_("Take over the file of a tablet"),
        back=reverse("tablets"),
        label=_("Take it over"),
    )
