"""A day folder with its logs opened: the `Day` that the analysis takes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from server.errors import LogError
from server.readers import open_log
from server.readers.join import join_run
from server.testday.folder import FILE, read_folder
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.values import Day, Finding, RawLog, Run

OpenFile = Callable[[str, str | None], RawLog]  # a log's name in the folder, the column named as its time
_Key = tuple[str, str | None]


def load_day(path: Path | str) -> Day:
    """Read a day folder and open the logs of its runs.

    Each file is opened once and let go after the last run that names it. A run without a start takes its
    log's clock, a day without a date its logs' date. Raises DayFolderError where a log is missing or lies
    outside the folder, LogError where one cannot be read.
    """
    day = read_folder(path)
    folder = Path(path).parent if Path(path).name == FILE else Path(path)
    for run in day.runs:
        for log in run.logs:
            existing(folder, Table({}, FILE, f"[[runs]] {run.number}", []), "log", log.file)
    return join_logs(day, lambda file, time_column: _read_log(folder, file, time_column))


def join_logs(day: Day, open_file: OpenFile) -> Day:
    """Return the day with its runs' recordings; `open_file` takes a log's name to the log as read."""
    shelf = _Shelf(day, open_file)
    runs = tuple(_started(shelf.join(run)) for run in day.runs)
    dates = sorted({date for date in shelf.dates.values() if date is not None})
    date = dates[0] if day.date is None and len(dates) == 1 else day.date
    findings = [
        Finding("log-date", "check", f"{file}: its date is {logged}, the day's {date}.")
        for file, logged in sorted(shelf.dates.items())
        if date is not None and logged is not None and logged != date
    ]
    return replace(day, runs=runs, date=date, findings=(*day.findings, *findings))


class _Shelf:
    """Opened logs, each kept until the last run that names it is joined."""

    def __init__(self, day: Day, open_file: OpenFile) -> None:
        self._day = day
        self._open_file = open_file
        self._uses = Counter(key for run in day.runs for key in self._keys(run))
        self._open: dict[_Key, RawLog] = {}
        self.dates: dict[str, dt.date | None] = {}

    def join(self, run: Run) -> Run:
        """Return the run with its recordings."""
        column = self._time_column(run)
        joined = join_run(run, lambda file: self._get((file, column)), self._day.car, self._day.channels)
        for key in self._keys(run):
            self._uses[key] -= 1
            if not self._uses[key]:
                self._open.pop(key, None)
        return joined

    def _get(self, key: _Key) -> RawLog:
        if key not in self._open:
            self._open[key] = self._open_file(*key)
            self.dates[key[0]] = self._open[key].start_date
        return self._open[key]

    def _keys(self, run: Run) -> set[_Key]:
        return {(log.file, self._time_column(run)) for log in run.logs}

    def _time_column(self, run: Run) -> str | None:
        return run.channels.get("time") or self._day.channels.get("time")


def _read_log(folder: Path, file: str, time_column: str | None) -> RawLog:
    """Read a log; where it lacks the column that [channels] names as the time of all, by its own."""
    try:
        return open_log(folder / file, name=file, time_column=time_column)
    except LogError as error:
        if time_column is None:
            raise
        log = open_log(folder / file, name=file)
        text = f"{error} Its time was found by name and values instead: {log.description}"
        return replace(log, findings=(*log.findings, Finding("time-column", "check", text)))


def _started(run: Run) -> Run:
    """Return the run with its start; where none was given, the first clock that its recordings know."""
    if run.start_clock_s is not None:
        return run
    known = (rec.start_clock_s for rec in run.recordings if rec.start_clock_s is not None)
    return replace(run, start_clock_s=next(known, None))
