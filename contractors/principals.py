"""Who answers for the contractor: members who are told last, when nobody else has acted."""

from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from contractors import audit
from contractors.models import Membership
from contractors.refusal import NotThere
from contractors.scope import current_contractor_id


def members() -> QuerySet[Membership]:
    """Return the members of the contractor in scope whose membership has not ended, by name."""
    rows = Membership.objects.filter(contractor_id=current_contractor_id(), ended_on=None)
    return rows.select_related("user").order_by("user__name", "user__email")


def answer(member_id: UUID, *, answers: bool, by: Membership) -> Membership:
    """Say that a member answers for the contractor, or does so no more.

    Raises
    ------
    NotThere
        When there is no such member here.
    """
    with transaction.atomic():
        row = members().select_for_update(of=("self",)).filter(pk=member_id).first()
        if row is None:
            raise NotThere
        if row.is_principal != answers:
            row.is_principal = answers
            row.save(update_fields=["is_principal"])
            action = "member.answers" if answers else "member.answers_no_more"
            audit.record(action, by=by, on=row)
    return row
