"""A day folder with its logs opened: the `Day` that the analysis takes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from server.errors import StillairError
from server.readers import open_log
from server.readers.join import join_run, opened
from server.readers.join_stand import join_stand_log
from server.testday.folder import FILE, read_folder
from server.testday.folder_paths import existing
from server.testday.folder_table import Table
from server.testday.logged_defaults import logged_defaults
from server.testday.roles import remembered
from server.testday.values import AxleLoading, Car, Day, Finding, LogFile, RawLog, Recording, Run, SpinDown

# a log's name in the folder, a person's word on its time column, the name of the database of its signals
OpenFile = Callable[[str, str | None, str | None], RawLog]


def load_day(
    path: Path | str, seen: Mapping[str, Sequence[str]] | None = None, open_file: OpenFile | None = None
) -> Day:
    """Read a day folder and open the logs of its runs and of its tests on the stand.

    Each file is opened once and let go after the last run that names it. A run without a start takes its
    log's clock, a day without a date its logs' date. seen: role → columns that people gave it on earlier days; what is
    taken over of them stands in the runs' channels. What is wrong with the log of a stand test is a finding,
    and the test has no recording. open_file: opens its logs, where they need not be read anew. Raises DayFolderError
    where a log is missing or lies outside the folder, LogError where one cannot be read.
    """
    day = read_folder(path)
    folder = Path(path).parent if Path(path).name == FILE else Path(path)
    for run in day.runs:
        for log in run.logs:
            place = Table({}, FILE, f"[[runs]] {run.number}", [])
            existing(folder, place, "log", log.file)
            if log.signals is not None:
                existing(folder, place, "signals", log.signals)
    if day.signals is not None:
        existing(folder, Table({}, FILE, "", []), "signals", day.signals)

    def read(file: str, column: str | None, signals: str | None) -> RawLog:
        database = None if signals is None else folder / signals
        return open_log(folder / file, name=file, time_column=column, signals=database)

    return join_logs(day, open_file or read, seen)


def join_logs(day: Day, open_file: OpenFile, seen: Mapping[str, Sequence[str]] | None = None) -> Day:
    """Return the day with the recordings of its runs and stand tests; `open_file` opens a log by its name."""
    shelf = _Shelf(day, open_file, seen or {})
    runs = tuple(_started(shelf.join(run)) for run in day.runs)
    stands = _Stands(shelf, day)
    joined = replace(
        day,
        runs=runs,
        spin_downs=tuple(stands.spin_down(test, n) for n, test in enumerate(day.spin_downs, start=1)),
        axle_loadings=tuple(stands.loading(test, n) for n, test in enumerate(day.axle_loadings, start=1)),
    )
    dates = sorted({date for date in shelf.dates.values() if date is not None})
    date = dates[0] if day.date is None and len(dates) == 1 else day.date
    findings = [
        Finding("log-date", "check", f"{file}: its date is {logged}, the day's {date}.")
        for file, logged in sorted(shelf.dates.items())
        if date is not None and logged is not None and logged != date
    ]
    findings += [*stands.findings, *logged_defaults(FILE, joined)]
    return replace(joined, date=date, findings=(*day.findings, *findings))


class _Shelf:
    """Opened logs, each kept until the last run or stand test that names it is joined."""

    def __init__(self, day: Day, open_file: OpenFile, seen: Mapping[str, Sequence[str]]) -> None:
        self._day = day
        self._open_file = open_file
        self._seen = seen
        self._uses = Counter(file for run in day.runs for file in _files(run))
        self._uses.update(test.log.file for test in day.spin_downs)
        self._uses.update(test.log.file for test in day.axle_loadings)
        self._open: dict[tuple[str, str | None, str | None], RawLog] = {}
        self.dates: dict[str, dt.date | None] = {}

    def join(self, run: Run) -> Run:
        """Return the run with its recordings."""
        run = self._as_seen(run) if self._seen else run
        joined = join_run(run, self.get, self._day.car, self._day.channels, timezone=self._day.timezone)
        self.dates |= {file: log.start_date for (file, *_), log in self._open.items() if file in _files(run)}
        self._let_go(_files(run))
        return joined

    def _as_seen(self, run: Run) -> Run:
        """The run with the roles of its columns that earlier days tell; its own words and the day's come first."""
        chosen = {**self._day.channels, **run.channels}
        taken: dict[str, str] = {}
        for log in run.logs:
            raw = opened(self.get, log, chosen.get("time"))
            taken = {**remembered(raw, {**chosen, **taken}, self._seen), **taken}
        return replace(run, channels={**taken, **run.channels}) if taken else run

    def join_stand(self, log: LogFile, wanted: tuple[str, ...], channels: Mapping[str, str]) -> Recording:
        """Return the recording of a stand test; raises StillairError where its log tells nothing."""
        try:
            return join_stand_log(
                log, wanted, self.get, self._day.car, channels=channels, day_channels=self._day.channels
            )
        finally:
            self._let_go({log.file})

    def _let_go(self, files: set[str]) -> None:
        self._uses.subtract(files)
        self._open = {key: log for key, log in self._open.items() if self._uses[key[0]]}

    def get(self, file: str, time_column: str | None = None, signals: str | None = None) -> RawLog:
        """Return a log, read the first time that it is asked for with these words on its time and signals."""
        key = (file, time_column, signals or self._day.signals)
        if key not in self._open:
            self._open[key] = self._open_file(*key)
        return self._open[key]


class _Stands:
    """The stand tests of a day joined to their logs; what is wrong with one is a finding."""

    def __init__(self, shelf: _Shelf, day: Day) -> None:
        self._shelf = shelf
        self._car = day.car
        self.findings: list[Finding] = []

    def spin_down(self, test: SpinDown, number: int) -> SpinDown:
        """Return a spin-down with the speeds of the driven wheels."""
        label = f"[[spin_downs]] {number}"
        return replace(test, recording=self._recording(label, test.log, driven_wheels(self._car), test.channels))

    def loading(self, test: AxleLoading, number: int) -> AxleLoading:
        """Return an axle loading with its dampers and all ride heights."""
        label, wanted = f"[[axle_loadings]] {number}", loading_roles(test)
        return replace(test, recording=self._recording(label, test.log, wanted, test.channels))

    def _recording(
        self, label: str, log: LogFile, wanted: tuple[str, ...], channels: Mapping[str, str]
    ) -> Recording | None:
        try:
            return self._shelf.join_stand(log, wanted, channels)
        except StillairError as why:
            text = f"{FILE}: {label} is not used: {why}"
            self.findings.append(Finding("stand-test-unused", "check", text))
            return None


def driven_wheels(car: Car) -> tuple[str, ...]:
    """Return the roles of the driven wheels' speeds."""
    ends = {"front": "f", "rear": "r", "all": "fr"}[car.driven]
    return tuple(f"wheel_speed_{end}{side}" for end in ends for side in "lr")


def loading_roles(test: AxleLoading) -> tuple[str, ...]:
    """Return the roles that an axle's loading can use: its dampers, and ride heights of both axles."""
    heights = [f"ride_height_{place}" for place in ("front", "rear", "fl", "fr", "rl", "rr")]
    return (*(f"damper_{test.axle[0]}{side}" for side in "lr"), *heights)


def _files(run: Run) -> set[str]:
    return {log.file for log in run.logs}


def _started(run: Run) -> Run:
    """Return the run with its start; where none was given, the first clock that its recordings know."""
    if run.start_clock_s is not None:
        return run
    known = (rec.start_clock_s for rec in run.recordings if rec.start_clock_s is not None)
    return replace(run, start_clock_s=next(known, None))
