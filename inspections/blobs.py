"""Photos of a tablet: named in the record, their bytes coming before or after, as signal allows."""

import hashlib
from uuid import UUID

from django.db import transaction

from contractors import files, pictures
from contractors.models import Membership, StoredFile
from contractors.refusal import Refusal
from inspections import record
from inspections.models import Event, Photo, Tablet


class OtherBytes(Refusal):
    """What came is not what the record announced, or not what its hash says."""

    code = "other_bytes"
    status = 422
    sentence = "These are not the bytes of the photo %(blob)s; send the photo again."


def receive(member: Membership, blob: UUID, content: bytes, *, sha256: str) -> bool:
    """Keep the bytes of a photo, and show them where the record names it already.

    Parameters
    ----------
    blob, sha256
        As the entry `photo.attach` names them, which this member has recorded or will.

    Returns
    -------
    bool
        True when they were kept now, False when they were here already.

    Raises
    ------
    OtherBytes
        When they are not the bytes announced.
    PictureRefused
        When they are no picture that can be used.
    """
    whole = len(content) <= pictures.LARGEST_BYTES
    if whole and hashlib.sha256(content).hexdigest() != sha256:
        raise OtherBytes(blob=str(blob))
    picture = pictures.accept(content, name=f"photo {blob}")
    with transaction.atomic():
        _wait_for_entries_of(member)
        announced = _announced(member, blob)
        if announced not in (None, sha256):
            raise OtherBytes(blob=str(blob))
        fresh = _original(blob, sha256) is None
        if fresh:
            # The original is evidence and is never served; the page shows what was written anew.
            files.store(content, media_type=picture.original_type, name=_name(blob))
        if announced is not None:
            _show(blob, picture)
    return fresh


def is_here(member: Membership, blob: UUID, sha256: str) -> bool:
    """Say whether the bytes of a photo are here; where its entry missed them, it is shown now.

    Raises
    ------
    OtherBytes
        When this member announced other bytes under that id.
    """
    announced = _announced(member, blob)
    if announced not in (None, sha256):
        raise OtherBytes(blob=str(blob))
    if _original(blob, sha256) is None:
        return False
    if announced is not None:
        show(blob, sha256)
    return True


def show(blob: UUID, sha256: str) -> None:
    """Show a photo that the record names now, if its bytes came before."""
    original = _original(blob, sha256)
    if original is not None:
        _show(blob, pictures.accept(files.read(original), name=f"photo {blob}"))


def _wait_for_entries_of(member: Membership) -> None:
    """Let a push that is under way end first: else bytes and entry would miss each other."""
    list(Tablet.objects.select_for_update().filter(member=member).order_by("pk").values("pk"))


def _show(blob: UUID, picture: pictures.Picture) -> None:
    waiting = Photo.objects.filter(pk=blob, blob_sha256=picture.original_sha256, file=None)
    if waiting.exists():
        shown = files.store(picture.jpeg, media_type="image/jpeg", name=f"photo-{blob}.jpg")
        waiting.update(file=shown)


def _name(blob: UUID) -> str:
    return f"original {blob}"


def _original(blob: UUID, sha256: str) -> StoredFile | None:
    found: StoredFile | None = StoredFile.objects.filter(name=_name(blob), sha256=sha256).first()
    return found


def _announced(member: Membership, blob: UUID) -> str | None:
    """Return the hash under which this member announced a photo; None before that."""
    rows = Event.objects.filter(kind="photo.attach", by=member, body__contains=f'"{blob}"')
    for payload in map(record.payload_of, rows):
        if payload["blob"] == str(blob):
            return str(payload["sha256"])
    return None
