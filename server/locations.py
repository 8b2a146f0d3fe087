"""Where things lie on disk, in a wheel and in a clone alike. Standard library only."""

from __future__ import annotations

import getpass
import os
import tempfile
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent
DATA_FOLDER_VARIABLE = "STILLAIR_DATA_FOLDER"


def checkout_folder() -> Path | None:
    """Folder of the clone that this package runs from, None when it was installed from a wheel."""
    return PACKAGE.parent if (PACKAGE.parent / "pyproject.toml").is_file() else None


def web_folder() -> Path:
    """Folder of templates, scripts, styles, vendor files and help pages."""
    return _bundled("web")


def migrations_folder() -> Path:
    """Folder of the database's migrations."""
    return _bundled("migrations")


def sample_data_folder() -> Path:
    """Folder of the made-up season's test-day folders."""
    return _bundled("sample_data")


def sample_day_folders() -> tuple[Path, ...]:
    """The sample season's test-day folders, in the order of their names."""
    return tuple(sorted(file.parent for file in sample_data_folder().glob("*/testday.toml")))


def default_data_folder() -> Path:
    """Data folder when none is named: the variable STILLAIR_DATA_FOLDER, else `Stillair` in the home."""
    named = os.environ.get(DATA_FOLDER_VARIABLE)
    return Path(named).expanduser() if named else Path.home() / "Stillair"


def named_data_folder(arguments: Sequence[str]) -> Path:
    """The data folder that command-line arguments name by `--data`, else the default one."""
    for here, following in pairwise([*arguments, ""]):
        name, _, value = here.partition("=")
        if name == "--data" and (value or following):
            return Path(value or following).expanduser()
    return default_data_folder()


def use_numba_cache(data_folder: Path) -> Path:
    """Let compiled loops be kept in the data folder, unless the environment already names a place.

    Where the data folder cannot be written they go to the temporary folder. Must be called before numba
    is imported. Returns the place.
    """
    place = data_folder / "cache" / "numba"
    if not _can_be_written(place):
        place = Path(tempfile.gettempdir()) / f"stillair-{getpass.getuser()}" / "numba"
    return Path(os.environ.setdefault("NUMBA_CACHE_DIR", str(place)))


def _can_be_written(folder: Path) -> bool:
    """True when the folder, or the nearest one above it that exists, takes new files."""
    nearest = next(above for above in (folder, *folder.parents) if above.exists())
    return nearest.is_dir() and os.access(nearest, os.W_OK | os.X_OK)


def _bundled(name: str) -> Path:
    """The folder inside the package (wheel) or beside it (clone)."""
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name
