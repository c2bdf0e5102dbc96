"""What an import would do: every row read and checked against the sheets and what is there."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Protocol
from uuid import UUID

from buildings import kinds
from buildings.editing import place_refused
from buildings.models import (
    Adoption,
    Agreement,
    Building,
    Device,
    Engagement,
    Jurisdiction,
    Riser,
    System,
)
from buildings.portfolio.columns import SHEETS, Sheet
from buildings.portfolio.files import Row, Table
from buildings.portfolio.values import Unreadable, plain
from contractors.models import Instrument, Licence, Office, Owner, Person

MOST_PROBLEMS_SHOWN = 200


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a row: where, what, and what is accepted instead."""

    sheet: str
    row: int
    column: str
    value: str
    wrong: str
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """A row of a table as the import leaves it.

    Attributes
    ----------
    what
        new, changed or same.
    changes
        Column to (old, new), where something changes.
    """

    sheet: str
    row: int
    subject: Any
    what: str
    label: str
    changes: Mapping[str, tuple[Any, Any]]


class Part(Protocol):
    """Sheets that an upper app adds, such as the history of visits."""

    sheets: tuple[Sheet, ...]

    def check(self, plan: "Plan") -> None:
        """Read the part's sheets; tell the plan what is wrong, and what would be new."""

    def write(self, plan: "Plan", by: Any) -> None:
        """Write the part, in the transaction of the inventory."""


parts: list[Part] = []
"""What upper apps add when they are ready."""


@dataclass
class Plan:
    """The outcome of reading a portfolio: what would change, or what is wrong."""

    tables: Mapping[str, Table]
    drafts: list[Draft] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    counts: defaultdict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    buildings: dict[str, Building] = field(default_factory=dict)
    items: dict[UUID, dict[str, dict[str, Any]]] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)
    kept: dict[str, Any] = field(default_factory=dict)

    @property
    def changes_nothing(self) -> bool:
        """Say whether everything is there already."""
        return not any(count["new"] or count["changed"] for count in self.counts.values())

    def wrong(
        self, sheet: str, row: Row | int, column: str, wrong: str, accepted: str = ""
    ) -> None:
        """Note something wrong in a row."""
        number = row if isinstance(row, int) else row.number
        value = "" if isinstance(row, int) else _cell(row, column)
        self.problems.append(Problem(sheet, number, column, value, wrong, accepted))

    def building(self, sheet: str, row: Row, code: str) -> Building | None:
        """Return the building of a number, or note that there is none."""
        found = self.buildings.get(code)
        if found is None:
            self.wrong(sheet, row, "building", "no building has this number", "a building's number")
        return found

    def item(self, building: Building, subject_kind: str, code: str) -> Any:
        """Return a system, riser or device of a building by its number, or None."""
        return self.items.get(building.pk, {}).get(subject_kind, {}).get(code)

    def named(self, building: Building, kind: str, code: str) -> list[Any]:
        """Return what a kind (may be empty) and a number may mean at a building."""
        if kind == "building" or (not kind and not code):
            return [building]
        among = [kind] if kind else ["device", "riser", "system"]
        found = (self.item(building, one, code) for one in among)
        return [one for one in found if one is not None]

    def rows(self, sheet: Sheet) -> Iterator[tuple[Row, dict[str, Any]]]:
        """Yield the rows of a sheet that can be read, with their values; note what is wrong."""
        table = self.tables.get(sheet.name)
        if table is None:
            return
        for heading in table.headings:
            known = sheet.column_for(heading) or sheet.takes_attribute(heading)
            if heading and not known:
                accepted = ", ".join(column.name for column in sheet.columns)
                self.wrong(sheet.name, 1, heading, "there is no such column", accepted)
        seen: dict[tuple[Any, ...], int] = {}
        for row in table.rows:
            values = self._values(sheet, row)
            if values is None:
                continue
            key = tuple(values.get(c.fills) for c in sheet.columns if c.key or c.apart)
            if key in seen:
                column = next(c.name for c in sheet.columns if c.key)
                self.wrong(
                    sheet.name, row, column, f"row {seen[key]} says the same", "one row each"
                )
                continue
            seen[key] = row.number
            yield row, values

    def _values(self, sheet: Sheet, row: Row) -> dict[str, Any] | None:
        values: dict[str, Any] = {}
        before = len(self.problems)
        for heading, text in row.cells.items():
            column = sheet.column_for(heading)
            if column is None:
                continue
            try:
                values[column.fills] = column.cell(text)
            except Unreadable as error:
                self.wrong(sheet.name, row, column.name, "cannot be read", str(error))
        for column in sheet.columns:
            if column.key and column.fills not in values and not _cell(row, column.name):
                self.wrong(sheet.name, row, column.name, "is missing", column.cell.accepted)
        if sheet.kind_of is not None:
            self._attributes(sheet, row, values)
        return values if len(self.problems) == before else None

    def _attributes(self, sheet: Sheet, row: Row, values: dict[str, Any]) -> None:
        given = {h: text for h, text in row.cells.items() if sheet.column_for(h) is None}
        given = {h: text for h, text in given.items() if sheet.takes_attribute(h)}
        assert sheet.kind_of is not None
        name = sheet.kind_of(values)
        if name is None:
            # The kind is missing or unreadable, which is said; or the row is of something known.
            values["attributes"] = given
            return
        attributes: dict[str, Any] = {}
        for heading, text in given.items():
            try:
                attributes |= kinds.kind_named(name).normalise({heading: text})
            except kinds.AttributeRefused as refused:
                none = kinds.kinds()[name].attribute_for(heading) is None
                wrong = f"a {name} has no such attribute" if none else "cannot be read"
                self.wrong(sheet.name, row, heading, wrong, refused.accepted)
        values["attributes"] = attributes

    def draft(
        self,
        sheet: str,
        row: Row,
        model: Any,
        known: dict[Any, Any],
        key: Any,
        values: Mapping[str, Any],
        label: str,
    ) -> Any:
        """Note what a row makes of the row of a table that its key names; return that row."""
        existing = known.get(key)
        if existing is None:
            missing = [
                c
                for c in SHEETS[sheet].columns
                if c.needed and c.fills not in values and c.name not in values
            ]
            for column in missing:
                accepted = column.cell.accepted
                self.wrong(sheet, row, column.name, "is missing, and this row is new", accepted)
            if missing:
                return None
            known[key] = model(**values)
            self._note(Draft(sheet, row.number, known[key], "new", label, {}))
            return known[key]
        changes = dict(_changes(existing, values))
        what = "changed" if changes else "same"
        self._note(Draft(sheet, row.number, existing, what, label, changes))
        return existing

    def _note(self, draft: Draft) -> None:
        self.counts[draft.sheet][draft.what] += 1
        if draft.what != "same":
            self.drafts.append(draft)

    def new(self, sheet: str) -> list[Any]:
        """Return the new rows of a sheet's table."""
        return [d.subject for d in self.drafts if d.sheet == sheet and d.what == "new"]


def check(tables: Mapping[str, Table]) -> Plan:
    """Read and check every row of a portfolio; nothing is written.

    Returns
    -------
    Plan
        What would be new and changed; or all that is wrong, with sheet, row, column and what is
        accepted.
    """
    plan = Plan(tables)
    known = {*SHEETS, *(sheet.name for part in parts for sheet in part.sheets)}
    for name in tables:
        if name not in known:
            plan.wrong(name, 1, "", "there is no sheet of this name", ", ".join(sorted(known)))
    for read in _READERS:
        read(plan)
    for part in parts:
        part.check(plan)
    return plan


def _cell(row: Row, column: str) -> str:
    wanted = plain(column)
    return next((text for heading, text in row.cells.items() if plain(heading) == wanted), "")


def _changes(existing: Any, values: Mapping[str, Any]) -> Iterator[tuple[str, tuple[Any, Any]]]:
    for name, value in values.items():
        if name == "attributes":
            for attribute, wanted in value.items():
                had = existing.attributes.get(attribute)
                if had != wanted:
                    yield f"attributes.{attribute}", (had, wanted)
            continue
        field_name = existing._meta.get_field(name).attname
        had, wanted = getattr(existing, field_name), getattr(value, "pk", value)
        if had != wanted:
            yield field_name, (had, wanted)


def _offices(plan: Plan) -> None:
    known = {office.name: office for office in Office.objects.all()}
    for row, values in plan.rows(SHEETS["offices"]):
        name = values["name"]
        plan.draft("offices", row, Office, known, name, values, name)
    plan.kept["offices"] = known


def _people(plan: Plan) -> None:
    plan.people = {person.code: person for person in Person.objects.all()}
    for row, values in plan.rows(SHEETS["people"]):
        if not _refer(plan, "people", row, values, "office", plan.kept["offices"].get):
            continue
        code = values["code"]
        plan.draft("people", row, Person, plan.people, code, values, values.get("name", code))


def _licences(plan: Plan) -> None:
    known = {(x.person_id, x.kind, x.valid_from): x for x in Licence.objects.all()}
    for row, values in plan.rows(SHEETS["licences"]):
        if not _refer(plan, "licences", row, values, "person", plan.people.get):
            continue
        key = (values["person"].pk, values["kind"], values["valid_from"])
        label = f"{values['person']}: {values['kind']}"
        plan.draft("licences", row, Licence, known, key, values, label)


def _instruments(plan: Plan) -> None:
    known = {instrument.serial: instrument for instrument in Instrument.objects.all()}
    for row, values in plan.rows(SHEETS["instruments"]):
        serial = values["serial"]
        plan.draft("instruments", row, Instrument, known, serial, values, serial)


def _jurisdictions(plan: Plan) -> None:
    known = {one.name: one for one in Jurisdiction.objects.all()}
    adopted = {(a.jurisdiction_id, a.valid_from): a for a in Adoption.objects.all()}
    told: set[str] = set()
    for row, values in plan.rows(SHEETS["jurisdictions"]):
        edition, valid_from = values.pop("edition", None), values.pop("valid_from")
        name = values["name"]
        if edition is None:
            plan.wrong("jurisdictions", row, "edition", "is missing", "a year such as 2020")
            continue
        values_of_it = values if name not in told else {"name": name}
        found = known.get(name)
        if found is None:
            found = known[name] = Jurisdiction(**values_of_it)
            plan._note(Draft("jurisdictions", row.number, found, "new", name, {}))
        elif changes := dict(_changes(found, values_of_it)):
            plan._note(Draft("jurisdictions", row.number, found, "changed", name, changes))
        told.add(name)
        key, label = (found.pk, valid_from), f"{name}: {edition} from {valid_from}"
        facts = {"jurisdiction": found, "edition": edition, "valid_from": valid_from}
        was = adopted.get(key)
        what = "new" if was is None else "same" if was.edition == edition else "changed"
        subject = was or Adoption(**facts)
        changes = {"edition": (was.edition, edition)} if was and what == "changed" else {}
        plan._note(Draft("adoptions", row.number, subject, what, label, changes))
    plan.kept["jurisdictions"] = known


def _owners(plan: Plan) -> None:
    table = plan.tables.get("owners")
    codes = {text.lower() for row in table.rows for text in row.cells.values()} if table else set()
    codes |= {
        _cell(row, "owner").lower()
        for row in (plan.tables["engagements"].rows if "engagements" in plan.tables else ())
    }
    known = {owner.code: owner for owner in Owner.objects.filter(code__in=codes)}
    for row, values in plan.rows(SHEETS["owners"]):
        code = values["code"]
        there = known.get(code)
        if there is not None and there.name != values.get("name", there.name):
            wrong = "this code stands for an owner of another name"
            plan.wrong("owners", row, "code", wrong, "another code, or the owner's own name")
            continue
        plan.draft("owners", row, Owner, known, code, values, values.get("name", code))
    plan.kept["owners"] = known


def _buildings(plan: Plan) -> None:
    plan.buildings = {b.code: b for b in Building.objects.select_related("jurisdiction")}
    for row, values in plan.rows(SHEETS["buildings"]):
        get = plan.kept["jurisdictions"].get
        if not _refer(plan, "buildings", row, values, "jurisdiction", get):
            continue
        code = values["code"]
        label = f"{code} {values.get('name', '')}".strip()
        plan.draft("buildings", row, Building, plan.buildings, code, values, label)


def _dated(sheet: str, model: Any, day: str, other: str = "") -> Callable[[Plan], None]:
    """Return the reader of a sheet of what holds for a building from a day on."""

    def read(plan: Plan) -> None:
        def key(of: Any) -> tuple[Any, ...]:
            return (of.building_id, getattr(of, day), getattr(of, f"{other}_id", None))

        known = {key(one): one for one in model.objects.all()}
        for row, values in plan.rows(SHEETS[sheet]):
            building = plan.building(sheet, row, values["building"])
            if building is None:
                continue
            values["building"] = building
            if other and not _refer(plan, sheet, row, values, other, plan.kept["owners"].get):
                continue
            ends = values.get("until_on") or values.get("valid_until")
            if ends and ends < values[day]:
                plan.wrong(sheet, row, "until", "lies before the first day", "a later day")
                continue
            label = f"{building} from {values[day]}"
            plan.draft(sheet, row, model, known, key(model(**values)), values, label)

    return read


def _systems(plan: Plan) -> None:
    _load_items(plan)
    rows = list(_of_buildings(plan, "systems"))
    later = []
    for row, values in rows:
        parent = values.pop("parent", None)
        made = _item(plan, "systems", row, System, values)
        if made is not None and parent:
            later.append((row, made, parent))
    for row, made, parent in later:
        _hang(plan, "systems", row, made, "parent", parent, "system")


def _risers(plan: Plan) -> None:
    for row, values in _of_buildings(plan, "risers"):
        if _refer_item(plan, "risers", row, values, "system"):
            _item(plan, "risers", row, Riser, values)


def _devices(plan: Plan) -> None:
    later = []
    for row, values in _of_buildings(plan, "devices"):
        parent = values.pop("parent", None)
        if not _refer_item(plan, "devices", row, values, "system"):
            continue
        if not _refer_item(plan, "devices", row, values, "riser"):
            continue
        riser, system = values.get("riser"), values.get("system")
        if riser is not None and system is None:
            values["system"] = riser.system
        elif riser is not None and system is not None and riser.system_id != system.pk:
            plan.wrong("devices", row, "riser", "is a riser of another system", system.code)
            continue
        if "kind" in values:
            values.setdefault("name", values["kind"].replace("_", " ").capitalize())
        made = _item(plan, "devices", row, Device, values)
        if made is not None:
            later.append((row, made, parent))
    for row, made, parent in later:
        if parent:
            _hang(plan, "devices", row, made, "parent", parent, "device")
        _check_place(plan, row, made)


def _check_place(plan: Plan, row: Row, device: Any) -> None:
    accepted = place_refused(device)
    if accepted:
        plan.wrong("devices", row, "kind", f"a {device.kind} cannot hang there", accepted)


def _load_items(plan: Plan) -> None:
    named = set()
    for name, table in plan.tables.items():
        if name not in ("buildings",):
            named |= {_cell(row, "building") for row in table.rows}
    ids = [b.pk for code, b in plan.buildings.items() if code in named]
    by_id = {b.pk: b for b in plan.buildings.values()}
    for model in (System, Riser, Device):
        for one in model.objects.filter(building_id__in=ids):
            one.building = by_id[one.building_id]
            of_kind = plan.items.setdefault(one.building_id, {}).setdefault(one.subject_kind, {})
            of_kind[one.code] = one
    for of_building in plan.items.values():
        _connect(of_building)


def _connect(of_building: Mapping[str, Mapping[str, Any]]) -> None:
    """Set what items hang on from what is loaded, so that no query is needed for it."""
    for name in ("system", "riser", "parent"):
        for kind in ("system", "riser", "device"):
            of = "device" if (name, kind) == ("parent", "device") else name
            of = "system" if (name, kind) == ("parent", "system") else of
            by_id = {one.pk: one for one in of_building.get(of, {}).values()}
            for one in of_building.get(kind, {}).values():
                above = by_id.get(getattr(one, f"{name}_id", None))
                if above is not None:
                    setattr(one, name, above)


def _of_buildings(plan: Plan, sheet: str) -> Iterator[tuple[Row, dict[str, Any]]]:
    for row, values in plan.rows(SHEETS[sheet]):
        building = plan.building(sheet, row, values["building"])
        if building is not None:
            yield row, {**values, "building": building}


def _item(plan: Plan, sheet: str, row: Row, model: Any, values: dict[str, Any]) -> Any:
    building = values["building"]
    kind = model.subject_kind
    known = plan.items.setdefault(building.pk, {}).setdefault(kind, {})
    existing = known.get(values["code"])
    if existing is not None and not _same_kind(plan, sheet, row, existing, values):
        return None
    begins, ends = values.get("in_service_from"), values.get("in_service_to")
    if isinstance(begins, date) and isinstance(ends, date) and ends < begins:
        plan.wrong(sheet, row, "in_service_to", "lies before in_service_from", "a later day")
        return None
    label = f"{building.code}: {values['code']} {values.get('name', '')}".strip()
    return plan.draft(sheet, row, model, known, values["code"], values, label)


def _same_kind(plan: Plan, sheet: str, row: Row, existing: Any, values: dict[str, Any]) -> bool:
    """Read attributes of a known item whose row does not repeat its kind."""
    if "kind" in values or not values.get("attributes"):
        return True
    try:
        known = kinds.kind_named(existing.item_kind)
        values["attributes"] = known.normalise(values["attributes"])
    except kinds.AttributeRefused as refused:
        plan.wrong(sheet, row, refused.attribute, "cannot be read", refused.accepted)
        return False
    return True


def _refer(
    plan: Plan, sheet: str, row: Row, values: dict[str, Any], name: str, get: Callable[[Any], Any]
) -> bool:
    """Put the row that a cell names in its place; False where there is none."""
    if name not in values:
        return True
    found = get(values[name])
    if found is None:
        plan.wrong(sheet, row, name, f"no {name} of this name or code is known", f"a known {name}")
        return False
    values[name] = found
    return True


def _refer_item(plan: Plan, sheet: str, row: Row, values: dict[str, Any], name: str) -> bool:
    def get(code: str) -> Any:
        return plan.item(values["building"], name, code)

    return _refer(plan, sheet, row, values, name, get)


def _hang(plan: Plan, sheet: str, row: Row, made: Any, name: str, code: str, kind: str) -> None:
    """Hang an item on another one of its building, which may stand further down the sheet."""
    found = plan.item(made.building, kind, code)
    if found is None or found is made:
        plan.wrong(sheet, row, name, f"no {kind} of this building has this number", f"a {kind}")
        return
    if made.parent_id == found.pk:
        return
    had = made.parent_id
    made.parent = found
    for place, draft in enumerate(plan.drafts):
        if draft.subject is made:
            if draft.what == "changed":
                changes = {**draft.changes, "parent_id": (had, found.pk)}
                plan.drafts[place] = Draft(
                    draft.sheet, draft.row, made, "changed", draft.label, changes
                )
            return
    plan.counts[sheet]["same"] -= 1
    plan._note(Draft(sheet, row.number, made, "changed", str(made), {"parent_id": (had, found.pk)}))


_READERS: tuple[Callable[[Plan], None], ...] = (
    _offices,
    _people,
    _licences,
    _instruments,
    _jurisdictions,
    _owners,
    _buildings,
    _dated("engagements", Engagement, "from_on", "owner"),
    _dated("agreements", Agreement, "valid_from"),
    _systems,
    _risers,
    _devices,
)
