"""The size of a zip's list of files, read before anything is believed of it.

Source: the end of central directory record and the zip64 locator of ISO/IEC 21320-1 (the ZIP container).
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO

from server.errors import UploadError

_END = b"PK\x05\x06"
_END_BYTES = 22
_LONGEST_COMMENT = 65_535
_ZIP64_LOCATOR = b"PK\x06\x07"
_ZIP64_LOCATOR_BYTES = 20
_ZIP64_END, _ZIP64_END_BYTES = b"PK\x06\x06", 56
NO_LIST = "{name} is no zip that can be read (its list of files is missing)."


def directory_bytes(data: Path | BinaryIO, *, large: bool = False) -> int:
    """Return the bytes of the central directory as the zip's last record states them.

    large: the 64-bit kind is taken, too, that only zips of more than 65,535 files or 4 GiB need.
    Raises UploadError where there is no such record, or where it is of that kind and may not be.
    """
    if isinstance(data, Path):
        with data.open("rb") as file:
            return _directory_bytes(file, data.name, large)
    return _directory_bytes(data, "the zip", large)


def _directory_bytes(file: BinaryIO, name: str, large: bool) -> int:
    size = file.seek(0, io.SEEK_END)
    tail_at = file.seek(max(0, size - _END_BYTES - _LONGEST_COMMENT - _ZIP64_LOCATOR_BYTES))
    tail = file.read()
    file.seek(0)
    at = tail.rfind(_END)
    if at < 0 or len(tail) < at + _END_BYTES:
        raise UploadError(NO_LIST.format(name=name))
    locator = tail[max(0, at - _ZIP64_LOCATOR_BYTES) : at]
    if locator.startswith(_ZIP64_LOCATOR):
        if large:
            record_at = tail_at + at - _ZIP64_LOCATOR_BYTES - _ZIP64_END_BYTES
            if int.from_bytes(locator[8:16], "little") != record_at:  # another one would be read than is looked at
                raise UploadError(NO_LIST.format(name=name))
            return _large_bytes(file, name, record_at)
        raise UploadError(f"{name} is a zip of the 64-bit kind, for more files or bytes than are taken here.")
    return int.from_bytes(tail[at + 12 : at + 16], "little")


def _large_bytes(file: BinaryIO, name: str, at: int) -> int:
    """The same of the 64-bit record, which begins at `at`."""
    file.seek(at)
    record = file.read(_ZIP64_END_BYTES)
    file.seek(0)
    if not record.startswith(_ZIP64_END) or len(record) < _ZIP64_END_BYTES:
        raise UploadError(NO_LIST.format(name=name))
    return int.from_bytes(record[40:48], "little")
