"""Write what an import plans, all of it or nothing."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from buildings import inventory
from buildings.models import Adoption, Agreement, Engagement
from buildings.portfolio.plan import Draft, Plan, parts
from contractors import audit
from contractors.models import Contractor, Membership, Owner
from contractors.refusal import Refusal
from contractors.scope import current_contractor_id

_PLAIN_SHEETS = ("offices", "people", "licences", "instruments", "jurisdictions", "adoptions")
_INVENTORY_SHEETS = ("buildings", "systems", "risers", "devices")


class RowsWrong(Refusal):
    """Some rows are wrong, so nothing was written."""

    code = "rows_wrong"
    status = 422
    sentence = "Nothing was imported: %(count)s things are wrong in the rows."


def apply(plan: Plan, *, by: Membership | None, reason: str, valid_from: date | None) -> None:
    """Write everything that a plan says is new or changed, in one transaction.

    Parameters
    ----------
    reason
        Why facts change, such as the name of the file.
    valid_from
        The day since which changed facts hold; None for the day it is at each building.

    Raises
    ------
    RowsWrong
        When anything in the plan is wrong; then nothing is written.
    """
    if plan.problems:
        raise RowsWrong(count=len(plan.problems))
    now = timezone.now()
    with transaction.atomic():
        _create_all(plan, now, by=by, reason=reason)
        for draft in plan.drafts:
            if draft.what == "changed":
                _change(draft, by=by, reason=reason, valid_from=valid_from)
        for part in parts:
            part.write(plan, by)
        for building_id in _touched(plan):
            inventory.tell_changed(building_id, now)
        if plan.drafts and by is not None:
            counts = {sheet: dict(count) for sheet, count in plan.counts.items()}
            audit.record("portfolio.imported", by=by, on=by.contractor, reason=reason, rows=counts)


def _create_all(plan: Plan, now: datetime, *, by: Membership | None, reason: str) -> None:
    for subject in (d.subject for d in plan.drafts if d.what == "new"):
        if isinstance(subject, Adoption | Agreement | Engagement):
            subject.recorded_at = now
    owners = plan.new("owners")
    home = Contractor.objects.get(pk=current_contractor_id()).time_zone if owners else ""
    for owner in owners:
        owner.time_zone = home
    Owner.objects.bulk_create(owners)
    for sheet in _PLAIN_SHEETS:
        _create(plan.new(sheet))
    subjects = [one for sheet in _INVENTORY_SHEETS for one in plan.new(sheet)]
    inventory.add(subjects, by=by, reason=reason, tell=False)
    for sheet in ("engagements", "agreements"):
        _create(plan.new(sheet))


def _create(rows: list[Any]) -> None:
    if rows:
        type(rows[0]).objects.bulk_create(rows, batch_size=500)


def _change(draft: Draft, *, by: Membership | None, reason: str, valid_from: date | None) -> None:
    subject = draft.subject
    facts: dict[str, Any] = {}
    columns: dict[str, Any] = {}
    dated = inventory.FACTS[draft.sheet.removesuffix("s")] if _has_past(draft) else ()
    for name, (_old, new) in draft.changes.items():
        if name.startswith("attributes."):
            facts.setdefault("attributes", {})[name.removeprefix("attributes.")] = new
        elif name in dated:
            facts[name] = new
        else:
            columns[name] = new
    if facts:
        inventory.revise(subject, facts, valid_from=valid_from, by=by, reason=reason, tell=False)
    if isinstance(subject, Engagement) and "until_on" in columns:
        columns["end_recorded_at"] = timezone.now()
    if columns:
        for name, value in columns.items():
            setattr(subject, name, value)
        subject.save(update_fields=[subject._meta.get_field(n).name for n in columns])


def _has_past(draft: Draft) -> bool:
    return draft.sheet in _INVENTORY_SHEETS


def _touched(plan: Plan) -> list[Any]:
    found: dict[Any, None] = {}
    for draft in plan.drafts:
        if draft.sheet == "buildings":
            found[draft.subject.pk] = None
        elif hasattr(draft.subject, "building_id"):
            found[draft.subject.building_id] = None
    return list(found)


def summary(plan: Plan) -> Mapping[str, Mapping[str, int]]:
    """Return by sheet how many rows are new, changed and the same."""
    return {
        sheet: {what: count[what] for what in ("new", "changed", "same")}
        for sheet, count in plan.counts.items()
    }
