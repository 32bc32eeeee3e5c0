"""Photographs: checked to be pictures, and shown without what the camera wrote about the place.

The file is kept as it came. What is shown is a copy without Exif, XMP, IPTC and comments, where
telephones write where they were; of Exif only the orientation is put back. Pixels are not touched.

References
----------
JPEG: ITU-T T.81 (1992), annex B. PNG: ISO/IEC 15948. WebP: RFC 9649. Exif orientation: CIPA DC-008
(Exif 2.32), tag 0x0112.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from crowlight.errors import InputError

__all__ = ["LARGEST", "MOST_PIXELS", "Picture", "read_picture", "segments_of"]

#: Largest file [bytes] and picture [pixels].
LARGEST = 20_000_000
MOST_PIXELS = 100_000_000
_REMEDY = "send it as JPEG, PNG or WebP (telephones: choose the most compatible format)"
#: PNG chunks that say how pixels look; all others are left out.
_PNG_KEPT = frozenset(
    {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT"}
    | {b"bKGD", b"pHYs", b"cICP"}
)
_WEBP_KEPT = frozenset({b"VP8X", b"VP8 ", b"VP8L", b"ICCP", b"ALPH"})

MediaType = Literal["image/jpeg", "image/png", "image/webp"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A checked picture.

    Parameters
    ----------
    media_type : str
        Of its content, whatever its name said.
    width, height : int
        As stored, before any turning [pixels].
    shown : bytes
        The copy that may be shown and posted.
    turned : int
        How it is to be turned or mirrored, 1 to 8 as Exif has it; 1 is upright.
    """

    media_type: MediaType
    width: int
    height: int
    shown: bytes
    turned: int = 1

    @property
    def unturned(self) -> bytes:
        """The copy without the word on how it is to be turned."""
        if self.turned == 1:
            return self.shown
        return self.shown[:2] + self.shown[2 + len(_exif(self.turned)) :]


def read_picture(data: bytes) -> Picture:
    """Check that a file is a picture, and return what may be shown of it.

    Raises
    ------
    InputError
        If it is none, is damaged, or is too large.
    """
    if len(data) > LARGEST:
        msg = f"the picture has {len(data) / 1e6:.0f} MB; the limit is {LARGEST / 1e6:.0f} MB"
        raise InputError(msg)
    try:
        if data.startswith(b"\xff\xd8\xff"):
            found = _jpeg(data)
        elif data.startswith(b"\x89PNG\r\n\x1a\n"):
            found = _png(data)
        elif data[:4] == b"RIFF" and data[8:12] == b"WEBP":
            found = _webp(data)
        else:
            msg = f"this is no picture of a kind that is shown here; {_REMEDY}"
            raise InputError(msg)
    except InputError:
        raise
    except (struct.error, IndexError, ValueError):
        msg = "the picture is cut short or damaged; send it again"
        raise InputError(msg) from None
    if found.width * found.height > MOST_PIXELS:
        msg = (
            f"the picture has {found.width} × {found.height} pixels; the limit is "
            f"{MOST_PIXELS // 1_000_000} million: send a smaller one"
        )
        raise InputError(msg)
    return found


# --- JPEG -----------------------------------------------------------------------------------------

_SOS, _EOI, _APP0, _APP1 = 0xDA, 0xD9, 0xE0, 0xE1
#: Application segments that say how pixels look: JFIF, colour profile, Adobe's transform.
_JPEG_APPS = {0xE0: b"JFIF\0", 0xE2: b"ICC_PROFILE\0", 0xEE: b"Adobe"}
#: Frame headers: SOF0 to SOF15 without DHT, JPG and DAC.
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}


def _jpeg(data: bytes) -> Picture:
    width = height = 0
    turned = 1
    kept: list[bytes] = []
    for marker, body, scan in segments_of(data):
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", body[1:5])
        if marker == _APP1 and body.startswith(b"Exif\0\0"):
            turned = _orientation(body[6:])
            continue
        told = _JPEG_APPS.get(marker)
        if marker == 0xFE or (0xE0 <= marker <= 0xEF and not (told and body.startswith(told))):
            continue
        kept.append(bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body + scan)
    if not width * height:
        raise IndexError
    turning = _exif(turned) if turned != 1 else b""
    shown = b"\xff\xd8" + turning + b"".join(kept) + b"\xff\xd9"
    return Picture(media_type="image/jpeg", width=width, height=height, shown=shown, turned=turned)


def segments_of(data: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Yield marker, body and the coded scan behind it; what follows the end is left out."""
    at = 2
    while True:
        if data[at] != 0xFF:
            raise IndexError
        while data[at + 1] == 0xFF:  # fill bytes
            at += 1
        marker = data[at + 1]
        if marker == _EOI:
            return
        (size,) = struct.unpack(">H", data[at + 2 : at + 4])
        body, at = data[at + 4 : at + 2 + size], at + 2 + size
        if len(body) != size - 2:
            raise IndexError
        begin = at
        if marker == _SOS:
            # coded data: 0xFF is followed by 0 or a restart marker, else a segment begins
            at = data.index(b"\xff", at)
            while data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
                at = data.index(b"\xff", at + 2)
        yield marker, body, data[begin:at]


def _orientation(tiff: bytes) -> int:
    """Return tag 0x0112 of the first directory; 1, upright, where it says nothing."""
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None or len(tiff) < 8:
        return 1
    (at,) = struct.unpack(order + "I", tiff[4:8])
    if at + 2 > len(tiff):
        return 1
    (count,) = struct.unpack(order + "H", tiff[at : at + 2])
    for n in range(min(count, 500)):
        field = tiff[at + 2 + 12 * n : at + 14 + 12 * n]
        if len(field) < 12:
            return 1
        tag, _, _, value = struct.unpack(order + "HHIH", field[:10])
        if tag == 0x0112:
            return value if 1 <= value <= 8 else 1
    return 1


def _exif(turned: int) -> bytes:
    """Return an Exif segment that holds the orientation alone."""
    directory = struct.pack(">HHHIHHI", 1, 0x0112, 3, 1, turned, 0, 0)
    body = b"Exif\0\0MM\0*\0\0\0\x08" + directory
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


# --- PNG and WebP ---------------------------------------------------------------------------------


def _png(data: bytes) -> Picture:
    kept = [data[:8]]
    at, width, height = 8, 0, 0
    while True:
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        chunk = data[at : at + 12 + size]
        (check,) = struct.unpack(">I", chunk[8 + size :])
        if zlib.crc32(chunk[4 : 8 + size]) != check:
            raise IndexError
        if kind == b"IHDR":
            width, height = struct.unpack(">II", chunk[8:16])
        if kind in _PNG_KEPT:
            kept.append(chunk)
        at += 12 + size
        if kind == b"IEND":
            if not width * height:
                raise IndexError
            shown = b"".join(kept)
            return Picture(media_type="image/png", width=width, height=height, shown=shown)


def _webp(data: bytes) -> Picture:
    (total,) = struct.unpack("<I", data[4:8])
    if len(data) < total + 8:
        raise IndexError
    kept: list[bytes] = []
    at, width, height = 12, 0, 0
    while at + 8 <= total + 8:
        kind, size = struct.unpack("<4sI", data[at : at + 8])
        body = data[at + 8 : at + 8 + size]
        if len(body) != size:
            raise IndexError
        at += 8 + size + size % 2
        if kind == b"VP8X":
            body = bytes((body[0] & ~0x2E,)) + body[1:]  # no Exif, XMP or animation
            width = 1 + int.from_bytes(body[4:7], "little")
            height = 1 + int.from_bytes(body[7:10], "little")
        elif kind == b"VP8 " and not width:
            width, height = (n & 0x3FFF for n in struct.unpack("<HH", body[6:10]))
        elif kind == b"VP8L" and not width:
            (bits,) = struct.unpack("<I", body[1:5])
            width, height = 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
        if kind in _WEBP_KEPT:
            kept.append(kind + struct.pack("<I", size) + body + b"\0" * (size % 2))
    if not width * height or not any(part[:4] in {b"VP8 ", b"VP8L"} for part in kept):
        raise IndexError
    content = b"WEBP" + b"".join(kept)
    shown = b"RIFF" + struct.pack("<I", len(content)) + content
    return Picture(media_type="image/webp", width=width, height=height, shown=shown)
