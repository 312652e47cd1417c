"""Generated pictures for tests."""

from __future__ import annotations

import io
import struct
import zlib

from PIL import Image, ImageDraw


def photo(
    width: int = 640, height: int = 480, form: str = "JPEG", *, exif: bytes = b"", seed: int = 1
) -> bytes:
    """A picture with a few shapes, as a camera might send it. seed : another picture for each"""
    picture = Image.new("RGB", (width, height), (40 * seed % 256, 90, 120))
    pen = ImageDraw.Draw(picture)
    for n in range(12):
        x, y = (n * 53 * seed) % width, (n * 37) % height
        pen.ellipse((x, y, x + width // 6, y + height // 5), fill=(20 * n, 255 - 20 * n, 80))
    out = io.BytesIO()
    picture.save(out, form, **({"exif": exif} if exif else {}))
    return out.getvalue()


def with_place(width: int = 640, height: int = 480, turned: int = 1) -> bytes:
    """A photo whose metadata tell camera, place and orientation (EXIF 2.32: 0x0110, 0x8825, 0x0112)."""
    exif = Image.Exif()
    exif[0x0110], exif[0x0112] = "invented camera", turned
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    return photo(width, height, exif=exif.tobytes())


def bomb(width: int = 30_000, height: int = 30_000) -> bytes:
    """A PNG of a few bytes that claims to be huge. Source: W3C, Portable Network Graphics, 11.2.2 IHDR"""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )
