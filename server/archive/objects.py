"""Files of a store by their keys, through fsspec: a folder that computers share, or an S3-compatible server.

No key is ever seen with half its bytes: a folder gets a file under another name first, which is then given its own; an
object of S3 is there when all of it is (a single put, or the last step of one in parts), not before.
"""

from __future__ import annotations

import hashlib
import os
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from server.archive.disk import FULL, sync_folder
from server.archive.store_address import StoreAddress
from server.errors import StillairError, StoreError

UNFINISHED = "incoming-"
STALE_S = 24 * 3600.0  # nobody writes one file for a day
MARK = "stillair.txt"
MARK_TEXT = b"Raw files of Stillair, each under its SHA-256. Nothing here is ever changed; see `stillair verify`.\n"
BLOCK_BYTES = 1 << 20
PART_BYTES = 32 << 20
CONNECT_S, READ_S, TRIES = 4, 30, 2
SILENT = "The store of raw files {shown} does not answer; nothing is lost, it is tried again when this is asked again."
REFUSED = "The store of raw files {shown} refuses this server; look at the credentials in its environment."
OTHER = "The store of raw files {shown} could not do it ({kind}); nothing is lost, try again."
NOT_THERE = (
    "The store of raw files {shown} is not there: a folder that is not mounted, or a bucket that was not made? "
    "Nothing is lost; try again when it is there."
)


class Objects:
    """The files of one store."""

    def __init__(self, address: StoreAddress) -> None:
        address.check()
        parts = urlsplit(address.url)
        self._is_folder = parts.scheme == "file"
        self._root = (parts.path if self._is_folder else parts.netloc + parts.path).rstrip("/")
        self._endpoint = address.endpoint
        self._opened: Any = None
        self.shown = address.url

    @property
    def _fs(self) -> Any:
        if self._opened is None:
            import fsspec

            self._opened = fsspec.filesystem("file") if self._is_folder else fsspec.filesystem("s3", **self._options())
        return self._opened

    def _options(self) -> dict[str, Any]:
        patience = {"connect_timeout": CONNECT_S, "read_timeout": READ_S, "retries": {"total_max_attempts": TRIES}}
        ours = {"use_listings_cache": False, "config_kwargs": patience, "skip_instance_cache": True}
        return {**ours, "endpoint_url": self._endpoint} if self._endpoint else ours

    def is_begun(self) -> bool:
        """Whether files were put here before. Raises StoreError."""
        return self.size(MARK) is not None

    def must_be_begun(self) -> None:
        """Raise StoreError where no store is."""
        if not self.is_begun():
            raise StoreError(NOT_THERE.format(shown=self.shown))

    def begin(self) -> None:
        """Leave a mark, by which an empty place of the same name (a folder that is not mounted) is told apart."""
        with self._in_words(), self._must_be_there():
            if self._is_folder and not Path(self._root).is_dir():
                raise FileNotFoundError(self._root)  # made here, it would hide what is to be mounted
            self._fs.pipe_file(f"{self._root}/{MARK}", MARK_TEXT)

    def size(self, key: str) -> int | None:
        """Bytes under a key; None where there are none."""
        with self._in_words():
            try:
                told = self._fs.info(f"{self._root}/{key}")
            except FileNotFoundError:
                return None
            return int(told["size"]) if told["type"] == "file" else None

    def sha256(self, key: str) -> tuple[int, str] | None:
        """Size and SHA-256 of what the store gives back; None where there is nothing."""
        digest, size = hashlib.sha256(), 0
        with self._in_words():
            try:
                for block in self._blocks(key):
                    digest.update(block)
                    size += len(block)
            except FileNotFoundError:
                return None
        return size, digest.hexdigest()

    def fetch(self, key: str, target: Path) -> str | None:
        """Write what the store has to a file; gives its SHA-256, None where there is nothing."""
        digest = hashlib.sha256()
        with target.open("wb") as out:
            blocks = self._worded_blocks(key)
            try:
                for block in blocks:  # an error of the disk here is not one of the store
                    out.write(block)
                    digest.update(block)
            except FileNotFoundError:
                return None
        return digest.hexdigest()

    def send(self, source: Path, key: str) -> None:
        """Put a file under a key, all of it or nothing. Raises StoreError."""
        with self._in_words(), self._must_be_there():
            if self._is_folder:
                self._send_to_folder(source, key)
            else:
                self._fs.put_file(str(source), f"{self._root}/{key}", chunksize=PART_BYTES, max_concurrency=1)

    def remove(self, key: str) -> None:
        """Take away what turned out to be other bytes than were sent."""
        with self._in_words(), suppress(FileNotFoundError):
            self._fs.rm_file(f"{self._root}/{key}")

    def sweep(self) -> None:
        """Let go of what was never finished by a program that was killed; of a server, its own rules do that."""
        if self._is_folder:
            for file in Path(self._root).glob(f"*/{UNFINISHED}*"):
                with suppress(FileNotFoundError):  # another computer was quicker
                    if time.time() - file.stat().st_mtime > STALE_S:
                        file.unlink()

    def _send_to_folder(self, source: Path, key: str) -> None:
        if not (Path(self._root) / MARK).is_file():
            raise FileNotFoundError(MARK)
        place = Path(self._root) / key
        if not place.parent.is_dir():
            self._fs.makedirs(str(place.parent), exist_ok=True)
            sync_folder(place.parent.parent)
        part = place.with_name(f"{UNFINISHED}{uuid.uuid4().hex}")
        try:
            self._fs.put_file(str(source), str(part))
            with part.open("rb") as written:
                os.fsync(written.fileno())
            part.chmod(0o444)
            part.replace(place)
            sync_folder(place.parent)
        except BaseException:
            part.unlink(missing_ok=True)
            raise

    def _blocks(self, key: str) -> Iterator[bytes]:
        """Of a server each part is asked for with a fresh request, so that one that broke off is no short file."""
        place = f"{self._root}/{key}"
        size, at = int(self._fs.info(place)["size"]), 0
        while at < size:
            block = self._fs.cat_file(place, start=at, end=min(size, at + 8 * BLOCK_BYTES))
            if not block:
                raise OSError("the store gave fewer bytes than it announced")
            yield block
            at += len(block)

    def _worded_blocks(self, key: str) -> Iterator[bytes]:
        blocks = self._blocks(key)
        while True:
            with self._in_words():
                block = next(blocks, None)
            if block is None:
                return
            yield block

    @contextmanager
    def _must_be_there(self) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise StoreError(NOT_THERE.format(shown=self.shown)) from None

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """What a store raises, as one sentence; FileNotFoundError, an answer, goes through.

        Each kind of store has errors of its own, and their texts may name keys: only the kind is told.
        """
        try:
            yield
        except (StillairError, FileNotFoundError):
            raise
        except PermissionError:
            raise StoreError(REFUSED.format(shown=self.shown)) from None
        except Exception as error:
            kinds = [kind.__name__ for kind in type(error).__mro__]
            if any(word in name for name in kinds for word in ("Connect", "Timeout", "Credentials")):
                refused = any("Credentials" in name for name in kinds)
                raise StoreError((REFUSED if refused else SILENT).format(shown=self.shown)) from None
            if self._is_folder and isinstance(error, OSError) and error.errno in FULL:
                raise  # which has words of its own
            raise StoreError(OTHER.format(shown=self.shown, kind=type(error).__name__)) from None
