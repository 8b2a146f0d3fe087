"""Does a path stay in the folder that it is said to lie in? Asked of every path that somebody else wrote."""

from __future__ import annotations

from pathlib import Path, PurePosixPath


def leaves_folder(named: str) -> bool:
    """Whether a path, as it is written, is none of a file in a folder: empty, absolute, or upwards by dots."""
    path = PurePosixPath(named.replace("\\", "/"))
    return not path.parts or path.is_absolute() or ".." in path.parts or bool(Path(named).drive)
