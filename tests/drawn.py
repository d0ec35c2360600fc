"""Drawn pictures for tests, written as cameras write them: with place, time, make and a comment."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from typing import Any

from PIL import Image, ImageCms, ImageDraw

PLACE_WORDS = b"51.5007N"
"""What must not be found in a picture that is kept."""


def drawn(width: int = 640, height: int = 480, format: str = "JPEG", **more: Any) -> bytes:
    """Return a picture of a bed with a worm: its top left corner is red, the rest is brown."""
    picture = Image.new("RGB", (width, height), (92, 66, 48))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 0, width // 4, height // 4), fill=(220, 30, 30))
    pen.line((width // 2, height // 2, width - 9, height - 9), fill=(230, 170, 150), width=7)
    return written(picture, format, **more)


def written(picture: Image.Image, format: str = "JPEG", **more: Any) -> bytes:
    """Return *picture* as a file."""
    out = BytesIO()
    picture.save(out, format, **more)
    return out.getvalue()


def camera_words(orientation: int = 1) -> dict[str, Any]:
    """Return what a camera writes beside a picture, its place among it."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F] = PLACE_WORDS.decode()
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (51.0, 30.0, 2.5)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return {"exif": exif, "comment": PLACE_WORDS, "icc_profile": profile}


def claims_to_be(width: int, height: int) -> bytes:
    """Return a small PNG that says of itself to be so large: decoded, it would fill the memory."""

    def part(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 100_000, 9)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", body) + part(b"IEND", b"")


def in_scans(width: int, height: int, scans: int) -> bytes:
    """Return a plain grey JPEG of three colours, in one scan or each in a scan of its own."""

    def part(mark: int, body: bytes) -> bytes:
        return struct.pack(">BBH", 0xFF, mark, len(body) + 2) + body

    colours = bytes((1, 2, 3))
    frame = struct.pack(">BHHB", 8, height, width, 3) + b"".join(
        bytes((c, 0x11, 0)) for c in colours
    )
    out = b"\xff\xd8" + part(0xDB, b"\0" + b"\1" * 64) + part(0xC0, frame)
    out += b"".join(part(0xC4, bytes((table, 1)) + bytes(16)) for table in (0x00, 0x10))
    bits = 2 * -(-width // 8) * -(-height // 8)  # one for nothing of a block, one for its end
    for own in [colours] if scans == 1 else [bytes((c,)) for c in colours]:
        head = bytes((len(own),)) + b"".join(bytes((c, 0)) for c in own) + b"\0\x3f\0"
        out += part(0xDA, head) + bytes(-(-bits * len(own) // 8))
    return out + b"\xff\xd9"
