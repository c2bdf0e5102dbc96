"""The ladder of escalation as data: who is told after how long, class by class."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext as _

from contractors import audit
from contractors.models import Membership
from contractors.refusal import FieldRefused
from inspections.models import Finding
from scheduling import responses
from scheduling.models import Basis, Ladder

Rung = Ladder.Rung
FILE = Path(settings.BASE_DIR) / "fixtures" / "followups" / "ladders.csv"
# Hours for an impairment, days otherwise.
MOST = {"impairment": 24 * 90, "critical": 730, "noncritical": 730}
MOST_STEPS = 12


@dataclass(frozen=True, slots=True, order=True)
class Step:
    """One step of a ladder.

    Attributes
    ----------
    after
        Hours out of service for an impairment; days past the day owed for a deficiency, negative
        for days before it.
    every
        Repeated so often from then on, in the same unit; 0 for once.
    tell
        Words of `Ladder.Rung`.
    """

    after: int
    every: int
    tell: tuple[str, ...]

    @property
    def mark(self) -> str:
        """Return what names the step where it is written down that it was done."""
        return f"{self.after}:{'+'.join(self.tell)}"

    def turn(self, passed: float) -> int | None:
        """Return which turn is reached after so long, from 0 on; None before the first."""
        if passed < self.after:
            return None
        return int((passed - self.after) // self.every) if self.every else 0

    def next_after(self, passed: float) -> int | None:
        """Return when its next turn comes; None where none does."""
        turn = self.turn(passed)
        if turn is None:
            return self.after
        return self.after + (turn + 1) * self.every if self.every else None

    def as_data(self) -> dict[str, Any]:
        """Return the step as it is stored and given out."""
        return {"after": self.after, "every": self.every, "tell": list(self.tell)}


def reached(
    steps: Sequence[Step], passed: float, sent: Mapping[str, int]
) -> list[tuple[Step, int]]:
    """Return the steps whose turn has come and was not done, the highest first.

    Of a step that repeats, only the newest turn: nobody gets what was missed all at once.
    """
    found = []
    for step in sorted(steps, reverse=True):
        turn = step.turn(passed)
        if turn is not None and turn > sent.get(step.mark, -1):
            found.append((step, turn))
    return found


def next_turn(steps: Sequence[Step], passed: float) -> int | None:
    """Return when the next step's turn comes, in the ladder's unit; None where none does."""
    return min((n for step in steps if (n := step.next_after(passed)) is not None), default=None)


@cache
def customary() -> dict[str, tuple[Step, ...]]:
    """Return the ladders that hold where none was set; common practice, no source."""
    found: dict[str, list[Step]] = {}
    with FILE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            raw = {"after": row["after"], "every": row["every"], "tell": row["tell"].split(";")}
            found.setdefault(row["class"], []).append(_step(raw, row["class"]))
    return {grade: tuple(sorted(steps)) for grade, steps in found.items()}


class Ladders:
    """The ladders in force on a day, read once."""

    def __init__(self, on: date) -> None:
        self.set: dict[str, Ladder] = {}
        self._later: dict[str, date] = {}
        for row in Ladder.objects.order_by("-valid_from", "-recorded_at", "-pk"):
            if row.valid_from > on:
                self._later[row.grade] = row.valid_from
            else:
                self.set.setdefault(row.grade, row)

    def changes_on(self, grade: str) -> date | None:
        """Return the next day on which another ladder comes into force for a class."""
        return self._later.get(grade)

    def steps(self, grade: str) -> tuple[Step, ...]:
        """Return a class's steps, by when they come; none for an observation."""
        row = self.set.get(grade)
        if row is None:
            return customary().get(grade, ())
        return tuple(sorted(Step(s["after"], s["every"], tuple(s["tell"])) for s in row.steps))


def checked(grade: str, raw: Any) -> list[Step]:
    """Return the steps of a ladder that somebody wrote.

    Raises
    ------
    FieldRefused
        Naming the step and what is accepted. A ladder about impairments tells the service manager
        within the first hour.
    """
    if grade not in responses.ANSWERED:
        raise FieldRefused("grade", grade, ", ".join(responses.ANSWERED))
    if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_STEPS:
        raise FieldRefused("steps", raw, _("A list of 1 to 12 steps."))
    steps = [_step(one, grade, f"steps.{place}") for place, one in enumerate(raw)]
    if len({step.mark for step in steps}) < len(steps):
        raise FieldRefused("steps", raw, _("Each step once: no two alike."))
    early = any(step.after <= 1 and Rung.MANAGER in step.tell for step in steps)
    if grade == Finding.Class.IMPAIRMENT and not early:
        said = _("For an impairment the service manager is told within the first hour.")
        raise FieldRefused("steps", raw, said)
    return sorted(steps)


def _step(raw: Any, grade: str, field: str = "steps") -> Step:
    if not isinstance(raw, dict):
        raise FieldRefused(field, raw, _("A step with after, every and tell."))
    most = MOST[grade]
    least = 0 if grade == Finding.Class.IMPAIRMENT else -most
    after = _whole(raw.get("after"), least, most, f"{field}.after")
    every = _whole(raw.get("every", 0), 0, most, f"{field}.every")
    tell = raw.get("tell")
    if not isinstance(tell, list) or not tell or not set(tell) <= set(Rung.values):
        raise FieldRefused(f"{field}.tell", tell, ", ".join(Rung.values))
    return Step(after, every, tuple(one for one in Rung.values if one in tell))


def _whole(value: Any, least: int, most: int, field: str) -> int:
    said = _("A whole number from %(least)s to %(most)s.") % {"least": least, "most": most}
    if isinstance(value, bool):
        raise FieldRefused(field, value, said)
    try:
        number = int(str(value))
    except ValueError:
        raise FieldRefused(field, value, said) from None
    if not least <= number <= most:
        raise FieldRefused(field, value, said)
    return number


def set_ladder(
    *,
    grade: str,
    steps: Any,
    valid_from: date,
    by: Membership,
    basis: str = Basis.PRACTICE,
    source: str = "",
) -> Ladder:
    """Set who is told after how long about findings of a class, from a day on.

    Steps that were done stay done; open follow-ups climb the new ladder from where they are.
    """
    row: Ladder = Ladder.objects.create(
        grade=grade,
        steps=[step.as_data() for step in checked(grade, steps)],
        basis=basis,
        source=responses.checked_source(basis, source),
        valid_from=responses.checked_start(valid_from, timezone.localdate()),
        recorded_at=timezone.now(),
        recorded_by=by,
    )
    audit.record("ladder.set", by=by, on=row, grade=grade, steps=row.steps)
    return row
