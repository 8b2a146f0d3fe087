"""Apache Parquet → RawLog, by the path of every table: only where the cells come from is another.

Layout of the file: https://parquet.apache.org/docs/file-format/ (its list of columns stands at the end).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from server.errors import LogError
from server.readers.arrow_columns import ArrowColumn, column_layout, rows_of
from server.readers.damage import readable, reason
from server.readers.limits import refuse_many_bytes, refuse_many_channels
from server.readers.report import Lines
from server.readers.table import Table
from server.readers.table_log import ReadTable, log_of_table
from server.testday.values import Finding, RawLog

if TYPE_CHECKING:
    import pyarrow.parquet as pq

MAGIC = b"PAR1"
_BATCH_ROWS = 65_536
_NAMED = 8


def read_parquet_log(path: Path, *, name: str = "", time_column: str | None = None) -> RawLog:
    """Read a Parquet file. name: how sentences name it. time_column: a person's word on the time.

    Raises LogError with one sentence where the file is cut or damaged, too large, or has no time.
    """
    import pyarrow.parquet as pq  # slow to import and not needed by every command

    called = name or path.name
    _refuse_cut(called, path)
    with readable(called, "Parquet"), pq.ParquetFile(path, page_checksum_verification=True) as file:
        rows = file.metadata.num_rows
        refuse_many_channels(called, file.metadata.num_columns)
        refuse_many_bytes(called, _declared_bytes(file))
        columns = rows_of(file.schema_arrow)
        if not rows or not columns:
            raise LogError(f"{called} holds no rows." if columns else f"{called} holds no column of numbers or words.")
        table, findings = _table(called, file, columns, rows)
        used = {column.place for column in columns}
        left_out = [field.name for place, field in enumerate(file.schema_arrow) if place not in used]
        packed = file.metadata.row_group(0).column(0).compression.lower()
    layout = column_layout(columns, table)
    findings += _not_read(called, left_out)

    def taken_for(long: bool) -> str:
        kind = "long table (one sample a row)" if long else "table"
        return f"a {kind} in Parquet, {'not packed' if packed == 'uncompressed' else f'packed by {packed}'}"

    lines = Lines(0, table.n_rows, word="row")
    return log_of_table(called, ReadTable(layout, table, lines, findings, taken_for), time_column)


def _refuse_cut(name: str, path: Path) -> None:
    try:
        with path.open("rb") as file:
            file.seek(0, 2)
            size = file.tell()
            file.seek(max(size - len(MAGIC), 0))
            end = file.read()
    except OSError as error:
        raise LogError(f"{name} cannot be opened: {error.strerror or error}.") from error
    if end != MAGIC or size < 3 * len(MAGIC):
        raise LogError(
            f"{name} stops before its end at byte {size:,}; a Parquet file names its columns there, so nothing of "
            "it can be read: copy it once more."
        )


def _declared_bytes(file: pq.ParquetFile) -> int:
    """What the file says it unpacks to, as stored and as numbers here."""
    groups = (file.metadata.row_group(i) for i in range(file.metadata.num_row_groups))
    return max(sum(group.total_byte_size for group in groups), 8 * file.metadata.num_rows * file.metadata.num_columns)


def _table(name: str, file: pq.ParquetFile, columns: list[ArrowColumn], rows: int) -> tuple[Table, list[Finding]]:
    """Read batch by batch; what stands before a damaged place is kept."""
    table = Table(np.full((len(columns), rows), np.nan))
    done = 0
    try:
        for batch in file.iter_batches(batch_size=_BATCH_ROWS, use_threads=False):
            for index, column in enumerate(columns):
                values, part = column.read(batch.column(column.place), done)
                table.numbers[index, done : done + len(batch)] = values
                if part is not None:
                    table.texts.setdefault(index, []).append(part)
            done += len(batch)
    except Exception as error:  # a damaged page raises anything; rows before it are whole
        if not done:
            raise
        text = f"{name}: the log is damaged behind row {done:,} ({reason(error)}); everything before it was read."
        texts = {i: [p for p in parts if p.first_row < done] for i, parts in table.texts.items()}
        return Table(table.numbers[:, :done], texts), [Finding("log-cut-short", "note", text)]
    return Table(table.numbers[:, :done], table.texts), []


def _not_read(name: str, left_out: list[str]) -> list[Finding]:
    if not left_out:
        return []
    more = f" and {len(left_out) - _NAMED} more" if len(left_out) > _NAMED else ""
    listed = ", ".join(f"'{title}'" for title in left_out[:_NAMED])
    text = f"{name}: columns of lists, records or bytes are left out: {listed}{more}."
    return [Finding("text-columns", "note", text)]
