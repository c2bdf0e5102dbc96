"""The catalogue's tables as files: what cannot be used is refused by file, row and reason."""

import csv
import html
import json
import shutil

import pytest
from django.core.management import CommandError, call_command

from buildings.tables import CatalogueError
from inspections import catalogue_files
from inspections.catalogue_files import catalogue
from inspections.catalogue_tables import faults, load_catalogue
from tests.inspections.test_catalogue import TABLES


@pytest.fixture
def copy(tmp_path):
    """Return a function that copies the tables with some values of one row changed."""

    def change(file, row_id, **values):
        folder = tmp_path / "itm"
        shutil.copytree(TABLES, folder)
        return folder, spoil(folder, file, row_id, **values)

    return change


def spoil(folder, file, row_id, **values):
    """Change some values of one row of a table, and return its line."""
    with (folder / file).open(encoding="utf-8", newline="") as text:
        reader = csv.DictReader(text)
        rows = list(reader)
    key = reader.fieldnames[0]
    row = next(row for row in rows if row[key] == row_id)
    row.update(values)
    with (folder / file).open("w", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, reader.fieldnames)
        writer.writeheader()
        writer.writerows(rows)
    return rows.index(row) + 2


@pytest.mark.parametrize(
    ("file", "row_id", "values", "reason"),
    [
        ("activity_rules.csv", "sprinkler-visual", {"applies": "item.colour"}, "item.colour"),
        ("activity_rules.csv", "sprinkler-visual", {"applies": "item.access =="}, "ends too early"),
        ("activity_rules.csv", "sprinkler-visual", {"applies": 'item.access == "up"'}, "none of"),
        ("activity_rules.csv", "sprinkler-visual", {"gate": "building.country"}, "gate: a word"),
        ("activity_rules.csv", "sprinkler-visual", {"criterion_expr": "leaks == 0"}, "leaks"),
        ("activity_rules.csv", "sprinkler-visual", {"subject": "sprinklers"}, "no kind"),
        ("activity_rules.csv", "sprinkler-visual", {"subject": ""}, "no subject"),
        ("activity_rules.csv", "sprinkler-visual", {"minutes_fixed": "-1"}, "minutes_fixed"),
        ("activity_rules.csv", "sprinkler-visual", {"minutes_fixed": "ten"}, "ten"),
        ("activity_rules.csv", "sprinkler-visual", {"item_unit": "count"}, "item_unit"),
        ("activity_rules.csv", "sprinkler-visual", {"shuts_system": "maybe"}, "shuts_system"),
        ("activity_rules.csv", "sprinkler-visual", {"counts_from": "born"}, "no attribute born"),
        ("activity_rules.csv", "sprinkler-visual", {"occurrence": "often"}, "occurrence"),
        ("activities.csv", "sprinkler-visual", {"frequency": "-P1Y"}, "longer than nothing"),
        ("activities.csv", "sprinkler-visual", {"frequency": "P0D"}, "longer than nothing"),
        ("activities.csv", "sprinkler-visual", {"frequency": "yearly"}, "no duration"),
        ("activities.csv", "sprinkler-visual", {"first_after": "-P5Y"}, "longer than nothing"),
        ("activities.csv", "sprinkler-visual", {"edition_to": "2005"}, "lies before"),
        ("activities.csv", "sprinkler-visual", {"edition_from": "new"}, "new"),
        ("activities.csv", "sprinkler-visual", {"kind": "looking"}, "kind is 'looking'"),
        ("activities.csv", "sprinkler-visual", {"readings": "clearance:miles"}, "no measure"),
        ("activities.csv", "sp-hose", {"duplicate_of": "sp-osha-hose-annual"}, "circle"),
        (
            "activities.csv",
            "antifreeze-test",
            {"part_of": "antifreeze-legacy-limit-2014"},
            "circle",
        ),
        ("activities.csv", "sp-hose", {"duplicate_of": "sp-hoses"}, "which is no activity"),
        ("limits_by_edition.csv", "bag_film", {"unit": "cubit"}, "no unit"),
        ("limits_by_edition.csv", "bag_film", {"value": "thin"}, "thin"),
        ("tolerances.csv", "nfpa25", {"nominal": "P-1D"}, "no duration"),
        ("families.csv", "system_trip", {"role": "guest"}, "role"),
        ("families.csv", "system_trip", {"id": "dry-trip"}, "no activity 'dry-trip'"),
        ("families.csv", "system_trip", {"reach": "far"}, "reach"),
        ("cautions.csv", "act", {"holds_for": "shuts"}, "shuts"),
        ("parts_to_tests.csv", "sprinkler", {"holds_if": "touched > 3"}, "touched"),
        ("deficiency_classes.csv", "d-spr-leak-drip", {"class": "bad"}, "class"),
        ("deficiency_classes.csv", "d-spr-leak-drip", {"response_time": "soon"}, "no duration"),
        ("deficiency_classes.csv", "d-spr-leak-drip", {"activity_id": "look"}, "no activity"),
        ("substitutions.csv", "dry-trip-full", {"closes": "nothing"}, "no activity"),
        ("alternating.csv", "internal-assessment", {"activity": "look"}, "no activity 'look'"),
        ("alternating.csv", "internal-assessment", {"activity": "dry-restore"}, "an event"),
        ("alternating.csv", "internal-assessment", {"among": "item.colour"}, "item.colour"),
        ("alternating.csv", "internal-assessment", {"opened_by": "pass"}, "opened_by is 'pass'"),
        ("alternating.csv", "internal-assessment", {"opened_within": "-P9D"}, "longer than"),
        ("kinds.csv", "building", {"type": "colour"}, "colour"),
        ("activities.csv", "sprinkler-visual", {"regime": "moon"}, "regime is 'moon'"),
        ("activities.csv", "sprinkler-visual", {"confidence": "sure"}, "confidence is 'sure'"),
        ("tolerances.csv", "nfpa25", {"regime": "moon"}, "regime is 'moon'"),
        ("tolerances.csv", "nfpa72", {"nominal": "P0D"}, "longer than nothing"),
        ("kinds.csv", "building", {"unit": "cubit"}, "unit is 'cubit'"),
    ],
)
def test_a_row_that_cannot_be_used_is_refused_with_file_row_and_reason(
    copy, file, row_id, values, reason
):
    folder, row = copy(file, row_id, **values)
    with pytest.raises(CatalogueError) as refused:
        load_catalogue(folder)
    assert refused.value.file == file
    assert refused.value.row == row
    assert reason in refused.value.reason


TOGETHER = [
    ("tolerances.csv", "cms", {"min_interval": "-P2M"}, "gaps such as P2M"),
    ("tolerances.csv", "nfpa25", {"max_interval": "-P3M"}, "longer than nothing"),
    ("tolerances.csv", "joint_commission", {"min_interval": "P4M", "max_interval": ""}, "nominal"),
    ("tolerances.csv", "nfpa72", {"count_rule": "five times per year"}, "four times per year"),
    ("tolerances.csv", "bs_en_12845", {"confidence": "sure"}, "confidence is 'sure'"),
    ("activities.csv", "sprinkler-visual", {"frequency": "P9999Y"}, "at most 200 years"),
    ("activities.csv", "sprinkler-clearance", {"season": "monsoon"}, "season is 'monsoon'"),
    ("activities.csv", "sprinkler-recalled", {"source": ""}, "source is empty"),
    ("activities.csv", "pipe-fittings-visual", {"task": ""}, "task is empty"),
    ("activities.csv", "sp-hose", {"readings": "a:count; a:count"}, "a is there twice"),
    ("activities.csv", "main-drain-annual", {"edition_from": "latest"}, "edition_from is 'latest'"),
    ("activity_rules.csv", "tank-exterior", {"occurrence": "event"}, "every"),
    ("activity_rules.csv", "fp-churn-diesel", {"criterion_is": "maybe"}, "criterion_is"),
    ("activity_rules.csv", "dry-trip-full", {"people": "1.5"}, "people is '1.5'; a whole"),
    ("activity_rules.csv", "dry-trip-partial", {"qualification": "wizard"}, "'wizard'; accepted"),
    ("deficiency_classes.csv", "d-spr-leak-drip", {"response_time": "P3M"}, "P30D"),
    ("edition_differences.csv", "*", {"edition_after": "2011"}, "is not after"),
    ("limits_by_edition.csv", "bag_film", {"value": "nan"}, "a number is accepted"),
    ("families.csv", "system_trip", {"least": "0"}, "a whole number from 1"),
    ("kinds.csv", "building", {"default_switches_off": "look"}, "no activity 'look'"),
]


def test_many_faults_are_each_told_with_file_row_and_reason(whole):
    rows = [spoil(whole, file, row_id, **values) for file, row_id, values, _ in TOGETHER]
    told = {(fault.file, fault.row): fault.reason for fault in faults(whole)}
    for (file, _, _, reason), row in zip(TOGETHER, rows, strict=True):
        assert reason in told.get((file, row), ""), (file, row)


def rows_more(folder, file, *rows):
    """Write rows of some columns at the end of a table."""
    with (folder / file).open(encoding="utf-8", newline="") as text:
        names = csv.DictReader(text).fieldnames
    with (folder / file).open("a", encoding="utf-8", newline="") as text:
        writer = csv.DictWriter(text, names, restval="")
        writer.writerows(rows)


@pytest.fixture
def whole(tmp_path):
    """The tables as they are, to be spoiled."""
    shutil.copytree(TABLES, tmp_path / "itm")
    return tmp_path / "itm"


SWAP = {
    "performed": "dry-trip-partial",
    "closes": "dry-trip-full",
    "reach": "item",
    "confidence": "practice",
}


def test_work_that_stands_for_itself_in_a_circle_is_refused(whole):
    rows_more(whole, "substitutions.csv", SWAP)
    with pytest.raises(CatalogueError, match="stands for itself, in a circle: dry-trip"):
        load_catalogue(whole)


def test_a_part_that_is_done_within_itself_is_refused(whole):
    place = {"family": "air_gauges", "role": "part"}
    rows_more(
        whole,
        "families.csv",
        {**place, "id": "dry-restore", "rides_on": "dry-trip-record"},
        {**place, "id": "dry-trip-record", "rides_on": "dry-restore"},
    )
    with pytest.raises(CatalogueError, match="is done within itself, in a circle"):
        load_catalogue(whole)


@pytest.mark.parametrize(
    ("file", "row", "reason"),
    [
        ("tolerances.csv", 5, "nfpa25, 2014, P3M is there twice, in row 5 too"),
        ("families.csv", 2, "is there twice, in row 2 too"),
        ("limits_by_edition.csv", 2, "two figures hold in one edition"),
    ],
)
def test_a_row_that_says_the_same_again_is_refused(whole, file, row, reason):
    lines = (whole / file).read_text(encoding="utf-8").splitlines(keepends=True)
    (whole / file).write_text("".join([*lines, lines[row - 1]]), encoding="utf-8")
    with pytest.raises(CatalogueError, match=reason):
        load_catalogue(whole)


def test_an_activity_of_a_family_that_is_not_there_is_refused(copy):
    folder, _ = copy("activity_rules.csv", "sprinkler-visual", family="floor_looks")
    with pytest.raises(CatalogueError, match=r"families\.csv has no row floor_looks"):
        load_catalogue(folder)


def test_a_table_that_is_not_there_is_told_once(whole):
    (whole / "activities.csv").unlink()
    assert [str(one) for one in faults(whole)] == ["activities.csv, row 0: there is no such file"]


def test_an_id_that_is_left_to_contractors_own_rules_is_refused(copy):
    folder, row = copy("activities.csv", "sp-hose", id="own-hose")
    found = [fault for fault in faults(folder) if fault.file == "activities.csv"]
    assert found
    assert {fault.row for fault in found} >= {row}


def test_every_fault_is_told_and_not_the_first_alone(whole, capsys):
    table = whole / "activities.csv"
    text = table.read_text(encoding="utf-8")
    for word in ("sprinkler-visual,", "pipe-fittings-visual,"):
        place = text.index(f"\n{word}")
        text = text[:place] + text[place:].replace(",P1Y,", ",-P1Y,", 1)
    table.write_text(text, encoding="utf-8")
    rows_more(whole, "substitutions.csv", {"performed": "a", "closes": "b", "reach": "item"})
    found = faults(whole)
    told = [(fault.file, fault.reason) for fault in found]
    assert sum("longer than nothing" in reason for _, reason in told) == 2
    assert ("substitutions.csv", "there is no activity 'a'") in told
    with pytest.raises(CommandError, match="what is in force stays in force"):
        call_command("check_catalogue", str(whole))
    printed = capsys.readouterr().out
    assert all(str(fault) in printed for fault in found)


def test_the_command_says_that_good_tables_are_good(whole, capsys):
    assert faults(whole) == []
    call_command("check_catalogue", str(whole))
    assert f"{len(catalogue().activities)} activities, no fault" in capsys.readouterr().out
    with pytest.raises(CommandError, match="is no folder"):
        call_command("check_catalogue", str(whole / "activities.csv"))


def test_rows_that_belong_together_may_not_be_missing(tmp_path):
    folder = tmp_path / "itm"
    shutil.copytree(TABLES, folder)
    rules = folder / "activity_rules.csv"
    lines = rules.read_text(encoding="utf-8").splitlines(keepends=True)
    rules.write_text("".join(lines[:-1]), encoding="utf-8")
    with pytest.raises(CatalogueError, match="has no rule"):
        load_catalogue(folder)
    rules.write_text("".join([*lines, lines[-1]]), encoding="utf-8")
    with pytest.raises(CatalogueError, match="is there twice"):
        load_catalogue(folder)


def test_a_table_or_column_that_is_not_there_is_named(tmp_path):
    folder = tmp_path / "itm"
    shutil.copytree(TABLES, folder)
    (folder / "cautions.csv").write_text("scope,key\nact,flow\n", encoding="utf-8")
    with pytest.raises(CatalogueError, match=r"cautions\.csv, row 1: there is no column holds_for"):
        load_catalogue(folder)
    (folder / "cautions.csv").unlink()
    with pytest.raises(CatalogueError, match="there is no such file"):
        load_catalogue(folder)


def test_a_refused_catalogue_leaves_the_one_in_force(copy):
    before = catalogue()
    folder, _ = copy("activities.csv", "sp-hose", frequency="P0D")
    with pytest.raises(CatalogueError):
        load_catalogue(folder)
    assert catalogue() is before


def test_the_digest_follows_the_tables_and_not_their_line_ends(copy):
    folder, _ = copy("activities.csv", "sp-hose", task="Look at it")
    assert load_catalogue(folder).digest != catalogue().digest
    shutil.copyfile(TABLES / "activities.csv", folder / "activities.csv")
    text = (folder / "kinds.csv").read_bytes()
    (folder / "kinds.csv").write_bytes(text.replace(b"\n", b"\r\n"))
    assert load_catalogue(folder).digest == catalogue().digest


@pytest.mark.django_db
def test_a_version_with_faults_is_told_by_command_page_and_api_and_the_one_before_stays(
    whole, tmp_path_factory, monkeypatch, capsys, as_office, api, ours
):
    """A row that can't be parsed, an unknown attribute, a circle and a negative interval."""
    folder = tmp_path_factory.mktemp("versions")
    shutil.copytree(TABLES, folder / "good")
    shutil.copytree(whole, folder / "bad")
    spoil(folder / "bad", "activities.csv", "sprinkler-visual", frequency="-P1Y")
    spoil(folder / "bad", "activities.csv", "pipe-fittings-visual", edition_from="new")
    spoil(folder / "bad", "activity_rules.csv", "sp-hose", applies="item.colour")
    rows_more(folder / "bad", "substitutions.csv", SWAP)
    reasons = ("longer than nothing", "new", "item.colour", "in a circle")
    with pytest.raises(CommandError, match="what is in force stays in force"):
        call_command("check_catalogue", str(folder / "bad"))
    printed = capsys.readouterr().out
    assert all(reason in printed for reason in reasons)
    told = [{"folder": "good", "in_force_from": None}]
    told.append({"folder": "bad", "in_force_from": "2026-02-01"})
    (folder / "versions.json").write_text(json.dumps({"versions": told}), encoding="utf-8")
    found = catalogue_files.load_versions(folder)
    monkeypatch.setattr(catalogue_files, "_registered", lambda: found)
    assert len(catalogue_files.versions()) == 1
    assert catalogue().version == catalogue_files.versions()[0].catalogue.version
    page = html.unescape(as_office.get("/rules/").content.decode())
    versions = api(ours.office).get("/api/v1/catalogue-versions/").json()
    assert [one["refused"] for one in versions] == [False, True]
    said = [f"{fault['file']} {fault['reason']}" for fault in versions[1]["faults"]]
    for reason in reasons:
        assert reason in page
        assert any(reason in one for one in said)
