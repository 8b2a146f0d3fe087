"""A checkout in small: the set-up's own files, one pinned package that is a file on disk, no network."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from server import locations

ROOT = Path(__file__).resolve().parent.parent


def small_checkout(folder: Path) -> Path:
    """A folder that sets itself up like the project: its command prints where it runs and what it has."""
    server = folder / "server"
    (server / "pins").mkdir(parents=True)
    (server / "commands").mkdir()
    for name in (
        *("__init__.py", "__main__.py", "bootstrap.py", "environment.py", "installing.py", "locations.py"),
        "pins/__init__.py",
    ):
        shutil.copy(ROOT / "server" / name, server / name)
    (folder / "pyproject.toml").write_text("")
    (server / "pins" / "run.txt").write_text("madeup==1.0\n")
    (server / "pins" / "tests.txt").write_text("")
    (server / "commands" / "main.py").write_text(
        "import sys, madeup\ndef main(): print(sys.prefix, madeup.WORD, *sys.argv[1:], sep='|')\n"
    )
    (server / "inference").mkdir()
    (server / "inference" / "warm.py").write_text(
        "import os\ndef warm():\n    os.makedirs(os.environ['NUMBA_CACHE_DIR'], exist_ok=True)\n"
    )
    write_wheel(folder / "wheels", "1.0")
    return folder


def write_wheel(folder: Path, version: str) -> None:
    """The smallest wheel: one module."""
    folder.mkdir(exist_ok=True)
    info = f"madeup-{version}.dist-info"
    with zipfile.ZipFile(folder / f"madeup-{version}-py3-none-any.whl", "w") as wheel:
        wheel.writestr("madeup.py", f"WORD = 'version {version}'\n")
        wheel.writestr(f"{info}/METADATA", f"Metadata-Version: 2.1\nName: madeup\nVersion: {version}\n")
        tag = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        wheel.writestr(f"{info}/WHEEL", tag)
        wheel.writestr(f"{info}/RECORD", f"madeup.py,,\n{info}/METADATA,,\n{info}/WHEEL,,\n{info}/RECORD,,\n")


def base_python() -> str:
    """The Python beneath the one that runs the tests: it has none of the project's packages."""
    return str(getattr(sys, "_base_executable", sys.executable))


def variables(checkout: Path) -> dict[str, str]:
    """No index, only the checkout's wheels; no uv, so that the same path is walked everywhere."""
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("PIP_", "UV_", "PYTHON", "NUMBA_"))
    }
    data = {"HOME": str(checkout / "home"), locations.DATA_FOLDER_VARIABLE: str(checkout / "data")}
    path = os.pathsep.join(p for p in os.environ["PATH"].split(os.pathsep) if not shutil.which("uv", path=p))
    return {
        **kept,
        **data,
        "PATH": path,
        "PIP_NO_INDEX": "1",
        "PIP_FIND_LINKS": str(checkout / "wheels"),
        "PIP_CONFIG_FILE": os.devnull,
    }


def start(checkout: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run `python3 -m server …` in a checkout."""
    command = [base_python(), "-m", "server", *arguments]
    return subprocess.run(
        command,
        cwd=checkout,
        env=variables(checkout),
        capture_output=True,
        text=True,
        timeout=240,
        check=False,
    )


@contextmanager
def being_set_up(checkout: Path) -> Iterator[subprocess.Popen[str]]:
    """A start that has begun to make the environment; ended when the block is left."""
    with subprocess.Popen(
        [base_python(), "-m", "server"],
        cwd=checkout,
        env=variables(checkout),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        try:
            deadline = time.monotonic() + 120
            while not (checkout / ".venv").exists():
                assert process.poll() is None, process.stderr and process.stderr.read()
                assert time.monotonic() < deadline, "no environment was begun"
                time.sleep(0.02)
            time.sleep(0.3)
            yield process
        finally:
            process.kill()
