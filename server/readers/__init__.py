"""Logger files: one file per format, each giving a RawLog and findings about the data."""

from __future__ import annotations

from pathlib import Path

from server.errors import LogError
from server.testday.values import RawLog

_HEAD_BYTES = 4096


def open_log(
    path: Path | str, *, name: str = "", time_column: str | None = None, signals: Path | None = None
) -> RawLog:
    """Read a logger file, whatever its format: its first bytes tell it, not its name.

    name: how sentences name the file, its file name if empty. time_column: a person's word on the time.
    signals: database of the signals that a raw bus log's frames carry.
    Raises LogError with one sentence where the file cannot be used.
    """
    path = Path(path)
    name = name or path.name
    head = _head(path, name)
    # each format's libraries are slow to import and not needed by every command
    if head.startswith(b"PAR1"):
        from server.readers.parquet_log import read_parquet_log

        return read_parquet_log(path, name=name, time_column=time_column)
    if head.startswith((b"MDF     ", b"UnFinMF ")):
        from server.readers.mdf_log import read_mdf_log

        return read_mdf_log(path, name=name, signals=signals)
    from server.readers.bus_files import bus_form

    if (form := bus_form(head)) is not None:
        from server.readers.bus_log import read_bus_log

        return read_bus_log(path, form, name=name, signals=signals)
    from server.readers.typed_times import is_typed_times, read_typed_times

    if is_typed_times(path):
        return read_typed_times(path, name=name)
    from server.readers.csv_log import read_csv_log

    return read_csv_log(path, name=name, time_column=time_column)


def _head(path: Path, name: str) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_HEAD_BYTES)
    except OSError as error:
        raise LogError(f"{name} cannot be opened: {error.strerror or error}.") from error
