"""The first sheet of a workbook (Office Open XML, ISO/IEC 29500) that holds a table, as lines of text cells."""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from datetime import date
from typing import Any

from server.errors import LogError

MOST_UNPACKED = 100_000_000
MOST_LINES = 6_000
MOST_WIDE = 250


def workbook_lines(name: str, data: bytes) -> tuple[list[tuple[int, list[str]]], str]:
    """The filled lines by their row number, and in words where they stood. Raises LogError."""
    _refuse_large(name, data)
    import openpyxl  # type: ignore[import-untyped]  # takes a third of a second
    from openpyxl.utils.exceptions import InvalidFileException  # type: ignore[import-untyped]

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that a reader of values has no use for
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
            sheets = [(sheet.title, _filled(sheet)) for sheet in book.worksheets]
            book.close()
    except LogError:
        raise
    except (InvalidFileException, zipfile.BadZipFile, zlib.error, OSError, *_OF_THE_LIBRARY) as error:
        kind = type(error).__name__
        raise LogError(f"{name} is no workbook that can be read ({kind}); save its table as CSV.") from None
    for title, lines in sheets:
        if len(lines) > 1:
            others = f" (of {len(sheets)}; the others are left out)" if len(sheets) > 1 else ""
            return lines, f"a workbook, sheet “{title}”{others}"
    raise LogError(f"{name} is a workbook without a table: no sheet has two lines.")


# What the library raises on parts that are not as the standard has them.
_OF_THE_LIBRARY = (ValueError, LookupError, TypeError, AttributeError, SyntaxError, NotImplementedError, RecursionError)


def _refuse_large(name: str, data: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            unpacked = sum(member.file_size for member in packed.infolist())
            sheets = any(member.filename.startswith("xl/") for member in packed.infolist())
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise LogError(f"{name} is a damaged zip or workbook.") from None
    if not sheets:
        raise LogError(f"{name} is a zip archive; bring the table itself, as CSV or as a workbook.")
    if unpacked > MOST_UNPACKED:
        raise LogError(f"{name} unpacks to more than {MOST_UNPACKED / 1e6:.0f} MB.")


def _filled(sheet: Any) -> list[tuple[int, list[str]]]:
    """At most as many lines and columns as a table may have: a sheet may claim a million of each."""
    found = []
    for number, row in enumerate(sheet.iter_rows(max_row=MOST_LINES, max_col=MOST_WIDE, values_only=True), 1):
        cells = [_text(value) for value in row]
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            found.append((number, cells))
    return found


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return value.isoformat() if isinstance(value, date) else str(value).strip()
