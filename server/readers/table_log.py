"""A table and its layout as a log: names, time, channels. One path for every format that holds one table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.errors import LogError
from server.readers.channels import build_channels
from server.readers.columns import read_columns
from server.readers.layout import Layout
from server.readers.long_table import LongColumns, find_long, split_signals
from server.readers.names import ColumnName, column_names, kept_apart
from server.readers.report import Lines, collapse, contents, line_findings, name_findings
from server.readers.table import Table
from server.readers.time_axis import read_time_axis
from server.readers.time_column import TimeColumns, choose_time
from server.testday.values import Channel, Finding, FloatArray, RawLog


@dataclass(frozen=True, slots=True, eq=False)
class ReadTable:
    """A file as a table, with what was noticed about its lines.

    taken_for: says what the file was taken to be, given whether the table is a long one.
    """

    layout: Layout
    table: Table
    lines: Lines
    findings: list[Finding]
    taken_for: Callable[[bool], str]


def log_of_table(name: str, read: ReadTable, wanted_time: str | None) -> RawLog:
    """Make a log of a table. wanted_time: a person's word on which column is the time.

    Raises LogError with one sentence where no time or no channel is there.
    """
    layout, table = read.layout, read.table
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
        *read.findings,
        *line_findings(name, read.lines, axis.seconds),
        *name_findings(name, doubled),
        *axis.findings,
        *findings,
    ]
    held = contents(table.n_rows, read.lines.word, axis, channels)
    return RawLog(
        file=name,
        channels=tuple(channels),
        description=f"{name} was read as {read.taken_for(long is not None)}; {held}.",
        start_clock_s=axis.start_clock_s,
        start_date=axis.start_date,
        findings=tuple(collapse(noticed)),
        clock_is_utc=axis.clock_is_utc,
        time_column=names[chosen.axis].name,
    )


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
