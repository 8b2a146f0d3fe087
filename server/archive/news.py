"""What has been committed lately, for pages that follow it: numbers in memory, so that asking costs no database."""

from __future__ import annotations

import time
from collections import deque
from threading import Lock

MOST_REMEMBERED = 2000


class News:
    """Counts what was committed. Only one server writes to an archive, so nothing is missed.

    The count starts at the milliseconds of the clock: after a restart it stands elsewhere than a page remembers.
    """

    def __init__(self) -> None:
        self.newest = int(time.time() * 1000)
        self._told: deque[tuple[int, int | None]] = deque(maxlen=MOST_REMEMBERED)
        self._first, self._lock = self.newest, Lock()

    def tell(self, day_id: int | None) -> None:
        """Something of a day (None: of no day in particular) was committed."""
        with self._lock:
            self._told.append((self.newest + 1, day_id))
            self._first = self._told[0][0] - 1
            self.newest += 1

    def days_since(self, number: int) -> set[int | None] | None:
        """The days that were changed since; None when nobody can say, so that all may have been."""
        with self._lock:
            if not self._first <= number <= self.newest:
                return None
            return {day_id for count, day_id in self._told if count > number}
