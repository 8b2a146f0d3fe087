"""What a command is given as a test day: a folder, or a zip of one."""

from __future__ import annotations

from pathlib import Path

from server.errors import DayFolderError


def day_folder(given: Path, scratch: Path) -> Path:
    """The folder itself, or the folder that a zip unpacks to inside `scratch`; raises StillairError."""
    if given.is_dir():
        return given
    if given.is_file():
        from server.readers.zip_folder import unpack_day_zip

        return unpack_day_zip(given, scratch)
    raise DayFolderError(f"There is no folder and no zip {given}.")
