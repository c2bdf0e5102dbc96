"""Canonical bytes of a value, and the two hashes of an event that are taken over them."""

import hashlib
import json
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

LARGEST_WHOLE = 2**53 - 1
SHORTEST_SALT = 16

_CONTENT_TAG = b"maindrain event content 1"
_DEDUPE_TAG = b"maindrain event dedupe 1"
_NOT_CONTENT = frozenset({"tablet", "seq"})


def canonical_bytes(value: object) -> bytes:
    """Return the one spelling of a value as JSON bytes: sorted keys, no spaces, UTF-8, NFC text.

    Parameters
    ----------
    value
        Mappings with text keys, sequences, text, whole numbers up to 2**53 - 1 either way, booleans
        and None. Decimals, UUIDs and dates are written as text; an instant needs its UTC offset.

    Raises
    ------
    ValueError
        For a float, NaN, an instant without offset, a lone surrogate, a number too large for every
        reader, two keys that are the same text after normalisation, or any other type.

    Notes
    -----
    The form is that of RFC 8785 (JSON Canonicalization Scheme) for texts, keys and whole numbers,
    with NFC added and fractions refused: they travel as decimal strings.
    """
    try:
        return json.dumps(_plain(value), separators=(",", ":"), ensure_ascii=False).encode()
    except UnicodeEncodeError as error:
        raise ValueError(f"a text that is not valid Unicode: {error.object!r}") from error


def sha256(value: object) -> str:
    """Return the SHA-256 of the canonical bytes of a value, 64 hexadecimal digits.

    It is the hash of "what was shown" that a signature and a hand-in carry.
    """
    return hashlib.sha256(canonical_bytes(value)).hexdigest()


def content_of(event: Mapping[str, object]) -> dict[str, object]:
    """Return what was recorded in an event: everything but tablet and number, `seen` sorted.

    An event sent again from a tablet that was registered anew has the same content, and `seen` is a
    set: its order says nothing.
    """
    content = {name: value for name, value in event.items() if name not in _NOT_CONTENT}
    seen = content.get("seen")
    if isinstance(seen, Sequence) and not isinstance(seen, str):
        content["seen"] = sorted(str(event_id) for event_id in seen)
    return content


def dedupe_hash(event: Mapping[str, object]) -> str:
    """Return the hash that tells a repeated event from another one under the same id.

    Parameters
    ----------
    event
        The event as a mapping, as `Event.as_dict()` returns it.
    """
    return hashlib.sha256(joined(_DEDUPE_TAG, canonical_bytes(content_of(event)))).hexdigest()


def content_hash(body: bytes, salt: bytes) -> str:
    """Return the salted hash of an event's stored bytes, for the chain.

    Parameters
    ----------
    body
        The canonical bytes of the event, exactly as stored.
    salt
        Random, at least 16 bytes, one per event: once body and salt are erased, the hash that stays
        in the chain no longer lets anyone guess a personal text.
    """
    if len(salt) < SHORTEST_SALT:
        raise ValueError(f"salt of {len(salt)} bytes; at least {SHORTEST_SALT} are needed")
    return hashlib.sha256(joined(_CONTENT_TAG, salt, body)).hexdigest()


def joined(*parts: bytes) -> bytes:
    """Return the parts one after another, each behind its length as 8 bytes, big end first.

    With the lengths written, no two different lists of parts give the same bytes.
    """
    return b"".join(len(part).to_bytes(8, "big") + part for part in parts)


def _plain(value: object) -> object:
    match value:
        case str():
            return _normal(value)
        case None | bool():
            return value
        case int():
            return _whole(value)
        case list() | tuple():
            return [_plain(item) for item in value]
        case dict() | Mapping():
            return _ordered(value)
        case _:
            return _text(value)


def _normal(text: str) -> str:
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def _whole(value: int) -> int:
    if abs(value) > LARGEST_WHOLE:
        raise ValueError(f"{value} is too large for a whole number; at most {LARGEST_WHOLE}")
    return value


def _text(value: object) -> str:
    match value:
        case UUID():
            return str(value)
        case Decimal() if value.is_finite():
            return format(value, "f")
        case datetime():
            if value.utcoffset() is None:
                raise ValueError(f"{value.isoformat()} has no offset from UTC")
            return value.isoformat()
        case date():
            return value.isoformat()
        case _:
            raise ValueError(f"{value!r} ({type(value).__name__}) has no canonical form")


def _ordered(value: Mapping[object, object]) -> dict[str, object]:
    plain: dict[str, object] = {}
    for key, item in value.items():
        if not isinstance(key, str):
            raise ValueError(f"key {key!r} is not a text")  # noqa: TRY004  # one error type for callers
        name = _normal(key)
        if name in plain:
            raise ValueError(f"key {name!r} occurs twice")
        plain[name] = _plain(item)
    # UTF-16 units, as RFC 8785 wants it: a browser sorts its texts that way.
    names = sorted(plain) if all(map(str.isascii, plain)) else sorted(plain, key=_units)
    return {name: plain[name] for name in names}


def _units(text: str) -> bytes:
    return text.encode("utf-16-be")
