"""The list of files of a zip that needs the 64-bit kind: its size is read before anything is believed of it."""

from __future__ import annotations

import io
import struct
import zipfile

import pytest

from server.errors import UploadError
from server.readers.zip_directory import directory_bytes

MORE_THAN_16_BITS_COUNT = 65_600


def test_the_size_of_a_large_zips_list() -> None:
    """ISO/IEC 21320-1: the list lies between its first header and the 64-bit record of its end."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        for number in range(MORE_THAN_16_BITS_COUNT):
            made.writestr(f"{number}", "")
    data = out.getvalue()
    size = data.rindex(b"PK\x06\x06") - data.index(b"PK\x01\x02")
    assert directory_bytes(io.BytesIO(data), large=True) == size
    with pytest.raises(UploadError, match="64-bit kind"):
        directory_bytes(io.BytesIO(data))
    broken = data.replace(b"PK\x06\x06", b"PK\x06\x00")
    with pytest.raises(UploadError, match="its list of files is missing"):
        directory_bytes(io.BytesIO(broken), large=True)


def test_a_second_record_elsewhere_is_not_believed() -> None:
    """The one that is read lies right before its locator, whatever place the locator names."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr("a", "")
    data = out.getvalue()
    end = data.rindex(b"PK\x05\x06")
    told, held = (struct.pack("<4sQ2H2L4Q", b"PK\x06\x06", 44, 45, 45, 0, 0, 1, 1, size, 0) for size in (50, 10**9))
    for record_at in (end, end + len(told)):
        locator = struct.pack("<4sLQL", b"PK\x06\x07", 0, record_at, 1)
        forged = io.BytesIO(data[:end] + told + held + locator + data[end:])
        if record_at == end:
            with pytest.raises(UploadError, match="its list of files is missing"):
                directory_bytes(forged, large=True)
        else:
            assert directory_bytes(forged, large=True) == 10**9
