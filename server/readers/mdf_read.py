"""ASAM MDF 4 → RawLog by asammdf: each channel group by its own master, every channel of a group at once.

Called in a process of its own (`mdf_log`), as damaged files can crash or stall the parser.
"""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from server.errors import LogError
from server.readers.bus_database import load_database
from server.readers.bus_log import decode_frames, needs_database
from server.readers.channels import build_channels
from server.readers.damage import readable
from server.readers.limits import refuse_many_bytes, refuse_many_channels
from server.readers.mdf_blocks import packed_bytes, refuse_bombs
from server.readers.mdf_columns import GroupTable, read_group
from server.readers.mdf_frames import frames_of, is_bus_group
from server.readers.mdf_open import opened, start_of, time_scale, version_of
from server.readers.names import ColumnName, kept_apart
from server.readers.report import collapse, spoken_rates
from server.testday.values import Channel, Finding, FloatArray, RawLog

_ORDERED_BY = {1: "time", 2: "angle", 3: "distance", 4: "index"}
_NAMED = 6


@dataclass(slots=True)
class _Group:
    """A channel group that is ordered by time: what sentences call it, what its names take, its times."""

    called: str
    title: str
    seconds: FloatArray
    table: GroupTable


@dataclass(slots=True)
class _Read:
    """What was read so far."""

    channels: list[Channel] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    groups: int = 0


def read_mdf(path: Path, name: str, signals: Path | None = None) -> RawLog:
    """Read a recording. signals: database for the raw bus frames that it may hold.

    Raises LogError with one sentence where nothing can be had from it.
    """
    logging.getLogger("asammdf").setLevel(logging.CRITICAL)  # it warns on the console; what matters is said here
    refuse_bombs(name, path)
    with readable(name, "an ASAM MDF recording"), opened(path) as (mdf, findings):
        refuse_many_channels(name, sum(len(group.channels) for group in mdf.groups))
        refuse_many_bytes(name, packed_bytes(mdf.groups))
        read = _Read(findings=[Finding("log-cut-short", "note", f"{name}: {text}") for text in findings])
        bus = [i for i, group in enumerate(mdf.groups) if is_bus_group(group)]
        _read_groups(name, mdf, [i for i in range(len(mdf.groups)) if i not in bus], read)
        if bus:
            _read_frames(name, mdf, bus, signals, read)
        if not read.channels:
            raise LogError(_nothing(name, read.findings))
        clock, date, is_utc = start_of(mdf.header)
        version = version_of(path)
    count = f"{read.groups} group{'s' if read.groups != 1 else ''} of channels"
    return RawLog(
        file=name,
        channels=tuple(read.channels),
        description=(
            f"{name} was read as an ASAM MDF {version} recording; {count}, {len(read.channels):,} channels"
            f"{spoken_rates(read.channels)}."
        ),
        start_clock_s=clock,
        start_date=date,
        findings=tuple(collapse(read.findings)),
        clock_is_utc=is_utc,
    )


def _read_groups(name: str, mdf: Any, indexes: list[int], read: _Read) -> None:
    """Read the groups that are ordered by time; names that several have take the group's behind them."""
    groups = [group for index in indexes if (group := _group(name, mdf, index, read)) is not None]
    counts = Counter(column.name for group in groups for column in group.table.names)
    written = []
    for group in groups:
        for column in group.table.names:
            title = column.name if counts[column.name] == 1 else f"{column.name} ({group.title})"
            written.append(ColumnName(title, column.unit, column.written))
    apart = iter(kept_apart(written)[0])
    for group in groups:
        titles = [next(apart).name for _ in group.table.names]
        columns = group.table.columns(titles, np.isfinite(group.seconds))
        channels, findings = build_channels(group.called, group.seconds, columns)
        read.channels += channels
        read.findings += findings
    read.groups += len(groups)


def _group(name: str, mdf: Any, index: int, read: _Read) -> _Group | None:
    """Read one group; None where it is empty or not ordered by time."""
    group = mdf.groups[index]
    master_group = mdf.virtual_groups_map.get(index, index)
    master = mdf.masters_db.get(master_group)
    others = [i for i in range(len(group.channels)) if not (master_group == index and i == master)]
    if not group.channel_group.cycles_nr or not others:
        return None
    acquired = " ".join((group.channel_group.acq_name or "").split())
    called = f"{name}, group {index + 1}" + (f" ('{acquired}')" if acquired else "")
    scale = time_scale(mdf.groups[master_group].channels[master]) if master is not None else None
    if scale is None:
        ordered = _ORDERED_BY.get(mdf.groups[master_group].channels[master].sync_type) if master is not None else None
        why = f"is ordered by {ordered}, not by time" if ordered else "has no time"
        text = f"{called} {why}; its {len(others)} channel{'s are' if len(others) > 1 else ' is'} left out."
        read.findings.append(Finding("group-without-time", "note", text))
        return None
    signals = mdf.select([(None, index, i) for i in others], raw=True)
    table = read_group(signals)
    if table.left_out:
        more = f" and {len(table.left_out) - _NAMED} more" if len(table.left_out) > _NAMED else ""
        listed = ", ".join(f"'{title}'" for title in table.left_out[:_NAMED])
        text = f"{called}: channels that are neither numbers nor words are left out: {listed}{more}."
        read.findings.append(Finding("signals-left-out", "note", text))
    seconds = np.asarray(mdf.get_master(index), dtype=np.float64)
    rows = table.table.n_rows
    if rows != len(seconds):
        table.table.numbers = table.table.numbers[:, : len(seconds)]
        seconds = seconds[:rows]
    return _Group(called, acquired or f"group {index + 1}", seconds * scale, table) if rows else None


def _read_frames(name: str, mdf: Any, groups: list[int], signals: Path | None, read: _Read) -> None:
    """Decode raw frames with the database; without one they are refused, or left out beside other channels."""
    if signals is None:
        if not read.channels:
            raise LogError(needs_database(name, "raw frames of a bus (ASAM MDF bus logging)"))
        text = f"{name}: raw frames of a bus are left out, as the day names no database of signals (signals = …)."
        read.findings.append(Finding("frames-without-database", "check", text))
        return
    frames = frames_of(mdf, groups)
    if frames is None:
        if not read.channels:
            raise LogError(f"{name} holds no frame of a CAN bus that can be read.")
        return
    decoded = decode_frames(name, frames, load_database(signals))
    read.channels += decoded.channels
    read.findings += decoded.findings
    read.groups += len(groups)


def _nothing(name: str, findings: list[Finding]) -> str:
    """Say that no channel could be had, and the first reason."""
    reasons = [f.text for f in findings if f.code == "group-without-time"]
    return f"{name} holds no channel of numbers that is ordered by time." + (f" {reasons[0]}" if reasons else "")
