"""The import: every row checked, nothing half-imported, twice the same is once."""

import io
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from openpyxl import Workbook, load_workbook

from buildings import inventory, portfolio
from buildings.models import Agreement, Building, Device, Engagement, Revision, System
from contractors.models import Contractor, Licence, Owner, Person
from tests.buildings.portfolio_rows import small

DAY = date(2026, 11, 25)


def bring_in(scene, rows):
    with scene.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
        assert plan.problems == []
        portfolio.apply(plan, by=scene.office, reason="first import", valid_from=DAY)
    return plan


def test_everything_of_a_portfolio_comes_in(ours):
    bring_in(ours, small())
    with ours.scope():
        building = Building.objects.get(code="A-1")
        assert (building.region, building.attributes) == ("ME", {"frost": True})
        assert building.hours["0"] == ["07:00-17:00"]
        person = Person.objects.get(code="RW")
        assert person.week["4"] == ["07:00", "12:00"]
        assert person.office.name == "North depot"
        assert Licence.objects.get(person=person).number == "I-7"
        assert Engagement.objects.get(building=building).owner.code == "alder-estates"
        agreement = Agreement.objects.get(building=building)
        assert (agreement.owner_does, agreement.anchor_month) == (["P7D", "P1M"], 5)
        switch = Device.objects.get(building=building, code="D2")
        assert (switch.parent.code, switch.riser.code, switch.system.code) == ("D1", "R1", "S1")
        assert Device.objects.get(building=building, code="D4").attributes == {
            "manufacture_year": 1998
        }
        assert switch.parent.attributes == {"type": "butterfly"}
        tree = inventory.tree(building)
        assert tree.edition == 2020
        assert tree.attributes["state"] == "ME"
        assert len(tree.items) == 6


def test_importing_twice_changes_nothing(ours):
    Contractor.objects.filter(pk=ours.contractor.pk).update(time_zone="America/Chicago")
    bring_in(ours, small(visits=None, results=None, readings=None, findings=None))
    with ours.scope():
        before = Revision.objects.count()
        again = portfolio.check(
            portfolio.from_rows(small(visits=None, results=None, readings=None, findings=None))
        )
        assert again.changes_nothing
        assert again.drafts == []
        portfolio.apply(again, by=ours.office, reason="again", valid_from=DAY)
        assert Revision.objects.count() == before
    # Their day is that of the contractor who brought them in.
    assert Owner.objects.get(code="alder-estates").time_zone == "America/Chicago"


def test_a_changed_row_is_shown_and_becomes_a_revision(ours):
    bring_in(ours, small())
    rows = {
        "buildings": [{"number": "A-1", "frost": "no", "access": "New key"}],
        "devices": [{"building": "A-1", "number": "D4", "year": 1999}],
    }
    plan = bring_in(ours, rows)
    shown = {d.sheet: dict(d.changes) for d in plan.drafts}
    assert shown == {
        "buildings": {"attributes.frost": (True, False), "access_notes": ("", "New key")},
        "devices": {"attributes.manufacture_year": (1998, 1999)},
    }
    with ours.scope():
        building = Building.objects.get(code="A-1")
        device = Device.objects.get(building=building, code="D4")
        assert (building.access_notes, building.attributes["frost"]) == ("New key", False)
        assert Revision.objects.filter(subject_id=device.pk).count() == 2


WRONG = [
    ("offices", {"latitude": "north"}, "latitude"),
    ("people", {"week": "always"}, "week"),
    ("people", {"office": "Nowhere"}, "office"),
    ("licences", {"kind": "driving"}, "kind"),
    ("licences", {"person": "ZZ"}, "person"),
    ("jurisdictions", {"edition": "latest"}, "edition"),
    ("owners", {"code": "two words"}, "code"),
    ("buildings", {"taken_over_on": "15/01/2025"}, "taken_over_on"),
    ("buildings", {"jurisdiction": "Elsewhere"}, "jurisdiction"),
    ("buildings", {"hours": "Mon 17:00-07:00"}, "hours"),
    ("buildings", {"name": ""}, "name"),
    ("buildings", {"frost": "sometimes"}, "frost"),
    ("engagements", {"owner": "nobody"}, "owner"),
    ("engagements", {"until": "2024-01-01"}, "until"),
    ("agreements", {"owner_does": "hourly"}, "owner_does"),
    ("agreements", {"building": "A-9"}, "building"),
    ("systems", {"kind": "steam"}, "kind"),
    ("risers", {"system": "S9"}, "system"),
    ("risers", {"valve_kind": "unknown"}, "valve_kind"),
    ("devices", {"kind": "whistle"}, "kind"),
    ("devices", {"parent": "D9"}, "parent"),
    ("devices", {"in_service_to": "2001-01-01", "in_service_from": "2002-01-01"}, "in_service_to"),
    ("devices", {"number": "D1"}, "number"),
    ("devices", {"retard": "20"}, "retard"),
]


@pytest.mark.parametrize(("sheet", "change", "column"), WRONG)
def test_a_wrong_row_is_named_by_sheet_row_and_column(ours, sheet, change, column):
    rows = small()
    rows[sheet][0] |= change
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
        columns = [(p.sheet, p.column) for p in plan.problems]
        assert (sheet, column) in columns or (sheet, "building") in columns
        assert all(p.row in (1, 2) for p in plan.problems if p.sheet == sheet)
        with pytest.raises(portfolio.RowsWrong):
            portfolio.apply(plan, by=ours.office, reason="import", valid_from=DAY)
        assert not System.objects.filter(building__code="A-1").exists()


def test_what_hangs_where_it_cannot_is_refused(ours):
    rows = small()
    rows["devices"].append({"building": "A-1", "number": "D9", "kind": "dry_pipe_valve"})
    rows["devices"].append(
        {"building": "A-1", "number": "D8", "kind": "control_valve", "riser": "R1", "parent": "D8"}
    )
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
    assert [(p.row, p.column) for p in plan.problems] == [(5, "kind"), (6, "parent")]
    assert "riser" in plan.problems[0].accepted


def test_an_unknown_sheet_and_an_unknown_column_are_said(ours):
    rows = small() | {"wagons": [{"number": 1}]}
    rows["systems"][0]["colour"] = "red"
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
    said = {(p.sheet, p.column) for p in plan.problems}
    assert said == {("wagons", ""), ("systems", "colour")}


def test_an_owners_code_of_another_name_is_not_taken_over(ours, theirs):
    rows = {"owners": [{"code": theirs.owner.code, "name": "Somebody else"}]}
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
    assert [p.column for p in plan.problems] == ["code"]
    assert theirs.owner.name not in f"{plan.problems}"


def test_a_building_of_another_contractor_is_no_building_here(ours, theirs):
    bring_in(theirs, small())
    rows = {"systems": [{"building": "A-1", "number": "S7", "name": "X", "kind": "wet"}]}
    with ours.scope():
        plan = portfolio.check(portfolio.from_rows(rows))
    assert [p.column for p in plan.problems] == ["building"]


def workbook(rows):
    book = Workbook()
    book.remove(book.active)
    for name, sheet in rows.items():
        page = book.create_sheet(name)
        headings = list(dict.fromkeys(h for row in sheet for h in row))
        page.append(headings)
        for row in sheet:
            page.append([row.get(h) for h in headings])
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def test_a_workbook_and_csv_files_say_the_same(ours):
    sheets = {"offices": small()["offices"], "people": small()["people"]}
    csv = b"\xef\xbb\xbfname;latitude;longitude\r\nNorth depot;44.1;-70.2\r\n"
    from_csv = portfolio.read([("offices.csv", csv)])
    from_book = portfolio.read([("all.xlsx", workbook(sheets))])
    assert from_csv["offices"].rows == from_book["offices"].rows
    assert from_book["people"].rows[0].number == 2


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.csv", b"\xff\xfe\x00", "UTF-8"),
        ("a.csv", b"a,b\n1,2,3\n", "row 2"),
        ("a.doc", b"", "only .csv"),
        ("a.xlsx", b"PK", "no workbook"),
        ("a.zip", b"PK", "no ZIP"),
    ],
)
def test_files_that_cannot_be_read_say_why(name, content, words):
    with pytest.raises(portfolio.NoPortfolio, match=words):
        portfolio.read([(name, content)])


def test_the_page_shows_what_would_change_and_then_does_it(ours, as_office):
    upload = SimpleUploadedFile("portfolio.xlsx", workbook(small()))
    shown = as_office.post(reverse("portfolio_import"), {"files": [upload]})
    assert shown.status_code == 200
    assert b"Alder House" in shown.content
    with ours.scope():
        assert not Building.objects.filter(code="A-1").exists()
    kept = [str(file.pk) for file in shown.context["kept"]]
    done = as_office.post(reverse("portfolio_apply"), {"file": kept}, follow=True)
    assert done.redirect_chain == [(reverse("portfolio_import"), 302)]
    assert b"Visits of the past" in done.content
    with ours.scope():
        assert Building.objects.get(code="A-1").history_complete is False
    again = as_office.post(reverse("portfolio_apply"), {"file": kept})
    assert again.status_code == 302


def test_the_page_names_rows_to_mend(ours, as_office):
    rows = small()
    rows["devices"][2]["kind"] = "whistle"
    upload = SimpleUploadedFile("portfolio.xlsx", workbook(rows))
    shown = as_office.post(reverse("portfolio_import"), {"files": [upload]})
    assert shown.status_code == 422
    assert b"whistle" in shown.content
    assert as_office.post(reverse("portfolio_import"), {}).status_code == 422


def test_files_of_another_contractor_are_not_applied(ours, theirs, as_member, as_office):
    upload = SimpleUploadedFile("portfolio.xlsx", workbook(small()))
    shown = as_member(theirs.office).post(reverse("portfolio_import"), {"files": [upload]})
    kept = [str(file.pk) for file in shown.context["kept"]]
    refused = as_office.post(reverse("portfolio_apply"), {"file": kept})
    assert refused.status_code == 422
    assert as_office.post(reverse("portfolio_apply"), {"file": ["x"]}).status_code == 422


def test_the_empty_workbook_has_every_sheet_and_is_read_again(as_office):
    content = as_office.get(reverse("portfolio_sheets")).content
    names = load_workbook(io.BytesIO(content)).sheetnames
    assert names[:2] == ["offices", "people"]
    assert {"devices", "visits", "readings", "findings", "last_done"} <= set(names)
    assert set(portfolio.read([("empty.xlsx", content)])) == set(names)
