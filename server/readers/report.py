"""What the reader says of a file: what it was taken to be, and which lines could not be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from server.readers.clock_axis import TimeAxis
from server.readers.layout import Layout
from server.readers.separators import WHITESPACE, split_line
from server.testday.values import Channel, Finding, FloatArray

_ALIKE = 5
_SPOKEN = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", WHITESPACE: "blank"}


@dataclass(frozen=True, slots=True)
class Lines:
    """first: line of the first row (from 0). fed: line ends from there. cut: a line cut off stands behind.

    word: what a sentence calls one of them.
    """

    first: int
    fed: int
    zero_bytes: int = 0
    cut: bool = False
    word: str = "line"


def line_findings(name: str, lines: Lines, seconds: FloatArray) -> list[Finding]:
    """Say what was left out: a line cut off, zero bytes, lines without a time."""
    findings = []
    if lines.cut:
        number = lines.first + lines.fed + 1
        text = f"{name}: the log stops in the middle of line {number:,}; everything before it was read."
        findings.append(Finding("log-cut-short", "note", text))
    if lines.zero_bytes:
        text = f"{name}: {lines.zero_bytes:,} zero bytes, as a power cut leaves them, were left out."
        findings.append(Finding("zero-bytes", "note", text))
    timeless = np.flatnonzero(~np.isfinite(seconds))
    if len(timeless):
        where = f"(the first near {lines.word} {lines.first + int(timeless[0]) + 1:,})"
        text = f"{name}: {_counted(len(timeless), lines.word)} without a readable time left out {where}."
        findings.append(Finding("no-time", "check" if len(timeless) > 0.01 * len(seconds) else "note", text))
    return findings


def name_findings(name: str, doubled: Sequence[str]) -> list[Finding]:
    """Say which names stand more than once."""
    if not doubled:
        return []
    shown = ", ".join(f"'{title}'" for title in doubled[:_ALIKE])
    later = f"the later ones are called '{doubled[0]} (2)' and so on"
    text = f"{name}: names given more than once: {shown}; {later}."
    return [Finding("duplicate-names", "note", text)]


def describe(layout: Layout, encoding: str, long: bool) -> str:
    """Say what the file was taken to be: "a comma-separated table in UTF-8, names in line 1"."""
    decimal = " with decimal commas" if layout.decimal == "," else ""
    kind = "long table (one sample a line)" if long else "table"
    separator = _SPOKEN[layout.separator]
    return f"a {separator}-separated {kind} in {encoding}{decimal}, {_header(layout)}"


def contents(rows: int, word: str, axis: TimeAxis, channels: Sequence[Channel]) -> str:
    """Say what it holds: lines, channels, the kind of time, rates."""
    return f"{_counted(rows, word)} of {_counted(len(channels), 'channel')}, {axis.spoken}{spoken_rates(channels)}"


def collapse(findings: Sequence[Finding]) -> list[Finding]:
    """Keep the first few findings of a kind; the others become one that counts them."""
    seen: Counter[str] = Counter()
    kept = []
    for finding in findings:
        seen[finding.code] += 1
        if seen[finding.code] <= _ALIKE:
            kept.append(finding)
    for code, count in seen.items():
        if count > _ALIKE:
            grade = next(f.grade for f in findings if f.code == code)
            kept.append(Finding(code, grade, f"{count - _ALIKE:,} more of the kind: {code}."))
    return kept


def lost_lines(name: str, file: BinaryIO, first_byte: int, layout: Layout, lost: int) -> list[Finding]:
    """Say which of the lines that gave no row have too many cells, and how many others there are.

    lost: lines less rows; empty ones among them are no loss.
    """
    wide, empty = _wide_and_empty(file, first_byte, layout)
    findings = []
    if wide:
        text = (
            f"{name}: {_counted(len(wide), 'line')} with more cells than the {layout.n_columns} columns "
            f"left out (the first is line {wide[0]:,})."
        )
        findings.append(Finding("wide-lines", "check", text))
    others = lost - len(wide) - empty
    if others > 0:
        text = f"{name}: {_counted(others, 'line')} could not be told apart, as by a quote that stands alone."
        findings.append(Finding("lost-lines", "check", text))
    return findings


def _wide_and_empty(file: BinaryIO, first_byte: int, layout: Layout) -> tuple[list[int], int]:
    """Numbers of the lines with too many cells, and how many lines are empty."""
    mark = b" " if layout.separator == WHITESPACE else layout.separator.encode()
    file.seek(first_byte)
    wide: list[int] = []
    empty = 0
    for number, line in enumerate(file):
        empty += not line.strip()
        if line.count(mark) < layout.n_columns:
            continue
        text = line.decode("utf-8", errors="replace").rstrip("\r\n")
        if len(split_line(text, layout.separator)) > layout.n_columns:
            wide.append(layout.first_line + number + 1)
    return wide, empty


def _header(layout: Layout) -> str:
    header = layout.header
    if header.name_line is None:
        return "without names"
    names = f"names in line {header.name_line + 1}"
    return names if header.unit_line is None else f"{names}, units in line {header.unit_line + 1}"


def spoken_rates(channels: Sequence[Channel]) -> str:
    """Say the rates of channels: ", 20 to 100 Hz"; nothing where no channel has two samples."""
    rates = [1.0 / step for step in (_step(channel) for channel in channels) if step > 0]
    if not rates:
        return ""
    low, high = min(rates), max(rates)
    return f", {high:.3g} Hz" if high < 1.1 * low else f", {low:.3g} to {high:.3g} Hz"


def _step(channel: Channel) -> float:
    sample = channel.time_s[:2001]
    return float(np.median(np.diff(sample))) if len(sample) > 1 else 0.0


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}{'' if count == 1 else 's'}"
