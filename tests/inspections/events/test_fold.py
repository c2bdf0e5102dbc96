from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.events.findings import FindingState, fold_finding
from inspections.events.fold import Subject, VisitState, fold, shown_hash
from inspections.events.outages import fold_outage
from tests.inspections.events.examples import AT, PAYLOADS, VALVE, VISIT, ev, run, uid

SEND_BACK = {"verdict": "send_back", "text": "Riser 2 has no static pressure"}


def picture(*kinds):
    return fold(run(*kinds), visit=VISIT)


@pytest.mark.parametrize(
    ("kinds", "state"),
    [
        ([], VisitState.PLANNED),
        (["visit.open"], VisitState.OPEN),
        (["item.set"], VisitState.OPEN),
        (["visit.open", "visit.hand_in"], VisitState.HANDED_IN),
        (["visit.open", "visit.hand_in", "visit.review"], VisitState.REVIEWED),
        (["visit.open", "visit.hand_in", "visit.waive_review"], VisitState.REVIEWED),
        (["visit.open", "visit.hand_in", ("visit.review", SEND_BACK)], VisitState.OPEN),
        (["visit.open", "visit.hand_in", "visit.review", "visit.seal"], VisitState.SEALED),
        (["visit.cancel"], VisitState.CANCELLED),
        (["visit.cancel", "item.set"], VisitState.OPEN),
        (["visit.open", "visit.hand_in", "item.set"], VisitState.HANDED_IN),
        (["visit.open", "visit.hand_in", "visit.review", "item.set"], VisitState.HANDED_IN),
        (["visit.open", "visit.hand_in", "visit.review", "visit.hand_in"], VisitState.HANDED_IN),
        (["visit.open", "visit.hand_in", "impairment.start"], VisitState.HANDED_IN),
        (["visit.seal", "item.set"], VisitState.SEALED),
        (["visit.seal", "visit.cancel"], VisitState.SEALED),
        (["visit.seal", "visit.amend"], VisitState.SEALED),
    ],
)
def test_a_visit_goes_its_way(kinds, state):
    assert picture(*kinds).state is state


def test_events_of_another_visit_are_passed_over():
    other = ev("item.set", 1, visit=uid(2), stream_id=uid(2))
    assert fold([other], visit=VISIT).state is VisitState.PLANNED


def test_each_thing_recorded_has_its_place():
    found = picture(
        "visit.open", "reading.add", "step.add", "note.add", "photo.attach", "signature.add"
    )
    assert found.opened.payload["contact"] == "Facility engineer"
    for group in (found.readings, found.steps, found.notes, found.photos, found.signatures):
        assert len(group) == 1
    assert [event.kind for event in found.counted] == [
        "visit.open",
        "reading.add",
        "step.add",
        "note.add",
        "photo.attach",
        "signature.add",
    ]


def test_work_after_the_hand_in_is_kept_and_named():
    found = picture("visit.open", "visit.hand_in", "item.set", "visit.hand_in")
    assert [event.kind for event in found.late] == ["item.set", "visit.hand_in"]
    assert found.handed_in.id == UUID(uid(2))
    assert len(found.items) == 1


def test_after_a_send_back_the_next_hand_in_is_the_one_that_counts():
    found = picture("visit.open", "visit.hand_in", ("visit.review", SEND_BACK), "visit.hand_in")
    assert found.handed_in.id == UUID(uid(4))
    assert found.late == ()
    assert found.state is VisitState.HANDED_IN


def test_work_after_the_seal_does_not_change_the_picture():
    sealed = picture("visit.open", "item.set", "visit.hand_in", "visit.review", "visit.seal")
    events = run("visit.open", "item.set", "visit.hand_in", "visit.review", "visit.seal")
    after = fold([*events, ev("item.set", 9, payload={"answer": "fail"})], visit=VISIT)
    assert after.items == sealed.items
    assert [event.id for event in after.after_seal] == [UUID(uid(9))]


def test_a_fail_made_good_on_the_spot_is_kept_as_both():
    found = picture(
        ("item.set", {"answer": "fail", "phase": "as_found"}),
        ("item.set", {"answer": "pass", "phase": "as_left"}),
    )
    (item,) = found.items
    assert item.subject == Subject("device", UUID(VALVE["id"]))
    assert (item.as_found.word, item.as_left.word, item.answer) == ("fail", "pass", "pass")
    assert not item.in_conflict


def test_two_people_who_disagree_are_both_shown_and_the_worse_counts():
    found = picture(("item.set", {"answer": "pass"}), ("item.set", {"answer": "fail"}), "proof.set")
    assert found.conflicts == found.items
    assert found.items[0].answer == "fail"
    assert found.proofs[0].result == "proven"


def test_what_a_hand_in_names_and_is_not_here_is_listed():
    manifest = {"events": [uid(1), uid(7)], "count": 2, "photos": []}
    found = picture("visit.open", ("visit.hand_in", {"manifest": manifest}))
    assert found.not_arrived == (UUID(uid(7)),)
    assert picture("visit.open").not_arrived == ()


def test_a_station_is_on_test_until_it_is_put_back():
    on, off = ("visit.station", {"state": "on"}), ("visit.station", {"state": "off"})
    assert picture(on).on_test.id == UUID(uid(1))
    assert picture(on, on).on_test.id == UUID(uid(1))
    assert picture(on, off).on_test is None
    assert picture(off).station == ()
    assert [period.off is None for period in picture(on, off, on).station] == [False, True]


def amendment(number, target, value, **changes):
    payload = {"target": uid(target), "kind": "item.set", "value": PAYLOADS["item.set"] | value}
    return ev("visit.amend", number, payload=payload, **changes)


def test_an_amendment_changes_what_is_known_and_keeps_what_was_recorded():
    events = run("item.set", "visit.seal")
    amended = fold([*events, amendment(3, 1, {"answer": "fail"})], visit=VISIT)
    assert amended.items[0].answer == "fail"
    assert amended.counted[0].payload["answer"] == "seen_in_order"
    assert [event.id for event in amended.amendments[UUID(uid(1))]] == [UUID(uid(3))]


def test_of_two_amendments_that_did_not_see_each_other_the_worse_is_shown():
    events = [*run("item.set"), amendment(3, 1, {"answer": "fail"}), amendment(4, 1, {})]
    assert fold(events, visit=VISIT).items[0].answer == "fail"
    assert fold(events, visit=VISIT).conflicts
    settled = [*events, amendment(5, 1, {}, seen=[uid(3), uid(4)])]
    assert fold(settled, visit=VISIT).items[0].answer == "seen_in_order"


def test_an_amendment_moves_a_result_to_the_subject_it_belongs_to():
    other = {"kind": "device", "id": uid(44)}
    events = [*run("item.set"), amendment(3, 1, {"subject": other})]
    assert [item.subject.id for item in fold(events, visit=VISIT).items] == [UUID(uid(44))]


def test_findings_and_outages_of_the_visit_are_in_its_picture():
    found = picture(
        "finding.add", ("finding.reclass", {"class": "impairment"}), "outage.start", "outage.end"
    )
    assert found.findings[0].class_ == "impairment"
    assert not found.outages[0].runs
    assert found.followed == ()


def test_acts_on_what_began_before_the_visit_are_named():
    found = picture("finding.close", "impairment.end")
    assert found.findings == ()
    assert [event.kind for event in found.followed] == ["finding.close", "impairment.end"]


def test_an_amended_finding_is_known_by_its_new_class():
    payload = {"target": uid(1), "kind": "finding.add"}
    worse = PAYLOADS["finding.add"] | {"class": "impairment"}
    events = [*run("finding.add"), ev("visit.amend", 2, payload=payload | {"value": worse})]
    assert fold(events, visit=VISIT).findings[0].class_ == "impairment"


# Findings

PROPOSED = ("finding.add", {"proposed": True, "source": "main drain trend"})


@pytest.mark.parametrize(
    ("kinds", "state"),
    [
        (["finding.add"], FindingState.OPEN),
        ([PROPOSED], FindingState.PROPOSED),
        ([PROPOSED, "finding.accept"], FindingState.OPEN),
        ([PROPOSED, "finding.drop"], FindingState.DROPPED),
        (["finding.add", "finding.close"], FindingState.CLOSED),
        (["finding.add", "finding.decide"], FindingState.OPEN),
        (["finding.add", "finding.close", "finding.accept"], FindingState.OPEN),
    ],
)
def test_a_finding_goes_its_way(kinds, state):
    found = fold_finding(run(*kinds))
    assert found.state is state
    assert (found.closed is not None) == (state is FindingState.CLOSED)


def test_a_finding_nobody_described_is_none():
    assert fold_finding(run("finding.accept")) is None


def test_an_owners_decision_moves_the_date_only():
    defer = {"decision": "defer", "until": "2026-06-01", "reason": "Budget of next quarter"}
    found = fold_finding(run("finding.add", ("finding.decide", defer)))
    assert found.deferred_until.isoformat() == "2026-06-01"
    assert found.state is FindingState.OPEN
    assert fold_finding(run("finding.add", "finding.decide")).deferred_until is None


def test_a_class_is_raised_by_whoever_has_seen_it_and_otherwise_the_worse_stands():
    added = ev("finding.add", 1)
    down = {"class": "observation"}
    unseen = ev("finding.reclass", 2, payload=down)
    seen = ev("finding.reclass", 3, payload=down, seen=[uid(1)])
    assert fold_finding([added, unseen]).class_ == "critical"
    assert fold_finding([added, unseen]).classes.in_conflict
    assert fold_finding([added, seen]).class_ == "observation"


def test_a_recurrence_names_the_open_finding():
    assert fold_finding(run("finding.add", "finding.link")).linked_to == UUID(uid(21))


# Outages


def test_an_outage_may_become_an_impairment_and_runs_until_it_is_proven():
    started = fold_outage(run("outage.start"))
    assert (started.runs, started.impairs) == (True, False)
    left = fold_outage(run("outage.start", "impairment.start", "impairment.notice"))
    assert (left.runs, left.impairs) == (True, True)
    assert left.started.kind == "outage.start"
    assert len(left.notices) == 1
    proven = fold_outage(run("outage.start", "impairment.start", "impairment.end"))
    assert (proven.runs, proven.impairs, proven.proof_missing) == (False, False, False)


def test_an_end_without_proof_says_so():
    without = {"result": "restored_proof_missing", "reason": "Panel dead", "licence": "L-1"}
    assert fold_outage(run("impairment.start", ("impairment.end", without))).proof_missing


def test_a_start_recorded_after_an_end_runs_again():
    assert fold_outage(run("impairment.start", "impairment.end", "impairment.start")).runs
    assert fold_outage(run("impairment.notice")) is None


# What was shown


def test_what_is_signed_covers_every_entry_but_not_the_signatures():
    shown = picture("visit.open", "item.set").shown
    assert picture("visit.open", "item.set", "signature.add").shown == shown
    assert picture("visit.open", ("item.set", {"answer": "fail"})).shown != shown
    assert picture("visit.open", "item.set", "reading.add").shown != shown


def test_what_is_signed_does_not_depend_on_the_order_of_arrival():
    events = run("visit.open", "item.set", "reading.add")
    assert shown_hash(reversed(events)) == shown_hash(events)


# Deliveries

WORK = ("visit.open", "item.set", "reading.add", "step.add", "proof.set", "note.add", "finding.add")


@st.composite
def visits(draw):
    """Draw the work of two tablets, with answers that may or may not have seen an earlier one."""
    events = []
    for number in range(1, draw(st.integers(1, 8)) + 1):
        kind = draw(st.sampled_from(WORK))
        payload, seen = {}, []
        if kind == "item.set":
            payload = {
                "answer": draw(st.sampled_from(["fail", "pass", "not_fitted"])),
                "reason": "x",
            }
            earlier = [str(event.id) for event in events if event.kind == kind]
            seen = draw(st.lists(st.sampled_from(earlier), unique=True)) if earlier else []
        tablet = draw(st.sampled_from([uid(60), uid(61)]))
        events.append(ev(kind, number, payload=payload, seen=seen, tablet=tablet))
    return events


@given(visits(), st.data())
def test_a_second_delivery_changes_nothing(events, data):
    delivered = []
    for event in events:
        delivered.append(event)
        delivered += data.draw(st.lists(st.sampled_from(delivered), max_size=2))
    assert fold(delivered, visit=VISIT) == fold(events, visit=VISIT)


@given(visits(), st.data())
def test_the_order_between_tablets_decides_no_answer(events, data):
    arrived, waiting = [], list(events)
    while waiting:
        here = {event.id for event in arrived}
        ready = [
            event
            for place, event in enumerate(waiting)
            if here.issuperset(event.seen)
            and all(event.tablet != before.tablet for before in waiting[:place])
        ]
        arrived.append(data.draw(st.sampled_from(ready)))
        waiting.remove(arrived[-1])
    one, other = fold(events, visit=VISIT), fold(arrived, visit=VISIT)
    assert [item.heads.words for item in other.items] == [item.heads.words for item in one.items]
    assert {event.id for event in other.readings} == {event.id for event in one.readings}
    assert other.state == one.state
    assert other.shown == one.shown


def test_a_finding_is_not_moved_to_another_by_an_amendment():
    value = PAYLOADS["finding.add"] | {"finding": uid(29), "class": "observation"}
    payload = {"target": uid(1), "kind": "finding.add", "value": value}
    events = [*run("finding.add"), ev("visit.amend", 2, payload=payload)]
    assert fold(events, visit=VISIT).findings[0].class_ == "critical"


def test_an_unknown_start_is_kept_as_unknown():
    start = {"unknown_start": True, "started_at": None}
    found = fold_outage(run(("impairment.start", start)))
    assert "started_at" not in found.started.payload
    assert PAYLOADS["impairment.start"]["started_at"] == AT
