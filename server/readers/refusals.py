"""Refuse what is no table of text: pictures, archives, web pages, binary recordings. One sentence each."""

from __future__ import annotations

import re

from server.errors import LogError

_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook; save its table as CSV"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook; save its table as CSV"),
    (b"\x1f\x8b", "a compressed file; unpack it first"),
    (b"7z\xbc\xaf\x27\x1c", "a compressed file; unpack it first"),
    (b"SQLite format 3\x00", "a database"),
    (b"PARE", "an encrypted Parquet file; save it without a password"),
    (b"{\\rtf", "a text document (RTF)"),
)
_BRANDS = (b"ftyp",)
_PAGE = re.compile(rb"\s*<(!doctype\s+html|html|head|body)\b", re.IGNORECASE)
_MARKUP = re.compile(rb"\s*<\?xml|\s*<[A-Za-z][\w:-]*(\s[^>]*)?>")
_CONTROL = re.compile(rb"[\x01-\x08\x0e-\x1f\x7f]")
_MANY_CONTROL = 0.02


def refuse_signature(name: str, head: bytes) -> None:
    """Raise LogError where the first bytes belong to a known kind of file that is not text."""
    if not head:
        raise LogError(f"{name} is empty.")
    for signature, what in _SIGNATURES:
        if head.startswith(signature):
            hint = "" if ";" in what else "; a log must be a table of text"
            raise LogError(f"{name} is {what}{hint}.")
    if head[4:8] in _BRANDS:
        raise LogError(f"{name} is a picture or a film; a log must be a table of text.")


def refuse_binary(name: str, head: bytes) -> None:
    """Raise LogError where text is markup or holds the control bytes of binary data."""
    if not head.strip(b" \t\r\n\0"):
        raise LogError(f"{name} holds nothing but blanks.")
    if _PAGE.match(head):
        raise LogError(f"{name} is a web page (line 1 is markup); a log must be a table of text.")
    if _MARKUP.match(head):
        raise LogError(f"{name} is marked-up text (line 1 opens a tag); a log must be a table of text.")
    text = head.rstrip(b"\0")
    control = [match.start() for match in _CONTROL.finditer(text)]
    nul = text.find(b"\0")
    if len(control) > _MANY_CONTROL * len(text) or text.count(b"\0") > 0.3 * len(text):
        place = min([*control[:1], *([nul] if nul >= 0 else [])])
        found = f"byte 0x{text[place]:02x} at position {place + 1:,}"
        raise LogError(f"{name} is binary ({found}); a log must be a table of text.")
