"""What a library raises on a damaged file, as one sentence."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from server.errors import LogError, StillairError

_LONGEST = 100


@contextmanager
def readable(name: str, what: str) -> Iterator[None]:
    """Turn whatever goes wrong inside into a LogError: "NAME cannot be read as WHAT (why)".

    The parsers of damaged files raise anything, from KeyError to their own errors, and document none of it.
    """
    try:
        yield
    except StillairError:
        raise
    except MemoryError as error:
        raise LogError(f"{name} needs more memory than there is; cut the log, or leave channels out.") from error
    except Exception as error:
        raise LogError(f"{name} cannot be read as {what} ({reason(error)}); copy or export it once more.") from error


def reason(error: Exception) -> str:
    """Say in a few printable words what was raised."""
    text = " ".join("".join(c if c.isprintable() else " " for c in str(error)).split()).rstrip(".")
    text = text or type(error).__name__
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "…"
