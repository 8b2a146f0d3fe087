"""Pressures measured at taps: a table of a day kept byte for byte, read when it is asked for; the newest one stands."""

from __future__ import annotations

import csv
import io
import math
import tempfile
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.correlated import MeasuredTap
from server.archive.archive import Archive
from server.archive.events import record
from server.correlation.tables import MeasuredTaps
from server.errors import StillairError
from server.predictions.service import told_row

MEASURED = "taps-measured"
MOST_BYTES, MOST_ROWS, MOST_CP = 1_000_000, 20_000, 50.0
USUAL_U = 0.03  # of a Cp that nobody stated a u for (common practice, no source)
NEEDED = ("setup", "tap", "cp")
NO_HEAD = "The first line names the columns: setup, tap, cp, and where known u and run."
NO_NUMBER = "Line {line}: {name} must be a number, not “{text}”."


def read_taps(text: str) -> tuple[MeasuredTap, ...]:
    """Taps of a table with the columns setup, tap, cp, u, run; its separator is a comma, a semicolon or a tab.

    A decimal comma is read where commas part nothing. u left empty is `USUAL_U`. Raises StillairError, naming the line.
    """
    lines = text.lstrip("\ufeff").splitlines()
    if not lines or not lines[0].strip():
        raise StillairError(NO_HEAD)
    separator = max("\t;,", key=lines[0].count)
    rows = _rows(text.lstrip("\ufeff"), separator)
    names = [name.strip().casefold() for name in rows[0]]
    if not set(NEEDED) <= set(names):
        raise StillairError(NO_HEAD)
    if len(rows) > MOST_ROWS:
        raise StillairError(f"A table of taps has at most {MOST_ROWS} lines; this one has {len(rows)}.")
    found = [
        _tap(line, dict(zip(names, (cell.strip() for cell in cells), strict=False)), separator)
        for line, cells in enumerate(rows[1:], start=2)
        if any(cell.strip() for cell in cells)
    ]
    if not found:
        raise StillairError("The table has its line of names and no tap beneath it.")
    return tuple(found)


def _rows(text: str, separator: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        return list(reader)
    except csv.Error as error:
        raise StillairError(f"Line {reader.line_num} of the table cannot be read ({error}).") from None


def _tap(line: int, cells: dict[str, str], separator: str) -> MeasuredTap:
    for name in ("setup", "tap"):
        if not cells.get(name):
            raise StillairError(f"Line {line}: {name} is empty.")
    cp = _number(line, "cp", cells.get("cp", ""), separator)
    if abs(cp) > MOST_CP:
        raise StillairError(f"Line {line}: a Cp of {cp:g} is no pressure coefficient; p − p∞ is divided by ½ρU².")
    u = _number(line, "u", cells["u"], separator) if cells.get("u") else USUAL_U
    if not u > 0.0:
        raise StillairError(f"Line {line}: u must be above zero.")
    run = cells.get("run", "")
    if run and not (run.isascii() and run.isdigit() and len(run) < 7):
        raise StillairError(NO_NUMBER.format(line=line, name="run", text=run[:20]))
    return MeasuredTap(cells["setup"], cells["tap"], cp, u, int(run) if run else None)


def _number(line: int, name: str, text: str, separator: str) -> float:
    try:
        number = float(text.replace("−", "-") if separator == "," else text.replace("−", "-").replace(",", "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise StillairError(NO_NUMBER.format(line=line, name=name, text=text[:20]))
    return number


def keep_taps(archive: Archive, session: Session, day_id: int, name: str, content: bytes, *, who: str) -> MeasuredTaps:
    """Keep a day's table as it came. Raises StillairError where a line cannot be used; then nothing is kept."""
    if len(content) > MOST_BYTES:
        raise StillairError(f"A table of taps has at most {MOST_BYTES // 1_000_000} MB.")
    taps = read_taps(text_of(content))
    with tempfile.TemporaryDirectory(dir=archive.scratch) as scratch:
        file = Path(scratch) / "taps.csv"
        file.write_bytes(content)
        kept = archive.raw.add(session, file)
    row = MeasuredTaps(day_id=day_id, name=name, sha256=kept.sha256, taps=len(taps), who=who)
    session.add(row)
    session.flush()
    session.refresh(row)
    record(session, who=who, kind=MEASURED, day_id=day_id, subject=name, after={"row": told_row(row)})  # type: ignore[arg-type]
    return row


def text_of(content: bytes) -> str:
    """A table's text. Raises StillairError where it is none."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def taps_of_day(archive: Archive, session: Session, day_id: int) -> tuple[MeasuredTap, ...]:
    """The taps of a day's newest table; none where it has none."""
    row = newest_taps(session, day_id)
    return () if row is None else read_taps(text_of(archive.raw.path(row.sha256).read_bytes()))


def newest_taps(session: Session, day_id: int) -> MeasuredTaps | None:
    """The table of taps that stands for a day."""
    chosen = select(MeasuredTaps).where(MeasuredTaps.day_id == day_id).order_by(MeasuredTaps.id.desc()).limit(1)
    return session.scalar(chosen)
