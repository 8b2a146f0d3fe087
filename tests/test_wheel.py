"""The wheel: the package with its pages, migrations and sample days inside."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from server import __version__
from tests.tree import ROOT, tracked


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel, built from a copy of what git would keep."""
    copy = tmp_path_factory.mktemp("source")
    for path in tracked():
        (copy / path).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / path, copy / path)
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(copy / "dist")]
    done = subprocess.run(command, cwd=copy, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return next((copy / "dist").glob("*.whl"))


def test_the_wheel_has_everything_inside_server(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as bundle:
        inside = set(bundle.namelist())
    bundled = ("web/", "migrations/", "sample_data/")
    wanted = {f"server/{path}" for path in tracked() if path.startswith(bundled)}
    wanted |= {path for path in tracked() if path.startswith("server/")}
    assert {name for name in inside if ".dist-info/" not in name} == wanted
    for folder in bundled:
        assert any(name.startswith(f"server/{folder}") for name in inside), folder


def test_an_unpacked_wheel_finds_its_folders_and_runs(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as bundle:
        bundle.extractall(tmp_path)
    code = (
        "from server.locations import *; import server.commands.main as m;"
        "folders = web_folder(), migrations_folder(), sample_data_folder();"
        "print(checkout_folder(), *(f.is_dir() for f in folders),"
        "len(sample_day_folders()) > 0, m.__version__, m.__file__)"
    )
    command = [sys.executable, "-c", code]
    clean = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(
        command,
        cwd=tmp_path,
        env={**clean, "PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split()[:6] == ["None", "True", "True", "True", "True", __version__]
    assert done.stdout.split()[6].startswith(str(tmp_path))


def test_the_wheel_offers_the_command(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as bundle:
        entry = next(name for name in bundle.namelist() if name.endswith("entry_points.txt"))
        assert "stillair = server.commands.main:main" in bundle.read(entry).decode()
