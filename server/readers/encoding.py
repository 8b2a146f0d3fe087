"""Which character encoding a file of text has, and the same text as UTF-8 bytes."""

from __future__ import annotations

import codecs
import io
from dataclasses import dataclass
from typing import BinaryIO

HEAD_BYTES = 65_536
_BOMS: tuple[tuple[bytes, str, str], ...] = (
    (codecs.BOM_UTF8, "utf-8", "UTF-8 with a byte-order mark"),
    (codecs.BOM_UTF32_LE, "utf-32-le", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32-be", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16-le", "UTF-16 little-endian"),
    (codecs.BOM_UTF16_BE, "utf-16-be", "UTF-16 big-endian"),
)
_NUL_SHARE = 0.35


@dataclass(frozen=True, slots=True)
class Encoding:
    """A codec, how a sentence names it, and the length of the byte-order mark [bytes]."""

    codec: str
    spoken: str
    mark: int = 0


def detect_encoding(head: bytes) -> Encoding:
    """Tell the encoding from a byte-order mark or zero bytes; else UTF-8 if valid, or cp1252."""
    for mark, codec, spoken in _BOMS:
        if head.startswith(mark):
            return Encoding(codec, spoken, len(mark))
    pairs = head[: len(head) // 2 * 2]
    if len(pairs) >= 4:
        high, low = pairs[0::2].count(0) / len(pairs) * 2, pairs[1::2].count(0) / len(pairs) * 2
        if low > _NUL_SHARE and high < 0.05:
            return Encoding("utf-16-le", "UTF-16 little-endian")
        if high > _NUL_SHARE and low < 0.05:
            return Encoding("utf-16-be", "UTF-16 big-endian")
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return Encoding("cp1252", "Windows-1252")
    return Encoding("utf-8", "UTF-8" if not head.isascii() else "plain text")


def as_single_bytes(file: BinaryIO, encoding: Encoding) -> BinaryIO:
    """Return the file behind its mark, with line ends of one byte: UTF-16 and UTF-32 become UTF-8."""
    file.seek(encoding.mark)
    if not encoding.codec.startswith(("utf-16", "utf-32")):
        return file
    return io.BytesIO(file.read().decode(encoding.codec, errors="replace").encode("utf-8"))


def decode(data: bytes, encoding: Encoding) -> str:
    """Decode what `as_single_bytes` gives; unreadable bytes become the replacement character."""
    return data.decode("cp1252" if encoding.codec == "cp1252" else "utf-8", errors="replace")
