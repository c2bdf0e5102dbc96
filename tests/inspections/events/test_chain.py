"""Tree shapes against RFC 6962 section 2.1, with the eight test leaves of its reference log."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from hashlib import sha256
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.events.canonical import content_hash
from inspections.events.chain import (
    Entry,
    Head,
    checkpoint,
    heads_root,
    link,
    merkle_root,
    origin,
    verify,
)
from tests.inspections.events.examples import uid

STREAM = ("visit", UUID(uid(1)))
START = datetime(2026, 3, 9, 14, 5, tzinfo=UTC)


def chain_of(bodies, stream=STREAM):
    entries, previous = [], origin(*stream)
    for position, body in enumerate(bodies, start=1):
        salt = sha256(position.to_bytes(4, "big")).digest()[:16]
        facts = {
            "position": position,
            "content": content_hash(body, salt),
            "status": "applied",
            "received": START + timedelta(seconds=position),
        }
        previous = link(previous=previous, **facts)
        entries.append(Entry(**facts, hash=previous, body=body, salt=salt))
    return entries


def verdict(entries, *anchors, stream=STREAM):
    return verify(entries, stream=stream[0], stream_id=stream[1], anchors=anchors)


def anchor(length, hash_):
    return Head(stream=STREAM[0], stream_id=STREAM[1], length=length, hash=hash_)


def test_entries_that_are_read_in_another_order_than_they_stand_are_seen():
    numbered = [
        replace(e, number=n) for e, n in zip(chain_of([b"a", b"b", b"c"]), (4, 9, 7), strict=True)
    ]
    assert verdict(numbered[:2]).holds
    assert verdict(numbered).broken == 3


bodies = st.lists(st.binary(min_size=1, max_size=20), min_size=1, max_size=8)


@given(bodies)
def test_a_chain_left_alone_holds(texts):
    entries = chain_of(texts)
    found = verdict(entries, anchor(len(entries), entries[-1].hash))
    assert found.holds
    assert found.length == len(texts)


def test_an_empty_stream_holds():
    assert verdict([]).holds


@given(bodies, st.data())
def test_a_flipped_bit_is_found_where_it_is(texts, data):
    entries = chain_of(texts)
    place = data.draw(st.integers(0, len(texts) - 1))
    byte = data.draw(st.integers(0, len(texts[place]) - 1))
    bit = data.draw(st.integers(0, 7))
    body = bytearray(texts[place])
    body[byte] ^= 1 << bit
    entries[place] = replace(entries[place], body=bytes(body))
    found = verdict(entries)
    assert found.broken == place + 1
    assert "text" in found.why


@given(bodies, st.data())
def test_a_changed_fact_beside_the_text_is_found_where_it_is(texts, data):
    entries = chain_of(texts)
    place = data.draw(st.integers(0, len(texts) - 1))
    entry = entries[place]
    changes = [
        {"status": "late"},
        {"received": entry.received + timedelta(microseconds=1)},
        {"hash": "00" * 32},
        {"content": "00" * 32, "body": None, "salt": None},
        {"salt": b"\x09" * 16},
        {"salt": None},
        {"position": entry.position + 1},
    ]
    entries[place] = replace(entry, **data.draw(st.sampled_from(changes)))
    assert verdict(entries).broken == place + 1


@given(st.lists(st.binary(max_size=5), min_size=2, max_size=8), st.data())
def test_a_dropped_row_is_found_where_it_was(texts, data):
    entries = chain_of(texts)
    place = data.draw(st.integers(0, len(texts) - 2))
    del entries[place]
    found = verdict(entries)
    assert found.broken == place + 1
    assert "missing" in found.why


@given(st.lists(st.binary(max_size=5), min_size=2, max_size=8), st.data())
def test_a_cut_tail_is_found_by_its_anchor_only(texts, data):
    entries = chain_of(texts)
    kept = data.draw(st.integers(0, len(texts) - 1))
    assert verdict(entries[:kept]).holds
    found = verdict(entries[:kept], anchor(len(texts), entries[-1].hash))
    assert found.broken == kept + 1
    assert f"{len(texts)} were anchored" in found.why


def test_a_chain_computed_anew_from_the_start_is_found_by_its_anchor_only():
    honest, forged = chain_of([b"1", b"2", b"3"]), chain_of([b"1", b"x", b"3"])
    assert verdict(forged).holds
    assert verdict(forged, anchor(3, honest[2].hash)).broken == 3
    assert verdict(forged, anchor(2, honest[1].hash), anchor(3, honest[2].hash)).broken == 2


def test_an_older_anchor_still_holds_when_the_stream_has_grown():
    entries = chain_of([b"1", b"2", b"3"])
    assert verdict(entries, anchor(2, entries[1].hash)).holds


def test_rows_that_changed_places_are_found():
    first, second, third = chain_of([b"1", b"2", b"3"])
    swapped = [replace(second, position=1), replace(first, position=2), third]
    assert verdict(swapped).broken == 1


def test_a_chain_moved_to_another_stream_is_found():
    entries = chain_of([b"1", b"2"])
    assert verdict(entries, stream=("visit", UUID(uid(2)))).broken == 1
    assert verdict(entries, stream=("finding", UUID(uid(1)))).broken == 1


def test_an_erased_text_leaves_the_chain_whole():
    entries = chain_of([b"1", b"2"])
    entries[0] = replace(entries[0], body=None, salt=None)
    found = verdict(entries, anchor(2, entries[1].hash))
    assert found.holds
    assert found.erased == 1


def test_the_same_moment_in_two_time_zones_gives_the_same_link():
    eastern = START.astimezone(timezone(timedelta(hours=-5)))
    facts = {"previous": origin(*STREAM), "position": 1, "content": "00" * 32, "status": "applied"}
    assert link(received=eastern, **facts) == link(received=START, **facts)
    with pytest.raises(ValueError, match="no offset"):
        link(received=START.replace(tzinfo=None), **facts)
    with pytest.raises(ValueError, match="count from 1"):
        link(received=START, **(facts | {"position": 0}))


@pytest.mark.parametrize(
    ("count", "root"),
    [
        (0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (1, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
        (2, "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"),
        (3, "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77"),
        (5, "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4"),
        (8, "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"),
    ],
)
def test_the_tree_is_the_one_of_the_published_log(count, root):
    leaves = [
        bytes.fromhex(leaf)
        for leaf in (
            "",
            "00",
            "10",
            "2021",
            "3031",
            "40414243",
            "5051525354555657",
            "606162636465666768696a6b6c6d6e6f",
        )
    ]
    assert merkle_root(leaves[:count]) == root


def head(number, length=3):
    return Head(stream="visit", stream_id=UUID(uid(number)), length=length, hash="0a" * 32)


def test_a_checkpoint_covers_every_head_in_any_order():
    heads = [head(n) for n in range(1, 6)]
    root = heads_root(heads)
    assert heads_root(reversed(heads)) == root
    assert heads_root(heads[:4]) != root
    assert heads_root([*heads[:4], head(5, length=2)]) != root
    with pytest.raises(ValueError, match="given twice"):
        heads_root([*heads, head(5, length=2)])


def test_each_checkpoint_covers_the_day_before():
    root = heads_root([head(1)])
    facts = {"day": date(2026, 3, 9), "streams": 1, "root": root}
    first = checkpoint(previous="", **facts)
    assert checkpoint(previous=first, **facts) != first
    assert checkpoint(previous="", **(facts | {"streams": 2})) != first
    assert checkpoint(previous="", **(facts | {"day": date(2026, 3, 10)})) != first
