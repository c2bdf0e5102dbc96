"""The programme of a building on any day: what is owed, when, how it stands, and why.

A programme is a plain value, the same whether asked for today or for a day in the past as it was
known then. `why_not` answers for what is not in it.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from buildings import inventory as stock
from buildings.models import Building
from contractors.refusal import FieldRefused
from inspections import fact_words, projections
from inspections.applies import How, Owed
from inspections.conditions.facts import Fact
from inspections.models import Result
from scheduling import owing
from scheduling.applicable import Applied, applied, judge_on
from scheduling.evidence import DONE
from scheduling.programme_lines import (
    LATER,
    Decided,
    Done,
    Line,
    Performed,
    Programme,
    Regime,
    Subject,
    Why,
    WhyNot,
)
from scheduling.recurrence import Window
from scheduling.terms import terms_of
from scheduling.windows import following

__all__ = [
    "LATER",
    "Decided",
    "Done",
    "Line",
    "Performed",
    "Programme",
    "Regime",
    "Subject",
    "Why",
    "WhyNot",
    "programme",
    "why_not",
    "why_nots",
]

LONGEST = timedelta(days=366 * 6)
_COUNTED = (*DONE, Result.Answer.FINDING)


def programme(
    building: Building,
    on: date | None = None,
    known_at: datetime | None = None,
    first: date | None = None,
    last: date | None = None,
) -> Programme:
    """Return the programme of a building.

    Parameters
    ----------
    on
        The day on which it is looked at, past or to come; today, where it is left out.
    known_at
        What was recorded later is left out; None takes all.
    first, last
        Foreseen occurrences are those due between these days; the year from `on`, where left out.

    Raises
    ------
    FieldRefused
        When `last` lies before `first`, or more than six years after it.
    """
    on = on or building.today
    first = first or on
    last = last or first + timedelta(days=365)
    if not first <= last <= first + LONGEST:
        accepted = f"A day from {first} to {first + LONGEST}."
        raise FieldRefused("until", last, accepted)
    seen = _Seen(building, on, known_at)
    lines = [line for one in seen.timed for line in seen.lines(one, first, last)]
    lines.sort(key=lambda line: (line.due, line.latest, line.subject.name, line.activity))
    return Programme(
        building=building.pk,
        name=building.name,
        on=on,
        known_at=known_at,
        first=first,
        last=last,
        edition=seen.inventory.edition,
        catalogue=seen.judge.catalogue.version,
        with_us=seen.with_us,
        suspended=seen.suspended,
        provisional=seen.inventory.edition is None,
        lines=tuple(lines) if seen.with_us else (),
        performed=tuple(seen.performed(first, min(last, on))),
    )


def why_not(
    building: Building,
    item: UUID,
    activity: str,
    on: date | None = None,
    known_at: datetime | None = None,
) -> WhyNot:
    """Return why an activity is not on an item's programme, or why it is.

    Parameters
    ----------
    item
        A system, riser or device of the building, or the building itself.

    Raises
    ------
    FieldRefused
        When the catalogue has no such activity.
    """
    seen = _Seen(building, on or building.today, known_at)
    if activity not in seen.judge.catalogue.activities:
        raise FieldRefused("activity", activity, "The id of an activity of the catalogue.")
    return _asked(seen, item, activity)


def why_nots(
    building: Building, item: UUID, on: date | None = None, known_at: datetime | None = None
) -> tuple[WhyNot, ...]:
    """Return, for one item, why each activity of the catalogue is on its programme or not."""
    seen = _Seen(building, on or building.today, known_at)
    return tuple(_asked(seen, item, activity) for activity in seen.judge.catalogue.activities)


def _asked(seen: "_Seen", item: UUID, activity: str) -> WhyNot:
    row = seen.judge.catalogue.activity(activity)
    about: dict[str, Any] = {
        "building": seen.building.pk,
        "item": item,
        "activity": activity,
        "on": seen.on,
        "source": row.source,
        "confidence": row.confidence,
        "edition": seen.inventory.edition,
    }
    found = seen.ruled.get((item, activity))
    if found is None:
        how, sentence = seen.absent(item, row.subjects)
        return WhyNot(owed=False, how=how, words=(sentence,), **about)
    owed = found.owed
    about |= {"decided": decided(owed), "asks": owed.ruling.asks, "within": owed.within}
    if owed.how is not How.CALENDAR:
        return WhyNot(owed=False, how=owed.how.value, words=_in_words(owed), **about)
    if seen.apart:
        return WhyNot(owed=False, how="not_with_us", words=(seen.apart, owed.reason), **about)
    one = next(one for one in seen.timed if one.key == (item, activity))
    lines = tuple(seen.lines(one, seen.on, seen.on + timedelta(days=365)))
    words = lines[0].why.words
    how = "suspended" if one.rests else owed.how.value
    return WhyNot(owed=not one.rests, how=how, words=words, lines=lines, **about)


def decided(owed: Owed) -> tuple[Decided, ...]:
    """Return the attributes that an activity's ruling rests on."""
    return tuple(_decided(fact, owed.ruling.kind) for fact in owed.ruling.facts)


def _decided(fact: Fact, kind: str) -> Decided:
    return Decided(
        name=fact.name,
        label=fact_words.label(fact.name, kind),
        said=fact_words.value(fact),
        value=fact.value,
        origin=fact.origin.value,
    )


def _in_words(owed: Owed) -> tuple[str, ...]:
    if owed.how is How.EVENT:
        note = owed.activity.frequency_note
        waits = f"Waits for its event: {note}." if note else "Waits for its event, never for a day."
        return (waits, owed.reason)
    return (owed.reason,)


class _Seen:
    """A building on a day, loaded once."""

    def __init__(self, building: Building, on: date, known_at: datetime | None) -> None:
        self.building, self.on, self.known_at = building, on, known_at
        self.inventory = stock.inventory(building, on, known_at)
        if known_at is None and on == building.today:
            self.inventory = stock.tree(building)
        self.judge = judge_on(self.inventory, known_at)
        self.ruled: Mapping[tuple[UUID, str], Applied] = {
            (one.subject_id, one.owed.activity.id): one
            for one in (applied(self.inventory, self.judge) if self.inventory.known else ())
        }
        self.terms = terms_of(building, on, known_at)
        self.timed = owing.timed(
            building, self.inventory, self.judge, known_at, resting=True, terms=self.terms
        )
        self.results = _results(building, on, known_at)
        self.apart = self._apart()
        self.with_us = not self.apart
        self.suspended = self._suspended()

    def _apart(self) -> str:
        if self.on < self.building.taken_over_on:
            return f"Looked after since {self.building.taken_over_on} only."
        engaged = list(self.building.engagements.all())
        if not engaged or any(one.holds_on(self.on, self.known_at) for one in engaged):
            return ""
        last = (one.last_known(self.known_at) for one in engaged)
        ended = [day for day in last if day is not None and day < self.on]
        return f"The engagement ended on {max(ended)}." if ended else "Not engaged on this day."

    def _suspended(self) -> str:
        resting = owing.pauses_at(self.inventory, self.terms, self.building.pk)
        return next((str(pause) for pause in resting if pause.holds(self.on)), "")

    def absent(self, item: UUID, kinds: Iterable[str]) -> tuple[str, str]:
        """Return why no rule was even asked about an item."""
        there = self.inventory.by_id.get(item)
        if there is None and item != self.building.pk:
            return "not_there", f"The item did not stand in this building on {self.on}."
        if there is not None and not there.in_service:
            span = f"from {there.in_service_from or 'the beginning'}"
            until = f" to {there.in_service_to}" if there.in_service_to else ""
            return "not_there", f"In service {span}{until} only."
        kind = there.kind if there else "building"
        return "unknown_here", f"Is done on {', '.join(kinds)}, never on {kind}."

    def lines(self, one: owing.Timed, first: date, last: date) -> list[Line]:
        """Return the open occurrence of an activity on an item, and those foreseen after it."""
        windows = following(one.bounds, one.evidence.days, self.on, last)
        if one.rests and not any(pause.back_on for pause in one.bounds.pauses):
            windows = windows[:1]
        return [
            self._line(one, window, is_open=place == 0)
            for place, window in enumerate(windows)
            if place == 0 or first <= window.due <= last
        ]

    def _line(self, one: owing.Timed, window: Window, *, is_open: bool) -> Line:
        activity = one.activity
        status = self._status(one, window) if is_open else LATER
        why = self._why(one, window, is_open=is_open)
        return Line(
            key=f"{one.applied.subject_id}:{activity.id}:{window.due}",
            subject=self.subject(one.applied.subject_id),
            activity=activity.id,
            task=activity.task,
            kind=activity.kind,
            frequency=owing.iso(activity),
            earliest=window.earliest,
            due=window.due,
            latest=window.latest,
            status=status,
            by_owner=one.by_owner,
            owner_gap=one.by_owner and status == "overdue",
            plannable=not (why.impaired or why.suspended),
            minutes=activity.minutes_per_item,
            qualification=activity.qualification,
            season=activity.season,
            why=why,
        )

    def _status(self, one: owing.Timed, window: Window) -> str:
        if one.rests:
            return "suspended"
        if not one.known_on(self.on):
            return "not_known_yet"
        if self.on <= window.due:
            return "in_order"
        return "due_by" if self.on <= window.latest else "overdue"

    def _why(self, one: owing.Timed, window: Window, *, is_open: bool) -> Why:
        activity, bounds = one.activity, one.bounds
        words = [window.reason, one.applied.owed.reason]
        if one.evidence.last_absorbed and is_open:
            words.insert(1, one.evidence.last_absorbed.reason)
        if window.clash:
            words.insert(0, f"The regimes leave no day in common: {window.clash}.")
        if not is_open:
            words.insert(0, "Foreseen, if the one before is done on its day.")
        impaired, rests = (one.impaired, one.rests) if is_open else ("", "")
        if impaired:
            words.insert(0, f"Out of service: {impaired}. Stays due; restore first.")
        if rests:
            words.insert(0, rests)
        return Why(
            words=tuple(words),
            edition=self.inventory.edition,
            source=activity.source,
            confidence=activity.confidence,
            catalogue=self.judge.catalogue.version,
            regimes=tuple(
                Regime(
                    name=bound.name,
                    edition=bound.rule.edition,
                    word=bound.rule.word,
                    activity=bound.activity,
                    source=bound.rule.source,
                    confidence=bound.rule.confidence,
                    provisional=bound.rule.provisional,
                )
                for bound in bounds.rules
            ),
            decided=decided(one.applied.owed),
            last=self._last(one),
            clash=window.clash,
            season=bounds.season.name if bounds.season else "",
            impaired=impaired,
            suspended=rests,
        )

    def _last(self, one: owing.Timed) -> Done | None:
        if not one.evidence.days:
            return None
        day = one.evidence.days[-1]
        subject, activity = one.key
        if absorbed := one.evidence.last_absorbed:
            subject, activity = UUID(absorbed.by_item), absorbed.by
        here = [row for row in self.results[day] if row.answer in _COUNTED]
        row = next((r for r in here if (r.subject_id, r.activity) == (subject, activity)), None)
        return Done(
            on=day,
            grade=one.evidence.grade,
            activity=row.activity if row else activity,
            result=row.pk if row else None,
            visit=row.visit_id if row else None,
        )

    def performed(self, first: date, last: date) -> list[Performed]:
        """Return what the record holds between two days, oldest first."""
        activities = self.judge.catalogue.activities
        return [
            Performed(
                subject=self.subject(row.subject_id),
                activity=row.activity,
                task=activities[row.activity].task if row.activity in activities else "",
                on=day,
                answer=row.answer,
                grade=row.visit.evidence,
                result=row.pk,
                visit=row.visit_id,
            )
            for day in sorted(self.results)
            if first <= day <= last
            for row in self.results[day]
        ]

    def subject(self, subject_id: UUID) -> Subject:
        """Return what stands under an id, as it was on that day."""
        item = self.inventory.by_id.get(subject_id)
        if item is None:
            building = subject_id == self.building.pk
            name = self.building.name if building else ""
            kind = "building" if building else ""
            return Subject(id=subject_id, subject_kind=kind, kind=kind, name=name, system=None)
        return Subject(
            id=item.id,
            subject_kind=item.subject_kind,
            kind=item.kind,
            name=item.name,
            system=item.system_id,
        )


def _results(
    building: Building, on: date, known_at: datetime | None
) -> defaultdict[date, list[Result]]:
    if known_at is not None:
        rows: Iterable[Result] = projections.results_known(building.pk, on, known_at)
    else:
        stored = Result.objects.filter(building=building, performed_on__lte=on)
        rows = stored.select_related("visit").order_by("performed_on", "recorded_at", "pk")
    found: defaultdict[date, list[Result]] = defaultdict(list)
    for row in rows:
        found[row.performed_on].append(row)
    return found
