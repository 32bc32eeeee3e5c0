"""Invented photographs of a reed against the light, made from a known transmission.

Light passes both blades of an invented reed by exp(-mu t), with an invented mu; a lamp that is
uneven, fibres along the grain, a camera with noise, sRGB in 8 bits.
"""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from crowlight.bench.light_kinds import LightMarks
from crowlight.look import Frame, Marks, plane_map
from crowlight.reed.styles import Style, style

Array = NDArray[np.float64]

#: Attenuation of the invented cane [1/m]: a tip passes half of the light, a heart a thirtieth.
MU = 3.5e3
WIDE, HIGH = 360, 720
#: Tip up, a little askew, nearer to the camera at the tip.
MARKS = Marks(
    tip_left=(95.0, 90.0),
    tip_right=(262.0, 84.0),
    foot_left=(128.0, 640.0),
    foot_right=(228.0, 640.0),
)
REED: Style = style("long").placed(0.0702)
FRAME = Frame(tip=REED.length, foot=REED.thread_top, outline=REED.outline)


def even(along: Array, across: Array) -> Array:
    """Return the thickness of both blades together on a reed whose sides are alike [m]."""
    return 2 * REED.thickness(along, np.abs(across))


def light(
    *,
    marks: Marks = MARKS,
    thickness: Callable[[Array, Array], Array] = even,
    lamp: Callable[[Array, Array], Array] = lambda x, y: np.full_like(x, 0.85),
    fibres: float = 0.05,
    noise: float = 0.01,
    seed: int = 0,
    size: tuple[int, int] = (WIDE, HIGH),
    fine: int = 2,
) -> Array:
    """Return linear light, shape (high, wide).

    `lamp` takes column and row as fractions of the picture; `fibres` is the standard deviation of
    ln T from fibre to fibre, `noise` that of the camera at full light, falling with its root.
    """
    rng = np.random.default_rng(seed)
    wide, high = size
    rows, columns = np.mgrid[0 : high * fine, 0 : wide * fine]
    x, y = (columns + 0.5) / fine, (rows + 0.5) / fine
    across, along = plane_map(marks.array(), FRAME.corners())(x, y)
    u = REED.outline.fraction(along, across)
    grain = rng.standard_normal(160)
    texture = fibres * np.interp((u + 1) / 2 * 159, np.arange(160), grain)
    cane = (np.abs(u) <= 1) & (along <= REED.length)
    passed = np.exp(-MU * thickness(np.clip(along, REED.thread_top, REED.length), across) + texture)
    passed = np.where(along < REED.thread_top, 1e-4, passed)
    picture = lamp(x / wide, y / high) * np.where(cane, passed, 1.0)
    picture = picture.reshape(high, fine, wide, fine).mean(axis=(1, 3))
    picture += noise * np.sqrt(np.maximum(picture, 1e-4)) * rng.standard_normal(picture.shape)
    return np.clip(picture, 0.0, 1.0)


def encoded(picture: Array) -> NDArray[np.uint8]:
    """Return sRGB in 8 bits (IEC 61966-2-1, the other way round)."""
    v = np.where(picture <= 0.0031308, 12.92 * picture, 1.055 * picture ** (1 / 2.4) - 0.055)
    return np.round(255 * np.clip(v, 0, 1)).astype(np.uint8)


def file_of(picture: Array, kind: str = "PNG", **more: object) -> bytes:
    """Return a picture as a file."""
    out = BytesIO()
    Image.fromarray(encoded(picture)).convert("RGB").save(out, kind, **more)
    return out.getvalue()


def light_marks(photo: UUID, marks: Marks = MARKS, **more: object) -> LightMarks:
    """Return an entry with these marks, of a picture of the usual size."""
    points = {
        name: (getattr(marks, name)[0] / WIDE, getattr(marks, name)[1] / HIGH)
        for name in ("tip_left", "tip_right", "foot_left", "foot_right")
    }
    return LightMarks.model_validate({"photo": photo, **points, **more})


def thinner_left(by: float) -> Callable[[Array, Array], Array]:
    """Return blades whose left side is thinner, both together, by so much [m]."""
    return lambda along, across: even(along, across) - np.where(across < 0, by, 0.0)
