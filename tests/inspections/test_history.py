"""Visits of the past come into the record through the import, once each."""

from datetime import date

import pytest

from buildings import portfolio
from buildings.models import Building, Riser
from contractors import outbox
from contractors.models import OutboxMessage
from inspections import record
from inspections.models import Event, Finding, Reading, Result, Visit
from tests.buildings.portfolio_rows import small

DAY = date(2026, 11, 25)


def bring_in(scene, rows):
    with scene.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
        assert plan.problems == []
        portfolio.apply(plan, by=scene.office, reason="first import", valid_from=DAY)
    return plan


def work_off(scene):
    message = OutboxMessage.objects.get(contractor=scene.contractor, kind="portfolio.history")
    assert outbox.run(message.pk)
    return message


@pytest.fixture
def imported(ours):
    bring_in(ours, small())
    return ours


def test_history_is_incomplete_until_the_last_visit_is_in(imported):
    with imported.scope():
        assert not Building.objects.get(code="A-1").history_complete
    work_off(imported)
    with imported.scope():
        assert Building.objects.get(code="A-1").history_complete


def test_imported_visits_are_sealed_with_their_evidence_and_day(imported):
    work_off(imported)
    with imported.scope():
        first, second = Visit.objects.exclude(import_key="").order_by("performed_on")
        assert (first.state, first.evidence, first.performed_on) == (
            "sealed",
            "own_record",
            date(2025, 5, 6),
        )
        assert first.technician.code == "RW"
        assert (second.evidence, second.technician) == ("other_report", None)
        assert [r.answer for r in second.results.all()] == ["fail"]


def test_readings_are_kept_as_typed_and_in_si(imported):
    work_off(imported)
    with imported.scope():
        residual = Reading.objects.get(name="residual_pressure")
        assert residual.typed == "62.5 psi"
        # Exact definition of the pound-force per square inch: 6894.757293168 Pa (from memory).
        assert residual.value_si == pytest.approx(62.5 * 6894.757293168)


def test_findings_are_opened_and_closed_by_their_visits(imported):
    work_off(imported)
    with imported.scope():
        found = {f.text.split()[0]: f for f in Finding.objects.all()}
        assert (found["No"].state, found["No"].grade) == ("open", "critical")
        assert found["No"].found_on == date(2026, 5, 7)
        assert found["Two"].state == "closed"
        assert found["Two"].closed_by_visit.import_key == "V-2"
        assert found["Racks"].visit is None
        assert found["Racks"].found_on == date(2026, 2, 2)


def test_every_chain_holds_after_an_import(imported):
    work_off(imported)
    with imported.scope():
        streams = set(Event.objects.values_list("stream", "stream_id"))
        assert {stream for stream, _ in streams} == {"visit", "finding", "building"}
        assert all(record.verify(*stream).holds for stream in streams)


def test_importing_twice_changes_nothing(imported):
    work_off(imported)
    with imported.scope():
        before = Event.objects.count()
        again = portfolio.check(portfolio.from_rows(small()))
        assert again.changes_nothing
    bring_in(imported, small())
    with imported.scope():
        assert Event.objects.count() == before


def test_a_job_that_stopped_half_way_goes_on_where_it_ended(imported, monkeypatch):
    whole = record.append
    calls = []

    def breaks(entries, **options):
        calls.append(entries)
        if len(calls) == 2:
            raise ConnectionError
        return whole(entries, **options)

    monkeypatch.setattr(record, "append", breaks)
    message = OutboxMessage.objects.get(kind="portfolio.history")
    assert not outbox.run(message.pk)
    with imported.scope():
        assert Visit.objects.exclude(import_key="").count() == 1
        assert not Building.objects.get(code="A-1").history_complete
    monkeypatch.undo()
    OutboxMessage.objects.update(not_before=message.made_at)
    work_off(imported)
    with imported.scope():
        assert Visit.objects.exclude(import_key="").count() == 2
        assert Result.objects.count() == 2
        assert Building.objects.get(code="A-1").history_complete


def test_last_days_come_with_their_grade(imported):
    with imported.scope():
        event = Event.objects.get(kind="building.take_over")
        told = record.payload_of(event)["activities"]
    assert [(t["activity"], t["last_done"], t["grade"]) for t in told] == [
        ("sprinkler-visual", "2025-05-02", "owners_word")
    ]


WRONG = [
    ("last_done", {"activity": "no-such"}, "activity"),
    ("last_done", {"evidence": ""}, "evidence"),
    ("last_done", {"item": "D9"}, "item"),
    ("visits", {"date": "yesterday"}, "date"),
    ("visits", {"building": "Z-9"}, "building"),
    ("results", {"visit": "V-9"}, "visit"),
    ("results", {"answer": "could_not"}, "reason"),
    ("results", {"answer": "maybe"}, "answer"),
    ("readings", {"unit": "gpm"}, "unit"),
    ("readings", {"value": "about 60"}, "value"),
    ("readings", {"reading": "trip_time"}, "reading"),
    ("findings", {"class": "grave"}, "class"),
    ("findings", {"visit": "V-9"}, "visit"),
    ("findings", {"code": "nothing-like-it"}, "code"),
]


@pytest.mark.parametrize(("sheet", "change", "column"), WRONG)
def test_a_wrong_row_of_history_is_named_and_nothing_is_written(ours, sheet, change, column):
    rows = small()
    rows[sheet][0] |= change
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
        assert (sheet, 1, column) in [(p.sheet, p.row, p.column) for p in plan.problems]
        with pytest.raises(portfolio.RowsWrong):
            portfolio.apply(plan, by=ours.office, reason="import", valid_from=DAY)
        assert not Riser.objects.filter(building__code="A-1").exists()
        assert not Visit.objects.exists()
