"""A small portfolio as rows: what each test changes a little."""

from copy import deepcopy
from typing import Any

SMALL: dict[str, list[dict[str, Any]]] = {
    "offices": [{"name": "North depot", "latitude": 44.1, "longitude": -70.2}],
    "people": [
        {
            "code": "RW",
            "name": "Robin Weir",
            "office": "North depot",
            "technician": "yes",
            "week": "Mon-Thu 07:00-16:30; Fri 07:00-12:00",
        }
    ],
    "licences": [
        {
            "person": "RW",
            "kind": "inspector",
            "number": "I-7",
            "valid_from": "2024-01-01",
            "valid_until": "2028-12-31",
        }
    ],
    "jurisdictions": [{"name": "Alder County", "edition": 2020, "in_force_from": "2021-01-01"}],
    "owners": [{"code": "alder-estates", "name": "Alder Estates"}],
    "buildings": [
        {
            "number": "A-1",
            "name": "Alder House",
            "address": "3 Weir Street",
            "city": "Aldermouth",
            "state": "ME",
            "jurisdiction": "Alder County",
            "hours": "Mon-Fri 07:00-17:00",
            "taken_over_on": "2025-01-15",
            "frost": "yes",
        }
    ],
    "engagements": [{"building": "A-1", "owner": "alder-estates", "from": "2025-01-15"}],
    "agreements": [
        {
            "building": "A-1",
            "from": "2025-01-15",
            "owner_does": "weekly; monthly",
            "annual_month": 5,
        }
    ],
    "systems": [
        {"building": "A-1", "number": "S1", "name": "Offices", "kind": "wet", "order": 1},
    ],
    "risers": [
        {
            "building": "A-1",
            "system": "S1",
            "number": "R1",
            "name": "Riser 1",
            "valve_kind": "alarm check",
        }
    ],
    "devices": [
        {
            "building": "A-1",
            "riser": "R1",
            "number": "D2",
            "kind": "supervisory switch",
            "parent": "D1",
        },
        {
            "building": "A-1",
            "riser": "R1",
            "number": "D1",
            "kind": "control_valve",
            "valve type": "butterfly",
        },
        {
            "building": "A-1",
            "riser": "R1",
            "number": "D3",
            "kind": "waterflow_switch",
            "type": "vane",
        },
        {"building": "A-1", "riser": "R1", "number": "D4", "kind": "sprinkler_group", "year": 1998},
    ],
    "last_done": [
        {
            "building": "A-1",
            "item_kind": "device",
            "item": "D4",
            "activity": "sprinkler-visual",
            "last_done": "2025-05-02",
            "evidence": "owners_word",
        }
    ],
    "visits": [
        {"number": "V-1", "building": "A-1", "date": "2025-05-06", "done_by": "RW"},
        {
            "number": "V-2",
            "building": "A-1",
            "date": "2026-05-07",
            "done_by": "Another firm",
            "evidence": "other_report",
        },
    ],
    "results": [
        {
            "visit": "V-1",
            "item_kind": "riser",
            "item": "R1",
            "activity": "main-drain-annual",
            "answer": "pass",
        },
        {
            "visit": "V-2",
            "item_kind": "device",
            "item": "D3",
            "activity": "waterflow-vane-test",
            "answer": "fail",
        },
    ],
    "readings": [
        {
            "visit": "V-1",
            "item_kind": "riser",
            "item": "R1",
            "activity": "main-drain-annual",
            "reading": reading,
            "value": value,
            "unit": "psi",
        }
        for reading, value in (("static_pressure", "78"), ("residual_pressure", "62.5"))
    ],
    "findings": [
        {
            "number": "F-1",
            "building": "A-1",
            "item_kind": "device",
            "item": "D3",
            "class": "critical",
            "text": "No signal within two minutes",
            "visit": "V-2",
            "activity": "waterflow-vane-test",
        },
        {
            "number": "F-2",
            "building": "A-1",
            "item_kind": "device",
            "item": "D4",
            "class": "noncritical",
            "text": "Two painted sprinklers in the store",
            "count": 2,
            "visit": "V-1",
            "closed_by_visit": "V-2",
        },
        {
            "number": "F-3",
            "building": "A-1",
            "class": "observation",
            "text": "Racks are higher than the placard says",
            "found_on": "2026-02-02",
        },
    ],
}


def small(**changed: Any) -> dict[str, list[dict[str, Any]]]:
    """Return a copy of the small portfolio with some sheets replaced, None taking one out."""
    rows = deepcopy(SMALL) | changed
    return {name: sheet for name, sheet in rows.items() if sheet is not None}
