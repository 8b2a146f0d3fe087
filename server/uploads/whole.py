"""A file that came whole with a form, made an upload as if it had gone ahead."""

from __future__ import annotations

from typing import BinaryIO

from server.uploads.service import Uploads

PIECE_BYTES = 1 << 20


def take_whole(uploads: Uploads, name: str, size_bytes: int, content: BinaryIO, who: str) -> str:
    """Keep a file; gives its upload. Raises TooLargeError, DiskFullError."""
    upload, at = uploads.begin(name, size_bytes, who=who), 0
    while piece := content.read(PIECE_BYTES):
        at = uploads.append(upload.id, at, piece)
    return uploads.settle(upload.id).id
