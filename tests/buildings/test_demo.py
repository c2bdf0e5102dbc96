"""The demo scenario: its files are what its maker makes, are taken by the import, and load once."""

import csv
import io
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core.management import call_command
from django.utils import timezone

from buildings import portfolio
from buildings.models import Building, System
from config import demo_visits
from config.management.commands import load_demo
from contractors.models import Contractor, Membership, OutboxMessage, User
from contractors.scope import contractor_scope
from fixtures.demo import make, past, samples, town
from inspections.management.commands.import_portfolio import files_at
from inspections.models import Finding, Reading, Sample, Visit
from tests.inspections.test_computed import check_every_kept_one


def today():
    return timezone.localdate(timezone=ZoneInfo(town.ZONE))


@pytest.fixture
def alone(db):
    contractor = Contractor.objects.create(code="alone", name="Alone")
    with contractor_scope(contractor.pk):
        yield


def test_the_first_contractors_files_are_taken_as_they_are(alone):
    tables = load_demo.moved(portfolio.read(files_at(make.FIRST)), today())
    plan = portfolio.check(tables)
    assert plan.problems == []
    new = {sheet: count["new"] for sheet, count in plan.counts.items()}
    assert (new["offices"], new["buildings"]) == (3, 40)
    assert sum(person.is_technician for person in plan.people.values()) == 6
    assert new["systems"] >= 110
    assert new["devices"] >= 2300
    kinds = {row.cells["kind"] for row in tables["systems"].rows}
    assert kinds == set(System.Kind.values) - {"water_mist"}
    owned = [row for row in tables["engagements"].rows if row.cells["owner"] == "merrow"]
    assert sum("until" not in row.cells for row in owned) == 12


def test_the_files_are_what_their_maker_makes(tmp_path):
    make.write_folder(tmp_path, make.first())
    for file in sorted(make.FIRST.glob("*.csv")):
        assert (tmp_path / file.name).read_bytes() == file.read_bytes(), file.name


def test_dates_are_moved_by_whole_weeks_to_the_day_of_loading():
    text = b"name,valid,size\nA,2026-11-20,4\n"
    tables = portfolio.read([("things.csv", text)])
    moved = load_demo.moved(tables, past.REFERENCE + timedelta(days=17))
    assert moved["things"].rows[0].cells == {"name": "A", "valid": "2026-12-04", "size": "4"}
    assert load_demo.REFERENCE == past.REFERENCE == date(2026, 11, 25)


@pytest.fixture
def small_demo(db, monkeypatch):
    """The demo with the second contractor alone, which loads in seconds."""
    monkeypatch.setattr(load_demo, "CONTRACTORS", load_demo.CONTRACTORS[1:])
    monkeypatch.setattr(load_demo, "OWNERS", load_demo.OWNERS[1:])
    monkeypatch.setattr(demo_visits, "TODAY", (("EL", ("T01",)),))
    monkeypatch.setattr(demo_visits, "REPORTED", (("EL", "T02"),))
    monkeypatch.setattr(load_demo, "SAMPLED", "tarrow")
    told = [(one.taken, one.reported, one.slow) for one in samples.STORIES]
    here = [samples.Story(f"T0{n}", *one) for n, one in enumerate(told, start=1)]
    monkeypatch.setattr(samples, "STORIES", here)
    said = io.StringIO()
    call_command("load_demo", stdout=said)
    return said.getvalue()


def test_a_loaded_demo_has_history_people_and_a_visit_today(small_demo):
    contractor = Contractor.objects.get(code="tarrow")
    with contractor_scope(contractor.pk):
        assert Building.objects.count() == 3
        assert not Building.objects.filter(history_complete=False).exists()
        assert Visit.objects.filter(state="sealed").count() > 20
        assert Reading.objects.exists()
        assert Finding.objects.exists()
        counted = check_every_kept_one()
        assert min(counted["computed"], counted["decided"]) > 5
        done = Visit.objects.get(number__isnull=False)
        assert (done.state, done.building.code, done.technician.code) == ("sealed", "T02", "EL")
        assert OutboxMessage.objects.filter(kind="report.make", key__contains=done.pk).exists()
        planned = Visit.objects.get(state="planned")
        assert (planned.planned_on, planned.technician.code) == (today(), "EL")
        assert planned.lines.count() > 5
        states = Sample.objects.order_by("taken_on").values_list("state", flat=True)
        assert list(states) == ["failed", "passed", "at_laboratory"]
        failed = Sample.objects.get(state="failed")
        assert failed.taken_on == today() - timedelta(days=62)
        assert failed.finding.state == "open"
    roles = set(Membership.objects.values_list("role", flat=True))
    assert roles == {"manager", "technician"}


def test_log_ins_are_printed_once_and_work(small_demo):
    line = next(line for line in small_demo.splitlines() if "service manager" in line)
    email, password, *_rest = line.split()
    assert User.objects.get(email=email).check_password(password)


def test_licences_of_the_demo_end_in_every_band_and_one_has_ended():
    tables = load_demo.moved(portfolio.read(files_at(make.FIRST)), today())
    left = [
        (date.fromisoformat(row.cells["valid_until"]) - today()).days
        for row in tables["licences"].rows
    ]
    for first, last in ((-60, -1), (0, 7), (8, 30), (31, 60)):
        assert any(first <= days <= last for days in left), (first, last)
    assert {row.cells["jurisdiction"] for row in tables["licences"].rows} == {"ME"}
    assert {row.cells["region"] for row in tables["buildings"].rows} == {"ME"}


def test_the_demo_is_left_out_where_somebody_works_already(ours):
    said = io.StringIO()
    call_command("load_demo", stdout=said)
    assert "left alone" in said.getvalue()
    assert Contractor.objects.count() == 1


def test_nothing_in_the_files_is_a_formula():
    for file in make.FIRST.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as text:
            cells = (cell for row in csv.reader(text) for cell in row)
            assert not any(cell.startswith(("=", "+", "@")) for cell in cells), file.name
