"""Which column plays which role, by a person's word: for one run or for all runs of a day, with its unit where unknown.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from server.days.change import Change, find_run, with_run
from server.errors import StillairError
from server.testday.role_proposals import unit_fits
from server.testday.role_table import ROLE_NAMES, ROLES
from server.testday.roles import NOTHING, same_column
from server.testday.units import UnknownUnitError, unit_of
from server.testday.values import Day

UNKNOWN_ROLE = "There is no role called “{role}”."
NO_COLUMN = "Say which column plays the role."
UNKNOWN_UNIT = "“{unit}” is no unit known here; write it as the logger would, such as km/h, mm or bar."
WRONG_KIND = "{role} cannot be in {unit}: that is another kind of unit."
BRACKETS = "[]()"


def assign_role(day: Day, run: int | None, role: str, column: str, unit: str = "") -> Change:
    """A column plays a role, in one run or (None) in all runs of the day; column "-": none does.

    unit: of the column, where the log does not say it or says it wrongly. What an own word of a run said of the role
    gives way to a word for all runs; a role that the column was given before is open again.
    """
    text = column_text(role, column, unit)
    number = None if run is None else find_run(day, run).number
    before = dict(day.channels if number is None else find_run(day, number).channels)
    changed = _of_day(day, role, text) if number is None else _of_run(day, number, role, text)
    where = "all runs" if number is None else f"run {number}"
    who_plays = f"column “{text}” plays" if text != NOTHING else "no column plays"
    after = dict(changed.channels if number is None else find_run(changed, number).channels)
    subject = f"columns of {where}"
    what = f"{where}: {who_plays} {spoken_role(role)}"
    return Change(changed, "role-assigned", subject, before, after, what, remember=_worth_keeping(role, text))


def column_text(role: str, column: str, unit: str = "") -> str:
    """A column as [channels] names it, with its unit where one was given. Raises StillairError."""
    if role not in ROLE_NAMES:
        raise StillairError(UNKNOWN_ROLE.format(role=role[:40]))
    if not column.strip():
        raise StillairError(NO_COLUMN)
    unit = unit.strip()
    if not unit or column == NOTHING:
        return column
    try:
        unit_of(unit)
    except UnknownUnitError:
        raise StillairError(UNKNOWN_UNIT.format(unit=unit[:20])) from None
    if set(unit) & set(BRACKETS):
        raise StillairError(UNKNOWN_UNIT.format(unit=unit[:20]))
    if role in ROLES and not unit_fits(role, unit):
        words = spoken_role(role)
        raise StillairError(WRONG_KIND.format(role=words[:1].upper() + words[1:], unit=unit))
    return f"{column} [{unit}]"


def spoken_role(role: str) -> str:
    """A role as a sentence names it."""
    return ROLES[role].spoken if role in ROLES else f"the {role}"


def _of_day(day: Day, role: str, text: str) -> Day:
    runs = tuple(replace(run, channels=_without(run.channels, role, text)) for run in day.runs)
    return replace(day, runs=runs, channels={**_without(day.channels, role, text), role: text})


def _of_run(day: Day, number: int, role: str, text: str) -> Day:
    run = find_run(day, number)
    return with_run(day, replace(run, channels={**_without(run.channels, role, text), role: text}))


def _without(channels: Mapping[str, str], role: str, text: str) -> dict[str, str]:
    """The words of a person without what they said of this role, and without other roles of the same column."""
    return {
        one: column
        for one, column in channels.items()
        if one != role and (column == NOTHING or not same_column(column, text))
    }


def _worth_keeping(role: str, text: str) -> dict[str, str]:
    """What days to come are told of it: not the time, which a reader must know first, and nothing of "none"."""
    return {} if role == "time" or text == NOTHING else {role: text}
