"""A folder of copies that is kept from growing: those that were not used for longest go first."""

from __future__ import annotations

import os
import threading
import time
from contextlib import suppress
from pathlib import Path

FRESH_S = 3600.0  # a file that was given out may still be read
RUSH_S = 60.0  # by somebody who has many read, for a shorter time
MOST = 2.0  # bounds
LEFT = 0.9  # of the bound, after some had to go
LOOK_SHARE = 0.05  # of the bound that comes in between two looks


class BoundedFolder:
    """Files one level down, each with its last use as its access time; used by several processes at once.

    What was used within the last hour stays, up to twice the bound; within the last minute, always.
    """

    def __init__(self, folder: Path, bound_mb: float) -> None:
        self._folder, self._bound = folder, bound_mb * 1e6
        self._new_bytes = 0
        self._lock = threading.Lock()

    @staticmethod
    def used(file: Path) -> None:
        """Say that a file was given out."""
        with suppress(FileNotFoundError):
            os.utime(file, ns=(time.time_ns(), file.stat().st_mtime_ns))

    def grew(self, size_bytes: int) -> None:
        """Say that bytes came in; now and then the folder is looked through."""
        with self._lock:
            self._new_bytes += size_bytes
            if self._new_bytes < LOOK_SHARE * self._bound:
                return
            self._new_bytes = 0
        self.trim()

    def trim(self) -> None:
        """Take away what is too much."""
        files = sorted(self._files())
        total = sum(size for _, size, _ in files)
        if total <= self._bound:
            return
        for used_at, size, file in files:
            fresh_s = FRESH_S if total <= MOST * self._bound else RUSH_S
            if total <= LEFT * self._bound or time.time() - used_at < fresh_s:
                return
            file.unlink(missing_ok=True)
            total -= size

    def _files(self) -> list[tuple[float, int, Path]]:
        found = []
        for file in self._folder.glob("*/*"):
            with suppress(FileNotFoundError):
                told = file.stat()
                found.append((told.st_atime, told.st_size, file))
        return found
