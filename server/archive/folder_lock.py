"""One server a data folder: two would sweep away each other's uploads and start each other's jobs over."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path

from server.errors import StillairError

LOCK_FILE = "in-use.lock"
HELD = (errno.EAGAIN, errno.EACCES, errno.EDEADLK)  # what systems say of a lock that another holds
IN_USE = (
    "The data folder {folder} is in use by another Stillair; end that one, or name another folder with --data FOLDER."
)


class FolderLock:
    """Holds a data folder until it is let go or the process ends, however it ends."""

    def __init__(self, folder: Path, taken: str = IN_USE) -> None:
        """Take the folder. Raises StillairError, the sentence `taken`, when another has it.

        Raises OSError where nothing can be written or the disk knows no locks.
        """
        self._descriptor: int | None = None
        self._descriptor = os.open(folder / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(self._descriptor)
        except OSError as error:
            self.release()
            if error.errno not in HELD:
                raise
            raise StillairError(taken.format(folder=folder)) from error

    def release(self) -> None:
        """Let the folder go."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            os.close(descriptor)

    def __del__(self) -> None:
        """An application that was made and never started lets go as well."""
        self.release()


def _lock(descriptor: int) -> None:
    """An exclusive lock on an open file, refused at once; the system takes it back with the process."""
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
