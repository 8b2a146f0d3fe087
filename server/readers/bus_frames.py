"""Frames of a bus as arrays: time, identifier, bus and bytes of each."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from server.testday.values import FloatArray

if TYPE_CHECKING:
    from can import Message

EXTENDED = 0x8000_0000  # set in a key whose identifier has 29 bits, as 11-bit ones may have the same number
_CHUNK = 100_000


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Data frames in the log's order. key: identifier, with EXTENDED; bus: index into buses; shapes (n,).

    data: all bytes one after the other; those of frame i lie in [offset[i], offset[i + 1]).
    """

    time_s: FloatArray
    key: NDArray[np.uint32]
    bus: NDArray[np.uint32]
    buses: tuple[str, ...]
    offset: NDArray[np.int64]
    data: NDArray[np.uint8]
    errors: int = 0
    remotes: int = 0

    def groups(self) -> Iterator[tuple[int, int, NDArray[np.intp]]]:
        """Give the frames of each bus and key: bus index, key, and their rows in the log's order."""
        if not len(self.key):
            return
        mixed = self.bus.astype(np.uint64) << np.uint64(32) | self.key
        order = np.argsort(mixed, kind="stable")
        edges = np.flatnonzero(np.diff(mixed[order])) + 1
        for rows in np.split(order, edges):
            yield int(self.bus[rows[0]]), int(self.key[rows[0]]), rows

    def matrix(self, rows: NDArray[np.intp], width: int) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
        """Return the bytes of some frames, shape (n, width), zeros behind their ends, and their lengths."""
        first = self.offset[rows]
        lengths = self.offset[rows + 1] - first
        data = np.zeros((len(rows), width), dtype=np.uint8)
        for byte in range(width):  # column by column: an index of all places would be eight times the data
            there = lengths > byte
            data[there, byte] = self.data[first[there] + byte]
        return data, lengths


@dataclass(slots=True)
class Collector:
    """Puts frames into arrays, a chunk at a time so that objects of a million frames never stand side by side.

    `frames` can be had at any time: after an error it holds what came before.
    """

    errors: int = 0
    remotes: int = 0
    count: int = 0
    _buses: dict[object, int] = field(default_factory=dict)
    _times: list[float] = field(default_factory=list)
    _keys: list[int] = field(default_factory=list)
    _bus: list[int] = field(default_factory=list)
    _data: list[bytes] = field(default_factory=list)
    _done: list[tuple[FloatArray, NDArray[np.uint32], NDArray[np.uint32], NDArray[np.int64], bytes]] = field(
        default_factory=list
    )

    def take(self, messages: Iterable[Message]) -> None:
        """Add data frames; error and remote frames are counted."""
        times, keys, buses, data, known = self._times, self._keys, self._bus, self._data, self._buses
        for message in messages:
            if message.is_error_frame:
                self.errors += 1
                continue
            if message.is_remote_frame:
                self.remotes += 1
                continue
            times.append(message.timestamp)
            identifier = message.arbitration_id & 0x1FFF_FFFF
            keys.append(identifier | EXTENDED if message.is_extended_id else identifier)
            buses.append(known.setdefault(message.channel, len(known)))
            data.append(message.data)
            if len(times) >= _CHUNK:
                self._close_chunk()

    def _close_chunk(self) -> None:
        if not self._times:
            return
        lengths = np.fromiter(map(len, self._data), np.int64, len(self._data))
        chunk = (
            np.array(self._times, dtype=np.float64),
            np.array(self._keys, dtype=np.uint32),
            np.array(self._bus, dtype=np.uint32),
            lengths,
            b"".join(self._data),
        )
        self._done.append(chunk)
        self.count += len(self._times)
        for pending in (self._times, self._keys, self._bus, self._data):
            pending.clear()

    def frames(self) -> Frames:
        """All frames taken so far."""
        self._close_chunk()
        done = self._done or [
            (np.empty(0), np.empty(0, np.uint32), np.empty(0, np.uint32), np.empty(0, np.int64), b"")
        ]
        times, keys, buses, lengths, data = zip(*done, strict=True)
        return Frames(
            time_s=np.concatenate(times),
            key=np.concatenate(keys),
            bus=np.concatenate(buses),
            buses=tuple("" if bus is None else str(bus) for bus in self._buses),
            offset=np.concatenate([[0], np.cumsum(np.concatenate(lengths))]).astype(np.int64),
            data=np.frombuffer(b"".join(data), dtype=np.uint8),
            errors=self.errors,
            remotes=self.remotes,
        )
