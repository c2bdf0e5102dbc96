"""How does a building stand on a day, and why: intervals derived from the record.

The worst word holds. A day's standing is the worst of that local day.
"""

from collections import defaultdict
from collections.abc import (
    Callable,
    Collection,
    Container,
    Hashable,
    Iterable,
    Iterator,
    Sequence,
)
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache, partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from buildings.models import Building
from contractors import bulk
from inspections.models import Finding, Outage
from scheduling.deriving import Place, Stood
from scheduling.models import Standing, StandingInterval
from scheduling.recurrence import Window
from scheduling.windows import Bounds, Pause, runs

if TYPE_CHECKING:
    from scheduling.owing import Timed

WORST_FIRST = (
    Standing.IMPAIRED,
    Standing.OVERDUE,
    Standing.FINDING_OPEN,
    Standing.NOT_KNOWN,
    Standing.DUE_BY,
    Standing.IN_ORDER,
)
_RANKS = {word.value: rank for rank, word in enumerate(WORST_FIRST)}
MOST_REASONS = 8
_DAY = timedelta(days=1)
GRADE_ORDER = ("critical", "noncritical", "proof")


class Reason:
    """Why a word holds; put in words only where it is shown, which few of hundreds are.

    Attributes
    ----------
    gravity
        What goes first.
    alike
        Equal for reasons that differ by their items only, which are told as one.
    count
        For how many items it speaks.
    """

    def __init__(
        self,
        gravity: tuple[int, str],
        tell: Callable[[int], dict[str, Any]],
        alike: Hashable = None,
        count: int = 1,
    ) -> None:
        self.gravity, self.count = gravity, count
        self.alike = self if alike is None else alike
        self._tell = tell
        self._told: dict[int, dict[str, Any]] = {}

    def told(self, count: int) -> dict[str, Any]:
        """Return the reason as it is stored, speaking for so many items; the same object again."""
        found = self._told.get(count)
        if found is None:
            found = self._told[count] = self._tell(count)
        return found


class Span(NamedTuple):
    """A stretch of time that speaks for a word, and why."""

    word: Standing
    begun: datetime
    ended: datetime | None
    reason: Reason
    due_by: date | None = None


@dataclass(frozen=True, slots=True)
class Phase:
    """Days on which a window speaks for a word: from one day on, up to the day before another."""

    word: Standing
    begun: date
    ended: date | None
    window: Window
    due_by: date | None = None


@dataclass(frozen=True, slots=True)
class DayStanding:
    """How a building stood on a day: the word, what is due by when, and the reasons."""

    word: Standing
    due_by: date | None
    reasons: list[dict[str, Any]]
    scope: dict[str, Any]
    since: datetime | None


@dataclass(frozen=True, slots=True)
class Stretch:
    """Time during which one word held without a break, whatever its reasons were.

    Attributes
    ----------
    due_by
        As it was said last.
    """

    word: Standing
    begun: datetime
    ended: datetime | None
    due_by: date | None


def stretches(
    told: Iterable[tuple[str, datetime, datetime | None, date | None]],
) -> list[Stretch]:
    """Return how long each word held, oldest first: neighbours of one word are one stretch.

    Parameters
    ----------
    told
        Word, first moment, first moment no longer and `due_by` of intervals, oldest first.
    """
    found: list[Stretch] = []
    for word, begun, ended, due_by in told:
        one = Stretch(Standing(word), begun, ended, due_by)
        if found and found[-1].word == one.word and found[-1].ended == begun:
            one = replace(one, begun=found.pop().begun)
        found.append(one)
    return found


def standing(building: Building, on: date, known_at: datetime | None = None) -> DayStanding:
    """Return the standing of a building on a local day, as known now or at an earlier moment."""
    begins, ends = _day(on, building)
    known = Q(known_to=None) if known_at is None else _known(known_at)
    rows = list(
        StandingInterval.objects.filter(known, building=building, from_at__lt=ends).filter(
            Q(to_at=None) | Q(to_at__gt=begins)
        )
    )
    return worst(rows)


def today_at(place: Place) -> DayStanding:
    """Return the standing of a building on the day on which it is derived."""
    begins, ends = _day(place.today, place.building)
    return worst(
        [
            row
            for row in place.stood
            if row.from_at < ends and (row.to_at is None or row.to_at > begins)
        ]
    )


def worst(rows: Sequence[Any]) -> DayStanding:
    """Return the worst of some intervals; without any, nobody looked after the building.

    Of several with that word the last speaks: its reasons are the newest.
    """
    if not rows:
        return DayStanding(Standing.NOT_WITH_US, None, [], {}, None)
    newest_first = sorted(rows, key=lambda r: r.from_at, reverse=True)
    row = min(newest_first, key=lambda r: _rank(r.word))
    return DayStanding(Standing(row.word), row.due_by, row.reasons, row.scope, row.from_at)


def _rank(word: str) -> int:
    return _RANKS.get(word, len(_RANKS))


def _known(at: datetime) -> Q:
    return Q(known_from__lte=at) & (Q(known_to=None) | Q(known_to__gt=at))


def _day(on: date, building: Building) -> tuple[datetime, datetime]:
    return _midnight(on, building), _midnight(on + timedelta(days=1), building)


def _midnight(on: date, building: Building) -> datetime:
    return _midnight_in(building.zone, on)


# A programme turns on few days, and asks for their midnights again and again.
@lru_cache(maxsize=20_000)
def _midnight_in(zone: ZoneInfo, on: date) -> datetime:
    return datetime.combine(on, time(), tzinfo=zone)


# --- derived ---------------------------------------------------------------------------------


def derive_chunk(places: Sequence[Place], now: datetime, filled: Container[Any]) -> None:
    """Store how buildings have stood up to now; what was known before is kept with its time.

    Parameters
    ----------
    filled
        Which of the tables `deriving.SELDOM` hold anything of these buildings.
    """
    buildings = [one.building for one in places]
    there: dict[UUID, dict[datetime, tuple[UUID, tuple[Any, ...]]]] = defaultdict(dict)
    rows = StandingInterval.objects.filter(building__among=buildings, known_to=None)
    for building_id, pk, from_at, *said in rows.values_list("building_id", "pk", *_SAID):
        there[building_id][from_at] = pk, tuple(said)
    # Times for which something was shut for work without becoming an impairment.
    proofs: dict[UUID, list[Outage]] = defaultdict(list)
    if Outage in filled:
        for outage in Outage.objects.filter(building__among=buildings, became=None):
            proofs[outage.building_id].append(outage)
    fresh: list[tuple[Any, ...]] = []
    past: list[UUID] = []
    for place in places:
        building_id = place.building.pk
        known = there[building_id]
        place.stood = intervals(place, proofs[building_id], now)
        for row in place.stood:
            old = known.get(row.from_at)
            if old is not None and old[1] == row.compared:
                del known[row.from_at]
            else:
                fresh.append((building_id, now, row.from_at, *row.compared))
        past += [pk for pk, _said in known.values()]
    if past:
        StandingInterval.objects.filter(pk__among=past).update(known_to=now)
    bulk.add(StandingInterval, ("building_id", "known_from", *_SAID), fresh)


_SAID = ("from_at", "to_at", "word", "due_by", "reasons", "scope")


def intervals(place: Place, proofs: Iterable[Outage], now: datetime) -> list[Stood]:
    """Return a building's standing from take-over to now, as intervals without gap or overlap."""
    building = place.building
    spans = [
        *_due_spans(place),
        *_finding_spans(place, proofs),
        *_impairment_spans(place),
        *_unknown_history(building),
        *_rest_spans(place),
    ]
    scope = _scope(place)
    return [
        row
        for begun, ended in _with_us(place, now)
        for row in _swept(spans, begun, ended, now, scope)
    ]


def _swept(
    spans: Iterable[Span],
    begun: datetime,
    ended: datetime | None,
    now: datetime,
    scope: dict[str, Any],
) -> list[Stood]:
    stop = ended or now
    starts: dict[datetime, list[Span]] = defaultdict(list)
    ends: dict[datetime, list[Span]] = defaultdict(list)
    for span in spans:
        if span.begun < stop and (span.ended is None or span.ended > begun):
            starts[max(span.begun, begun)].append(span)
            ends[min(span.ended or stop, stop)].append(span)
    speaking: dict[Standing, dict[int, Span]] = defaultdict(dict)
    rows: list[Stood] = []
    for start, end in pairwise(sorted({begun, stop, *starts, *ends})):
        over, new = ends.get(start, ()), starts.get(start, ())
        for span in over:
            speaking[span.word].pop(id(span), None)
        for span in new:
            speaking[span.word][id(span)] = span
        word = next((w for w in WORST_FIRST if speaking[w]), Standing.IN_ORDER)
        goes_on = bool(rows) and rows[-1].word == word
        if goes_on and all(span.word != word for span in (*over, *new)):
            rows[-1].to_at = end
            continue
        row = _row(word, speaking[word].values(), start, end, scope)
        if goes_on and _same(rows[-1], row):
            rows[-1].to_at = end
        else:
            rows.append(row)
    if rows and ended is None:
        rows[-1].to_at = None
    return rows


def _row(
    word: Standing,
    loudest: Collection[Span],
    start: datetime,
    end: datetime,
    scope: dict[str, Any],
) -> Stood:
    due = min((span.due_by for span in loudest if span.due_by), default=None)
    reasons: dict[Hashable, Reason] = {}
    counts: dict[Hashable, int] = defaultdict(int)
    for span in loudest:
        reasons.setdefault(span.reason.alike, span.reason)
        counts[span.reason.alike] += span.reason.count
    gravest = sorted(reasons.values(), key=lambda reason: reason.gravity)
    shown = [reason.told(counts[reason.alike]) for reason in gravest[:MOST_REASONS]]
    more = len(gravest) - MOST_REASONS
    shown += [{"more": more}] if more > 0 else []
    return Stood(start, end, word, due, shown, scope)


def _same(one: Stood, other: Stood) -> bool:
    return (one.due_by, one.reasons) == (other.due_by, other.reasons)


def _with_us(place: Place, now: datetime) -> list[tuple[datetime, datetime | None]]:
    """Return the times during which anybody engaged the contractor, without overlap."""
    building, engaged = place.building, place.terms.engagements
    begun = _midnight(building.taken_over_on, building)
    if not engaged:
        return [(begun, None)] if begun < now else []
    found: list[tuple[datetime, datetime | None]] = []
    for one in engaged:
        start = max(begun, _midnight(one.from_on, building))
        end = _midnight(one.until_on + _DAY, building) if one.until_on else None
        end = None if end and end > now else end
        if start >= now or (end and start >= end):
            continue
        if found and (found[-1][1] is None or start <= found[-1][1]):
            start, before = found.pop()
            end = max(end, before) if end and before else None
        found.append((start, end))
    return found


def _said(reason: dict[str, Any]) -> Reason:
    grade = reason.get("grade")
    gravity = GRADE_ORDER.index(grade) if grade in GRADE_ORDER else 0
    return Reason((gravity, ""), lambda _count: reason)


def _due_spans(place: Place) -> list[Span]:
    """Return when activities were due, overdue or not known; the owner's own are left out."""
    building, zone = place.building, place.building.zone
    together: dict[tuple[Any, ...], list[Timed]] = defaultdict(list)
    for one in place.programme:
        if not one.by_owner:
            days = tuple(one.evidence.days)
            together[one.activity.id, one.bounds, days, one.since, one.until].append(one)
    found = []
    for (activity, bounds, days, since, until), ones in together.items():
        for phase in _phases(bounds, days, since, until, place.today):
            begun = _midnight_in(zone, phase.begun)
            ended = _midnight_in(zone, phase.ended) if phase.ended else None
            window = phase.window
            reason = Reason(
                (0, f"{window.latest}{activity}"),
                partial(_due_reason, building, ones[0], window),
                (activity, window.due, window.latest, window.reason),
                len(ones),
            )
            found.append(Span(phase.word, begun, ended, reason, phase.due_by))
    return found


def _due_reason(building: Building, one: "Timed", window: Window, count: int) -> dict[str, Any]:
    """Return why an activity speaks, on one item and on others like it: `count` of them in all."""
    return {
        "activity": one.activity.id,
        "task": one.activity.task,
        "subject": str(one.applied.subject_id),
        "name": one.applied.subject.name if one.applied.subject else building.name,
        "count": count,
        "due": window.due.isoformat(),
        "latest": window.latest.isoformat(),
        "why": window.reason,
        "source": one.activity.source,
    }


# Like items mostly share what bounds them and their dates, within a building and among many.
@lru_cache(maxsize=20_000)
def _phases(
    bounds: Bounds, days: tuple[date, ...], since: date | None, until: date | None, today: date
) -> tuple[Phase, ...]:
    """Return the phases of a task's windows that ran one after another up to a day.

    Parameters
    ----------
    since, until
        First day on which the rules behind it were in force, and first on which no longer.
    """
    found: list[Phase] = []
    for run in runs(bounds, days, today):
        found += _phases_of(run.window, run.begun, run.closed, never=run.never)
    parts = [part for phase in found for part in _between(phase, since, until)]
    for pause in bounds.pauses:
        parts = [part for phase in parts for part in _awake(phase, pause)]
    return tuple(parts)


def _phases_of(window: Window, begun: date, closed: date | None, *, never: bool) -> Iterator[Phase]:
    """Yield the phases of one window that ran from a day on; `never`: nothing was seen done yet."""
    if never and begun <= window.latest:
        until = min(window.latest, closed or date.max) + _DAY
        yield Phase(Standing.NOT_KNOWN, begun, until, window)
    elif window.due < window.latest and (closed is None or closed > window.due):
        opens = max(window.due, begun) + _DAY
        ends = min(window.latest, closed - _DAY if closed else window.latest) + _DAY
        yield Phase(Standing.DUE_BY, opens, ends, window, window.latest)
    late = max(window.latest, begun) + _DAY
    if closed is None or closed >= late:
        yield Phase(Standing.OVERDUE, late, closed, window)


def _between(phase: Phase, since: date | None, until: date | None) -> list[Phase]:
    """Return what lies of a phase between two days; nothing where none does."""
    if since is None and until is None:
        return [phase]
    begun = max(phase.begun, since or date.min)
    ended = min(phase.ended or date.max, until or date.max)
    if begun >= ended:
        return []
    return [replace(phase, begun=begun, ended=None if ended == date.max else ended)]


def _awake(phase: Phase, pause: Pause) -> list[Phase]:
    """Return the parts of a phase in which the item did not rest by leave."""
    parts = _between(phase, None, pause.from_on)
    return parts + (_between(phase, pause.back_on, None) if pause.back_on else [])


def _rest_spans(place: Place) -> list[Span]:
    """Return when the building or parts of it rested by leave; that alone harms no standing."""
    found: dict[Pause, Span] = {}
    for one in place.programme:
        for pause in one.bounds.pauses:
            found[pause] = Span(
                Standing.IN_ORDER,
                _midnight(pause.from_on, place.building),
                _midnight(pause.back_on, place.building) if pause.back_on else None,
                _said({"suspended": str(pause), "since": pause.from_on.isoformat()}),
            )
    return list(found.values())


def _finding_spans(place: Place, proofs: Iterable[Outage]) -> list[Span]:
    spans = [
        Span(
            Standing.FINDING_OPEN,
            row.found_at,
            _midnight(row.closed_on, place.building) if row.closed_on else None,
            _said(
                {
                    "finding": str(row.pk),
                    "grade": row.grade,
                    "text": row.text,
                    "since": row.found_on.isoformat(),
                }
            ),
        )
        for row in place.findings
        if row.grade not in (Finding.Class.OBSERVATION, Finding.Class.IMPAIRMENT)
    ]
    for outage in proofs:
        reason = _said({"grade": "proof", "text": "Shut for work, restoration not proven yet"})
        spans.append(Span(Standing.FINDING_OPEN, outage.started_at, outage.ended_at, reason))
    return [s for s in spans if s.ended is None or s.begun < s.ended]


def _impairment_spans(place: Place) -> list[Span]:
    return [
        Span(
            Standing.IMPAIRED,
            row.started_at,
            row.ended_at,
            _said(
                {
                    "impairment": str(row.pk),
                    "text": row.extent,
                    "since": row.started_at.isoformat(),
                    "kind": row.kind,
                }
            ),
        )
        for row in place.terms.impairments
    ]


def _unknown_history(building: Building) -> list[Span]:
    """Return the time for which the history is still being brought in."""
    if building.history_complete:
        return []
    reason = _said({"text": "The import of this building's history is running"})
    return [Span(Standing.NOT_KNOWN, _midnight(building.taken_over_on, building), None, reason)]


def _scope(place: Place) -> dict[str, Any]:
    """Return what the word speaks for: how many systems are looked after, by which edition."""
    systems = [item for item in place.inventory.of_kind("system") if item.in_service]
    return {
        "systems": len(systems),
        "sprinkler_systems": sum(item.kind == "system" for item in systems),
        "standard": place.building.attributes.get("base_standard", ""),
        "edition": place.inventory.edition,
    }
