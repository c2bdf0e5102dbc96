"""Uploaded photos: read carefully, turned upright, stripped, and written anew as a plain JPEG."""

import hashlib
import io
import struct
import zlib
from dataclasses import dataclass

from django.utils.translation import gettext as _
from PIL import Image, ImageChops, ImageFile

from contractors.refusal import Refusal

LARGEST_BYTES = 20 * 2**20
MOST_PIXELS = 50_000_000
LONGEST_SIDE_PX = 1600
QUALITY = 85
LONGEST_NAME = 80

_MEDIA_TYPES = {
    "JPEG": "image/jpeg",
    "MPO": "image/jpeg",
    "PNG": "image/png",
    "WEBP": "image/webp",
    "HEIF": "image/heic",
}
# What the decoders raise on bytes that are not what they begin as.
_BROKEN = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    OverflowError,
    struct.error,
    zlib.error,
)
_TOO_MANY_PIXELS = (Image.DecompressionBombError, Image.DecompressionBombWarning)
_ORIENTATION = 0x0112


class PictureRefused(Refusal):
    """An uploaded file is not a picture that can be used; the sentence says why."""

    code = "picture_refused"
    status = 422
    sentence = "%(file)s cannot be used: %(wrong)s. Accepted: %(accepted)s."

    def __init__(self, file: str, wrong: str) -> None:
        super().__init__(file=_shown(file), wrong=wrong, accepted=accepted_words())


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """An uploaded photo made safe to show.

    Attributes
    ----------
    jpeg
        Written anew: upright, at most 1600 px on its longer side, without any of the file's own
        texts, camera data or position.
    width_px, height_px
        Its size.
    original_type, original_sha256
        Media type as decoded, and SHA-256 of the bytes that came; they are kept as evidence and
        never served.
    """

    jpeg: bytes
    width_px: int
    height_px: int
    original_type: str
    original_sha256: str


def accept(content: bytes, *, name: str) -> Picture:
    """Return an uploaded photo made safe to show.

    Parameters
    ----------
    content
        The file as it came.
    name
        What the user calls it, for the message; nothing is concluded from it.

    Raises
    ------
    PictureRefused
        When it is empty, larger than 20 MiB or 50 million pixels, of another kind, or damaged.

    Notes
    -----
    The number of pixels is read from the header before anything is decoded: 144 million of them fit
    into 18 kB. Decoding is the check: asking a library to verify a file without decoding it passes
    one that was cut short.
    """
    _check_size(content, name)
    # WeasyPrint turns this on for the whole process when it is imported, and a cut picture would
    # then pass as whole. What it prints comes from here and is whole.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with Image.open(io.BytesIO(content), formats=formats()) as image:
            _check_pixels(image.size, name)
            original_type = _MEDIA_TYPES[str(image.format)]
            upright = _upright(image)
    except _TOO_MANY_PIXELS as error:
        raise PictureRefused(name, _too_many_pixels()) from error
    except _BROKEN as error:
        raise PictureRefused(name, _what_it_is(content)) from error
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Picture(
        jpeg=out.getvalue(),
        width_px=upright.width,
        height_px=upright.height,
        original_type=original_type,
        original_sha256=hashlib.sha256(content).hexdigest(),
    )


def smaller(picture: Picture, longest_side_px: int) -> bytes:
    """Return an accepted picture as a smaller JPEG.

    Parameters
    ----------
    longest_side_px
        At most this many pixels on its longer side; one that is smaller already stays so.
    """
    with Image.open(io.BytesIO(picture.jpeg), formats=("JPEG",)) as image:
        image.thumbnail((longest_side_px, longest_side_px), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        image.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def formats() -> tuple[str, ...]:
    """Return the kinds of picture that this installation can decode."""
    Image.init()
    return tuple(kind for kind in ("JPEG", "PNG", "WEBP", "HEIF") if kind in Image.OPEN)


def accepted_words() -> str:
    """Return in words what is accepted."""
    kinds = ", ".join({"WEBP": "WebP", "HEIF": "HEIC"}.get(kind, kind) for kind in formats())
    return _("pictures (%(kinds)s) of at most 20 MiB and 50 million pixels") % {"kinds": kinds}


def _check_size(content: bytes, name: str) -> None:
    if not content:
        raise PictureRefused(name, _("it is empty"))
    if len(content) > LARGEST_BYTES:
        size = f"{len(content) / 2**20:.1f}"
        raise PictureRefused(name, _("it has %(size)s MiB") % {"size": size})


def _check_pixels(size: tuple[int, int], name: str) -> None:
    if size[0] * size[1] > MOST_PIXELS:
        raise PictureRefused(name, _too_many_pixels())


def _too_many_pixels() -> str:
    return _("it has more than 50 million pixels")


def _upright(image: Image.Image) -> Image.Image:
    orientation = _orientation(image)
    # JPEG can leave out detail while decoding, which saves most of the memory.
    image.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    image.load()
    small = _small(image)
    turned = small.transpose(orientation) if orientation is not None else small
    turned.info.clear()
    return turned


_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


def _orientation(image: Image.Image) -> Image.Transpose | None:
    try:
        return _TURNS.get(image.getexif().get(_ORIENTATION, 1))
    except _BROKEN:  # Camera data may be damaged while the picture itself is whole.
        return None


def _small(image: Image.Image) -> Image.Image:
    if "transparency" in image.info or image.mode == "PA":
        image = image.convert("RGBA")
    if "A" in image.getbands():
        return _on_white(image).convert("RGB")
    if image.mode.startswith("I"):
        # 16 bits of grey: the upper eight are the ones that can be seen.
        image = image.convert("I").point(lambda grey: grey / 256).convert("L")
    if image.mode in {"1", "P"}:
        image = image.convert("RGB")
    image.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    return image.convert("RGB")


def _on_white(image: Image.Image) -> Image.Image:
    # In place and band by band: a large picture is not copied whole.
    image.paste("white", mask=ImageChops.invert(image.getchannel("A")))
    bands = []
    for name in image.getbands()[:-1]:
        band = image.getchannel(name)
        band.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
        bands.append(band)
    return Image.merge("RGB" if len(bands) > 1 else "L", bands)


def _what_it_is(content: bytes) -> str:
    start = content[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for beginnings, words in (
        ((b"\xff\xd8\xff", b"\x89png\r\n", b"riff"), _("the picture is damaged or incomplete")),
        ((b"%pdf",), _("it is a PDF document")),
        ((b"gif8",), _("it is a GIF picture")),
        ((b"<!doctype html", b"<html"), _("it is a web page")),
        ((b"pk\x03\x04", b"\x1f\x8b", b"7z"), _("it is an archive or an office document")),
    ):
        if start.startswith(beginnings):
            return words
    if b"<svg" in start:
        return _("it is an SVG drawing")
    if content[4:8] == b"ftyp" and content[8:12] in {b"heic", b"heix", b"mif1", b"msf1", b"hevc"}:
        return _("it is a HEIC picture, which this installation cannot read; send it as JPEG")
    return _("it is not a picture that can be read")


def _shown(name: str) -> str:
    plain = "".join(character if character.isprintable() else "?" for character in name)
    return plain if len(plain) <= LONGEST_NAME else plain[: LONGEST_NAME - 1] + "…"
