"""Raw files, byte for byte, under their SHA-256: written once, never changed."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from server.archive.disk import sync_file, sync_folder
from server.archive.tables import RawFile
from server.errors import NotFoundError, StillairError

BLOCK_BYTES = 1 << 20
UNFINISHED = "incoming-"
OTHER_BYTES = "The bytes of file {sha256}… are not those that were kept; see what `stillair verify` says."
CHANGED = "{name} was changed while it was read; wait until nothing writes to it any more, then try again."
NOT_KEPT = "The archive holds no file {sha256}…."


def sha256_of(file: Path) -> str:
    """Hex SHA-256 of a file's bytes."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


class RawStore:
    """A folder of files named by their hash, in 256 subfolders by the first two digits.

    `server.archive.shared_store` does the same with a store that several computers reach.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @property
    def folder(self) -> Path:
        """Where the paths that are given out lie."""
        return self._folder

    @property
    def address(self) -> Any:
        """What a job's payload says, so that `open_raw` opens the same store in another process."""
        return str(self._folder)

    @property
    def shown(self) -> str:
        """Where the files are, for a person."""
        return str(self._folder)

    def begin(self, *, kept: str | None) -> None:
        """Be ready for files. kept: a file that the archive has kept already, by its hash."""

    def must_answer(self) -> None:
        """Raise StoreError where no file can be had at all."""

    def path(self, sha256: str) -> Path:
        """Where a kept file lies. Raises NotFoundError when it is not kept here."""
        file = self._place(sha256)
        if not file.is_file():
            raise NotFoundError(NOT_KEPT.format(sha256=sha256[:12]))
        return file

    @contextmanager
    def lent(self, sha256: str) -> Iterator[Path]:
        """A kept file to be read once."""
        yield self.path(sha256)

    def looked_at(self, sha256: str) -> tuple[int, str]:
        """Size and SHA-256 of the bytes as they now lie there. Raises NotFoundError."""
        file = self.path(sha256)
        return file.stat().st_size, sha256_of(file)

    def bring(self, source: Path, sha256: str | None = None) -> None:
        """Where adding would wait for a network: do that ahead of the transaction that names the file."""

    def add(self, session: Session, source: Path, sha256: str | None = None, *, link: bool = False) -> RawFile:
        """Keep a copy of `source`, on disk before the row that names it; twice the same is kept once.

        sha256: where the caller has it already. link: `source` is never written again, so that a second name
        for its bytes will do instead of a copy, where the disk allows it.
        """
        digest = sha256 or sha256_of(source)
        kept = session.get(RawFile, digest)
        self._lay_down(source, digest, link=link)
        if kept is None:
            kept = RawFile(sha256=digest, size_bytes=self._place(digest).stat().st_size)
            session.add(kept)
            session.flush()
        return kept

    def has(self, sha256: str, size_bytes: int) -> bool:
        """Whether a file of this size lies under the hash."""
        place = self._place(sha256)
        return place.is_file() and place.stat().st_size == size_bytes

    def lost(self, sha256: str, size_bytes: int) -> str | None:
        """Why a kept file cannot be as it was, as far as that is seen without reading it; None where it can."""
        place = self._place(sha256)
        if not place.is_file():
            return "it is not there"
        there = place.stat().st_size
        return None if there == size_bytes else f"it has {there} bytes, {size_bytes} were kept"

    def copy(self, source: Path, sha256: str) -> None:
        """Keep a copy whose bytes have this hash. Raises StillairError where they do not."""
        self._copy(source, sha256, OTHER_BYTES.format(sha256=sha256[:12]))

    def let_go(self, sha256: str) -> None:
        """Take away a file that nothing names; of a store that computers share, what this one has of it."""
        self._place(sha256).unlink(missing_ok=True)

    def sweep(self) -> None:
        """Let go of copies that were never finished: of a program that was killed while it wrote them."""
        for file in self._folder.glob(f"*/{UNFINISHED}*"):
            file.unlink(missing_ok=True)

    def _lay_down(self, source: Path, digest: str, *, link: bool) -> None:
        if not self._place(digest).is_file() and not (link and self._link(source, digest)):
            self._copy(source, digest, CHANGED.format(name=source.name))

    def _link(self, source: Path, digest: str) -> bool:
        place = self._make_room(digest)
        sync_file(source)
        try:
            os.link(source, place)
        except OSError:
            return False
        place.chmod(0o444)
        sync_folder(place.parent)
        return True

    def _copy(self, source: Path, digest: str, otherwise: str) -> None:
        """Copy bytes whose hash is this one. Raises StillairError, the sentence `otherwise`, where it is not."""
        place = self._make_room(digest)
        handle, name = tempfile.mkstemp(dir=place.parent, prefix=UNFINISHED)
        seal = hashlib.sha256()
        try:
            with os.fdopen(handle, "wb") as target, source.open("rb") as stream:
                while block := stream.read(BLOCK_BYTES):
                    seal.update(block)
                    target.write(block)
                target.flush()
                os.fsync(target.fileno())
            if seal.hexdigest() != digest:
                raise StillairError(otherwise)
            Path(name).chmod(0o444)
            Path(name).replace(place)
            sync_folder(place.parent)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise

    def _make_room(self, digest: str) -> Path:
        """Where a file goes; its folder is there, even after a power cut."""
        place = self._place(digest)
        if not place.parent.is_dir():
            place.parent.mkdir(parents=True, exist_ok=True)
            sync_folder(place.parent.parent)
        return place

    def _place(self, sha256: str) -> Path:
        return self._folder / key_of(sha256)


def key_of(sha256: str) -> str:
    """Where a file lies below the store's root. Raises NotFoundError for what is no SHA-256."""
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        raise NotFoundError("That is not the SHA-256 of a file.")
    return f"{sha256[:2]}/{sha256}"
