"""The [[runs]] of a day folder: logs, driver, clock, coasting and a person's edits of passes."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations
from pathlib import Path
from typing import get_args

from server.testday import folder_keys as keys
from server.testday.defaults import missing_quantity
from server.testday.folder_channels import read_channels
from server.testday.folder_numbers import clock, exact_number, listed_number, needed_number, number, quantity, spoken
from server.testday.folder_paths import inside, signals_inside
from server.testday.folder_setups import setup_of_run
from server.testday.folder_table import Table, listing
from server.testday.values import Coasting, Direction, LogFile, PassEdit, Run, Setup

COASTING: tuple[Coasting, ...] = get_args(Coasting)
DIRECTIONS: tuple[Direction, ...] = get_args(Direction)
CORNERS = 4
_PRESSURES_WANTED = 'a list of four pressures, front left to rear right, "" for one that was not read'
_LOGS_WANTED = '"logs/run01.csv" or { file = "logs/run01.csv", clock_offset_s = 0.0 }'


def read_runs(root: Table, folder: Path, setups: tuple[Setup, ...]) -> tuple[Run, ...]:
    """Read the runs in the order of the file; numbers are unique, each has a log."""
    tables = root.tables("runs", "[[runs]]", called_by="number")
    if not tables:
        root.missing("[[runs]]", "; a day needs one run with its log")
    runs: dict[int, Run] = {}
    for position, table in enumerate(tables, start=1):
        run = _run(table, position, folder, setups)
        if run.number in runs:
            table.refuse("number", f"is {run.number}, which another run has already.")
        runs[run.number] = run
    _note_default_driver(root, [*runs.values()])
    _note_shared_logs(root, [*runs.values()])
    return tuple(runs.values())


def _run(table: Table, position: int, folder: Path, setups: tuple[Setup, ...]) -> Run:
    number_given = table.whole("number", 1, 1_000_000, "a run's number")
    coasting = table.word("coasting", COASTING, "the way of coasting")
    direction = table.word("direction", DIRECTIONS, "a direction")
    cold, hot = keys.TYRE_PRESSURES
    return Run(
        number=position if number_given is None else number_given,
        setup=setup_of_run(table, setups),
        logs=_logs(table, folder),
        driver_mass_kg=quantity(table, keys.DRIVER_MASS) or missing_quantity("driver_mass_kg"),
        start_clock_s=clock(table, "start"),
        coasting=next((word for word in COASTING if word == coasting), "unknown"),
        direction=next((word for word in DIRECTIONS if word == direction), None),
        passes=tuple(_pass(edit) for edit in table.tables("passes", "[[runs.passes]]", f" of {table.label}")),
        channels=read_channels(table.table("channels", f"{table.label} [runs.channels]", "[runs.channels]")),
        notes=table.text("notes") or "",
        driver=table.name("driver") or "",
        remarks=table.text("remarks") or "",
        tyre_cold_pa=_pressures(table, cold),
        tyre_hot_pa=_pressures(table, hot),
    )


def _pressures(table: Table, key: keys.Key) -> tuple[float | None, ...]:
    """Read a tyre's pressure for each corner; a corner that was not read stands as an empty text."""
    entries = table.items(key.name, _PRESSURES_WANTED)
    if entries and len(entries) != CORNERS:
        table.refuse(key.name, f"has {len(entries)} entries; it must have {CORNERS}.")
    return tuple(None if entry == "" else listed_number(table, key, entry) for entry in entries)


def _logs(table: Table, folder: Path) -> tuple[LogFile, ...]:
    """Read log = "…" or logs = […]; from_s, to_s, clock_offset_s, signals of the run hold where a log has none."""
    single, several = table.get("log"), table.get("logs")
    if single is not None and several is not None:
        table.refuse("log", "is given beside logs; give one of them.")
    if single is None and several is None:
        table.missing("log", '; a run needs its log, such as log = "logs/run01.csv"')
    if single is not None:
        return (_log(table, "log", table, folder),)
    entries = table.items("logs", f"a list of {_LOGS_WANTED}")
    if not entries:
        table.refuse("logs", "is an empty list; a run needs its log.")
    return tuple(_listed_log(table, index, entry, folder) for index, entry in enumerate(entries))


def _listed_log(run: Table, index: int, entry: object, folder: Path) -> LogFile:
    values = {"file": entry} if isinstance(entry, str) else entry
    if not isinstance(values, dict):
        run.wrong_type("logs", entry, f"a list of {_LOGS_WANTED}")
    table = Table(values, run.file, f"{run.label} logs {index + 1}", run.findings)
    log = _log(table, "file", run, folder)
    table.close()
    return log


def _log(table: Table, key: str, run: Table, folder: Path) -> LogFile:
    named = table.text(key)
    if not named:
        table.missing(key, "; it must name a file in the folder")
    cuts = [exact_number(table, cut) for cut in (keys.CLOCK_OFFSET, keys.FROM, keys.TO)]
    offset, start, end = (
        number(run, cut) if own is None else own
        for cut, own in zip((keys.CLOCK_OFFSET, keys.FROM, keys.TO), cuts, strict=True)
    )
    if start is not None and end is not None and end <= start:
        table.refuse("to_s", f"is {end:g}, not after from_s = {start:g}.")
    signals = signals_inside(folder, table) or signals_inside(folder, run)
    return LogFile(inside(folder, table, key, named), offset or 0.0, start, end, signals)


def _pass(table: Table) -> PassEdit:
    start, end = needed_number(table, keys.START), needed_number(table, keys.END)
    if end <= start:
        table.refuse("end_s", f"is {end:g}, not after start_s = {start:g}.")
    return PassEdit(start, end, table.boolean("used", True), table.text("reason") or "")


def _note_default_driver(root: Table, runs: list[Run]) -> None:
    without = [str(run.number) for run in runs if run.driver_mass_kg.source == "default"]
    if without:
        which = f"run {without[0]}" if len(without) == 1 else f"runs {listing(without, 'and')}"
        taken = spoken(missing_quantity("driver_mass_kg"), keys.DRIVER_MASS)
        text = f"{root.file}: [[runs]] driver_mass_kg is not given for {which}; {taken} is used."
        root.note("default-used", text)


def _note_shared_logs(root: Table, runs: list[Run]) -> None:
    """Note two runs that take the same stretch of one log: its passes would count twice."""
    uses = Counter(log.file for run in runs for log in run.logs)
    sharing = (run for run in runs if any(uses[log.file] > 1 for log in run.logs))
    for first, second in combinations(sharing, 2):
        for log in first.logs:
            if any(_overlap(log, other) for other in second.logs):
                text = (
                    f"{root.file}: [[runs]] log of runs {first.number} and {second.number} is the same "
                    f"stretch of {log.file}, so its passes count twice; from_s and to_s tell the runs apart."
                )
                root.note("log-shared", text, "check", second.number)


def _overlap(one: LogFile, other: LogFile) -> bool:
    if one.file != other.file:
        return False
    starts = [-math.inf if log.from_s is None else log.from_s for log in (one, other)]
    ends = [math.inf if log.to_s is None else log.to_s for log in (one, other)]
    return max(starts) < min(ends)
