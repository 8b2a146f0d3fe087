"""A raw bus log and the database of its signals → RawLog: each signal a channel at its message's own times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from server.errors import LogError
from server.readers.bus_database import BusDatabase, load_database
from server.readers.bus_decode import decode, is_decodable, needed_bytes
from server.readers.bus_files import BusForm, read_bus_file
from server.readers.bus_frames import EXTENDED, Frames
from server.readers.channels import build_channels
from server.readers.columns import Column
from server.readers.limits import refuse_many_bytes, refuse_many_channels
from server.readers.names import ColumnName, kept_apart
from server.readers.report import collapse, spoken_rates
from server.testday.values import Channel, Finding, RawLog

if TYPE_CHECKING:
    from cantools.database.can import Message

_NAMED = 6


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """The frames of one message from one bus (and sender): where they are, and what tells them from others."""

    message: Message
    label: str
    rows: NDArray[np.intp]


@dataclass(slots=True)
class Decoded:
    """Channels and findings of decoded frames, and from how many messages."""

    channels: list[Channel] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    messages: int = 0


def read_bus_log(path: Path, form: BusForm, *, name: str = "", signals: Path | None = None) -> RawLog:
    """Read a raw bus log. signals: the database that says which signals its frames carry.

    Raises LogError with one sentence where the log or the database cannot be used, or do not belong together.
    """
    called = name or path.name
    if signals is None:
        raise LogError(needs_database(called, f"raw frames of a bus ({form})"))
    database = load_database(signals)
    log = read_bus_file(path, called, form)
    decoded = decode_frames(called, log.frames, database)
    count = f"{len(log.frames.key):,} frames of {len(log.frames.buses)} bus{'es' if len(log.frames.buses) > 1 else ''}"
    held = f"{count}, {len(decoded.channels):,} channels from {decoded.messages:,} messages"
    return RawLog(
        file=called,
        channels=tuple(decoded.channels),
        description=(
            f"{called} was read as raw frames of a bus ({form}) with the signals of {database.file}; {held}"
            f"{spoken_rates(decoded.channels)}."
        ),
        start_clock_s=log.start_clock_s,
        start_date=log.start_date,
        findings=tuple(collapse([*log.findings, *decoded.findings])),
        clock_is_utc=log.clock_is_utc,
    )


def needs_database(name: str, what: str) -> str:
    """Say that frames cannot be read without a database, and how to bring one."""
    return (
        f"{name} holds {what}, which only the database of the car's signals makes readable: put its file (DBC, KCD, "
        'SYM or ARXML) into the day\'s folder and name it at the top of testday.toml, for example: signals = "car.dbc".'
    )


def decode_frames(name: str, frames: Frames, database: BusDatabase) -> Decoded:
    """Decode frames into channels.

    Raises LogError where the database knows none of them, or they hold too much.
    """
    parts, unknown = _parts(frames, database)
    if not parts:
        ids = _listed_ids(sorted(unknown))
        raise LogError(
            f"{name}: {database.file} knows none of its {len(frames.key):,} frames ({ids}); bring the database of "
            "this car's bus."
        )
    refuse_many_channels(name, sum(len(part.message.signals) for part in parts))
    refuse_many_bytes(name, sum(8 * len(part.rows) * len(part.message.signals) for part in parts))
    decoded = Decoded(messages=len({part.message.name for part in parts}))
    titles = _titles(parts, database)
    for part, names in zip(parts, titles, strict=True):
        _decode_part(name, frames, part, names, decoded)
    if not decoded.channels:
        raise LogError(f"{name}: its frames hold no signal that {database.file} makes readable.")
    decoded.findings += _about_frames(name, frames, database, unknown)
    return decoded


def _parts(frames: Frames, database: BusDatabase) -> tuple[list[Part], dict[int, int]]:
    """Group the frames by message; those of ids that the database does not know are counted."""
    found: list[tuple[Message, int, int | None, NDArray[np.intp]]] = []
    unknown: dict[int, int] = {}
    for bus, key, rows in frames.groups():
        message, shared = database.find(key)
        if message is None:
            unknown[key] = unknown.get(key, 0) + len(rows)
        else:
            found.append((message, bus, key & 0xFF if shared else None, rows))
    parts = []
    for message, bus, sender, rows in found:
        others = [(b, s) for m, b, s, _ in found if m is message]
        several_buses = len({b for b, _ in others}) > 1
        several_senders = len({s for _, s in others}) > 1
        labels = [f"bus {frames.buses[bus]}"] if several_buses else []
        labels += [f"sender {sender}" if sender is not None else "named sender"] if several_senders else []
        parts.append(Part(message, ", ".join(labels), rows))
    return sorted(parts, key=lambda part: (part.message.name, part.label)), unknown


def _titles(parts: Sequence[Part], database: BusDatabase) -> list[dict[str, str]]:
    """Name the signals of every part, apart from those of all others."""
    written = []
    for part in parts:
        behind = f" ({part.label})" if part.label else ""
        written += [database.names[part.message.name, signal.name] + behind for signal in part.message.signals]
    apart = iter(kept_apart([ColumnName(title, None, title) for title in written])[0])
    return [{signal.name: next(apart).name for signal in part.message.signals} for part in parts]


def _decode_part(name: str, frames: Frames, part: Part, titles: dict[str, str], decoded: Decoded) -> None:
    readable = [signal for signal in part.message.signals if is_decodable(signal)]
    called = f"{name}, message '{part.message.name}'" + (f" ({part.label})" if part.label else "")
    if part.message.is_container or len(readable) < len(part.message.signals):
        text = f"{called}: signals that are no numbers of up to 64 bits are left out."
        decoded.findings.append(Finding("signals-left-out", "note", text))
    if not readable or part.message.is_container:
        return
    data, lengths = frames.matrix(part.rows, max(map(needed_bytes, readable)))
    found = decode(part.message, data, lengths)
    short = max(count for _, count in found.values())
    if short:
        fewer = f"{short:,} of {len(part.rows):,} frames are shorter than the {part.message.length} bytes"
        text = f"{called}: {fewer} that the database says; what they lack is left out."
        decoded.findings.append(Finding("short-frames", "check", text))
    columns = [Column(titles[s.name], s.unit or None, found[s.name][0]) for s in readable]
    selected = [c for c, s in zip(columns, readable, strict=True) if not c.is_void or s.multiplexer_ids is None]
    channels, findings = build_channels(called, frames.time_s[part.rows], selected)
    decoded.channels += channels
    decoded.findings += findings


def _about_frames(name: str, frames: Frames, database: BusDatabase, unknown: dict[int, int]) -> list[Finding]:
    findings = []
    if unknown:
        count, ids = sum(unknown.values()), _listed_ids(sorted(unknown, key=lambda key: -unknown[key]))
        text = f"{name}: {count:,} of {len(frames.key):,} frames have ids that {database.file} does not know: {ids}."
        findings.append(Finding("unknown-frames", "note", text))
    if frames.errors:
        findings.append(Finding("error-frames", "note", f"{name}: {frames.errors:,} error frames are left out."))
    if frames.remotes:
        text = f"{name}: {frames.remotes:,} remote frames, which carry no data, are left out."
        findings.append(Finding("error-frames", "note", text))
    return findings


def _listed_ids(keys: Sequence[int]) -> str:
    ids = [f"0x{key & ~EXTENDED:08x}" if key & EXTENDED else f"0x{key:03x}" for key in keys]
    return ", ".join(ids[:_NAMED]) + (f" and {len(ids) - _NAMED} more" if len(ids) > _NAMED else "")
