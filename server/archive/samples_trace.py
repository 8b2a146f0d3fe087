"""A channel over a stretch of time in no more points than a screen has: each the least and greatest of its samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.archive.pyramid import FACTOR, highest, lowest
from server.archive.sample_chunks import FloatArray
from server.archive.samples_rows import Rows
from server.archive.samples_series import Series, find, read_series

LEAST_POINTS = 3
Columns = tuple[FloatArray, FloatArray, FloatArray, FloatArray]  # first_s, last_s, low, high


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Points of a channel in its own unit; all arrays have shape (n_points,).

    Each point stands for `count` samples that follow each other, from first_s to last_s [s of the log's clock];
    low and high are the least and greatest of them, nan where none is a number.
    """

    name: str
    unit: str | None
    first_s: FloatArray
    last_s: FloatArray
    low: FloatArray
    high: FloatArray
    count: NDArray[np.int64]

    @property
    def exact(self) -> bool:
        """Whether every point is one sample."""
        return bool((self.count == 1).all())


@dataclass(frozen=True, slots=True)
class Pair:
    """A channel's times and values as series."""

    time: Series
    values: Series


def window(connection: Rows, pair: Pair, start_s: float | None, end_s: float | None) -> tuple[int, int]:
    """Samples [from, to) of a rising time axis that lie in [start_s, end_s]; None: from its first, to its last."""
    begin = 0 if start_s is None else find(connection, pair.time, start_s)
    end = pair.time.n if end_s is None else find(connection, pair.time, end_s, beyond=True)
    return begin, max(begin, end)


def rising_points(
    connection: Rows, pair: Pair, begin: int, end: int, most: int
) -> tuple[Columns, NDArray[np.int64]]:
    """Points of samples [begin, end) from the coarsest level that is still finer than `most` points.

    Whole buckets come from that level, the ragged ends from the samples; so the envelope is that of the samples
    in the window, no more and no less.
    """
    level = _level(connection, pair, begin, end, most)
    size = FACTOR**level
    first, last = -(-begin // size), end // size
    parts, counts = [], []
    if begin < first * size:
        parts.append(grouped(*_exact(connection, pair, begin, first * size), first * size - begin))
        counts.append([first * size - begin])
    tail = end - last * size
    group = max(1, -(-(last - first) // (most - len(parts) - (tail > 0))))
    if first < last:
        parts.append(_regrouped(_buckets(connection, pair, level, first, last), group))
        counts.append(_sizes(last - first, group) * size)
    if tail:
        parts.append(grouped(*_exact(connection, pair, last * size, end), tail))
        counts.append([tail])
    return _joined(parts), np.concatenate([np.asarray(one, dtype=np.int64) for one in [[], *counts]])


def any_points(time_s: FloatArray, values: FloatArray, most: int) -> tuple[Columns, NDArray[np.int64]]:
    """Points of samples in the order in which they were logged."""
    group = max(1, -(-len(values) // most))
    return grouped(time_s, values, group), _sizes(len(values), group)


def grouped(time_s: FloatArray, values: FloatArray, size: int) -> Columns:
    """Each `size` samples in a row as a point."""
    return _regrouped((time_s, time_s, values, values), size)


def _regrouped(columns: Columns, size: int) -> Columns:
    first, last, low, high = columns
    return lowest(first, size), highest(last, size), lowest(low, size), highest(high, size)


def _sizes(n: int, group: int) -> NDArray[np.int64]:
    return np.minimum(group, n - np.arange(0, n, group))


def _joined(parts: list[Columns]) -> Columns:
    if not parts:
        return np.empty(0), np.empty(0), np.empty(0), np.empty(0)
    first, last, low, high = (np.concatenate(column) for column in zip(*parts, strict=True))
    return first, last, low, high


def _level(connection: Rows, pair: Pair, begin: int, end: int, most: int) -> int:
    row = connection.execute("SELECT max(level) FROM levels WHERE series_id = ?", (pair.values.id,)).fetchone()
    sizes = [FACTOR**level for level in range(1, (row[0] or 0) + 1)]
    fits = [size * most <= end - begin and -(-begin // size) < end // size for size in sizes]
    return max((level for level, fit in enumerate(fits, 1) if fit), default=0)


def _buckets(connection: Rows, pair: Pair, level: int, first: int, last: int) -> Columns:
    if level == 0:
        time_s, values = _exact(connection, pair, first, last)
        return time_s, time_s, values, values
    series = [one for of in (pair.time, pair.values) for one in level_series(connection, of, level)]
    one, two, three, four = (read_series(connection, each, first, last) for each in series)
    return one, two, three, four


def level_series(connection: Rows, of: Series, level: int) -> tuple[Series, Series]:
    """Least and greatest of the buckets of a level of a series."""
    row = connection.execute(
        "SELECT low_id, low.n, high_id, high.n FROM levels JOIN series low ON low.id = low_id "
        "JOIN series high ON high.id = high_id WHERE series_id = ? AND level = ?",
        (of.id, level),
    ).fetchone()
    words = f"level {level} of {of.of}"
    return Series(row[0], row[1], False, f"the least values, {words},"), Series(
        row[2], row[3], False, f"the greatest values, {words},"
    )


def _exact(connection: Rows, pair: Pair, begin: int, end: int) -> tuple[FloatArray, FloatArray]:
    return read_series(connection, pair.time, begin, end), read_series(connection, pair.values, begin, end)
