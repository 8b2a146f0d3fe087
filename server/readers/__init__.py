"""Logger files: one file per format, each giving a RawLog and findings about the data."""

from __future__ import annotations

from pathlib import Path

from server.testday.values import RawLog


def open_log(
    path: Path | str, *, name: str = "", time_column: str | None = None, signals: Path | None = None
) -> RawLog:
    """Read a logger file, whatever its format.

    name: how sentences name the file, its file name if empty. time_column: a person's word on the time.
    signals: database of the signals that a raw bus log's frames carry.
    Raises LogError with one sentence where the file cannot be used.
    """
    from server.readers.typed_times import is_typed_times, read_typed_times

    if is_typed_times(path):
        return read_typed_times(path, name=name)
    from server.readers.csv_log import (
        read_csv_log,
    )  # pandas is slow to import and not needed by every command

    return read_csv_log(path, name=name, time_column=time_column)
