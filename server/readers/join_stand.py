"""The log of a test of the standing car: only the roles that the test needs, on the file's own clock."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from server.errors import LogError
from server.readers.join import OpenFile, assigned_roles, cut, is_inside, opened
from server.testday.roles import NOTHING, ROLES, Assignment, find_channel, line_to_add
from server.testday.values import Car, Finding, LogFile, RawLog, Recording

_NAMED_CHANNELS = 12


def join_stand_log(
    log: LogFile,
    wanted: Collection[str],
    open_file: OpenFile,
    car: Car,
    *,
    channels: Mapping[str, str],
    day_channels: Mapping[str, str],
) -> Recording:
    """Return the recording of a stand test: the wanted roles in SI, calibrated, between from_s and to_s.

    wanted: roles that the test can use; what the log holds besides is left alone and asks nothing.
    channels: the test's own role → column; of the day's, those count that this log has.
    Raises LogError, one sentence, where none of the wanted roles can be had.
    """
    raw = opened(open_file, log, channels.get("time", day_channels.get("time")))
    for role, column in channels.items():
        if role not in ("time", *ROLES) or (role != "time" and _lacks(raw, column)):
            raise LogError(f"{raw.file}: no column '{column}' as {line_to_add(role, column)} says; {_held(raw)}.")
    of_day = {role: column for role, column in day_channels.items() if not _lacks(raw, column)}
    roles = assigned_roles(raw, {**of_day, **channels}, car)
    questions = _about(roles.questions, wanted)
    signals = {role: part for role in wanted if role in roles.signals for part in [cut(roles.signals[role], log)]}
    signals = {role: signal for role, signal in signals.items() if len(signal.time_s)}
    if not signals:
        raise LogError(" ".join(questions) or _nothing(raw, log, wanted, roles))
    findings = [f for f in raw.findings if is_inside(f, log)]
    findings += [f for f in roles.findings if f.text in _about([f.text for f in roles.findings], wanted)]
    findings += [Finding("role-unclear", "check", question) for question in questions]
    return Recording(log.file, signals, description=raw.description, findings=tuple(findings))


def _lacks(raw: RawLog, column: str) -> bool:
    return column != NOTHING and find_channel(raw, column) is None


def _about(texts: list[str], wanted: Collection[str]) -> list[str]:
    """Those of the texts that speak of a wanted role."""
    return [text for text in texts if any(ROLES[role].spoken in text for role in wanted)]


def _nothing(raw: RawLog, log: LogFile, wanted: Collection[str], roles: Assignment) -> str:
    if any(role in roles.signals for role in wanted):
        start, end = (f"{t:g} s" if t is not None else "its end" for t in (log.from_s, log.to_s))
        return f"{raw.file} has no samples from {start} to {end}."
    doubts = _about([finding.text for finding in roles.findings], wanted)
    spoken = " or ".join(ROLES[role].spoken for role in list(wanted)[:4])
    return doubts[0] if doubts else f"{raw.file}: none of its columns is {spoken}; {_held(raw)}."


def _held(raw: RawLog) -> str:
    names = [f"'{channel.name}'" for channel in raw.channels]
    more = f" and {len(names) - _NAMED_CHANNELS} more" if len(names) > _NAMED_CHANNELS else ""
    return f"it holds {', '.join(names[:_NAMED_CHANNELS])}{more}" if names else "it holds no column of numbers"
