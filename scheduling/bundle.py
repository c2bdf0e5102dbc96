"""Which due activities of a building travel together, and the visits made of them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F, Q
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from buildings.models import Building
from contractors import audit
from contractors.models import Membership, Person
from contractors.models.people import minutes_of as minutes_of_day
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections import licensed, planned
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Act
from inspections.models import Visit, VisitLine
from scheduling import crew, week_loads
from scheduling.models import Occurrence

HORIZON_DAYS = 14
# What nobody has seen done yet is looked at soon, except work that comes once in some years.
SOON = ("P7D", "P1M", "P3M", "P6M", "P1Y")
FREQUENCY_WORDS = {
    "P1D": _lazy("daily"),
    "P7D": _lazy("weekly"),
    "P1M": _lazy("monthly"),
    "P3M": _lazy("quarterly"),
    "P6M": _lazy("half-yearly"),
    "P1Y": _lazy("yearly"),
}
FREE = Q(visit=None) | ~Q(visit__state__in=Visit.UNDER_WAY)
IN_VISIT = Q(visit__state__in=Visit.UNDER_WAY)


class AlreadyInVisit(Refusal):
    """Somebody has put what was picked into a visit meanwhile."""

    code = "already_in_visit"
    status = 409
    sentence = "%(count)s of what you picked are in a visit already, such as %(activity)s."


class NoneIsPlanned(Refusal):
    """Work should join a planned visit of its building, and there is none."""

    code = "none_is_planned"
    status = 409
    sentence = (
        "No visit to %(building)s is planned that has not begun. Accepted: work at buildings with a"
        " planned visit; make a new visit for the others."
    )


class NothingPicked(Refusal):
    """No occurrence of ours is left to make a visit of."""

    code = "nothing_picked"
    status = 400
    sentence = "Pick at least one activity that we do; what the owner does needs no visit of ours."


@dataclass(frozen=True, slots=True)
class Bundle:
    """Occurrences of one building that one visit does.

    Attributes
    ----------
    minutes
        Of work for one pair of hands, set-up counted once; own estimate.
    earliest, latest
        The days on which all of it lies inside its windows; `latest` may be past.
    needs
        Qualifications that one of the crew must hold.
    two
        Whether two people are needed.
    """

    building: Building
    occurrences: tuple[Occurrence, ...]
    minutes: float
    earliest: date
    latest: date
    needs: frozenset[str]
    two: bool


def owed(today: date, days: int = HORIZON_DAYS) -> Q:
    """Return what is to be done within the next days: due in them, overdue, or not known yet.

    An occurrence whose window opens later is left out, and so is what the owner does, and what
    is out of service: it stays due, and waits for its restoration.
    """
    end = today + timedelta(days=days)
    unknown = Q(known=False, frequency__in=SOON)
    opened = Q(earliest_on=None) | Q(earliest_on__lte=end)
    ours = Q(by_owner=False) & ~Q(reason__has_key="impaired")
    return ours & opened & (Q(due_on__lte=end) | unknown)


def bundles(today: date, days: int = HORIZON_DAYS) -> list[Bundle]:
    """Return, for every building, what is owed within the next days, as visits would do it."""
    return together(Occurrence.objects.filter(FREE, owed(today, days)), today)


def together(rows: Any, today: date) -> list[Bundle]:
    """Return occurrences bundled by building, hands, windows and length of a working day."""
    by_building: dict[UUID, list[Occurrence]] = defaultdict(list)
    for row in rows.select_related("building__jurisdiction", "system").order_by(
        "latest_on", "activity"
    ):
        by_building[row.building_id].append(row)
    people = crew.technicians(today)
    sorter = _Sorter(today, people, crew.keeps_releases())
    found = [b for rows in by_building.values() for b in sorter.bundles(rows)]
    return sorted(found, key=lambda b: (b.latest, b.building.name))


class _Sorter:
    def __init__(self, today: date, people: Sequence[crew.Technician], releases: bool) -> None:
        self.today = today
        self.releases = releases
        self.day = crew.day_minutes(people)
        self.people = people
        self._held: dict[licensed.Place, list[frozenset[str]]] = {}

    def bundles(self, rows: Sequence[Occurrence]) -> list[Bundle]:
        found = []
        for two in (False, True):
            ours = [row for row in rows if _takes_two(row) == two]
            for by_hands in self._by_hands(ours):
                for by_window in self._by_window(by_hands):
                    found += [self._bundle(day, two) for day in self._by_day(by_window)]
        return found

    def needs(self, row: Occurrence) -> frozenset[str]:
        kind = row.system.kind if row.system else ""
        return crew.needs_of(activity_of(row), kind, releases=self.releases)

    def _by_hands(self, rows: Sequence[Occurrence]) -> list[list[Occurrence]]:
        """Part the work so that one technician can hold all that each part asks for."""
        left, parts = list(rows), []
        hands = self._hands(rows[0].building) if rows else []
        while left:
            able = [[row for row in left if self.needs(row) <= held] for held in hands]
            part = max(able, key=len, default=[])
            if not part:  # nobody holds it: apart, so that it does not hold up the rest
                part = [row for row in left if self.needs(row) == self.needs(left[0])]
            parts.append(part)
            chosen = {row.pk for row in part}
            left = [row for row in left if row.pk not in chosen]
        return parts

    def _hands(self, building: Building) -> list[frozenset[str]]:
        """Return what each of the people holds at a building, the least first."""
        place = licensed.place_of(building)
        if place not in self._held:
            held = (licensed.held_by(one.person, self.today, place) for one in self.people)
            found = {frozenset(one) for one in held}
            self._held[place] = sorted(found, key=lambda h: (len(h), *sorted(h)))
        return self._held[place]

    def _by_window(self, rows: Sequence[Occurrence]) -> list[list[Occurrence]]:
        """Part the work so that each part has a day inside all its windows."""
        parts: list[tuple[date, list[Occurrence]]] = []
        for row in sorted(rows, key=lambda r: self._latest(r)):
            for latest, part in parts:
                if (row.earliest_on or self.today) <= latest:
                    part.append(row)
                    break
            else:
                parts.append((self._latest(row), [row]))
        return [part for _latest, part in parts]

    def _latest(self, row: Occurrence) -> date:
        return max(row.latest_on, self.today)

    def _by_day(self, rows: Sequence[Occurrence]) -> list[list[Occurrence]]:
        """Part the work so that each part fits a working day, system by system and evenly."""
        total, limit = minutes_of(rows), self._longest(rows[0].building)
        if total <= limit:
            return [list(rows)]
        share = total / ceil(total / limit)
        chunks: dict[tuple[str, str], list[Occurrence]] = defaultdict(list)
        for row in rows:
            chunks[str(row.system_id or ""), activity_of(row).group].append(row)
        parts: list[list[Occurrence]] = [[]]
        for key in sorted(chunks):
            chunk = chunks[key]
            for piece in [chunk] if minutes_of(chunk) <= limit else [[row] for row in chunk]:
                full = bool(parts[-1]) and minutes_of(parts[-1]) >= share
                if full or (parts[-1] and minutes_of([*parts[-1], *piece]) > limit):
                    parts.append([])
                parts[-1].extend(piece)
        return parts

    def _longest(self, building: Building) -> float:
        """Return the longest visit that fits a working day and the building's hours, in minutes."""
        spans = [span for spans in building.hours.values() for span in spans]
        opened = [minutes_of_day(end) - minutes_of_day(start) for start, end in map(_ends, spans)]
        return min(self.day, max(opened, default=self.day))

    def _bundle(self, rows: Sequence[Occurrence], two: bool) -> Bundle:
        latest = min(row.latest_on for row in rows)
        opened = [row.earliest_on for row in rows if row.earliest_on]
        return Bundle(
            building=rows[0].building,
            occurrences=tuple(rows),
            minutes=minutes_of(rows),
            earliest=max([self.today, *opened]),
            latest=latest,
            needs=frozenset().union(*(self.needs(row) for row in rows)),
            two=two,
        )


def _ends(span: str) -> tuple[str, str]:
    start, _dash, end = span.partition("-")
    return start, end


def activity_of(row: Any) -> Any:
    """Return the catalogue's activity of an occurrence or a visit's line."""
    return catalogue().activities[row.activity]


def _takes_two(row: Any) -> bool:
    activity = catalogue().activities.get(row.activity)
    return activity is not None and activity.people > 1


def minutes_of(rows: Iterable[Any]) -> float:
    """Return the minutes that occurrences (or a visit's lines) take together; own estimate.

    Set-up counts once for each kind of work and system.
    """
    acts = []
    for row in rows:
        activity = catalogue().activities.get(row.activity)
        if activity is None:
            continue
        per_item = activity.minutes_per_item
        count = round(row.minutes / per_item) if per_item and row.minutes else 1
        place = str(row.system_id or getattr(row, "building_id", ""))
        acts.append(Act(activity, str(row.subject_id), place, max(1, count)))
    return round(catalogue().minutes(acts), 1)


# --- visits ----------------------------------------------------------------------------------


def place(
    ids: Iterable[UUID],
    *,
    into: str | UUID,
    today: date,
    by: Membership,
    technician: Person | None = None,
    planned_on: date | None = None,
) -> list[Visit]:
    """Put picked occurrences where they are done; return the visits that do them.

    Parameters
    ----------
    into
        ``new`` visits, the next ``planned`` visit of each building, or that visit by its id.
    technician, planned_on
        Who is sent and when; of new visits only.

    Raises
    ------
    FieldRefused
        When people or a day are given for visits that have theirs.
    AlreadyInVisit, NothingPicked, NoneIsPlanned, NotQualified, NotThere
        As `make_visits` and `add_to_planned` say.
    """
    if into == "new":
        return make_visits(ids, today=today, by=by, technician=technician, planned_on=planned_on)
    for name, given in (("technician", technician), ("planned_on", planned_on)):
        if given is not None:
            raise FieldRefused(name, given, _("Nothing: a planned visit keeps its people and day."))
    return add_to_planned(ids, by=by, visit=None if into == "planned" else UUID(str(into)))


def make_visits(
    ids: Iterable[UUID],
    *,
    today: date,
    by: Membership,
    technician: Person | None = None,
    planned_on: date | None = None,
) -> list[Visit]:
    """Make visits of picked occurrences: one a building, more where one would not do.

    Parameters
    ----------
    technician, planned_on
        Who is sent and when, where that is known already.

    Raises
    ------
    AlreadyInVisit
        When some are in a planned or open visit.
    NothingPicked
        When none of them is ours to do.
    FieldRefused, NotQualified
        When the person is no technician, or lacks a qualification on that day; nothing is made.
    """
    with transaction.atomic():
        made = _make(together(_free(ids), today), by)
        sent = {"technician": technician, "planned_on": planned_on}
        if any(sent.values()):
            made = [planned.change(visit, sent, by=by) for visit in made]
        return made


def add_to_planned(
    ids: Iterable[UUID], *, by: Membership, visit: UUID | None = None
) -> list[Visit]:
    """Put picked occurrences into planned visits of their buildings, without asking the routes.

    Parameters
    ----------
    visit
        The visit that takes them; None: at every building its next planned visit.

    Raises
    ------
    AlreadyInVisit, NothingPicked
        As `make_visits` says.
    NoneIsPlanned
        When a building has no such visit that has not begun; nothing is changed.
    NotQualified
        When a visit's people lack a qualification for what is added.
    NotThere
        When there is no such visit.
    """
    if visit is not None and not Visit.objects.filter(pk=visit).exists():
        raise NotThere
    with transaction.atomic():
        by_building: dict[Building, list[Occurrence]] = defaultdict(list)
        for row in _free(ids).select_related("building", "system"):
            by_building[row.building].append(row)
        found = _planned_at(by_building, visit)
        for building in by_building:
            if building.pk not in found:
                raise NoneIsPlanned(building=building.name)
        work = {found[building.pk]: rows for building, rows in by_building.items()}
        write_lines(work)
        for taker, rows in work.items():
            _added(taker, len(rows), by)
        return list(found.values())


def _free(ids: Iterable[UUID]) -> Any:
    rows = Occurrence.objects.filter(pk__in=list(ids), by_owner=False)
    if not rows.exists():
        raise NothingPicked
    taken = list(rows.filter(IN_VISIT).values_list("activity", flat=True))
    if taken:
        raise AlreadyInVisit(count=len(taken), activity=taken[0])
    return rows


def _planned_at(buildings: Iterable[Building], visit: UUID | None) -> dict[UUID, Visit]:
    rows = Visit.objects.filter(state=Visit.State.PLANNED, building__in=list(buildings))
    if visit is not None:
        rows = rows.filter(pk=visit)
    found: dict[UUID, Visit] = {}
    for row in rows.select_for_update().order_by(F("planned_on").asc(nulls_last=True), "pk"):
        found.setdefault(row.building_id, row)
    return found


def _added(visit: Visit, lines: int, by: Membership) -> None:
    visit.planned_minutes = max(1, round(minutes_of(visit.lines.all())))
    visit.save(update_fields=["planned_minutes"])
    licensed.check_visit(visit)
    audit.record("visit.added", by=by, on=visit, lines=lines)


def make_all(today: date, *, by: Membership, days: int = HORIZON_DAYS) -> list[Visit]:
    """Make visits of everything that is owed within the next days and in no visit yet."""
    with transaction.atomic():
        return _make(bundles(today, days), by)


def _make(found: Iterable[Bundle], by: Membership) -> list[Visit]:
    work = {_visit_of(bundle): bundle.occurrences for bundle in found}
    write_lines(work)
    for visit, rows in work.items():
        audit.record("visit.made", by=by, on=visit, lines=len(rows))
    return list(work)


def _visit_of(bundle: Bundle) -> Visit:
    visit: Visit = Visit.objects.create(
        building=bundle.building,
        kind=Visit.Kind.PROGRAMME,
        planned_minutes=max(1, round(bundle.minutes)),
        title=title_of(bundle),
        catalogue_version=catalogue().version,
    )
    return visit


def write_lines(work: Mapping[Visit, Sequence[Occurrence]]) -> None:
    """Put what is due on visits, line by line, and count what of it is in them."""
    VisitLine.objects.bulk_create(
        VisitLine(
            visit=visit,
            system_id=row.system_id,
            subject_kind=row.subject_kind,
            subject_id=row.subject_id,
            activity=row.activity,
            due_on=row.due_on,
            latest_on=row.latest_on,
            minutes=row.minutes,
        )
        for visit, rows in work.items()
        for row in rows
    )
    for visit, rows in work.items():
        Occurrence.objects.filter(pk__in=[row.pk for row in rows]).update(visit=visit)
    week_loads.count_visits(list(work))


def title_of(bundle: Bundle) -> str:
    """Return what a visit is for, in a few words."""
    if len(bundle.occurrences) == 1:
        return str(activity_of(bundle.occurrences[0]).task)[:200]
    found = {row.frequency for row in bundle.occurrences}
    words = [frequency_words(one) for one in sorted(found, key=months_of)]
    return capfirst(_("%(how_often)s visit") % {"how_often": _listed(words)})[:200]


def frequency_words(duration: str) -> str:
    """Return an ISO 8601 duration as people say it: ``P3M`` is "quarterly"."""
    if duration in FREQUENCY_WORDS:
        return str(FREQUENCY_WORDS[duration])
    number, unit = duration[1:-1], duration[-1:]
    words = {"Y": _("every %(n)s years"), "M": _("every %(n)s months"), "D": _("every %(n)s days")}
    return words[unit] % {"n": number} if unit in words and number.isdigit() else duration


def months_of(duration: str) -> float:
    """Return an ISO 8601 duration in months, for sorting."""
    scale = {"Y": 12.0, "M": 1.0, "D": 1 / 30}
    number = duration[1:-1]
    return float(number) * scale.get(duration[-1:], 0) if number.isdigit() else 0


def _listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return _("%(many)s and %(last)s") % {"many": ", ".join(words[:-1]), "last": words[-1]}
