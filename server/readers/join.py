"""A run's logs opened and joined to it: roles, SI, calibration, clock offset, the part of the file used."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np

from server.errors import LogError
from server.testday.roles import NOTHING, SPEED_ROLES, Assignment, assign, find_channel, line_to_add
from server.testday.values import Car, Finding, LogFile, RawLog, Recording, Run, Signal, TypedTimes

OpenFile = Callable[..., RawLog]
_DAY_S = 86_400.0
_NAMED_CHANNELS = 25


def join_run(
    run: Run, open_file: OpenFile, car: Car, day_channels: Mapping[str, str], *, timezone: str | None = None
) -> Run:
    """Return the run with its recordings: role → signal in SI on the run's clock.

    Run clock = the file's clock + clock_offset_s; from_s and to_s are on the file's clock.
    open_file: takes a log's name to the log as read; called as open_file(name, time_column=…) where
    [channels] names a time other than the one found. day_channels: role → column; the run's own come first.
    timezone: of the venue, to bring a log's UTC to local clock time.
    Raises LogError with what must be said first: an unclear role or unit, a missing column, no speed.
    """
    chosen = {**day_channels, **run.channels}
    logs = [(log, opened(open_file, log, chosen.get("time"))) for log in run.logs]
    assigned = [assigned_roles(raw, chosen, car) for _, raw in logs]
    _refuse_unclear(run, logs, assigned)
    recordings = tuple(
        _recording(run, log, raw, roles, timezone) for (log, raw), roles in zip(logs, assigned, strict=True)
    )
    _refuse_without_speed(run, logs, recordings)
    return replace(run, recordings=recordings)


def opened(open_file: OpenFile, log: LogFile, time_column: str | None) -> RawLog:
    """Open a log; once more with a person's word on the time where another column was taken for it.

    open_file is called with signals=… only where the log names a database of its own.
    """
    file = log.file
    if log.signals is not None:
        open_file = partial(open_file, signals=log.signals)
    if time_column is None or time_column == NOTHING:
        return open_file(file)
    try:
        raw = open_file(file)
    except LogError:
        return open_file(file, time_column=time_column)
    if raw.time_column is None or raw.time_column == time_column:
        return raw
    alone = find_channel(raw, time_column) is None and not time_column.startswith(raw.time_column)
    return raw if alone else open_file(file, time_column=time_column)


def assigned_roles(raw: RawLog, chosen: Mapping[str, str], car: Car) -> Assignment:
    """Assign a log's channels to roles with the car's radii and calibrations."""
    if raw.typed is not None:  # marks of a stopwatch are no channel
        return Assignment({})
    radii = (car.front.tyre_radius_m.value, car.rear.tyre_radius_m.value)
    return assign(raw, chosen, tyre_radius_m=radii, calibration=car.calibration)


def _refuse_unclear(run: Run, logs: list[tuple[LogFile, RawLog]], assigned: list[Assignment]) -> None:
    """Raise all questions at once, and the columns that none of the run's logs has."""
    questions = [question for roles in assigned for question in roles.questions]
    for role in assigned[0].missing if assigned else ():
        if all(role in roles.missing for roles in assigned):
            column = assigned[0].missing[role]
            files = " and ".join(raw.file for _, raw in logs)
            line = line_to_add(role, column)
            questions.append(
                f"{files}: no column '{column}' as {line} under [channels] says; {_listed(logs)}."
            )
    if questions:
        raise LogError(f"Run {run.number}: " + " ".join(dict.fromkeys(questions)))


def _refuse_without_speed(
    run: Run, logs: list[tuple[LogFile, RawLog]], recordings: tuple[Recording, ...]
) -> None:
    if any(r.typed is not None or any(role in r.signals for role in SPEED_ROLES) for r in recordings):
        return
    doubts = [f.text for r in recordings for f in r.findings if f.code in ("unit-missing", "unit-unknown")]
    hint = f" {doubts[0]}" if doubts else ""
    raise LogError(
        f"Run {run.number}: no speed channel is there; {_listed(logs)}. If one of them is a speed, "
        f'say so under [channels] in testday.toml, for example: gps_speed = "…".{hint}'
    )


def _listed(logs: list[tuple[LogFile, RawLog]]) -> str:
    said = []
    for _, raw in logs:
        names = [f"'{channel.name}'" for channel in raw.channels]
        more = f" and {len(names) - _NAMED_CHANNELS} more" if len(names) > _NAMED_CHANNELS else ""
        said.append(f"{raw.file} holds {', '.join(names[:_NAMED_CHANNELS])}{more}")
    return "; ".join(said)


def _recording(run: Run, log: LogFile, raw: RawLog, roles: Assignment, timezone: str | None) -> Recording:
    signals = {role: part for role, signal in roles.signals.items() if len((part := cut(signal, log)).time_s)}
    typed = cut_typed(raw.typed, log) if raw.typed is not None else None
    if (roles.signals and not signals) or (typed is not None and not typed.coast_downs):
        raise LogError(f"Run {run.number}: {raw.file} has no samples {_part(log)}; {_span(raw)}.")
    clock, clock_findings = _clock_at_zero(raw, log, timezone)
    noticed = [*raw.findings, *roles.findings, *clock_findings]
    findings = [_on_run_clock(finding, run, log) for finding in noticed if is_inside(finding, log)]
    played = ", ".join(f"{role} '{signal.name}'" for role, signal in signals.items())
    return Recording(
        file=log.file,
        signals=signals,
        start_clock_s=clock,
        description=f"{raw.description} Roles: {played}." if played else raw.description,
        findings=tuple(findings),
        typed=typed,
    )


def cut_typed(typed: TypedTimes, log: LogFile) -> TypedTimes:
    """The hand-typed coast-downs that lie between from_s and to_s, moved onto the run's clock."""
    low, high = (-np.inf if log.from_s is None else log.from_s, np.inf if log.to_s is None else log.to_s)
    kept = [c for c in typed.coast_downs if c.time_s[0] >= low and c.time_s[-1] <= high]
    moved = tuple(replace(c, time_s=c.time_s + log.clock_offset_s) for c in kept)
    return replace(typed, coast_downs=moved)


def cut(signal: Signal, log: LogFile) -> Signal:
    """The part of a signal between from_s and to_s, moved onto the run's clock."""
    low = 0 if log.from_s is None else int(np.searchsorted(signal.time_s, log.from_s, side="left"))
    high = None if log.to_s is None else int(np.searchsorted(signal.time_s, log.to_s, side="right"))
    time = signal.time_s[low:high]
    moved = time + log.clock_offset_s if log.clock_offset_s else time
    return Signal(moved, signal.values[low:high], signal.name)


def _part(log: LogFile) -> str:
    after = f"from {log.from_s:g} s" if log.from_s is not None else ""
    return " ".join(filter(None, [after, f"to {log.to_s:g} s" if log.to_s is not None else ""]))


def _span(raw: RawLog) -> str:
    first = min(float(channel.time_s[0]) for channel in raw.channels if len(channel.time_s))
    last = max(float(channel.time_s[-1]) for channel in raw.channels if len(channel.time_s))
    return f"it runs from {first:.2f} s to {last:.2f} s"


def is_inside(finding: Finding, log: LogFile) -> bool:
    """Whether what was noticed lies in the part of the file that is used."""
    if finding.start_s is None or finding.end_s is None:
        return True
    before = log.from_s is not None and finding.end_s < log.from_s
    return not before and not (log.to_s is not None and finding.start_s > log.to_s)


def _on_run_clock(finding: Finding, run: Run, log: LogFile) -> Finding:
    start, end = (None if t is None else t + log.clock_offset_s for t in (finding.start_s, finding.end_s))
    return replace(finding, run=run.number, start_s=start, end_s=end)


def _clock_at_zero(raw: RawLog, log: LogFile, timezone: str | None) -> tuple[float | None, list[Finding]]:
    """Local clock of the run clock's zero [s after midnight]."""
    if raw.start_clock_s is None:
        return None, []
    clock = raw.start_clock_s
    if raw.clock_is_utc:
        shift = _utc_offset(raw, timezone)
        if shift is None:
            text = (
                f"{raw.file}: its clock is UTC and the day has no time zone, so it is not used; "
                "give timezone at the top of testday.toml, or the run's start."
            )
            return None, [Finding("clock-is-utc", "check", text)]
        clock += shift
    return (clock - log.clock_offset_s) % _DAY_S, []


def _utc_offset(raw: RawLog, timezone: str | None) -> float | None:
    if timezone is None or raw.start_date is None:
        return None
    try:
        zone = ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError):
        return None
    moment = dt.datetime.combine(raw.start_date, dt.time(), dt.UTC) + dt.timedelta(
        seconds=raw.start_clock_s or 0.0
    )
    offset = moment.astimezone(zone).utcoffset()
    return offset.total_seconds() if offset is not None else None
