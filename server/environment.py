"""The virtual environment on disk: is it whole, and how it is made. Standard library only."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server import installing, locations, pins
from server.installing import SetupError, run

STATE_FILE = "stillair.json"
__all__ = ["Environment", "SetupError", "make"]

WARM = "from server.inference.warm import warm; warm()"


@dataclass(frozen=True)
class Environment:
    """A virtual environment and the note in it of what was installed there."""

    folder: Path

    @property
    def python(self) -> Path:
        """The environment's interpreter."""
        return self.folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

    def state(self) -> dict[str, Any]:
        """The note as written; empty when there is none or it is damaged."""
        try:
            state = json.loads((self.folder / STATE_FILE).read_text("utf-8"))
        except (OSError, ValueError):
            return {}
        return state if isinstance(state, dict) else {}

    def is_current(self) -> bool:
        """True when this process runs in it."""
        return Path(sys.prefix).resolve() == self.folder.resolve()

    def is_ready(self, level: str) -> bool:
        """True when it holds the present pins of a level, is where it was made, and its Python runs."""
        return self.state().get("installed", {}).get(level) == pins.digest(level) and self.is_intact()

    def is_intact(self) -> bool:
        """False after a move of the folder or a change of the Python beneath it."""
        state = self.state()
        beneath = re.fullmatch(r"python(\d+\.\d+)", self.python.resolve().name)
        same_python = beneath is None or beneath.group(1) == state.get("python")
        return state.get("place") == str(self.folder) and same_python and os.access(self.python, os.X_OK)

    def note(self, **changes: object) -> None:
        """Write the note with some entries changed, whole or not at all."""
        self.folder.mkdir(parents=True, exist_ok=True)
        draft = self.folder / f"{STATE_FILE}.part"
        draft.write_text(json.dumps({**self.state(), **changes}, indent=1), "utf-8")
        draft.replace(self.folder / STATE_FILE)


def make(environment: Environment, checkout: Path, level: str, data: Path) -> None:
    """Create the environment or bring it up to date; an unfinished one of ours is removed again."""
    began = time.monotonic()
    count = len(pins.read(level))
    fresh = not environment.folder.exists()
    _say(f"setting up {count} packages in {environment.folder}, once; this takes a minute or two …")
    try:
        _prepare(environment)
        environment.note(installed={})
        if not environment.python.exists():
            installing.create(environment.folder)
        installing.install(environment.python, pins.files(level))
        _link(environment, checkout)
        environment.note(installed=_levels(level))
    except BaseException:
        if fresh or environment.state().get("made_here"):
            shutil.rmtree(environment.folder, ignore_errors=True)
        raise
    _warm(environment, checkout, data)
    _say(f"set up in {time.monotonic() - began:.0f} s.")


def _prepare(environment: Environment) -> None:
    """Clear away an environment of ours that is not whole; refuse a strange one that does not run."""
    if environment.folder.exists() and not environment.is_current():
        if environment.state().get("made_here"):
            if not (environment.is_intact() and environment.state().get("installed")):
                shutil.rmtree(environment.folder)
        elif not os.access(environment.python, os.X_OK):
            raise SetupError(
                f"the folder {environment.folder} is in the way: its Python does not run. Move it away, "
                "then start again."
            )
    made_here = not environment.folder.exists() or environment.state().get("made_here", False)
    version = "{}.{}".format(*sys.version_info[:2]) if made_here else _version_of(environment.python)
    environment.note(made_here=made_here, place=str(environment.folder), python=version)


def _levels(level: str) -> dict[str, str]:
    """The tests' environment serves the product too."""
    return {name: pins.digest(name) for name in ("run", level)}


def _link(environment: Environment, checkout: Path) -> None:
    """Let the environment's Python find the checkout, and give it the command `stillair`."""
    answer = run([str(environment.python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"])
    (Path(answer.text.strip()) / "stillair.pth").write_text(f"{checkout}\n", "utf-8")
    if os.name == "nt":
        script = environment.python.with_name("stillair.cmd")
        script.write_text('@"%~dp0python.exe" -m server %*\n', "utf-8")
    else:
        script = environment.python.with_name("stillair")
        script.write_text(f'#!/bin/sh\nexec "{environment.python}" -m server "$@"\n', "utf-8")
        script.chmod(0o755)


def _warm(environment: Environment, checkout: Path, data: Path) -> None:
    """Compile the loops of the fit now, into the data folder's cache, instead of in the first fit."""
    locations.use_numba_cache(data)
    command = [str(environment.python), "-c", WARM]
    done = subprocess.run(command, cwd=checkout, check=False, capture_output=True, text=True)
    if done.returncode:
        _say("the fit could not be compiled ahead; the first fit will take longer or say why.")


def _version_of(python: Path) -> str:
    return run([str(python), "-c", "import sys; print('{}.{}'.format(*sys.version_info[:2]))"]).text.strip()


def _say(text: str) -> None:
    print(f"stillair: {text}", file=sys.stderr, flush=True)
