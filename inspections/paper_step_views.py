"""Trip tests and restorations on paper: their steps listed, and typed in one by one."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from buildings.models import Device
from contractors.doors import ContractorRequest, contractor_page
from contractors.models import new_id
from contractors.refusal import NotThere
from inspections import access, guided, mismatches, outages, projections, record
from inspections.models import Event, Visit
from inspections.paper_acts import FIELD, append, proposed, type_in
from inspections.paper_step_forms import StepForm
from inspections.sequence.words import word


@contractor_page(*FIELD)
@require_GET
def paper_steps(
    request: ContractorRequest, visit_id: UUID, device_id: UUID, task: str
) -> HttpResponse:
    """List the steps of a task at a valve, with what is typed in or recorded of each."""
    found = access.visit_for(request.member, visit_id)
    device, at = _at(found, device_id, task)
    stored = Event.objects.filter(id__in=[one.id for one in at.last.values()])
    rows = {row.id: row for row in stored}
    shown = {
        "visit": found,
        "device": device,
        "task": task,
        "task_words": guided.task_words(at.config.system_type, task),
        "rows": [_row(at, one, rows) for one in at.steps],
        "may_type": found.state in Visit.UNDER_WAY,
    }
    with timezone.override(found.building.zone):
        return render(request, "inspections/paper_steps.html", shown)


@contractor_page(*FIELD)
@require_http_methods(["GET", "POST"])
def paper_step(
    request: ContractorRequest, visit_id: UUID, device_id: UUID, task: str, code: str
) -> HttpResponse:
    """Type in one step: when, what was seen, what was timed; then the next one."""
    found = access.visit_for(request.member, visit_id)
    device, at = _at(found, device_id, task)
    if code not in {one.code for one in at.steps}:
        raise NotThere
    step, against = at.step(code), at.against(code)
    last = max((_when(found, one) for one in at.last.values()), default=None)

    def write(form: StepForm) -> str:
        append(request, found, [*form.entries(), *_shut(found, device, form)])
        _device, after = _at(found, device_id, task)
        following = after.following(code)
        place = [found.pk, device.pk, task]
        if following:
            return reverse("paper_step", args=[*place, following])
        return reverse("paper_steps", args=place)

    return type_in(
        request,
        found,
        lambda: StepForm(
            request.POST or None,
            device=str(device.pk),
            step=step,
            against=against,
            units=found.building.units,
            initial=proposed(found, last) | {"went": "as_expected"},
        ),
        title=_("%(step)s, from paper") % {"step": word("en", f"step.{code}")},
        what=f"{device.name}: {word('en', f'do.{code}')}",
        back=reverse("paper_steps", args=[found.pk, device.pk, task]),
        write=write,
        caution=_off(against),
        label=_("Type it in, go to the next step"),
    )


def _at(found: Visit, device_id: UUID, task: str) -> tuple[Device, guided.Standing]:
    rows = Device.objects.select_related("system").filter(building_id=found.building_id)
    device = rows.filter(pk=device_id).first()
    seen = projections.picture(found.pk)
    at = guided.standing(device, task, seen.steps) if device else None
    if device is None or at is None:
        raise NotThere
    return device, at


def _when(found: Visit, event: Any) -> Any:
    return Event.objects.get(id=event.id, visit_id=found.pk).happened_at


def _row(at: guided.Standing, step: Any, rows: dict[UUID, Event]) -> dict[str, Any]:
    """Return a step as the list shows it."""
    last = at.last.get(step.code)
    row = rows.get(last.id) if last else None
    payload = record.payload_of(row) if row else {}
    return {
        "code": step.code,
        "words": word("en", f"step.{step.code}"),
        "phase": word("en", f"phase.{step.phase}"),
        "must": guided.expected_words(step),
        "at": row.happened_at if row else None,
        "seen": payload.get("seen", {}),
        "off": payload.get("reason", "") if payload.get("deviation") else "",
        "odd": bool(payload) and bool(mismatches.of_step(payload)),
        "paper": bool(payload.get("paper")),
    }


def _off(against: Any) -> str:
    """Say what stood against the step, so that the reason is asked for."""
    first = ", ".join(word("en", f"step.{code}") for code in against.missing)
    said = [_("Not typed in before it: %(steps)s.") % {"steps": first}] if first else []
    said += [word("en", f"rule.{one.code}") for one in against.warnings]
    if not said:
        return ""
    return " ".join(
        [*said, _("If it was done in this order all the same, say why; it is kept as a deviation.")]
    )


def _shut(found: Visit, device: Device, form: StepForm) -> list[dict[str, Any]]:
    """Return the start of the outage that shutting the control valve is, unless one runs there."""
    if form.step.code != guided.SHUTS or device.system is None:
        return []
    if outages.is_out(device.system.pk, found.building_id):
        return []
    outage, at = new_id(), form.cleaned_data["at"].isoformat()
    person = form.cleaned_data["taken_by"] or (found.technician.name if found.technician else "")
    payload = {
        "outage": str(outage),
        "subject": {"kind": "system", "id": str(device.system_id)},
        "extent": _("%(name)s: water shut for the test") % {"name": device.system.name},
        "attended": True,
        "person": person or _("the technician"),
        "started_at": at,
        **form.paper(),
    }
    return [{"kind": "outage.start", "stream_id": outage, "payload": payload}]
