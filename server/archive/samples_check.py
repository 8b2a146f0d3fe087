"""Are the samples as they were written? Chunks by their hashes, pyramids and ends against the samples themselves."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from server.archive.pyramid import levels
from server.archive.sample_chunks import FloatArray
from server.archive.samples_rows import Rows
from server.archive.samples_series import Series, faults, read_series
from server.archive.samples_trace import Pair, level_series


def pair_faults(connection: Rows, pair: Pair, ends: tuple[float | None, float | None]) -> Iterator[str]:
    """A channel whose times are of another number than its values, or end elsewhere than the list says.

    ends: what the list says [s], None of a channel without samples.
    """
    if pair.time.n != pair.values.n:
        yield f"{pair.values.of} has {pair.time.n:,} times and {pair.values.n:,} values."
    if not any(True for _ in faults(connection, pair.time)):
        time_s = read_series(connection, pair.time)
        found = (float(time_s[0]), float(time_s[-1])) if len(time_s) else (None, None)
        if found != ends:
            yield f"{pair.values.of} goes from {found[0]} s to {found[1]} s, the list says {ends[0]} s to {ends[1]} s."
        if pair.time.rising and bool((time_s[1:] < time_s[:-1]).any()):
            yield f"{pair.time.of} step back, the list says that they do not."


def series_faults(connection: Rows, series: Series) -> Iterator[str]:
    """A sentence for each part of a series and of its pyramid that is not as it was written."""
    numbers = connection.execute("SELECT level FROM levels WHERE series_id = ? ORDER BY level", (series.id,)).fetchall()
    pyramid = [level_series(connection, series, level) for (level,) in numbers]
    found = [fault for one in (series, *(one for pair in pyramid for one in pair)) for fault in faults(connection, one)]
    yield from found
    if found:
        return
    wanted = list(levels(read_series(connection, series)))
    if [level for (level,) in numbers] != list(range(1, len(wanted) + 1)):
        yield f"The pyramid of {series.of} has levels {[level for (level,) in numbers]}, {len(wanted)} are wanted."
        return
    for kept, made in zip(pyramid, wanted, strict=True):
        for one, values in zip(kept, made, strict=True):
            if not _same(read_series(connection, one), values):
                yield f"Of {one.of} the samples say something else."


def loose_ends(connection: Rows) -> Iterator[str]:
    """Series that no channel and no pyramid names: their row was taken out."""
    rows = connection.execute(
        "SELECT sha256, count(*) FROM series JOIN logs ON logs.id = log_id WHERE series.id NOT IN "
        "(SELECT time_id FROM channels UNION SELECT values_id FROM channels "
        "UNION SELECT low_id FROM levels UNION SELECT high_id FROM levels) GROUP BY sha256"
    ).fetchall()
    for sha256, number in rows:
        yield f"Samples of {sha256}: {number} of its series belong to no channel."


def _same(one: FloatArray, other: FloatArray) -> bool:
    return one.shape == other.shape and bool(np.array_equal(one, other, equal_nan=True))
