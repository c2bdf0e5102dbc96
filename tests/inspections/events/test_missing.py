from uuid import UUID

from inspections.events.fold import Subject, fold
from inspections.events.missing import Lack, Required, missing
from tests.inspections.events.examples import VISIT, ev, run, uid

VALVE = Subject("device", UUID(uid(40)))
RISER = Subject("riser", UUID(uid(41)))


def need(what, subject, code, *, riser=1, **facts):
    place = {"riser": f"Riser {riser}", "riser_order": riser} if riser else {}
    return Required(what=what, subject=subject, code=code, words=f"{code} words", **place, **facts)


END_STATE = need("proof", VALVE, "7")
POSITION = need("item", VALVE, "valve.position")
FLOWING = need("reading", RISER, "main_drain", name="flowing", point="after")
ALL = (FLOWING, POSITION, END_STATE)
WHOLE = ("visit.open", "item.set", "reading.add", "proof.set")
SIGNED = (*WHOLE, "signature.add", ("signature.add", {"role": "absent", "reason": "Closed"}))


def lacks(events, *required):
    return [(one.lack, one.required) for one in missing(fold(events, visit=VISIT), required)]


def test_a_whole_visit_lacks_nothing():
    assert lacks(run(*SIGNED), *ALL) == []


def test_an_empty_visit_lacks_everything_riser_by_riser_and_the_end_state_first():
    other = need("proof", VALVE, "1", riser=2)
    building = need("item", Subject("building", UUID(uid(10))), "signs", riser=0)
    found = missing(fold([], visit=VISIT), [building, other, FLOWING, POSITION, END_STATE])
    assert [one.sentence for one in found] == [
        "Riser 1: 7 words: not recorded yet",
        "Riser 1: valve.position words: not recorded yet",
        "Riser 1: main_drain words: not recorded yet",
        "Riser 2: 1 words: not recorded yet",
        "signs words: not recorded yet",
        "Arrival: time and contact not recorded yet",
        "Technician's signature: missing",
        "Owner's representative: signature, refusal or absence not recorded yet",
    ]


def test_an_end_state_not_proven_holds_the_visit_until_it_is_left_as_impaired():
    events = run(*SIGNED[:3], ("proof.set", {"result": "not_proven"}), *SIGNED[4:])
    assert lacks(events, *ALL) == [(Lack.NOT_PROVEN, END_STATE)]
    left = run(*SIGNED[:3], ("proof.set", {"result": "not_proven"}), "visit.leave", *SIGNED[4:])
    assert lacks(left, *ALL) == []


def test_leaving_as_impaired_does_not_excuse_looking():
    events = run(*SIGNED[:3], "visit.leave", *SIGNED[4:])
    assert lacks(events, *ALL) == [(Lack.NOT_RECORDED, END_STATE)]


def test_two_answers_that_disagree_hold_the_visit_and_are_named():
    events = run(("item.set", {"answer": "fail"}), *SIGNED)
    (found,) = missing(fold(events, visit=VISIT), ALL)
    assert found.lack is Lack.IN_CONFLICT
    assert found.answers == ("fail", "seen_in_order")
    assert found.sentence == (
        "Riser 1: valve.position words: recorded differently (fail, seen in order); "
        "settle it with a reason"
    )


def test_a_conflict_about_something_nobody_asked_for_is_named_too():
    events = run(("item.set", {"answer": "fail"}), ("proof.set", {"result": "not_fitted"}), *SIGNED)
    assert [lack for lack, _ in lacks(events)] == [Lack.IN_CONFLICT, Lack.IN_CONFLICT]


def test_readings_of_what_could_not_be_done_are_not_asked_for():
    riser = {"kind": "riser", "id": uid(41)}
    could_not = {"subject": riser, "activity": "main_drain", "answer": "could_not", "reason": "Ice"}
    events = run("visit.open", *SIGNED[4:])
    assert lacks(events, FLOWING) == [(Lack.NOT_RECORDED, FLOWING)]
    assert lacks([ev("item.set", 90, payload=could_not), *events], FLOWING) == []


def test_a_reading_taken_elsewhere_or_of_something_else_does_not_count():
    before = need("reading", RISER, "main_drain", name="flowing", point="before")
    static = need("reading", RISER, "main_drain", name="static")
    anything = need("reading", RISER, "main_drain")
    assert lacks(run(*SIGNED), before, static, anything) == [
        (Lack.NOT_RECORDED, before),
        (Lack.NOT_RECORDED, static),
    ]


def test_a_station_left_on_test_holds_the_visit():
    on, off = "visit.station", ("visit.station", {"state": "off"})
    assert lacks(run(*WHOLE, on, *SIGNED[4:])) == [(Lack.ON_TEST, None)]
    assert lacks(run(*WHOLE, on, off, *SIGNED[4:])) == []


def test_an_entry_after_the_signature_asks_for_a_new_one():
    events = run(*SIGNED, "note.add")
    assert lacks(events) == [(Lack.CHANGED_SINCE_SIGNED, None)]
    assert lacks([*events, ev("signature.add", 20)]) == []


def test_an_entry_from_another_tablet_does_not_undo_a_signature():
    events = [*run(*SIGNED), ev("note.add", 20, tablet=uid(61))]
    assert lacks(events) == []


def test_the_refusal_of_a_signature_is_a_record_too():
    refused = ("signature.add", {"role": "refused", "reason": "Wants the report first"})
    assert lacks(run(*WHOLE, "signature.add", refused)) == []
    assert lacks(run(*WHOLE, "signature.add")) == [(Lack.OWNER_NOT_SIGNED, None)]
    assert lacks(run(*WHOLE, refused)) == [(Lack.NOT_SIGNED, None)]
