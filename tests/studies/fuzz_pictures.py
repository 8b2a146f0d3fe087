"""Malformed pictures: every form that is taken, damaged or cut off; bombs; drawings; forms that are not taken."""

from __future__ import annotations

import io
import random
import struct
import zlib
from functools import cache

from PIL import Image

from tests.studies.fuzz_files import Case, damaged_name, mutate
from tests.tufts import made_photos as made

LAUGHING = b'<?xml version="1.0"?><!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><svg>&b;</svg>'
REMOTE = b'<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/></svg>'
NOT_TAKEN = ("GIF", "BMP", "WEBP", "ICO", "PPM", "TGA")
MODES = ("1", "L", "LA", "P", "RGB", "RGBA", "CMYK", "YCbCr", "I;16", "F")
TEXT_BYTES = 60_000_000


def picture_case(seed: int, chance: random.Random) -> Case:
    """A picture, sent to a day as a photo of tufts."""
    form, data = _content(chance)
    fields = {"kind": [chance.choice(("photo", "photo", "prediction"))], "part": ["floor"]}
    fields["run"] = [chance.choice(("", "1"))]
    return Case(seed, "picture", damaged_name(f"photo {seed}.{form}", chance), data, fields)


def _content(chance: random.Random) -> tuple[str, bytes]:
    which = chance.random()
    if which < 0.12:
        return "heic", mutate(made.HEIC, chance)
    if which < 0.62:
        form = chance.choice(("JPEG", "PNG", "TIFF"))
        data = _sound(form, chance.randrange(8))
        cut = data[: int(chance.random() * len(data))]
        return form.lower(), cut if chance.random() < 0.2 else mutate(data, chance)
    return _bomb(chance) if which < 0.75 else _other(chance)


def _other(chance: random.Random) -> tuple[str, bytes]:
    """Drawings, forms that are not taken, heads alone."""
    which = chance.random()
    if which < 0.4:
        drawings = (made.SVG, LAUGHING, REMOTE, b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(x) run\n")
        return chance.choice(("svg", "jpg")), chance.choice(drawings)
    if which < 0.7:
        return "jpg", _saved(made.picture(), chance.choice(NOT_TAKEN))
    heads = (b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0+", chance.randbytes(5000))
    return "jpg", chance.choice(heads)


def _saved(picture: Image.Image, form: str) -> bytes:
    out = io.BytesIO()
    picture.save(out, form)
    return out.getvalue()


@cache
def _sound(form: str, number: int) -> bytes:
    """A small picture of a form, in another mode for each number."""
    if form == "JPEG":
        return made.jpeg(turn=number + 1, seed=number)
    if form == "TIFF" and number == 0:
        return made.deep_tiff()
    modes = [mode for mode in MODES if form == "TIFF" or mode not in ("CMYK", "YCbCr", "F")]
    picture = made.noise(60, 40).convert("L") if number % 2 else made.picture()
    mode = modes[number % len(modes)]
    return _saved(picture.convert("L" if mode in ("I;16", "F") else "RGB").convert(mode), form)


def _bomb(chance: random.Random) -> tuple[str, bytes]:
    """Small files that say they are large: more pixels than may be, many that may, a text, counts."""
    which = chance.randrange(6)
    if which == 0:
        return "png", made.huge_png(chance.choice((25_000, 40_000, 2**31 - 1)), chance.choice((20_000, 2**31 - 1)))
    if which == 1:
        return "png", made.huge_png(4000, 3000)
    if which == 2:
        return "png", _png_with(_chunk(b"zTXt", b"a\0\0" + _zeros()))
    if which == 3:
        return "png", _png_with(_chunk(b"iCCP", b"a\0\0" + _zeros()))
    if which == 4:
        return "tiff", _tiff(chance)
    head = made.HEIC.replace(struct.pack(">II", 96, 64), struct.pack(">II", 65_535, 65_535))
    return "heic", head


@cache
def _zeros() -> bytes:
    return zlib.compress(bytes(TEXT_BYTES))


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _png_with(chunk: bytes) -> bytes:
    sound = _saved(made.picture(), "PNG")
    return sound[:33] + chunk + sound[33:]


def _tiff(chance: random.Random) -> bytes:
    """Tags (TIFF 6.0, section 2, from memory) whose counts, sizes and next directory lead anywhere."""
    wide = chance.choice((1, 96, 70_000, 2**32 - 1))
    tags = [(256, 4, 1, wide), (257, 4, 1, chance.choice((1, 64, 2**32 - 1))), (258, 3, 1, chance.choice((1, 8, 64)))]
    tags += [(259, 3, 1, chance.choice((1, 5, 7, 8, 32773, 50000))), (262, 3, 1, chance.choice((0, 2, 6, 99)))]
    tags += [(273, 4, chance.choice((1, 2**31)), chance.choice((8, 200, 2**32 - 1)))]
    tags += [(277, 3, 1, chance.choice((1, 3, 65535)))]
    tags += [(278, 4, 1, chance.choice((1, 2**32 - 1))), (279, 4, 1, chance.choice((10, 2**32 - 1)))]
    body = b"".join(struct.pack("<HHII", *tag) for tag in tags)
    after = struct.pack("<I", chance.choice((0, 8, 2**31)))
    return b"II*\0" + struct.pack("<IH", 8, len(tags)) + body + after + bytes(200)
