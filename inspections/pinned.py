"""The rules that judge a visit: those in force at its building when it was opened, as known then.

Whatever is set, amended or ended later, a visit that is derived again is judged as it was.
"""

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property, lru_cache
from typing import Any

from django.utils import timezone

from buildings import inventory
from buildings.models import Building
from inspections.catalogue import Catalogue
from inspections.catalogue_files import ActivitiesById
from inspections.catalogue_rows import Activity, Change, regime_words
from inspections.conditions.facts import Fact
from inspections.models import Visit
from inspections.rules import RuleBook


@dataclass(frozen=True)
class Pinned:
    """The rules of a building on a day, as known at a moment.

    Attributes
    ----------
    known_at
        What was recorded later is left out; None takes all.
    """

    building: Building
    day: date
    known_at: datetime | None = None

    @cached_property
    def rules(self) -> Catalogue:
        """Return the catalogue in force, in which every activity there ever was is found by id."""
        place = {"building_id": self.building.pk, "jurisdiction_id": self._authority}
        return _by_id(RuleBook.read(self.known_at).catalogue_on(self.day, **place))

    @cached_property
    def edition(self) -> int | None:
        """Return the adopted edition in force; None where nobody has told it.

        Where none was told by then, the one that was told since: it was in force all the same.
        """
        then = inventory.edition_of(self._authority, self.day, self.known_at)
        if then is None and self.known_at is not None:
            return inventory.edition_of(self._authority, self.day)
        return then

    @cached_property
    def _authority(self) -> Any:
        return inventory.authority_on(self.building, self.day, self.known_at)

    def activity(self, activity_id: str) -> Activity | None:
        """Return an activity as these rules have it; None where there never was one."""
        return self.rules.activities.get(activity_id)

    def limit(self, name: str) -> Fact:
        """Return a figure of the criteria in the adopted edition."""
        return self.rules.limit_fact(name, self.edition)

    def basis(self, activity: Activity) -> dict[str, str]:
        """Return by whose word an activity's readings are judged, as data and in words.

        Returns
        -------
        dict
            `origin` is edition, amendment or own; `words` names edition, authority or source.
        """
        laid = _laid(activity)
        if not laid:
            edition = f"edition {self.edition}" if self.edition else "edition not known"
            return {"origin": "edition", "words": f"{regime_words(activity.regime)}, {edition}"}
        origin = "amendment" if laid[-1].whose else "own"
        return {"origin": origin, "words": " ".join(str(one) for one in laid)}

    def source(self, activity: Activity) -> str:
        """Return where an activity's criterion stands."""
        laid = _laid(activity)
        return laid[-1].source if laid else activity.source


def of_visit(visit: Visit, known_at: datetime | None = None) -> Pinned:
    """Return the rules that judge a visit.

    Parameters
    ----------
    visit
        With its building. One that is not open yet is judged by the rules of the day it is planned
        for, as known now.
    known_at
        When it was written down, where that was not at its opening: work of earlier years.
    """
    building = visit.building
    if visit.performed_on is not None:
        return Pinned(building, visit.performed_on, known_at or visit.opened_at)
    today = timezone.localdate(timezone=building.zone)
    return Pinned(building, max(today, visit.planned_on or today))


def _laid(activity: Activity) -> list[Change]:
    """Return the rules laid over an activity that decide how its readings are judged."""
    return [one for one in activity.changes if one.act == "own" or one.criterion]


@lru_cache(maxsize=512)
def _by_id(rules: Catalogue) -> Catalogue:
    return replace(rules, activities=ActivitiesById(rules.activities))
