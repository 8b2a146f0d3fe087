"""The packed blocks of a BLF file, unpacked within bounds and checked so that the parser behind cannot go in circles.

A file is a header and objects; an object of type 10 holds a packed block of other objects, each with its own size.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from typing import BinaryIO

from server.errors import LogError
from server.readers.limits import MAX_BLOCK_BYTES

_BASE = struct.Struct("<4sHHII")  # mark, header size, header version, object size, object type
_CONTAINER = struct.Struct("<HxxxxxxLxxxx")  # packing, size unpacked
_CONTAINER_TYPE, _STORED, _DEFLATED = 10, 0, 2
_LARGEST_OBJECT = 8 * 1024**2


def containers(name: str, file: BinaryIO) -> Iterator[bytes]:
    """Give the blocks from where the file stands, unpacked.

    Raises LogError where one unpacks to too much, ValueError where sizes cannot be.
    """
    walk = _Walk()
    while len(head := file.read(_BASE.size)) == _BASE.size:
        mark, _, _, size, kind = _BASE.unpack(head)
        if mark != b"LOBJ" or size < _BASE.size:
            raise ValueError("a block does not begin where the one before it ends")
        body = file.read(size - _BASE.size)
        file.read(size % 4)
        if kind == _CONTAINER_TYPE and len(body) >= _CONTAINER.size:
            block = _unpacked(name, body)
            walk.check(block)
            yield block
    if head:
        raise ValueError("the last block's head is cut")


def _unpacked(name: str, body: bytes) -> bytes:
    packing, _ = _CONTAINER.unpack_from(body)
    packed = body[_CONTAINER.size :]
    if packing == _STORED:
        return packed
    if packing != _DEFLATED:
        raise ValueError(f"a block is packed in an unknown way ({packing})")
    inflate = zlib.decompressobj()
    block = inflate.decompress(packed, MAX_BLOCK_BYTES)
    if inflate.unconsumed_tail:
        most = f"{MAX_BLOCK_BYTES / 1e6:,.0f} MB"
        raise LogError(f"{name} holds a block that unpacks to more than {most}, as no log does.")
    return block


class _Walk:
    """Follows the objects' sizes across blocks: each must lead on, and none be larger than a frame can be."""

    def __init__(self) -> None:
        self._rest = b""

    def check(self, block: bytes) -> None:
        """Walk the objects of one more block; raises ValueError where one has no end."""
        data = self._rest + block
        unpack, position, end = _BASE.unpack_from, 0, len(data)
        while True:
            found = data.find(b"LOBJ", position, position + 8)
            if found < 0 or found + _BASE.size > end:
                break
            size = unpack(data, found)[3]
            if not _BASE.size <= size <= _LARGEST_OBJECT:
                raise ValueError(f"an object has a size of {size:,} bytes")
            if found + size > end:
                position = found
                break
            position = found + size
        self._rest = data[position:]
