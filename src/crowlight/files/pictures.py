"""Photographs read as light.

What is read is the copy that is shown (see `crowlight.bench.pictures`), so that marks set on the
page and pixels measured here agree on how the picture is turned. Colours are brought to sRGB by the
profile in the file, made linear, and averaged in linear light to a working size: an average of
encoded values would be darker than the light it stands for.

References
----------
sRGB: IEC 61966-2-1:1999. Profiles: ICC.1:2022. Exif orientation: CIPA DC-008 (Exif 2.32).
Scans of a progressive JPEG: ITU-T T.81, B.2.2, B.2.3 and G.1.1.1.
"""

from __future__ import annotations

import math
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from crowlight.bench.pictures import MOST_PIXELS, read_picture, segments_of
from crowlight.bench.pixels import Pixels
from crowlight.errors import InputError
from crowlight.look import linear, luminance

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["LONGEST", "PictureFiles"]

#: Most pixels along the longer side while measuring: more only takes longer.
LONGEST = 2000
#: From this value on, of 255, a colour is at its end: cameras round, JPEG rings.
_END = 254
#: Rows of one row of blocks, and the code that a block without coefficients has.
_BLOCK, _ABSENT = 8, 128
#: Markers of a progressive frame (SOF2) and of a scan (SOS).
_PROGRESSIVE, _SCAN = 0xC2, 0xDA
_DAMAGED = "the picture is cut short or damaged; send it again"


class PictureFiles:
    """Reads JPEG, PNG and WebP; implements the port `crowlight.bench.pixels.Pictures`."""

    def read(self, data: bytes) -> Pixels:
        """Read a photograph as light; see the port."""
        shown = read_picture(data).shown
        from PIL import Image, ImageOps  # it takes a moment, which most of crowlight does without

        Image.MAX_IMAGE_PIXELS = MOST_PIXELS  # Pillow warns of less than is let in here
        try:
            with Image.open(BytesIO(shown), formats=("JPEG", "PNG", "WEBP")) as image:
                if image.width * image.height > MOST_PIXELS:
                    msg = "the picture has too many pixels; send a smaller one"
                    raise InputError(msg)
                said = _said_of_colours(image, shown)
                image.load()
                if image.format == "JPEG":
                    _refuse_broken_off(image, shown)
                upright = ImageOps.exif_transpose(image)
        except InputError:
            raise
        # Pillow names no errors of its own for most damage: whatever it is, it is the file
        except Exception:  # noqa: BLE001
            raise InputError(_DAMAGED) from None
        return _pixels(upright, *said)


def _refuse_broken_off(image: Image.Image, data: bytes) -> None:
    """Refuse a JPEG of which a part never came, though it ends properly.

    Its decoder warns, Pillow does not pass that on. What is missing at the end of a sequential JPEG
    comes out as coefficients of zero, which is the grey of 128 to the last pixel: no camera does
    that. Of a progressive one whole scans are missing, which its headers tell.
    """
    if image.mode in {"L", "RGB"}:
        lost = 0
        for first in range(image.height - _BLOCK, -1, -_BLOCK):
            strip = image.crop((0, first, image.width, first + _BLOCK))
            extrema = np.asarray(strip.getextrema())
            if (extrema != _ABSENT).any():
                break
            lost += _BLOCK
        if lost:
            share = max(1, round(100 * lost / image.height))
            msg = (
                f"the lowest {share} % of the picture as it was saved is one even grey, as where a "
                "JPEG broke off on its way; send it again as the camera saved it"
            )
            raise InputError(msg)
    if not _all_scans_came(data):
        msg = (
            "the picture lacks its last scans, so that fine detail is missing; "
            "send it again as the camera saved it"
        )
        raise InputError(msg)


def _all_scans_came(data: bytes) -> bool:
    """Return whether a progressive JPEG brings every coefficient to its last bit."""
    waiting: set[tuple[int, int]] = set()
    for marker, body, _ in segments_of(data):
        if marker == _PROGRESSIVE:
            waiting = {(c, n) for c in body[6 : 6 + 3 * body[5] : 3] for n in range(64)}
        elif marker == _SCAN and waiting:
            count = body[0]
            first, last, bits = body[1 + 2 * count : 4 + 2 * count]
            if bits & 0x0F == 0:
                band = range(first, last + 1)
                waiting -= {(c, n) for c in body[1 : 1 + 2 * count : 2] for n in band}
    return not waiting


def _said_of_colours(image: Image.Image, data: bytes) -> tuple[bytes | None, bool]:
    """Return the colour profile of a file, and whether it tells of others than those of sRGB.

    A PNG may say so by a gamma or by code points (PNG, third edition: gAMA, cICP).
    """
    profile = image.info.get("icc_profile")
    gamma = image.info.get("gamma")
    other = gamma is not None and "srgb" not in image.info and abs(gamma - 0.45455) > 0.005
    coded = image.format == "PNG" and 0 <= data.find(b"cICP") < data.find(b"IDAT")
    return profile, bool(profile) or other or coded


def _pixels(image: Image.Image, profile: bytes | None, told: bool) -> Pixels:
    notes = ("profile",) if told else ()
    if image.mode in {"I;16", "I;16B", "I;16L", "I"}:
        values = np.asarray(image).astype(np.uint16)
        return _smaller(values[..., None], 65535, values.shape, notes)
    rgb, used = _srgb(image, profile)
    notes = () if used else notes
    values = np.asarray(rgb)
    return _smaller(values, 255, values.shape[:2], notes)


def _srgb(image: Image.Image, profile: bytes | None) -> tuple[Image.Image, bool]:
    """Return a picture in sRGB, and whether the profile in the file was used."""
    from PIL import ImageCms

    if image.mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        image = _on_black(image)
    if profile:
        try:
            source = ImageCms.ImageCmsProfile(BytesIO(profile))
            given = image if image.mode in {"RGB", "L", "CMYK"} else image.convert("RGB")
            done = ImageCms.profileToProfile(
                given, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
            if done is not None:
                return done, True
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            pass  # a profile that cannot be used: said in the notes
    if image.mode in {"CMYK", "LAB", "YCbCr", "HSV"}:
        msg = (
            "the picture is in the inks of a press and says too little of them to be measured; "
            "send it as the camera saved it"
        )
        raise InputError(msg)
    return image.convert("RGB"), False


def _on_black(image: Image.Image) -> Image.Image:
    """Return a picture without holes: nothing shines through them."""
    from PIL import Image as Images

    full = image.convert("RGBA")
    black = Images.new("RGBA", full.size, (0, 0, 0, 255))
    return Images.alpha_composite(black, full).convert("RGB")


def _smaller(
    values: NDArray[Any], full: int, shape: tuple[int, ...], notes: tuple[str, ...]
) -> Pixels:
    """Return linear luminance, averaged over whole squares of pixels where there are too many."""
    high, wide = shape[0], shape[1]
    side = max(1, math.ceil(max(high, wide) / LONGEST))
    rows, columns = high // side, wide // side
    if min(rows, columns) < 2:
        msg = f"the picture has {wide} × {high} pixels: too few to be measured; send a larger one"
        raise InputError(msg)
    table = linear(np.arange(full + 1) / full).astype(np.float32)
    end = _END if full == 255 else round(_END / 255 * full)
    light = np.empty((rows, columns), np.float32)
    clipped = np.empty((rows, columns), bool)
    step = max(1, 4_000_000 // (wide * side))  # strip by strip: floats of all take gigabytes
    for first in range(0, rows, step):
        last = min(first + step, rows)
        part = values[first * side : last * side, : columns * side]
        lit = table[part]
        lit = luminance(lit) if part.shape[2] == 3 else lit[..., 0]
        blocks = (last - first, side, columns, side)
        light[first:last] = lit.reshape(blocks).mean(axis=(1, 3))
        clipped[first:last] = (part >= end).any(axis=2).reshape(blocks).max(axis=(1, 3))
    return Pixels(light=light, clipped=clipped, width=wide, height=high, notes=notes)
