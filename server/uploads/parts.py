"""Files that are still coming in, on disk."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from server.archive.disk import sync_folder
from server.errors import DiskFullError

SUFFIX = ".part"
SPARE_BYTES = 64_000_000  # left free for the database and the results
NO_ROOM = "The disk of the archive has {free:.0f} MB free, too little for the {size:.0f} MB of {name}; make room there."


class Parts:
    """A folder with one file for each upload that is not complete; made when first needed."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def path(self, upload_id: str) -> Path:
        """Where a part lies."""
        return self._folder / f"{upload_id}{SUFFIX}"

    def make(self, upload_id: str) -> None:
        """An empty part, there even after a power cut."""
        self._folder.mkdir(exist_ok=True)
        self.path(upload_id).touch(exist_ok=False)
        sync_folder(self._folder)

    def size(self, upload_id: str) -> int:
        """Bytes on disk; 0 for a part that is gone."""
        path = self.path(upload_id)
        return path.stat().st_size if path.is_file() else 0

    def cut(self, upload_id: str, size_bytes: int) -> None:
        """Let go of what lies beyond; a part that is gone is made anew."""
        self._folder.mkdir(exist_ok=True)
        with self.path(upload_id).open("ab") as part:
            part.truncate(size_bytes)

    def write(self, upload_id: str, offset: int, data: bytes) -> None:
        """Put bytes at an offset; when the disk refuses some of them, none of them stay."""
        try:
            self._put(upload_id, offset, data)
        except OSError:
            self.cut(upload_id, offset)
            raise

    def _put(self, upload_id: str, offset: int, data: bytes) -> None:
        with self.path(upload_id).open("r+b") as part:
            part.seek(offset)
            part.write(data)

    def sync(self, upload_id: str) -> None:
        """Wait until what was written is safe on disk."""
        with self.path(upload_id).open("r+b") as part:
            os.fsync(part.fileno())

    def remove(self, upload_id: str) -> None:
        """Let a part go."""
        self.path(upload_id).unlink(missing_ok=True)

    def names(self) -> list[str]:
        """The uploads that have a part here."""
        return [file.stem for file in self._folder.glob(f"*{SUFFIX}")] if self._folder.is_dir() else []

    def check_room(self, name: str, size_bytes: int) -> None:
        """Raise DiskFullError when a file of that size cannot be taken."""
        free = free_bytes(self._folder.parent)
        if free < size_bytes + SPARE_BYTES:
            raise DiskFullError(NO_ROOM.format(free=free / 1e6, size=size_bytes / 1e6, name=name))


def free_bytes(folder: Path) -> int:
    """Bytes that may still be written to the disk of a folder."""
    return shutil.disk_usage(folder).free
