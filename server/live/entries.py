"""What an entry says of itself in its request's headers, and what the archive knows of it already."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from typing import Any

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.entries import Entry
from server.archive.tables import KeptEntry
from server.errors import StillairError

ID_HEADER = "x-stillair-entry"
AGE_HEADER = "x-stillair-entry-age"
ID = re.compile(r"([0-9a-f]{8,32})-[0-9a-f]{8,32}")
OLDEST_S = 400 * 24 * 3600.0
NO_ENTRY = "What names an entry must be the tablet's name and the entry's own, as its pages make them."
NO_AGE = "The age of an entry must be a number of seconds."


def entry_of(headers: Mapping[str, str]) -> Entry | None:
    """The entry that a request brings; None when it brings none. Raises StillairError.

    Its time is told as an age, so that a tablet whose clock is wrong still tells it right.
    """
    name = headers.get(ID_HEADER)
    if name is None:
        return None
    parts = ID.fullmatch(name)
    if parts is None:
        raise StillairError(NO_ENTRY)
    try:
        age_s = float(headers.get(AGE_HEADER, "0"))
    except ValueError:
        raise StillairError(NO_AGE) from None
    if not math.isfinite(age_s):
        raise StillairError(NO_AGE)
    return Entry(name, parts[1], now_utc() - dt.timedelta(seconds=min(OLDEST_S, max(0.0, age_s))))


def kept_answer(archive: Archive, entry_id: str) -> dict[str, Any] | None:
    """What is answered to an entry that was kept; None for one that was not."""
    with archive.database.reading() as session:
        row = session.get(KeptEntry, entry_id)
        if row is None:
            return None
        return {"kept": True, "event": row.event_id, "made_at": row.made_at.isoformat(timespec="seconds")}
