"""The rules in force on a day: the catalogue's version, with what is laid over it for a building.

The only door by which rules of a contractor's own and amendments to an adopted edition are written.
What cannot be used is refused when it is saved; what was in force before stays in force.
"""

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings.models import Adoption, Building, Jurisdiction
from contractors import audit, outbox
from contractors.models import Membership
from contractors.refusal import FieldRefused
from contractors.scope import NoContractor, current_contractor_id
from inspections import overlays
from inspections.catalogue import Catalogue
from inspections.catalogue_files import ActivitiesById, catalogue, version_on, versions
from inspections.catalogue_rows import OWN, Activity, Change
from inspections.intervals import Span
from inspections.models import Rule
from inspections.own_work import OwnWork, among, repeat, text

Act = Rule.Act
OF_OUR_OWN = (Act.STRICTER, Act.OWN)
EVERY = "*"
OF_OWN_WORK = (
    *("task", "kind", "subjects", "applies", "readings", "criterion", "caution", "instruments"),
    *("minutes", "qualification"),
)
AMENDMENTS = (Act.OFF, Act.FREQUENCY, Act.CRITERION)
EARLIEST, MOST_DAYS_AHEAD = date(1990, 1, 1), 366 * 5


@dataclass(frozen=True)
class RuleBook:
    """The rules of the contractor in scope, read once for many buildings and days.

    Attributes
    ----------
    rows
        Its rules, in the order in which they came into force.
    adoptions
        By authority, what it adopted and when; only of authorities that amended something.
    known_at
        What was recorded later is left out; None for nothing left out.
    """

    rows: tuple[Rule, ...]
    adoptions: dict[UUID, list[Adoption]]
    known_at: datetime | None = None

    @classmethod
    def read(cls, known_at: datetime | None = None) -> "RuleBook":
        """Return the rules as they are known now, or were at a moment; one or two queries."""
        rows = Rule.objects.select_related("adoption__jurisdiction")
        if known_at is not None:
            rows = rows.filter(recorded_at__lte=known_at)
        found = tuple(rows.order_by("from_on", "recorded_at", "pk"))
        places = {row.adoption.jurisdiction_id for row in found if row.adoption}
        adoptions: dict[UUID, list[Adoption]] = defaultdict(list)
        if places:
            adopted = Adoption.objects.filter(jurisdiction__in=places)
            if known_at is not None:
                adopted = adopted.filter(recorded_at__lte=known_at)
            for one in adopted.order_by("valid_from"):
                adoptions[one.jurisdiction_id].append(one)
        return cls(found, dict(adoptions), known_at)

    def catalogue_on(
        self, day: date, *, building_id: UUID | None = None, jurisdiction_id: UUID | None = None
    ) -> Catalogue:
        """Return the rules in force on a day at a building.

        Parameters
        ----------
        building_id, jurisdiction_id
            The building and its authority; without them only what holds everywhere is laid over.
        """
        rows = self.in_force(day, building_id=building_id, jurisdiction_id=jurisdiction_id)
        return overlays.laid_over(version_on(day), tuple(change_of(row) for row in rows))

    def in_force(
        self, day: date, *, building_id: UUID | None = None, jurisdiction_id: UUID | None = None
    ) -> list[Rule]:
        """Return the rules that hold on a day at a building, in the order they came into force."""
        return [
            row
            for row in self.rows
            if self._holds_at(row, building_id, jurisdiction_id) and self.holds_on(row, day)
        ]

    def turns(
        self, until: date, *, building_id: UUID | None = None, jurisdiction_id: UUID | None = None
    ) -> list[date]:
        """Return the days up to one on which the rules at a building became other ones."""
        found = {one.in_force_from for one in versions()} - {date.min}
        for row in self.rows:
            if not self._holds_at(row, building_id, jurisdiction_id):
                continue
            found.add(row.from_on)
            last = self._last_day(row)
            if last is not None:
                found.add(last + timedelta(days=1))
            if row.adoption:
                adopted = self.adoptions.get(row.adoption.jurisdiction_id, ())
                found |= {one.valid_from for one in adopted}
        return sorted(day for day in found if day <= until)

    def holds_on(self, row: Rule, day: date) -> bool:
        """Say whether a rule is in force on a day; an amendment is while its edition is."""
        last = self._last_day(row)
        if day < row.from_on or (last is not None and day > last):
            return False
        if row.adoption is None:
            return True
        adopted = self.adoptions.get(row.adoption.jurisdiction_id, ())
        in_force = [one.pk for one in adopted if one.valid_from <= day]
        return bool(in_force) and in_force[-1] == row.adoption_id

    def _last_day(self, row: Rule) -> date | None:
        if row.ended_at and self.known_at and row.ended_at > self.known_at:
            return None
        return row.until_on

    @staticmethod
    def _holds_at(row: Rule, building_id: UUID | None, jurisdiction_id: UUID | None) -> bool:
        if row.adoption is not None:
            return bool(row.adoption.jurisdiction_id == jurisdiction_id)
        if row.building_id is not None:
            return bool(row.building_id == building_id)
        return row.jurisdiction_id in (None, jurisdiction_id)


def catalogue_on(
    day: date, building: Building | None = None, known_at: datetime | None = None
) -> Catalogue:
    """Return the rules in force on a day for the contractor in scope, at a building of its own."""
    book = RuleBook.read(known_at)
    if building is None:
        return book.catalogue_on(day)
    place = {"building_id": building.pk, "jurisdiction_id": building.jurisdiction_id}
    return book.catalogue_on(day, **place)


def change_of(row: Rule) -> Change:
    """Return a rule as it is laid over a version."""
    return Change(
        rule=str(row.pk),
        act=row.act,
        activity=row.activity,
        from_on=row.from_on,
        whose=row.adoption.jurisdiction.name if row.adoption else "",
        source=row.source,
        reason=row.reason,
        frequency=row.frequency,
        criterion=row.criterion,
        definition=json.dumps(row.definition, sort_keys=True) if row.definition else "",
    )


def own_activity(activity_id: str) -> Activity | None:
    """Return an activity of the contractor's own by its id, ended ones too; None without one."""
    try:
        return _own_activity(current_contractor_id(), activity_id)
    except (NoContractor, Rule.DoesNotExist):
        return None


def own_activities() -> list[Activity]:
    """Return every activity of the contractor's own, ended ones too."""
    rows = Rule.objects.filter(act=Act.OWN).order_by("activity")
    return [overlays.own_activity(catalogue(), change_of(row)) for row in rows]


# What a rule says never changes, so an activity once made stays right.
@lru_cache(maxsize=2048)
def _own_activity(_contractor_id: UUID, activity_id: str) -> Activity:
    row = Rule.objects.get(act=Act.OWN, activity=activity_id)
    return overlays.own_activity(catalogue(), change_of(row))


ActivitiesById.find_own = staticmethod(own_activity)


# --- written ---------------------------------------------------------------------------------


@transaction.atomic
def tighten(
    *,
    activity: str,
    source: str,
    from_on: date,
    by: Membership,
    frequency: str = "",
    criterion: str = "",
    reason: str = "",
    jurisdiction: Jurisdiction | None = None,
    building: Building | None = None,
) -> Rule:
    """Have an activity of the catalogue done more often than it asks, or judged more strictly.

    Parameters
    ----------
    criterion
        Condition on its readings that must hold besides the one that is there.
    jurisdiction, building
        Where it holds; one of them, or neither for the whole contractor.

    Raises
    ------
    FieldRefused
        When a field is not accepted; a rule of one's own can only shorten an interval or ask more.
    """
    found = _activity(activity)
    if not frequency and not criterion:
        raise FieldRefused("frequency", "", _("An interval, a criterion, or both."))
    if frequency:
        _check_shorter(found, frequency)
    if criterion:
        _check_criterion(found, criterion)
    return _write(
        act=Act.STRICTER,
        activity=activity,
        frequency=frequency,
        criterion=criterion,
        source=_source(source),
        reason=reason.strip(),
        by=by,
        from_on=_start(from_on),
        **_place(jurisdiction, building),
    )


def _check_shorter(found: Activity, frequency: str) -> None:
    span = repeat(frequency)
    if found.frequency is None:
        said = _("An event calls for it, not the calendar; make an activity of your own instead.")
        raise FieldRefused("activity", found.id, said)
    if not overlays.is_shorter(span, found.frequency):
        said = _("Shorter than %(now)s: your own rules may only ask for more.")
        raise FieldRefused("frequency", frequency, said % {"now": found.frequency})


def _check_criterion(found: Activity, criterion: str) -> None:
    try:
        overlays.criterion_of(catalogue(), found, criterion)
    except ValueError as error:
        raise FieldRefused("criterion", criterion, str(error)) from None


@transaction.atomic
def add_own(
    work: OwnWork,
    *,
    source: str,
    from_on: date,
    by: Membership,
    reason: str = "",
    jurisdiction: Jurisdiction | None = None,
    building: Building | None = None,
) -> Rule:
    """Add an activity of the contractor's own.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted and what is.
    """
    return _write(
        act=Act.OWN,
        **work.checked(),
        source=_source(source),
        reason=reason.strip(),
        by=by,
        from_on=_start(from_on),
        **_place(jurisdiction, building),
    )


@transaction.atomic
def take_in(
    *,
    source: str,
    from_on: date,
    by: Membership,
    reason: str = "",
    adoption: Adoption | None = None,
    jurisdiction: Jurisdiction | None = None,
    building: Building | None = None,
) -> Rule:
    """Let work of a longer interval take in the shorter work of its family on the same item.

    Parameters
    ----------
    adoption
        Of the edition that a law says this of, up to yearly work; an agreement has none, and may
        say where it holds.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted and what is.
    """
    if adoption is not None and (jurisdiction or building):
        said = _("Nothing: a law holds wherever its authority's edition does.")
        raise FieldRefused("building" if building else "jurisdiction", "given", said)
    return _write(
        act=Act.TAKES_IN,
        activity=EVERY,
        adoption=adoption,
        source=_source(source),
        reason=reason.strip(),
        by=by,
        from_on=_start(from_on),
        **_place(jurisdiction, building),
    )


@transaction.atomic
def amend(
    adoption: Adoption,
    *,
    act: str,
    activity: str,
    source: str,
    from_on: date,
    by: Membership,
    frequency: str = "",
    criterion: str = "",
    reason: str = "",
) -> Rule:
    """Write down how an authority amended the edition that it adopted; being law, it may loosen.

    Parameters
    ----------
    act
        ``off``: it does without the activity; ``frequency`` or ``criterion``: another one.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted and what is.
    """
    found = _activity(activity)
    among("act", act, [one.value for one in AMENDMENTS])
    if act == Act.FREQUENCY:
        repeat(frequency)
        if found.frequency is None:
            raise FieldRefused("activity", activity, _("An event calls for it, not the calendar."))
    elif frequency:
        raise FieldRefused("frequency", frequency, _("Empty: this amendment sets none."))
    if act == Act.CRITERION:
        _check_criterion(found, criterion)
    elif criterion:
        raise FieldRefused("criterion", criterion, _("Empty: this amendment sets none."))
    if from_on < adoption.valid_from:
        said = _("From %(day)s on, when the edition was adopted.") % {"day": adoption.valid_from}
        raise FieldRefused("from_on", from_on, said)
    return _write(
        act=act,
        activity=activity,
        adoption=adoption,
        frequency=frequency,
        criterion=criterion,
        source=_source(source),
        reason=reason.strip(),
        by=by,
        from_on=_start(from_on),
    )


def set_rule(given: Mapping[str, Any], *, by: Membership) -> Rule:
    """Set a rule of any kind from the fields of a form.

    Parameters
    ----------
    given
        act, activity, source, from_on, and what the act needs of reason, frequency, criterion,
        adoption, jurisdiction, building and the columns of `OwnWork`.

    Raises
    ------
    FieldRefused
        Naming the field that is not accepted and what is.
    """
    act = among("act", str(given["act"]), Act.values)
    told: dict[str, Any] = {name: given[name] for name in ("source", "from_on")}
    told |= {"by": by, "reason": given.get("reason") or ""}
    frequency, criterion = given.get("frequency") or "", given.get("criterion") or ""
    if act in AMENDMENTS:
        adoption = given.get("adoption")
        if adoption is None:
            said = _("The adopted edition that the authority amended.")
            raise FieldRefused("adoption", "", said)
        told |= {"frequency": frequency, "criterion": criterion}
        return amend(adoption, act=act, activity=given["activity"], **told)
    told |= {name: given.get(name) for name in ("jurisdiction", "building")}
    if act == Act.STRICTER:
        told |= {"frequency": frequency, "criterion": criterion}
        return tighten(activity=given["activity"], **told)
    if act == Act.TAKES_IN:
        return take_in(adoption=given.get("adoption"), **told)
    work = {name: given[name] for name in OF_OWN_WORK if given.get(name) is not None}
    return add_own(OwnWork(code=given["activity"], frequency=frequency, **work), **told)


@transaction.atomic
def end(row: Rule, *, until_on: date, why: str, by: Membership) -> Rule:
    """End a rule after a last day in force; days up to it keep it.

    Raises
    ------
    FieldRefused
        When it has ended already, or the day lies before its first.
    """
    held: Rule = Rule.objects.select_for_update().get(pk=row.pk)
    if held.until_on is not None:
        raise FieldRefused("until_on", until_on, _("It has been ended already."))
    if until_on < held.from_on or until_on > timezone.localdate() + timedelta(MOST_DAYS_AHEAD):
        said = _("From %(day)s on, at most five years ahead.") % {"day": held.from_on}
        raise FieldRefused("until_on", until_on, said)
    held.until_on, held.ended_at, held.ended_by = until_on, timezone.now(), by
    held.ended_why = text("why", why, 300)
    held.save()
    audit.record("rule.ended", by=by, on=held, until=until_on.isoformat())
    _tell(held)
    return held


def frequency_words(written: str) -> str:
    """Return a frequency in words; as written where it is none."""
    try:
        return str(Span.parse(written))
    except ValueError:
        return written


def _write(*, by: Membership, **columns: Any) -> Rule:
    row: Rule = Rule.objects.create(recorded_at=timezone.now(), recorded_by=by, **columns)
    audit.record("rule.set", by=by, on=row, act=row.act, activity=row.activity)
    _tell(row)
    return row


def _tell(row: Rule) -> None:
    """Have the programme derived again where the rule holds, in the background."""
    place = row.adoption.jurisdiction_id if row.adoption else row.jurisdiction_id
    ids: dict[str, Any] = {"building": row.building_id} if row.building_id else {}
    if place:
        ids["jurisdiction"] = place
    outbox.add("rules.changed", f"{row.pk}:{row.until_on or ''}", rule=row.pk, **ids)


def buildings_under(
    ids: dict[str, Any], first: UUID | None = None, last: UUID | None = None
) -> list[UUID]:
    """Return the buildings at which a changed rule holds, as its message names them, by id.

    Parameters
    ----------
    first, last
        Ids between which they are to lie, both included; None for no bound.
    """
    where = Q()
    if first is not None:
        where &= Q(pk__gte=first)
    if last is not None:
        where &= Q(pk__lte=last)
    if "building" in ids:
        where &= Q(pk=ids["building"])
    elif "jurisdiction" in ids:
        where &= Q(jurisdiction=ids["jurisdiction"])
    return list(Building.objects.filter(where).order_by("pk").values_list("pk", flat=True))


def _activity(activity_id: str) -> Activity:
    found = catalogue().activities.get(activity_id)
    if found is None or activity_id.startswith(OWN):
        raise FieldRefused("activity", activity_id, _("The id of an activity of the catalogue."))
    return found


def _source(written: str) -> str:
    return text("source", written, 300)


def _start(day: date) -> date:
    if not EARLIEST <= day <= timezone.localdate() + timedelta(MOST_DAYS_AHEAD):
        raise FieldRefused("from_on", day, _("A day from 1990 on, at most five years ahead."))
    return day


def _place(jurisdiction: Jurisdiction | None, building: Building | None) -> dict[str, Any]:
    if jurisdiction is not None and building is not None:
        said = _("An authority or a building, not both.")
        raise FieldRefused("building", building.name, said)
    return {"jurisdiction": jurisdiction, "building": building}
