"""Read a version of the catalogue from its tables and check every row of it."""

import hashlib
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import Protocol, TypeVar

from buildings.kinds import TABLE as KINDS
from buildings.kinds import Kinds, load_kinds
from buildings.tables import CatalogueError, Row, in_row, read_table, split
from inspections import catalogue_cells as cells
from inspections import catalogue_figures as figures
from inspections.catalogue import Catalogue
from inspections.catalogue_rows import (
    EVENT,
    OPENING,
    OWN,
    QUALIFICATIONS,
    REGIMES,
    REMARKS,
    Activity,
    Alternation,
    Caution,
    DeficiencyClass,
    EditionDifference,
    FamilyMember,
    PartTest,
    Substitution,
)
from inspections.conditions.units import UNITS, Unit
from inspections.intervals import Span
from inspections.vocabulary import (
    ACT_FACTS,
    ACTIVITY_COLUMNS,
    ItemVocabulary,
    PlainVocabulary,
    ReadingVocabulary,
)

T = TypeVar("T")

VERSION = "version.json"
_ACTIVITY_COLUMNS = (
    "id component system_types kind task frequency frequency_note condition readings criterion "
    "source edition_from edition_to confidence regime season first_after duplicate_of part_of"
)
_RULE_COLUMNS = (
    "id subject applies gate criterion_expr criterion_is group minutes_fixed minutes_per_item "
    "item_unit people water_flow shuts_system needs_station_on_test qualification instrument "
    "family counts_from occurrence note"
)
_SEASONS = ("", "warm_weather", "before_freezing", "cold_weather", "heating_season")
_JUDGES = ("expr", "part", "visual", "person", "none")
_KINDS_OF_WORK = ("inspection", "test", "maintenance")
_OCCURRENCES = ("calendar", "event", "part", "restated", "none")
_ROLES = ("member", "part", "alternative", "restated", "exclusive", "sequence")
_REACHES = ("item", "above", "below", "direct", "system", "building")
_CLASSES = ("impairment", "critical", "noncritical")


_Refuse = Callable[[CatalogueError], None]


def _raise(error: CatalogueError) -> None:
    raise error


def load_catalogue(folder: Path) -> Catalogue:
    """Return the version that a folder of tables holds, every row checked.

    Raises
    ------
    CatalogueError
        With file, row and reason: when a table or column is missing, a name is no attribute,
        reading, limit or regime, a condition cannot be read or its types do not fit, a frequency is
        no duration, zero or negative, a row is there twice, or rows restate, contain or stand for
        each other in a circle.
    """
    return _load(folder, _raise)


def faults(folder: Path) -> list[CatalogueError]:
    """Return every fault of a folder of tables, in the order of reading; empty when it is good."""
    found: list[CatalogueError] = []
    try:
        _load(folder, found.append)
    except CatalogueError as last:
        found.append(last)
    # A table that cannot be read is asked for by several others.
    return list({str(fault): fault for fault in found}.values())


def _load(folder: Path, refuse: _Refuse) -> Catalogue:
    name, digest = _version(folder)
    kinds = load_kinds(folder)
    _check_units(folder)
    read = partial(_read, folder, refuse)
    limits = tuple(read("limits_by_edition.csv", "name value unit", figures.limit))
    tables = _Tables(folder, kinds, {limit.name: limit.unit for limit in limits}, refuse)
    families = tuple(read("families.csv", "family id role reach least", tables.member))
    substitutions = tuple(read("substitutions.csv", "performed closes reach", tables.substitution))
    activities = tables.activities()
    found = Catalogue(
        version=f"{name}+{digest[:12]}",
        digest=digest,
        kinds=kinds,
        activities=activities,
        windows=tuple(w for w in read("tolerances.csv", "regime edition", figures.window) if w),
        limits=limits,
        deficiencies=_keyed(
            "deficiency_classes.csv",
            read("deficiency_classes.csv", "id class response_time", tables.deficiency),
            refuse,
        ),
        cautions=tuple(read("cautions.csv", "scope key holds_for", _caution)),
        families=families,
        part_tests=tuple(read("parts_to_tests.csv", "kind act holds_if", tables.part)),
        differences=tuple(
            read("edition_differences.csv", "activity_id edition_before", tables.change)
        ),
        substitutions=substitutions,
        alternating={
            one.activity_id: one
            for one in read(
                "alternating.csv",
                "activity among opened_by opened_within",
                partial(tables.alternation, activities),
            )
        },
    )
    _check_once(folder, "tolerances.csv", "regime edition nominal", refuse)
    _check_once(folder, "families.csv", "family id role", refuse)
    _check_once(folder, "alternating.csv", "activity", refuse)
    _check_names(folder, found, refuse)
    within = ((one.activity_id, host) for one in families for host in one.rides_on)
    _check_acyclic("families.csv", within, "is done within itself", refuse)
    # Alternatives close each other: that is no circle of work standing for itself.
    either = {(one.family, one.activity_id) for one in families if one.role == "alternative"}
    alike = {(one, other) for name, one in either for family, other in either if name == family} - {
        (one, one) for _, one in either
    }
    pairs = ((one.performed, one.closes) for one in substitutions)
    closing = (pair for pair in pairs if pair not in alike)
    _check_acyclic("substitutions.csv", closing, "stands for itself", refuse)
    return found


def _check_units(folder: Path) -> None:
    """Refuse a unit that nothing can be compared in, before a condition asks for it."""
    for row in read_table(folder / KINDS, ("unit",)):
        with in_row(KINDS, row):
            cells.one_of("unit", row["unit"], ("", *UNITS))


def _check_once(folder: Path, file: str, columns: str, refuse: _Refuse) -> None:
    """Refuse a row that says the same again: the later one would silently count."""
    seen: dict[tuple[str, ...], str] = {}
    for row in read_table(folder / file, tuple(columns.split())):
        key = tuple(row[name] for name in columns.split())
        if first := seen.get(key):
            reason = f"{', '.join(key)} is there twice, in row {first} too"
            refuse(CatalogueError(file, int(row["row"]), reason))
        seen.setdefault(key, row["row"])


def _check_names(folder: Path, found: Catalogue, refuse: _Refuse) -> None:
    """Refuse figures that hold in one edition twice, and names that nothing carries."""
    for name in figures.overlapping(found.limits):
        reason = "two figures hold in one edition"
        refuse(CatalogueError("limits_by_edition.csv", name, reason))
    for activity in found.activities.values():
        for name in activity.families:
            if all(role.family != name for role in found.roles(activity.id)):
                reason = f"family: families.csv has no row {name}, {activity.id}"
                refuse(CatalogueError("activity_rules.csv", activity.id, reason))
    for row in read_table(folder / KINDS, ("default_switches_off",)):
        for name in split(row["default_switches_off"]):
            if name not in found.activities:
                reason = f"default_switches_off: there is no activity {name!r}"
                refuse(CatalogueError(KINDS, int(row["row"]), reason))


def _version(folder: Path) -> tuple[str, str]:
    """Return the version's name, and a digest over all tables whatever their line ends."""
    try:
        name = json.loads((folder / VERSION).read_text(encoding="utf-8"))["version"]
    except (OSError, ValueError, KeyError) as error:
        raise CatalogueError(VERSION, 0, f"names no version: {error}") from None
    digest = hashlib.sha256(str(name).encode())
    for path in sorted(folder.glob("*.csv")):
        digest.update(path.name.encode() + b"\0" + path.read_bytes().replace(b"\r\n", b"\n"))
    return str(name), digest.hexdigest()


def _read(
    folder: Path, refuse: _Refuse, file: str, columns: str, make: Callable[[Row], T]
) -> Iterator[T]:
    for row in read_table(folder / file, tuple(columns.split())):
        try:
            with in_row(file, row):
                made = make(row)
        except KeyError as missing:
            refuse(CatalogueError(file, int(row["row"]), f"{missing} is unknown"))
        except CatalogueError as error:
            refuse(error)
        else:
            yield made


class _HasId(Protocol):
    @property
    def id(self) -> str: ...


_I = TypeVar("_I", bound=_HasId)


def _keyed(file: str, rows: Iterator[_I], refuse: _Refuse) -> dict[str, _I]:
    found: dict[str, _I] = {}
    for row in rows:
        if row.id in found:
            refuse(CatalogueError(file, row.id, "is there twice"))
        found[row.id] = row
    return found


@dataclass(frozen=True)
class _Tables:
    """Makes the rows that refer to other tables."""

    folder: Path
    kinds: Kinds
    limits: Mapping[str, Unit]
    refuse: _Refuse

    def activities(self) -> dict[str, Activity]:
        rules: dict[str, Row] = {}
        for row in read_table(self.folder / "activity_rules.csv", tuple(_RULE_COLUMNS.split())):
            if row["id"] in rules:
                self._refuse_row("activity_rules.csv", row, "is there twice")
            rules[row["id"]] = row
        plain = list(read_table(self.folder / "activities.csv", tuple(_ACTIVITY_COLUMNS.split())))
        found: dict[str, Activity] = {}
        for row in plain:
            rule = rules.pop(row["id"], None)
            if row["id"] in found:
                self._refuse_row("activities.csv", row, "is there twice")
            elif rule is None:
                self._refuse_row("activities.csv", row, "has no rule")
            else:
                try:
                    found[row["id"]] = self._activity(row, rule)
                except CatalogueError as error:
                    self.refuse(error)
        for rule in rules.values():
            self._refuse_row("activity_rules.csv", rule, "has no activity")
        self._check_restated(plain)
        return found

    def _refuse_row(self, file: str, row: Row, reason: str) -> None:
        self.refuse(CatalogueError(file, int(row["row"]), reason))

    def _check_restated(self, rows: list[Row]) -> None:
        targets = {row["id"]: row["duplicate_of"] or row["part_of"] for row in rows}
        for row in rows:
            seen = [row["id"]]
            while target := targets[seen[-1]]:
                if target not in targets:
                    self._refuse_row(
                        "activities.csv", row, f"restates {target!r}, which is no activity"
                    )
                    break
                if target in seen:
                    reason = f"goes in a circle: {' > '.join([*seen, target])}"
                    self._refuse_row("activities.csv", row, reason)
                    break
                seen.append(target)

    def _activity(self, row: Row, rule: Row) -> Activity:
        with in_row("activities.csv", row):
            readings = cells.readings(row["readings"])
            frequency = None if row["frequency"] == EVENT else cells.repeat("frequency", row)
            first_after = cells.repeat("first_after", row) if row["first_after"] else None
            edition_from, edition_to = cells.editions(row)
            kind = cells.one_of("kind", row["kind"], _KINDS_OF_WORK)
            regime = cells.one_of("regime", row["regime"], REGIMES)
            confidence = cells.one_of("confidence", row["confidence"], ("read", "memory"))
            season = cells.one_of("season", row["season"], _SEASONS)
            task, source = cells.filled("task", row), cells.filled("source", row)
            if row["id"].startswith(OWN):
                raise ValueError(f"ids beginning with {OWN} are left to contractors' own rules")
        with in_row("activity_rules.csv", rule):
            subjects = split(rule["subject"])
            for subject in subjects:
                self._kind(subject)
            if not subjects:
                raise ValueError("there is no subject")
            of_item = ItemVocabulary(self.kinds, subjects, self.limits)
            of_reading = ReadingVocabulary(self.kinds, subjects, self.limits, readings)
            item_unit = cells.one_of(
                "item_unit", rule["item_unit"], ("subject", "quantity", "count")
            )
            self._check_unit(item_unit, subjects)
            return Activity(
                id=row["id"],
                component=row["component"],
                system_types=split(row["system_types"]),
                kind=kind,
                task=task,
                frequency=frequency,
                frequency_note=row["frequency_note"],
                condition=row["condition"],
                readings=readings,
                criterion_text=row["criterion"],
                source=source,
                edition_from=edition_from,
                edition_to=edition_to,
                confidence=confidence,
                regime=regime,
                season=season,
                first_after=first_after,
                duplicate_of=row["duplicate_of"],
                part_of=row["part_of"],
                subjects=subjects,
                gate=cells.condition("gate", rule, of_item),
                applies=cells.condition("applies", rule, of_item),
                criterion=(
                    cells.condition("criterion_expr", rule, of_reading)
                    if rule["criterion_expr"]
                    else None
                ),
                criterion_is=cells.one_of("criterion_is", rule["criterion_is"], _JUDGES),
                group=cells.filled("group", rule),
                minutes_fixed=cells.not_negative("minutes_fixed", rule),
                minutes_per_item=cells.not_negative("minutes_per_item", rule),
                item_unit=item_unit,
                people=cells.whole("people", rule),
                water_flow=cells.one_of(
                    "water_flow", rule["water_flow"], ("none", "little", "full")
                ),
                shuts_system=cells.truth("shuts_system", rule),
                needs_station_on_test=cells.truth("needs_station_on_test", rule),
                qualification=cells.one_of("qualification", rule["qualification"], QUALIFICATIONS),
                instruments=split(rule["instrument"]),
                families=split(rule["family"]),
                counts_from=self._carried("counts_from", rule["counts_from"], subjects),
                occurrence=_occurrence(rule, frequency),
                note=rule["note"],
            )

    def _carried(self, column: str, name: str, subjects: tuple[str, ...]) -> str:
        if name and not any(name in self.kinds[subject].attributes for subject in subjects):
            raise ValueError(f"{column}: {', '.join(subjects)} has no attribute {name}")
        return name

    def _check_unit(self, item_unit: str, subjects: tuple[str, ...]) -> None:
        for subject in subjects:
            if item_unit != "subject" and item_unit not in self.kinds[subject].attributes:
                raise ValueError(f"item_unit: {subject} has no attribute {item_unit}")

    def _kind(self, name: str) -> str:
        if name not in self.kinds:
            raise ValueError(f"{name!r} is no kind of kinds.csv")
        return name

    def deficiency(self, row: Row) -> DeficiencyClass:
        return DeficiencyClass(
            id=row["id"],
            component=row["component"],
            finding=row["finding"],
            finding_class=cells.one_of("class", row["class"], _CLASSES),
            class_variation=row["class_variation"],
            follow_up_action=row["follow_up_action"],
            response_days=cells.days("response_time", row),
            response_note=row["response_note"],
            response_basis=row["response_basis"],
            activity_id=self._known(row["activity_id"]),
            source=row["source"],
            confidence=cells.one_of("confidence", row["confidence"], ("read", "memory")),
        )

    def member(self, row: Row) -> FamilyMember:
        rides_on = () if row["rides_on"] == "any" else split(row["rides_on"])
        return FamilyMember(
            family=row["family"],
            activity_id=self._known(row["id"]),
            role=cells.one_of("role", row["role"], _ROLES),
            rides_on=tuple(self._known(one) for one in rides_on),
            joined_by=row["joined_by"],
            reach=cells.one_of("reach", row["reach"] or "item", _REACHES),
            least=cells.whole("least", row, 1) if row["least"] else 1,
            note=row["note"],
        )

    def part(self, row: Row) -> PartTest:
        names = ItemVocabulary(self.kinds, (self._kind(row["kind"]),), self.limits, ACT_FACTS)
        return PartTest(
            part=row["part"],
            kind=row["kind"],
            act=row["act"],
            holds_when=row["holds_when"],
            holds_if=cells.condition("holds_if", row, names),
            activity_id=self._known(row["activity_id"]),
            what=row["what"],
            when=row["when"],
            source=row["source"],
            confidence=cells.confidence(row),
        )

    def change(self, row: Row) -> EditionDifference:
        before, after = (cells.edition(f"edition_{name}", row) for name in ("before", "after"))
        if after <= before:
            raise ValueError(f"the edition after, {after}, is not after the one before, {before}")
        return EditionDifference(
            activity_id=row["activity_id"]
            if row["activity_id"] == "*"
            else self._known(row["activity_id"]),
            edition_before=before,
            edition_after=after,
            what_changed=row["what_changed"],
            source=row["source"],
            confidence=cells.one_of("confidence", row["confidence"], ("read", "memory")),
        )

    def substitution(self, row: Row) -> Substitution:
        return Substitution(
            performed=self._known(row["performed"]),
            closes=self._known(row["closes"]),
            reach=cells.one_of("reach", row["reach"], _REACHES),
            also_needs=tuple(
                cells.one_of("also_needs", n, REMARKS) for n in split(row["also_needs"])
            ),
            same_year=cells.one_of("same_year", row["same_year"], ("", "yes", "no")) == "yes",
            note=row["note"],
            source=row["source"],
            confidence=cells.confidence(row),
        )

    def alternation(self, activities: Mapping[str, Activity], row: Row) -> Alternation:
        activity_id = self._known(row["activity"])
        activity = activities.get(activity_id)
        if activity is not None and activity.frequency is None:
            raise ValueError(f"{activity_id} has no cycle: an event triggers it")
        names = ItemVocabulary(self.kinds, activity.subjects if activity else (), self.limits)
        return Alternation(
            activity_id=activity_id,
            among=cells.condition("among", row, names),
            opened_by=tuple(
                cells.one_of("opened_by", one, OPENING) for one in split(row["opened_by"])
            ),
            opened_within=cells.repeat("opened_within", row),
            note=row["note"],
            source=cells.filled("source", row),
            confidence=cells.confidence(row),
        )

    def _known(self, activity_id: str) -> str:
        if activity_id not in self._ids:
            raise ValueError(f"there is no activity {activity_id!r}")
        return activity_id

    @cached_property
    def _ids(self) -> frozenset[str]:
        return frozenset(row["id"] for row in read_table(self.folder / "activities.csv", ("id",)))


def _check_acyclic(file: str, pairs: Iterable[tuple[str, str]], says: str, refuse: _Refuse) -> None:
    """Refuse pairs that lead from an activity round to itself, each circle once."""
    leads: dict[str, list[str]] = defaultdict(list)
    for one, other in pairs:
        leads[one].append(other)
    done: set[str] = set()

    def walk(path: list[str]) -> None:
        for target in leads.get(path[-1], ()):
            if target in path:
                circle = " > ".join([*path[path.index(target) :], target])
                refuse(CatalogueError(file, target, f"{says}, in a circle: {circle}"))
            elif target not in done:
                walk([*path, target])
        done.add(path[-1])

    for start in list(leads):
        if start not in done:
            walk([start])


def _occurrence(rule: Row, frequency: Span | None) -> str:
    found = cells.one_of("occurrence", rule["occurrence"], _OCCURRENCES)
    if (found == "event" and frequency is not None) or (found == "calendar" and frequency is None):
        raise ValueError(
            f"occurrence is {found!r}, and the activity's frequency is {_said(frequency)}"
        )
    return found


def _said(frequency: Span | None) -> str:
    return EVENT if frequency is None else f"every {frequency}"


def _caution(row: Row) -> Caution:
    return Caution(
        scope=cells.one_of("scope", row["scope"], ("act", "group", "activity")),
        key=row["key"],
        holds_for=cells.condition("holds_for", row, PlainVocabulary(ACTIVITY_COLUMNS)),
        hazard=row["hazard"],
        caution=row["caution"],
        applies_when=row["applies_when"],
        source=row["source"],
    )
