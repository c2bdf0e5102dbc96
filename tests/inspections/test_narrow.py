"""What is derived entry by entry is what the whole visit amounts to."""

from datetime import UTC, datetime

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inspections import projections, record
from inspections.models import Reading, Result, Visit

ANSWERS = ("pass", "fail", "seen_in_order")


@pytest.fixture
def visit(ours):
    with ours.scope():
        made = Visit.objects.create(building=ours.building)
        set_item(ours, made, ours.wet, "look-0", "pass")
        return made


def set_item(ours, visit, subject, activity, answer, seen=()):
    payload = {
        "subject": {"kind": subject.subject_kind, "id": str(subject.pk)},
        "activity": activity,
        "answer": answer,
    }
    entry = record.visit_entry(visit, "item.set", payload, by=ours.technician, seen=seen)
    return append(ours, [entry])[0]


def read(ours, visit, subject, activity, number):
    payload = {
        "subject": {"kind": subject.subject_kind, "id": str(subject.pk)},
        "activity": activity,
        "name": "static",
        "value": {"value": str(number), "unit": "psi"},
        "typed": str(number),
    }
    return append(ours, [record.visit_entry(visit, "reading.add", payload, by=ours.technician)])


def append(ours, entries):
    at = datetime(2026, 11, 24, 15, tzinfo=UTC)
    return record.append(entries, via="tablet", by=ours.technician, happened_at=at)


def stored(visit):
    """Every column of a visit and what was derived from it."""
    return [
        sorted(map(repr, rows.values()))
        for rows in (
            Visit.objects.filter(pk=visit.pk),
            Result.objects.filter(visit=visit),
            Reading.objects.filter(visit=visit),
        )
    ]


def test_entries_one_by_one_leave_what_the_whole_visit_amounts_to(ours, visit):
    with ours.scope():
        subjects = list(ours.devices.values())[:6]
        heads = {}
        for turn, subject in enumerate(subjects * 3):
            activity = f"look-{turn % 4}"
            seen = [heads[subject.pk, activity]] if (subject.pk, activity) in heads else []
            done = set_item(ours, visit, subject, activity, ANSWERS[turn % 3], seen)
            heads[subject.pk, activity] = done.id
            if turn % 2:
                read(ours, visit, subject, activity, 50 + turn)
        before = stored(visit)
        assert len(before[1]) > 6
        assert len(before[2]) > 6
        projections.visit(visit.pk)
        assert stored(visit) == before


def test_two_who_disagree_are_told_entry_by_entry_too(ours, visit):
    with ours.scope():
        set_item(ours, visit, ours.wet, "look-1", "pass")
        set_item(ours, visit, ours.wet, "look-1", "fail")
        told = Result.objects.get(visit=visit, activity="look-1")
        assert (told.answer, told.disputed) == ("fail", True)


def test_an_entry_reads_no_more_rows_however_many_came_before(ours, visit):
    with ours.scope():
        folded = []
        subjects = list(ours.devices.values())
        for turn in range(24):
            with CaptureQueriesContext(connection) as asked:
                set_item(ours, visit, subjects[turn % 8], f"look-{turn}", "pass")
            folded.append(len(asked))
        assert len(set(folded)) == 1
        assert Result.objects.filter(visit=visit).count() == 25
