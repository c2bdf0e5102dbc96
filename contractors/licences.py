"""Licences of the contractor's people: added, renewed, ended; and which of them end soon."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from contractors import audit, papers
from contractors.models import Licence, Membership, Person
from contractors.refusal import FieldRefused

# Days ahead at which the end of a licence is said.
BANDS = (7, 30, 60)
# How long an ended licence that nobody renewed stays on the lists.
SHOWN_AFTER_DAYS = 60
Scan = tuple[str, bytes]


@dataclass(frozen=True, slots=True)
class LicenceEnd:
    """A licence that ends soon or has ended, not renewed.

    `days` are left, negative once it ended; `band` is 7, 30 or 60.
    """

    licence: Licence
    days: int
    band: int


def add(
    person: Person,
    *,
    kind: str,
    number: str,
    valid_from: date,
    valid_until: date,
    by: Membership,
    jurisdiction: str = "",
    scan: Scan | None = None,
) -> Licence:
    """Write a licence of a person down.

    Raises
    ------
    FieldRefused
        When the kind is none that work asks for, or it ends before it begins.
    PaperRefused, PictureRefused
        When the scan cannot be kept.
    """
    if kind not in Licence.Kind.values:
        raise FieldRefused("kind", kind, f"{', '.join(Licence.Kind.values)}.")
    if valid_until < valid_from:
        raise FieldRefused("valid_until", valid_until, _("A day from the first one on."))
    with transaction.atomic():
        licence: Licence = Licence.objects.create(
            person=person,
            kind=kind,
            number=number,
            jurisdiction=jurisdiction,
            valid_from=valid_from,
            valid_until=valid_until,
            scan=papers.keep(scan[1], name=scan[0]) if scan else None,
        )
        audit.record("licence.added", by=by, on=licence, kind=kind, until=valid_until.isoformat())
    return licence


def renew(
    licence: Licence,
    *,
    valid_until: date,
    by: Membership,
    valid_from: date | None = None,
    number: str = "",
    scan: Scan | None = None,
) -> Licence:
    """Write the renewal of a licence down, beside the one it follows.

    Parameters
    ----------
    valid_from
        Its first day; by default the day after the old one ends.
    number
        The new number; by default the old one.

    Raises
    ------
    FieldRefused
        When it does not end later than the old one, or begins after it ends.
    """
    if valid_until <= licence.valid_until:
        accepted = _("A day after %(day)s, when it ends now.") % {"day": licence.valid_until}
        raise FieldRefused("valid_until", valid_until, accepted)
    return add(
        licence.person,
        kind=licence.kind,
        number=number or licence.number,
        jurisdiction=licence.jurisdiction,
        valid_from=valid_from or licence.valid_until + timedelta(days=1),
        valid_until=valid_until,
        scan=scan,
        by=by,
    )


def end(licence: Licence, *, on: date, reason: str, by: Membership) -> Licence:
    """End a licence before its time: its last day is moved, the former one stays in the audit.

    Raises
    ------
    FieldRefused
        When the day is not within the licence, or there is no reason.
    """
    if not licence.valid_from <= on < licence.valid_until:
        span = {"first": licence.valid_from, "last": licence.valid_until}
        accepted = _("A day from %(first)s on and before %(last)s.") % span
        raise FieldRefused("on", on, accepted)
    if not reason.strip():
        raise FieldRefused("reason", reason, _("Say in a few words why it ends."))
    with transaction.atomic():
        row: Licence = Licence.objects.select_for_update().get(pk=licence.pk)
        before, row.valid_until = row.valid_until, on
        row.save(update_fields=["valid_until"])
        audit.record(
            "licence.ended",
            by=by,
            on=row,
            before=before.isoformat(),
            until=on.isoformat(),
            reason=reason[:400],
        )
    return row


def ending(today: date, *, within: int = BANDS[-1]) -> list[LicenceEnd]:
    """Return the licences that end within some days and are not renewed, the soonest first."""
    newest: dict[tuple[object, ...], Licence] = {}
    for row in Licence.objects.select_related("person").order_by("valid_until"):
        newest[row.person_id, row.kind, row.jurisdiction] = row
    found = []
    for row in newest.values():
        everywhere = newest.get((row.person_id, row.kind, ""))
        if everywhere is not None and everywhere.valid_until > row.valid_until:
            continue
        days = (row.valid_until - today).days
        if -SHOWN_AFTER_DAYS <= days <= within:
            found.append(LicenceEnd(row, days, next((n for n in BANDS if days <= n), BANDS[-1])))
    return sorted(found, key=lambda one: one.days)
