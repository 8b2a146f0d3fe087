"""Calls of uv, venv and pip, and one sentence when they fail. Standard library only."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

NO_NETWORK = re.compile(
    r"name resolution|Name or service not known|Network is unreachable|getaddrinfo|nodename nor servname"
    r"|Failed to establish a new connection|NewConnectionError|Connection refused|Connection timed out"
    r"|ConnectTimeout|dns error|error sending request|Max retries exceeded",
    re.IGNORECASE,
)
MISSING_VENV = (
    "this Python cannot make an environment: install Debian's package python3-venv "
    "(`apt-get install python3-venv` as root), then start again."
)


class SetupError(Exception):
    """The set-up cannot be done; carries one clear sentence."""


@dataclass(frozen=True)
class Outcome:
    """How a called program ended."""

    ok: bool
    text: str


def create(folder: Path) -> None:
    """Make a virtual environment, by uv where it is present, else by venv; raises SetupError."""
    uv = shutil.which("uv")
    if uv and run([uv, "venv", "--quiet", "--allow-existing", "--python", sys.executable, str(folder)]).ok:
        return
    if not _has("venv") or not (_has("ensurepip") or _has("pip")):
        raise SetupError(MISSING_VENV)
    without = [] if _has("ensurepip") else ["--without-pip"]
    outcome = run([sys.executable, "-m", "venv", *without, str(folder)])
    if not outcome.ok:
        missing = "ensurepip" in outcome.text
        raise SetupError(MISSING_VENV if missing else f"venv failed: {_last_line(outcome.text)}")


def install(python: Path, pin_files: tuple[Path, ...]) -> None:
    """Install the pins by the first installer that can; raises SetupError saying what is in the way."""
    wanted = [argument for file in pin_files for argument in ("-r", str(file))]
    outcome = Outcome(False, MISSING_VENV)
    for installer in _installers(python):
        outcome = run([*installer, *wanted])
        if outcome.ok:
            return
    raise SetupError(explain(outcome.text))


def explain(output: str) -> str:
    """One sentence from an installer's output."""
    if NO_NETWORK.search(output):
        return (
            "the packages could not be fetched: no package index answers from here. Connect this computer "
            "for the first start (afterwards it needs no network), then start again."
        )
    return f"the packages could not be installed: {_last_line(output)}"


def run(command: list[str]) -> Outcome:
    """Run a program quietly; when this process is interrupted, the program and its children end too."""
    variables = {**os.environ, "PIP_USER": "0", "PYTHONNOUSERSITE": "1"}
    process = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
        env=variables,
        close_fds=os.name == "nt",
        start_new_session=os.name != "nt",
    )
    try:
        text, _ = process.communicate()
    except BaseException:
        _end(process)
        raise
    return Outcome(process.returncode == 0, text)


def _installers(python: Path) -> Iterator[list[str]]:
    """uv, the environment's own pip, this interpreter's pip: each without its resolver."""
    uv = shutil.which("uv")
    if uv:
        yield [uv, "pip", "install", "--quiet", "--no-deps", "--python", str(python)]
    pip = ["install", "--quiet", "--no-deps", "--no-input", "--disable-pip-version-check", "--retries", "2"]
    own_pip = run([str(python), "-m", "pip", "--version"]).ok or run([str(python), "-m", "ensurepip"]).ok
    if own_pip:
        yield [str(python), "-m", "pip", *pip]
    elif _has("pip"):
        yield [sys.executable, "-m", "pip", "--python", str(python), *pip]


def _end(process: subprocess.Popen[str]) -> None:
    with contextlib.suppress(ProcessLookupError):
        if os.name == "nt":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def _has(module: str) -> bool:
    return importlib.util.find_spec(module) is not None


def _last_line(text: str) -> str:
    """The line that says most: the last one marked as an error, else the last one."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    errors = [line for line in lines if line.lower().startswith("error")]
    return (errors or lines or ["no reason was given"])[-1]
