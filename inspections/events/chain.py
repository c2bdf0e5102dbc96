"""Hash chains of streams, and the daily checkpoint over all of a contractor's streams."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from uuid import UUID

from inspections.events.canonical import content_hash, joined

_ORIGIN_TAG = b"maindrain stream origin 1"
_LINK_TAG = b"maindrain stream link 1 sha256"
_HEAD_TAG = b"maindrain stream head 1"
_CHECKPOINT_TAG = b"maindrain checkpoint 1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One stored event of a stream, as the chain sees it.

    `position` counts from 1. `content` is the salted content hash, `hash` the link, both in
    hexadecimal. `body` and `salt` are None once a personal text was erased: the chain still holds.
    `number` is its place in the order of the whole record, where it has one: no hash covers it, but
    it rises along the stream.
    """

    position: int
    content: str
    status: str
    received: datetime
    hash: str
    body: bytes | None = None
    salt: bytes | None = None
    number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """How long a stream was at some moment, and the hash of its last entry; an anchor when kept."""

    stream: str
    stream_id: UUID
    length: int
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What checking a chain gave: its length and, if it does not hold, where it breaks first.

    `broken` is a position counted from 1, None when the chain holds; `why` says it in words.
    `erased` counts the entries whose body is gone and whose content can no longer be compared.
    """

    length: int
    erased: int
    broken: int | None = None
    why: str = ""

    @property
    def holds(self) -> bool:
        """Whether every entry is where and what it was."""
        return self.broken is None


def origin(stream: str, stream_id: UUID) -> str:
    """Return what stands before the first entry of a stream: no other stream begins with it."""
    return hashlib.sha256(joined(_ORIGIN_TAG, stream.encode(), stream_id.bytes)).hexdigest()


def link(*, previous: str, position: int, content: str, status: str, received: datetime) -> str:
    """Return the hash of an entry, which covers everything before it.

    Parameters
    ----------
    previous
        Hash of the entry before, or `origin()` for the first.
    position
        Place in the stream, counted from 1.
    content
        Salted content hash of the event.
    status
        What became of it on arrival: applied, conflict, late, held.
    received
        When the server took it in; with offset.

    Notes
    -----
    SHA-256 over length-prefixed parts: no two lists of parts give the same bytes.
    """
    if position < 1:
        raise ValueError(f"position {position}: positions count from 1")
    parts = (
        _LINK_TAG,
        bytes.fromhex(previous),
        position.to_bytes(8, "big"),
        bytes.fromhex(content),
        status.encode(),
        _instant(received),
    )
    return hashlib.sha256(joined(*parts)).hexdigest()


def verify(
    entries: Iterable[Entry], *, stream: str, stream_id: UUID, anchors: Sequence[Head] = ()
) -> Verdict:
    """Check a stream from its origin and name the first broken position.

    Parameters
    ----------
    entries
        The stored entries in order of position.
    anchors
        Heads of this stream that were kept elsewhere (a report, a mail, a checkpoint). Without one
        neither a cut tail nor a complete recomputation can be seen.
    """
    promised = {anchor.length: anchor.hash for anchor in anchors}
    previous, length, erased, reached = origin(stream, stream_id), 0, 0, 0
    for length, entry in enumerate(entries, start=1):  # the length is the answer
        why = _fault(entry, length, previous)
        if not why and promised.get(length, entry.hash) != entry.hash:
            why = f"entry {length} is not the one that was anchored"
        if not why and entry.number is not None and entry.number <= reached:
            why = f"entry {length} is read before an entry that it follows"
        if why:
            return Verdict(length=length, erased=erased, broken=length, why=why)
        reached = entry.number or reached
        erased += entry.body is None
        previous = entry.hash
    longest = max(promised, default=0)
    if longest > length:
        why = f"the stream ends after {length} entries; {longest} were anchored"
        return Verdict(length=length, erased=erased, broken=length + 1, why=why)
    return Verdict(length=length, erased=erased)


def _fault(entry: Entry, position: int, previous: str) -> str:
    if entry.position != position:
        return f"entry {position} is missing; number {entry.position} stands in its place"
    if entry.body is not None and (
        entry.salt is None or content_hash(entry.body, entry.salt) != entry.content
    ):
        return f"the text of entry {position} was changed"
    expected = link(
        previous=previous,
        position=position,
        content=entry.content,
        status=entry.status,
        received=entry.received,
    )
    if expected != entry.hash:
        return f"the hash of entry {position} does not follow from what is before it"
    return ""


def merkle_root(leaves: Sequence[bytes]) -> str:
    """Return the root of the binary hash tree over the leaves, 64 hexadecimal digits.

    Notes
    -----
    The tree of RFC 6962 section 2.1 with SHA-256: leaves and nodes are hashed with different
    prefixes, so that a node cannot be passed off as a leaf; of n leaves the left side takes the
    largest power of two below n.
    """
    return _subtree(leaves).hex()


def _subtree(leaves: Sequence[bytes]) -> bytes:
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return hashlib.sha256(b"\x00" + leaves[0]).digest()
    split = 1 << (len(leaves) - 1).bit_length() - 1
    return hashlib.sha256(b"\x01" + _subtree(leaves[:split]) + _subtree(leaves[split:])).digest()


def heads_root(heads: Iterable[Head]) -> str:
    """Return the Merkle root over the heads of all streams, whatever order they come in.

    Raises
    ------
    ValueError
        When one stream is given twice.
    """
    leaves: dict[tuple[str, str], bytes] = {}
    for head in heads:
        key = (head.stream, str(head.stream_id))
        if key in leaves:
            raise ValueError(f"stream {head.stream} {head.stream_id} is given twice")
        leaves[key] = joined(
            _HEAD_TAG,
            head.stream.encode(),
            head.stream_id.bytes,
            head.length.to_bytes(8, "big"),
            bytes.fromhex(head.hash),
        )
    return merkle_root([leaves[key] for key in sorted(leaves)])


def checkpoint(*, previous: str, day: date, streams: int, root: str) -> str:
    """Return the hash of a day's checkpoint, chained to that of the day before.

    Parameters
    ----------
    previous
        Hash of the checkpoint before; the empty text for the first one.
    streams
        How many streams the root covers.
    root
        `heads_root()` over all heads of the contractor at the end of the day.
    """
    parts = (
        _CHECKPOINT_TAG,
        bytes.fromhex(previous),
        day.isoformat().encode(),
        streams.to_bytes(8, "big"),
        bytes.fromhex(root),
    )
    return hashlib.sha256(joined(*parts)).hexdigest()


def _instant(moment: datetime) -> bytes:
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()} has no offset from UTC")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").encode()
