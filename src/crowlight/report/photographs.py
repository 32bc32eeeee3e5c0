"""Photographs made smaller: for paper, and for a page that shows many.

The renderer that draws the charts reads JPEG, PNG and WebP and writes 8-bit JPEG; a picture is
drawn upright on white. Its colours are taken for sRGB. A JPEG with an RGB colour profile of its own
keeps that profile, so that its colours stay right without being worked out anew.

References
----------
SVG 1.1, 7.6: matrices. Exif orientation: CIPA DC-008 (Exif 2.32), tag 0x0112. Profiles in JPEG:
ICC.1:2022, annex B.4; the colour space stands in bytes 16 to 19 of a profile (7.2.8).
"""

from __future__ import annotations

import struct
import zlib
from base64 import b64encode
from collections.abc import Iterator

from crowlight.bench.pictures import Picture, read_picture, segments_of

__all__ = ["ON_PAPER", "THUMB", "smaller"]

#: Longest side on paper, and of a small picture on a page [pixels].
ON_PAPER, THUMB = 1600, 480
#: Share of quality kept, as JPEG encoders count it.
_QUALITY = 85
_HALVED = 95
#: How to turn what is stored w wide and h high, by Exif's number.
_TURNS = {
    1: "1 0 0 1 0 0",
    2: "-1 0 0 1 {w} 0",
    3: "-1 0 0 -1 {w} {h}",
    4: "1 0 0 -1 0 {h}",
    5: "0 1 1 0 0 0",
    6: "0 1 -1 0 {h} 0",
    7: "0 -1 -1 0 {h} {w}",
    8: "0 -1 1 0 0 {w}",
}
#: Side of the probe that tells whether a picture can be read [pixels].
_PROBE = 2
_PROFILE = b"ICC_PROFILE\0"


def smaller(picture: Picture, longest: int = ON_PAPER) -> Picture:
    """Return a picture as an upright 8-bit JPEG without any word on where it was taken.

    Parameters
    ----------
    picture : Picture
        From `crowlight.bench.pictures.read_picture`.
    longest : int
        Most pixels along its longer side; a picture is never made larger.

    Returns
    -------
    Picture
        The smaller one. A picture that the renderer cannot read, such as one in the inks of a
        press, comes back as it is: it has no word on the place either.
    """
    longer = max(picture.width, picture.height)
    upright = picture.media_type == "image/jpeg" and picture.turned == 1
    if (upright and longer <= longest) or not _readable(picture):
        return picture
    source, media_type, turned = picture.unturned, picture.media_type, picture.turned
    width, height = picture.width, picture.height
    # never less than half at once: each pixel then rests on all it stands for
    while max(width, height) > 2 * longest:
        half = (max(width // 2, 1), max(height // 2, 1))
        source = _drawn(source, media_type, *half, 1, _HALVED)
        (width, height), media_type = half, "image/jpeg"
    scale = min(1.0, longest / max(width, height))
    width, height = max(round(width * scale), 1), max(round(height * scale), 1)
    jpeg = _drawn(source, media_type, width, height, turned, _QUALITY)
    return read_picture(jpeg[:2] + _profile(picture) + jpeg[2:])


def _drawn(data: bytes, media_type: str, width: int, height: int, turned: int, to: int) -> bytes:
    """Return a picture drawn at this size and then turned, as JPEG."""
    import vl_convert  # it takes a moment, which most of the reports do without

    return vl_convert.svg_to_jpeg(
        _svg(data, media_type, width, height, turned), scale=1.0, quality=to
    )


def _svg(data: bytes, media_type: str, width: int, height: int, turned: int = 1) -> str:
    wide, high = (height, width) if turned >= 5 else (width, height)
    turn = _TURNS[turned].format(w=width, h=height)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{wide}" height="{high}"><image transform="matrix({turn})" width="{width}" '
        f'height="{height}" preserveAspectRatio="none" '
        f'xlink:href="data:{media_type};base64,{b64encode(data).decode("ascii")}"/></svg>'
    )


def _readable(picture: Picture) -> bool:
    """Tell whether the renderer reads a picture: it leaves out silently what it does not."""
    import vl_convert

    svg = _svg(picture.unturned, picture.media_type, _PROBE, _PROBE)
    png = vl_convert.svg_to_png(svg, scale=1.0)
    packed = b"".join(body for kind, body in _chunks(png) if kind == b"IDAT")
    # of two by two pixels of red, green, blue and opacity nothing but zeros is left
    return any(zlib.decompress(packed))


def _chunks(png: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 8
    while at < len(png):
        size, kind = struct.unpack(">I4s", png[at : at + 8])
        yield kind, png[at + 8 : at + 8 + size]
        at += 12 + size


def _profile(picture: Picture) -> bytes:
    """Return the segments of a JPEG's own RGB colour profile; nothing where there is none."""
    if picture.media_type != "image/jpeg":
        return b""
    told = [body for marker, body, _ in segments_of(picture.shown) if marker == 0xE2]
    space = b"".join(told)[len(_PROFILE) + 2 :][16:20]
    if space != b"RGB ":
        return b""
    return b"".join(b"\xff\xe2" + struct.pack(">H", len(body) + 2) + body for body in told)
