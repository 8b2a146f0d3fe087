"""Columns and their times as channels: blanks, faulty times and sentinels left out, each said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.readers.columns import Column
from server.readers.sentinels import HUGE, find_sentinels
from server.readers.time_faults import TimeCheck, check_times, time_findings
from server.testday.values import Channel, Finding, FloatArray

_NAMED = 8


@dataclass(slots=True)
class _Rows:
    """Times of the rows that have one; `shared` are those that can be used, one array for all full channels.

    doubled: the largest count of doubled times that any channel had.
    """

    time_s: FloatArray
    check: TimeCheck
    shared: FloatArray
    doubled: int = 0


def build_channels(
    name: str, time_s: FloatArray, columns: Sequence[Column]
) -> tuple[list[Channel], list[Finding]]:
    """Make a channel of every column of numbers, at its own rate.

    time_s: shape (n_rows,), NaN where a row has no readable time.
    """
    whole = bool(np.isfinite(time_s).all())
    chosen = slice(None) if whole else np.flatnonzero(np.isfinite(time_s))
    row_time = time_s[chosen]
    check = check_times(name, row_time)
    rows = _Rows(row_time, check, row_time if check.keep is None else row_time[check.keep])
    channels: list[Channel] = []
    findings: list[Finding] = []
    for column in columns:
        if column.values is not None:
            channel, notes = _channel(name, column, column.values[chosen], rows)
            findings += notes
            channels += [channel] if channel is not None else []
    about_time = time_findings(name, replace(check, doubled=rows.doubled), len(row_time))
    return channels, [*about_time, *findings, *_column_findings(name, columns)]


def _channel(
    name: str, column: Column, values: FloatArray, rows: _Rows
) -> tuple[Channel | None, list[Finding]]:
    good = np.isfinite(values)
    if good.all():
        time, kept, check = rows.shared, values, rows.check
    else:
        time, kept = rows.time_s[good], values[good]
        check = TimeCheck(None) if rows.check.keep is None else check_times(name, time)
        time = time if check.keep is None else time[check.keep]
    kept = kept if check.keep is None else kept[check.keep]
    rows.doubled = max(rows.doubled, check.doubled)
    findings = _infinite(name, column.name, values, good)
    sentinels = find_sentinels(kept)
    if sentinels:
        keep = ~np.isin(kept, list(sentinels))
        time, kept = time[keep], kept[keep]
        findings.append(_sentinel(name, column.name, sentinels))
    if not len(kept):
        findings.append(Finding("empty-channel", "note", f"{name}: '{column.name}' holds no sample."))
        return None, findings
    return Channel(column.name, column.unit, time, kept), findings


def _infinite(name: str, title: str, values: FloatArray, good: NDArray[np.bool_]) -> list[Finding]:
    count = 0 if good.all() else int(np.count_nonzero(np.isinf(values)))
    text = f"{name}: {count:,} infinite samples of '{title}' are left out."
    return [Finding("sentinel", "note", text)] if count else []


def _sentinel(name: str, title: str, found: dict[float, int]) -> Finding:
    listed = [f"{count:,} of {_shown(value)}" for value, count in found.items() if abs(value) < HUGE]
    huge = sum(count for value, count in found.items() if abs(value) >= HUGE)
    words = " and ".join([*listed, *([f"{huge:,} beyond 1e29"] if huge else [])])
    text = f"{name}: samples of '{title}' that stand for no reading are left out: {words}."
    return Finding("sentinel", "note", text)


def _shown(value: float) -> str:
    return f"{value:.10g}".replace("-", "−")


def _column_findings(name: str, columns: Sequence[Column]) -> list[Finding]:
    findings = []
    words = [f"'{column.name}'" for column in columns if column.values is None]
    if words:
        more = f" and {len(words) - _NAMED} more" if len(words) > _NAMED else ""
        text = f"{name}: columns of words are left out: {', '.join(words[:_NAMED])}{more}."
        findings.append(Finding("text-columns", "note", text))
    for column in columns:
        if column.unreadable:
            one = column.unreadable == 1
            cells = f"{column.unreadable:,} {'cell' if one else 'cells'} of '{column.name}'"
            what = f"{'is no number' if one else 'are no numbers'} (such as '{column.example[:20]}')"
            text = f"{name}: {cells} {what} and {'is' if one else 'are'} left out."
            findings.append(Finding("unreadable-cells", "check", text))
        if column.degree_minutes:
            text = f"{name}: '{column.name}' was read as degrees and minutes."
            findings.append(Finding("degree-minutes", "note", text))
    return findings
