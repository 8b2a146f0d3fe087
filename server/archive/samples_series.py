"""A row of numbers of any length in the samples file: written in chunks with its pyramid, read in stretches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from server.archive.pyramid import levels
from server.archive.sample_chunks import CHUNK_SAMPLES, Chunk, DamagedChunk, FloatArray, decode, encode
from server.archive.samples_rows import Rows
from server.errors import StillairError

_COLUMNS = "n, codec, dtype, digits, sha256, data"
_INSERT_SERIES = "INSERT INTO series (log_id, n, rising) VALUES (?, ?, ?) RETURNING id"
_INSERT = f"INSERT INTO chunks (series_id, part, last, {_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"


@dataclass(frozen=True, slots=True)
class Packed:
    """A series as chunks, each with its last value, and its levels (low, high), finest first."""

    n: int
    rising: bool
    chunks: tuple[tuple[Chunk, float], ...]
    levels: tuple[tuple[Packed, Packed], ...] = ()


@dataclass(frozen=True, slots=True)
class Series:
    """A series as kept. `of` names it in sentences."""

    id: int
    n: int
    rising: bool
    of: str


def pack(values: FloatArray) -> Packed:
    """The series with its pyramid, compressed. values: shape (n,)."""
    pairs = tuple((_packed(low), _packed(high)) for low, high in levels(values))
    plain = _packed(values)
    return Packed(plain.n, bool((values[1:] >= values[:-1]).all()), plain.chunks, pairs)


def _packed(values: FloatArray) -> Packed:
    parts = (values[start : start + CHUNK_SAMPLES] for start in range(0, len(values), CHUNK_SAMPLES))
    return Packed(len(values), False, tuple((encode(part), float(part[-1])) for part in parts))


def write_series(connection: Rows, log_id: int, packed: Packed) -> int:
    """Insert the series and its levels; its id."""
    series = _insert(connection, log_id, packed)
    for number, pair in enumerate(packed.levels, 1):
        low, high = (_insert(connection, log_id, one) for one in pair)
        connection.execute("INSERT INTO levels VALUES (?, ?, ?, ?)", (series, number, low, high))
    return series


def _insert(connection: Rows, log_id: int, packed: Packed) -> int:
    row = (log_id, packed.n, int(packed.rising))
    [(series,)] = connection.execute(_INSERT_SERIES, row).fetchall()
    rows = (
        (series, part, None if np.isnan(last) else last, one.n, one.codec, one.dtype, one.digits, one.sha256, one.data)
        for part, (one, last) in enumerate(packed.chunks)
    )
    connection.executemany(_INSERT, rows)
    return int(series)


def read_series(connection: Rows, series: Series, start: int = 0, stop: int | None = None) -> FloatArray:
    """Samples [start, stop) of a series. Raises StillairError naming channel and part where one is damaged."""
    stop = series.n if stop is None else min(stop, series.n)
    if start >= stop:
        return np.empty(0)
    first, last = start // CHUNK_SAMPLES, (stop - 1) // CHUNK_SAMPLES
    out = np.empty(stop - start)
    for part in range(first, last + 1):
        begin = part * CHUNK_SAMPLES
        values = _read_part(connection, series, part)
        piece = values[max(0, start - begin) : stop - begin]
        place = max(0, begin - start)
        out[place : place + len(piece)] = piece
    return out


def find(connection: Rows, series: Series, value: float, *, beyond: bool = False) -> int:
    """Index of the first sample of a rising series at or (beyond) above `value`; n where there is none."""
    sign = ">" if beyond else ">="
    row = connection.execute(
        f"SELECT part FROM chunks WHERE series_id = ? AND last {sign} ? ORDER BY part LIMIT 1", (series.id, value)
    ).fetchone()
    if row is None:
        return series.n
    part = _read_part(connection, series, row[0])
    return int(row[0]) * CHUNK_SAMPLES + int(np.searchsorted(part, value, "right" if beyond else "left"))


def faults(connection: Rows, series: Series) -> Iterator[str]:
    """A sentence for each part of the series that is missing or not as it was written."""
    for part in range(-(-series.n // CHUNK_SAMPLES)):
        try:
            _read_part(connection, series, part)
        except StillairError as error:
            yield str(error)


def _read_part(connection: Rows, series: Series, part: int) -> FloatArray:
    row = connection.execute(
        f"SELECT {_COLUMNS}, last FROM chunks WHERE series_id = ? AND part = ?", (series.id, part)
    ).fetchone()
    if row is None:
        raise StillairError(_sentence(series, part, "it is missing"))
    try:
        values = decode(Chunk(*row[:-1]))
    except DamagedChunk as error:
        raise StillairError(_sentence(series, part, str(error))) from error
    last = row[-1]
    if len(values) != min(CHUNK_SAMPLES, series.n - part * CHUNK_SAMPLES):
        raise StillairError(_sentence(series, part, f"it holds {len(values):,} samples"))
    if last != values[-1] and not (last is None and np.isnan(values[-1])):
        raise StillairError(_sentence(series, part, "its last sample is another"))
    return values


def _sentence(series: Series, part: int, why: str) -> str:
    of = -(-series.n // CHUNK_SAMPLES)
    return f"Part {part + 1} of {of} of {series.of} in the samples store is damaged ({why}); read the raw file again."
