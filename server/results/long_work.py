"""What long work shares: a folder of a revision's files, how much is left in words, standing back for shorter work."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from server.archive.raw_files import RawStore
from server.archive.store_address import CACHE, open_raw
from server.days.service import lay_out
from server.errors import StillairError
from server.settings import STORE_VARIABLE, load

STANDS_BACK = 10  # of POSIX's 19
OUT_OF_REACH = (
    "A worker of the scheduler cannot read the raw files: they lie in {folder} of another computer. "
    f"Give them a store that all computers reach, by {STORE_VARIABLE}."
)


def stand_back() -> None:
    """Let a fit that somebody waits for have the processor first, where the system knows such a thing."""
    if hasattr(os, "nice") and os.nice(0) < STANDS_BACK:
        os.nice(STANDS_BACK)


def laid_out(raw: RawStore, files: Mapping[str, str], folder: Path) -> Path:
    """A fresh folder of a revision's files (path → SHA-256), for reading."""
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    for path, sha256 in files.items():
        lay_out(raw, sha256, folder / path)
    return folder


def raw_there(address: Any) -> RawStore:
    """The raw files of a job, from whichever computer does its work. Raises StillairError when out of reach."""
    if isinstance(address, str):
        if not Path(address).is_dir():
            raise StillairError(OUT_OF_REACH.format(folder=address))
        return open_raw(address)
    near = Path(address["cache"]).parent.is_dir()
    return open_raw(address if near else {**address, "cache": str(load().data_folder / CACHE)})


@contextmanager
def room_there(scratch: str) -> Iterator[Path]:
    """An empty folder for one task: in the job's own where this computer has it, else where it keeps such."""
    with TemporaryDirectory(prefix="task-", dir=scratch if Path(scratch).is_dir() else None) as folder:
        yield Path(folder)


class Pace:
    """How long the rest will take, by what the part done in this start took."""

    def __init__(self, total: float, done: float = 0.0) -> None:
        self._total, self._first, self._began = total, done, time.monotonic()

    def left(self, done: float) -> str:
        """`about 4 min left`; empty while nothing can be said."""
        here = done - self._first
        if here <= 0 or done >= self._total:
            return ""
        return in_words((time.monotonic() - self._began) * (self._total - done) / here)


def in_words(seconds: float) -> str:
    """A time that is left, no finer than it is known."""
    if seconds < 45:
        return "less than a minute left"
    if seconds < 90 * 60:
        return f"about {max(1, round(seconds / 60))} min left"
    return f"about {round(seconds / 3600)} h left"
