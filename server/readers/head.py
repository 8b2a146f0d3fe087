"""The first look at a file: its lines, and from them the layout and where the data begin."""

from __future__ import annotations

import re
from typing import BinaryIO

from server.errors import LogError
from server.readers.encoding import HEAD_BYTES, Encoding, decode
from server.readers.layout import Layout, find_layout
from server.readers.refusals import refuse_binary

_LONG_HEAD_BYTES = 1_048_576
_LINE_END = re.compile(rb"\r\n|\n|\r")


def look(name: str, text: BinaryIO, start: int, encoding: Encoding) -> tuple[Layout, int]:
    """Find the layout and the first byte of the data; a preamble may be longer than the first look."""
    for size in (HEAD_BYTES, _LONG_HEAD_BYTES):
        text.seek(start)
        head = text.read(size)
        refuse_binary(name, head)
        more = len(text.read(1)) > 0
        edges = [0, *(match.end() for match in _LINE_END.finditer(head))]
        pieces = [head[a:b] for a, b in zip(edges, [*edges[1:], len(head)], strict=True)]
        if more and len(pieces) > 1:
            pieces.pop()
        lines = [decode(piece.replace(b"\0", b""), encoding).rstrip("\r\n") for piece in pieces]
        try:
            layout = find_layout(name, lines)
        except LogError:
            if more and size == HEAD_BYTES:
                continue
            raise
        return layout, start + edges[layout.first_line]
    raise LogError(
        f"{name} holds no table of numbers in its first {_LONG_HEAD_BYTES:,} bytes; a log must be one."
    )
