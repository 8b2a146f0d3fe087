"""The bytes of the data lines, piece by piece, as the table parser wants them; and where they end."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from server.readers.encoding import Encoding, decode
from server.readers.layout import Layout
from server.readers.separators import split_line

TAIL_BYTES = 262_144
_DECIMALS_ROWS = 20
_PIECE_BYTES = 262_144


@dataclass(frozen=True, slots=True)
class Ending:
    """Where the whole lines end [byte], and whether a line that was cut off stands behind them."""

    stop: int
    cut: bool


class Feed:
    """A readable file of the bytes [start, stop) as UTF-8; zero bytes are left out and counted.

    first_line: a line to give before them.
    """

    def __init__(self, file: BinaryIO, start: int, stop: int, encoding: Encoding) -> None:
        self.first_line = b""
        self._file, self._encoding, self._left = file, encoding, stop - start
        self.zero_bytes = 0
        file.seek(start)

    def read(self, size: int = -1) -> bytes:
        """Return up to `size` bytes, empty at the end."""
        if self.first_line:
            first, self.first_line = self.first_line, b""
            return first
        while self._left:
            data = self._cleaned(self._take(size))
            if data:
                return data
        return b""

    def _take(self, size: int) -> bytes:
        data = self._file.read(min(size, self._left) if size >= 0 else self._left)
        self._left = self._left - len(data) if data else 0
        return data

    def _cleaned(self, data: bytes) -> bytes:
        if b"\0" in data:
            self.zero_bytes += data.count(b"\0")
            data = data.replace(b"\0", b"")
        if self._encoding.codec == "cp1252" and not data.isascii():
            data = data.decode("cp1252", errors="replace").encode("utf-8")
        return data

    def __iter__(self) -> Iterator[bytes]:
        return iter(lambda: self.read(_PIECE_BYTES), b"")


def count_lines(file: BinaryIO, start: int, stop: int) -> int:
    """Count the line ends in the bytes [start, stop): line feeds, else carriage returns."""
    file.seek(start)
    feeds = returns = 0
    for at in range(start, stop, _PIECE_BYTES):
        piece = file.read(min(_PIECE_BYTES, stop - at))
        feeds += piece.count(b"\n")
        returns += 0 if feeds else piece.count(b"\r")
    return feeds or returns


def find_ending(file: BinaryIO, start: int, layout: Layout, encoding: Encoding) -> Ending:
    """Find whether the last line was cut off: no line end behind it, and cells or decimals missing."""
    size = file.seek(0, 2)
    file.seek(max(start, size - TAIL_BYTES))
    tail = file.read()
    whole = tail.rstrip(b"\0")
    stop = size - (len(tail) - len(whole))
    if not whole or whole.endswith((b"\n", b"\r")):
        return Ending(stop, False)
    lines = whole.replace(b"\r\n", b"\n").replace(b"\r", b"\n").rsplit(b"\n", _DECIMALS_ROWS + 1)
    last = lines[-1]
    before = [split_line(decode(line, encoding), layout.separator) for line in lines[1:-1] if line.strip()]
    if before and _is_cut(split_line(decode(last, encoding), layout.separator), before):
        return Ending(stop - len(last), True)
    return Ending(stop, False)


def _is_cut(last: list[str], before: list[list[str]]) -> bool:
    fewest = min(len(row) for row in before)
    if len(last) != fewest or not last:
        return len(last) < fewest
    decimals = {_decimals(row[-1]) for row in before if len(row) == fewest}
    return len(decimals) == 1 and decimals != {0} and _decimals(last[-1]) < min(decimals)


def _decimals(cell: str) -> int:
    cell = cell.strip().strip('"')
    return max(len(cell) - cell.rfind(mark) - 1 if mark in cell else 0 for mark in ".,")
