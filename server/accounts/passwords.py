"""Passwords: kept as Argon2id hashes, refused when they are short or easily guessed.

Lengths follow OWASP ASVS 4.0.3, 2.1.1 (at least 12 characters) and 2.1.2 (64 and more allowed); common ones are
refused (2.1.7), and there are no rules on kinds of characters (2.1.9). Numbers of the paragraphs from memory.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pwdlib.hashers.argon2 import Argon2Hasher

SHORTEST, LONGEST = 12, 200
LOOKED_AT = 72  # signs; beyond, the search for patterns takes long and finds nothing more
EASY_LOG10 = 8.0
TOO_SHORT = f"A password has at least {SHORTEST} characters; a few words in a row do well."
TOO_LONG = f"A password has at most {LONGEST} characters."
EASY = "That password is among those that are tried first; take another, of words that do not belong together."
NAMED = "A password does not hold the name of its account."
UNLIKE = "The two passwords differ; type them again."


def unfit(password: str, again: str, name: str) -> str:
    """Why a password can't be taken, in a sentence; empty when it can."""
    if password != again:
        return UNLIKE
    if len(password) < SHORTEST:
        return TOO_SHORT
    if len(password) > LONGEST:
        return TOO_LONG
    if name and name.casefold() in password.casefold():
        return NAMED
    return EASY if _is_easy(password, name) else ""


def _is_easy(password: str, name: str) -> bool:
    """Whether fewer than 100 million guesses find it: common passwords, names, dates, keys in a row, repeats."""
    from zxcvbn import zxcvbn

    return float(zxcvbn(password[:LOOKED_AT], user_inputs=[name, "stillair"])["guesses_log10"]) < EASY_LOG10


def hashed(password: str) -> str:
    """The Argon2id hash of a password (RFC 9106), with its own salt."""
    return _hasher().hash(password)


def is_right(password: str, kept: str) -> bool:
    """Whether a password is the one of a hash; takes as long when there is no hash to compare with."""
    right = _hasher().verify(password[: LONGEST + 1], kept or _nobodys())
    return right and bool(kept)


@cache
def _hasher() -> Argon2Hasher:
    from pwdlib.hashers.argon2 import Argon2Hasher

    return Argon2Hasher()


@cache
def _nobodys() -> str:
    return hashed("nobody has this one")
