"""Tables as files: CSV and XLSX read with care, CSV, XLSX and JSON written without harm."""

import csv
import functools
import io
import json
import re
import unicodedata
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import PurePath
from typing import Any, BinaryIO
from xml.etree.ElementTree import ParseError

from django.utils.translation import gettext as _
from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter

from contractors.refusal import Refusal

LARGEST_BYTES = 20 * 2**20
LARGEST_UNPACKED_BYTES = 100 * 2**20
MOST_ROWS = 200_000
MOST_COLUMNS = 200
LONGEST_CELL = 10_000
HEADING_WITHIN = 20
MOST_SHEET_ROWS = 1_048_576

_DELIMITERS = ",;\t|"
_DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\0")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffe\uffff\ud800-\udfff]")
_BROKEN = (
    zipfile.BadZipFile,
    KeyError,
    ValueError,
    TypeError,
    IndexError,
    OSError,
    EOFError,
    AttributeError,
    NotImplementedError,
    RuntimeError,
    ParseError,
    SyntaxError,
)


class SheetRefused(Refusal):
    """An uploaded file cannot be read as a table; the sentence says why."""

    code = "sheet_refused"
    status = 422
    sentence = "%(file)s cannot be used: %(wrong)s. Accepted: %(accepted)s."

    def __init__(self, file: str, wrong: str) -> None:
        accepted = _("CSV (UTF-8 or Windows-1252) or XLSX, at most 20 MiB and 200,000 rows a sheet")
        super().__init__(file=file[:80], wrong=wrong, accepted=accepted)


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is looked for: its name, its other headings, and whether it must be there.

    Headings are compared without regard to capitals, accents, spaces and signs.
    """

    name: str
    synonyms: tuple[str, ...] = ()
    required: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a table: its number as a spreadsheet program shows it, and its texts."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet as it was given: all rows that hold something, headings among them."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Record:
    """A row under its headings: column name -> text; empty cells are left out."""

    number: int
    values: dict[str, str]


@dataclass(frozen=True, slots=True)
class Records:
    """The rows of a table by column name, and the headings nobody asked for."""

    rows: tuple[Record, ...]
    columns: tuple[str, ...]
    unknown: tuple[str, ...]


def read_tables(content: bytes, *, name: str) -> list[Table]:
    """Return the tables of an uploaded file: one of a CSV file, each sheet of a workbook.

    Parameters
    ----------
    content
        The file as it came; what it is, is seen in it and not in its name.
    name
        What the user calls it: for messages, and for the title of a CSV file.

    Returns
    -------
    list[Table]
        Cells as text: numbers with a point and without thousands marks, dates as YYYY-MM-DD, true
        and false in these words. The apostrophe that `csv_file` put before a text is taken away.

    Raises
    ------
    SheetRefused
        When the file is empty, too large, damaged, of another kind, or when a cell holds a formula
        whose result was never stored: it would look empty.
    """
    if not content.strip(b"\xef\xbb\xbf \r\n\t"):
        raise SheetRefused(name, _("it is empty"))
    if len(content) > LARGEST_BYTES:
        raise SheetRefused(name, _("it has more than 20 MiB"))
    if content.startswith(b"PK\x03\x04"):
        return _from_workbook(content, name)
    title = PurePath(name).stem
    return [Table(title, _kept(_csv_rows(content, name), name))]


def records(table: Table, columns: Sequence[Column], *, name: str) -> Records:
    """Return the rows of a table by column name.

    The heading row is the one among the first 20 in which most of the columns are found.

    Raises
    ------
    SheetRefused
        When a required column is missing, or one column is found twice.
    """
    known = {plain(word): column.name for column in columns for word in _words(column)}
    start = max(
        range(min(HEADING_WITHIN, len(table.rows))),
        key=lambda place: sum(plain(cell) in known for cell in table.rows[place].cells),
        default=0,
    )
    headings = table.rows[start].cells if table.rows else ()
    names = [known.get(plain(heading), "") for heading in headings]
    _check_headings(names, columns, headings, name)
    rows = [
        Record(row.number, {n: c for n, c in zip(names, row.cells, strict=False) if n and c})
        for row in table.rows[start + 1 :]
    ]
    unknown = tuple(h for h, n in zip(headings, names, strict=True) if h and not n)
    return Records(tuple(rows), tuple(n for n in names if n), unknown)


def plain(heading: str) -> str:
    """Return a heading without capitals, accents, spaces and signs."""
    letters = unicodedata.normalize("NFKD", heading).casefold()
    return "".join(letter for letter in letters if letter.isalnum())


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return a CSV file; see `csv_file`."""
    out = io.BytesIO()
    with csv_file(out, headings) as add:
        for row in rows:
            add(row)
    return out.getvalue()


def write_xlsx(title: str, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return a workbook; see `xlsx_file`."""
    out = io.BytesIO()
    with xlsx_file(out, title, headings) as add:
        for row in rows:
            add(row)
    return out.getvalue()


AddRow = Callable[[Sequence[object]], None]


@contextmanager
def csv_file(out: BinaryIO, headings: Sequence[str]) -> Iterator[AddRow]:
    """Write a CSV file (RFC 4180, UTF-8 with byte order mark) that no program takes for formulas.

    Every text is quoted, and one that begins like a formula gets an apostrophe before it; numbers
    are written as numbers. Yields what adds a row; no more than a row is held.
    """
    text = io.TextIOWrapper(out, encoding="utf-8-sig", newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_NONNUMERIC)

    def add(row: Sequence[object]) -> None:
        writer.writerow([_cell(value) for value in row])

    add(headings)
    yield add
    text.detach()


@contextmanager
def xlsx_file(out: BinaryIO, title: str, headings: Sequence[str]) -> Iterator[AddRow]:
    """Write a workbook, guarded against formulas like `csv_file`; rows go to the disk.

    A sheet takes 1,048,576 rows; what is beyond goes on in a sheet of its own.
    """
    book = Workbook(write_only=True)
    name = re.sub(r"[\[\]:*?/\\]", " ", _text(title))[:28].strip("'") or "1"
    sheet: Any = None
    left = 0

    def add(row: Sequence[object]) -> None:
        nonlocal sheet, left
        if not left:
            begin()
        sheet.append([_cell(value) for value in row])
        left -= 1

    def begin() -> None:
        nonlocal sheet, left
        number = len(book.worksheets) + 1
        sheet = book.create_sheet(name if number == 1 else f"{name} {number}")
        sheet.freeze_panes = "A2"
        sheet.append([_cell(heading) for heading in headings])
        left = MOST_SHEET_ROWS - 1

    begin()
    yield add
    book.save(out)


@contextmanager
def json_file(
    out: BinaryIO, facts: Mapping[str, object], headings: Sequence[str]
) -> Iterator[AddRow]:
    """Write one JSON document (RFC 8259): the facts, then `rows`, an object a row by heading.

    Numbers, truths and nothing stay what they are; days and moments are ISO 8601. Nothing needs to
    be guarded: no program takes a text of JSON for a formula.
    """
    dump = functools.partial(json.dumps, ensure_ascii=False, default=str)
    head = dump({**facts, "columns": list(headings)}).removesuffix("}")
    out.write(f'{head}, "rows": ['.encode())
    before = "\n"

    def add(row: Sequence[object]) -> None:
        nonlocal before
        values = {n: _json_value(v) for n, v in zip(headings, row, strict=True)}
        out.write(f"{before}{dump(values)}".encode())
        before = ",\n"

    yield add
    out.write(b"\n]}\n")


def _json_value(value: object) -> object:
    match value:
        case datetime() | date() | time():
            return value.isoformat()
        case Decimal() | float() if not Decimal(value).is_finite():
            return None
        case Decimal():
            return float(value)
        case str():
            return _text(value)
        case _:
            return value


def _words(column: Column) -> tuple[str, ...]:
    return column.name, *column.synonyms


def _check_headings(
    names: Sequence[str], columns: Sequence[Column], headings: Sequence[str], file: str
) -> None:
    for column in columns:
        places = [heading for heading, n in zip(headings, names, strict=True) if n == column.name]
        if len(places) > 1:
            facts = {"column": column.name, "headings": ", ".join(places)}
            raise SheetRefused(file, _("column %(column)s is there twice (%(headings)s)") % facts)
        if column.required and not places:
            words = ", ".join(_words(column))
            raise SheetRefused(file, _("there is no column headed %(words)s") % {"words": words})


def _csv_rows(content: bytes, name: str) -> Iterator[tuple[int, list[str]]]:
    text = _decoded(content, name)
    first, _rest, after = text.partition("\n")
    named = re.fullmatch(r"sep=(.)\r?", first)
    if named:
        text = after
    delimiter = named[1] if named else _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        yield from enumerate(reader, start=2 if named else 1)
    except csv.Error as error:
        facts = {"line": reader.line_num, "error": error}
        raise SheetRefused(name, _("line %(line)s is no CSV (%(error)s)") % facts) from error


def _decoded(content: bytes, name: str) -> str:
    encodings = (
        ("utf-16",) if content[:2] in {b"\xff\xfe", b"\xfe\xff"} else ("utf-8-sig", "cp1252")
    )
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise SheetRefused(name, _("it is neither a workbook nor a text"))


def _delimiter(text: str) -> str:
    line = next((line for line in text.splitlines() if line.strip()), "")
    outside_quotes = re.sub(r'"[^"]*"', "", line)
    return max(_DELIMITERS, key=outside_quotes.count)


def _from_workbook(content: bytes, name: str) -> list[Table]:
    try:
        formulas = _checked_parts(content, name)
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        written = load_workbook(io.BytesIO(content), read_only=True) if formulas else None
        return [
            Table(sheet.title, _kept(_sheet_rows(sheet, written, name), name))
            for sheet in book.worksheets
        ]
    except _BROKEN as error:
        raise SheetRefused(name, _("it is no workbook that can be opened")) from error


def _checked_parts(content: bytes, name: str) -> bool:
    """Return whether there are formulas; refuse what unpacks hugely or declares entities."""
    formulas = False
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(part.file_size for part in archive.infolist()) > LARGEST_UNPACKED_BYTES:
            raise SheetRefused(name, _("it has more than 100 MiB when unpacked"))
        for part in archive.infolist():
            if not part.filename.endswith((".xml", ".rels")):
                continue
            # UTF-16 puts a zero byte beside each letter.
            data = archive.read(part).replace(b"\0", b"")
            if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
                raise SheetRefused(name, _("it declares a document type of its own"))
            formulas |= b"<f>" in data or b"<f " in data
    return formulas


def _sheet_rows(sheet: Any, written: Any, name: str) -> Iterator[tuple[int, list[str]]]:
    # A false size would add empty columns to each row, or cut off what lies outside.
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        yield number, [_read(value) for value in cells]
    if written is not None:
        _check_formulas(sheet, written[sheet.title], name)


def _check_formulas(sheet: Any, written: Any, name: str) -> None:
    written.reset_dimensions()
    both = zip(sheet.iter_rows(values_only=True), written.iter_rows(values_only=True), strict=False)
    for row, (values, texts) in enumerate(both, start=1):
        for place, (value, text) in enumerate(zip(values, texts, strict=False), start=1):
            if value is None and text is not None:
                wrong = _(
                    "cell %(cell)s of %(sheet)s holds a formula without a stored result; "
                    "open and save the file in a spreadsheet program"
                )
                cell = f"{get_column_letter(place)}{row}"
                raise SheetRefused(name, wrong % {"cell": cell, "sheet": sheet.title})


def _kept(rows: Iterable[tuple[int, Sequence[str]]], name: str) -> tuple[Row, ...]:
    kept: list[Row] = []
    for number, cells in rows:
        texts = [_unguarded(cell.strip()) for cell in cells]
        while texts and not texts[-1]:
            texts.pop()
        if not texts:
            continue
        if len(texts) > MOST_COLUMNS or len(kept) >= MOST_ROWS:
            raise SheetRefused(name, _("it has more than 200,000 rows or 200 columns"))
        if any(len(text) > LONGEST_CELL for text in texts):
            wrong = _("a cell in row %(row)s has more than 10,000 characters")
            raise SheetRefused(name, wrong % {"row": number})
        kept.append(Row(number, tuple(texts)))
    return tuple(kept)


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(_DANGEROUS) else text


def _read(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case float():
            number = format(Decimal(repr(value)), "f")
            return number.rstrip("0").rstrip(".") if "." in number else number
        case datetime():
            return value.isoformat() if value.time() != time() else value.date().isoformat()
        case date() | time():
            return value.isoformat()
        case _:
            return str(value)


def _cell(value: object) -> object:
    match value:
        case None:
            return ""
        case bool():
            return "true" if value else "false"
        case Decimal() | float() if not Decimal(value).is_finite():
            return ""
        case int() | float() | Decimal():
            return value
        case date() | time():
            return value.isoformat()
        case Mapping():
            return _cell("; ".join(f"{name}: {_cell(one)}" for name, one in value.items()))
        case _:
            text = str(value)
            guard = "'" if text.startswith(_DANGEROUS) else ""
            return guard + _text(text)


def _text(text: str) -> str:
    return _CONTROL.sub("\ufffd", text)
