"""The rows of a catalogue: activities and what else its tables say, each an immutable record."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from inspections.conditions.compiled import Condition
from inspections.conditions.units import Unit
from inspections.intervals import Span

REGIME_WORDS = {
    "nfpa25": "NFPA 25",
    "nfpa72": "NFPA 72",
    "ca_title19": "California Title 19",
    "osha": "OSHA",
    "bs_en_12845": "BS EN 12845",
    "as_1851": "AS 1851",
    "cms": "CMS",
    "joint_commission": "Joint Commission",
    "local": "local rule",
    "own": "our own",
}

# Regimes that activities belong to.
REGIMES = ("nfpa25", "nfpa72", "ca_title19", "osha", "bs_en_12845", "local")
# What work asks of whoever does it.
QUALIFICATIONS = (
    *("none", "owner_staff", "inspector", "journeyman", "pump_tester", "backflow_tester"),
    *("fire_alarm", "electrician", "engine_mechanic", "foam", "mist", "tank_inspector"),
    *("laboratory", "competent_person_uk"),
)
# The frequency of work that an event triggers and the calendar never does.
EVENT = "EVENT"
OWN = "own-"
# What a result may say was done besides, so that other work counts as done too.
REMARKS = (
    *("cover_opened", "air_device_operated", "quick_opening_operated", "automatic_start"),
    *("full_run_time", "valve_flowed", "signal_recorded"),
)
# Answers that may make alternating work owed at all of its items.
OPENING = ("finding", "fail")
# Readings that are looked up in the record rather than taken.
LOOKED_UP = ("baseline_", "last_")


def regime_words(name: str) -> str:
    """Return a regime as it is known: ``nfpa25`` is "NFPA 25"."""
    return REGIME_WORDS.get(name, name.replace("_", " "))


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A rule laid over a version of the catalogue: an authority's amendment, or a contractor's own.

    Attributes
    ----------
    rule
        Its id.
    act
        ``off``, ``frequency``, ``criterion`` (amendments, which are law and may loosen),
        ``stricter`` (a contractor's own, only more often or judged more strictly), ``own`` (an
        activity of its own) or ``takes_in`` (longer work takes in the shorter: law or contract).
    activity
        The activity changed or added; ids of own ones begin with ``own-``. ``*`` for all.
    from_on
        First day in force.
    whose
        The authority's name; empty for the contractor's own.
    frequency
        ISO 8601 duration, where one is set.
    criterion
        Condition on the readings, where one is set.
    definition
        The columns of an own activity, as JSON with sorted keys.
    """

    rule: str
    act: str
    activity: str
    from_on: date
    whose: str = ""
    source: str = ""
    reason: str = ""
    frequency: str = ""
    criterion: str = ""
    definition: str = ""

    def __str__(self) -> str:
        whose = f"Amended by {self.whose}" if self.whose else "A rule of the contractor's own"
        said = "; ".join(text for text in (self.source, self.reason) if text)
        return f"{whose}, in force from {self.from_on}: {said}."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Activity:
    """One activity of the catalogue: a row of the rules with its conditions.

    Attributes
    ----------
    id, component, system_types, kind, task
        As the table states them; `kind` is inspection, test or maintenance.
    frequency
        The repeat; None for work that an event triggers and the calendar never does.
    first_after
        Age at which it falls due for the first time; None where it falls due at once.
    counts_from
        Attribute of the item that holds the year or day its age is counted from; empty where
        time runs from acceptance or the last performance.
    edition_from, edition_to
        First and last edition that has it; None for no bound.
    regime
        Whose rule it is: nfpa25, nfpa72, ca_title19, osha, bs_en_12845, local.
    subjects
        Kinds of item that carry it.
    gate, applies
        Conditions of the regime, and of the item.
    criterion, criterion_is
        Condition on the readings, and how far it judges: ``expr`` wholly, ``part`` in part (a
        person judges the rest), ``visual`` and ``person`` not at all.
    group, minutes_fixed, minutes_per_item, item_unit, people
        For planning; minutes are estimates. `item_unit` is ``subject`` or the attribute that
        counts.
    water_flow, shuts_system, needs_station_on_test, season, qualification, instruments
        What it takes. `water_flow` is none, little or full.
    families
        Families of the same physical work.
    occurrence
        calendar, event, part, restated, or none (an exemption that creates no task).
    duplicate_of, part_of
        The activity that it restates, or within which it is done; empty otherwise.
    confidence
        ``read`` or ``memory``; a memory row is to be confirmed by a person.
    caution
        Of an activity of the contractor's own: what can hurt somebody, and what is done about it.
    changes
        Rules laid over the row of the version.
    switched_off
        The amendment by which an authority does without it; None while it stands.
    """

    id: str
    component: str
    system_types: tuple[str, ...]
    kind: str
    task: str
    frequency: Span | None
    frequency_note: str
    condition: str
    readings: Mapping[str, str]
    criterion_text: str
    source: str
    edition_from: int | None
    edition_to: int | None
    confidence: str
    regime: str
    season: str
    first_after: Span | None
    duplicate_of: str
    part_of: str
    subjects: tuple[str, ...]
    gate: Condition
    applies: Condition
    criterion: Condition | None
    criterion_is: str
    group: str
    minutes_fixed: float
    minutes_per_item: float
    item_unit: str
    people: int
    water_flow: str
    shuts_system: bool
    needs_station_on_test: bool
    qualification: str
    instruments: tuple[str, ...]
    families: tuple[str, ...]
    counts_from: str
    occurrence: str
    note: str
    caution: str = ""
    changes: tuple[Change, ...] = ()
    switched_off: Change | None = None

    @property
    def asked_since(self) -> date | None:
        """Return the day from which a contractor's own activity is asked; None for all others."""
        return next((one.from_on for one in self.changes if one.act == "own"), None)

    @property
    def first_age(self) -> Span | None:
        """Return the age at which it is first due: the repeat, where only the age counts."""
        return self.first_after or (self.frequency if self.counts_from else None)

    def counted_from(self, attributes: Mapping[str, Any]) -> date | None:
        """Return the day from which an item's age is counted; None when nobody has said.

        A year alone counts from its first day, so the test is rather early than late (common
        practice, no source).
        """
        value = attributes.get(self.counts_from)
        if value is None:
            return None
        return date(value, 1, 1) if isinstance(value, int) else date.fromisoformat(value)

    def in_edition(self, edition: int | None) -> bool | None:
        """Say whether an adopted edition has this activity; None when the edition is unknown."""
        if self.edition_from is None and self.edition_to is None:
            return True
        if edition is None:
            return None
        return (self.edition_from or edition) <= edition <= (self.edition_to or edition)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alternation:
    """Work that every other item of a building has in each cycle, the rest in the next one.

    Attributes
    ----------
    among
        Which items take turns; the others have it in every cycle.
    opened_by
        Answers at one item that make it owed at all of them.
    opened_within
        How long they then have.
    """

    activity_id: str
    among: Condition
    opened_by: tuple[str, ...]
    opened_within: Span
    note: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A figure of the criteria in some editions; `value` is in `unit_name`."""

    name: str
    edition_from: int | None
    edition_to: int | None
    value: float
    unit_name: str
    unit: Unit
    meaning: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DeficiencyClass:
    """What a finding is classed as, and how soon it is answered.

    Attributes
    ----------
    finding_class
        impairment, critical or noncritical.
    response_days
        Days until the follow-up is due; 0 for at once.
    """

    id: str
    component: str
    finding: str
    finding_class: str
    class_variation: str
    follow_up_action: str
    response_days: int
    response_note: str
    response_basis: str
    activity_id: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Caution:
    """What can hurt somebody or do damage at an act, and what is done about it."""

    scope: str
    key: str
    holds_for: Condition
    hazard: str
    caution: str
    applies_when: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyMember:
    """An activity's place in a family of the same physical work.

    Attributes
    ----------
    role
        member, part, alternative, restated, exclusive or sequence.
    rides_on
        Activities within which a part is done, or which a restated row repeats; empty for any
        member of the family.
    reach
        How far off the other item may be: ``item`` itself, ``above`` or ``below`` it, ``direct``
        (hangs on it or on something above it), ``system``, ``building``.
    least
        How many other items must have the other row before this one is dropped.
    """

    family: str
    activity_id: str
    role: str
    rides_on: tuple[str, ...]
    joined_by: str
    reach: str
    least: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartTest:
    """A test owed when a part has been worked on."""

    part: str
    kind: str
    act: str
    holds_when: str
    holds_if: Condition
    activity_id: str
    what: str
    when: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EditionDifference:
    """What changed about an activity (``*`` for all) between two editions."""

    activity_id: str
    edition_before: int
    edition_after: int
    what_changed: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitution:
    """Work that closes other open work by its content.

    Attributes
    ----------
    also_needs
        Remarks that the result must carry for it to count, such as ``cover_opened``.
    same_year
        It stands for the year's one, wherever in the year that falls.
    """

    performed: str
    closes: str
    reach: str
    also_needs: tuple[str, ...]
    same_year: bool
    note: str
    source: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Act:
    """An activity done on an item, for reckoning minutes.

    Attributes
    ----------
    item, place
        What it is done on, and where that stands: set-up counts once for each place.
    count
        How many the item stands for where the activity counts one (its ``quantity``).
    """

    activity: Activity
    item: str
    place: str
    count: int = 1
