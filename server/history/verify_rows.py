"""Looking at rows that may be damaged: what cannot be read is a fault of its place, not the end of looking."""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Iterator

from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.orm import Session

from server.errors import StillairError

UNREADABLE = (
    *(SQLAlchemyError, OSError, zipfile.BadZipFile, zlib.error),
    *(ValueError, LookupError, TypeError, AttributeError),  # of JSON that is there and says something else
)


def guarded(session: Session, place: str, found: Iterator[str]) -> Iterator[str]:
    """The faults found, and one more where looking at the place comes to an end."""
    try:
        yield from found
    except StillairError as error:
        yield f"{place}: {error}"
    except UNREADABLE as error:
        session.rollback()
        yield f"{place}: cannot be read ({in_a_line(error)})."


def in_a_line(error: Exception) -> str:
    """What an error says, without the statement that it came up in."""
    told = str(error.orig if isinstance(error, DBAPIError) else error).strip()
    return told.splitlines()[0] if told else type(error).__name__
