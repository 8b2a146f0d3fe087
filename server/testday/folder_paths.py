"""Names of files in a day folder: they stay inside it, whatever links and dots say."""

from __future__ import annotations

import difflib
import re
from pathlib import Path, PurePosixPath

from server.testday.folder_table import Table, cut

_DRIVE = re.compile(r"[A-Za-z]:")


def inside(folder: Path, table: Table, key: str, named: str) -> str:
    """Return a file's name as a clean relative path with forward slashes.

    Raises DayFolderError for a path that is empty, absolute, or leaves the folder by dots or by a link.
    """
    path = PurePosixPath(named.replace("\\", "/"))
    if not path.name or "\0" in named:
        table.refuse(key, f"is {cut(named)!r}; it must name a file in the folder.")
    if path.is_absolute() or _DRIVE.match(named):
        table.refuse(key, f"is {cut(named)!r}; it must be a path inside the folder, such as logs/run01.csv.")
    if ".." in path.parts or not _stays_inside(folder, path):
        table.refuse(key, f"is {cut(named)!r}, which leaves the folder; a day's files lie inside it.")
    return str(path)


def signals_inside(folder: Path, table: Table) -> str | None:
    """Return the signal database that a table names for raw bus logs, or None."""
    named = table.text("signals")
    return None if named is None else inside(folder, table, "signals", named)


def existing(folder: Path, table: Table, key: str, named: str) -> Path:
    """Return the path of a file that must be there."""
    path = folder / inside(folder, table, key, named)
    if not path.is_file():
        table.refuse(key, f"is {cut(named)!r}; the folder has no such file{near_file(folder, named)}.")
    return path


def near_file(folder: Path, named: str) -> str:
    """Say which file of the folder a misspelt name is nearest to."""
    parent = (folder / named).parent
    if not parent.is_dir():
        return ""
    there = {entry.name.lower(): entry.name for entry in sorted(parent.iterdir()) if entry.is_file()}
    near = difflib.get_close_matches(PurePosixPath(named).name.lower(), list(there), n=1)
    return f" (there is {there[near[0]]!r})" if near else ""


def _stays_inside(folder: Path, path: PurePosixPath) -> bool:
    try:
        return (folder / path).resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):  # a circle of links
        return False
