"""Codes that a person reads off a screen, and marks that a device or a program keeps."""

from __future__ import annotations

import hashlib
import re
import secrets

LETTERS = "ACDEFGHJKMNPQRTWXY34679"  # none that is taken for another when read aloud or off a screen
GROUPS, GROUP_LENGTH = 3, 4


def make_code() -> str:
    """A new code of 12 letters (54 bits), in groups."""
    return "-".join("".join(secrets.choice(LETTERS) for _ in range(GROUP_LENGTH)) for _ in range(GROUPS))


def make_mark() -> str:
    """A new mark of 256 bits."""
    return secrets.token_urlsafe(32)


def plain(code: str) -> str:
    """A code as it is compared: capitals, without spaces and dashes."""
    return re.sub(r"[\s-]+", "", code).upper()


def sha256_of_code(code: str) -> str:
    """What is kept of a code."""
    return sha256_of_mark(plain(code))


def sha256_of_mark(mark: str) -> str:
    """What is kept of a mark."""
    return hashlib.sha256(mark.encode("utf-8", "surrogatepass")).hexdigest()
