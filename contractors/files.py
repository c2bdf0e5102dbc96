"""Files of a contractor: a row says what they are, the bytes lie in the data folder by content."""

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO
from uuid import UUID

from django.conf import settings
from django.utils import timezone

from contractors.models import StoredFile
from contractors.scope import current_contractor_id


def _path(sha256: str, holder_id: UUID) -> Path:
    folder: Path = settings.MEDIA_ROOT / str(holder_id) / sha256[:2]
    return folder / sha256


def store(content: bytes, *, media_type: str, name: str) -> StoredFile:
    """Keep bytes under their own hash and return the row that names them.

    Parameters
    ----------
    media_type
        Such as image/jpeg; the caller has made sure of it.
    name
        The name under which the file is given out.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    path = _path(sha256, current_contractor_id())
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        _write(path, content)
    row: StoredFile = StoredFile.objects.create(
        sha256=sha256,
        size=len(content),
        media_type=media_type,
        name=name[:120],
        made_at=timezone.now(),
    )
    return row


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all: what a full disk cuts short takes no room from the next."""
    handle, name = tempfile.mkstemp(dir=path.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def being_written(holder_id: UUID) -> Iterator[BinaryIO]:
    """Yield a file of the holder (a contractor or an owner) to write into; it goes away after.

    `keep_written` keeps what was written; without it nothing is left.
    """
    folder = settings.MEDIA_ROOT / str(holder_id)
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory(dir=folder, prefix="part-") as name,
        (Path(name) / "part").open("w+b") as part,
    ):
        yield part


def keep_written(part: BinaryIO, holder_id: UUID) -> tuple[str, int]:
    """Keep a written file under its own hash, and return SHA-256 and size in bytes."""
    part.flush()
    os.fsync(part.fileno())
    part.seek(0)
    sha256 = hashlib.file_digest(part, "sha256").hexdigest()  # type: ignore[arg-type]
    path = _path(sha256, holder_id)
    path.parent.mkdir(parents=True, exist_ok=True)
    Path(part.name).replace(path)
    return sha256, path.stat().st_size


def opened(sha256: str, holder_id: UUID) -> BinaryIO:
    """Open a file of a holder for reading.

    Raises
    ------
    FileNotFoundError
        When the data folder lacks it.
    """
    return _path(sha256, holder_id).open("rb")


def delete(sha256: str, holder_id: UUID) -> None:
    """Delete the bytes of a file that no row names any more."""
    _path(sha256, holder_id).unlink(missing_ok=True)


def read(row: StoredFile) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    FileNotFoundError
        When the data folder lacks it.
    """
    return _path(row.sha256, current_contractor_id()).read_bytes()


def read_published(sha256: str, contractor_id: UUID) -> bytes:
    """Return the bytes of a file that a contractor published; the published row names both.

    Raises
    ------
    FileNotFoundError
        When the data folder lacks it.
    """
    return _path(sha256, contractor_id).read_bytes()
