"""An archive that cannot be had for a while: said once, asked for more and more seldom, said once that it is back."""

from __future__ import annotations

import logging
import time

SHORTEST_S, LONGEST_S = 1.0, 10.0


class Outage:
    """Of one lane of jobs. said: shared by all lanes, which say the same thing once among them."""

    def __init__(self, said: set[type[Exception]]) -> None:
        self._said = said
        self._began = 0.0
        self._why: type[Exception] | None = None
        self._is_mine = False

    def pause_s(self, error: Exception) -> float:
        """How long to wait before the next try: about as long as it has lasted."""
        now = time.monotonic()
        if self._why is None:
            self._began, self._why, self._is_mine = now, type(error), type(error) not in self._said
            if self._is_mine:
                self._said.add(self._why)
                logging.getLogger(__name__).warning("jobs wait: %s", error)
        return min(LONGEST_S, max(SHORTEST_S, now - self._began))

    def over(self) -> None:
        """A try went well."""
        if self._why is not None and self._is_mine:
            self._said.discard(self._why)
            logging.getLogger(__name__).warning("jobs go on")
        self._why, self._is_mine = None, False
