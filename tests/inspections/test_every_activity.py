"""Every row of the table of activities is reached under its id, and says what the table says."""

import csv

import pytest
from django.urls import resolve, reverse

from inspections.api.catalogue import ActivityOut
from inspections.catalogue_files import catalogue
from tests.inspections.test_catalogue import TABLES

FIELDS = (
    *("regime", "source", "confidence", "component", "kind", "task", "season"),
    *("frequency_note", "duplicate_of", "part_of"),
)
with (TABLES / "activities.csv").open(encoding="utf-8", newline="") as text:
    ROWS = {row["id"]: row for row in csv.DictReader(text)}


def told(row):
    """What the API says of a row, from the table's own text."""
    years = {name: int(row[name]) if row[name] else None for name in ("edition_from", "edition_to")}
    return {
        "id": row["id"],
        "frequency": row["frequency"],
        "system_types": row["system_types"].split(";"),
        "first_after": row["first_after"] or None,
        **years,
        **{name: row[name] for name in FIELDS},
    }


def test_every_id_of_the_table_says_what_its_row_says():
    wrong = []
    for activity_id, row in ROWS.items():
        given = ActivityOut(catalogue().activities[activity_id]).data
        wanted = told(row)
        if {name: given[name] for name in wanted} != wanted:
            wrong.append((activity_id, {n: (given[n], wanted[n]) for n in wanted}))
    assert wrong == []
    assert set(ROWS) == set(catalogue().activities)


def test_every_id_has_an_address_of_its_own():
    for activity_id in ROWS:
        address = reverse("api-activity-detail", args=[activity_id])
        assert address == f"/api/v1/activities/{activity_id}/"
        assert resolve(address).kwargs == {"pk": activity_id}


@pytest.mark.django_db
@pytest.mark.parametrize("place", [0, 0.5, 1], ids=["first", "middle", "last"])
def test_an_id_is_answered_over_the_wire(ours, api, place):
    activity_id = sorted(ROWS)[round(place * (len(ROWS) - 1))]
    answer = api(ours.technician).get(f"/api/v1/activities/{activity_id}/")
    wanted = told(ROWS[activity_id])
    assert {name: answer.json()[name] for name in wanted} == wanted
