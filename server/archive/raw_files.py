"""Raw files, byte for byte, under their SHA-256: written once, never changed."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from pathlib import Path

from sqlalchemy.orm import Session

from server.archive.disk import sync_folder
from server.archive.tables import RawFile
from server.errors import NotFoundError, StillairError

BLOCK_BYTES = 1 << 20
UNFINISHED = "incoming-"
OTHER_BYTES = "The bytes of file {sha256}… are not those that were kept; see what `stillair verify` says."


def sha256_of(file: Path) -> str:
    """Hex SHA-256 of a file's bytes."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


class RawStore:
    """A folder of files named by their hash, in 256 subfolders by the first two digits."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @property
    def folder(self) -> Path:
        """Where the files lie."""
        return self._folder

    def path(self, sha256: str) -> Path:
        """Where a kept file lies. Raises NotFoundError when it is not kept here."""
        file = self._place(sha256)
        if not file.is_file():
            raise NotFoundError(f"The archive holds no file {sha256[:12]}….")
        return file

    def add(self, session: Session, source: Path, sha256: str | None = None, *, link: bool = False) -> RawFile:
        """Keep a copy of `source`, on disk before the row that names it; twice the same is kept once.

        sha256: where the caller has it already. link: `source` is never written again, so that a second name
        for its bytes will do instead of a copy, where the disk allows it.
        """
        digest = sha256 or sha256_of(source)
        kept = session.get(RawFile, digest)
        if not self._place(digest).is_file() and not (link and self._link(source, digest)):
            self._copy(source, digest)
        if kept is None:
            kept = RawFile(sha256=digest, size_bytes=source.stat().st_size)
            session.add(kept)
            session.flush()
        return kept

    def _link(self, source: Path, digest: str) -> bool:
        place = self._make_room(digest)
        try:
            os.link(source, place)
        except OSError:
            return False
        place.chmod(0o444)
        sync_folder(place.parent)
        return True

    def has(self, sha256: str, size_bytes: int) -> bool:
        """Whether a file of this size lies under the hash."""
        place = self._place(sha256)
        return place.is_file() and place.stat().st_size == size_bytes

    def copy(self, source: Path, sha256: str) -> None:
        """Keep a copy whose bytes have this hash. Raises StillairError where they do not."""
        self._copy(source, sha256, checked=True)

    def _copy(self, source: Path, digest: str, *, checked: bool = False) -> None:
        place = self._make_room(digest)
        handle, name = tempfile.mkstemp(dir=place.parent, prefix=UNFINISHED)
        try:
            with os.fdopen(handle, "wb") as target, source.open("rb") as stream:
                shutil.copyfileobj(stream, target, BLOCK_BYTES)
                target.flush()
                os.fsync(target.fileno())
            if checked and sha256_of(Path(name)) != digest:
                raise StillairError(OTHER_BYTES.format(sha256=digest[:12]))
            Path(name).chmod(0o444)
            Path(name).replace(place)
            sync_folder(place.parent)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def sweep(self) -> None:
        """Let go of copies that were never finished: of a program that was killed while it wrote them."""
        for file in self._folder.glob(f"*/{UNFINISHED}*"):
            file.unlink(missing_ok=True)

    def _make_room(self, digest: str) -> Path:
        """Where a file goes; its folder is there, even after a power cut."""
        place = self._place(digest)
        if not place.parent.is_dir():
            place.parent.mkdir(parents=True, exist_ok=True)
            sync_folder(place.parent.parent)
        return place

    def _place(self, sha256: str) -> Path:
        if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
            raise NotFoundError("That is not the SHA-256 of a file.")
        return self._folder / sha256[:2] / sha256
