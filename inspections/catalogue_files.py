"""The versions of the catalogue that the installation came with, and which is in force when."""

import json
import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings
from django.utils import timezone

from buildings.tables import CatalogueError
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import OWN, Activity
from inspections.catalogue_tables import faults, load_catalogue

REGISTER = "versions.json"
log = logging.getLogger(__name__)


class ActivitiesById(dict[str, Activity]):
    """The rows of the version in force by id, and by its id alone every row there ever was.

    A result may name an activity that a later version dropped, or one of the contractor's own: both
    are found when they are asked for by id. Going through all gives the rows of the version only.
    """

    find_own: ClassVar[Callable[[str], Activity | None]] = staticmethod(lambda _id: None)

    def __missing__(self, activity_id: str) -> Activity:
        found = self._elsewhere(activity_id)
        if found is None:
            raise KeyError(activity_id)
        return found

    def get(self, activity_id: str, default: Any = None) -> Any:
        """Return an activity by its id, or the default."""
        return super().get(activity_id) or self._elsewhere(activity_id) or default

    def __contains__(self, activity_id: object) -> bool:
        return super().__contains__(activity_id) or self._elsewhere(str(activity_id)) is not None

    def _elsewhere(self, activity_id: str) -> Activity | None:
        if activity_id.startswith(OWN):
            return type(self).find_own(activity_id)
        rows = (one.catalogue.activities.get(activity_id) for one in reversed(versions()))
        return next((row for row in rows if row is not None), None)


@dataclass(frozen=True, slots=True)
class Version:
    """A version of the catalogue and the first day of its being in force."""

    in_force_from: date
    catalogue: Catalogue


@dataclass(frozen=True, slots=True)
class Refused:
    """A version that the register names and that cannot be used, with every fault of its tables."""

    folder: str
    in_force_from: date
    faults: tuple[CatalogueError, ...]


def catalogue() -> Catalogue:
    """Return the version in force today, in which every activity there ever was is found by id."""
    return _by_id(version_on(timezone.localdate()))


@cache
def _by_id(version: Catalogue) -> Catalogue:
    return replace(version, activities=ActivitiesById(version.activities))


def version_on(day: date) -> Catalogue:
    """Return the version in force on a day; before the first, the first."""
    known = versions()
    return next((one for one in reversed(known) if one.in_force_from <= day), known[0]).catalogue


def versions() -> tuple[Version, ...]:
    """Return the versions that this installation came with, the oldest first."""
    return _registered()[0]


def refused() -> tuple[Refused, ...]:
    """Return the versions that the installation names and cannot use."""
    return _registered()[1]


@cache
def _registered() -> tuple[tuple[Version, ...], tuple[Refused, ...]]:
    return load_versions(settings.BASE_DIR / "fixtures" / "catalogue")


def load_versions(folder: Path) -> tuple[tuple[Version, ...], tuple[Refused, ...]]:
    """Return the versions that a folder's register names, the oldest first, and those refused.

    One that cannot be used is left out and logged with file, row and reason: the one before it
    stays in force.

    Raises
    ------
    CatalogueError
        When the register cannot be read, or the first version cannot be used.
    """
    found: list[Version] = []
    wrong: list[Refused] = []
    for name, begins in _register(folder):
        try:
            found.append(Version(begins, load_catalogue(folder / name)))
        except CatalogueError:
            if not found:
                raise
            log.exception(
                "catalogue %s is refused, %s stays in force",
                name,
                found[-1].catalogue.version,
            )
            wrong.append(Refused(name, begins, tuple(faults(folder / name))))
    return tuple(found), tuple(wrong)


def _register(folder: Path) -> list[tuple[str, date]]:
    """Return the folders of the versions with the first day of each, ascending."""
    try:
        rows = json.loads((folder / REGISTER).read_text(encoding="utf-8"))["versions"]
        found = [(str(row["folder"]), _first_day(row["in_force_from"])) for row in rows]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise CatalogueError(REGISTER, 0, f"cannot be read: {error}") from None
    if not found:
        raise CatalogueError(REGISTER, 0, "names no version")
    for place, ((_, before), (_, after)) in enumerate(pairwise(found), start=2):
        if after <= before:
            raise CatalogueError(REGISTER, place, f"{after} is not after {before}")
    return found


def _first_day(written: str | None) -> date:
    return date.min if written is None else date.fromisoformat(written)
