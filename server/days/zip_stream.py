"""A folder of kept files as a zip, made while it is sent: no copy of it lies on the disk or in memory."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from server.errors import StillairError

BLOCK_BYTES = 1 << 20
STABLE_TIME = (1980, 1, 1, 0, 0, 0)  # the same files always give the same bytes
READABLE = 0o644 << 16
LEVEL = 6
ALTERED = "The bytes of {path} are not those that were kept; see what `stillair verify` says. The zip was not finished."


class _Outbox:
    """What the zip has written and nobody has taken yet."""

    def __init__(self) -> None:
        self._parts: list[bytes] = []

    def write(self, data: bytes) -> int:
        """Take bytes in."""
        self._parts.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits behind this."""

    def take(self) -> bytes:
        """All that has come in since the last time."""
        taken, self._parts = b"".join(self._parts), []
        return taken


def zip_pieces(files: Mapping[str, Path | bytes], sums: Mapping[str, str] | None = None) -> Iterator[bytes]:
    """The zip of files, or of bytes, by their path in it, piece by piece.

    sums: SHA-256 by path; raises StillairError at the end of a file that has another one.
    """
    outbox = _Outbox()
    with zipfile.ZipFile(outbox, "w", zipfile.ZIP_DEFLATED, compresslevel=LEVEL) as made:  # type: ignore[call-overload]
        for path, file in sorted(files.items()):
            info = zipfile.ZipInfo(path, STABLE_TIME)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, READABLE
            info.file_size = len(file) if isinstance(file, bytes) else file.stat().st_size
            seal = hashlib.sha256()
            with made.open(info, "w") as target, _opened(file) as source:
                while block := source.read(BLOCK_BYTES):
                    seal.update(block)
                    target.write(block)
                    yield outbox.take()
            if sums is not None and sums.get(path, seal.hexdigest()) != seal.hexdigest():
                raise StillairError(ALTERED.format(path=path))
    yield outbox.take()


def _opened(file: Path | bytes) -> BinaryIO:
    return io.BytesIO(file) if isinstance(file, bytes) else file.open("rb")
