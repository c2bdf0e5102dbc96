import io
import os
import struct
import subprocess
import sys
import zlib
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageFile, PngImagePlugin

from contractors.pictures import PictureRefused, accept, formats

HTML = b"<!DOCTYPE html><html><script>alert(1)</script></html>"
SVG = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>1</script></svg>'
GPS_TEXT = b"47 deg of latitude"


def picture(size=(60, 40), mode="RGB", colour=None):
    image = Image.new(mode, size, colour if colour is not None else 0)
    if mode == "RGB":
        # A red corner at the upper left shows which way up it is.
        image.paste((255, 255, 255), (0, 0, *size))
        image.paste((255, 0, 0), (0, 0, size[0] // 3, size[1] // 3))
    return image


def saved(image, kind="JPEG", **options):
    out = io.BytesIO()
    image.save(out, kind, **options)
    return out.getvalue()


def shown(found):
    return Image.open(io.BytesIO(found.jpeg))


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width, height, *, rows=b"", extra=b""):
    header = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    data = chunk(b"IDAT", zlib.compress(rows, 1))
    return b"\x89PNG\r\n\x1a\n" + header + extra + data + chunk(b"IEND", b"")


@pytest.mark.parametrize(
    ("kind", "media_type"),
    [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")],
)
def test_each_kind_of_photo_becomes_a_plain_jpeg(kind, media_type):
    content = saved(picture(), kind)
    found = accept(content, name="riser 2")
    assert (found.width_px, found.height_px) == (60, 40)
    assert found.original_type == media_type
    assert found.original_sha256 == sha256(content).hexdigest()
    with shown(found) as image:
        assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (60, 40))


def test_a_large_photo_is_made_smaller_and_a_small_one_is_left():
    assert accept(saved(picture((4000, 3000))), name="x").width_px == 1600
    assert accept(saved(picture((3000, 4000))), name="x").height_px == 1600
    assert accept(saved(picture((1, 1))), name="x").width_px == 1
    assert accept(saved(picture((5000, 2), "L"), "PNG"), name="x").height_px == 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_orientation_of_the_camera_ends_upright(orientation):
    # What each number means: Exif 2.32, tag 0x0112 (row 0 and column 0 as seen).
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    upright = picture()
    as_stored = upright.transpose(undo[orientation]) if orientation > 1 else upright
    exif = Image.Exif()
    exif[0x0112] = orientation
    found = accept(saved(as_stored, quality=95, exif=exif), name="x")
    assert (found.width_px, found.height_px) == (60, 40)
    with shown(found) as image:
        red, green, _ = image.getpixel((4, 4))
        assert (red > 200, green < 80) == (True, True)
        assert min(image.getpixel((55, 35))) > 200


def test_position_camera_comments_and_profile_are_gone():
    exif = Image.Exif()
    exif[0x010F] = "Maker of cameras"
    exif.get_ifd(0x8825).update({1: "N", 2: (47.0, 1.0, 2.0), 27: GPS_TEXT})
    content = saved(
        picture(),
        exif=exif,
        comment=b"secret comment",
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    )
    assert GPS_TEXT in content
    found = accept(content, name="x")
    with shown(found) as image:
        assert not dict(image.getexif())
        assert not {"exif", "comment", "icc_profile", "xmp"} & set(image.info)
    for text in (GPS_TEXT, b"Maker", b"secret"):
        assert text not in found.jpeg


def test_texts_inside_a_png_are_gone():
    info = PngImagePlugin.PngInfo()
    info.add_text("Comment", "secret comment")
    assert b"secret" not in accept(saved(picture(), "PNG", pnginfo=info), name="x").jpeg


def test_what_is_appended_to_a_photo_does_not_come_along():
    for kind in ("JPEG", "PNG", "WEBP"):
        found = accept(saved(picture(), kind) + HTML, name="x")
        assert b"script" not in found.jpeg


def test_a_photo_of_a_camera_that_stores_two_is_read():
    two = saved(picture(), "MPO", save_all=True, append_images=[picture((10, 10))])
    assert accept(two, name="x").original_type == "image/jpeg"
    assert accept(two, name="x").width_px == 60


@pytest.mark.parametrize(
    ("mode", "colour", "expected"),
    [
        ("L", 200, (200, 200, 200)),
        ("1", 1, (255, 255, 255)),
        ("RGBA", (255, 0, 0, 0), (255, 255, 255)),
        ("RGBA", (0, 0, 255, 255), (0, 0, 255)),
        ("LA", (0, 0), (255, 255, 255)),
        ("I;16", 200 * 256, (200, 200, 200)),
    ],
)
def test_every_way_to_store_colours_is_shown_as_meant(mode, colour, expected):
    with shown(accept(saved(picture(mode=mode, colour=colour), "PNG"), name="x")) as image:
        got = image.getpixel((20, 20))
    assert all(abs(a - b) <= 3 for a, b in zip(got, expected, strict=True))


def test_a_palette_with_a_transparent_colour_is_put_on_white():
    image = Image.new("P", (20, 20), 1)
    image.putpalette([0, 0, 0, 0, 128, 0])
    with shown(accept(saved(image, "PNG", transparency=1), name="x")) as found:
        assert min(found.getpixel((10, 10))) > 250


def test_print_colours_are_turned_into_screen_colours():
    with shown(accept(saved(picture(mode="CMYK", colour=(0, 0, 0, 0))), name="x")) as image:
        assert min(image.getpixel((5, 5))) > 250


JPEG = saved(picture((300, 200)))
PNG = saved(picture((300, 200)), "PNG")
WEBP = saved(picture((300, 200)), "WEBP")
DAMAGED = "damaged or incomplete"

HOSTILE = {
    "empty": (b"", "it is empty"),
    "one byte": (b"\xff", "not a picture"),
    "zeros": (bytes(5000), "not a picture"),
    "too many bytes": (JPEG + bytes(20 * 2**20), "it has 20.0 MiB"),
    "144 million pixels in a few kB": (
        png(12_000, 12_000, rows=bytes(12_001 * 100)),
        "more than 50 million pixels",
    ),
    "50 million pixels and a few": (png(10_000, 5_001), "more than 50 million pixels"),
    "billions of pixels": (png(60_000, 60_000), "more than 50 million pixels"),
    "no pixels": (png(0, 10), DAMAGED),
    "jpeg cut at 80 percent": (JPEG[: len(JPEG) * 8 // 10], DAMAGED),
    "jpeg cut after its header": (JPEG[:300], DAMAGED),
    "jpeg of two bytes": (b"\xff\xd8", "not a picture"),
    "png cut": (PNG[: len(PNG) * 8 // 10], DAMAGED),
    "png without data": (png(20, 20), DAMAGED),
    "png with a false checksum": (PNG[:29] + bytes(4) + PNG[33:], DAMAGED),
    "png with a text that unpacks to 2 MB": (
        png(1, 1, rows=b"\0\0", extra=chunk(b"zTXt", b"a\0\0" + zlib.compress(bytes(2 * 2**20)))),
        DAMAGED,
    ),
    "webp cut": (WEBP[: len(WEBP) * 6 // 10], DAMAGED),
    "riff that is a sound": (b"RIFF\x24\0\0\0WAVEfmt " + bytes(40), DAMAGED),
    "svg": (SVG, "SVG drawing"),
    "svg with a byte order mark": (b"\xef\xbb\xbf\n" + SVG, "SVG drawing"),
    "html": (HTML, "web page"),
    "gif": (saved(picture(), "GIF"), "GIF picture"),
    "gif that is a script": (b"GIF89a/*" + HTML + b"*/", "GIF picture"),
    "bmp": (saved(picture(), "BMP"), "not a picture"),
    "tiff": (saved(picture(), "TIFF"), "not a picture"),
    "icon": (saved(picture(), "ICO"), "not a picture"),
    "postscript": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "not a picture"),
    "pdf": (saved(picture(), "PDF"), "PDF document"),
    "zip": (b"PK\x03\x04" + bytes(60), "archive or an office document"),
    "program": (b"\x7fELF" + bytes(60), "not a picture"),
    "heic": (b"\0\0\0\x18ftypheic" + bytes(60), "send it as JPEG"),
    "html with a jpeg behind it": (HTML + JPEG, "web page"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_file_that_is_no_usable_photo_is_refused_in_plain_words(case):
    content, why = HOSTILE[case]
    with pytest.raises(PictureRefused) as refused:
        accept(content, name="IMG_0007.jpg")
    sentence = refused.value.message()
    assert sentence.startswith("IMG_0007.jpg cannot be used: ")
    assert why in sentence
    assert "Accepted: pictures (JPEG, PNG, WebP" in sentence
    assert "at most 20 MiB and 50 million pixels" in sentence


def test_a_cut_photo_is_refused_even_where_another_library_lets_such_pass(monkeypatch):
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    for content in (JPEG, PNG, WEBP):
        with pytest.raises(PictureRefused, match=DAMAGED):
            accept(content[: len(content) * 6 // 10], name="x")


def test_a_name_is_shown_without_its_control_characters_and_not_endlessly():
    with pytest.raises(PictureRefused) as refused:
        accept(b"", name="a\r\nSet-Cookie: b\x1b[31m" + "x" * 500)
    assert "\n" not in refused.value.message()
    assert "\x1b" not in refused.value.message()
    assert len(refused.value.facts["file"]) == 80


# Warnings fail a test run; in service this one goes to the log.
@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")
def test_damaged_camera_data_do_not_spoil_a_whole_photo():
    exif = b"Exif\0\0MM\0*\0\0\0\x08" + b"\xff" * 40
    assert accept(saved(picture(), exif=exif), name="x").width_px == 60


def test_only_the_named_decoders_are_asked():
    assert set(formats()) <= {"JPEG", "PNG", "WEBP", "HEIF"}


@pytest.mark.filterwarnings("ignore::UserWarning")
@given(st.sampled_from([JPEG, PNG, WEBP]), st.data())
def test_bytes_changed_anywhere_give_a_photo_or_a_refusal(content, data):
    changed = bytearray(content)
    for _ in range(data.draw(st.integers(1, 6))):
        changed[data.draw(st.integers(0, len(changed) - 1))] = data.draw(st.integers(0, 255))
    try:
        found = accept(bytes(changed), name="x")
    except PictureRefused:
        return
    assert found.jpeg.startswith(b"\xff\xd8\xff")
    assert max(found.width_px, found.height_px) <= 1600


MEASURE = """
import resource, sys
from django.conf import settings
settings.USE_I18N = False
from contractors.pictures import PictureRefused, accept
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:
    accept(open(sys.argv[1], "rb").read(), name="x")
except PictureRefused:
    pass
print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""


def grey_png(side):
    return png(side, side, rows=bytes((side + 1) * side))


@pytest.mark.parametrize(
    ("make", "most_mib"),
    [
        (lambda: grey_png(12_000), 20),
        (lambda: grey_png(7_000), 300),
        (lambda: saved(picture((7_000, 7_000))), 300),
        (
            lambda: saved(picture((7_000, 7_000), "RGBA", (9, 9, 9, 99)), "PNG", compress_level=1),
            300,
        ),
    ],
    ids=["bomb", "largest grey", "largest jpeg", "largest with transparency"],
)
def test_memory_stays_within_its_bounds(tmp_path, make, most_mib):
    path = tmp_path / "photo"
    path.write_bytes(make())
    run = subprocess.run(
        [sys.executable, "-c", MEASURE, path],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "config.settings_test"},
    )
    assert int(run.stdout) <= most_mib
