"""What an authority makes of work that was not done: overdue tests, and access refused again.

An overdue test is a finding only where the data of the building's jurisdiction say so; it is
proposed, and a person accepts or drops it.
"""

import csv
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from pathlib import Path
from uuid import UUID, uuid5

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings.models import Building, Jurisdiction
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections import findings, record
from inspections.catalogue_files import catalogue
from inspections.models import Event, Finding, Visit
from scheduling import responses
from scheduling.models import Basis, FollowUp, Occurrence, OverdueClass

FILE = Path(settings.BASE_DIR) / "fixtures" / "followups" / "overdue_classes.csv"
OVERDUE_OF = UUID("5f0c8a52-6f8e-5d0e-9b7a-3f5b7a1c9e04")
SAMPLING = "sampling"
REPEATS = ("P1M", "P3M", "P6M", "P1Y", "P2Y", "P3Y", "P5Y", "P10Y")
SOURCE = "overdue test"
# Refused attempts, one after the other, that are put to a person as evidence for the authority:
# common practice, no source.
REFUSED_ATTEMPTS = 3
PLACE = {"finding": None, "impairment": None, "kind": FollowUp.Kind.NO_ACCESS}


@dataclass(frozen=True, slots=True)
class Legal:
    """What an overdue activity counts as, and where that stands."""

    grade: str
    source: str


@cache
def published() -> dict[tuple[str, str], dict[str, Legal]]:
    """Return what published rules say, by country and state."""
    found: dict[tuple[str, str], dict[str, Legal]] = {}
    with FILE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            rules = found.setdefault((row["country"], row["region"]), {})
            rules[row["what"]] = Legal(row["class"], row["source"])
    return found


def rules_at(jurisdiction: Jurisdiction | None, on: date) -> dict[str, Legal]:
    """Return what overdue work counts as under a jurisdiction on a day; empty where nobody says."""
    if jurisdiction is None:
        return {}
    rules = dict(published().get((jurisdiction.country, jurisdiction.region), {}))
    rows = OverdueClass.objects.filter(jurisdiction=jurisdiction, valid_from__lte=on)
    for row in rows.order_by("valid_from", "recorded_at", "pk"):
        if row.grade:
            rules[row.what] = Legal(row.grade, row.source)
        else:
            rules.pop(row.what, None)
    return rules


def class_of(activity_id: str, frequency: str, rules: dict[str, Legal]) -> Legal | None:
    """Return what an overdue activity counts as; only tests do, and sampling before its repeat."""
    activity = catalogue().activities.get(activity_id)
    if activity is None or activity.kind != "test":
        return None
    if SAMPLING in rules and activity.component == "sprinkler" and "sampl" in activity.task.lower():
        return rules[SAMPLING]
    return rules.get(frequency)


def derive(building: Building, now: datetime) -> None:
    """Propose findings for overdue tests, take back what was done meanwhile, count refusals."""
    today = timezone.localdate(now, building.zone)
    _refused(building, today)
    rules = rules_at(building.jurisdiction, today)
    proposed = list(
        Finding.objects.filter(
            building=building, state=Finding.State.PROPOSED, deficiency=_CODE
        ).only("id", "state")
    )
    if not rules and not proposed:
        return
    late = {
        finding_id_of(row): (row, legal)
        for row in Occurrence.objects.filter(
            building=building, by_owner=False, known=True, latest_on__lt=today
        )
        if (legal := class_of(row.activity, row.frequency, rules)) is not None
    }
    there = set(Finding.objects.filter(building=building, pk__in=late).values_list("pk", flat=True))
    fresh = [_entry(key, *late[key]) for key in late if key not in there]
    done = [
        findings.finding_entry(row.pk, "finding.drop", {"reason": _("done meanwhile")}, by=None)
        for row in proposed
        if row.pk not in late
    ]
    if fresh or done:
        record.append([*fresh, *done], via=Event.Via.SERVICE, by=None, building=building)


_CODE = "overdue-test"


def finding_id_of(row: Occurrence) -> UUID:
    """Return the id of the one finding that an overdue occurrence may become."""
    return uuid5(OVERDUE_OF, f"{row.subject_id}:{row.activity}:{row.latest_on}")


def _entry(finding_id: UUID, row: Occurrence, legal: Legal) -> dict[str, object]:
    activity = catalogue().activities[row.activity]
    text = _("Test overdue since %(day)s: %(task)s") % {
        "day": row.latest_on.isoformat(),
        "task": activity.task,
    }
    payload = {
        "subject": {"kind": row.subject_kind, "id": str(row.subject_id)},
        "class": legal.grade,
        "code": _CODE,
        "text": text[:600],
        "activity": row.activity,
        "proposed": True,
        "source": f"{SOURCE}; {legal.source}"[:160],
    }
    return findings.finding_entry(finding_id, "finding.add", payload, by=None)


# --- access refused --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Refusals:
    """Attempts in a row that found no way in, each with its visit and day."""

    visits: tuple[UUID, ...]
    days: tuple[date, ...]


def refused_at(building: Building) -> Refusals:
    """Return the attempts refused since somebody last got in, the oldest first."""
    rows = list(
        Event.objects.filter(
            building=building, kind="visit.cancel", body__contains='"reason":"no_access"'
        )
        .order_by("happened_at", "position")
        .values_list("visit_id", "happened_at")
    )
    if not rows:
        return Refusals((), ())
    last_in = (
        Visit.objects.filter(building=building, handed_in_at__isnull=False)
        .order_by("-handed_in_at")
        .values_list("handed_in_at", flat=True)
        .first()
    )
    held = {visit: at for visit, at in rows if last_in is None or at > last_in}
    return Refusals(
        tuple(held), tuple(timezone.localdate(at, building.zone) for at in held.values())
    )


def _refused(building: Building, today: date) -> None:
    """Keep one follow-up while access is refused again and again; it ends when somebody gets in."""
    found = refused_at(building)
    rows = FollowUp.objects.filter(building=building, done_on=None, **PLACE)
    if len(found.days) < REFUSED_ATTEMPTS:
        words = _("somebody got in")
        rows.update(state=FollowUp.State.DONE, done_on=today, done_how=words)
        return
    days = ", ".join(day.isoformat() for day in found.days[-5:])
    words = _("%(n)s attempts refused, last on %(days)s: evidence for the authority")
    basis = (words % {"n": len(found.days), "days": days})[:200]
    settled = FollowUp.objects.filter(building=building, **PLACE).exclude(done_on=None)
    last = settled.order_by("-done_on").first()
    if last is not None and last.done_on >= found.days[-1]:
        return
    row, made = FollowUp.objects.get_or_create(
        building=building,
        done_on=None,
        **PLACE,
        defaults={"due_on": today, "opened_on": today, "basis": basis},
    )
    if not made and row.basis != basis:
        row.basis = basis
        row.save(update_fields=["basis"])


# --- set by a person -------------------------------------------------------------------------


def set_overdue_class(
    *,
    jurisdiction: Jurisdiction,
    what: str,
    grade: str,
    valid_from: date,
    by: Membership,
    basis: str,
    source: str,
) -> OverdueClass:
    """Set what an overdue test counts as under a jurisdiction, from a day on.

    Parameters
    ----------
    what
        `sampling`, or the repeat of the tests it holds for, such as P5Y.
    grade
        critical or noncritical; empty takes a former (or published) rule away.

    Raises
    ------
    FieldRefused
        Naming the field; a class without law or contract is refused, since it is a legal one.
    """
    if what not in (SAMPLING, *REPEATS):
        raise FieldRefused("what", what, ", ".join((SAMPLING, *REPEATS)))
    if grade not in ("", Finding.Class.CRITICAL, Finding.Class.NONCRITICAL):
        raise FieldRefused("grade", grade, _("critical, noncritical, or empty for none."))
    if basis != Basis.LAW:
        raise FieldRefused(
            "basis", basis, _("law: only an authority makes overdue work a finding.")
        )
    row: OverdueClass = OverdueClass.objects.create(
        jurisdiction=jurisdiction,
        what=what,
        grade=grade,
        basis=basis,
        source=responses.checked_source(basis, source),
        valid_from=responses.checked_start(valid_from, timezone.localdate()),
        recorded_at=timezone.now(),
        recorded_by=by,
    )
    audit.record("overdue_class.set", by=by, on=row, what=what, grade=grade)
    return row
