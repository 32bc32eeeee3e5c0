"""Photographs: what is none is refused, what is shown does not say where it was taken."""

import struct

import pytest
from tests.pictures import PLACE, jpeg, png, segment, webp

from crowlight.bench.pictures import LARGEST, read_picture
from crowlight.errors import InputError


@pytest.mark.parametrize(
    ("data", "media", "size"),
    [
        (png(), "image/png", (4, 3)),
        (jpeg(), "image/jpeg", (64, 48)),
        (webp(), "image/webp", (1, 1)),
    ],
)
def test_what_is_shown_holds_no_place_and_stays_a_picture(data, media, size):
    assert PLACE in data
    found = read_picture(data)
    assert (found.media_type, (found.width, found.height)) == (media, size)
    assert PLACE not in found.shown
    assert b"second picture" not in found.shown
    again = read_picture(found.shown)
    assert again == found  # nothing more to take away


@pytest.mark.parametrize("order", [">", "<"])
@pytest.mark.parametrize("turned", range(1, 9))
def test_the_orientation_alone_stays(turned, order):
    shown = read_picture(jpeg(turned, order)).shown
    # CIPA DC-008: tag 0x0112, SHORT, one value; big-endian as it is written here
    field = struct.pack(">HHIH", 0x0112, 3, 1, turned)
    assert shown.count(b"Exif") == (0 if turned == 1 else 1)
    assert (field in shown) == (turned != 1)


def test_pixels_are_not_touched():
    scan = jpeg().split(b"\xff\xda")[1].split(b"\xff\xd9")[0]
    assert scan in read_picture(jpeg()).shown
    idat = png().split(b"IDAT")[1].split(b"IEND")[0]
    assert idat in read_picture(png()).shown


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no picture of a kind"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "no picture"),
        (b"GIF89a\1\0\1\0\0\0\0", "no picture of a kind"),
        (b"\xff\xd8\xff<html>", "cut short or damaged"),
        (b"\xff\xd8" + segment(0xFE, b"no frame") + b"\xff\xd9", "cut short or damaged"),
        (jpeg()[:200], "cut short or damaged"),
        (png()[:50], "cut short or damaged"),
        (png().replace(b"IDAT", b"IDAX"), "cut short or damaged"),
        (webp()[:40], "cut short or damaged"),
        (png(1, 1, place=False)[:16] + struct.pack(">II", 60_000, 60_000), "damaged"),
        (jpeg(width=32_768, height=32_768)[:2000], "damaged"),
        (b"\xff\xd8\xff" + bytes(LARGEST), "the limit is 20 MB"),
    ],
)
def test_what_is_no_picture_is_refused(data, said):
    with pytest.raises(InputError, match=said):
        read_picture(data)


def test_a_picture_of_too_many_pixels_is_refused():
    # 20,000 × 20,000 in a few bytes: the frame says so, whatever the scan holds
    small = jpeg()
    frame = struct.pack(">HH", 48, 64)
    large = small.replace(frame, struct.pack(">HH", 20_000, 20_000), 1)
    with pytest.raises(InputError, match="20000 × 20000 pixels; the limit is 100 million"):
        read_picture(large)


def test_every_shortened_picture_is_refused_or_a_picture():
    for data in (png(), jpeg(), webp()):
        for end in range(len(data)):
            try:
                found = read_picture(data[:end])
            except InputError:
                continue
            assert PLACE not in found.shown
