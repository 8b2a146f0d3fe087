"""Where things lie on disk, in a wheel and in a clone alike. Standard library only."""

import os
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


def use_numba_cache(data_folder: Path) -> None:
    """Let compiled loops be kept in the data folder, unless the environment already names a place.

    Must be called before numba is imported.
    """
    os.environ.setdefault("NUMBA_CACHE_DIR", str(data_folder / "cache" / "numba"))


def _bundled(name: str) -> Path:
    """The folder inside the package (wheel) or beside it (clone)."""
    inside = PACKAGE / name
    return inside if inside.is_dir() else PACKAGE.parent / name
