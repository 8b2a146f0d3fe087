"""Raw files of a copy: each sound one is taken and brought back; what is damaged or gone is named, and stops nothing.

A file that the archive has lost may lie in the folder for backups since an earlier copy: its bytes are then looked at,
and the copy is whole with them.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.address import SQLITE_FILE
from server.archive.raw_files import RawStore, key_of, sha256_of
from server.archive.tables import RawFile
from server.errors import StillairError, StoreError

MANIFEST = "manifest.json"
ASIDE = ".damaged"
WHY_OTHER = "its bytes are not those that were kept"
SOUND_COPY = "a sound copy lies in backup {name}, under raw/{key}"

Progress = Callable[[float, str], None]
Row = tuple[str, int]


@dataclass(frozen=True, slots=True)
class BadFile:
    """A raw file that the archive has no more as it was kept. backup: the copy that has it sound, "" where none has."""

    sha256: str
    size_bytes: int
    why: str
    backup: str = ""

    @property
    def told(self) -> str:
        """In words, with where a sound copy lies."""
        sound = f"; {SOUND_COPY.format(name=self.backup, key=key_of(self.sha256))}" if self.backup else ""
        return f"Raw file {self.sha256}: {self.why}{sound}."


@dataclass(frozen=True, slots=True)
class Taken:
    """What a copy took anew, and what the archive has no more."""

    files: int
    bytes: int
    bad: tuple[BadFile, ...]


def rows_of(session: Session) -> list[Row]:
    """SHA-256 and size of each raw file."""
    rows = session.execute(select(RawFile.sha256, RawFile.size_bytes).order_by(RawFile.sha256))
    return [(sha256, size) for sha256, size in rows]


def take_files(
    rows: Sequence[Row], ours: RawStore, theirs: RawStore, copies: Sequence[str], progress: Progress
) -> Taken:
    """Copy what is sound and not there yet. copies: earlier ones in the folder, the newest first.

    Raises StoreError where the archive's store is silent, OSError where nothing can be written.
    """
    total, done, files, taken, bad = sum(size for _, size in rows) or 1, 0, 0, 0, list[BadFile]()
    for sha256, size in rows:
        progress(0.05 + 0.9 * done / total, "raw files")
        done += size
        if theirs.has(sha256, size):
            why = ours.lost(sha256, size)
            if why is None:
                continue
            if _is_sound(theirs, sha256):
                bad.append(BadFile(sha256, size, why, _copy_with(theirs.folder.parent, copies, sha256)))
                continue
        why = _take(ours, theirs, sha256)
        if why is not None:
            bad.append(BadFile(sha256, size, why))
            continue
        files, taken = files + 1, taken + size
    return Taken(files, taken, tuple(bad))


def bring_files(
    rows: Sequence[Row], theirs: RawStore, ours: RawStore, lacked: Iterable[str], progress: Progress
) -> str:
    """Put the files of a copy into a store; gives what is wrong with the copy, "" where nothing is.

    lacked: what was damaged when the copy was made; it is brought where a later copy has it.
    """
    total, done, lacking = sum(size for _, size in rows) or 1, 0, set(lacked)
    ours.begin(kept=None)
    for sha256, size in rows:
        progress(done / total, "raw files")
        done += size
        try:
            ours.copy(theirs.path(sha256), sha256)
        except StoreError:
            raise
        except StillairError as error:
            if sha256 not in lacking:
                return f"raw file {sha256[:12]}…: {error}"
    return ""


def bad_files_of(copy: Path) -> tuple[BadFile, ...]:
    """What was damaged or gone when a copy was made, as its manifest says."""
    told: dict[str, Any] = json.loads((copy / MANIFEST).read_text("utf-8"))
    return tuple(BadFile(**one) for one in told.get("damaged", ()))


def lacking_in(place: Path, name: str) -> tuple[BadFile, ...]:
    """The damaged files that are nowhere in the folder for backups, either."""
    raw = RawStore(place / "raw")
    return tuple(one for one in bad_files_of(place / name) if not raw.has(one.sha256, one.size_bytes))


def outdated(place: Path, copies: Sequence[str], keep: int) -> list[str]:
    """Copies that go: those that lack a file push out only one another, never one that is whole."""
    whole = [name for name in copies if not lacking_in(place, name)]
    others = [name for name in copies if name not in whole]
    return [*whole[keep:], *others[keep:]]


def _take(ours: RawStore, theirs: RawStore, sha256: str) -> str | None:
    """Copy a file; gives why it cannot be read as it was kept. What keeps it from being written is raised."""
    try:
        with ours.lent(sha256) as file:
            theirs.copy(file, sha256)
    except StoreError:
        raise
    except (StillairError, OSError):
        why = _fault_of(ours, sha256)
        if why is None:
            raise
        return why
    return None


def _fault_of(raw: RawStore, sha256: str) -> str | None:
    try:
        return WHY_OTHER if raw.looked_at(sha256)[1] != sha256 else None
    except StoreError:
        raise
    except OSError as error:
        return f"it cannot be read ({error.strerror})"
    except StillairError:
        return "it is not there"


def _is_sound(theirs: RawStore, sha256: str) -> bool:
    """Whether the folder for backups has the file's own bytes; others are set aside, not to be taken for it."""
    place = theirs.path(sha256)
    if sha256_of(place) == sha256:
        return True
    place.rename(place.with_name(f"{sha256}{ASIDE}"))
    return False


def _copy_with(place: Path, copies: Sequence[str], sha256: str) -> str:
    """The newest copy that names a file; "" where none does any more."""
    for name in copies:
        file = place / name / SQLITE_FILE
        with closing(sqlite3.connect(f"{file.resolve().as_uri()}?immutable=1", uri=True)) as opened:
            if opened.execute("SELECT 1 FROM raw_files WHERE sha256 = ?", (sha256,)).fetchone():
                return name
    return ""
