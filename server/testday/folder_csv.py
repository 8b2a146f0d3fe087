"""The small CSV files of a day folder (weather, elevation, predictions), each line as a `Table`."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from decimal import Decimal, InvalidOperation
from pathlib import Path

from server.errors import DayFolderError
from server.testday.folder_table import Table, nearest
from server.testday.values import Finding

LARGEST_FILE_BYTES = 50_000_000


def read_text(path: Path, name: str) -> str:
    """Return a UTF-8 file's text, with or without a byte order mark."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise DayFolderError(f"{name}: is larger than {LARGEST_FILE_BYTES // 1_000_000} MB.")
        raw = path.read_bytes()
    except OSError as error:
        raise DayFolderError(f"{name}: cannot be read ({error.strerror}).") from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise DayFolderError(f"{name}: line {line} is not UTF-8 text; save the file as UTF-8.") from error


def read_lines(
    path: Path, name: str, numbers: Collection[str], texts: Collection[str], findings: list[Finding]
) -> list[Table]:
    """Return the lines of a CSV file with a name row as tables; blank cells are absent keys.

    Comma, semicolon or tab; with the last two, a decimal comma is understood.
    Unknown columns are noted once; a line with more cells than names is refused.
    """
    text = read_text(path, name)
    separator = _separator(text)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    try:
        names = [cell.strip() for cell in next(rows, [])]
        _check_names(names, name, [*numbers, *texts], findings)
        return [
            _line(row, names, set(numbers), separator, Table({}, name, f"line {rows.line_num}", findings))
            for row in rows
            if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        raise DayFolderError(f"{name}: line {rows.line_num} cannot be read as CSV ({error}).") from error


def _separator(text: str) -> str:
    first = text.split("\n", 1)[0]
    return max(",;\t", key=first.count)


def _check_names(names: list[str], file: str, known: list[str], findings: list[Finding]) -> None:
    for name in names:
        if not name:
            continue
        if names.count(name) > 1:
            raise DayFolderError(f"{file}: line 1 names the column {name} twice.")
        if name not in known:
            text = f"{file}: line 1 {name} is not a known column and was left out{nearest(name, known)}."
            findings.append(Finding("unknown-key", "check", text))


def _line(row: list[str], names: list[str], numbers: set[str], separator: str, table: Table) -> Table:
    if any(cell.strip() for cell in row[len(names) :]):
        table.refuse("", f"has {len(row)} cells and the name row {len(names)}.")
    cells = {name: cell.strip() for name, cell in zip(names, row, strict=False) if name and cell.strip()}
    table.values = {
        name: _number(cell, separator) if name in numbers else cell for name, cell in cells.items()
    }
    return table


def _number(cell: str, separator: str) -> Decimal | str:
    """Return the number in a cell; a cell that is none stays text, for the sentence that refuses it."""
    try:
        return Decimal(cell.replace(",", ".") if separator != "," else cell)
    except InvalidOperation:
        return cell
