"""One good payload of each kind, and an envelope around it."""

from uuid import UUID

from inspections.events.envelope import check
from inspections.events.kinds import CURRENT, KINDS


def uid(number):
    return f"00000000-0000-7000-8000-{number:012x}"


SHOWN = "ab" * 32
VISIT = UUID(uid(1))
VALVE = {"kind": "device", "id": uid(40)}
AT = "2026-03-09T14:05:00-05:00"

PAYLOADS = {
    "visit.open": {"at": AT, "contact": "Facility engineer", "weather": "dry, no frost"},
    "visit.station": {"state": "on", "until": AT, "operator": "17", "reference": "4471"},
    "item.set": {"subject": VALVE, "activity": "valve.position", "answer": "seen_in_order"},
    "reading.add": {
        "subject": {"kind": "riser", "id": uid(41)},
        "activity": "main_drain",
        "name": "flowing",
        "typed": "62",
        "value": {"value": "62", "unit": "psi"},
        "point": "after",
        "instrument": uid(42),
    },
    "step.add": {
        "device": uid(40),
        "step": "trip.2",
        "action": "lose_air",
        "expected": {"tripped": False, "air_psi": "18"},
        "seen": {"tripped": False, "air_psi": "17.5"},
        "seconds": "41.8",
        "deviation": False,
    },
    "proof.set": {"device": uid(40), "item": "7", "result": "proven", "value": "72 psi"},
    "note.add": {"text": "Key is with the guard"},
    "photo.attach": {"blob": uid(50), "sha256": "cd" * 32, "size": 1000, "media_type": "image/png"},
    "signature.add": {"role": "technician", "name": "A. Sample", "shown": SHOWN},
    "visit.leave": {"impairments": [uid(30)], "reason": "Clapper will not latch"},
    "visit.hand_in": {
        "manifest": {"events": [uid(100)], "count": 1, "photos": []},
        "shown": SHOWN,
    },
    "finding.add": {
        "finding": uid(20),
        "subject": VALVE,
        "class": "critical",
        "text": "Stem leaks when turned",
        "count": 2,
    },
    "finding.accept": {"finding": uid(20)},
    "finding.drop": {"finding": uid(20), "reason": "Gauge was isolated"},
    "finding.link": {"finding": uid(20), "to": uid(21)},
    "finding.reclass": {"finding": uid(20), "class": "critical", "reason": "Runs faster now"},
    "finding.decide": {"finding": uid(20), "decision": "approve", "on": "2026-03-12"},
    "finding.close": {"finding": uid(20), "evidence": {"kind": "result", "id": uid(101)}},
    "impairment.start": {
        "impairment": uid(30),
        "subject": VALVE,
        "extent": "Floors 3 to 9 have no water",
        "nature": "emergency",
        "unknown_start": False,
        "started_at": AT,
        "tags": ["control valve", "fire department connection"],
    },
    "impairment.notice": {
        "impairment": uid(30),
        "told": "owner",
        "name": "Night desk",
        "how": "phone",
        "at": AT,
    },
    "visit.hand_over": {
        "to": uid(60),
        "name": "B. Sample",
        "text": "Riser 1 is done, riser 2 is not begun",
    },
    "impairment.tag": {
        "impairment": uid(30),
        "state": "hung",
        "place": "control valve, riser 2",
        "at": AT,
    },
    "impairment.watch": {"impairment": uid(30), "who": "Guard 2", "from": AT},
    "impairment.end": {"impairment": uid(30), "result": "restored_proven"},
    "outage.start": {
        "outage": uid(30),
        "subject": VALVE,
        "extent": "Riser 2",
        "attended": True,
        "person": "A. Sample",
    },
    "outage.end": {"outage": uid(30), "result": "restored_proven"},
    "visit.review": {"verdict": "accept"},
    "visit.waive_review": {"reason": "Setting of the contractor"},
    "visit.seal": {"shown": SHOWN},
    "visit.amend": {
        "target": uid(101),
        "kind": "item.set",
        "value": {"subject": VALVE, "activity": "valve.position", "answer": "finding"},
        "reason": "mistyped",
        "text": "The valve stood half closed",
    },
    "visit.cancel": {"reason": "no_access"},
    "visit.import": {"grade": "other_report", "done_on": "2025-11-04", "done_by": "Another firm"},
    "sample.send": {
        "sample": uid(40),
        "subject": VALVE,
        "activity": "sprinkler-test-standard-50y",
        "groups": [VALVE["id"]],
        "area": "Level 2",
        "in_area": 240,
        "owed": 4,
        "pieces": [{"tag": "A1", "group": VALVE["id"], "where": "by the stairs"}],
        "taken_on": "2026-03-09",
        "taken_by": "A. Fitter",
        "sent_on": "2026-03-10",
        "laboratory": "A laboratory",
    },
    "sample.result": {
        "sample": uid(40),
        "reported_on": "2026-03-30",
        "pieces": [
            {"tag": "A1", "outcome": "slow", "value": {"value": "61.5", "unit": "s"}},
        ],
        "certificate": {"file": uid(41), "sha256": "0" * 64, "number": "C-12"},
        "finding": uid(20),
    },
    "sample.replace": {
        "sample": uid(40),
        "on": "2026-04-20",
        "by": "A. Fitter",
        "groups": [{"old": VALVE["id"], "new": uid(42), "count": 240, "year": 2026}],
    },
    "building.take_over": {
        "building": uid(10),
        "on": "2026-01-01",
        "activities": [
            {
                "subject": VALVE,
                "activity": "valve.position",
                "last_done": "2025-10-01",
                "grade": "other_report",
            }
        ],
    },
}


def an_event(kind, **changes):
    """Return an event of the kind as a tablet would send it; the tests change what they look at."""
    schema = KINDS[kind, CURRENT[kind]]
    payload = changes.pop("payload", PAYLOADS[kind])
    stream_ids = {
        "visit": uid(1),
        "finding": uid(20),
        "impairment": uid(30),
        "building": uid(10),
        "sample": uid(40),
    }
    stream = schema.streams[0]
    event = {
        "id": uid(100),
        "stream": stream,
        "stream_id": stream_ids[stream],
        "visit": None if stream == "building" else uid(1),
        "kind": kind,
        "version": schema.version,
        "tablet": uid(60),
        "seq": 1,
        "seen": [],
        "wall": AT,
        "mono": 81_000,
        "boot": "b1",
        "ticket": "t1",
        "by": uid(70),
        "payload": payload,
    }
    return event | changes


def ev(kind, number, **changes):
    """Return a checked event with this number as its id, some of its payload changed."""
    payload = PAYLOADS[kind] | changes.pop("payload", {})
    return check(an_event(kind, id=uid(number), seq=number, payload=payload, **changes))


def run(*kinds):
    """Return events of these kinds, one after another; a pair also changes the payload."""
    events = []
    for number, kind in enumerate(kinds, start=1):
        name, payload = kind if isinstance(kind, tuple) else (kind, {})
        events.append(ev(name, number, payload=payload))
    return events
