"""Sketches and photos of where things are: added, put in order, withdrawn.

The file as it came is not kept: what is shown is written anew, so that no place, no name and no
camera data leave with it.
"""

from collections.abc import Collection
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.http import HttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _

from buildings.models import Building, Riser, Sketch
from contractors import audit, files, pictures
from contractors.models import Membership, new_id
from contractors.refusal import FieldRefused, NotThere, Refusal

MOST = 40
SMALL_SIDE_PX = 480
JPEG = "image/jpeg"


class TooManySketches(Refusal):
    """A building keeps no more pictures than a technician can look through."""

    code = "too_many_sketches"
    status = 409
    sentence = "%(building)s has %(most)s sketches and photos already. Withdraw one first."


class WithdrawnAlready(Refusal):
    """A withdrawn sketch is changed no more."""

    code = "withdrawn_already"
    status = 409
    sentence = "This was withdrawn before; nothing was changed."


def add(
    building: Building,
    content: bytes,
    *,
    name: str,
    kind: str,
    caption: str,
    riser: Riser | None = None,
    by: Membership | None,
) -> Sketch:
    """Keep a picture of where things are, last in its building's order.

    The same file given again for the same place is the one that is there.

    Parameters
    ----------
    content, name
        The file as it came, and what the user calls it; what it is is read from its bytes.
    kind
        sketch or photo.
    riser
        Of this building, where it shows that riser; None for the building as a whole.

    Raises
    ------
    PictureRefused
        When it is no picture that can be used.
    FieldRefused
        Naming kind, caption or riser, and what is accepted.
    TooManySketches
        When the building has as many as it may.
    """
    told = _checked(building, kind=kind, caption=caption, riser=riser)
    picture = pictures.accept(content, name=name)
    with transaction.atomic():
        Building.objects.select_for_update().get(pk=building.pk)
        here: list[Sketch] = list(present(building.pk))
        for one in here:
            if (one.came_sha256, one.riser_id) == (picture.original_sha256, told["riser_id"]):
                return one
        if len(here) >= MOST:
            raise TooManySketches(building=building.name, most=MOST)
        small, key = pictures.smaller(picture, SMALL_SIDE_PX), new_id()
        made: Sketch = Sketch.objects.create(
            id=key,
            building=building,
            **told,
            position=max((one.position for one in here), default=0) + 1,
            came_sha256=picture.original_sha256,
            file=files.store(picture.jpeg, media_type=JPEG, name=f"{kind}-{key}.jpg"),
            small=files.store(small, media_type=JPEG, name=f"small-{key}.jpg"),
            width_px=picture.width_px,
            height_px=picture.height_px,
            added_at=timezone.now(),
            added_by=by,
        )
        audit.record("sketch.added", by=by, on=made, caption=made.caption)
    return made


def change(
    sketch: Sketch,
    *,
    kind: str,
    caption: str,
    riser: Riser | None,
    position: int | None = None,
    by: Membership | None,
) -> Sketch:
    """Say anew what a sketch shows, where it belongs, and its place in the order.

    Parameters
    ----------
    position
        From 1; one beyond the last is the last. The others move up or down. None: it stays.

    Raises
    ------
    FieldRefused, WithdrawnAlready
        When a value is not accepted, or the sketch is withdrawn.
    """
    building = sketch.building
    told = _checked(building, kind=kind, caption=caption, riser=riser)
    if position is not None and position < 1:
        raise FieldRefused("position", position, _("A whole number from 1."))
    with transaction.atomic():
        Building.objects.select_for_update().get(pk=building.pk)
        row = _standing(sketch)
        for name, value in told.items():
            setattr(row, name, value)
        row.save(update_fields=list(told))
        if position is not None:
            _put(row, position)
        facts = {name: str(value) for name, value in told.items() if value}
        audit.record("sketch.changed", by=by, on=row, **facts)
    row.refresh_from_db()
    return row


def withdraw(sketch: Sketch, *, why: str, by: Membership | None) -> Sketch:
    """Take a sketch out of use, with the reason; its bytes stay.

    Raises
    ------
    FieldRefused, WithdrawnAlready
        Without a reason, or when it was withdrawn before.
    """
    if not why.strip():
        raise FieldRefused("why", why, _("Say in a few words why."))
    with transaction.atomic():
        row = _standing(sketch)
        row.withdrawn_at, row.withdrawn_by = timezone.now(), by
        row.withdrawn_why = why.strip()[:200]
        row.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_why"])
        audit.record("sketch.withdrawn", by=by, on=row, why=row.withdrawn_why)
    return row


def present(building_id: UUID) -> Any:
    """Return the sketches of a building that are not withdrawn, in their order."""
    rows = Sketch.objects.filter(building_id=building_id, withdrawn_at=None)
    return rows.select_related("file", "riser")


def taken_along(building_id: UUID, risers: Collection[UUID]) -> list[dict[str, Any]]:
    """Return what a visit's work pack says of the sketches: the building's and some risers' own."""
    rows = present(building_id).filter(Q(riser=None) | Q(riser__in=list(risers)))
    return [
        {
            "id": str(one.pk),
            "kind": one.kind,
            "caption": one.caption,
            "riser": str(one.riser_id) if one.riser_id else None,
            "riser_name": one.riser.name if one.riser else "",
            "sha256": one.file.sha256,
            "size": one.file.size,
            "width": one.width_px,
            "height": one.height_px,
        }
        for one in rows
    ]


def served(sketch: Sketch, *, small: bool = False) -> HttpResponse:
    """Return the picture as an answer that no browser takes for anything else.

    Raises
    ------
    NotThere
        When the data folder lacks it.
    """
    row = sketch.small if small else sketch.file
    try:
        content = files.read(row)
    except FileNotFoundError:
        raise NotThere from None
    answer = HttpResponse(content, content_type=JPEG)
    answer["Content-Disposition"] = f'inline; filename="{row.name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "sandbox; default-src 'none'"
    return answer


def _checked(building: Building, *, kind: str, caption: str, riser: Riser | None) -> dict[str, Any]:
    if kind not in Sketch.Kind.values:
        raise FieldRefused("kind", kind, ", ".join(Sketch.Kind.values))
    if not 0 < len(caption.strip()) <= 200:
        raise FieldRefused("caption", caption[:40], _("1 to 200 characters: what it shows."))
    if riser is not None and riser.building_id != building.pk:
        raise FieldRefused("riser", riser.pk, _("A riser of this building."))
    return {
        "kind": kind,
        "caption": caption.strip(),
        "riser_id": riser.pk if riser is not None else None,
    }


def _put(row: Sketch, position: int) -> None:
    others = [one for one in present(row.building_id) if one.pk != row.pk]
    others.insert(position - 1, row)
    for place, one in enumerate(others, start=1):
        if one.position != place:
            Sketch.objects.filter(pk=one.pk).update(position=place)


def _standing(sketch: Sketch) -> Sketch:
    row: Sketch = Sketch.objects.select_for_update().get(pk=sketch.pk)
    if row.withdrawn_at is not None:
        raise WithdrawnAlready
    return row
