"""A whole log as rows of the samples file, and back."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import asdict
from hashlib import sha256 as sha256_of

import numpy as np

from server.archive.sample_chunks import FloatArray
from server.archive.samples_rows import Rows
from server.archive.samples_series import Packed, pack, write_series
from server.testday.values import Channel, Finding, RawLog

AHEAD = 4


def check_log(sha256: str, log: RawLog) -> None:
    """Raise ValueError for a wrong hash, or a channel whose times are no numbers or as many as its values."""
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        raise ValueError("sha256 is not the SHA-256 of a file in hex")
    seen: set[int] = set()
    for one in log.channels:
        if one.time_s.ndim != 1 or one.time_s.shape != one.values.shape:
            raise ValueError(f"channel '{one.name}' has {one.time_s.shape} times and {one.values.shape} values")
        if id(one.time_s) not in seen and not np.isfinite(one.time_s).all():
            raise ValueError(f"channel '{one.name}' has times that are no numbers")
        seen.add(id(one.time_s))


def is_kept(connection: Rows, sha256: str, reader_version: str, log: RawLog | None) -> bool:
    """Whether a log is kept as these readers gave it, and by the same time column as `log`."""
    row = connection.execute(
        "SELECT time_column FROM logs WHERE sha256 = ? AND reader_version = ?", (sha256, reader_version)
    ).fetchone()
    return row is not None and (log is None or row[0] == log.time_column)


def insert_log(connection: Rows, sha256: str, reader_version: str, log: RawLog) -> int:
    """Insert what a log says besides its channels; its id."""
    row = (
        *(sha256, reader_version, log.file, log.description, log.start_clock_s),
        log.start_date.isoformat() if log.start_date else None,
        *(int(log.clock_is_utc), log.time_column, json.dumps([asdict(one) for one in log.findings], default=float)),
    )
    [(log_id,)] = connection.execute(
        "INSERT INTO logs (sha256, reader_version, file, description, start_clock_s, start_date, clock_is_utc, "
        "time_column, findings) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) RETURNING id",
        row,
    ).fetchall()
    return int(log_id)


def read_log(connection: Rows, log_id: int, channels: tuple[Channel, ...]) -> RawLog:
    """The log of an id with these channels."""
    file, description, clock, date, utc, time_column, findings = connection.execute(
        "SELECT file, description, start_clock_s, start_date, clock_is_utc, time_column, findings "
        "FROM logs WHERE id = ?",
        (log_id,),
    ).fetchone()
    return RawLog(
        file=file,
        channels=channels,
        description=description,
        start_clock_s=clock,
        start_date=dt.date.fromisoformat(date) if date else None,
        findings=tuple(Finding(**one) for one in json.loads(findings)),
        clock_is_utc=bool(utc),
        time_column=time_column,
    )


def write_channels(connection: Rows, log_id: int, channels: Sequence[Channel]) -> None:
    """Channels as rows, a time axis that several share once; packed by threads a few arrays ahead."""
    axes = _Axes(channels)
    arrays = (array for one in channels for array in (*axes.new(one), one.values))
    ids: dict[int, int] = {}
    with ThreadPoolExecutor(min(AHEAD, os.cpu_count() or 1), "pack") as pool:
        packed = _packed_ahead(pool, arrays)
        for position, one in enumerate(channels):
            axis = axes.number[position]
            if axis not in ids:
                ids[axis] = write_series(connection, log_id, next(packed))
            values = write_series(connection, log_id, next(packed))
            ends = (float(one.time_s[0]), float(one.time_s[-1])) if len(one.time_s) else (None, None)
            row = (log_id, position, one.name, one.unit, *ends, ids[axis], values)
            connection.execute("INSERT INTO channels VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)


class _Axes:
    """Which channels share their times: `number` of the axis of each channel, counted from 0."""

    def __init__(self, channels: Sequence[Channel]) -> None:
        by_array: dict[int, int] = {}
        by_bytes: dict[bytes, int] = {}
        for one in channels:
            if id(one.time_s) not in by_array:
                digest = sha256_of(np.ascontiguousarray(one.time_s)).digest()
                by_array[id(one.time_s)] = by_bytes.setdefault(digest, len(by_bytes))
        self.number = [by_array[id(one.time_s)] for one in channels]
        self._by_array = by_array
        self._given: set[int] = set()

    def new(self, channel: Channel) -> Iterator[FloatArray]:
        """The channel's times where no channel before had them."""
        axis = self._by_array[id(channel.time_s)]
        if axis not in self._given:
            self._given.add(axis)
            yield channel.time_s


def _packed_ahead(pool: ThreadPoolExecutor, arrays: Iterable[FloatArray]) -> Iterator[Packed]:
    """The arrays packed, in order, never more than a few ahead of the one that is taken."""
    waiting: deque[Future[Packed]] = deque()
    for array in arrays:
        waiting.append(pool.submit(pack, np.asarray(array, dtype=np.float64)))
        if len(waiting) > AHEAD:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()
