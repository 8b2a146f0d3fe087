"""The samples of every log, in a SQLite file or on a server beside the database, by the raw file's SHA-256.

A cache of the raw files: it can be lost, and is made anew by reading them. What comes out of it equals what the reader
gave bit for bit, times and values, so a fit gives the same digits from either (see sample_chunks).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from server.archive.sample_chunks import FloatArray
from server.archive.samples_check import loose_ends, pair_faults, series_faults
from server.archive.samples_file import SamplesFile
from server.archive.samples_log import check_log, insert_log, is_kept, read_log, write_channels
from server.archive.samples_rows import Rows, SamplesPlace
from server.archive.samples_series import Series, read_series
from server.archive.samples_trace import LEAST_POINTS, Pair, Trace, any_points, rising_points, window
from server.errors import NotFoundError
from server.testday.values import Channel, RawLog

READER_VERSION = "1"


@dataclass(frozen=True, slots=True)
class KeptChannel:
    """What is known of a channel without reading it; times [s] of its first and last sample, None of an empty one."""

    position: int
    name: str
    unit: str | None
    n: int
    first_s: float | None
    last_s: float | None


class SampleStore:
    """Logs by the SHA-256 of their raw file. Any number of threads and processes may use one file.

    reader_version: a log that another version of the readers gave counts as not kept.
    A channel is named, or given by its position where several have one name.
    Raises NotFoundError for what is not kept; StillairError where the file is busy, full, damaged or too new.
    """

    def __init__(self, place: Path | SamplesPlace, reader_version: str = READER_VERSION) -> None:
        self._file: SamplesPlace = SamplesFile(place) if isinstance(place, Path) else place
        self._reader_version = reader_version

    def exists(self) -> bool:
        """Whether anything was ever kept."""
        return self._file.exists()

    def close(self) -> None:
        """Give the place back."""
        self._file.close()

    def keep(self, sha256: str, log: RawLog) -> None:
        """Keep a log whole or, whatever happens, not at all; the same again changes nothing.

        Read with another time column or by other readers, it takes the place of the one before.
        Raises ValueError for a channel whose times are no numbers or of another number than its values.
        """
        check_log(sha256, log)
        if self._has(sha256, log):
            return
        with self._file.writing() as connection:
            if not is_kept(connection, sha256, self._reader_version, log):
                connection.execute("DELETE FROM logs WHERE sha256 = ?", (sha256,))
                write_channels(connection, insert_log(connection, sha256, self._reader_version, log), log.channels)

    def has(self, sha256: str) -> bool:
        """Whether the log is kept."""
        return self._has(sha256, None)

    def hashes(self) -> list[str]:
        """SHA-256 of all logs that are kept."""
        with self._file.reading() as connection:
            rows = connection.execute(
                "SELECT sha256 FROM logs WHERE reader_version = ? ORDER BY id", (self._reader_version,)
            )
            return [row[0] for row in rows]

    def drop(self, sha256: str) -> None:
        """Forget a log, so that it is read from its raw file again."""
        with self._file.writing() as connection:
            connection.execute("DELETE FROM logs WHERE sha256 = ?", (sha256,))

    def channels(self, sha256: str) -> list[KeptChannel]:
        """The channels of a log in the file's order."""
        with self._file.reading() as connection:
            return [one for one, _ in _channels(connection, self._log_id(connection, sha256))]

    def trace(
        self,
        sha256: str,
        channel: str | int,
        start_s: float | None = None,
        end_s: float | None = None,
        most_points: int = 2000,
    ) -> Trace:
        """A channel between two times [s] of the log's clock, both included, in at most so many points.

        The envelope is that of the samples in the window, to the last one; few enough of them are given one by one.
        """
        if most_points < LEAST_POINTS:
            raise ValueError(f"most_points is {most_points}, at least {LEAST_POINTS} are needed")
        with self._file.reading() as connection:
            kept, pair = self._find(connection, sha256, channel)
            if pair.time.rising:
                begin, end = window(connection, pair, start_s, end_s)
                columns, counts = rising_points(connection, pair, begin, end, most_points)
            else:
                columns, counts = any_points(*_chosen(connection, pair, start_s, end_s), most_points)
        return Trace(kept.name, kept.unit, *columns, counts)

    def samples(
        self, sha256: str, channel: str | int, start_s: float | None = None, end_s: float | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Times [s] and values of all samples between two times of the log's clock, both included."""
        with self._file.reading() as connection:
            _, pair = self._find(connection, sha256, channel)
            if not pair.time.rising:
                return _chosen(connection, pair, start_s, end_s)
            begin, end = window(connection, pair, start_s, end_s)
            return read_series(connection, pair.time, begin, end), read_series(connection, pair.values, begin, end)

    def log(self, sha256: str) -> RawLog:
        """The log as the reader gave it, equal bit for bit; channels that shared their times share them again."""
        with self._file.reading() as connection:
            log_id = self._log_id(connection, sha256)
            axes: dict[int, FloatArray] = {}
            channels = []
            for kept, pair in _channels(connection, log_id):
                if pair.time.id not in axes:
                    axes[pair.time.id] = read_series(connection, pair.time)
                values = read_series(connection, pair.values)
                channels.append(Channel(kept.name, kept.unit, axes[pair.time.id], values))
            return read_log(connection, log_id, tuple(channels))

    def head(self, sha256: str) -> RawLog:
        """The log without its samples: all that the reader said of it, its channels empty."""
        none = np.empty(0)
        with self._file.reading() as connection:
            log_id = self._log_id(connection, sha256)
            channels = tuple(Channel(kept.name, kept.unit, none, none) for kept, _ in _channels(connection, log_id))
            return read_log(connection, log_id, channels)

    def verify(self, sha256: str) -> Iterator[str]:
        """A sentence for each part of a log's times, values and pyramids that is not as it was written."""
        with self._file.reading() as connection:
            seen: set[int] = set()
            for kept, pair in _channels(connection, self._log_id(connection, sha256)):
                for series in (pair.time, pair.values):
                    if series.id not in seen:
                        seen.add(series.id)
                        yield from series_faults(connection, series)
                yield from pair_faults(connection, pair, (kept.first_s, kept.last_s))

    def loose_ends(self) -> Iterator[str]:
        """A sentence for each thing in the file that belongs to nothing, or that the database itself finds amiss."""
        with self._file.reading() as connection:
            yield from self._file.own_faults(connection)
            yield from loose_ends(connection)

    def _has(self, sha256: str, log: RawLog | None) -> bool:
        with self._file.reading() as connection:
            return is_kept(connection, sha256, self._reader_version, log)

    def _log_id(self, connection: Rows, sha256: str) -> int:
        row = connection.execute(
            "SELECT id FROM logs WHERE sha256 = ? AND reader_version = ?", (sha256, self._reader_version)
        ).fetchone()
        if row is None:
            raise NotFoundError(f"The samples store holds no log {sha256[:12]}….")
        return int(row[0])

    def _find(self, connection: Rows, sha256: str, channel: str | int) -> tuple[KeptChannel, Pair]:
        for kept, pair in _channels(connection, self._log_id(connection, sha256)):
            if channel in (kept.name, kept.position):
                return kept, pair
        raise NotFoundError(f"The log {sha256[:12]}… holds no channel '{channel}'.")


def _channels(connection: Rows, log_id: int) -> list[tuple[KeptChannel, Pair]]:
    rows = connection.execute(
        "SELECT position, name, unit, first_s, last_s, t.id, t.n, t.rising, v.id, v.n FROM channels "
        "JOIN series t ON t.id = time_id JOIN series v ON v.id = values_id "
        "WHERE channels.log_id = ? ORDER BY position",
        (log_id,),
    )
    return [_channel(row) for row in rows]


def _channel(row: tuple[object, ...]) -> tuple[KeptChannel, Pair]:
    position, name, unit, first, last, time_id, time_n, rising, values_id, values_n = row
    kept = KeptChannel(position, name, unit, values_n, first, last)  # type: ignore[arg-type]  # the table's types
    time = Series(time_id, time_n, bool(rising), f"the times of '{name}'")  # type: ignore[arg-type]
    return kept, Pair(time, Series(values_id, values_n, False, f"'{name}'"))  # type: ignore[arg-type]


def _chosen(
    connection: Rows, pair: Pair, start_s: float | None, end_s: float | None
) -> tuple[FloatArray, FloatArray]:
    """Samples in a window of a time axis that does not rise throughout, in the order in which they were logged."""
    time_s, values = read_series(connection, pair.time), read_series(connection, pair.values)
    inside = (time_s >= (-np.inf if start_s is None else start_s)) & (time_s <= (np.inf if end_s is None else end_s))
    return time_s[inside], values[inside]
