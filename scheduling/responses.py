"""By when a finding is answered: the customary day, or what contractor and authority have set.

A day that was given to a follow-up stays: rules that come later count for later findings.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from buildings.models import Jurisdiction
from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections import subjects
from inspections.models import Finding
from scheduling.models import Basis, Holiday, ResponseTime

Grade = Finding.Class
ANSWERED = (Grade.IMPAIRMENT, Grade.CRITICAL, Grade.NONCRITICAL)
MOST_DAYS = 730
EARLIEST, LATEST_YEARS = date(1990, 1, 1), 5


@dataclass(frozen=True, slots=True)
class Owed:
    """A day owed, and what set it.

    Attributes
    ----------
    custom
        True where no rule was set and the catalogue's customary time counts.
    """

    by: date
    why: str
    custom: bool


def counted(begin: date, days: int, *, working: bool, holidays: Collection[date] = ()) -> date:
    """Return the day that lies so many days after another; working days pass over what rests.

    Parameters
    ----------
    days
        0 is the day itself; counted in working days, the next one where that day rests.
    holidays
        Days on which the authority does not work; Saturdays and Sundays never count.
    """
    if not working:
        return begin + timedelta(days=days)
    day, left = begin, days
    while left > 0 or _rests(day, holidays):
        day += timedelta(days=1)
        if not _rests(day, holidays):
            left -= 1
    return day


def _rests(day: date, holidays: Collection[date]) -> bool:
    return day.weekday() >= 5 or day in holidays


class Times:
    """The response times at one authority's buildings, read once for many findings."""

    def __init__(self, jurisdiction_id: UUID | None) -> None:
        self.jurisdiction_id = jurisdiction_id

    @cached_property
    def _rows(self) -> list[ResponseTime]:
        scope = Q(jurisdiction=None)
        if self.jurisdiction_id is not None:
            scope |= Q(jurisdiction_id=self.jurisdiction_id)
        rows = ResponseTime.objects.filter(scope).select_related("jurisdiction")
        return list(rows.order_by("-valid_from", "-recorded_at", "-pk"))

    @cached_property
    def _holidays(self) -> set[date]:
        if self.jurisdiction_id is None:
            return set()
        rows = Holiday.objects.filter(jurisdiction_id=self.jurisdiction_id)
        return set(rows.values_list("on", flat=True))

    def in_force(self, grade: str, on: date) -> list[ResponseTime]:
        """Return the rules that hold for a class on a day: the authority's, the contractor's."""
        found = []
        for jurisdiction_id in (self.jurisdiction_id, None):
            row = next(
                (
                    one
                    for one in self._rows
                    if (one.jurisdiction_id, one.grade) == (jurisdiction_id, grade)
                    and one.valid_from <= on
                ),
                None,
            )
            if row is not None and row.days is not None and row not in found:
                found.append(row)
        return found

    def owed(self, grade: str, deficiency: str, begin: date) -> Owed | None:
        """Return by when a finding is answered; None for an observation.

        Parameters
        ----------
        begin
            The day it was found, or given its present class.
        """
        if grade not in ANSWERED:
            return None
        days = [(self._day(row, begin), row) for row in self.in_force(grade, begin)]
        if days:
            by, row = min(days, key=lambda pair: pair[0])
            return Owed(by, _rule_words(row), False)
        by_custom = subjects.customary_response(grade, deficiency, begin)
        if by_custom is None:
            return None
        words = _("customary response to a finding of class %(class)s; common practice, no source")
        return Owed(by_custom, words % {"class": Grade(grade).label}, True)

    def _day(self, row: ResponseTime, begin: date) -> date:
        assert row.days is not None
        working = row.counts == ResponseTime.Counts.WORKING
        return counted(begin, row.days, working=working, holidays=self._holidays)


def _rule_words(row: ResponseTime) -> str:
    whose = row.jurisdiction.name if row.jurisdiction else _("our own rule")
    parts = [in_days(row), whose, row.get_basis_display(), row.source]
    return ", ".join(part for part in parts if part)[:200]


def in_days(row: ResponseTime) -> str:
    """Return a rule's time in words."""
    days = row.days or 0
    if days == 0:
        return _("the same day")
    if row.counts == ResponseTime.Counts.WORKING:
        return ngettext("%(n)s working day", "%(n)s working days", days) % {"n": days}
    return ngettext("%(n)s day", "%(n)s days", days) % {"n": days}


# --- set by a person -------------------------------------------------------------------------


def checked_start(day: date, today: date) -> date:
    """Return the day a rule is in force from.

    Raises
    ------
    FieldRefused
        When it lies before 1990 or more than five years ahead.
    """
    if not EARLIEST <= day <= today + timedelta(days=366 * LATEST_YEARS):
        said = _("A day from 1990 on, at most five years ahead.")
        raise FieldRefused("valid_from", day, said)
    return day


def checked_source(basis: str, source: str) -> str:
    """Return where a rule stands; a law is named.

    Raises
    ------
    FieldRefused
        When a law or contract is given without saying where it stands.
    """
    if basis not in Basis.values:
        raise FieldRefused("basis", basis, ", ".join(Basis.values))
    if basis != Basis.PRACTICE and not source.strip():
        raise FieldRefused("source", source, _("Say where the law or contract states it."))
    return source.strip()[:200]


def set_time(
    *,
    grade: str,
    days: int | None,
    valid_from: date,
    by: Membership,
    jurisdiction: Jurisdiction | None = None,
    counts: str = ResponseTime.Counts.CALENDAR,
    basis: str = Basis.PRACTICE,
    source: str = "",
) -> ResponseTime:
    """Set how soon findings of a class are answered, from a day on.

    Parameters
    ----------
    days
        0 to 730; None takes the rule away, so that the customary time counts again.
    jurisdiction
        Whose buildings it holds for; None for all of the contractor's.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted.
    """
    if grade not in ANSWERED:
        raise FieldRefused("grade", grade, ", ".join(ANSWERED))
    if days is not None and not 0 <= days <= MOST_DAYS:
        raise FieldRefused("days", days, _("A whole number of days from 0 to 730, or empty."))
    if counts not in ResponseTime.Counts.values:
        raise FieldRefused("counts", counts, ", ".join(ResponseTime.Counts.values))
    row: ResponseTime = ResponseTime.objects.create(
        jurisdiction=jurisdiction,
        grade=grade,
        days=days,
        counts=counts,
        basis=basis,
        source=checked_source(basis, source),
        valid_from=checked_start(valid_from, timezone.localdate()),
        recorded_at=timezone.now(),
        recorded_by=by,
    )
    facts: dict[str, Any] = {"grade": grade, "days": days, "from": valid_from.isoformat()}
    if jurisdiction:
        facts["jurisdiction"] = jurisdiction.name
    audit.record("response_time.set", by=by, on=row, **facts)
    return row


def add_holiday(jurisdiction: Jurisdiction, on: date, name: str, *, by: Membership) -> Holiday:
    """Write down a day on which an authority does not work; known ones are renamed."""
    if not name.strip():
        raise FieldRefused("name", name, _("The holiday's name."))
    row, _made = Holiday.objects.update_or_create(
        jurisdiction=jurisdiction, on=on, defaults={"name": name.strip()[:80]}
    )
    audit.record("holiday.set", by=by, on=row, day=on.isoformat())
    found: Holiday = row
    return found
