"""Entries of every kind, mangled at random: none of them keeps the next one from coming."""

import copy
import random

import pytest

from contractors.models import new_id
from inspections import projections, record
from inspections.models import ChainHead, Quarantined, Reading
from inspections.taking import FROM_TABLET
from tests.inspections import tablets
from tests.inspections.events.examples import PAYLOADS
from tests.inspections.tablets import Tablet

pytestmark = [pytest.mark.django_db, pytest.mark.fuzz]

ODD = [
    *(None, True, False, 0, -1, 2**31, 2**53 - 1, 2**53, 2**70, 1.5, 1e308),
    *("", " ", "x" * 5000, "\x00", "\ud800", "\u202e", "é" * 100, "__proto__"),
    *("0", "-0", "1e5", "9" * 400, "NaN", "0.000", "psi", "word", "furlong", "°C"),
    *([], [[]], {}, {"a": 1}, [None]),
    *("2026-02-30", "2026-11-25", "2026-11-25T09:05:00"),
    *("0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59-14:00", "1970-01-01T00:00:00+14:00"),
    "00000000-0000-0000-0000-000000000000",
    *("impairment", "finding", "restored_proof_missing", "absent", "fail", "could_not", "off"),
]
STREAMS = {"finding": "finding", "impairment": "impairment", "outage": "impairment"}


def example(tablet, scene, visit, kind):
    """Return a good entry of the kind, about things that the scene has."""
    payload = copy.deepcopy(PAYLOADS[kind])
    for name in {"finding", "impairment", "outage", "blob"} & set(payload):
        payload[name] = str(new_id())
    if "subject" in payload:
        payload["subject"] = tablets.subject(scene)
    if "device" in payload:
        payload["device"] = str(scene.devices["preaction_valve"].pk)
    about = kind.partition(".")[0]
    stream = STREAMS.get(about, "visit")
    stream_id = payload[about] if about in STREAMS else str(visit.pk)
    return tablet.entry(visit.pk, kind, payload, stream=stream, stream_id=stream_id)


def places(value, above=()):
    inner = value.items() if isinstance(value, dict) else enumerate(value)
    for name, part in inner:
        yield (*above, name)
        if isinstance(part, dict | list):
            yield from places(part, (*above, name))


def mangle(chance, entry):
    """Put something odd in one place, in the payload more often than not."""
    found = [place for place in places(entry) if place[0] not in ("id", "tablet", "seq")]
    inside = [place for place in found if place[0] == "payload"]
    *way, last = chance.choice(inside if chance.random() < 0.7 else found)
    at = entry
    for name in way:
        at = at[name]
    at[last] = chance.choice(ODD)


@pytest.mark.parametrize("kind", sorted(FROM_TABLET))
def test_no_mangled_entry_keeps_the_next_one_from_coming(request, ours, api, kind):
    tablet, visit = Tablet(api(ours.technician), ours.technician), tablets.planned(ours)
    chance = random.Random(kind)
    for _batch in range(100 if request.config.getoption("fuzz") else 1):
        entries = [example(tablet, ours, visit, kind) for _each in range(25)]
        for entry in entries[1:]:
            mangle(chance, entry)
        results = tablet.push(*entries)
        assert tablet.next == tablet.seq + 1 or results[-1]["status"] == "deferred"
        assert not [one for one in results if "its own mistake" in one.get("reason", "")]
        aside = {one["id"] for one in results if one["status"] == "rejected"}
        with ours.scope():
            assert set(map(str, kept_aside(aside))) == aside
        if results[-1]["status"] == "deferred":
            return
    assert tablet.statuses(tablets.reading(tablet, ours, visit.pk, "static_pressure", "82")) == [
        "applied"
    ]
    assert tablet.client.get(f"/api/v1/sync/pull/?tablet={tablet.id}").status_code == 200
    whole(ours)


def kept_aside(ids):
    return Quarantined.objects.filter(event_id__in=ids).values_list("event_id", flat=True)


def whole(scene):
    """Check every chain of the contractor, and that the projections are what the record says."""
    with scene.scope():
        for head in ChainHead.objects.all():
            verdict = record.verify(head.stream, head.stream_id)
            assert verdict.holds, verdict
        before = list(Reading.objects.order_by("id").values())
        projections.rebuild()
        assert list(Reading.objects.order_by("id").values()) == before
