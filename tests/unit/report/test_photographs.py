"""Photographs made smaller: size, which way up, colours, and nothing on the place."""

from __future__ import annotations

import struct
import zlib
from base64 import b64encode

import numpy as np
import pytest
import vl_convert
from numpy.typing import NDArray
from tests.pictures import PLACE, exif, jpeg, png, segment, webp

from crowlight.bench.pictures import Picture, read_picture
from crowlight.report.photographs import ON_PAPER, THUMB, smaller

#: Corners of the drawn picture as stored: upper left, upper right, lower left, lower right.
RED, GREEN, BLUE, YELLOW = (220, 30, 30), (30, 200, 30), (30, 30, 220), (220, 220, 30)


def drawn(width: int, height: int, *, turned: int = 1, more: bytes = b"") -> Picture:
    """Return a JPEG whose quarters have four colours, with a place in its Exif."""
    w, h = width // 2, height // 2
    quarters = ((0, 0, RED), (w, 0, GREEN), (0, h, BLUE), (w, h, YELLOW))
    boxes = "".join(
        f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="rgb{c}"/>' for x, y, c in quarters
    )
    size = f'width="{width}" height="{height}"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{boxes}</svg>'
    data = vl_convert.svg_to_jpeg(svg, scale=1.0, quality=95)
    told = segment(0xE1, b"Exif\0\0" + exif(turned)) + more
    return read_picture(data[:2] + told + data[2:])


def pixels(picture: Picture, side: int = 8) -> NDArray[np.int64]:
    """Return a picture drawn `side` by `side` pixels, red, green and blue in the last axis.

    PNG: ISO/IEC 15948, clause 9, filters 0 to 4 of 8-bit colour with opacity.
    """
    address = f"data:{picture.media_type};base64,{b64encode(picture.shown).decode()}"
    size = f'width="{side}" height="{side}"'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{size}><image {size} preserveAspectRatio="none" xlink:href="{address}"/></svg>'
    )
    data, at, packed = vl_convert.svg_to_png(svg, scale=1.0), 8, b""
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        packed += data[at + 8 : at + 8 + length] if kind == b"IDAT" else b""
        at += 12 + length
    raw = np.frombuffer(zlib.decompress(packed), np.uint8).astype(int).reshape(side, 1 + 4 * side)
    rows = np.zeros((side + 1, 4 * side + 4), int)
    for n, (kind, *line) in enumerate(raw.tolist(), 1):
        for k, value in enumerate(line, 4):
            a, b, c = rows[n, k - 4], rows[n - 1, k], rows[n - 1, k - 4]
            paeth = min((abs(b - c), 0, a), (abs(a - c), 1, b), (abs(a + b - 2 * c), 2, c))[2]
            rows[n, k] = (value + (0, a, b, (a + b) // 2, paeth)[kind]) % 256
    return rows[1:, 4:].reshape(side, side, 4)[..., :3]


def corners(picture: Picture) -> list[tuple[int, ...]]:
    """Return the colours of the four quarters, each to the nearest of the four that were drawn."""
    seen = pixels(picture)
    found = []
    for y, x in ((1, 1), (1, 6), (6, 1), (6, 6)):
        off = [np.abs(seen[y, x] - np.array(c)).max() for c in (RED, GREEN, BLUE, YELLOW)]
        assert min(off) <= 12  # of 255: what two rounds of JPEG and the drawing may add
        found.append((RED, GREEN, BLUE, YELLOW)[int(np.argmin(off))])
    return found


@pytest.mark.parametrize(
    ("size", "longest", "becomes"),
    [
        ((2400, 1800), ON_PAPER, (1600, 1200)),
        ((1800, 2400), ON_PAPER, (1200, 1600)),
        ((2400, 300), THUMB, (480, 60)),  # halved twice on the way
        ((1200, 900), ON_PAPER, (1200, 900)),
    ],
)
def test_the_longer_side_is_at_most_what_is_asked(size, longest, becomes):
    picture = drawn(*size)
    found = smaller(picture, longest)
    assert (found.width, found.height) == becomes
    assert found.media_type == "image/jpeg"
    assert corners(found) == [RED, GREEN, BLUE, YELLOW]
    assert PLACE not in found.shown
    assert b"Exif" not in found.shown
    if max(size) > longest:
        assert len(found.shown) < len(picture.shown)


@pytest.mark.parametrize(
    ("turned", "seen"),
    # Exif 2.32: which stored corner comes to the upper left, upper right, lower left, lower right
    [
        (1, [RED, GREEN, BLUE, YELLOW]),
        (2, [GREEN, RED, YELLOW, BLUE]),
        (3, [YELLOW, BLUE, GREEN, RED]),
        (4, [BLUE, YELLOW, RED, GREEN]),
        (5, [RED, BLUE, GREEN, YELLOW]),
        (6, [BLUE, RED, YELLOW, GREEN]),
        (7, [YELLOW, GREEN, BLUE, RED]),
        (8, [GREEN, YELLOW, RED, BLUE]),
    ],
)
def test_every_way_of_holding_the_camera_comes_out_upright(turned, seen):
    picture = drawn(120, 80, turned=turned)
    assert picture.turned == turned
    found = smaller(picture, 60)
    assert (found.width, found.height) == ((40, 60) if turned >= 5 else (60, 40))
    assert found.turned == 1
    assert corners(found) == seen


@pytest.mark.parametrize("data", [png(60, 40), webp(), jpeg()], ids=["png", "webp", "grey jpeg"])
def test_every_kind_becomes_a_jpeg_without_its_place(data):
    picture = read_picture(data)
    found = smaller(picture)
    assert found.media_type == "image/jpeg"
    assert PLACE not in found.shown
    assert {found.width, found.height} == {picture.width, picture.height}


def test_a_colour_profile_of_its_own_is_kept_and_that_of_other_inks_is_not():
    def told(space: bytes) -> bytes:
        profile = bytes(12) + b"mntr" + space + b"XYZ " + bytes(104)
        return segment(0xE2, b"ICC_PROFILE\0\1\1" + profile)

    assert told(b"RGB ") in smaller(drawn(80, 60, more=told(b"RGB ")), 40).shown
    assert b"ICC_PROFILE" not in smaller(drawn(80, 60, more=told(b"CMYK")), 40).shown


def test_what_the_renderer_cannot_read_is_left_as_it_is():
    picture = drawn(80, 60, turned=6)
    broken = Picture(
        media_type="image/jpeg", width=80, height=60, shown=picture.shown[:200], turned=6
    )
    assert smaller(broken, 40) is broken


def test_a_small_upright_jpeg_is_not_coded_anew():
    picture = drawn(80, 60)
    assert smaller(picture, 80) is picture
