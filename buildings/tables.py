"""Read the tables of the catalogue, and say file, row and reason where one cannot be used."""

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class CatalogueError(Exception):
    """A table cannot be used; the catalogue loaded before stays in force.

    Attributes
    ----------
    file
        Name of the table.
    row
        Line in the file, the header being 1; or the row's own id.
    reason
        What is wrong and what is accepted.
    """

    def __init__(self, file: str, row: int | str, reason: str) -> None:
        super().__init__(f"{file}, row {row}: {reason}")
        self.file = file
        self.row = row
        self.reason = reason


Row = dict[str, str]


def read_table(path: Path, columns: tuple[str, ...]) -> list[Row]:
    """Return the rows of a table, each with `row` (its line in the file) among its values.

    Raises
    ------
    CatalogueError
        When the file is not there, is not UTF-8, lacks a column, or has a row of another length.
    """
    try:
        with path.open(encoding="utf-8", newline="") as text:
            reader = csv.DictReader(text, strict=True)
            missing = sorted(set(columns) - set(reader.fieldnames or ()))
            if missing:
                raise CatalogueError(path.name, 1, f"there is no column {', '.join(missing)}")
            return [_checked(path.name, reader.line_num, row) for row in reader]
    except FileNotFoundError:
        raise CatalogueError(path.name, 0, "there is no such file") from None
    except (UnicodeDecodeError, csv.Error) as error:
        raise CatalogueError(path.name, 0, f"is no CSV file in UTF-8: {error}") from None


def _checked(file: str, line: int, row: dict[str | None, str | None]) -> Row:
    if None in row or None in row.values():
        raise CatalogueError(file, line, "has more or fewer values than the header")
    return {"row": str(line), **{str(name): (value or "").strip() for name, value in row.items()}}


@contextmanager
def in_row(file: str, row: Row) -> Iterator[None]:
    """Turn a ValueError raised while a row is read into one that names file and row."""
    try:
        yield
    except ValueError as error:
        raise CatalogueError(file, int(row["row"]), str(error)) from None


def split(text: str) -> tuple[str, ...]:
    """Return the parts of a value that holds several, divided by semicolons."""
    return tuple(part for part in (piece.strip() for piece in text.split(";")) if part)
