"""Photos on their way: kept chunk by chunk, so that a cut line costs at most one chunk.

The protocol is tus 1.0 (core, creation, checksum, expiration). How far an upload has come is the
length of its file and nothing else: a row would fall back with its transaction, the bytes do not.
"""

import errno
import fcntl
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import get_ident
from typing import Any
from uuid import UUID

from django.conf import settings
from django.utils import timezone

from contractors import pictures
from contractors.models import Membership
from contractors.refusal import FieldRefused, NotThere, Refusal
from inspections import blobs, photos

LARGEST_CHUNK = 2**20
KEPT_FOR = timedelta(days=14)


class WrongOffset(Refusal):
    """A chunk does not begin where the upload stands."""

    code = "wrong_offset"
    status = 409
    sentence = "The upload stands at byte %(offset)s; go on from there."


class WrongChecksum(Refusal):
    """A chunk is not what its checksum says: it was changed on the way."""

    code = "wrong_checksum"
    status = 460
    sentence = "The chunk was damaged on its way; send it again."


class NoRoom(Refusal):
    """The service's own storage is full; what has come stays, and the tablet keeps the photo."""

    code = "no_room"
    status = 507
    sentence = "The service has no room for photos just now; the tablet keeps them and sends again."


@dataclass(frozen=True, slots=True)
class Upload:
    """A photo that is coming.

    Attributes
    ----------
    size, offset
        Bytes in all, and how many of them are here.
    expires
        When it is thrown away unless it goes on.
    """

    blob: UUID
    sha256: str
    size: int
    offset: int
    expires: datetime

    @property
    def is_whole(self) -> bool:
        """Say whether all bytes are here."""
        return self.offset == self.size


def begin(member: Membership, blob: UUID, *, sha256: str, size: int) -> Upload:
    """Begin an upload, or return how far the same one has come.

    Raises
    ------
    FieldRefused
        When it is larger than a photo may be, or empty.
    OtherBytes
        When the same id is coming with another hash or size.
    AskedTooOften
        When the photos of a day are used up; one that has begun goes on.
    NoRoom
        When the storage is full.
    """
    if not 0 < size <= pictures.LARGEST_BYTES:
        accepted = f"1 byte to {pictures.LARGEST_BYTES // 2**20} MiB."
        raise FieldRefused("Upload-Length", size, accepted)
    if blobs.is_here(member, blob, sha256):
        return Upload(blob, sha256, size, size, timezone.now() + KEPT_FOR)
    with _room():
        return _begun(member, blob, {"sha256": sha256, "size": size})


def _begun(member: Membership, blob: UUID, told: dict[str, Any]) -> Upload:
    folder = _folder(member)
    folder.mkdir(parents=True, exist_ok=True)
    about = folder / f"{blob}.json"
    if not about.exists():
        photos.count_one(member)
        whole = folder / f"{about.name}.{os.getpid()}.{get_ident()}"
        whole.write_text(json.dumps(told))
        whole.replace(about)
    elif json.loads(about.read_text()) != told:
        raise blobs.OtherBytes(blob=str(blob))
    part = folder / str(blob)
    part.touch()
    with _alone(part):
        upload = find(member, blob)
        if upload.is_whole:  # A crash came between the last chunk and the photo.
            _finish(member, part, upload)
    return upload


def find(member: Membership, blob: UUID) -> Upload:
    """Return how far an upload of this member has come; `NotThere` when there is none."""
    part = _folder(member) / str(blob)
    try:
        told = json.loads(part.with_name(f"{blob}.json").read_text())
        stat = part.stat()
    except FileNotFoundError as error:
        raise NotThere from error
    expires = datetime.fromtimestamp(stat.st_mtime, UTC) + KEPT_FOR
    return Upload(blob, told["sha256"], told["size"], stat.st_size, expires)


def append(
    member: Membership, blob: UUID, chunk: bytes, *, offset: int, digest: bytes | None = None
) -> Upload:
    """Add a chunk; the last one makes the photo.

    Parameters
    ----------
    offset
        Where the chunk begins.
    digest
        SHA-256 of the chunk, where the sender gave it.

    Raises
    ------
    NotThere
        When the upload was never begun, or was thrown away.
    WrongOffset, WrongChecksum
        When the chunk does not fit; nothing of it is kept.
    OtherBytes, PictureRefused
        When the whole is not what was announced, or no picture that can be used; then it is thrown
        away.
    NoRoom
        When the storage is full; what has come stays, if only a part of the chunk.
    """
    if digest is not None and hashlib.sha256(chunk).digest() != digest:
        raise WrongChecksum
    part = _folder(member) / str(blob)
    with _room(), _alone(part):
        upload = find(member, blob)
        if offset != upload.offset or offset + len(chunk) > upload.size:
            raise WrongOffset(offset=upload.offset)
        with part.open("ab") as file:
            file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
        upload = find(member, blob)
        if upload.is_whole:
            _finish(member, part, upload)
    return upload


def _finish(member: Membership, part: Path, upload: Upload) -> None:
    """Make the photo of what has come; what is refused is thrown away, what fails stays."""
    try:
        blobs.receive(member, upload.blob, part.read_bytes(), sha256=upload.sha256)
    except Refusal:
        _drop(part)
        raise
    _drop(part)


def drop_expired(now: datetime) -> int:
    """Throw away what has not gone on for two weeks, for all contractors; return how many."""
    parts = [about.with_suffix("") for about in _root().glob("*/*/*.json")]
    return sum(_drop_if_expired(part, now) for part in parts)


def _drop_if_expired(part: Path, now: datetime) -> bool:
    # Another tick may throw it away, or its sender end it, until it is held.
    with suppress(NotThere), _alone(part):
        last = max((path.stat().st_mtime for path in _files(part)), default=now.timestamp())
        if datetime.fromtimestamp(last, UTC) + KEPT_FOR < now:
            _drop(part)
            return True
    return False


def _root() -> Path:
    root: Path = settings.MEDIA_ROOT / "coming"
    return root


def _folder(member: Membership) -> Path:
    return _root() / str(member.contractor_id) / str(member.pk)


def _files(part: Path) -> list[Path]:
    return [path for path in (part, part.with_name(f"{part.name}.json")) if path.exists()]


def _drop(part: Path) -> None:
    for path in _files(part):
        path.unlink()


@contextmanager
def _room() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise NoRoom from error
        raise


@contextmanager
def _alone(part: Path) -> Iterator[None]:
    """Hold an upload, so that two senders of one photo cannot mix their chunks."""
    try:
        about = part.with_name(f"{part.name}.json").open()
    except FileNotFoundError as error:
        raise NotThere from error
    with about:
        fcntl.flock(about, fcntl.LOCK_EX)
        yield
