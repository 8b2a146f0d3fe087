"""Raw files in a store that several computers reach, with a folder of this computer for those that were read.

The store is what counts: a file is kept when the store has it and gives the same bytes back. The folder can be taken
away at any time.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

from server.archive.bounded_folder import BoundedFolder
from server.archive.objects import Objects
from server.archive.raw_files import NOT_KEPT, OTHER_BYTES, UNFINISHED, RawStore, key_of, sha256_of
from server.archive.store_address import StoreAddress
from server.errors import NotFoundError, StillairError, StoreError

GAVE_OTHERS = (
    "The store of raw files {shown} gave back other bytes than were sent; they were taken away, send them again."
)
NOT_OURS = (
    "The store of raw files {shown} does not hold file {sha256}…, which this archive has kept: another store may be "
    "meant, or its folder is not mounted. An archive goes to a new store by `stillair backup` without it and "
    "`stillair restore` with it."
)


class SharedStore(RawStore):
    """The same as a folder of raw files. Raises StoreError, one sentence, where the store cannot be had."""

    def __init__(self, address: StoreAddress) -> None:
        super().__init__(Path(address.cache))
        self._address, self._objects = address, Objects(address)
        self._cache = BoundedFolder(self._folder, address.cache_mb)
        self._brought: set[str] = set()  # read back from the store a moment ago, to be added now
        self._known: dict[str, tuple[int, int]] = {}  # of the cached files whose hash was looked at: size, time

    @property
    def address(self) -> Any:
        """As a job's payload says it; credentials are in the environment alone."""
        return asdict(self._address)

    @property
    def shown(self) -> str:
        """The store's address, which has no credentials in it."""
        return self._objects.shown

    def begin(self, *, kept: str | None) -> None:
        """Mark a store that is used for the first time. Raises StoreError where it is not the archive's own."""
        if kept is not None and self._objects.size(key_of(kept)) is None:
            raise StoreError(NOT_OURS.format(shown=self.shown, sha256=kept[:12]))
        if not self._objects.is_begun():
            self._objects.begin()

    def must_answer(self) -> None:
        """Raise StoreError where the store is silent, or is not there."""
        self._objects.must_be_begun()

    def path(self, sha256: str) -> Path:
        """A copy of the kept file on this computer, its hash looked at."""
        place = self._place(sha256)
        self._cache.used(place)
        if not self._is_good(place, sha256):
            self._fetch(sha256, place)
        return place

    @contextmanager
    def lent(self, sha256: str) -> Iterator[Path]:
        """A kept file, read from the store itself, that leaves nothing behind."""
        with tempfile.TemporaryDirectory(prefix="stillair-") as folder:
            file = Path(folder) / sha256
            self._take(sha256, file)
            yield file

    def looked_at(self, sha256: str) -> tuple[int, str]:
        """Size and SHA-256 of what the store gives back, whatever this computer has of it."""
        found = self._objects.sha256(key_of(sha256))
        if found is None:
            raise NotFoundError(NOT_KEPT.format(sha256=sha256[:12]))
        return found

    def bring(self, source: Path, sha256: str | None = None) -> None:
        """Put a file into the store, where it is not there with the right bytes, and see that it came whole."""
        digest = sha256 or sha256_of(source)
        if digest in self._brought:
            return
        key = key_of(digest)
        right = (source.stat().st_size, digest)
        if self._objects.sha256(key) != right:
            self._objects.send(source, key)
            if self._objects.sha256(key) != right:
                self._objects.remove(key)
                raise StoreError(GAVE_OTHERS.format(shown=self.shown))
        self._brought.add(digest)

    def has(self, sha256: str, size_bytes: int) -> bool:
        """Whether the store has a file of this size."""
        return self._objects.size(key_of(sha256)) == size_bytes

    def lost(self, sha256: str, size_bytes: int) -> str | None:  # noqa: ARG002 - a question over the network each
        """Not asked of a store."""
        return None

    def copy(self, source: Path, sha256: str) -> None:
        """Put a file whose bytes have this hash into the store."""
        if sha256_of(source) != sha256:
            raise StillairError(OTHER_BYTES.format(sha256=sha256[:12]))
        self.bring(source, sha256)

    def sweep(self) -> None:
        """Let go of what was never finished, there and here, and of what is too much here."""
        self._objects.sweep()
        super().sweep()
        self._cache.trim()

    def _lay_down(self, source: Path, digest: str, *, link: bool) -> None:  # noqa: ARG002 - a link would outlive the bound
        self.bring(source, digest)
        self._brought.discard(digest)
        super()._lay_down(source, digest, link=False)  # it will be read soon
        self._cache.grew(source.stat().st_size)

    def _is_good(self, place: Path, sha256: str) -> bool:
        """Whether this computer has it, its hash looked at once by this process, and again when it was changed."""
        try:
            told = place.stat()
            seen = (told.st_size, told.st_mtime_ns)
            if self._known.get(sha256) != seen and sha256_of(place) != sha256:
                return False
        except FileNotFoundError:
            return False
        self._known[sha256] = seen
        return True

    def _fetch(self, sha256: str, place: Path) -> None:
        self._make_room(sha256)
        handle, name = tempfile.mkstemp(dir=place.parent, prefix=UNFINISHED)
        os.close(handle)
        try:
            self._take(sha256, Path(name))
            Path(name).chmod(0o444)
            Path(name).replace(place)
        finally:
            Path(name).unlink(missing_ok=True)
        told = place.stat()
        self._known[sha256] = (told.st_size, told.st_mtime_ns)
        self._cache.grew(told.st_size)

    def _take(self, sha256: str, target: Path) -> None:
        found = self._objects.fetch(key_of(sha256), target)
        if found is None:
            raise NotFoundError(NOT_KEPT.format(sha256=sha256[:12]))
        if found != sha256:
            raise StillairError(OTHER_BYTES.format(sha256=sha256[:12]))
