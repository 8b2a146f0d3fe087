"""The data blocks of an MDF 4 file: what they unpack to, and where a cut file ends.

Blocks: 4 letters behind ##, 4 reserved bytes, length (u64), number of links (u64), links (u64 each), as the ASAM
MDF 4 standard lays them out.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from server.errors import LogError
from server.readers.limits import DEFLATE_RATIO, MAX_BLOCK_BYTES, refuse_many_bytes

_HEAD = struct.Struct("<4s4xQQ")
_DZ = struct.Struct("<2sBxIQQ")  # what was packed, how, parameter, size unpacked, size packed
_DEFLATE_TYPES = (0, 1)
_ZSTD_TYPES = (2, 3)
_LZ4_RATIO = 255
_HEADER_AT = 64
_MOST_BLOCKS = 1_000_000


def refuse_bombs(name: str, path: Path) -> None:
    """Raise LogError where the packed blocks of a file hold, or hide, more than is read."""
    declared = 0
    with path.open("rb") as file:
        for place, packed_as, unpacked, packed in _packed_blocks(file):
            declared += unpacked
            refuse_many_bytes(name, declared)
            if packed_as not in _DEFLATE_TYPES + _ZSTD_TYPES:
                refuse_many_bytes(name, declared - unpacked + _LZ4_RATIO * packed if unpacked else 0)
            elif packed * DEFLATE_RATIO > MAX_BLOCK_BYTES or packed_as in _ZSTD_TYPES:
                file.seek(place)
                _refuse_lie(name, file.read(packed), packed_as, unpacked, place)


def _refuse_lie(name: str, packed: bytes, packed_as: int, unpacked: int, place: int) -> None:
    if packed_as in _ZSTD_TYPES:
        import zstandard

        with zstandard.ZstdDecompressor(max_window_size=MAX_BLOCK_BYTES).stream_reader(packed) as stream:
            more = len(stream.read(unpacked + 1)) > unpacked
    else:
        more = len(zlib.decompressobj().decompress(packed, unpacked + 1)) > unpacked
    if more:
        raise LogError(f"{name}: the block at byte {place:,} unpacks to more than the {unpacked:,} bytes that it says.")


def _packed_blocks(file: BinaryIO) -> Iterator[tuple[int, int, int, int]]:
    """Place of the packed bytes, how they are packed, size unpacked, size packed; of every such block."""
    for place, kind, _length in _blocks(file):
        if kind == b"##DZ":
            file.seek(place + _HEAD.size)
            body = file.read(_DZ.size)
            if len(body) == _DZ.size:
                _, packed_as, _, unpacked, packed = _DZ.unpack(body)
                yield place + _HEAD.size + _DZ.size, packed_as, unpacked, packed


def _blocks(file: BinaryIO) -> Iterator[tuple[int, bytes, int]]:
    """Follow every link from the header, each block once; links that lead nowhere are passed over."""
    size = file.seek(0, 2)
    seen: set[int] = set()
    waiting = [_HEADER_AT]
    while waiting and len(seen) < _MOST_BLOCKS:
        place = waiting.pop()
        if place in seen or not _HEADER_AT <= place <= size - _HEAD.size:
            continue
        seen.add(place)
        file.seek(place)
        kind, length, links = _HEAD.unpack(file.read(_HEAD.size))
        if not kind.startswith(b"##"):
            continue
        yield place, kind, length
        file.seek(place + _HEAD.size)
        body = file.read(8 * min(links, max(0, length - _HEAD.size) // 8, _MOST_BLOCKS))
        waiting += struct.unpack(f"<{len(body) // 8}Q", body[: len(body) // 8 * 8])


def cut_block(path: Path) -> tuple[int, int] | None:
    """Find the plain data block that the end of a cut file goes through: its place, and the length that is there."""
    size = path.stat().st_size
    with path.open("rb") as file:
        cut = [place for place, kind, length in _blocks(file) if kind in (b"##DT", b"##DV") and place + length > size]
    return (cut[0], size - cut[0]) if cut else None


def shorten_block(path: Path, place: int, length: int) -> None:
    """Write a data block's length into its head."""
    with path.open("r+b") as file:
        file.seek(place + 8)
        file.write(struct.pack("<Q", length))


def packed_bytes(groups: Any) -> int:
    """What the records and channels of opened groups take as numbers [bytes]."""
    return sum(8 * int(g.channel_group.cycles_nr) * max(len(g.channels), 1) for g in groups)
