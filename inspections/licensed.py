"""Who may do what: the qualifications that work asks for, and whether people hold them on a day.

A visit's qualifications may be met by its two people together, one of whom may be of another firm.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from buildings.models import Building
from contractors.models import Licence, Person
from contractors.refusal import Refusal
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import Activity
from inspections.models import Visit

# Licences cover the catalogue's qualification of their own name, and these besides. Common
# practice, no source: what a licence allows is decided by the board that gives it.
COVERS: Mapping[str, tuple[str, ...]] = {
    Licence.Kind.SPRINKLER_FITTER: ("journeyman",),
    Licence.Kind.ALARM_TECHNICIAN: ("fire_alarm",),
}
# Work that asks for no licence of a technician.
NEEDS_NONE = ("", "none", "owner_staff")
# What the catalogue asks for that no licence is called by.
_OTHER_WORDS = {
    "none": gettext_lazy("no licence"),
    "owner_staff": gettext_lazy("the owner's own staff"),
    "journeyman": gettext_lazy("journeyman fitter"),
    "fire_alarm": gettext_lazy("fire alarm"),
}
# Trip tests and releases of these systems, where the contractor keeps such a release.
RELEASED_GROUPS = ("system_trip", "releasing")


class NotQualified(Refusal):
    """Nobody of those who are sent holds what the work asks for on that day."""

    code = "not_qualified"
    status = 409
    sentence = (
        "%(who)s cannot be sent on %(day)s: %(what)s. Accepted: one person, or two together, who"
        " hold %(accepted)s on that day; the second may be of another firm."
    )


@dataclass(frozen=True, slots=True)
class Beyond:
    """A planned visit on whose day licences of its people have ended, and what is then lacking."""

    visit: Visit
    lacks: tuple["Lack", ...]


@dataclass(frozen=True, slots=True)
class Lack:
    """A qualification that nobody of a crew holds on a day.

    `ended` is the licence of theirs that covered it last, `elsewhere` one that holds on that day at
    other places; None where there is none.
    """

    qualification: str
    day: date
    ended: Licence | None
    elsewhere: Licence | None = None

    @property
    def sentence(self) -> str:
        """Return it in words, with person, licence and day where one ended, or the place."""
        if self.elsewhere is not None:
            words = _("%(licence)s of %(who)s counts in %(place)s only")
            return words % {**_named(self.elsewhere), "place": self.elsewhere.jurisdiction}
        if self.ended is None:
            return _("nobody of them holds %(name)s") % {"name": in_words(self.qualification)}
        words = _("%(licence)s of %(who)s ended on %(day)s")
        return words % {**_named(self.ended), "day": date_format(self.ended.valid_until)}


def _named(licence: Licence) -> dict[str, str]:
    name = f"{in_words(licence.kind)} {licence.number}".strip()
    return {"licence": name, "who": licence.person.name}


def covers(kind: str) -> tuple[str, ...]:
    """Return the qualifications of the catalogue that a kind of licence covers."""
    return (kind, *COVERS.get(kind, ()))


def in_words(qualification: str) -> str:
    """Return a qualification, or a kind of licence, in words."""
    if qualification in Licence.Kind.values:
        return str(Licence.Kind(qualification).label)
    return str(_OTHER_WORDS.get(qualification) or qualification.replace("_", " "))


Place = frozenset[str]


def place_of(building: Building) -> Place:
    """Return the names by which a licence may say that it counts at a building."""
    authority = building.jurisdiction
    names = (building.region, building.country, *((authority.name,) if authority else ()))
    return frozenset(name.casefold() for name in names if name)


def counts_at(licence: Licence, place: Place | None) -> bool:
    """Say whether a licence counts at a place: by state, country or authority.

    One that names no place counts everywhere; one may name several, parted by semicolons. Without
    a place, every licence counts.
    """
    named = [one.strip().casefold() for one in licence.jurisdiction.split(";") if one.strip()]
    return place is None or not named or any(one in place for one in named)


def held_by(person: Person, on: date, place: Place | None = None) -> dict[str, date]:
    """Return the qualifications that a person holds on a day, each with its last day.

    Parameters
    ----------
    place
        Where they are to count, as `place_of` gives it; None for anywhere.
    """
    held: dict[str, date] = {}
    for licence in person.licences.all():
        holds = licence.valid_from <= on <= licence.valid_until
        if holds and counts_at(licence, place):
            for name in covers(licence.kind):
                held[name] = max(held.get(name, date.min), licence.valid_until)
    return held


def needs_of(activity: Activity, system_kind: str, *, releases: bool) -> frozenset[str]:
    """Return the qualifications that an activity asks of whoever does it.

    Parameters
    ----------
    system_kind
        Kind of the system it is done on; empty at the building itself.
    releases
        Whether the contractor releases people to work alone on preaction.
    """
    needs = {activity.qualification} - set(NEEDS_NONE)
    if releases and system_kind == "preaction" and activity.group in RELEASED_GROUPS:
        needs.add(Licence.Kind.PREACTION.value)
    return frozenset(needs)


def keeps_releases() -> bool:
    """Say whether the contractor releases people to work alone on preaction."""
    found: bool = Licence.objects.filter(kind=Licence.Kind.PREACTION).exists()
    return found


def needs_of_visit(visit: Visit) -> frozenset[str]:
    """Return the qualifications that a visit's activities ask for, planned and done."""
    lines = visit.lines.values_list("activity", "system__kind")
    done = visit.results.exclude(answer="could_not").values_list("activity", flat=True)
    releases = keeps_releases()
    found: set[str] = set()
    for activity_id, kind in [*lines, *((one, "") for one in done)]:
        activity = catalogue().activities.get(activity_id)
        if activity is not None:
            found |= needs_of(activity, kind or "", releases=releases)
    return frozenset(found)


def lacking(
    people: Sequence[Person],
    needs: Iterable[str],
    day: date,
    place: Place | None,
    kinds: Iterable[str] | None = None,
) -> list[Lack]:
    """Return what nobody of a crew holds on a day at a place.

    A qualification of which the contractor keeps no licence at all is not asked for: it is not yet
    told who holds it.

    Parameters
    ----------
    kinds
        The kinds of licences that the contractor keeps, where they are at hand.
    """
    wanted = sorted(set(needs) - _held_together(people, day, place))
    if not wanted or not people:
        return []
    kept = {name for kind in (kinds or _kinds_kept()) for name in covers(kind)}
    return [
        Lack(name, day, _last(people, name, day), _elsewhere(people, name, day))
        for name in wanted
        if name in kept
    ]


def check(
    people: Iterable[Person | None], needs: Iterable[str], day: date | None, building: Building
) -> None:
    """Refuse to send people to a building who together lack a qualification on a day.

    Raises
    ------
    NotQualified
        Naming who, the licence, the day and what is accepted. Without a day or a person there is
        nothing to refuse.
    """
    crew = [one for one in people if one is not None]
    if day is None or not crew:
        return
    missing = lacking(crew, needs, day, place_of(building))
    if missing:
        raise NotQualified(
            who=" and ".join(one.name for one in crew),
            day=date_format(day),
            what="; ".join(one.sentence for one in missing),
            accepted=", ".join(in_words(one.qualification) for one in missing),
        )


def check_visit(visit: Visit) -> None:
    """Refuse a visit's people, as `check` does, for what it is to do on its day."""
    if visit.planned_on is not None and visit.technician_id is not None:
        crew = (visit.technician, visit.second)
        check(crew, needs_of_visit(visit), visit.planned_on, visit.building)


def beyond(today: date) -> list[Beyond]:
    """Return the visits planned from a day on at which a licence that they need will have ended.

    The soonest stands first. The number of queries does not grow with the visits.
    """
    ended = Q(technician__licences__valid_until__lt=F("planned_on"))
    ended |= Q(second__licences__valid_until__lt=F("planned_on"))
    rows = Visit.objects.filter(ended, state=Visit.State.PLANNED, planned_on__gte=today)
    visits = (
        Visit.objects.filter(pk__in=rows.order_by().values("pk"))
        .select_related("building__jurisdiction", "technician", "second")
        .prefetch_related("lines__system", "technician__licences", "second__licences")
        .order_by("planned_on", "pk")
    )
    kinds, releases = list(_kinds_kept()), keeps_releases()
    found = []
    for visit in visits:
        people = [one for one in (visit.technician, visit.second) if one is not None]
        needs = _needs_of_lines(visit, releases=releases)
        day: date = visit.planned_on
        lacks = lacking(people, needs, day, place_of(visit.building), kinds)
        if gone := tuple(one for one in lacks if one.ended is not None):
            found.append(Beyond(visit, gone))
    return found


def _needs_of_lines(visit: Visit, *, releases: bool) -> set[str]:
    needs: set[str] = set()
    for line in visit.lines.all():
        activity = catalogue().activities.get(line.activity)
        if activity is not None:
            kind = line.system.kind if line.system else ""
            needs |= needs_of(activity, kind, releases=releases)
    return needs


def flags(visit: Visit) -> list[Lack]:
    """Return what the people of a visit did not hold on the day it was done: signed without it."""
    people = [one for one in (visit.technician, visit.second) if one is not None]
    if visit.performed_on is None or visit.evidence != Visit.Evidence.OWN or visit.import_key:
        return []
    place = place_of(visit.building)
    return lacking(people, needs_of_visit(visit), visit.performed_on, place)


def _held_together(people: Iterable[Person], day: date, place: Place | None) -> set[str]:
    return {name for person in people for name in held_by(person, day, place)}


def _elsewhere(people: Sequence[Person], name: str, day: date) -> Licence | None:
    """Return a licence of the crew that covers it on a day, which then is at other places only."""
    found = (
        licence
        for person in people
        for licence in person.licences.all()
        if name in covers(licence.kind) and licence.valid_from <= day <= licence.valid_until
    )
    return next(found, None)


def _kinds_kept() -> Any:
    return Licence.objects.order_by().values_list("kind", flat=True).distinct()


def _last(people: Sequence[Person], name: str, day: date) -> Licence | None:
    """Return the licence of the crew that covered a qualification last before a day."""
    past = [
        licence
        for person in people
        for licence in person.licences.all()
        if name in covers(licence.kind) and licence.valid_until < day
    ]
    return max(past, key=lambda one: one.valid_until, default=None)
