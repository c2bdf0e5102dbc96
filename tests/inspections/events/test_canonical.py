"""Ordering and number rules: RFC 8785 (JSON Canonicalization Scheme), sections 3.2.2 and 3.2.3."""

import json
import unicodedata
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspections.events.canonical import canonical_bytes, content_hash, dedupe_hash, joined, sha256
from inspections.events.envelope import check
from tests.inspections.events.examples import an_event, uid

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | texts,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text("abäö€z", max_size=3), inner)
    ),
    max_leaves=12,
)


def test_keys_are_sorted_as_the_published_example_sorts_them():
    # RFC 8785, section 3.2.3: the keys of its sample and the order it gives. The sample's last
    # letter (U+FB33) is left out, because NFC takes it apart.
    keys = ["\u20ac", "\r", "1", "\U0001f600", "\u0080", "\u00f6"]
    assert list(json.loads(canonical_bytes(dict.fromkeys(keys)))) == [
        "\r",
        "1",
        "\u0080",
        "\u00f6",
        "\u20ac",
        "\U0001f600",
    ]


def test_the_bytes_have_no_spaces_and_no_escapes_that_are_not_needed():
    value = {"b": [1, True, None], "a": 'ö"\\\n\u0001/'}
    assert canonical_bytes(value) == '{"a":"ö\\"\\\\\\n\\u0001/","b":[1,true,null]}'.encode()


def test_plain_values_of_the_house_are_written_as_text():
    value = [
        Decimal("52.0"),
        Decimal("1E+2"),
        UUID(uid(7)),
        date(2026, 3, 9),
        datetime(2026, 3, 9, 14, 5, tzinfo=UTC),
    ]
    assert json.loads(canonical_bytes(value)) == [
        "52.0",
        "100",
        uid(7),
        "2026-03-09",
        "2026-03-09T14:05:00+00:00",
    ]


@pytest.mark.parametrize(
    "value",
    [
        1.0,
        float("nan"),
        Decimal("NaN"),
        Decimal("Infinity"),
        2**53,
        datetime(2026, 3, 9),  # noqa: DTZ001  # that is the fault
        "\ud800",
        {"\udfff": 1},
        {1: 2},
        {"\u00e9": 1, "e\u0301": 2},
        {1, 2},
        b"x",
    ],
)
def test_what_has_no_single_spelling_is_refused(value):
    with pytest.raises(
        ValueError, match=r"canonical form|Unicode|offset|too large|not a text|twice"
    ):
        canonical_bytes(["a", value])


@given(values)
def test_bytes_read_back_give_the_same_bytes(value):
    body = canonical_bytes(value)
    assert canonical_bytes(json.loads(body)) == body


@given(st.dictionaries(st.text("abcé", max_size=3), texts))
def test_neither_order_nor_spelling_of_letters_matters(value):
    turned = {
        unicodedata.normalize("NFD", key): unicodedata.normalize("NFD", value[key])
        for key in reversed(value)
    }
    assert sha256(turned) == sha256(value)


@given(st.lists(st.binary(max_size=3)), st.lists(st.binary(max_size=3)))
def test_no_two_lists_of_parts_join_to_the_same_bytes(left, right):
    assert (joined(*left) == joined(*right)) == (left == right)


def test_a_repeated_event_is_known_under_a_new_tablet_and_number():
    event = check(an_event("item.set", seen=[uid(8)])).as_dict()
    again = event | {"tablet": uid(61), "seq": 40}
    assert dedupe_hash(again) == dedupe_hash(event)


def test_the_order_of_what_an_event_replaces_says_nothing():
    event = check(an_event("finding.reclass", seen=[uid(8), uid(9)])).as_dict()
    assert dedupe_hash(event | {"seen": [uid(9), uid(8)]}) == dedupe_hash(event)
    assert dedupe_hash(event | {"seen": [uid(9)]}) != dedupe_hash(event)


@pytest.mark.parametrize(
    "change",
    [
        {"id": uid(101)},
        {"visit": uid(2)},
        {"stream_id": uid(2)},
        {"kind": "note.add"},
        {"version": 1},
        {"wall": "2026-03-09T14:05:01-05:00"},
        {"mono": 5},
        {"boot": "b2"},
        {"ticket": "t2"},
        {"by": uid(71)},
        {"payload": {}},
    ],
)
def test_an_id_used_again_for_something_else_is_noticed(change):
    event = check(an_event("item.set")).as_dict()
    assert dedupe_hash(event | change) != dedupe_hash(event)


def test_the_same_text_under_another_salt_hashes_otherwise():
    body = canonical_bytes({"text": "Key is with the guard"})
    first, second = (content_hash(body, bytes([n]) * 16) for n in (1, 2))
    assert first != second
    assert content_hash(body, b"\x01" * 16) == first


def test_a_salt_too_short_to_hide_a_text_is_refused():
    with pytest.raises(ValueError, match="at least 16"):
        content_hash(b"{}", b"\x01" * 15)
