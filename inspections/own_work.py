"""Activities of a contractor's own: checked and typed when they are saved, like the catalogue's."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.utils.translation import gettext as _

from contractors.refusal import FieldRefused
from inspections import overlays
from inspections.catalogue import Catalogue
from inspections.catalogue_files import catalogue
from inspections.catalogue_rows import LOOKED_UP
from inspections.conditions.units import SI_OF_MEASURE
from inspections.models import Rule

KINDS_OF_WORK = ("inspection", "test", "maintenance")
MOST_MINUTES = 600
MOST_READINGS = 20
LONGEST_CODE = 60
# Nobody types these on a site in a unit of their own.
_NOT_TYPED = ("response_time_index", "mass", "angle")
MEASURES = tuple(sorted({*SI_OF_MEASURE, "state", "text", "date"} - set(_NOT_TYPED)))
_CODE = re.compile(r"own-[a-z0-9]+(?:-[a-z0-9]+)*")
_READING = re.compile(r"[a-z][a-z0-9]*(?:_[a-z0-9]+)*")


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnWork:
    """An activity of the contractor's own.

    Attributes
    ----------
    code
        Its id: ``own-`` and small letters, digits and hyphens; never used twice.
    kind
        inspection, test or maintenance.
    subjects
        Kinds of item that carry it.
    frequency
        ISO 8601 duration.
    applies
        Condition in the language of the catalogue; empty for every such item.
    readings
        Name of each reading, and what it measures, one of `MEASURES`.
    criterion
        Condition on the readings by which it is in order; empty where a person judges.
    caution
        What can hurt somebody at it, and what is done about it; empty for none of its own.
    instruments
        What it takes to do it.
    minutes
        Minutes of work for each item, 0 to 600.
    """

    code: str
    task: str
    kind: str
    subjects: Sequence[str]
    frequency: str
    applies: str = ""
    readings: Mapping[str, str] = field(default_factory=dict)
    criterion: str = ""
    caution: str = ""
    instruments: Sequence[str] = ()
    minutes: float = 10
    qualification: str = "inspector"

    def checked(self) -> dict[str, Any]:
        """Return the columns of its rule.

        Raises
        ------
        FieldRefused
            Naming the field that is not accepted and what is.
        """
        known = catalogue()
        repeat(self.frequency)
        subjects = _subjects(known, self.subjects)
        applies, criterion = self.applies.strip(), self.criterion.strip()
        typed = _readings(self.readings)
        try:
            overlays.condition_on(known, tuple(subjects), applies)
        except ValueError as error:
            raise FieldRefused("applies", applies, str(error)) from None
        try:
            overlays.own_criterion(known, tuple(subjects), typed, criterion)
        except ValueError as error:
            raise FieldRefused("criterion", criterion, str(error)) from None
        definition = {
            "task": text("task", self.task, 200),
            "kind": among("kind", self.kind, KINDS_OF_WORK),
            "subjects": subjects,
            "applies": applies,
            "readings": typed,
            "criterion": criterion,
            "caution": text("caution", self.caution, 300) if self.caution.strip() else "",
            "instruments": [text("instruments", one, 80) for one in self.instruments],
            "minutes": _minutes(self.minutes),
            "qualification": among("qualification", self.qualification, qualifications()),
        }
        return {
            "activity": _code(self.code),
            "frequency": self.frequency,
            "definition": definition,
        }


def readings_of(written: str) -> dict[str, str]:
    """Return readings written one a line, as name, colon and what it measures.

    Raises
    ------
    FieldRefused
        Naming the line that cannot be read.
    """
    found: dict[str, str] = {}
    for line in filter(None, (one.strip() for one in written.splitlines())):
        name, colon, measure = (part.strip() for part in line.partition(":"))
        if not colon or name in found:
            said = _("A name once, a colon and what it measures, such as air_pressure: pressure.")
            raise FieldRefused("readings", line, said)
        found[name] = measure
    return found


def qualifications() -> list[str]:
    """Return the qualifications that the catalogue knows."""
    return sorted({one.qualification for one in catalogue().activities.values()})


def subject_kinds(known: Catalogue) -> list[str]:
    """Return the kinds of item that activities can be done on."""
    return sorted({kind for one in known.activities.values() for kind in one.subjects})


def repeat(written: str) -> Any:
    """Return the interval of a rule; `FieldRefused` where it is none."""
    try:
        return overlays.repeat(written)
    except ValueError as error:
        raise FieldRefused("frequency", written, str(error)) from None


def among(name: str, value: str, accepted: Iterable[str]) -> str:
    """Return a word that is one of those accepted; `FieldRefused` otherwise."""
    words = list(accepted)
    if value not in words:
        raise FieldRefused(name, value, ", ".join(words))
    return str(value)


def text(name: str, written: str, longest: int) -> str:
    """Return a text that says something; `FieldRefused` where it is empty or too long."""
    if not 0 < len(written.strip()) <= longest:
        said = _("A text of 1 to %(longest)s characters.") % {"longest": longest}
        raise FieldRefused(name, written[:40], said)
    return written.strip()


def _readings(given: Mapping[str, str]) -> dict[str, str]:
    if len(given) > MOST_READINGS:
        raise FieldRefused("readings", len(given), _("At most 20 readings."))
    for name, measure in given.items():
        if not _READING.fullmatch(name) or len(name) > LONGEST_CODE or name.startswith(LOOKED_UP):
            said = _("Such as air_pressure: small letters and underscores; no baseline_ or last_.")
            raise FieldRefused("readings", name, said)
        among("readings", measure, MEASURES)
    return dict(given)


def _code(code: str) -> str:
    if not _CODE.fullmatch(code) or len(code) > LONGEST_CODE:
        said = _("own- and then small letters, digits and hyphens, such as own-riser-room-look.")
        raise FieldRefused("activity", code, said)
    if Rule.objects.filter(act=Rule.Act.OWN, activity=code).exists():
        raise FieldRefused("activity", code, _("An id that was never used; this one was."))
    return code


def _subjects(known: Catalogue, subjects: Sequence[str]) -> list[str]:
    carrying = subject_kinds(known)
    for subject in subjects:
        among("subjects", subject, carrying)
    if not subjects:
        raise FieldRefused("subjects", "", _("At least one kind of item."))
    return list(dict.fromkeys(subjects))


def _minutes(minutes: float) -> float:
    if not 0 <= minutes <= MOST_MINUTES:
        raise FieldRefused("minutes", minutes, _("A number of minutes from 0 to 600."))
    return float(minutes)
