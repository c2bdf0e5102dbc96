import json
import unicodedata
from uuid import UUID

import pytest

from inspections.events.envelope import as_recorded, check, upgrade
from inspections.events.fields import EventRefused
from inspections.events.kind import STREAMS
from inspections.events.kinds import CURRENT, KINDS
from tests.inspections.events.examples import PAYLOADS, an_event, uid


def test_every_kind_has_an_example_that_passes_and_comes_back_the_same():
    assert set(PAYLOADS) == set(CURRENT)
    for kind in PAYLOADS:
        event = an_event(kind)
        again = check(check(event).as_dict())
        assert again == check(event)
        assert again.schema.name == kind
        assert as_recorded(json.loads(again.body())) == again


@pytest.mark.parametrize("kind", sorted(PAYLOADS))
def test_each_required_field_is_missed_by_name(kind):
    schema = KINDS[kind, CURRENT[kind]]
    for name, field in schema.payload.fields.items():
        if field.required:
            payload = {k: v for k, v in PAYLOADS[kind].items() if k != name}
            with pytest.raises(EventRefused) as refused:
                check(an_event(kind, payload=payload))
            assert refused.value.field == f"payload.{name}"
            assert refused.value.accepted == field.type.accepted


@pytest.mark.parametrize("kind", sorted(PAYLOADS))
def test_no_field_accepts_a_fraction_as_a_number(kind):
    for name in PAYLOADS[kind]:
        with pytest.raises(EventRefused, match=rf"^payload\.{name}"):
            check(an_event(kind, payload=PAYLOADS[kind] | {name: 1.5}))


@pytest.mark.parametrize("kind", sorted(PAYLOADS))
def test_a_field_the_kind_does_not_know_is_refused(kind):
    with pytest.raises(EventRefused) as refused:
        check(an_event(kind, payload=PAYLOADS[kind] | {"colour": "red"}))
    assert refused.value.field == "payload.colour"


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"id": "7"}, "event.id"),
        ({"id": "urn:uuid:00000000-0000-7000-8000-000000000007"}, "event.id"),
        ({"by": None}, "event.by"),
        ({"kind": "item.forget"}, "event.kind"),
        ({"version": 3}, "event.version"),
        ({"version": True}, "event.version"),
        ({"stream": "finding", "stream_id": uid(2)}, "event.stream"),
        ({"visit": uid(3)}, "event.visit"),
        ({"visit": None}, "event.visit"),
        ({"seq": None}, "event.seq"),
        ({"seq": 0}, "event.seq"),
        ({"mono": None}, "event.mono"),
        ({"boot": None}, "event.boot"),
        ({"ticket": None}, "event.ticket"),
        ({"ticket": "two words"}, "event.ticket"),
        ({"wall": "2026-03-09T14:05:00"}, "event.wall"),
        ({"wall": "yesterday"}, "event.wall"),
        ({"tablet": None}, "event.seq"),
        ({"seen": [uid(9), uid(9)]}, "event.seen"),
        ({"seen": [uid(100)]}, "event.seen"),
        ({"payload": [1]}, "payload"),
        ({"colour": "red"}, "event.colour"),
    ],
)
def test_the_envelope_names_the_field_it_cannot_use(change, field):
    event = an_event("item.set", id=uid(100)) | change
    with pytest.raises(EventRefused) as refused:
        check(event)
    assert refused.value.field == field
    assert refused.value.accepted
    assert field in str(refused.value)


@pytest.mark.parametrize("event", [None, [], "x", 3])
def test_what_is_not_an_object_is_no_event(event):
    with pytest.raises(EventRefused):
        check(event)


@pytest.mark.parametrize(
    ("kind", "change", "field"),
    [
        ("item.set", {"answer": "could_not"}, "payload.reason"),
        ("item.set", {"answer": "pass", "bulk": True}, "payload.answer"),
        ("item.set", {"answer": "fine"}, "payload.answer"),
        ("item.set", {"subject": {"kind": "pipe", "id": uid(4)}}, "payload.subject.kind"),
        ("item.set", {"subject": {"kind": "device"}}, "payload.subject.id"),
        ("item.set", {"subject": uid(4)}, "payload.subject"),
        ("reading.add", {"value": {"value": "6e2", "unit": "psi"}}, "payload.value.value"),
        ("reading.add", {"value": {"value": "62,5", "unit": "psi"}}, "payload.value.value"),
        ("reading.add", {"value": {"value": "NaN", "unit": "psi"}}, "payload.value.value"),
        ("reading.add", {"value": {"value": 62, "unit": "psi"}}, "payload.value.value"),
        ("reading.add", {"value": {"value": "62", "unit": "p s i"}}, "payload.value.unit"),
        ("step.add", {"deviation": True}, "payload.reason"),
        ("step.add", {"seconds": "-1"}, "payload.seconds"),
        ("step.add", {"seen": {"inlet psi": "3"}}, "payload.seen (name)"),
        ("step.add", {"seen": {"inlet_psi": 3}}, "payload.seen.inlet_psi"),
        ("signature.add", {"role": "absent"}, "payload.reason"),
        ("signature.add", {"shown": "ABC"}, "payload.shown"),
        ("visit.station", {"until": None}, "payload.until"),
        ("photo.attach", {"size": 20 * 2**20 + 1}, "payload.size"),
        ("photo.attach", {"media_type": "image/svg+xml"}, "payload.media_type"),
        ("finding.add", {"finding": uid(77)}, "payload.finding"),
        ("finding.add", {"proposed": True}, "payload.source"),
        ("finding.add", {"text": "a\x00b"}, "payload.text"),
        ("finding.add", {"text": " \n"}, "payload.text"),
        ("finding.add", {"text": "x" * 4001}, "payload.text"),
        ("finding.add", {"text": "\ud800"}, "payload.text"),
        ("finding.decide", {"decision": "defer", "reason": "budget"}, "payload.until"),
        ("finding.decide", {"decision": "decline"}, "payload.reason"),
        ("finding.decide", {"on": "2026-02-30"}, "payload.on"),
        (
            "finding.close",
            {"evidence": {"kind": "invoice", "id": uid(5)}},
            "payload.evidence.kind",
        ),
        ("impairment.start", {"unknown_start": True}, "payload.started_at"),
        ("impairment.end", {"result": "restored_proof_missing"}, "payload.reason"),
        (
            "impairment.end",
            {"result": "restored_proof_missing", "reason": "panel dead"},
            "payload.licence",
        ),
        ("outage.start", {"attended": True, "person": None}, "payload.person"),
        ("visit.leave", {"impairments": []}, "payload.impairments"),
        ("visit.review", {"verdict": "send_back"}, "payload.text"),
        ("visit.cancel", {"reason": "other"}, "payload.text"),
        ("visit.import", {"grade": "owners_word", "done_by": None}, "payload.done_by"),
        ("visit.amend", {"kind": "signature.add"}, "payload.kind"),
        ("visit.amend", {"kind": "visit.eject"}, "payload.kind"),
        ("visit.amend", {"value": {"subject": 1}}, "payload.value.subject"),
        (
            "visit.hand_in",
            {"manifest": {"events": [uid(8)], "count": 2, "photos": []}},
            "payload.manifest.count",
        ),
    ],
)
def test_a_payload_names_the_field_it_cannot_use(kind, change, field):
    with pytest.raises(EventRefused) as refused:
        check(an_event(kind, payload=PAYLOADS[kind] | change))
    assert refused.value.field == field


def test_only_an_event_that_replaces_may_name_others():
    with pytest.raises(EventRefused, match="replaces no event"):
        check(an_event("reading.add", seen=[uid(9)]))


def test_a_conflict_is_settled_with_a_reason_only():
    both = [uid(8), uid(9)]
    with pytest.raises(EventRefused, match=r"payload\.reason"):
        check(an_event("item.set", seen=both))
    settled = check(
        an_event("item.set", seen=both, payload=PAYLOADS["item.set"] | {"reason": "looked again"})
    )
    assert settled.seen == (UUID(uid(8)), UUID(uid(9)))


def test_a_page_sends_no_number_and_needs_no_clock():
    event = an_event("item.set", tablet=None, seq=None, wall=None, mono=None, boot=None)
    assert check(event | {"ticket": None}).tablet is None


def test_texts_are_kept_in_one_spelling():
    composed, decomposed = (unicodedata.normalize(form, "Fälle 3") for form in ("NFC", "NFD"))
    events = [
        check(an_event("note.add", payload={"text": text})) for text in (composed, decomposed)
    ]
    assert events[0].body() == events[1].body()
    assert events[1].payload["text"] == composed


def test_what_was_recorded_before_paper_was_known_is_read_as_it_was():
    old = check(an_event("item.set") | {"version": 1})
    assert upgrade(old) == old
    assert CURRENT["item.set"] == 2
    paper = {"at": "2026-03-10T09:00:00Z", "typed_at": "2026-03-10T17:00:00Z"}
    told = PAYLOADS["item.set"] | {"paper": paper}
    assert check(an_event("item.set", payload=told)).payload["paper"] == paper
    with pytest.raises(EventRefused, match=r"payload\.paper"):
        check(an_event("item.set", payload=told) | {"version": 1})


def test_an_event_as_large_as_a_whole_push_is_refused():
    activities = [
        {"subject": {"kind": "device", "id": uid(n)}, "activity": "a" * 80} for n in range(5000)
    ]
    payload = PAYLOADS["building.take_over"] | {"activities": activities}
    with pytest.raises(EventRefused, match="bytes"):
        check(an_event("building.take_over", payload=payload))


def test_an_old_event_is_brought_up_to_date_step_by_step():
    steps = {
        ("note.add", 2): lambda payload: {"words": payload["text"]},
        ("note.add", 3): lambda payload: {"words": payload["words"], "language": "en"},
    }
    event = check(an_event("note.add"))
    newer = upgrade(event, steps)
    assert newer.version == 4
    assert newer.payload == {"words": event.payload["text"], "language": "en"}
    assert upgrade(event) == event


def test_every_stream_has_kinds():
    assert {stream for kind in KINDS.values() for stream in kind.streams} == set(STREAMS)
