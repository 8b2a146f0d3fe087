"""Who is at this screen: a name typed once, kept in a cookie, written beside every change; programs send a header."""

from __future__ import annotations

from urllib.parse import quote, unquote

WHO_COOKIE = "who"
WHO_HEADER = "x-stillair-who"  # of a program, which keeps no cookies
LONGEST = 60
NOBODY = "somebody at this screen"


def person_of(cookie: str) -> str:
    """The name in the cookie, or what stands for none."""
    return clean(unquote(cookie)) or NOBODY


def cookie_of(name: str) -> str:
    """A typed name as the cookie keeps it; empty for none."""
    return quote(clean(name))


def clean(name: str) -> str:
    """A typed name without what nobody sees, and not longer than a name is."""
    return "".join(sign for sign in " ".join(name.split())[:LONGEST] if sign.isprintable())
