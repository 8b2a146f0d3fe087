"""The columns of a run's logs: which role each plays, who said so, what was noticed, and what must be asked."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any

from server.archive.archive import Archive
from server.readers.join import assigned_roles, cut
from server.runs.recordings import RunLog
from server.testday.role_proposals import LIKELY, propose
from server.testday.roles import NOTHING, ROLES, find_channel
from server.testday.units import is_unit
from server.testday.values import Car, Channel, Day, Finding, RawLog, Recording, Run, Signal

ROLES_IN_MEMORY = 128
WHERE = {
    "run": "said for this run",
    "day": "said for all runs",
    "seen": "seen before",
    "proposed": "proposed from its name",
    "": "",
}


@dataclass(frozen=True, slots=True)
class ColumnRow:
    """A column. where: a key of `WHERE`; silent: it has a role that cannot be used before its unit is known."""

    name: str
    unit: str
    role: str
    where: str
    notes: tuple[str, ...]
    silent: bool = False

    @property
    def spoken(self) -> str:
        """The role in words, without its article."""
        return role_words(self.role) if self.role else ""


@dataclass(frozen=True, slots=True, eq=False)
class RecordingColumns:
    """A log's columns, those with a role first.

    questions: what must be said before the fit can be made; missing: role → column that this log does not have.
    """

    file: str
    description: str
    rows: tuple[ColumnRow, ...]
    questions: tuple[str, ...]
    findings: tuple[Finding, ...]
    missing: Mapping[str, str]


def role_words(role: str) -> str:
    """A role as a person says it."""
    return ROLES[role].spoken.removeprefix("the ") if role in ROLES else role.replace("_", " ")


def columns_of(archive: Archive, one: RunLog, day: Day, run: Run, seen: Mapping[str, str]) -> RecordingColumns:
    """The columns of a log that the samples store holds; seen: role → column taken over from earlier days."""
    chosen = {**day.channels, **run.channels}
    car = day.car
    key = (one.key, one.log, tuple(sorted(chosen.items())), _sensors(car), tuple(sorted(run.channels)), str(seen))
    return _shelf.get(key, lambda: _read_columns(archive, one, day, run, seen))


def with_recordings(archive: Archive, logs: tuple[RunLog, ...], day: Day, run: Run) -> Run:
    """The run with what its logs, all of them read, tell by their roles, as the fit would get it."""
    recordings = tuple(Recording(one.log.file, _signals(archive, one, day, run)) for one in logs)
    return replace(run, recordings=recordings)


def _signals(archive: Archive, one: RunLog, day: Day, run: Run) -> dict[str, Signal]:
    chosen = {**day.channels, **run.channels}
    raw = _with_samples(archive, one.key, archive.samples.head(one.key), chosen)
    parts = {role: cut(signal, one.log) for role, signal in assigned_roles(raw, chosen, day.car).signals.items()}
    return {role: part for role, part in parts.items() if len(part.time_s)}


def _sensors(car: Car) -> str:
    return f"{car.front.tyre_radius_m.value} {car.rear.tyre_radius_m.value} {sorted(car.calibration.items())}"


def _read_columns(
    archive: Archive, one: RunLog, day: Day, run: Run, seen: Mapping[str, str]
) -> RecordingColumns:
    chosen = {**day.channels, **run.channels}
    head = archive.samples.head(one.key)
    raw = _with_samples(archive, one.key, head, chosen)
    found = assigned_roles(raw, chosen, day.car)
    roles = {signal.name: role for role, signal in reversed(list(found.signals.items()))}
    silent = _silent(raw, chosen, found.signals, [*found.questions, *(one.text for one in found.findings)])
    texts = [finding.text for finding in (*head.findings, *found.findings)]
    where = _where(raw, run, day, seen)
    rows = [_row(channel, {**silent, **roles}, where, texts) for channel in head.channels]
    rows = [replace(row, silent=row.name in silent) for row in rows]
    rows.sort(key=lambda row: (not row.silent, not row.role))
    return RecordingColumns(
        one.log.file,
        head.description,
        tuple(rows),
        tuple(found.questions),
        tuple(found.findings),
        found.missing,
    )


def _with_samples(archive: Archive, key: str, head: RawLog, chosen: Mapping[str, str]) -> RawLog:
    """The log with the samples of those columns that a role could be made of; the others stay empty."""
    likely = {proposal.channel.name for proposal in propose(head) if proposal.confidence >= LIKELY}
    named = [find_channel(head, column) for column in chosen.values() if column != NOTHING]
    wanted = likely | {one[0].name for one in named if one is not None}
    channels = tuple(
        replace(channel, time_s=samples[0], values=samples[1])
        if channel.name in wanted and (samples := archive.samples.samples(key, place)) is not None
        else channel
        for place, channel in enumerate(head.channels)
    )
    return replace(head, channels=channels)


def _where(raw: RawLog, run: Run, day: Day, seen: Mapping[str, str]) -> dict[tuple[str, str], str]:
    """(role, column's name) → where a person's word on it stands."""
    found: dict[tuple[str, str], str] = {}
    for words, channels in (("day", day.channels), ("run", run.channels)):
        for role, column in channels.items():
            channel = find_channel(raw, column)
            if channel is not None:
                found[role, channel[0].name] = "seen" if words == "run" and seen.get(role) == column else words
    return found


def _silent(raw: RawLog, chosen: Mapping[str, str], signals: Mapping[str, Signal], texts: list[str]) -> dict[str, str]:
    """Column → the role that it would play if its unit were known."""
    wanted = {role: found[0].name for role, column in chosen.items() if (found := find_channel(raw, column))}
    named = set(wanted.values())
    for proposal in propose(raw):
        if proposal.confidence >= LIKELY and proposal.channel.name not in named:
            wanted.setdefault(proposal.role, proposal.channel.name)
    played = {signal.name for signal in signals.values()}
    left = {name: role for role, name in wanted.items() if role not in signals and name not in played}
    return {
        name: role
        for name, role in left.items()
        if role in ROLES and any(f"'{name}'" in text and "unit" in text for text in texts)
    }


def _row(
    channel: Channel, roles: Mapping[str, str], where: Mapping[tuple[str, str], str], texts: list[str]
) -> ColumnRow:
    role = roles.get(channel.name, "")
    told = where.get((role, channel.name), "proposed" if role else "")
    notes = tuple(text for text in texts if f"'{channel.name}'" in text)
    return ColumnRow(channel.name, channel.unit or "", role, told, notes)


def unit_is_known(unit: str) -> bool:
    """Whether a spelling is a unit known here."""
    return bool(unit) and is_unit(unit)


class _Shelf:
    """What was found of the last few logs; made anew when a role, a radius or a calibration changes."""

    def __init__(self) -> None:
        self._held: OrderedDict[Any, RecordingColumns] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Any, make: Any) -> RecordingColumns:
        """What is held, or else what is made now."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        made: RecordingColumns = make()
        with self._lock:
            self._held[key] = made
            while len(self._held) > ROLES_IN_MEMORY:
                self._held.popitem(last=False)
        return made


_shelf = _Shelf()
