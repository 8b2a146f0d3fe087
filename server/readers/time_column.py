"""Which column is the time, which carry clock and date."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.errors import LogError
from server.readers.cells import Kind, number_of
from server.readers.layout import Layout
from server.readers.names import ColumnName, split_name
from server.testday.units import UnknownUnitError, unit_of

_WHOSE = (
    r"(?:log|logger|session|elapsed|run|running|rel|relative|sample|data|recording|test|system|sys|ecu|abs)"
)
_WHAT = r"(?:time|zeit|temps|tempo|tiempo|time[ _]?stamp|zeitstempel|laufzeit|messzeit|elapsed|clock|uptime)"
_UNITS = r"(?:s|secs?|seconds?|ms|msecs?|millis|milliseconds?|us|micros|ns|min|h)"
_TIME_NAME = re.compile(rf"(?:{_WHOSE}?[ _.-]*{_WHAT}|t|ts)(?:[ _.-]*{_UNITS})?", re.IGNORECASE)
_UNIT_NAME = re.compile(r"s|secs?|seconds|sekunden|millis|milliseconds|ms|micros|us", re.IGNORECASE)
_CLOCK_NAME = re.compile(r".*(?:time|clock|zeit|hora|heure|utc|stamp|temps|tempo|tiempo).*", re.IGNORECASE)
_DATE_NAME = re.compile(r".*(?:date|datum|fecha|data|day|tag).*", re.IGNORECASE)
_NOT_TIME = re.compile(
    r".*(?:lap|sector|delta|gap|diff|duration|best|stint|remaining|split|rundenzeit).*", re.IGNORECASE
)
_SUFFIX = re.compile(rf"(?:^|[ _.-])({_UNITS})$", re.IGNORECASE)
_EXACT_SCORE, _UNIT_SCORE, _MOMENT_SCORE, _CLOCK_SCORE = 8.0, 6.0, 7.0, 5.0


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """Column numbers: `axis` orders the samples; clock, date tell the time of day where they are others.

    unit: spelling of the axis' unit, None where nothing says it. named: whether a name (not only the
    values) says that the axis is a time.
    """

    axis: int
    kind: Kind
    unit: str | None
    clock: int | None = None
    date: int | None = None
    named: bool = True

    @property
    def taken(self) -> frozenset[int]:
        """The columns that are no channels."""
        return frozenset(c for c in (self.axis, self.clock, self.date) if c is not None)


def choose_time(name: str, columns: Sequence[ColumnName], layout: Layout, wanted: str | None) -> TimeColumns:
    """Choose the time column by name, unit and values; `wanted` is a person's word on it.

    Raises LogError, with the line to add, where there is none or `wanted` is not there.
    """
    scores = {index: _score(index, columns[index], layout) for index in range(layout.n_columns)}
    if wanted is not None:
        axis = _find(name, columns, wanted)
        if layout.kinds[axis] in ("text", "angle", "date", "blank"):
            raise LogError(f"{name}: column '{columns[axis].name}', named as the time, holds no times.")
    else:
        best = max(scores, key=lambda index: (scores[index], -index))
        if scores[best] <= 0.0:
            raise LogError(_no_time(name, columns, layout))
        axis = best
    kind = layout.kinds[axis]
    unit = None if kind != "number" else columns[axis].unit or _suffix(columns[axis].name)
    named = scores[axis] >= _CLOCK_SCORE or wanted is not None
    date = _other(layout, columns, ("date",), axis, _DATE_NAME)
    clock = _other(layout, columns, ("datetime", "clock"), axis, _CLOCK_NAME) if kind == "number" else None
    return TimeColumns(axis, kind, unit, clock, date if kind != "datetime" else None, named)


def _score(index: int, column: ColumnName, layout: Layout) -> float:
    """How likely a column is the time; 0 where it cannot be."""
    kind = layout.kinds[index]
    other = bool(_NOT_TIME.fullmatch(column.name))
    if kind in ("datetime", "clock"):
        return 0.5 if other else _MOMENT_SCORE if kind == "datetime" else _CLOCK_SCORE
    if kind != "number" or other:
        return 0.0
    rising = _rising_share(layout, index)
    if _TIME_NAME.fullmatch(column.name) or _UNIT_NAME.fullmatch(column.name):
        return _EXACT_SCORE if rising > 0.02 else 0.0
    named = bool(_CLOCK_NAME.fullmatch(column.name))
    if rising > 0.5 and column.unit is not None and _is_time_unit(column.unit):
        return _UNIT_SCORE + 0.5 * named
    if rising > 0.5 and named:
        return _CLOCK_SCORE
    return 2.0 if rising > 0.5 and index == 0 and not column.written else 0.0


def _rising_share(layout: Layout, index: int) -> float:
    """Share of the steps looked at that rise; 0 where more than a few fall."""
    values = np.array([number_of(row[index], layout.decimal) for row in layout.sample])
    steps = np.diff(values[~np.isnan(values)])
    if not len(steps):
        return 1.0 if len(values) == 1 else 0.0
    return float(np.mean(steps > 0)) if float(np.mean(steps < 0)) <= 0.03 else 0.0


def _other(
    layout: Layout, columns: Sequence[ColumnName], kinds: Sequence[Kind], axis: int, name: re.Pattern[str]
) -> int | None:
    """Another column of these kinds, one named so first; a date may have any name."""
    fits = [i for kind in kinds for i, own in enumerate(layout.kinds) if own == kind and i != axis]
    named = [i for i in fits if name.fullmatch(columns[i].name) and not _NOT_TIME.fullmatch(columns[i].name)]
    return next(iter([*named, *fits] if kinds == ("date",) else named), None)


def _find(name: str, columns: Sequence[ColumnName], wanted: str) -> int:
    for index, column in enumerate(columns):
        if wanted in (column.name, column.written):
            return index
    bare = split_name(wanted)[0].casefold()
    for index, column in enumerate(columns):
        if column.name.casefold() == bare:
            return index
    raise LogError(f"{name} has no column '{wanted}' for the time; it has {_listed(columns)}.")


def _suffix(name: str) -> str | None:
    match = _SUFFIX.search(name)
    return (match[1]).casefold() if match else None


def _is_time_unit(unit: str) -> bool:
    try:
        return unit_of(unit).dimension == "time"
    except UnknownUnitError:
        return False


def _no_time(name: str, columns: Sequence[ColumnName], layout: Layout) -> str:
    rising = [
        c.name
        for i, c in enumerate(columns)
        if layout.kinds[i] == "number" and _rising_share(layout, i) > 0.5
    ]
    example = (rising or [columns[0].name])[0]
    return (
        f"{name}: none of its columns is clearly the time: {_listed(columns)}. "
        f'Name it under [channels] in testday.toml, for example: time = "{example}".'
    )


def _listed(columns: Sequence[ColumnName]) -> str:
    names = [f"'{column.name}'" for column in columns[:12]]
    more = len(columns) - len(names)
    return ", ".join(names) + (f" and {more} more" if more > 0 else "")
