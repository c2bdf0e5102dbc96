"""A record that comes late is the last one for the visits after it."""

from datetime import date

import pytest

from inspections import projections, record
from inspections.models import Reading, Visit

pytestmark = pytest.mark.django_db


def read(ours, day, typed):
    """Record a main drain's static pressure on a day, as an import would."""
    visit = Visit.objects.create(building=ours.building)
    number, unit = typed.split()
    entries = [
        record.visit_entry(
            visit, "visit.import", {"grade": "own_record", "done_on": day.isoformat()}, by=None
        ),
        record.visit_entry(
            visit,
            "reading.add",
            {
                "subject": {"kind": "riser", "id": str(ours.wet_riser.pk)},
                "activity": "main-drain-annual",
                "name": "static_pressure",
                "typed": typed,
                "value": {"value": number, "unit": unit},
            },
            by=None,
        ),
    ]
    record.append(entries, via="import", by=ours.office)


def told():
    return list(Reading.objects.order_by("read_on").values_list("typed", "judgement__last"))


def test_what_came_late_is_what_later_readings_are_judged_beside(ours):
    with ours.scope():
        read(ours, date(2026, 3, 10), "80 psi")
        read(ours, date(2026, 9, 10), "78 psi")
        assert told() == [("80 psi", None), ("78 psi", "80 psi")]
        read(ours, date(2026, 6, 10), "61 psi")
        assert told() == [("80 psi", None), ("61 psi", "80 psi"), ("78 psi", "61 psi")]
        live = list(Reading.objects.order_by("id").values())
        projections.rebuild()
        assert list(Reading.objects.order_by("id").values()) == live
