"""Photographs read as light."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms
from tests.pictures import exif, jpeg, segment, webp

from crowlight.bench import pictures as limits
from crowlight.errors import InputError
from crowlight.files.pictures import LONGEST, PictureFiles

READ = PictureFiles().read


def saved(image: Image.Image, kind: str = "PNG", **more: object) -> bytes:
    out = BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def grey(values: np.ndarray, kind: str = "PNG", **more: object) -> bytes:
    return saved(Image.fromarray(values), kind, **more)


def flat(red: int, green: int, blue: int, size: tuple[int, int] = (20, 10)) -> Image.Image:
    return Image.new("RGB", size, (red, green, blue))


def test_published_values_of_srgb_come_out_as_light():
    """IEC 61966-2-1: code 118 of 255 (0.4627) is light of 0.1812; 255 is 1; black is 0."""
    seen = READ(saved(flat(118, 118, 118)))
    assert seen.light == pytest.approx(0.18116, abs=1e-5)
    assert READ(saved(flat(255, 0, 0))).light == pytest.approx(0.2126, abs=1e-6)
    assert READ(saved(flat(0, 0, 0))).light.max() == 0.0
    assert seen.light.shape == seen.clipped.shape == (10, 20)
    assert (seen.width, seen.height, seen.notes) == (20, 10, ())


def test_a_colour_at_its_end_is_clipped_though_the_luminance_is_not():
    assert READ(saved(flat(255, 90, 10))).clipped.all()
    assert READ(saved(flat(254, 90, 10))).clipped.all()
    assert not READ(saved(flat(253, 90, 10))).clipped.any()


@pytest.mark.parametrize("turned", range(1, 9))
def test_a_turned_photograph_is_read_upright(turned: int):
    """Exif orientation (CIPA DC-008): the bright corner of the upright picture stays in place."""
    upright = np.full((24, 40), 60, np.uint8)
    upright[:8, :8] = 220
    back = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.T,
        6: np.rot90(upright, 1),
        7: upright[::-1, ::-1].T,
        8: np.rot90(upright, -1),
    }[turned]
    plain = grey(np.ascontiguousarray(back), "JPEG", quality=95)
    data = plain[:2] + segment(0xE1, b"Exif\0\0" + exif(turned)) + plain[2:]
    seen = READ(data)
    assert seen.light.shape == (24, 40)
    assert seen.light[2:6, 2:6].mean() > 0.6
    assert seen.light[12:, 12:].mean() < 0.1
    assert (seen.width, seen.height) == (40, 24)


def test_sixteen_bits_are_read_as_such():
    ramp = np.linspace(1000, 65000, 64).astype(np.uint16)
    values = np.repeat(ramp[None, :], 8, axis=0)
    seen = READ(saved(Image.fromarray(values)))
    v = ramp / 65535  # IEC 61966-2-1, the formula itself
    expected = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)
    assert seen.light[0] == pytest.approx(expected, abs=1e-6)
    assert not seen.clipped.any()
    assert READ(saved(Image.fromarray(np.full((4, 4), 65535, np.uint16)))).clipped.all()


def test_colours_of_sixteen_bits_are_read_at_eight():
    """Pillow keeps the upper byte; docs/theory/light.md says so. PNG, third edition: 11.2.1."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    def png(code: int) -> bytes:
        line = b"\0" + struct.pack(">H", code) * 12
        head = chunk(b"IHDR", struct.pack(">IIBBBBB", 4, 4, 16, 2, 0, 0, 0))
        return (
            b"\x89PNG\r\n\x1a\n"
            + head
            + chunk(b"IDAT", zlib.compress(line * 4))
            + chunk(b"IEND", b"")
        )

    eight = READ(saved(flat(118, 118, 118, (4, 4)))).light
    for code in (0x7600, 0x7680, 0x76FF):
        assert np.array_equal(READ(png(code)).light, eight)
    assert (READ(png(0x7700)).light > eight).all()
    assert READ(png(0xFE00)).clipped.all()


def test_a_jpeg_that_broke_off_but_ends_properly_is_refused():
    """The decoder fills up with grey and Pillow tells nobody."""
    rng = np.random.default_rng(5)
    image = Image.fromarray(rng.integers(90, 170, (120, 160), np.uint8))
    for mode in ("L", "RGB"):
        whole = saved(image.convert(mode), "JPEG", quality=80)
        assert READ(whole).light.shape == (120, 160)
        half = len(whole) // 2
        for broken in (
            whole[:half] + b"\xff\xd9",
            whole[:half] + b"\xff\xd9" + whole[half:],
            whole[:half] + whole[half + half // 2 :],
        ):
            assert Image.open(BytesIO(broken)).convert("L").getpixel((5, 119)) == 128
            with pytest.raises(InputError, match=r"one even grey.*send it again"):
                READ(broken)


def test_a_progressive_jpeg_without_its_last_scans_is_refused():
    rng = np.random.default_rng(5)
    image = Image.fromarray(rng.integers(90, 170, (120, 160, 3), np.uint8))
    whole = saved(image, "JPEG", quality=80, progressive=True)
    assert READ(whole).light.shape == (120, 160)
    last = whole.rindex(b"\xff\xda")
    with pytest.raises(InputError, match=r"last scans.*send it again"):
        READ(whole[:last] + b"\xff\xd9")


def test_averages_are_of_light_not_of_codes():
    """Stripes of black and white pass half of the light; the mean of their codes would say 0.21."""
    wide = 2 * LONGEST
    stripes = np.zeros((40, wide), np.uint8)
    stripes[:, ::2] = 253
    seen = READ(grey(stripes))
    assert max(seen.light.shape) == LONGEST
    white = float(READ(saved(flat(253, 253, 253))).light[0, 0])
    assert seen.light == pytest.approx(white / 2, abs=1e-6)
    assert (seen.width, seen.height) == (wide, 40)


def test_one_clipped_pixel_clips_what_it_is_averaged_into():
    picture = np.full((40, 2 * LONGEST), 100, np.uint8)
    picture[5, 7] = 255
    assert np.argwhere(READ(grey(picture)).clipped).tolist() == [[2, 3]]


def test_a_profile_is_used():
    """A profile of linear light: code 118 then is light of 118 / 255, not of 0.18."""
    linear = ImageCms.ImageCmsProfile(BytesIO(_linear_profile()))
    seen = READ(saved(flat(118, 118, 118), icc_profile=linear.tobytes()))
    assert seen.light == pytest.approx(118 / 255, abs=0.004)
    assert seen.notes == ()
    same = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert READ(saved(flat(118, 118, 118), icc_profile=same)).light == pytest.approx(
        0.181, abs=0.002
    )


def _linear_profile() -> bytes:
    """Return the profile of sRGB with curves of exponent one (ICC.1:2022, 10.6: count 0)."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    (count,) = struct.unpack(">I", data[128:132])
    for n in range(count):
        tag, at, _ = struct.unpack(">4sII", data[132 + 12 * n : 144 + 12 * n])
        if tag in {b"rTRC", b"gTRC", b"bTRC"}:
            data[at : at + 12] = b"curv" + bytes(8)
    return bytes(data)


def test_a_broken_profile_is_said():
    seen = READ(saved(flat(118, 118, 118), icc_profile=b"no profile at all" * 9))
    assert seen.notes == ("profile",)
    assert seen.light == pytest.approx(0.18116, abs=1e-5)


def test_inks_of_a_press_are_refused_where_they_say_too_little():
    data = saved(Image.new("CMYK", (20, 10), (0, 90, 90, 0)), "JPEG")
    with pytest.raises(InputError, match=r"inks of a press.*as the camera saved it"):
        READ(data)


@pytest.mark.parametrize("mode", ["L", "LA", "P", "RGBA", "1"])
def test_other_kinds_of_picture_are_read(mode: str):
    seen = READ(saved(flat(118, 118, 118).convert(mode)))
    assert seen.light.shape == (10, 20)
    assert 0.0 <= seen.light.min() <= seen.light.max() <= 1.0


def test_nothing_shines_through_holes():
    assert READ(saved(Image.new("RGBA", (8, 8), (255, 255, 255, 0)))).light.max() == 0.0


def test_webp_is_read():
    assert READ(saved(flat(118, 118, 118), "WEBP", lossless=True)).light == pytest.approx(
        0.18116, abs=1e-5
    )


# --- what is refused ------------------------------------------------------------------------------


def bomb() -> bytes:
    """Return a PNG of a few hundred bytes that says it has 12,000 x 9,000 pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", 12_000, 9_000, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(3_000_000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


PHOTO = saved(
    Image.fromarray(np.random.default_rng(3).integers(0, 250, (64, 64, 3), dtype=np.uint8)),
    "JPEG",
)
HOSTILE = {
    "empty": b"",
    "text": b"<script>alert(1)</script>",
    "cut short": PHOTO[: len(PHOTO) // 2],
    "only a head": PHOTO[:30],
    "another format": saved(flat(1, 2, 3), "GIF"),
    "bomb": bomb(),
    "too many bytes": PHOTO + bytes(limits.LARGEST),
    "one pixel": saved(flat(1, 2, 3, (1, 1))),
    "no picture inside": webp()[:-8],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_with_a_remedy(name: str):
    with pytest.raises(InputError, match=r"send|limit"):
        READ(HOSTILE[name])


@settings(max_examples=60)
@given(st.data())
def test_no_damage_ends_in_anything_but_a_picture_or_a_sentence(data: st.DataObject):
    whole = bytearray(data.draw(st.sampled_from([PHOTO, jpeg(), webp(), saved(flat(9, 99, 199))])))
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(whole)))
    try:
        seen = READ(bytes(whole[:cut]))
    except InputError:
        return
    assert np.isfinite(seen.light).all()
    assert seen.light.min() >= 0
    assert seen.light.max() <= 1


@pytest.mark.parametrize(
    ("chunk", "noted"),
    [
        (b"cICP" + bytes([9, 16, 0, 1]), True),  # BT.2100 PQ (ITU-T H.273)
        (b"gAMA" + struct.pack(">I", 100_000), True),
        (b"gAMA" + struct.pack(">I", 45_455), False),  # that of sRGB (PNG, third edition, 11.3.2.2)
    ],
)
def test_other_colours_than_those_of_srgb_are_noted(chunk: bytes, noted: bool):
    data = saved(flat(118, 118, 118))
    made = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    at = 8 + 25  # behind the signature and IHDR
    seen = READ(data[:at] + made + data[at:])
    assert seen.light == pytest.approx(0.18116, abs=1e-5)
    assert seen.notes == (("profile",) if noted else ())


def test_the_largest_picture_that_is_kept_can_be_read():
    side = int(limits.MOST_PIXELS**0.5)
    data = saved(Image.new("L", (side, side), 90), compress_level=1)
    assert max(READ(data).light.shape) <= LONGEST
