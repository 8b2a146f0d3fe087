"""The command line as a person meets it: help that teaches, one sentence on a mistake, honest exit codes."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from server import __version__
from server.analysis.result import DayResult
from server.commands import fit as fit_module
from server.commands.demo import sample_day
from server.commands.main import app, main
from server.errors import DayFolderError, StillairError
from server.locations import sample_day_folders
from server.testday.findings import CODES
from server.testday.values import Day
from tests.analysis.made_result import made_result
from tests.testday.folders import MINIMAL, read

COMMANDS = (
    "demo", "serve", "fit", "study", "again", "import",
    "export", "report", "pack", "unpack",
    "verify", "backup", "restore", "move", "scheduler", "worker", "invite",
)
RUNNER = CliRunner()


def test_the_commands_are_these() -> None:
    listed = RUNNER.invoke(app, ["--help"]).output
    assert set(re.findall(r"^  (\w+)  ", listed.partition("Commands:")[2], re.MULTILINE)) == set(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_teaches_by_examples_and_explains_every_option(command: str) -> None:
    said = RUNNER.invoke(app, [command, "--help"], terminal_width=100).output
    examples = [line for line in said.splitlines() if line.strip().startswith(f"stillair {command}")]
    assert len(examples) >= 2
    options = get_command(app).commands[command].params  # type: ignore[attr-defined]
    assert all(option.help for option in options)
    assert all(option.opts[-1] in said for option in options if option.opts[0].startswith("--"))


def test_version() -> None:
    assert RUNNER.invoke(app, ["--version"]).output == f"stillair {__version__}\n"


def test_fit_help_lists_every_finding_code() -> None:
    said = RUNNER.invoke(app, ["fit", "--help"]).output
    for code in CODES:
        assert re.search(rf"^ +{code} ", said, re.MULTILINE), code


def run_main(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> int:
    """The exit code of `stillair …` in this process."""
    monkeypatch.setattr(sys, "argv", ["stillair", *arguments])
    with pytest.raises(SystemExit) as ended:
        main()
    return int(ended.value.code or 0)


def empty_day() -> Day:
    """The least day that a folder can tell; it predicts nothing."""
    with tempfile.TemporaryDirectory() as folder:
        return read(Path(folder) / "least", MINIMAL, {})


def answered(monkeypatch: pytest.MonkeyPatch, answer: DayResult | Exception) -> None:
    """Let `fit` get this answer instead of fitting."""

    def fitted(_path: Path, progress: object) -> tuple[Day, DayResult]:
        progress(0.5, "fitting")  # type: ignore[operator]
        if isinstance(answer, Exception):
            raise answer
        return empty_day(), answer

    monkeypatch.setattr(fit_module, "fitted", fitted)


def test_fit_prints_the_report(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    answered(monkeypatch, made_result())
    assert run_main(monkeypatch, "fit", "a day") == 0
    out, error = capsys.readouterr()
    assert out.startswith("Setup A: SCx 1.385 ± 0.041 m²")
    assert error == " 50 %  fitting\n"


def test_fit_json_is_one_strict_object(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    answered(monkeypatch, made_result())
    assert run_main(monkeypatch, "fit", "a day", "--json") == 0

    def refuse(constant: str) -> None:
        pytest.fail(f"{constant} is no JSON")

    told = json.loads(capsys.readouterr().out, parse_constant=refuse)
    assert told["name"] == "Long apron"


def test_an_unusable_folder_is_one_sentence_and_exit_code_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answered(monkeypatch, DayFolderError("testday.toml, [car]: mass_kg is missing."))
    assert run_main(monkeypatch, "fit", "a day", "--json") == 2
    out, error = capsys.readouterr()
    assert out == ""
    assert error.splitlines()[-1] == "stillair: testday.toml, [car]: mass_kg is missing."
    assert "Traceback" not in error


def test_a_mistake_of_the_program_is_not_dressed_as_the_user_s(monkeypatch: pytest.MonkeyPatch) -> None:
    answered(monkeypatch, ZeroDivisionError())
    monkeypatch.setattr(sys, "argv", ["stillair", "fit", "a day"])
    with pytest.raises(ZeroDivisionError):
        main()


@pytest.mark.parametrize("arguments", [["fit", "no such folder"], ["fit", "no such.zip", "--json"]])
def test_a_folder_that_is_not_there(arguments: list[str]) -> None:
    """In a process of its own, as a person starts it."""
    done = subprocess.run([sys.executable, "-m", "server", *arguments], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-1] == f"stillair: There is no folder and no zip {arguments[1]}."


def test_a_file_that_is_no_zip(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "day.zip").write_text("not a zip")
    assert run_main(monkeypatch, "fit", str(tmp_path / "day.zip")) == 2
    assert "day.zip is no zip" in capsys.readouterr().err


def test_unknown_options_are_refused_with_code_2(monkeypatch: pytest.MonkeyPatch) -> None:
    assert run_main(monkeypatch, "fit", "a day", "--jsno") == 2
    assert run_main(monkeypatch, "fitt") == 2


def test_the_demo_s_day_is_there_and_another_name_lists_them() -> None:
    assert sample_day("2026-05-09 calm morning") in sample_day_folders()
    with pytest.raises(StillairError, match='no made-up day "x"; there are "20'):
        sample_day("x")
