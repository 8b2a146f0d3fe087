"""The list of files of a zip that needs the 64-bit kind: its size is read before anything is believed of it."""

from __future__ import annotations

import io
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
