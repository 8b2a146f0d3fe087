"""A day folder with its logs opened: which files are opened, when, and what the day takes from them."""

import datetime as dt
import shutil
import weakref
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.errors import DayFolderError, LogError
from server.readers import load_day as module
from server.readers.join import opened
from server.readers.load_day import join_logs, load_day
from server.testday.folder import read_folder
from server.testday.values import Car, Channel, Day, RawLog, Recording, Run
from tests.testday.folders import MINIMAL, make, read, texts

RUNS = (
    'timezone = "Europe/Lisbon"\n'
    + MINIMAL.split("[[runs]]")[0]
    + """
[[runs]]
number = 1
log = "logs/a.csv"
to_s = 6
[[runs]]
number = 2
logs = ["logs/b.csv", "logs/box.csv"]
start = 09:30:00
[[runs]]
number = 3
log = "logs/a.csv"
from_s = 6
"""
)

CSV = "time [s],gps_speed [m/s]\n" + "".join(f"{n / 10:.1f},{20 - n / 20:.2f}\n" for n in range(100))


class Watched(RawLog):
    """A log whose end can be seen."""

    __slots__ = ("__weakref__",)


class Logs:
    """Opens made-up logs and remembers which."""

    def __init__(self, clocks: dict[str, float], dates: dict[str, dt.date] | None = None) -> None:
        self.opened: list[str] = []
        self.databases: list[str | None] = []
        self.time_columns: list[str | None] = []
        self.clocks = clocks
        self.dates = dates or {}

    def __call__(self, file: str, time_column: str | None, signals: str | None = None) -> RawLog:
        self.databases.append(signals)
        self.time_columns.append(time_column)
        self.opened.append(file)
        channel = Channel("gps_speed", "m/s", np.array([0.0, 1.0]), np.array([20.0, 19.0]))
        return Watched(file, (channel,), "made up", self.clocks.get(file), self.dates.get(file))


def join(
    run: Run,
    open_file: Callable[..., RawLog],
    car: Car,
    day_channels: dict[str, str],
    *,
    timezone: str | None,
) -> Run:
    """Stand in for the joining of logs to a run: one recording a log, on the log's own clock."""
    assert car.mass_kg.value == 236.0
    assert day_channels == {}
    assert timezone == "Europe/Lisbon"
    logs = [open_file(log.file, time_column=run.channels.get("time")) for log in run.logs]
    return replace(run, recordings=tuple(Recording(log.file, {}, log.start_clock_s) for log in logs))


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    monkeypatch.setattr(module, "join_run", join)
    return read(tmp_path / "day", RUNS)


def test_each_file_is_opened_once_though_runs_share_it(day: Day) -> None:
    logs = Logs({})
    joined = join_logs(day, logs)
    assert logs.opened == ["logs/a.csv", "logs/b.csv", "logs/box.csv"]
    assert [[rec.file for rec in run.recordings] for run in joined.runs] == [
        ["logs/a.csv"],
        ["logs/b.csv", "logs/box.csv"],
        ["logs/a.csv"],
    ]


def test_a_run_without_start_takes_its_logs_clock(day: Day) -> None:
    joined = join_logs(day, Logs({"logs/a.csv": 33_000.0, "logs/b.csv": 34_000.0}))
    assert [run.start_clock_s for run in joined.runs] == [33_000.0, 34_200.0, 33_000.0]
    assert [run.start_clock_s for run in join_logs(day, Logs({})).runs] == [None, 34_200.0, None]


def test_a_day_without_date_takes_the_one_its_logs_agree_on(day: Day) -> None:
    ninth, tenth = dt.date(2026, 5, 9), dt.date(2026, 5, 10)
    assert join_logs(day, Logs({}, {"logs/a.csv": ninth, "logs/b.csv": ninth})).date == ninth
    assert join_logs(day, Logs({}, {"logs/a.csv": ninth, "logs/b.csv": tenth})).date is None
    other = join_logs(replace(day, date=ninth), Logs({}, {"logs/a.csv": ninth, "logs/b.csv": tenth}))
    assert other.date == ninth
    assert texts(other, "log-date") == ["logs/b.csv: its date is 2026-05-10, the day's 2026-05-09."]


def test_a_word_on_the_time_column_is_a_reading_of_its_own(day: Day) -> None:
    logs = Logs({})
    word = replace(day.runs[0], channels={"time": "tick"})
    join_logs(replace(day, runs=(word, *day.runs[1:], replace(word, number=4))), logs)
    assert list(zip(logs.opened, logs.time_columns, strict=True)) == [
        ("logs/a.csv", "tick"),
        ("logs/b.csv", None),
        ("logs/box.csv", None),
        ("logs/a.csv", None),
    ]


def test_a_log_is_let_go_after_its_last_run(day: Day) -> None:
    logs, alive = Logs({}), []
    kept: dict[str, weakref.ref[RawLog]] = {}

    def opening(file: str, time_column: str | None, _: str | None) -> RawLog:
        alive.append(sorted(name for name, log in kept.items() if log() is not None))
        log = logs(file, time_column)
        kept[file] = weakref.ref(log)
        return log

    last = replace(day.runs[1], number=4, logs=(replace(day.runs[1].logs[0], file="logs/c.csv"),))
    join_logs(replace(day, runs=(*day.runs, last)), opening)
    assert alive == [[], ["logs/a.csv"], ["logs/a.csv", "logs/b.csv"], []]


def test_the_folders_own_findings_stay(day: Day) -> None:
    assert set(day.findings) <= set(join_logs(day, Logs({})).findings)


@pytest.mark.parametrize("given", [str, Path, lambda path: path / "testday.toml"])
def test_logs_of_a_real_folder_become_recordings(tmp_path: Path, given: Callable[[Path], Path | str]) -> None:
    folder = make(tmp_path / "day", RUNS, {f"logs/{name}.csv": CSV for name in ("a", "b", "box")})
    day = load_day(given(folder))
    assert [len(run.recordings) for run in day.runs] == [1, 2, 1]
    for run in day.runs:
        for recording in run.recordings:
            assert recording.file in [log.file for log in run.logs]
            assert "gps_speed" in recording.signals
    assert day.runs[0].recordings[0].signals["gps_speed"].values[0] == 20.0
    assert day.setups == read_folder(folder).setups


def test_a_missing_log_is_refused_with_the_nearest_name(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL, {"logs/Run01.CSV": CSV})
    with pytest.raises(DayFolderError) as error:
        load_day(folder)
    said = "[[runs]] 1 log is 'logs/run01.csv'; the folder has no such file (there is 'Run01.CSV')."
    assert str(error.value) == f"testday.toml: {said}"


def test_a_log_that_is_a_folder_is_refused(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL)
    (folder / "logs" / "run01.csv").mkdir(parents=True)
    with pytest.raises(DayFolderError, match=r"log is 'logs/run01.csv'; the folder has no such file"):
        load_day(folder)


def test_a_log_outside_is_refused_before_any_is_opened(tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text(CSV)
    folder = make(tmp_path / "day", MINIMAL)
    (folder / "logs").mkdir()
    (folder / "logs" / "run01.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(DayFolderError, match=r"1 log is 'logs/run01.csv', which leaves the folder"):
        load_day(folder)


def test_a_log_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    folder = make(tmp_path / "day", MINIMAL, {"logs/run01.csv": ""})
    with pytest.raises(LogError, match=r"^logs/run01\.csv "):
        load_day(folder)


REAL = Path(__file__).parents[3] / "shared" / "data" / "rsk_twizy"


@pytest.mark.skipif(not REAL.is_dir(), reason="the real drives of ../shared/data/rsk_twizy are not there")
def test_real_drives_give_start_and_date(tmp_path: Path) -> None:
    """17 drives of a small electric car, NaitMalekYoussef/RSK_Twizy_EV_Dataset, CC-BY-4.0."""
    for number, drive in enumerate(sorted(REAL.rglob("*.csv"))):
        folder = make(tmp_path / str(number), MINIMAL.replace("236.0", "450.0"))
        (folder / "logs").mkdir()
        shutil.copyfile(drive, folder / "logs" / "run01.csv")
        day = load_day(folder)
        (run,) = day.runs
        assert run.start_clock_s is not None
        assert 6 * 3600 < run.start_clock_s < 20 * 3600
        assert {"gps_speed", "vehicle_speed"} <= set(run.recordings[0].signals)
        assert day.date is None or day.date.year == 2021


def test_a_log_is_opened_with_its_own_database_or_the_days(day: Day) -> None:
    logs = Logs({})
    own = replace(day.runs[1], logs=(replace(day.runs[1].logs[0], signals="bus/b.dbc"), day.runs[1].logs[1]))
    day = replace(day, signals="bus/day.dbc", runs=(day.runs[0], own, day.runs[2]))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "join_run", join_with_signals)
        join_logs(day, logs)
    assert list(zip(logs.opened, logs.databases, strict=True)) == [
        ("logs/a.csv", "bus/day.dbc"),
        ("logs/b.csv", "bus/b.dbc"),
        ("logs/box.csv", "bus/day.dbc"),
    ]


def join_with_signals(run: Run, open_file: Callable[..., RawLog], *_: object, **__: object) -> Run:
    return replace(run, recordings=tuple(Recording(opened(open_file, log, None).file, {}) for log in run.logs))


def test_a_missing_database_is_refused_with_the_nearest_name(tmp_path: Path) -> None:
    folder = make(
        tmp_path / "day", 'signals = "car.dbc"\n' + MINIMAL, {"logs/run01.csv": CSV, "Car2.dbc": ""}
    )
    with pytest.raises(DayFolderError, match=r"^testday.toml: signals is 'car.dbc'; the folder has no such file"):
        load_day(folder)
