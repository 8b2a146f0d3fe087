"""CSV as loggers and people write it → RawLog.

A look at the first 64 KiB settles encoding, separator, decimal mark, names, units and time; the rest is
parsed by pandas' C reader in chunks. What could not be used is left out and said; nothing is repaired.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO

from server.errors import LogError
from server.readers.encoding import HEAD_BYTES, as_single_bytes, detect_encoding
from server.readers.feed import Feed, count_lines, find_ending
from server.readers.head import look
from server.readers.refusals import refuse_signature
from server.readers.report import Lines, describe, lost_lines
from server.readers.table import parse_table
from server.readers.table_log import ReadTable, log_of_table
from server.testday.values import RawLog


def read_csv_log(
    path_or_bytes: Path | str | bytes, *, name: str = "", time_column: str | None = None
) -> RawLog:
    """Read a logger file of text.

    path_or_bytes: the file, or its contents. name: how sentences name it. time_column: a person's word on
    which column is the time; found by name and values if None.
    Raises LogError with one sentence where the file is no table, or has no time.
    """
    if isinstance(path_or_bytes, bytes):
        return _read(io.BytesIO(path_or_bytes), name or "the log", time_column)
    path = Path(path_or_bytes)
    try:
        with path.open("rb") as file:
            return _read(file, name or path.name, time_column)
    except OSError as error:
        raise LogError(f"{name or path.name} cannot be opened: {error.strerror or error}.") from error


def _read(file: BinaryIO, name: str, wanted_time: str | None) -> RawLog:
    head = file.read(HEAD_BYTES)
    refuse_signature(name, head)
    encoding = detect_encoding(head)
    text = as_single_bytes(file, encoding)
    layout, first_byte = look(name, text, text.tell(), encoding)
    ending = find_ending(text, first_byte, layout, encoding)
    line_ends = count_lines(text, first_byte, ending.stop)
    feed = Feed(text, first_byte, ending.stop, encoding)
    table = parse_table(name, feed, layout, line_ends + 2)
    if not table.n_rows:
        raise LogError(f"{name}: no whole line of data follows line {layout.first_line:,}.")
    lost = line_ends - table.n_rows
    findings = lost_lines(name, text, first_byte, layout, lost) if lost > 0 else []
    lines = Lines(layout.first_line, line_ends, feed.zero_bytes, ending.cut)

    def taken_for(long: bool) -> str:
        return describe(layout, encoding.spoken, long)

    return log_of_table(name, ReadTable(layout, table, lines, findings, taken_for), wanted_time)
