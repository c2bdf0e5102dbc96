"""Heads with their own small oracle: who was seen by whom decides what stands."""

from dataclasses import replace
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from inspections.events.envelope import check
from inspections.events.heads import Heads, heads_of
from inspections.events.kind import ANSWERS
from tests.inspections.events.examples import PAYLOADS, an_event, uid


def answer(number, word, *, seen=()):
    payload = PAYLOADS["item.set"] | {"answer": word, "reason": "as seen"}
    return check(an_event("item.set", id=uid(number), seen=[uid(n) for n in seen], payload=payload))


def test_nothing_recorded_shows_nothing():
    assert heads_of([]) == Heads()
    assert Heads().shown is None
    assert Heads().word is None
    assert not Heads().in_conflict


def test_an_answer_takes_away_the_one_it_has_seen():
    heads = heads_of([answer(1, "fail"), answer(2, "pass", seen=[1])])
    assert heads.words == ("pass",)
    assert not heads.in_conflict


def test_two_who_did_not_see_each_other_stand_side_by_side_and_the_worse_is_shown():
    heads = heads_of([answer(1, "fail"), answer(2, "seen_in_order")])
    assert heads.words == ("fail", "seen_in_order")
    assert heads.in_conflict
    assert heads.shown.id == UUID(uid(1))


def test_an_independent_fail_is_not_lost_when_an_equal_one_is_replaced():
    heads = heads_of([answer(1, "fail"), answer(2, "fail"), answer(3, "pass", seen=[1])])
    assert heads.words == ("fail", "pass")
    assert heads.ids == (UUID(uid(2)), UUID(uid(3)))


def test_equal_answers_of_two_people_are_two_heads_without_conflict():
    heads = heads_of([answer(1, "pass"), answer(2, "pass")])
    assert len(heads.events) == 2
    assert not heads.in_conflict
    assert heads.shown.id == UUID(uid(2))


def test_a_conflict_ends_when_an_answer_names_every_head():
    both = [answer(1, "fail"), answer(2, "pass")]
    assert heads_of([*both, answer(3, "pass", seen=[1, 2])]).words == ("pass",)
    assert heads_of([*both, answer(3, "pass", seen=[1])]).words == ("pass",)
    assert heads_of([*both, answer(3, "pass", seen=[2])]).words == ("fail", "pass")


def test_the_words_are_ordered_worst_first():
    events = [answer(n, word) for n, word in enumerate(reversed(ANSWERS), start=1)]
    assert heads_of(events).words == ANSWERS


def test_two_answers_that_name_each_other_do_not_both_vanish():
    heads = heads_of([answer(1, "fail", seen=[2]), answer(2, "pass", seen=[1])])
    assert heads.events


def test_two_amended_values_of_one_answer_both_stand():
    first = answer(1, "seen_in_order")
    worse = replace(first, payload=first.payload | {"answer": "fail"})
    assert heads_of([first, worse]).words == ("fail", "seen_in_order")
    assert heads_of([first, worse, answer(2, "pass", seen=[1])]).words == ("pass",)


@st.composite
def histories(draw):
    """Draw answers in an order in which nobody has seen what was not recorded before."""
    events = []
    for number in range(1, draw(st.integers(1, 7)) + 1):
        seen = draw(st.sets(st.integers(1, number - 1), max_size=3)) if number > 1 else set()
        events.append(answer(number, draw(st.sampled_from(ANSWERS)), seen=sorted(seen)))
    return events


@given(histories(), st.data())
def test_whatever_comes_repeated_or_before_what_it_replaces_leaves_the_same_heads(events, data):
    arrived = data.draw(st.permutations([*events, *data.draw(st.lists(st.sampled_from(events)))]))
    assert set(heads_of(arrived).ids) == set(heads_of(events).ids)
    assert heads_of(arrived).words == heads_of(events).words


@given(histories())
def test_what_nobody_has_replaced_stands(events):
    replaced = {event_id for event in events for event_id in event.seen}
    expected = {event.id for event in events} - replaced
    assert set(heads_of(events).ids) == expected
    assert heads_of(events).word == min(
        (event.payload["answer"] for event in events if event.id in expected), key=ANSWERS.index
    )
