"""The database of a bus log's signals, as a day folder names it."""

from dataclasses import replace
from pathlib import Path

import pytest

from server.errors import DayFolderError
from server.testday.folder import read_folder, write_folder
from tests.testday.folders import MINIMAL, make, read, refusal

RUNS = """
[[runs]]
signals = "bus/run.dbc"
logs = ["logs/a.blf", { file = "logs/b.blf", signals = "bus/b.dbc" }]
[[spin_downs]]
log = "logs/a.blf"
signals = "bus/stand.dbc"
"""


def test_a_logs_own_database_comes_before_its_runs_and_the_days_stays_the_days(tmp_path: Path) -> None:
    day = read(tmp_path / "day", 'signals = "bus\\\\day.dbc"\n' + MINIMAL + RUNS)
    assert day.signals == "bus/day.dbc"
    assert [[log.signals for log in run.logs] for run in day.runs] == [[None], ["bus/run.dbc", "bus/b.dbc"]]
    assert [test.log.signals for test in day.spin_downs] == ["bus/stand.dbc"]
    assert not [finding for finding in day.findings if finding.code == "unknown-key"]


@pytest.mark.parametrize(
    ("toml", "place"),
    [
        ('signals = "../car.dbc"\n' + MINIMAL, "testday.toml: signals"),
        (MINIMAL + 'signals = "../car.dbc"\n', "testday.toml: [[runs]] 1 signals"),
        (
            MINIMAL.replace('"logs/run01.csv"', '"a.blf"\n[[spin_downs]]\nlog = "b.blf"\nsignals = "../car.dbc"'),
            "testday.toml: [[spin_downs]] 1 signals",
        ),
    ],
)
def test_a_database_outside_the_folder_is_refused(tmp_path: Path, toml: str, place: str) -> None:
    said = f"{place} is '../car.dbc', which leaves the folder; a day's files lie inside it."
    assert refusal(tmp_path / "day", toml) == said


def test_databases_are_copied_with_the_logs(tmp_path: Path) -> None:
    names = ("logs/run01.csv", "logs/a.blf", "logs/b.blf")
    bases = ("bus/day.dbc", "bus/run.dbc", "bus/b.dbc", "bus/stand.dbc")
    toml = 'signals = "bus/day.dbc"\n' + MINIMAL + RUNS
    folder = make(tmp_path / "day", toml, {name: name for name in (*names, *bases)})
    again = write_folder(read_folder(folder), tmp_path / "again", folder)
    assert [(again / name).read_text() for name in bases] == list(bases)
    (folder / "bus" / "run.dbc").unlink()
    with pytest.raises(DayFolderError, match=r"\[\[runs\]\] 2 signals is 'bus/run.dbc'; the folder has no such file"):
        write_folder(read_folder(folder), tmp_path / "third", folder)
    outside = replace(read_folder(folder), signals="../day.dbc")
    with pytest.raises(DayFolderError, match=r"testday.toml: signals is '../day.dbc', which leaves the folder"):
        write_folder(outside, tmp_path / "fourth")
