"""Every published figure and rule, recomputed within its own tolerance.

Source: each row names its own (published table, worked example, rule, or an independent library)
in the columns ``source`` and ``how_obtained``.
"""

import csv
import json
from pathlib import Path

import pytest

from buildings.units import UnitRefused, from_si
from inspections.calculations import evaluate_entered
from inspections.hydraulics.computation import InputRefused

ROOT = Path(__file__).resolve().parents[2]
OURS = ROOT / "fixtures" / "published" / "hydraulics"
REFUSED = ("refused", "refusal", "error")
RECORDS = {
    "open_sprinklers": ("open_sprinklers", 1.0),
    "seconds": ("seconds", 1.0),
    "pressure_psi": ("pressure", 6894.757293168362),
    "hours": ("duration", 3600.0),
    "interval_years": ("interval", 365.25 * 86400.0),
}


def published_rows(folder):
    """Read the rows of every check file of a folder: a CSV whose columns are those of ours."""
    with (OURS / "checks.csv").open(encoding="utf-8-sig", newline="") as file:
        columns = set(next(csv.reader(file)))
    rows = []
    for path in sorted(folder.iterdir()):
        if path.suffix.casefold() != ".csv":
            continue
        with path.open(encoding="utf-8-sig", newline="", errors="replace") as file:
            read = csv.reader(file)
            names = [name.strip() for name in next(read, [])]
            if set(names) != columns:
                continue
            for cells in read:
                row = dict(zip(names, (cell.strip() for cell in cells), strict=False))
                if any(row.values()):
                    rows.append(dict.fromkeys(names, "") | row | {"file": path.name})
    return rows


def pytest_generate_tests(metafunc):
    if "published" in metafunc.fixturenames:
        given = metafunc.config.getoption("--published", default=None)
        folder = Path(given) if given else OURS
        rows = published_rows(folder)
        if not rows:
            raise pytest.UsageError(f"no check file (header of checks.csv) in {folder}")
        metafunc.parametrize(
            "published", rows, ids=[f"{row['id']}-{row['computation']}" for row in rows]
        )


def in_unit(value, unit):
    """Bring an answer to the unit in which it was published."""
    if unit in ("", "count", "class"):
        return value.value
    return from_si(value.value, unit, value.quantity)


def test_a_published_figure_is_met_within_its_tolerance(published):
    name, inputs = published["computation"], json.loads(published["inputs"] or "{}")
    expected, unit = published["expected"], published["unit"]
    if expected.casefold() in REFUSED or unit.casefold() in REFUSED:
        with pytest.raises((InputRefused, UnitRefused)):
            evaluate_entered(name, inputs)
        return
    outcome = evaluate_entered(name, inputs)
    if unit == "json":
        record = json.loads(expected)
        got = {key: outcome.values[RECORDS[key][0]].value / RECORDS[key][1] for key in record}
        assert got == pytest.approx(record, rel=1e-9)
    elif isinstance(outcome.answer.value, str):
        assert outcome.answer.value.casefold() == expected.casefold()
    elif published["tolerance"] in ("", "exact"):
        assert in_unit(outcome.answer, unit) == pytest.approx(float(expected), rel=1e-9)
    else:
        answer = in_unit(outcome.answer, unit)
        assert abs(answer - float(expected)) <= float(published["tolerance"]) * (1 + 1e-9)


def test_a_check_file_is_found_by_its_columns_in_whatever_order(tmp_path):
    names = "unit,id,computation,inputs,expected,tolerance,source,how_obtained"
    row = 'gal/min,1,standpipe_demand,"{""standpipes"":1,""sprinklered"":true}",500,0,rule,read'
    blank = ",,,,,,,"
    (tmp_path / "other.CSV").write_bytes(
        "\r\n".join(("\ufeff" + names, row, blank, "")).encode("utf-8")
    )
    (tmp_path / "bores.csv").write_text("size,bore\n2,2.067\n", encoding="utf-8")
    (tmp_path / "empty.csv").write_text("", encoding="utf-8")
    (found,) = published_rows(tmp_path)
    assert found["expected"] == "500"
    test_a_published_figure_is_met_within_its_tolerance(found)


@pytest.mark.parametrize(
    ("inputs", "unit", "expected", "tolerance"),
    [
        ('{"p":[-1,"psi"],"d":[2.5,"in"]}', "gal/min", "refused", ""),
        ('{"p":[16,"psi"],"d":[2.5,"in"],"c":0.9}', "L/min", "2542", "3"),
        ('{"p":[110.316,"kPa"],"d":[63.5,"mm"],"c":0.9}', "m^3/h", "152.5", "0.2"),
    ],
)
def test_a_row_may_hold_other_units_and_what_is_refused(inputs, unit, expected, tolerance):
    # 29.84 * 0.9 * 6.25 * 4 = 671.4 gpm by hand.
    row = {"computation": "nozzle_pitot_flow", "inputs": inputs, "unit": unit}
    test_a_published_figure_is_met_within_its_tolerance(
        row | {"expected": expected, "tolerance": tolerance}
    )


@pytest.mark.parametrize("wrong", ["expected", "inputs"])
def test_a_wrong_row_is_caught(wrong):
    row = {
        "computation": "nozzle_pitot_flow",
        "inputs": '{"p":[16,"psi"],"d":[2.5,"in"],"c":0.9}',
        "unit": "gal/min",
        "expected": "671.4",
        "tolerance": "0.5",
    }
    row[wrong] = {"expected": "672", "inputs": '{"p":[17,"psi"],"d":[2.5,"in"],"c":0.9}'}[wrong]
    with pytest.raises(AssertionError):
        test_a_published_figure_is_met_within_its_tolerance(row)
