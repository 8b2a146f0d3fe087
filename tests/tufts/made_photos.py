"""Small made-up pictures in every form that is taken, and files that only claim to be one."""

from __future__ import annotations

import base64
import io
import struct
import zlib

import numpy as np
from PIL import Image

CORNER = (220, 180, 40)  # the colour of the upper left quarter, as the camera lay
REST = (30, 60, 90)
TAKEN = "2026:05:09 09:45:10"
CAMERA = "Made Up Field 3"

# 96 × 64, its corner as above, turned by 90° clockwise to be upright; 659 bytes as an encoder wrote them.
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAaFtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAAADRpbG9j"
    "AAAAAERAAAIAAQAAAAABxQABAAAAAAAAADIAAgAAAAAB9wABAAAAAAAAAJwAAAA4aWluZgAAAAAAAgAAABVpbmZlAgAAAAABAABodmMxAAAA"
    "ABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA4GlwcnAAAADAaXBjbwAAAHhodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNg"
    "AAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQArQgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbqSSmubgIaDAgAAAMAyAAAAwAIQGIAAQAH"
    "RAHBcrAiQAAAABNjb2xybmNseAABAA0ABoAAAAAUaXNwZQAAAAAAAABgAAAAQAAAABBwaXhpAAAAAAMICAgAAAAJaXJvdAMAAAAYaXBtYQAA"
    "AAAAAAABAAEFgQIDBIUAAAAaaXJlZgAAAAAAAAAOY2RzYwACAAEAAQAAANZtZGF0AAAALigBrxmA93yFN7T4GZf/KdS/qYLtP//Xrp3khp+3"
    "foAw5//p1ox49RX3CyE31hMAAAAGRXhpZgAATU0AKgAAAAgABQEPAAIAAAAIAAAASgEQAAIAAAAIAAAAUgESAAMAAAABAAYAAIdpAAQAAAAB"
    "AAAAWoglAAQAAAABAAAAgAAAAABNYWRlIFVwAFBob25lIDEAAAGQAwACAAAAFAAAAGwAAAAAMjAyNjowNTowOSAwOTo0NToxMAAAAQABAAIA"
    "AAACTgAAAAAAAAA="
)


def picture(width: int = 96, height: int = 64) -> Image.Image:
    made = Image.new("RGB", (width, height), REST)
    made.paste(CORNER, (0, 0, width // 2, height // 2))
    return made


def exif(*, turn: int = 1, taken: str = TAKEN, place: bool = True) -> Image.Exif:
    tags = Image.Exif()
    tags[0x010F], tags[0x0110], tags[0x0112] = "Made Up", "Field 3", turn
    tags.get_ifd(0x8769)[0x9003] = taken
    if place:
        tags.get_ifd(0x8825)[1], tags.get_ifd(0x8825)[2] = "N", (38.0, 44.0, 12.0)
    return tags


def jpeg(made: Image.Image | None = None, *, turn: int = 1, taken: str = TAKEN, seed: int = 0) -> bytes:
    """seed: another picture in its bytes."""
    made = made or picture()
    made.paste((seed * 37 % 256, seed * 91 % 256, 5), (made.width - 24, made.height - 16, made.width - 8, made.height))
    out = io.BytesIO()
    made.save(out, "JPEG", quality=92, exif=exif(turn=turn, taken=taken))
    return out.getvalue()


def noise(width: int, height: int) -> Image.Image:
    rng = np.random.default_rng(5)
    return Image.fromarray(rng.integers(0, 256, (height, width, 3), dtype=np.uint8))


def saved(made: Image.Image, kind: str) -> bytes:
    out = io.BytesIO()
    made.save(out, kind)
    return out.getvalue()


def deep_tiff(width: int = 96, height: int = 64) -> bytes:
    """Red, green and blue of 16 bits, put together after TIFF 6.0, sections 2 and 6, from memory."""
    values = np.zeros((height, width, 3), "<u2")
    values[...] = np.array(REST, "<u2") * 257
    values[: height // 2, : width // 2] = np.array(CORNER, "<u2") * 257
    data, at = values.tobytes(), 8 + 2 + 12 * 9 + 4
    tags = [(256, 3, 1, width), (257, 3, 1, height), (258, 3, 3, at), (259, 3, 1, 1), (262, 3, 1, 2)]
    tags += [(273, 4, 1, at + 6), (277, 3, 1, 3), (278, 3, 1, height), (279, 4, 1, len(data))]
    head = b"II*\0" + struct.pack("<IH", 8, len(tags)) + b"".join(struct.pack("<HHII", *tag) for tag in tags)
    return head + struct.pack("<IHHH", 0, 16, 16, 16) + data


MOST_MADE_BYTES = 20_000_000  # of rows that a picture promises, for it can promise more than there is memory


def huge_png(width: int = 25_000, height: int = 20_000) -> bytes:
    """A few kilobytes that say they are half a billion pixels (PNG, ISO/IEC 15948, from memory)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = zlib.compress(bytes(min((width + 1) * 200, MOST_MADE_BYTES)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


SVG = b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
