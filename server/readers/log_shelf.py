"""Logs that were read a moment ago, kept in the memory of a process: a day that gets another run reads that one alone.

A log is known by its bytes and its name in the folder (sentences name it) and by how it was read: the word on its time
column, the bytes of the database of its signals. What is kept can't be written to, so nobody changes it for the next.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Mapping
from pathlib import Path

from server.readers import open_log
from server.testday.values import FloatArray, RawLog

MOST_BYTES = 300_000_000
Key = tuple[str, str, str | None, str | None]


class LogShelf:
    """Keeps the last used logs, up to `most_bytes` of samples; of one thread."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._held: OrderedDict[Key, tuple[RawLog, int]] = OrderedDict()

    def open(
        self, folder: Path, hashes: Mapping[str, str], file: str, time_column: str | None, signals: str | None
    ) -> RawLog:
        """A log of a folder, read where it is not held. hashes: name in the folder → SHA-256."""
        key = (hashes.get(file, ""), file, time_column, hashes.get(signals, "") if signals is not None else None)
        if key in self._held:
            self._held.move_to_end(key)
            return self._held[key][0]
        database = None if signals is None else folder / signals
        log = open_log(folder / file, name=file, time_column=time_column, signals=database)
        if key[0] and key[3] != "":  # named otherwise than the folder's files are: not known by its bytes
            self._keep(key, log)
        return log

    def _keep(self, key: Key, log: RawLog) -> None:
        arrays = {id(array): array for array in _arrays(log)}
        for array in arrays.values():
            array.setflags(write=False)
        size = sum(array.nbytes for array in arrays.values())
        if size > self._most_bytes:
            return
        self._held[key] = (log, size)
        while sum(held for _, held in self._held.values()) > self._most_bytes:
            self._held.popitem(last=False)


def _arrays(log: RawLog) -> Iterator[FloatArray]:
    for channel in log.channels:
        yield channel.time_s
        yield channel.values
    for marks in log.typed.coast_downs if log.typed is not None else ():
        yield marks.time_s
        yield marks.speed_mps


SHELF = LogShelf()
