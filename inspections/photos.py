"""A photo taken on a visit: made safe to show, kept, and named in the record."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.http import HttpResponse

from contractors import files, limits, pictures
from contractors.models import Membership, new_id
from contractors.refusal import NotThere, Refusal
from inspections import record
from inspections.models import Photo, Visit

CLOSED = (Visit.State.SEALED, Visit.State.CANCELLED)


class NoPhotosAnyMore(Refusal):
    """A sealed or cancelled visit takes no photos."""

    code = "no_photos_any_more"
    status = 409
    sentence = "The visit is %(state)s and takes no more photos."


class PhotoOnItsWay(Refusal):
    """A photo is mentioned in the record, and its bytes have not come yet."""

    code = "photo_on_its_way"
    status = 409
    sentence = "This photo has not arrived yet; the tablet that took it still has to send it."


def count_one(by: Membership) -> None:
    """Count a photo against whoever sends it and against their contractor.

    It is counted within the transaction of the photo, so that one which is not kept uses nothing
    up. Count before rows are locked: others wait here until the photo is kept.

    Raises
    ------
    AskedTooOften
        When what either may send in a day is used up.
    """
    with transaction.atomic():
        limits.spend("photo", str(by.user.email).casefold())
        limits.spend("photo_contractor", str(by.contractor_id))


def attach(
    visit: Visit,
    content: bytes,
    *,
    name: str,
    by: Membership,
    via: str,
    about: Mapping[str, Any],
) -> Photo:
    """Keep an uploaded photo and record it on its visit.

    Parameters
    ----------
    content, name
        The file as it came, and what the user calls it.
    about
        What it shows, as far as that is known: subject (kind, id), finding, caption.

    Raises
    ------
    PictureRefused
        When it is no picture that can be used.
    NoPhotosAnyMore
        When the visit is sealed or cancelled.
    AskedTooOften
        When the photos of a day are used up.
    """
    if visit.state in CLOSED:
        raise NoPhotosAnyMore(state=str(visit.get_state_display()))
    picture = pictures.accept(content, name=name)
    photo_id = new_id()
    payload = {
        "blob": str(photo_id),
        "sha256": picture.original_sha256,
        "size": len(content),
        "media_type": picture.original_type,
        **about,
    }
    with transaction.atomic():
        count_one(by)
        entry = record.visit_entry(visit, "photo.attach", payload, by=by)
        record.append([entry], via=via, by=by)
        # The original is evidence and is never served; the page shows what was written anew.
        files.store(content, media_type=picture.original_type, name=f"original {photo_id}")
        shown = files.store(picture.jpeg, media_type="image/jpeg", name=f"photo-{photo_id}.jpg")
        Photo.objects.filter(pk=photo_id).update(file=shown)
    found: Photo = Photo.objects.select_related("visit", "file").get(pk=photo_id)
    return found


def served(photo: Photo) -> HttpResponse:
    """Return the picture as an answer that no browser takes for anything else."""
    if photo.file is None:
        raise PhotoOnItsWay
    try:
        content = files.read(photo.file)
    except FileNotFoundError:
        raise NotThere from None
    answer = HttpResponse(content, content_type=photo.file.media_type)
    answer["Content-Disposition"] = f'inline; filename="{photo.file.name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer
