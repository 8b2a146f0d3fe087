"""What long work shares: a folder of a revision's files, how much is left in words, standing back for shorter work."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Mapping
from pathlib import Path

from server.archive.raw_files import RawStore
from server.days.service import lay_out

STANDS_BACK = 10  # of POSIX's 19


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
