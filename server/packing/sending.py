"""A packed season while it is sent: what it is made of stays in the archive's scratch until the last byte is out."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from server.archive.archive import Archive
from server.packing.season_zip import pack


def packed_stream(archive: Archive, year: int | None, car: str) -> tuple[str, Iterator[bytes]]:
    """The zip's name and its pieces. Raises StillairError before the first of them where nothing is chosen."""
    scratch = Path(tempfile.mkdtemp(dir=archive.scratch, prefix="packing-"))
    try:
        packed = pack(archive, scratch, year, car)
    except BaseException:
        shutil.rmtree(scratch, ignore_errors=True)
        raise

    def pieces() -> Iterator[bytes]:
        try:
            yield from packed.pieces()
        finally:
            shutil.rmtree(scratch, ignore_errors=True)

    return packed.name, pieces()
