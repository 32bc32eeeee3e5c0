"""Small pictures made byte by byte, with what telephones write into them."""

import struct
import zlib

import numpy as np

#: Of the invented place the tests look for.
PLACE = b"GPS 47 deg 11' N, 9 deg 30' E"


def png(width: int = 4, height: int = 3, *, place: bool = True) -> bytes:
    """Return a grey PNG; with a place in two of its chunks if asked for."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    rows = b"".join(b"\0" + bytes([(90 + 9 * r) % 256] * width) for r in range(height))
    told = chunk(b"eXIf", PLACE) + chunk(b"tEXt", b"Comment\0" + PLACE) if place else b""
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
        + told
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def exif(turned: int, order: str = ">") -> bytes:
    """Return an Exif block with an orientation and a place."""
    head = (b"MM\0*" if order == ">" else b"II*\0") + struct.pack(order + "I", 8)
    fields = struct.pack(order + "HHIHH", 0x0112, 3, 1, turned, 0)
    fields += struct.pack(order + "HHII", 0x8825, 4, 1, 60)
    return head + struct.pack(order + "H", 2) + fields + struct.pack(order + "I", 0) + PLACE


def segment(marker: int, body: bytes) -> bytes:
    """Return a JPEG segment."""
    return bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body


def jpeg(turned: int = 6, order: str = ">", *, width: int = 64, height: int = 48) -> bytes:
    """Return a baseline grey JPEG with Exif, XMP, IPTC and a comment, and another picture behind.

    One Huffman code of length 1 stands for "no difference", and each block is flat: a grey field.
    """
    quantum = segment(0xDB, b"\0" + bytes([1] * 64))
    frame = segment(0xC0, struct.pack(">BHHBBBB", 8, height, width, 1, 1, 0x11, 0))
    code = bytes([1] + [0] * 15) + b"\0"  # the one code, 0, stands for: nothing more
    tables = segment(0xC4, b"\0" + code) + segment(0xC4, b"\x10" + code)
    blocks = (width // 8) * (height // 8)
    bits = np.zeros(2 * blocks, np.uint8)  # a 0 for each DC, a 0 for each AC
    scan = np.packbits(np.concatenate([bits, np.ones(-len(bits) % 8, np.uint8)])).tobytes()
    return (
        b"\xff\xd8"
        + segment(0xE0, b"JFIF\0\1\1\0\0\1\0\1\0\0")
        + segment(0xE1, b"Exif\0\0" + exif(turned, order))
        + segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + PLACE)
        + segment(0xED, b"Photoshop 3.0\0" + PLACE)
        + segment(0xFE, PLACE)
        + quantum
        + frame
        + tables
        + segment(0xDA, b"\1\1\0\0\x3f\0")
        + scan
        + b"\xff\xd9"
        + b"\xff\xd8 a second picture "
        + PLACE
    )


def webp(*, place: bool = True) -> bytes:
    """Return a lossless WebP of one pixel, extended, with Exif and XMP."""
    # RFC 9649, section 3: signature, 14 bits each of width and height less one, then the stream
    lossless = bytes.fromhex("2f0000000007d0fffef7bfff8188e87f0000")[:17]
    flags = 0x0C if place else 0

    def chunk(kind: bytes, data: bytes) -> bytes:
        return kind + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)

    content = b"WEBP" + chunk(b"VP8X", bytes((flags, 0, 0, 0, 0, 0, 0, 0, 0, 0)))
    content += chunk(b"VP8L", lossless)
    if place:
        content += chunk(b"EXIF", exif(1)) + chunk(b"XMP ", PLACE)
    return b"RIFF" + struct.pack("<I", len(content)) + content
