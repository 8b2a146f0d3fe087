"""The headers of the tus resumable upload protocol 1.0.0 (open protocol of tus.io), read and written."""

from __future__ import annotations

import base64
import binascii
import re
from pathlib import PurePosixPath

from server.errors import UploadError

VERSION = "1.0.0"
EXTENSIONS = "creation,expiration,termination"
BODY_TYPE = "application/offset+octet-stream"
NO_NAME = "file"
LONGEST_NAME = 200
LONGEST_METADATA = 4096
_KEY = re.compile(r"[^\s,]+")


class ProtocolError(UploadError):
    """A request that the protocol does not allow."""


def number(header: str, value: str | None) -> int:
    """A header that holds a count of bytes. Raises ProtocolError."""
    if value is None or not re.fullmatch(r"[0-9]{1,18}", value):
        raise ProtocolError(f"The header {header} must be a number of bytes.")
    return int(value)


def metadata(header: str) -> dict[str, bytes]:
    """Upload-Metadata: `key base64, key base64, …`; keys are unique, a value may be empty. Raises ProtocolError."""
    pairs: dict[str, bytes] = {}
    if len(header) > LONGEST_METADATA:
        raise ProtocolError("The header Upload-Metadata is too long.")
    for pair in header.split(",") if header else []:
        key, _, value = pair.strip().partition(" ")
        if not _KEY.fullmatch(key) or key in pairs:
            raise ProtocolError("The header Upload-Metadata must be a list of unlike keys with their values.")
        try:
            pairs[key] = base64.b64decode(value.strip(), validate=True)
        except binascii.Error:
            raise ProtocolError("A value of the header Upload-Metadata is not Base64.") from None
    return pairs


def file_name(pairs: dict[str, bytes]) -> str:
    """The name that a file was sent with, without folders and without signs that nobody sees."""
    text = pairs.get("filename", b"").decode("utf-8", "replace").replace("\\", "/")
    name = "".join(letter for letter in PurePosixPath(text).name if letter.isprintable()).strip()
    return NO_NAME if name in ("", "..") else name[-LONGEST_NAME:]
