"""Days into the archive and out of it: the same bytes, and the same results to the last digit."""

from __future__ import annotations

import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import select

from server.archive.archive import Archive
from server.archive.tables import Job
from server.commands.main import main
from server.days import changes
from server.days.revisions import revise_day
from server.days.service import folder_files
from server.locations import sample_day_folders
from server.results.tables import FittedResult
from server.testday.values import PassEdit

SHAKEDOWN, SATELLITE = sample_day_folders()[0], sample_day_folders()[-1]


def run(monkeypatch: pytest.MonkeyPatch, *arguments: object) -> int:
    monkeypatch.setattr(sys, "argv", ["stillair", *map(str, arguments)])
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def result_hashes(data: Path) -> list[str]:
    """SHA-256 of the result files, which are the same bytes for the same result."""
    archive = Archive(data)
    try:
        with archive.database.reading() as session:
            return list(session.scalars(select(FittedResult.sha256).order_by(FittedResult.id)))
    finally:
        archive.close()


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {path: file.read_bytes() for path, file in folder_files(folder)}


def test_a_day_out_and_in_again_gives_the_same_results(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second, out = tmp_path / "first", tmp_path / "second", tmp_path / "out"
    assert run(monkeypatch, "import", SHAKEDOWN, SATELLITE, "--data", first, "--who", "Ada") == 0
    names = [tmp_path / "out 1", tmp_path / "out 2"]
    for number, folder in enumerate(names, start=1):
        assert run(monkeypatch, "export", number, folder, "--data", first) == 0
    assert bytes_of(names[0]) == bytes_of(SHAKEDOWN)
    assert bytes_of(names[1]) == bytes_of(SATELLITE)
    assert run(monkeypatch, "import", *names, "--data", second) == 0
    assert result_hashes(second) == result_hashes(first)
    assert run(monkeypatch, "verify", "--data", first) == 0
    assert "is in the archive already" not in capsys.readouterr().out
    assert run(monkeypatch, "import", SHAKEDOWN, "--data", first) == 0
    assert "is in the archive already: day 1, revision 1." in capsys.readouterr().out
    assert len(result_hashes(first)) == 2
    assert not out.exists()


def test_a_changed_day_out_and_in_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = tmp_path / "data"
    assert run(monkeypatch, "import", SHAKEDOWN, "--data", data, "--no-fit") == 0
    archive = Archive(data)
    archive.open()
    for change in (
        lambda day: changes.change_car(day, "mass_kg", replace(day.car.mass_kg, value=241.5)),
        lambda day: changes.edit_pass(day, day.runs[0].number, PassEdit(10.0, 20.0, False, "traffic")),
    ):
        revise_day(archive, 1, change, who="Ada", reason="made up")
    archive.close()
    one, two, three = (tmp_path / name for name in ("one", "two", "three"))
    assert run(monkeypatch, "export", 1, one, "--revision", 1, "--data", data) == 0
    assert run(monkeypatch, "export", 1, two, "--revision", 2, "--data", data) == 0
    assert run(monkeypatch, "export", 1, three, "--data", data) == 0
    assert bytes_of(one) == bytes_of(SHAKEDOWN)
    assert bytes_of(two) != bytes_of(three)
    again = tmp_path / "again"
    assert run(monkeypatch, "import", three, "--data", again, "--no-fit") == 0
    assert run(monkeypatch, "export", 1, tmp_path / "four", "--data", again) == 0
    assert bytes_of(tmp_path / "four") == bytes_of(three)
    assert run(monkeypatch, "verify", "--data", data) == run(monkeypatch, "verify", "--data", again) == 0


def test_without_a_fit_the_fit_waits_for_the_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(monkeypatch, "import", SHAKEDOWN, "--data", tmp_path / "data", "--no-fit") == 0
    archive = Archive(tmp_path / "data")
    with archive.database.reading() as session:
        assert [job.state for job in session.scalars(select(Job))] == ["queued"]
    archive.close()


def test_a_day_that_cannot_be_read_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken"
    shutil.copytree(SHAKEDOWN, broken)
    (broken / "testday.toml").write_text("format = 1\n")
    assert run(monkeypatch, "import", broken, "--data", tmp_path / "data") == 2
    assert "testday.toml" in capsys.readouterr().err
    assert not [file for file in (tmp_path / "data" / "raw").rglob("*") if file.is_file()]
    assert run(monkeypatch, "import", tmp_path / "nowhere", "--data", tmp_path / "data") == 2


def test_a_running_server_keeps_the_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    running = Archive(tmp_path / "data")
    assert run(monkeypatch, "import", SHAKEDOWN, "--data", tmp_path / "data") == 2
    running.close()
    assert "is in use by another Stillair" in capsys.readouterr().err


def test_what_export_refuses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data, full = tmp_path / "data", tmp_path / "full"
    run(monkeypatch, "import", SHAKEDOWN, "--data", data, "--no-fit")
    full.mkdir()
    (full / "mine").write_text("kept")
    for words, sentence in (
        ((1, full), "is there already and not empty"),
        ((7, tmp_path / "x"), "There is no test day number 7."),
        (("nothing", tmp_path / "x"), 'There is no day "nothing" in the archive.'),
        ((1, tmp_path / "x", "--revision", 9), "has no revision 9"),
    ):
        assert run(monkeypatch, "export", *words, "--data", data) == 2
        assert sentence in capsys.readouterr().err
    assert (full / "mine").read_text() == "kept"
    assert not (tmp_path / "x").exists()


def test_verify_ends_with_3_when_something_is_amiss(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    assert run(monkeypatch, "verify", "--data", data) == 2
    run(monkeypatch, "import", SHAKEDOWN, "--data", data, "--no-fit")
    file = next(file for file in (data / "raw").rglob("*") if file.is_file())
    file.unlink()
    capsys.readouterr()
    assert run(monkeypatch, "verify", "--data", data) == 3
    assert f"Raw file {file.name}: cannot be read" in capsys.readouterr().out
