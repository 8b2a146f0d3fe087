"""Recordings of a bus's frames as loggers write them, read by python-can whatever the file is called.

candump text (can-utils), ASC, TRC, BLF and python-can's CSV. What stands before a damaged place is kept.
"""

from __future__ import annotations

import datetime as dt
import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TextIO

from server.errors import LogError
from server.readers.bus_clock import EPOCH_S, asc_date, set_to_zero, zone_assumed
from server.readers.bus_frames import Collector, Frames
from server.readers.damage import readable, reason
from server.testday.values import Finding

if TYPE_CHECKING:
    from can import Message

BusForm = Literal["candump", "ASC", "TRC", "BLF", "frame CSV"]
_FIRST_LINES: tuple[tuple[BusForm, re.Pattern[str]], ...] = (
    ("candump", re.compile(r"\s*\(\d+\.\d+\)\s+\S+\s+[0-9A-Fa-f]{3,8}#")),
    ("ASC", re.compile(r"(?:\s*//[^\n]*\n)*\s*(?:date\s+\w+\s|base\s+(?:hex|dec)\b)", re.IGNORECASE)),
    ("TRC", re.compile(r"\s*;\$FILEVERSION\s*=|(?:\s*;[^\n]*\n)+\s*\d+\)\s+[\d.]+\s+\S", re.IGNORECASE)),
    ("frame CSV", re.compile(r"timestamp,arbitration_id,extended,remote,error,dlc,data\s*$", re.MULTILINE)),
)
_MOST_BAD_LINES = 1_000


@dataclass(slots=True)
class BusLog:
    """Frames of a log, times counted from the first; clock and date of time zero, in UTC or of no known zone."""

    form: BusForm
    frames: Frames
    start_clock_s: float | None = None
    start_date: dt.date | None = None
    clock_is_utc: bool = False
    findings: list[Finding] = field(default_factory=list)


def bus_form(head: bytes) -> BusForm | None:
    """Tell which recording of a bus a file is by its first bytes; None for what is none."""
    if head.startswith(b"LOGG"):
        return "BLF"
    text = head.decode("utf-8-sig", "replace")
    return next((form for form, pattern in _FIRST_LINES if pattern.match(text)), None)


def read_bus_file(path: Path, name: str, form: BusForm) -> BusLog:
    """Read all data frames.

    Raises LogError with one sentence where no frame can be had.
    """
    import can  # slow to import and not needed by every command

    logging.getLogger("can").setLevel(logging.CRITICAL)  # it warns on the console; what matters is said here
    collector = Collector()
    with readable(name, f"a bus log ({form})"):
        if form == "BLF":
            findings, start = _read_blf(path, name, collector)
        else:
            with path.open(encoding="utf-8-sig", errors="replace", newline=None) as file:
                lines = _Lines(file)
                readers: dict[str, type[Any]] = {"candump": can.CanutilsLogReader, "ASC": can.ASCReader}
                readers |= {"TRC": can.TRCReader, "frame CSV": can.CSVReader}
                reader = readers[form](lines)
                findings = _read_text(name, form, reader, lines, collector)
                start = _start(name, form, reader)
    frames = collector.frames()
    if not len(frames.time_s):
        raise LogError(f"{name} is a bus log ({form}) without a data frame.")
    clock, date = set_to_zero(name, frames.time_s, start)
    is_utc = form in ("candump", "frame CSV")
    findings += [zone_assumed(name)] if clock is not None and not is_utc else []
    return BusLog(form, frames, clock, date, is_utc, findings)


class _Lines:
    """The whole lines of a text, one by one; a last line without an end is left out, as it may be cut."""

    def __init__(self, file: TextIO) -> None:
        self._file = file
        self._first: list[str] = []
        self.number = 0
        self.cut = False

    def put_back(self, line: str) -> None:
        """Give a line before the next of the file."""
        self._first.append(line)

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        if self._first:
            return self._first.pop()
        line = self._file.readline()
        if not line.endswith("\n"):
            self.cut = self.cut or bool(line.strip())
            raise StopIteration
        self.number += 1
        return line

    def read(self, _size: int = -1) -> str:
        """Not used; a reader takes nothing that lacks it for a file."""
        return ""

    def close(self) -> None:
        """Leave the file to who opened it."""


def _read_text(name: str, form: BusForm, reader: Any, lines: _Lines, collector: Collector) -> list[Finding]:
    """Read to the end; the reader is started anew behind each line that it stumbles on."""
    bad: list[int] = []
    while True:
        try:
            collector.take(reader)
            break
        except Exception as error:  # the readers raise anything on a damaged line
            bad.append(lines.number)
            if len(bad) > _MOST_BAD_LINES:
                raise LogError(f"{name}: over {_MOST_BAD_LINES:,} lines are no frames ({reason(error)}).") from error
            # each reader begins with its header, of which what counts is already known
            lines.put_back({"frame CSV": "timestamp\n", "ASC": "\n", "TRC": ";\n"}.get(form, "\n"))
    findings = []
    if bad:
        lost = f"{len(bad):,} line{'s that are no frames are' if len(bad) > 1 else ' that is no frame is'} left out"
        findings.append(Finding("lost-lines", "check", f"{name}: {lost} (the first is line {bad[0]:,})."))
    if lines.cut:
        text = f"{name}: the log stops in the middle of line {lines.number + 1:,}; everything before it was read."
        findings.append(Finding("log-cut-short", "note", text))
    return findings


def _read_blf(path: Path, name: str, collector: Collector) -> tuple[list[Finding], dt.datetime | None]:
    from can.io.blf import BLFReader

    from server.readers.bus_blf import containers

    with path.open("rb") as file:
        size = path.stat().st_size
        reader = BLFReader(file)
        cut = f"{size:,} of {reader.file_size:,} bytes are there" if size < reader.file_size else ""
        try:
            collector.take(_blf_messages(reader, containers(name, file)))
        except LogError:
            raise
        except Exception as error:  # a damaged object raises anything
            cut = f"{reason(error)}, near byte {file.tell():,}"
        known = reader.start_timestamp > EPOCH_S[0]
        start = dt.datetime.fromtimestamp(reader.start_timestamp, dt.UTC) if known else None
    text = f"{name}: the log stops in the middle or is damaged ({cut}); everything before it was read."
    return [Finding("log-cut-short", "note", text)] if cut else [], start


def _blf_messages(reader: Any, blocks: Iterator[bytes]) -> Iterator[Message]:
    for block in blocks:
        yield from reader._parse_container(block)


def _start(name: str, form: BusForm, reader: Any) -> dt.datetime | None:
    """The start that a header of text tells."""
    if form == "ASC":
        if reader.timestamps_format == "relative":
            raise LogError(
                f"{name} counts each time from the frame before (timestamps relative), which loses the time where a "
                "line is left out; write it once more with absolute times."
            )
        return asc_date(reader.date)
    return reader.start_time if form == "TRC" else None
