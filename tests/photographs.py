"""Photographs made for tests: with a place in them, lying on their side, too large, or none at all."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

from PIL import Image

PLACE = {1: "N", 2: (48.0, 12.0, 30.0), 3: "E", 4: (16.0, 22.0, 12.0)}
MAKER, GPS, ORIENTATION, SOFTWARE = 0x010F, 0x8825, 0x0112, 0x0131
WORDS = b"Musterstrasse 7"


def with_a_place(path: Path, *, size: tuple[int, int] = (640, 400), turned: int = 1, kind: str = "JPEG") -> Path:
    """A photograph red at its left end and blue at its right one, with maker, place and words in all its parts."""
    picture = Image.new("RGB", size, (180, 180, 180))
    picture.paste((200, 20, 20), (0, 0, size[0] // 4, size[1]))
    picture.paste((20, 20, 200), (size[0] - size[0] // 4, 0, size[0], size[1]))
    exif = Image.Exif()
    exif[MAKER], exif[SOFTWARE], exif[ORIENTATION] = "Camera of Musterstrasse 7", "Musterstrasse 7", turned
    exif.get_ifd(GPS).update(PLACE)
    more = {"comment": WORDS} if kind == "JPEG" else {}
    if kind == "JPEG":
        more["xmp"] = b"<x:xmpmeta>" + WORDS + b"</x:xmpmeta>"
    picture.save(path, kind, exif=exif, **more)
    return path


def bomb(path: Path, side_px: int = 30_000) -> Path:
    """A PNG of a few bytes whose head says that it has 900 million pixels."""

    def part(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", side_px, side_px, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(1 << 20), 9)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", rows) + part(b"IEND", b""))
    return path


def opened(data: bytes) -> Image.Image:
    """A picture out of bytes."""
    return Image.open(io.BytesIO(data))
