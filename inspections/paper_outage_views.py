"""Water shut on a visit on paper: typed in from its start over the steps owed to its end."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from contractors.doors import ContractorRequest, contractor_page
from contractors.refusal import FieldRefused, NotThere
from inspections import access, outages, projections, record
from inspections import paper_outage_forms as forms
from inspections.events.fold import VisitPicture
from inspections.models import Event, Visit
from inspections.pack import flow_test_of
from inspections.paper_acts import FIELD, append, proposed, type_in


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_shut(request: ContractorRequest, visit_id: UUID) -> HttpResponse:
    """Type in that water was shut, or found shut."""
    found = access.visit_for(request.member, visit_id)
    others = outages.running_at(found)
    return type_in(
        request,
        found,
        lambda: forms.ShutForm(
            request.POST or None,
            building=found.building,
            others=others,
            initial=proposed(found)
            | {"person": found.technician.name if found.technician else "", "how": "attended"},
        ),
        title=_("Water shut, from paper"),
        caution=_(
            "Its clock runs from the time on the paper until proof of restoration is typed in. Is"
            " it still shut? Then see to tag, notices and fire watch now; local codes and the"
            " authority having jurisdiction decide what else."
        ),
    )


STEPS: dict[str, tuple[str, Any]] = {
    "tag": ("Tag", forms.TagForm),
    "told": ("Who was told", forms.ToldForm),
    "watch": ("Fire watch", forms.WatchForm),
    "unattended": ("Nobody stayed at it", forms.UnattendedForm),
}


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_outage(
    request: ContractorRequest, visit_id: UUID, outage_id: UUID, step: str
) -> HttpResponse:
    """Type in a step that is owed while something is out of service, or its end."""
    found = access.visit_for(request.member, visit_id)
    start = _started(found, outage_id)
    if step == "restored":
        return _restored(request, found, start)
    if step not in STEPS or (step == "unattended" and start.kind != "outage.start"):
        raise NotThere
    words, form_class = STEPS[step]
    first, more, caution = proposed(found, start.happened_at), {}, ""
    if step == "unattended":
        more = {"shut": record.payload_of(start)}
        caution = _("As of then it is an impairment: notices and fire watch are owed at once.")
    return type_in(
        request,
        found,
        lambda: form_class(request.POST or None, initial=first, **more),
        title=_("%(what)s, from paper") % {"what": _(words)},
        what=_extent(start),
        write=lambda form: append(request, found, form.entries_of(outage_id)),
        caution=caution,
    )


def _restored(request: ContractorRequest, found: Visit, start: Event) -> HttpResponse:
    subject = record.payload_of(start)["subject"]
    asks = outages.asks_for_flow(start.stream_id, found.building)
    test = flow_test_of(found) if asks else None
    kind = "outage.end" if start.kind == "outage.start" else "impairment.end"

    def write(form: forms.RestoredForm) -> str:
        if form.cleaned_data["at"] < start.happened_at:
            raise FieldRefused("at", form.cleaned_data["at"], _("A moment after it was shut."))
        append(request, found, form.proofs(_before(found, subject, test)))
        named = outages.speaking(start.stream_id, found.building)
        return append(request, found, [form.end(start.stream_id, kind, named)])

    return type_in(
        request,
        found,
        lambda: forms.RestoredForm(
            request.POST or None,
            subject=subject,
            test=test,
            initial=proposed(found, start.happened_at),
        ),
        title=_("Restored, from paper"),
        what=_extent(start),
        write=write,
        caution=_(
            "Only what was seen or read after it was shut counts as proof. Then the tags come down"
            " and everybody who was told is told again."
        ),
    )


def _before(found: Visit, subject: dict[str, str], test: dict[str, Any] | None) -> list[UUID]:
    """Return the answers to the flow test at this subject that stand on the visit."""
    seen: VisitPicture = projections.picture(found.pk)
    for item in seen.items:
        if test and (str(item.subject.id), item.activity) == (subject["id"], test["activity"]):
            return [event.id for event in item.heads.events]
    return []


def _started(found: Visit, outage_id: UUID) -> Event:
    start = outages.started(outage_id, found.building)
    if start is None:
        raise NotThere
    return start


def _extent(start: Event) -> str:
    return str(record.payload_of(start)["extent"])[:200]
