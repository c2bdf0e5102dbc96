"""Read a folder with one inventory (JSON) and CSV files of answers, and say what cannot be used."""

import csv
import io
import json
from collections import Counter
from datetime import date

from buildings.kinds import FACTS_ONLY, AttributeRefused
from inspections.catalogue_files import catalogue
from inspections.sites import Item, Site

COLUMNS = ("building", "device", "activity_id", "applies")


class FolderWrong(Exception):
    """A file of the folder cannot be used; the message names file, place and what is accepted."""


def read_sites(folder):
    """Return the day of asking and the buildings of a folder's inventory."""
    if not folder.is_dir():
        raise FolderWrong(f"{folder}: is no folder")
    found = sorted(folder.glob("*.json"))
    if len(found) != 1:
        names = ", ".join(file.name for file in found) or "none"
        raise FolderWrong(f"{folder}: one inventory (*.json) is wanted; found {names}")
    (file,) = found
    try:
        data = json.loads(file.read_text(encoding="utf-8-sig"))
    except ValueError as error:
        raise FolderWrong(f"{file.name}: is no JSON in UTF-8: {error}") from None
    about = _given(data, "about", dict, file.name)
    day = _given(about, "as_of", str, f"{file.name}: about")
    buildings = _given(data, "buildings", list, file.name)
    try:
        as_of = date.fromisoformat(day)
    except ValueError:
        raise FolderWrong(f"{file.name}: as_of is {day!r}; a day like 2026-07-01") from None
    sites = [_site(f"{file.name}: building {n}", one) for n, one in enumerate(buildings, start=1)]
    twice = [id_ for id_, count in Counter(site.id for site in sites).items() if count > 1]
    if twice:
        raise FolderWrong(f"{file.name}: building {twice[0]} is there twice")
    return as_of, sites


_WORDS = {dict: "an object", list: "a list", str: "a text"}


def _given(data, name, kind, where, *, default=None):
    """Return a value of an object, of one type of JSON."""
    if not isinstance(data, dict):
        raise FolderWrong(f"{where}: an object is wanted, not {data!r:.60}")
    value = data.get(name)
    value = default if value is None else value
    if value is None:
        raise FolderWrong(f"{where}: {name!r} is missing")
    if not isinstance(value, kind):
        raise FolderWrong(f"{where}: {name!r} is {value!r:.60}; {_WORDS[kind]} is wanted")
    return value


def _site(where, building):
    id_ = _given(building, "id", str, where)
    items = _given(building, "items", list, id_, default=[])
    attributes = _attributes(where, "building", building)
    try:
        return Site(
            id=id_,
            edition=_edition(where, building.get("adopted_edition")),
            attributes=attributes,
            items=tuple(_item(f"{where}: item {n}", id_, one) for n, one in enumerate(items, 1)),
        )
    except ValueError as error:
        raise FolderWrong(f"{where}: {error}") from None


def _edition(where, value):
    year = int(value) if isinstance(value, str) and value.isdecimal() else value
    if year is None or (isinstance(year, int) and 1900 <= year <= 2200):
        return year
    raise FolderWrong(f"{where}: adopted_edition is {value!r}; a year such as 2020, or null")


def _item(where, building_id, one):
    id_, kind = (_given(one, name, str, where) for name in ("id", "kind"))
    kinds = [name for name in catalogue().kinds if name not in FACTS_ONLY]
    if kind not in kinds:
        raise FolderWrong(f"{where}, {id_}: {kind!r} is no kind; accepted: {', '.join(kinds)}")
    parent = _given(one, "parent", str, where, default=building_id)
    return Item(id_, kind, parent, _attributes(f"{where}, {id_}", kind, one))


def _attributes(where, kind, one):
    given = _given(one, "attributes", dict, where, default={})
    known = catalogue().kinds[kind].attributes
    found = {}
    for name, value in given.items():
        if name not in known:
            accepted = ", ".join(known)
            raise FolderWrong(f"{where}: {kind} has no attribute {name!r}; it has {accepted}")
        if value is None or value == "":
            continue
        try:
            found[name] = known[name].normalise(value)
        except AttributeRefused as refused:
            said = f"{name} is {value!r}; {refused.accepted} is accepted"
            raise FolderWrong(f"{where}: {said}") from None
    return found


def answers(folder):
    """Yield the rows of the answers, cells stripped; lines without a cell are left out."""
    for file in sorted(folder.glob("*.csv")):
        try:
            text = file.read_bytes().decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise FolderWrong(f"{file.name}: is no CSV file in UTF-8: {error}") from None
        rows = csv.DictReader(io.StringIO(text, newline=""))
        rows.fieldnames = [name.strip() for name in rows.fieldnames or ()]
        missing = [name for name in COLUMNS if name not in rows.fieldnames]
        if {"building", "device"} <= set(missing):
            continue  # another table
        if missing:
            raise FolderWrong(f"{file.name}, row 1: there is no column {', '.join(missing)}")
        for row in rows:
            cells = {name: (row[name] or "").strip() for name in COLUMNS}
            if any(cells.values()):
                yield cells | {"at": f"{file.name}, row {rows.line_num}"}
