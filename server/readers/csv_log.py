"""CSV as loggers and people write it → RawLog.

A look at the first 64 KiB settles encoding, separator, decimal mark, names, units and time; the rest is
parsed by pandas' C reader in chunks. What could not be used is left out and said; nothing is repaired.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from server.errors import LogError
from server.readers.channels import build_channels
from server.readers.columns import read_columns
from server.readers.encoding import HEAD_BYTES, as_single_bytes, detect_encoding
from server.readers.feed import Feed, count_lines, find_ending
from server.readers.head import look
from server.readers.layout import Layout
from server.readers.long_table import LongColumns, find_long, split_signals
from server.readers.names import ColumnName, column_names, kept_apart
from server.readers.refusals import refuse_signature
from server.readers.report import (
    Lines,
    collapse,
    contents,
    describe,
    line_findings,
    lost_lines,
    name_findings,
)
from server.readers.table import Table, parse_table
from server.readers.time_axis import read_time_axis
from server.readers.time_column import TimeColumns, choose_time
from server.testday.values import Channel, Finding, FloatArray, RawLog


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


@dataclass(frozen=True, slots=True, eq=False)
class _Parsed:
    """A file as a table, with what the look at it settled and what was noticed about its lines."""

    layout: Layout
    encoding: str
    table: Table
    lines: Lines
    findings: list[Finding]


def _read(file: BinaryIO, name: str, wanted_time: str | None) -> RawLog:
    parsed = _parse(file, name)
    layout, table = parsed.layout, parsed.table
    names, doubled = kept_apart(column_names(layout.header.names, layout.header.units, layout.n_columns))
    chosen = choose_time(name, names, layout, wanted_time)
    axis = read_time_axis(name, table, names, chosen)
    long = find_long(names, layout)
    if long is None:
        channels, findings = _wide_channels(name, table, names, chosen, axis.seconds)
    else:
        channels, findings = _long_channels(name, table, long, axis.seconds)
    if not channels:
        raise LogError(f"{name} holds a time but no channel with numbers.")
    noticed = [
        *parsed.findings,
        *line_findings(name, parsed.lines, axis.seconds),
        *name_findings(name, doubled),
        *axis.findings,
        *findings,
    ]
    taken_for = describe(layout, parsed.encoding, long is not None)
    return RawLog(
        file=name,
        channels=tuple(channels),
        description=f"{name} was read as {taken_for}; {contents(table.n_rows, axis, channels)}.",
        start_clock_s=axis.start_clock_s,
        start_date=axis.start_date,
        findings=tuple(collapse(noticed)),
        clock_is_utc=axis.clock_is_utc,
        time_column=names[chosen.axis].name,
    )


def _parse(file: BinaryIO, name: str) -> _Parsed:
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
    return _Parsed(layout, encoding.spoken, table, lines, findings)


def _wide_channels(
    name: str, table: Table, names: list[ColumnName], chosen: TimeColumns, seconds: FloatArray
) -> tuple[list[Channel], list[Finding]]:
    """A channel a column; nameless empty columns come from separators at the ends of lines."""
    nameless = {column.name for column in names if not column.written}
    columns = read_columns(table, names, chosen.taken, np.isfinite(seconds))
    return build_channels(name, seconds, [c for c in columns if not (c.name in nameless and c.is_void)])


def _long_channels(
    name: str, table: Table, long: LongColumns, seconds: FloatArray
) -> tuple[list[Channel], list[Finding]]:
    channels: list[Channel] = []
    findings: list[Finding] = []
    for column, rows in split_signals(table, long):
        made, notes = build_channels(f"{name}, '{column.name}'", seconds[rows], [column])
        channels += made
        findings += notes
    return channels, findings
