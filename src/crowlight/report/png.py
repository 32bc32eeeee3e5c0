"""Palette images as PNG (ISO/IEC 15948): flat bands need no more than an index a pixel."""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

__all__ = ["data_address", "palette_png"]

Colour = tuple[int, int, int]


def palette_png(index: NDArray[np.uint8], colours: Sequence[Colour]) -> bytes:
    """Return an image as a PNG file.

    Parameters
    ----------
    index : ndarray of uint8, shape (rows, columns)
        Which colour each pixel has, top row first.
    colours : sequence of (red, green, blue)
        At most 256, each 0-255.

    Examples
    --------
    >>> palette_png(np.zeros((1, 1), np.uint8), [(0, 0, 0)])[1:4]
    b'PNG'
    """
    if not 0 < len(colours) <= 256 or index.ndim != 2 or not index.size:
        msg = f"{len(colours)} colours for an image of shape {index.shape}: 1 to 256 for a picture"
        raise ValueError(msg)
    if int(index.max()) >= len(colours):
        msg = f"index {int(index.max())} has no colour among {len(colours)}"
        raise ValueError(msg)
    height, width = index.shape
    rows = np.zeros((height, width + 1), np.uint8)  # each row starts with its filter: none
    rows[:, 1:] = index
    head = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", head)
        + _chunk(b"PLTE", bytes(v for c in colours for v in c))
        + _chunk(b"IDAT", zlib.compress(rows.tobytes(), 6))  # 9: 5 % less, 20 times as long
        + _chunk(b"IEND", b"")
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    check = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)


def data_address(png: bytes) -> str:
    """Return a PNG file as an address that holds it."""
    return "data:image/png;base64," + base64.b64encode(png).decode()
