"""What a change of a day is, and the few words and look-ups that all changes share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from server.errors import StillairError
from server.testday.values import Day, Quantity, Run, Setup


@dataclass(frozen=True, slots=True)
class Change:
    """A changed day. kind: a slug; subject: what was changed; before, after: JSON values; what: one sentence.

    new_files: path in the day's folder → file that comes with the change; remember: role → column, for days to come.
    """

    day: Day
    kind: str
    subject: str
    before: Any
    after: Any
    what: str
    new_files: Mapping[str, Path] = field(default_factory=dict)
    remember: Mapping[str, str] = field(default_factory=dict)


def find_run(day: Day, number: int) -> Run:
    """The run of that number. Raises StillairError."""
    for run in day.runs:
        if run.number == number:
            return run
    raise StillairError(f"This day has no run {number}.")


def find_setup(day: Day, name: str) -> Setup:
    """The setup of that name. Raises StillairError."""
    for setup in day.setups:
        if setup.name == name:
            return setup
    raise StillairError(f"This day has no setup “{name[:60]}”; it has {', '.join(s.name for s in day.setups)}.")


def runs_of(day: Day, setup: str) -> list[int]:
    """The numbers of the runs that were driven in a setup."""
    return [run.number for run in day.runs if run.setup == setup]


def with_run(day: Day, run: Run) -> Day:
    """The day with this run in place of the one of its number."""
    return replace(day, runs=tuple(run if one.number == run.number else one for one in day.runs))


def plain(value: Any) -> Any:
    """A value of a day as JSON."""
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: plain(getattr(value, f.name)) for f in fields(value) if f.name not in {"recordings", "recording"}
        }
    if isinstance(value, Mapping):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value if value is None or isinstance(value, str | int | float | bool) else str(value)


def in_words(value: Any) -> str:
    """A property's value as a sentence says it, in SI units."""
    if isinstance(value, Quantity):
        return f"{value.value:g}" + (f" (u {value.u:.2g})" if value.u else "")
    if value is None:
        return "nothing"
    return f"a table of {len(value)} lines" if isinstance(value, tuple) else str(value)
