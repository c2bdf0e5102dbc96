"""Quoting: RFC 4180, section 2. JSON: RFC 8259, section 8.1."""

import csv
import io
import json
import zipfile
from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from contractors import sheets
from contractors.sheets import (
    Column,
    SheetRefused,
    Table,
    json_file,
    plain,
    read_tables,
    records,
    write_csv,
    write_xlsx,
)

DEVICES = (
    Column("building", ("Property", "Building name"), required=True),
    Column("size", ("Size (in)", "Nominal size")),
)


def book(rows, *, title="Devices", **sheets):
    made = Workbook()
    made.active.title = title
    for name, content in {title: rows, **sheets}.items():
        sheet = made[name] if name == title else made.create_sheet(name)
        for row in content:
            sheet.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def cells(content, name="devices.csv"):
    (table,) = read_tables(content, name=name)
    return [row.cells for row in table.rows]


def parts_of(content, change=None):
    """Return the workbook with its parts changed by a function of name and bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            new.writestr(part, change(part, old.read(part)))
    return out.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_a_csv_is_read_whatever_program_wrote_it(encoding, delimiter):
    text = f'Building{delimiter}Größe\r\n"Hall {delimiter} 3"{delimiter}2½\r\n'
    assert cells(text.encode(encoding)) == [("Building", "Größe"), (f"Hall {delimiter} 3", "2½")]


def test_a_delimiter_named_in_the_first_line_is_used_and_rows_keep_their_numbers():
    (table,) = read_tables(b"sep=;\r\na,b;c\r\n\r\n1;2\r\n", name="x.csv")
    assert [(row.number, row.cells) for row in table.rows] == [(2, ("a,b", "c")), (4, ("1", "2"))]
    assert table.title == "x"


def test_a_quote_never_closed_does_not_swallow_the_rest():
    with pytest.raises(SheetRefused, match="line 3 is no CSV"):
        read_tables(b'a,b\r\n"1,2\r\n3,4\r\n', name="x.csv")


def test_a_workbook_gives_its_sheets_as_text():
    content = book(
        [["a", 62.0, 2.5, 1e-7, True], [None, date(2026, 3, 9), datetime(2026, 3, 9, 14, 5)]],  # noqa: DTZ001  # a sheet has no zone
        Other=[["x"]],
    )
    first, other = read_tables(content, name="book.xlsx")
    assert first.title == "Devices"
    assert [row.cells for row in first.rows] == [
        ("a", "62", "2.5", "0.0000001", "true"),
        ("", "2026-03-09", "2026-03-09T14:05:00"),
    ]
    assert (other.title, other.rows[0].cells) == ("Other", ("x",))


def test_what_a_file_is_is_seen_in_it_and_not_in_its_name():
    assert cells(book([["a"]]), name="devices.csv") == [("a",)]
    assert cells(b"a,b", name="devices.xlsx") == [("a", "b")]


def test_a_stray_cell_far_below_neither_counts_nor_shifts_anything():
    made = Workbook()
    made.active["A1"], made.active["A90000"] = "a", "z"
    made.active["AZ1"] = " "
    out = io.BytesIO()
    made.save(out)
    (table,) = read_tables(out.getvalue(), name="x.xlsx")
    assert [(row.number, row.cells) for row in table.rows] == [(1, ("a",)), (90000, ("z",))]


def test_a_sheet_that_states_a_false_size_is_read_whole():
    content = parts_of(
        book([["a", "b"], ["c", "d"]]), lambda _, data: data.replace(b'ref="A1:B2"', b'ref="A1"')
    )
    assert cells(content) == [("a", "b"), ("c", "d")]


def test_a_formula_never_computed_is_named_and_not_taken_for_empty():
    with pytest.raises(SheetRefused, match="cell B2 of Devices holds a formula"):
        read_tables(book([["a", "b"], [1, "=A2*2"]]), name="x.xlsx")


def test_a_formula_with_its_result_is_read_as_the_result():
    content = parts_of(
        book([["a", "=1+1"]]),
        lambda _, data: data.replace(b"<v></v>", b"<v>2</v>").replace(b"<v />", b"<v>2</v>"),
    )
    assert cells(content) == [("a", "2")]


def bomb():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(6):
            archive.writestr(f"xl/{number}.xml", bytes(20 * 2**20))
    return out.getvalue()


ENTITIES = b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>'

HOSTILE = {
    "empty": (b"", "it is empty"),
    "only a byte order mark": (b"\xef\xbb\xbf\r\n", "it is empty"),
    "too large": (b"a" * (20 * 2**20 + 1), "more than 20 MiB"),
    "program": (b"\x7fELF" + bytes(60), "neither a workbook nor a text"),
    "not any encoding": (b"a,\x81\xff\n", "neither a workbook nor a text"),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(60), "neither a workbook"),
    "zip of nothing": (b"PK\x03\x04" + bytes(60), "no workbook that can be opened"),
    "too many columns": (b"a," * 200 + b"a\n", "200 columns"),
    "a cell too long": (b"a\n" + b"b" * 10_001, "row 2"),
    "text behind a quote": (b'"a"b,c\n', "line 1 is no CSV"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_file_that_is_no_usable_table_is_refused_in_plain_words(case):
    content, why = HOSTILE[case]
    with pytest.raises(SheetRefused) as refused:
        read_tables(content, name="devices.xlsx")
    sentence = refused.value.message()
    assert sentence.startswith("devices.xlsx cannot be used: ")
    assert why in sentence
    assert "Accepted: CSV" in sentence


def test_a_workbook_that_unpacks_hugely_is_refused_before_it_is_read():
    with pytest.raises(SheetRefused, match="100 MiB when unpacked"):
        read_tables(bomb(), name="x.xlsx")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_workbook_with_entities_of_its_own_is_refused(encoding):
    content = parts_of(
        book([["a"]]),
        lambda part, data: (
            (ENTITIES + data).decode().encode(encoding) if part.endswith("sheet1.xml") else data
        ),
    )
    with pytest.raises(SheetRefused, match="document type"):
        read_tables(content, name="x.xlsx")


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml"])
def test_a_workbook_with_a_damaged_part_is_refused(part):
    content = parts_of(book([["a"]]), lambda name, data: data[:40] if name == part else data)
    with pytest.raises(SheetRefused, match="no workbook that can be opened"):
        read_tables(content, name="x.xlsx")


def rows_of(text):
    (table,) = read_tables(text.encode(), name="x.csv")
    return records(table, DEVICES, name="x.csv")


def test_headings_are_known_by_their_other_names_and_spellings():
    found = rows_of("PROPERTY ,size_IN,Colour\nHall 3,4,red\n,,\nHall 4,\n")
    assert found.columns == ("building", "size")
    assert found.unknown == ("Colour",)
    assert [(row.number, row.values) for row in found.rows] == [
        (2, {"building": "Hall 3", "size": "4"}),
        (4, {"building": "Hall 4"}),
    ]
    assert plain("Größe / Nº 2") == plain("GROSSE no 2")


def test_titles_above_the_headings_are_passed_over():
    found = rows_of("List of devices,\nas of March,\nSize,Building\n4,Hall 3\n")
    assert [(row.number, row.values["building"]) for row in found.rows] == [(4, "Hall 3")]


def test_a_missing_or_doubled_column_is_named():
    with pytest.raises(SheetRefused, match="no column headed building, Property, Building name"):
        rows_of("size\n4\n")
    with pytest.raises(SheetRefused, match=r"building is there twice \(Building, Property\)"):
        rows_of("Building,Property\n1,2\n")
    with pytest.raises(SheetRefused, match="no column headed"):
        records(Table("x", ()), DEVICES, name="x.csv")


HARMFUL = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\0=1", '=HYPERLINK("x")']


@pytest.mark.parametrize("text", HARMFUL)
def test_a_text_that_looks_like_a_formula_is_written_as_text(text):
    written = write_csv(["note"], [[text]]).decode("utf-8-sig")
    assert written.startswith('"note"\r\n"\'')
    sheet = load_workbook(io.BytesIO(write_xlsx("x", ["note"], [[text]])))["x"]
    assert sheet["A2"].data_type == "s"
    assert sheet["A2"].value.startswith("'")


def test_numbers_stay_numbers_and_texts_are_quoted():
    row = [-5, Decimal("-0.50"), -2.5, "-5", None, True, date(2026, 3, 9), 'say "no"', "a\r\nb"]
    assert write_csv(["n"], [row]).decode("utf-8-sig") == (
        '"n"\r\n-5,-0.50,-2.5,"\'-5","","true","2026-03-09","say ""no""","a\r\nb"\r\n'
    )
    sheet = load_workbook(io.BytesIO(write_xlsx("x", ["n"], [row])))["x"]
    assert [cell.value for cell in sheet[2]][:4] == [-5, -0.5, -2.5, "'-5"]
    assert [cell.data_type for cell in sheet[2]][:4] == ["n", "n", "n", "s"]


def test_a_number_that_is_none_is_left_empty():
    assert write_csv(["n"], [[float("nan"), Decimal("Infinity")]]).endswith(b'"",""\r\n')


def test_a_title_that_no_sheet_can_have_is_made_usable():
    for title in ("a/b:c*[d]?", "x" * 60, "", "'q'"):
        load_workbook(io.BytesIO(write_xlsx(title, ["n"], [])))


texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=20) | st.sampled_from(
    HARMFUL[:4] + HARMFUL[7:]
)


@given(st.lists(st.lists(texts, min_size=1, max_size=4), min_size=1, max_size=5))
def test_what_is_written_is_read_back_the_same(rows):
    meant = [tuple(text.strip() for text in row) for row in rows]
    expected = [("h1", "h2", "h3", "h4")]
    for row in meant:
        while row and not row[-1]:
            row = row[:-1]  # empty cells at the end say nothing
        expected += [row] if row else []
    assert cells(write_csv(expected[0], rows)) == expected
    assert cells(write_xlsx("x", expected[0], rows)) == expected


def test_the_file_is_what_the_standard_reader_reads():
    text = write_csv(["a", "b"], [["1", 'x,"y"'], ["line\r\nbreak", 3]]).decode("utf-8-sig")
    assert list(csv.reader(io.StringIO(text, newline=""))) == [
        ["a", "b"],
        ["1", 'x,"y"'],
        ["line\r\nbreak", "3"],
    ]


def test_rows_beyond_a_sheet_go_on_in_another_under_the_same_headings(monkeypatch):
    monkeypatch.setattr(sheets, "MOST_SHEET_ROWS", 3)
    book = load_workbook(io.BytesIO(write_xlsx("due", ("n",), [(n,) for n in range(5)])))
    found = [[row[0] for row in sheet.iter_rows(values_only=True)] for sheet in book]
    assert found == [["n", 0, 1], ["n", 2, 3], ["n", 4]]
    assert book.sheetnames == ["due", "due 2", "due 3"]


@pytest.mark.parametrize("count", [0, 1, 3])
def test_json_is_one_document_with_an_object_a_row(count):
    out = io.BytesIO()
    headings = ("a", "b", "c", "d", "e")
    row = ("=1+1 é\x07", Decimal("1.5"), None, date(2026, 11, 25), {"size (in)": 4.0})
    with json_file(out, {"table": "x"}, headings) as add:
        for _ in range(count):
            add(row)
    document = json.loads(out.getvalue().decode("utf-8"))
    assert (document["table"], document["columns"]) == ("x", list(headings))
    told = ["=1+1 é\ufffd", 1.5, None, "2026-11-25", {"size (in)": 4.0}]
    assert document["rows"] == [dict(zip(headings, told, strict=True))] * count


def test_facts_by_name_are_one_cell_that_starts_no_formula():
    content = write_csv(("facts",), [({"=a": "@b", "size (in)": 4.0},)])
    assert cells(content) == [("facts",), ("=a: '@b; size (in): 4.0",)]
