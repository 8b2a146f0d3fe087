"""Setting up: pins that are whole, an environment made for real without a network, a wheel that has all."""

from __future__ import annotations

import ast
import os
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from server import bootstrap, installing, locations, pins
from server.environment import Environment, SetupError, make
from tests.pins import direct_requirements, environments, needed, pin_lines
from tests.small_checkout import base_python, being_set_up, small_checkout, start, write_wheel

ROOT = Path(__file__).resolve().parent.parent
POSIX_ONLY = pytest.mark.skipif(os.name == "nt", reason="signals and scripts of a POSIX system")


def pinned() -> dict[str, str]:
    """Name → version of all pins, with those that only one platform needs."""
    lines = [line for file in pins.files("tests") for line in file.read_text("utf-8").splitlines()]
    return dict(line.partition(";")[0].strip().split("==") for line in lines)


def test_pins_are_names_and_versions_only() -> None:
    for file in pins.files("tests"):
        for line in file.read_text("utf-8").splitlines():
            assert re.fullmatch(r"[a-z0-9-]+==[\w.]+( ; sys_platform == \"win32\")?", line), line


def test_every_requirement_is_pinned_all_the_way_down() -> None:
    """On every platform and Python version served, and at a version that whoever asks for it accepts."""
    versions = pinned()
    for environment in environments():
        for name, asked_by in needed(direct_requirements("tests"), environment).items():
            assert name in versions, f"{name} is needed but not pinned; run python3 -m tests.pins"
            for requirement in asked_by:
                assert requirement.specifier.contains(versions[name], prereleases=True), requirement


def test_pins_are_what_pyproject_asks_for_and_no_more() -> None:
    assert set(pins.files("run")[0].read_text("utf-8").splitlines()) == set(pin_lines())
    names = {line.partition("==")[0] for line in pin_lines("tests")}
    assert set(pinned()) == names


def test_this_environment_has_the_pins() -> None:
    assert pins.satisfied("tests")


def test_pins_change_the_digest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("run.txt", "tests.txt"):
        (tmp_path / name).write_text("a==1\n")
    monkeypatch.setattr(pins, "FOLDER", tmp_path)
    before = pins.digest("run"), pins.digest("tests")
    (tmp_path / "tests.txt").write_text("a==2\n")
    assert pins.digest("run") == before[0]
    assert pins.digest("tests") != before[1]


def test_pins_of_other_platforms_are_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "run.txt").write_text(
        f'one==1.0\nhere==2 ; sys_platform == "{sys.platform}"\nthere==3 ; sys_platform == "none"\n'
    )
    monkeypatch.setattr(pins, "FOLDER", tmp_path)
    assert pins.read("run") == {"one": "1.0", "here": "2"}


@pytest.fixture(scope="module")
def set_up(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """A small checkout after its first start."""
    checkout = small_checkout(tmp_path_factory.mktemp("checkout"))
    return checkout, start(checkout, "fit", "a day", "--json")


Started = tuple[Path, subprocess.CompletedProcess[str]]


def test_first_start_makes_the_environment_and_hands_over(set_up: Started) -> None:
    checkout, done = set_up
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip().split("|") == [
        str(checkout / ".venv"),
        "version 1.0",
        "fit",
        "a day",
        "--json",
    ]
    assert "setting up 1 packages" in done.stderr
    assert "could not be compiled" not in done.stderr


def test_first_start_compiles_the_fit_into_the_data_folder(set_up: Started) -> None:
    checkout, _ = set_up
    assert (checkout / "data" / "cache" / "numba").is_dir()


def test_second_start_does_nothing(set_up: Started) -> None:
    checkout, first = set_up
    before = stamps(checkout)
    done = start(checkout, "fit", "a day", "--json")
    assert (done.stdout, done.stderr) == (first.stdout, "")
    assert stamps(checkout) == before
    assert len(before) > 50


def stamps(checkout: Path) -> dict[Path, int]:
    """When each file of the environment and of the data folder was written, those that Python compiles apart."""
    files = (file for name in (".venv", "data") for file in (checkout / name).rglob("*") if file.is_file())
    return {file: file.stat().st_mtime_ns for file in files if file.suffix != ".pyc"}


@POSIX_ONLY
def test_the_command_runs_from_anywhere(set_up: Started, tmp_path: Path) -> None:
    checkout, _ = set_up
    command = [str(checkout / ".venv" / "bin" / "stillair"), "--version"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == f"{checkout / '.venv'}|version 1.0|--version"


def test_new_pins_are_installed_at_the_next_start(tmp_path: Path) -> None:
    checkout = small_checkout(tmp_path)
    assert start(checkout).returncode == 0
    write_wheel(checkout / "wheels", "2.0")
    (checkout / "server" / "pins" / "run.txt").write_text("madeup==2.0\n")
    done = start(checkout)
    assert "|version 2.0" in done.stdout, done.stderr


def test_a_moved_checkout_is_set_up_again(tmp_path: Path) -> None:
    checkout = small_checkout(tmp_path / "here")
    assert start(checkout).returncode == 0
    moved = checkout.rename(tmp_path / "there")
    done = start(moved)
    assert done.stdout.startswith(f"{moved / '.venv'}|"), done.stderr
    assert "setting up" in done.stderr


def test_a_package_that_cannot_be_had_is_one_sentence_and_leaves_nothing(tmp_path: Path) -> None:
    checkout = small_checkout(tmp_path)
    shutil.rmtree(checkout / "wheels")
    done = start(checkout)
    assert done.returncode == 1
    assert "stillair: the packages could not be installed" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (checkout / ".venv").exists()


@POSIX_ONLY
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_set_up_leaves_nothing(tmp_path: Path, number: signal.Signals) -> None:
    checkout = small_checkout(tmp_path)
    with being_set_up(checkout) as process:
        process.send_signal(number)
        _, said = process.communicate(timeout=120)
    assert process.returncode == bootstrap.INTERRUPTED_EXIT
    assert "interrupted" in said
    assert "Traceback" not in said
    assert not (checkout / ".venv").exists()


@POSIX_ONLY
def test_killed_set_up_is_done_again(tmp_path: Path) -> None:
    """What an ended process could not remove is no obstacle: the next start begins anew."""
    checkout = small_checkout(tmp_path)
    with being_set_up(checkout) as process:
        process.kill()
        process.wait()
        done = start(checkout)
    assert "|version 1.0" in done.stdout, done.stderr


@POSIX_ONLY
def test_two_starts_at_once_set_up_one_environment(tmp_path: Path) -> None:
    checkout = small_checkout(tmp_path)
    with being_set_up(checkout) as first:
        second = start(checkout)
        out, error = first.communicate(timeout=240)
    assert out == second.stdout == f"{checkout / '.venv'}|version 1.0\n"
    assert "set up in" in error
    assert second.stderr == "stillair: another start is setting up; waiting for it …\n"


def test_a_strange_folder_in_the_way_is_named_and_kept(tmp_path: Path) -> None:
    checkout = small_checkout(tmp_path)
    (checkout / ".venv").mkdir()
    (checkout / ".venv" / "mine.txt").write_text("mine")
    done = start(checkout)
    assert done.returncode == 1
    assert "in the way" in done.stderr
    assert (checkout / ".venv" / "mine.txt").read_text() == "mine"


def test_a_person_s_own_environment_is_used_and_never_removed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    checkout = small_checkout(tmp_path)
    environment = Environment(checkout / ".venv")
    subprocess.run([base_python(), "-m", "venv", "--without-pip", str(environment.folder)], check=True)

    def fail(_python: Path, _files: tuple[Path, ...]) -> None:
        raise SetupError("no")

    monkeypatch.setattr(installing, "install", fail)
    with pytest.raises(SetupError):
        make(environment, checkout, "run", tmp_path / "data")
    assert environment.python.exists()


def test_a_checkout_that_cannot_be_written_uses_the_data_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bootstrap.os, "access", lambda *_: False)
    chosen = bootstrap.choose(tmp_path / "checkout", tmp_path / "data", "run")
    assert chosen.folder.parent == tmp_path / "data" / "environments"
    assert bootstrap.choose(tmp_path / "other", tmp_path / "data", "run") != chosen


@pytest.mark.parametrize("code", [0, 3])
def test_without_replacing_the_process_the_exit_code_is_kept(
    code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """As on Windows: the arguments go to a child and its exit code comes back."""
    (tmp_path / "child.py").write_text("import sys; print(sys.argv[1:]); sys.exit(int(sys.argv[2]))")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["stillair", "a day", str(code)])
    monkeypatch.setattr(bootstrap.signal, "signal", lambda *_: None)
    with pytest.raises(SystemExit) as ended:
        bootstrap.hand_over(Path(sys.executable), "child", replace=False)
    assert ended.value.code == code
    assert capfd.readouterr().out == f"['a day', '{code}']\n"


def test_nothing_is_set_up_where_a_wheel_was_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locations, "PACKAGE", Path("/nowhere/site-packages/server"))
    monkeypatch.setattr(bootstrap, "choose", lambda *_: pytest.fail("tried to set up"))
    bootstrap.ensure("server")


@pytest.mark.parametrize("missing", [{"ensurepip", "pip"}, {"venv"}])
def test_missing_debian_package_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, missing: set[str]) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    monkeypatch.setattr(installing, "_has", lambda module: module not in missing)
    with pytest.raises(SetupError, match=r"package python3-venv.*apt-get install python3-venv"):
        installing.create(tmp_path / "environment")


@pytest.mark.parametrize(
    "output",
    [
        "Retrying … [Errno -3] Temporary failure in name resolution\nERROR: No matching distribution",
        "error: Failed to fetch\n  Caused by: dns error: failed to lookup address information",
        "NewConnectionError: Failed to establish a new connection: [Errno 101] Network is unreachable",
    ],
)
def test_no_network_is_said_in_one_sentence(output: str) -> None:
    said = installing.explain(output)
    assert "no package index answers" in said
    assert "\n" not in said


def test_other_failures_quote_the_installer_s_own_error() -> None:
    assert installing.explain("Collecting a\nERROR: No space left on device\nhint: free some\n").endswith(
        "ERROR: No space left on device"
    )


@pytest.mark.parametrize(
    ("arguments", "folder"),
    [
        (["demo", "--data", "/a b"], "/a b"),
        (["demo", "--data=/c"], "/c"),
        (["serve", "--port", "80"], "/default"),
        (["serve", "--data"], "/default"),
        ([], "/default"),
    ],
)
def test_the_data_folder_is_read_from_the_command_line(
    arguments: list[str], folder: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(locations.DATA_FOLDER_VARIABLE, "/default")
    assert locations.named_data_folder(arguments) == Path(folder)


def test_compiled_loops_go_to_the_data_folder_or_where_they_can(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    assert locations.use_numba_cache(tmp_path / "new") == tmp_path / "new" / "cache" / "numba"
    assert locations.use_numba_cache(tmp_path / "other") == tmp_path / "new" / "cache" / "numba"
    monkeypatch.delenv("NUMBA_CACHE_DIR")
    (tmp_path / "file").write_text("")
    assert tmp_path not in locations.use_numba_cache(tmp_path / "file" / "data").parents
    monkeypatch.delenv("NUMBA_CACHE_DIR")


@pytest.mark.parametrize("module", ["server", "tests"])
def test_an_older_python_is_told_so(module: str) -> None:
    """The entry file of each command parses in Python 3.6 and stops there with a sentence."""
    source = (ROOT / module / "__main__.py").read_text("utf-8")
    ast.parse(source, feature_version=(3, 6))
    assert "__future__" not in source
    first_lines = source[: source.index("def main")]
    assert "sys.version_info < (3, 11)" in first_lines
    assert "from server" not in first_lines


def test_heavy_parts_are_not_loaded_by_the_set_up() -> None:
    """The set-up runs where nothing is installed: it must need the standard library alone."""
    code = (
        "import server.bootstrap, sys;"
        "print([m for m in sys.modules.values() if 'site-packages' in str(getattr(m, '__file__', ''))])"
    )
    done = subprocess.run([base_python(), "-S", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
