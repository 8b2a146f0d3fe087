"""ASAM MDF → RawLog, read by a process of its own: a damaged file may crash its parser, or send it in circles."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from server.errors import LogError
from server.readers.damage import readable
from server.readers.log_store import load_log
from server.readers.mdf_child import REFUSAL
from server.testday.values import RawLog

_LEAST_TIME_S = 60.0
_BYTES_PER_S = 1e6  # the slowest that a machine may be
_CHILD = "import sys; from server.readers.mdf_child import main; main(*sys.argv[1:])"
_HOUSE = Path(__file__).parents[2]


def read_mdf_log(path: Path, *, name: str = "", signals: Path | None = None) -> RawLog:
    """Read an MDF recording. name: how sentences name it. signals: database for raw bus frames in it.

    Raises LogError with one sentence where the file cannot be used, or its reading crashed or took too long.
    """
    called = name or path.name
    time_s = _LEAST_TIME_S + path.stat().st_size / _BYTES_PER_S
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        # what the parser lays aside goes with the folder, even where it is stopped
        aside = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), folder)
        search = {"PYTHONPATH": os.pathsep.join([str(_HOUSE), *filter(None, sys.path)])}
        arguments = [str(path), called, str(signals) if signals else "", folder]
        try:
            done = subprocess.run(
                [sys.executable, "-c", _CHILD, *arguments],
                check=False,
                env={**os.environ, **search, **aside},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=time_s,
            )
        except subprocess.TimeoutExpired as error:
            long = f"it took over {time_s:.0f} s"
            raise LogError(f"{called} cannot be read as an ASAM MDF recording ({long}).") from error
        refusal = Path(folder) / REFUSAL
        if refusal.exists():
            raise LogError(refusal.read_text(encoding="utf-8"))
        if done.returncode:
            raise LogError(
                f"{called} cannot be read as an ASAM MDF recording (its parser crashed); copy or export it once more."
            )
        with readable(called, "an ASAM MDF recording"):
            return load_log(Path(folder))
