"""The two ways to write coast-down times by hand → marks of each coast-down, laid on the run's clock.

Marks: a line for each speed that the needle passed. Both ways: a line for each pair of speeds, with the seconds
between them out and back.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.errors import LogError
from server.readers.typed_head import Row, TypedTable
from server.testday.values import Direction, TypedCoastDown

BETWEEN_S = 90.0  # from the end of a coast-down to the next: to turn and come up to speed (common practice, no source)
SHORTEST_S = 1.0
FASTEST_MPS = 130.0
_CLOCK = re.compile(r"(?:(\d+):)?(\d+):(\d{1,2}(?:\.\d+)?)")
_WAYS: dict[str, Direction] = {"out": "out", "back": "back"}


@dataclass(slots=True)
class _Open:
    """A coast-down being put together: key that holds its lines together, marks, lines of its last and first mark."""

    key: tuple[str, Direction | None]
    time_s: list[float]
    speed: list[float]
    line: int
    first_line: int


def coast_downs(table: TypedTable) -> tuple[TypedCoastDown, ...]:
    """Every coast-down of the file, one after the other on the run's clock.

    Raises LogError with one sentence naming the line that cannot be.
    """
    if not table.rows:
        raise LogError(f"{table.name}: no line follows the header; type one line for each mark of the stopwatch.")
    for row in table.rows:
        if row.surplus:
            hint = " (a comma inside a number? separate cells with semicolons)" if table.decimal == "." else ""
            raise LogError(f"{table.name}: line {row.line} has more cells than the header{hint}.")
    found = _both_ways(table) if table.both_ways else _marks(table)
    return _laid_out(table.name, found)


def number(table: TypedTable, text: str, line: int, what: str) -> float:
    """A number as typed, or minutes:seconds; raises LogError naming the line."""
    plain = text.replace(",", ".") if table.decimal == "," else text
    clock = _CLOCK.fullmatch(plain)
    if clock is not None and what.startswith("seconds"):
        return 3600.0 * float(clock[1] or 0) + 60.0 * float(clock[2]) + float(clock[3])
    try:
        value = float(plain)
    except ValueError:
        said = f"'{text}' is no number" if text else "is empty"
        raise LogError(f"{table.name}: line {line}: {what} {said}.") from None
    if not np.isfinite(value):
        raise LogError(f"{table.name}: line {line}: {what} '{text}' is no number.")
    return value


def _speed(table: TypedTable, row: Row, column: str) -> float:
    if column not in table.speed_scale:
        raise LogError(
            f"{table.name}: the header does not say the unit of {column}; write {column}_kmh, {column}_mps or "
            f"{column}_mph."
        )
    value = number(table, row.cells[column], row.line, column) * table.speed_scale[column]
    if not 0.0 < value < FASTEST_MPS:
        raise LogError(f"{table.name}: line {row.line}: {column} {row.cells[column]} is no speed of a car.")
    return value


def _seconds(table: TypedTable, row: Row, column: str) -> float:
    value = number(table, row.cells[column], row.line, column)
    if not 0.0 <= value < 36_000.0:
        raise LogError(f"{table.name}: line {row.line}: {column} {row.cells[column]} is no time of a stopwatch.")
    return value


def _way(table: TypedTable, row: Row) -> Direction | None:
    word = row.cells.get("direction", "").casefold()
    if word and word not in _WAYS:
        raise LogError(f"{table.name}: line {row.line}: direction '{word}' is neither out nor back.")
    return _WAYS.get(word)


def _marks(table: TypedTable) -> list[_Open]:
    """A new coast-down where pass or direction changes; without a pass column also where the speed goes up."""
    found: list[_Open] = []
    for row in table.rows:
        key = (row.cells.get("pass", ""), _way(table, row))
        speed, seconds = _speed(table, row, "speed"), _seconds(table, row, "seconds")
        last = found[-1] if found else None
        again = last is not None and "pass" not in table.columns and speed > last.speed[-1]
        if last is None or key != last.key or again:
            found.append(_Open(key, [seconds], [speed], row.line, row.line))
            continue
        _refuse_order(table, row, last, speed, seconds)
        last.time_s.append(seconds)
        last.speed.append(speed)
        last.line = row.line
    return found


def _refuse_order(table: TypedTable, row: Row, last: _Open, speed: float, seconds: float) -> None:
    cells = row.cells
    if speed >= last.speed[-1]:
        raise LogError(
            f"{table.name}: line {row.line}: {cells['speed']} is not below the speed of line {last.line}; in a "
            "coast-down the speed falls from mark to mark."
        )
    if seconds <= last.time_s[-1]:
        raise LogError(
            f"{table.name}: line {row.line}: {cells['seconds']} s is not after the mark of line {last.line}."
        )


def _both_ways(table: TypedTable) -> list[_Open]:
    """A line that goes on at the speed where the one before ended is the same coast-down timed on."""
    found: list[_Open] = []
    for way in ("out", "back"):
        column = f"seconds_{way}"
        if column in table.columns:
            found += _one_way(table, column, _WAYS[way])
    if not found:
        raise LogError(f"{table.name}: no line holds seconds_out or seconds_back.")
    out = [one for one in found if one.key[1] == "out"]
    back = [one for one in found if one.key[1] == "back"]
    order = [one for pair in zip(out, back, strict=False) for one in pair]
    return [*order, *out[len(back) :], *back[len(out) :]]


def _one_way(table: TypedTable, column: str, way: Direction) -> list[_Open]:
    found: list[_Open] = []
    goes_on = False
    for row in table.rows:
        high, low = _speed(table, row, "speed_from"), _speed(table, row, "speed_to")
        if low >= high:
            raise LogError(f"{table.name}: line {row.line}: speed_to is not below speed_from.")
        if not row.cells[column]:
            goes_on = False
            continue
        took = _seconds(table, row, column)
        if not took > 0.0:
            raise LogError(f"{table.name}: line {row.line}: {column} must be above zero.")
        key = (row.cells.get("pass", ""), way)
        last = found[-1] if found else None
        if goes_on and last is not None and key == last.key and abs(high - last.speed[-1]) < 1e-6:
            last.time_s.append(last.time_s[-1] + took)
            last.speed.append(low)
            last.line = row.line
        else:
            found.append(_Open(key, [0.0, took], [high, low], row.line, row.line))
        goes_on = True
    return found


def _laid_out(name: str, found: Sequence[_Open]) -> tuple[TypedCoastDown, ...]:
    """One after the other: nobody wrote when each began, and it matters little."""
    clock, laid = 0.0, []
    for one in found:
        time = np.array(one.time_s) - one.time_s[0]
        if len(time) < 2:
            raise LogError(
                f"{name}: line {one.first_line} is the only mark of its coast-down; it takes two speeds at least."
            )
        if time[-1] < SHORTEST_S:
            raise LogError(f"{name}: the coast-down up to line {one.line} lasts {time[-1]:g} s, which is too short.")
        laid.append(TypedCoastDown(clock + time, np.array(one.speed), one.key[1]))
        clock += float(time[-1]) + BETWEEN_S
    return tuple(laid)
