"""A day folder with its logs opened: the `Day` that the analysis takes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from server.readers import open_log
from server.readers.join import join_run
from server.testday.folder import FILE, read_folder
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.values import Day, Finding, RawLog, Run

OpenFile = Callable[
    [str, str | None], RawLog
]  # a log's name in the folder, a person's word on its time column


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
    return join_logs(day, lambda file, column: open_log(folder / file, name=file, time_column=column))


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
        self._uses = Counter(file for run in day.runs for file in _files(run))
        self._open: dict[tuple[str, str | None], RawLog] = {}
        self.dates: dict[str, dt.date | None] = {}

    def join(self, run: Run) -> Run:
        """Return the run with its recordings."""
        joined = join_run(run, self.get, self._day.car, self._day.channels, timezone=self._day.timezone)
        self._uses.subtract(_files(run))
        self._open = {key: log for key, log in self._open.items() if self._uses[key[0]]}
        return joined

    def get(self, file: str, time_column: str | None = None) -> RawLog:
        """Return a log, read the first time that it is asked for with this word on its time."""
        key = (file, time_column)
        if key not in self._open:
            self._open[key] = self._open_file(file, time_column)
            self.dates[file] = self._open[key].start_date
        return self._open[key]


def _files(run: Run) -> set[str]:
    return {log.file for log in run.logs}


def _started(run: Run) -> Run:
    """Return the run with its start; where none was given, the first clock that its recordings know."""
    if run.start_clock_s is not None:
        return run
    known = (rec.start_clock_s for rec in run.recordings if rec.start_clock_s is not None)
    return replace(run, start_clock_s=next(known, None))
