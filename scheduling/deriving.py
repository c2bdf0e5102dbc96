"""What the programmes of many buildings rest on, read and kept in a constant number of queries.

One building is a chunk of one. What was stored before is compared row by row, so that only what
changed is written and deriving again writes nothing.
"""

import json
from collections import defaultdict
from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from django.db.models import TextField
from django.db.models.functions import Cast

from buildings.inventory import Inventory
from buildings.models import Building, Draw
from contractors import bulk
from inspections import projections
from inspections.models import Event, Finding, Outage, Result, Sample, Visit
from scheduling import legal, terms
from scheduling.models import FollowUp, Occurrence, Question

if TYPE_CHECKING:
    from scheduling.owing import Timed

CHUNK = 200


class Answer(NamedTuple):
    """An undisputed result.

    Attributes
    ----------
    read
        Names of the readings recorded with it, as JSON text: few results are ever asked for them.
    also
        What else was done and written down, as JSON text: ``what``, and the items it was done
        ``on``.
    """

    subject_id: UUID
    activity: str
    answer: str
    on: date
    grade: str
    read: str = "[]"
    also: str = "[]"


@dataclass(slots=True)
class Told:
    """What the record says was done at a building, as it is stored.

    Attributes
    ----------
    take_over
        Entries of the taking over, in their order, as JSON text.
    answers
        Every undisputed result, by day.
    samples
        What was sent to laboratories.
    """

    take_over: list[str] = field(default_factory=list)
    answers: list[Answer] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)


@dataclass(slots=True)
class Place:
    """A building while it is derived: what that rests on, and what it comes to.

    Attributes
    ----------
    today
        The local day.
    programme
        What was scheduled there under each set of rules since it was taken over.
    owed
        The open occurrences.
    findings
        All that are neither proposed nor dropped.
    stood
        How it has stood from take-over to now.
    """

    building: Building
    today: date
    inventory: Inventory
    terms: terms.Terms
    programme: list["Timed"] = field(default_factory=list)
    owed: list["Open"] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    stood: list["Stood"] = field(default_factory=list)


# Tables in which most buildings have nothing.
SELDOM = (*terms.SELDOM, Sample, Outage, Draw, Finding, FollowUp)


def told_at(
    buildings: Sequence[Building],
    known_at: datetime | None = None,
    filled: Container[Any] = SELDOM,
) -> defaultdict[UUID, Told]:
    """Return what the record says of many buildings, in three queries.

    Parameters
    ----------
    known_at
        As it was told by that moment: results and samples are then folded again.
    filled
        Which of the tables `SELDOM` hold anything of these buildings; the others are not asked.
    """
    found: defaultdict[UUID, Told] = defaultdict(Told)
    ids = [one.pk for one in buildings]
    taken = Event.objects.filter(
        stream="building", stream_id__among=ids, kind="building.take_over"
    ).order_by("position")
    if known_at is not None:
        taken = taken.filter(received_at__lte=known_at)
    for stream_id, body in taken.values_list("stream_id", "body"):
        found[stream_id].take_over.append(body)
    for building_id, answer in _answers(ids, known_at):
        found[building_id].answers.append(answer)
    samples: Iterable[Sample] = ()
    if known_at is None and Sample in filled:
        samples = Sample.objects.filter(building__among=ids)
    elif known_at is not None:
        samples = projections.samples_known(ids, known_at)
    for sample in samples:
        found[sample.building_id].samples.append(sample)
    return found


def _answers(ids: Sequence[UUID], known_at: datetime | None) -> Iterator[tuple[UUID, Answer]]:
    if known_at is None:
        rows = Result.objects.filter(building__among=ids, disputed=False).order_by("performed_on")
        columns = ("subject_id", "activity", "answer", "performed_on", "visit__evidence")
        rows = rows.annotate(told=Cast("read", TextField()), said=Cast("also", TextField()))
        for building_id, *row in rows.values_list("building_id", *columns, "told", "said"):
            yield building_id, Answer(*row)
        return
    for building_id in ids:
        for one in projections.results_known(building_id, date.max, known_at):
            if not one.disputed:
                yield (
                    building_id,
                    Answer(
                        subject_id=one.subject_id,
                        activity=one.activity,
                        answer=one.answer,
                        on=one.performed_on,
                        grade=one.visit.evidence,
                        read=json.dumps(one.read),
                        also=json.dumps(one.also),
                    ),
                )


def followed(places: Sequence[Place], filled: Container[Any]) -> list[Place]:
    """Return the places at which anything may call for a follow-up, or did."""
    ids = [one.building.pk for one in places]
    models: tuple[Any, ...] = (Finding, FollowUp)
    told = [model.objects.filter(building__among=ids) for model in models if model in filled]
    told.append(Event.objects.filter(building__among=ids, kind="visit.cancel"))
    first, *more = (rows.order_by().values_list("building_id", flat=True) for rows in told)
    found = set(first.union(*more) if more else first)
    on = max((one.today for one in places), default=date.min)
    strict = {
        place: bool(legal.rules_at(place, on))
        for place in {one.building.jurisdiction for one in places if one.building.jurisdiction_id}
    }
    return [
        one
        for one in places
        if one.building.pk in found
        or one.terms.impairments
        or strict.get(one.building.jurisdiction)
    ]


def read_findings(places: Sequence[Place]) -> None:
    """Let the places know their findings, but for proposed and dropped ones."""
    by_id = {one.building.pk: one for one in places}
    rows = Finding.objects.filter(building__among=list(by_id))
    for row in rows.exclude(state__in=(Finding.State.PROPOSED, Finding.State.DROPPED)):
        by_id[row.building_id].findings.append(row)


# --- kept ------------------------------------------------------------------------------------


class Open(NamedTuple):
    """An open occurrence as it is stored: what identifies it, what is compared, the day."""

    building_id: UUID
    subject_id: UUID
    activity: str
    system_id: UUID | None
    subject_kind: str
    frequency: str
    qualification: str
    by_owner: bool
    earliest_on: date | None
    due_on: date
    latest_on: date
    last_done_on: date | None
    last_evidence: str
    known: bool
    minutes: float
    adds: float
    reason: Mapping[str, Any]
    catalogue_version: str
    derived_on: date

    @property
    def compared(self) -> tuple[Any, ...]:
        """Return the columns whose change is written."""
        return self[3:-1]


def keep_occurrences(
    buildings: Sequence[Building], wanted: Iterable[Open]
) -> dict[tuple[UUID, str], UUID]:
    """Make the open occurrences of buildings the wanted ones.

    Returns
    -------
    dict
        The planned or open visits that do some of them, by item and activity.
    """
    there: dict[tuple[UUID, str], tuple[UUID, tuple[Any, ...]]] = {}
    taken: dict[tuple[UUID, str], UUID] = {}
    rows = Occurrence.objects.filter(building__among=buildings).order_by()
    told = rows.values_list("pk", "visit_id", "visit__state", *Open._fields[1:-1])
    for pk, visit_id, state, subject_id, activity, *values in told:
        there[subject_id, activity] = pk, tuple(values)
        if state in Visit.UNDER_WAY:
            taken[subject_id, activity] = visit_id
    fresh: list[Open] = []
    changed: list[tuple[UUID, Open]] = []
    columns: set[str] = set()
    for one in wanted:
        pk, values = there.pop((one.subject_id, one.activity), (None, ()))
        if pk is None:
            fresh.append(one)
        elif values != one.compared:
            changed.append((pk, one))
            both = zip(Open._fields[3:-1], values, one.compared, strict=True)
            columns |= {name for name, before, now in both if before != now}
    _drop(Occurrence, [pk for pk, _values in there.values()])
    bulk.add(Occurrence, Open._fields, fresh)
    names = (*sorted(columns), "derived_on")
    bulk.change(
        Occurrence, names, [(pk, *(getattr(one, name) for name in names)) for pk, one in changed]
    )
    return taken


@dataclass(slots=True)
class Stood:
    """A stretch of time for which a building stood in one way, as it is stored."""

    from_at: datetime
    to_at: datetime | None
    word: str
    due_by: date | None
    reasons: list[dict[str, Any]]
    scope: dict[str, Any]

    @property
    def compared(self) -> tuple[Any, ...]:
        """Return what makes it another one when it changes."""
        return self.to_at, self.word, self.due_by, self.reasons, self.scope


class Asked(NamedTuple):
    """A question as it is stored."""

    building_id: UUID
    subject_id: UUID
    attribute: str
    subject_kind: str
    asked_as: str
    decides: list[str]


def keep_questions(buildings: Sequence[Building], wanted: Iterable[Asked]) -> None:
    """Make the questions asked at buildings the wanted ones; one that stays is left alone."""
    rows = Question.objects.filter(building__among=buildings)
    there = {
        (subject_id, attribute): pk
        for pk, subject_id, attribute in rows.values_list("pk", "subject_id", "attribute")
    }
    fresh = [one for one in wanted if there.pop((one.subject_id, one.attribute), None) is None]
    _drop(Question, list(there.values()))
    bulk.add(Question, Asked._fields, fresh)


def _drop(model: Any, ids: Collection[UUID]) -> None:
    if ids:
        model.objects.filter(pk__among=ids).delete()
