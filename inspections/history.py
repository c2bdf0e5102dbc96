"""History from before: last days with their evidence, and visits with results, readings, findings.

The sheets are checked with the rest of a portfolio. Last days go into the record with the
inventory; visits are a background job, one transaction each, resumable by the visit's own number.
Until the last is in, a building's history is not complete and it stands as *not known yet*.
"""

import json
from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from typing import Any
from uuid import UUID, uuid5

from buildings import units
from buildings.inventory import subject_kind_of
from buildings.models import Building
from buildings.portfolio import Column, Plan, Row, Sheet, parts
from buildings.portfolio.values import DAY, code, one_of, text, whole
from contractors import files, outbox
from contractors.models import Membership
from contractors.scope import current_contractor_id
from inspections import record
from inspections.catalogue_files import catalogue
from inspections.events.fields import DECIMAL, EventRefused
from inspections.events.kind import CLASSES, GRADES
from inspections.models import Event, Finding, Result, Visit
from inspections.past_visits import Past, known_visits

FINDING_OF = UUID("a4b5f2a1-09f7-5b1e-9b0b-5cb5c6b0de52")
MOST_TOLD_AT_ONCE = 1_000
# Measures of the catalogue's readings -> quantities of the units' table; others take any unit.
QUANTITY_OF = {
    "pressure": "pressure",
    "time": "time",
    "volume_flow": "flow",
    "temperature": "temperature",
    "length": "length",
    "volume": "volume",
    "rotational_speed": "rotation",
    "voltage": "voltage",
    "current": "current",
    "frequency": "frequency",
}
WORD_MEASURES = ("state", "text")

_KIND = one_of(("building", "system", "riser", "device"))
_ITEM_KIND = Column("item_kind", _KIND, also=("what",))
_ITEM = Column("item", code(40), also=("item number",))
_ACTIVITY = Column("activity", code(80), key=True)
_VISIT = Column("visit", code(100), key=True, also=("visit number", "report"))
_GRADE = one_of(GRADES)

LAST_DONE = Sheet(
    "last_done",
    "when activities were last done, where no visit says it, and how good the evidence is",
    (
        Column("building", code(30), key=True),
        Column("item_kind", _KIND, key=True, also=("what",)),
        Column("item", code(40), key=True, also=("item number",)),
        _ACTIVITY,
        Column("last_done", DAY),
        Column("evidence", _GRADE, also=("grade",)),
        Column("by", text(200), also=("done by",)),
        Column("catch_up_by", DAY),
    ),
)
VISITS = Sheet(
    "visits",
    "visits of the past",
    (
        Column("number", code(100), key=True, also=("report number", "visit")),
        Column("building", code(30), needed=True),
        Column("date", DAY, needed=True, also=("done on",)),
        Column("done_by", text(200), also=("technician", "by")),
        Column("evidence", _GRADE, also=("grade",)),
        Column("kind", one_of(Visit.Kind.values)),
        Column("title", text(200), also=("what for",)),
        Column("source", text(200)),
    ),
)
RESULTS = Sheet(
    "results",
    "what was answered at each visit, one row for an item and an activity",
    (
        _VISIT,
        Column("item_kind", _KIND, key=True, also=("what",)),
        Column("item", code(40), key=True, also=("item number",)),
        _ACTIVITY,
        Column("answer", one_of(Result.Answer.values), needed=True, also=("result",)),
        Column("reason", text(400), also=("remark",)),
    ),
)
READINGS = Sheet(
    "readings",
    "what was read at each visit, as it was typed, with its unit",
    (
        _VISIT,
        Column("item_kind", _KIND, key=True, also=("what",)),
        Column("item", code(40), key=True, also=("item number",)),
        _ACTIVITY,
        Column("reading", code(60), key=True, also=("name",)),
        Column("point", code(20), apart=True),
        Column("value", text(60), needed=True),
        Column("unit", text(20)),
    ),
)
FINDINGS = Sheet(
    "findings",
    "what was found wrong, and when it was put right",
    (
        Column("number", code(100), key=True),
        Column("building", code(30), needed=True),
        _ITEM_KIND,
        _ITEM,
        Column("class", one_of(CLASSES), needed=True),
        Column("text", text(600), needed=True, also=("what is wrong",)),
        Column("code", code(80), also=("catalogue row",)),
        Column("activity", code(80), also=("re-test",)),
        Column("location", text(160), also=("where",)),
        Column("count", whole(1, 1_000_000), also=("how many",)),
        Column("measure", text(300), also=("temporary measure",)),
        Column("visit", code(100)),
        Column("found_on", DAY),
        Column("closed_on", DAY),
        Column("closed_by_visit", code(100)),
    ),
)


class History:
    """The part of a portfolio that becomes the record."""

    sheets: tuple[Sheet, ...] = (LAST_DONE, VISITS, RESULTS, READINGS, FINDINGS)

    def check(self, plan: Plan) -> None:
        """Read the history's sheets and lay out what is not in the record yet."""
        reading = _Reading(plan)
        reading.last_done()
        reading.visits()
        reading.results()
        reading.readings()
        reading.findings()
        plan.kept["history"] = reading

    def write(self, plan: Plan, by: Membership | None) -> None:
        """Record the last days, and leave the visits to a job."""
        reading: _Reading = plan.kept["history"]
        for building, told in reading.told.items():
            for start in range(0, len(told), MOST_TOLD_AT_ONCE):
                _take_over(building, told[start : start + MOST_TOLD_AT_ONCE], by)
        past = sorted(reading.past.values(), key=lambda one: (one.done_on, one.key))
        if not past and not reading.loose:
            return
        content = json.dumps({"visits": [vars(p) for p in past], "findings": reading.loose})
        row = files.store(content.encode(), media_type="application/json", name="history.json")
        touched = {p.building for p in past} | {f["building"] for f in reading.loose}
        Building.objects.filter(pk__in=touched).update(history_complete=False)
        outbox.add(
            "portfolio.history", row.sha256, again=True, file=row.pk, by=by.pk if by else None
        )


class _Reading:
    """Reads the history's sheets against the plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.told: dict[Building, list[dict[str, Any]]] = defaultdict(list)
        self.past: dict[str, Past] = {}
        self.known: set[str] = set()
        self.of_visit: dict[str, Building] = {}
        self.loose: list[dict[str, Any]] = []

    def last_done(self) -> None:
        plan, sheet = self.plan, LAST_DONE
        known = _told_already(plan)
        for row, values in plan.rows(sheet):
            building = plan.building(sheet.name, row, values["building"])
            subject = self._subject(sheet, row, building, values) if building else None
            if building is None or subject is None or not self._activity(sheet, row, values):
                continue
            if "last_done" not in values and "catch_up_by" not in values:
                plan.wrong(sheet.name, row, "last_done", "is missing", DAY.accepted)
                continue
            if "last_done" in values and "evidence" not in values:
                plan.wrong(sheet.name, row, "evidence", "is missing", _GRADE.accepted)
                continue
            told = {
                "subject": subject,
                "activity": values["activity"],
                "last_done": _iso(values.get("last_done")),
                "grade": values.get("evidence"),
                "by": values.get("by"),
                "catch_up_by": _iso(values.get("catch_up_by")),
            }
            told = {name: value for name, value in told.items() if value is not None}
            same = known.get((subject["id"], values["activity"])) == told
            plan.counts[sheet.name]["same" if same else "new"] += 1
            if not same:
                self.told[building].append(told)

    def visits(self) -> None:
        plan, sheet = self.plan, VISITS
        self.known = known_visits(_numbers(plan, sheet))
        for row, values in plan.rows(sheet):
            number = values["number"]
            missing = [c for c in sheet.columns if c.needed and c.fills not in values]
            for column in missing:
                plan.wrong(sheet.name, row, column.name, "is missing", column.cell.accepted)
            if missing:
                continue
            building = plan.building(sheet.name, row, values["building"])
            if building is None:
                continue
            grade = values.get("evidence", "own_record")
            if grade != "own_record" and "done_by" not in values:
                plan.wrong(sheet.name, row, "done_by", "is missing", "who did it")
                continue
            self.of_visit[number] = building
            plan.counts[sheet.name]["same" if number in self.known else "new"] += 1
            if number not in self.known:
                self.past[number] = self._past(number, building, grade, values)

    def _past(self, number: str, building: Building, grade: str, values: dict[str, Any]) -> Past:
        person = self.plan.people.get(values.get("done_by", ""))
        done_on = values["date"].isoformat()
        imported = {
            "grade": grade,
            "done_on": done_on,
            "done_by": person.name if person else values.get("done_by"),
            "source": values.get("source"),
            "row": number,
        }
        return Past(
            key=number,
            building=str(building.pk),
            done_on=done_on,
            kind=values.get("kind", Visit.Kind.PROGRAMME.value),
            evidence=grade,
            title=values.get("title", ""),
            technician=str(person.pk) if person else None,
            imported={name: value for name, value in imported.items() if value},
        )

    def results(self) -> None:
        for row, values, past, subject in self._of_visits(RESULTS):
            answer = values.get("answer")
            if answer is None:
                accepted = ", ".join(Result.Answer.values)
                self.plan.wrong(RESULTS.name, row, "answer", "is missing", accepted)
            elif answer == Result.Answer.COULD_NOT and "reason" not in values:
                self.plan.wrong(RESULTS.name, row, "reason", "is missing", "why it could not be")
            elif past is not None:
                payload = {"subject": subject, "activity": values["activity"], "answer": answer}
                if "reason" in values:
                    payload["reason"] = values["reason"]
                past.work.append(("item.set", payload))

    def readings(self) -> None:
        for row, values, past, subject in self._of_visits(READINGS):
            measure = catalogue().activities[values["activity"]].readings.get(values["reading"])
            if measure is None:
                names = ", ".join(catalogue().activities[values["activity"]].readings) or "none"
                accepted = f"readings of {values['activity']}: {names}"
                wrong = "is no reading of this activity"
                self.plan.wrong(READINGS.name, row, "reading", wrong, accepted)
                continue
            quantity = self._quantity(row, values, measure)
            if quantity is None or past is None:
                continue
            payload = {
                "subject": subject,
                "activity": values["activity"],
                "name": values["reading"],
                "typed": f"{values['value']} {values.get('unit', '')}".strip(),
                "value": quantity,
            }
            if "point" in values:
                payload["point"] = values["point"]
            past.work.append(("reading.add", payload))

    def _quantity(self, row: Row, values: dict[str, Any], measure: str) -> dict[str, str] | None:
        value, unit = values.get("value"), values.get("unit", "")
        if value is None:
            self.plan.wrong(READINGS.name, row, "value", "is missing", "what was read")
            return None
        if measure in WORD_MEASURES:
            return {"value": "0", "unit": "word"}
        try:
            number = DECIMAL.check("value", value)
            quantity = QUANTITY_OF.get(measure)
            units.to_si(float(number), unit or "count", quantity)
        except EventRefused as refused:
            self.plan.wrong(READINGS.name, row, "value", "cannot be read", refused.accepted)
            return None
        except units.UnitRefused as refused:
            self.plan.wrong(READINGS.name, row, "unit", "is no unit for this", refused.accepted)
            return None
        return {"value": number, "unit": unit or "count"}

    def findings(self) -> None:
        plan, sheet = self.plan, FINDINGS
        rows = list(plan.rows(sheet))
        contractor = current_contractor_id()
        ids = {v["number"]: uuid5(FINDING_OF, f"{contractor}:{v['number']}") for _r, v in rows}
        known = set(Finding.objects.filter(pk__in=list(ids.values())).values_list("pk", flat=True))
        for row, values in rows:
            finding_id = ids[values["number"]]
            found = self._finding(row, values, str(finding_id))
            if found is None:
                continue
            plan.counts[sheet.name]["same" if finding_id in known else "new"] += 1
            if finding_id in known:
                continue
            visit = self.past.get(values.get("visit", ""))
            (visit.found if visit else self.loose).append(found)
            closer = self.past.get(values.get("closed_by_visit", ""))
            if closer is not None:
                closer.closed.append(str(finding_id))

    def _finding(self, row: Row, values: dict[str, Any], finding_id: str) -> dict[str, Any] | None:
        plan, sheet = self.plan, FINDINGS
        for name in ("building", "class", "text"):
            if name not in values:
                plan.wrong(
                    sheet.name, row, name, "is missing", sheet.by_heading[name].cell.accepted
                )
                return None
        building = plan.building(sheet.name, row, values["building"])
        if building is None:
            return None
        for name in ("visit", "closed_by_visit"):
            number = values.get(name)
            if number and self.of_visit.get(number) != building:
                wrong = "no visit of this building has this number"
                plan.wrong(sheet.name, row, name, wrong, "a number of the sheet visits")
                return None
        subject = self._subject(sheet, row, building, values)
        day = values.get("found_on")
        if subject is None or (values.get("activity") and not self._activity(sheet, row, values)):
            return None
        if day is None and "visit" not in values:
            plan.wrong(sheet.name, row, "found_on", "is missing", DAY.accepted)
            return None
        if values.get("code") and values["code"] not in catalogue().deficiencies:
            accepted = "a row of the catalogue's classes of findings, or nothing"
            plan.wrong(sheet.name, row, "code", "is no such row", accepted)
            return None
        payload = {name: values.get(name) for name in _FINDING_FIELDS}
        payload |= {"finding": finding_id, "subject": subject, "class": values["class"]}
        return {
            "building": str(building.pk),
            "found_on": _iso(day),
            "closed_on": _iso(values.get("closed_on")),
            "payload": {name: value for name, value in payload.items() if value is not None},
        }

    def _of_visits(self, sheet: Sheet) -> Iterator[tuple[Row, dict[str, Any], Past | None, Any]]:
        """Yield rows whose visit, item and activity are known; no visit where it is in already."""
        plan = self.plan
        for row, values in plan.rows(sheet):
            building = self.of_visit.get(values["visit"])
            if building is None:
                wrong = "no visit has this number"
                plan.wrong(sheet.name, row, "visit", wrong, "a number of the sheet visits")
                continue
            subject = self._subject(sheet, row, building, values)
            if subject is None or not self._activity(sheet, row, values):
                continue
            past = self.past.get(values["visit"])
            plan.counts[sheet.name]["same" if past is None else "new"] += 1
            yield row, values, past, subject

    def _subject(
        self, sheet: Sheet, row: Row, building: Building, values: dict[str, Any]
    ) -> dict[str, str] | None:
        kind, number = values.get("item_kind", ""), values.get("item", "")
        found = self.plan.named(building, kind, number)
        if len(found) == 1:
            return {"kind": subject_kind_of(found[0]), "id": str(found[0].pk)}
        wrong = "may be several things: fill in item_kind" if found else "is not at this building"
        accepted = "the number of a device, riser or system of the building"
        self.plan.wrong(sheet.name, row, "item", wrong, accepted)
        return None

    def _activity(self, sheet: Sheet, row: Row, values: dict[str, Any]) -> bool:
        if values["activity"] in catalogue().activities:
            return True
        accepted = "the code of an activity of the catalogue, such as main-drain-annual"
        self.plan.wrong(sheet.name, row, "activity", "there is no such activity", accepted)
        return False


_FINDING_FIELDS = ("code", "text", "location", "count", "measure", "activity")


def _numbers(plan: Plan, sheet: Sheet) -> list[str]:
    table = plan.tables.get(sheet.name)
    number = sheet.by_heading["number"]
    return [
        text
        for row in (table.rows if table else ())
        for heading, text in row.cells.items()
        if sheet.column_for(heading) is number
    ]


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _told_already(plan: Plan) -> dict[tuple[str, str], dict[str, Any]]:
    if LAST_DONE.name not in plan.tables:
        return {}
    found = {}
    rows = Event.objects.filter(stream="building", kind="building.take_over").order_by("position")
    for body in rows.values_list("body", flat=True):
        for told in json.loads(body)["payload"]["activities"]:
            found[told["subject"]["id"], told["activity"]] = told
    return found


def _take_over(building: Building, told: list[dict[str, Any]], by: Membership | None) -> None:
    payload = {
        "building": str(building.pk),
        "on": building.taken_over_on.isoformat(),
        "activities": told,
    }
    entry = record.entry(
        "building.take_over", payload, stream="building", stream_id=building.pk, by=by
    )
    record.append([entry], via=Event.Via.IMPORT, by=by, building=building)


parts.append(History())
