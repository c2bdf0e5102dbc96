"""Uploaded files as tables: CSV files, a ZIP of them, or one workbook."""

import csv
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import PurePosixPath
from typing import Any

from openpyxl import load_workbook

from buildings.portfolio.values import plain
from contractors.refusal import Refusal

LARGEST_FILE = 25 * 2**20
LARGEST_UNPACKED = 100 * 2**20
MOST_ROWS = 200_000


class NoPortfolio(Refusal):
    """A file cannot be read as sheets at all."""

    code = "unreadable_file"
    status = 400
    sentence = "%(name)s cannot be used: %(why)s"


@dataclass(frozen=True, slots=True)
class Row:
    """A row of a sheet: its number as a person counts them, and its cells that hold something."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet as it was given."""

    name: str
    headings: tuple[str, ...]
    rows: tuple[Row, ...]


def read(files: Iterable[tuple[str, bytes]]) -> dict[str, Table]:
    """Return the sheets that files hold, by name.

    Parameters
    ----------
    files
        Name and content of CSV files (`buildings.csv`), ZIP files of them, or XLSX workbooks.

    Raises
    ------
    NoPortfolio
        When a file is too large, of another kind, damaged, or a sheet is there twice.
    """
    found: dict[str, Table] = {}
    for name, content in files:
        for table in _tables(name, content):
            if table.name in found:
                raise NoPortfolio(name=name, why=f"the sheet {table.name} is there twice.")
            found[table.name] = table
    return found


def from_rows(sheets: Mapping[str, Any]) -> dict[str, Table]:
    """Return sheets given as lists of objects, as the API takes them; rows count from 1."""
    found = {}
    for name, rows in sheets.items():
        if not isinstance(rows, Sequence) or not all(isinstance(row, Mapping) for row in rows):
            raise NoPortfolio(name=name, why="a sheet is a list of objects, one a row.")
        headings = tuple(dict.fromkeys(str(heading) for row in rows for heading in row))
        taken = tuple(
            Row(number, {str(k): _as_text(v) for k, v in row.items() if _as_text(v)})
            for number, row in enumerate(rows, start=1)
        )
        found[plain(name)] = Table(plain(name), headings, taken)
    return found


def _tables(name: str, content: bytes) -> list[Table]:
    if len(content) > LARGEST_FILE:
        raise NoPortfolio(name=name, why=f"it is larger than {LARGEST_FILE // 2**20} MB.")
    suffix = PurePosixPath(name).suffix.casefold()
    if suffix == ".csv":
        return [_from_csv(name, content)]
    if suffix == ".zip":
        return _from_zip(name, content)
    if suffix == ".xlsx":
        return _from_workbook(name, content)
    raise NoPortfolio(name=name, why="only .csv, .zip of them, and .xlsx are read.")


def _from_csv(name: str, content: bytes) -> Table:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise NoPortfolio(name=name, why="it is not in UTF-8; save it as CSV UTF-8.") from None
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise NoPortfolio(name=name, why=f"it is no CSV file ({error}).") from None
    return _table(name, PurePosixPath(name).stem, rows)


def _from_zip(name: str, content: bytes) -> list[Table]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            inside = [i for i in archive.infolist() if i.filename.casefold().endswith(".csv")]
            if sum(i.file_size for i in inside) > LARGEST_UNPACKED:
                raise NoPortfolio(name=name, why="it is too large when unpacked.")
            return [
                _from_csv(PurePosixPath(i.filename).name, archive.read(i))
                for i in inside
                if not PurePosixPath(i.filename).name.startswith((".", "_"))
            ]
    except (zipfile.BadZipFile, RuntimeError, OSError):
        raise NoPortfolio(name=name, why="it is no ZIP file that can be opened.") from None


def _from_workbook(name: str, content: bytes) -> list[Table]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(i.file_size for i in archive.infolist()) > LARGEST_UNPACKED:
                raise NoPortfolio(name=name, why="it is too large when unpacked.")
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        sheets = [
            (sheet.title, [list(row) for row in sheet.iter_rows(values_only=True)])
            for sheet in book.worksheets
        ]
        book.close()
    except (zipfile.BadZipFile, KeyError, ValueError, OSError):
        raise NoPortfolio(name=name, why="it is no workbook that can be opened.") from None
    return [_table(name, title, rows) for title, rows in sheets if any(any(row) for row in rows)]


def _table(file: str, title: str, rows: Sequence[Sequence[Any]]) -> Table:
    if len(rows) > MOST_ROWS:
        raise NoPortfolio(name=file, why=f"more than {MOST_ROWS:,} rows in one sheet.")
    headings = tuple(_as_text(cell) for cell in rows[0]) if rows else ()
    taken = []
    for number, row in enumerate(rows[1:], start=2):
        texts = [_as_text(cell) for cell in row]
        if any(texts[len(headings) :]):
            why = f"row {number} of {title} has more cells than the heading row."
            raise NoPortfolio(name=file, why=why)
        cells = {heading: text for heading, text in zip(headings, texts, strict=False) if text}
        if cells:
            taken.append(Row(number, cells))
    return Table(plain(title), headings, tuple(taken))


def _as_text(cell: Any) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time().isoformat() == "00:00:00" else str(cell)
    if isinstance(cell, date):
        return cell.isoformat()
    return str(cell).strip()
