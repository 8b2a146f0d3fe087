"""A brake on guessing: pauses that double, for each network and each name, and for all together."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

FREE_FAILURES, FREE_FAILURES_OF_ALL = 3, 20
LONGEST_PAUSE_S, LONGEST_PAUSE_OF_ALL_S = 300.0, 30.0
FORGIVEN_AFTER_S = 900.0
MOST_KEYS = 2000

Clock = Callable[[], float]


@dataclass
class Brake:
    """Pauses that double with each failure beyond the first free ones; forgiven after a quarter of an hour."""

    free: int
    longest_s: float
    failures: int = 0
    last_s: float = -FORGIVEN_AFTER_S

    def wait_s(self, now_s: float) -> float:
        """How long no further try is looked at."""
        beyond = self.failures - self.free
        if beyond < 0 or now_s - self.last_s > FORGIVEN_AFTER_S:
            return 0.0
        pause = min(self.longest_s, 2.0 ** min(beyond, 20))
        return max(0.0, self.last_s + pause - now_s)

    def fail(self, now_s: float) -> None:
        """Count a failure."""
        if now_s - self.last_s > FORGIVEN_AFTER_S:
            self.failures = 0
        self.failures, self.last_s = self.failures + 1, now_s


@dataclass
class Throttle:
    """Says how long the next try of these keys (a network, a name) must wait.

    A try is counted as a failure before it is looked at and taken back when it was right, so that a hundred at once
    are no more than one after the other.
    """

    clock: Clock = time.monotonic
    _of_all: Brake = field(default_factory=lambda: Brake(FREE_FAILURES_OF_ALL, LONGEST_PAUSE_OF_ALL_S))
    _of_each: dict[str, Brake] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self, *keys: str) -> float:
        """Count a try; gives the seconds to wait when it is too early for one, which is then not counted."""
        with self._lock:
            now = self.clock()
            known = [self._of_each[key] for key in keys if key in self._of_each]
            wait = max([self._of_all.wait_s(now), *(brake.wait_s(now) for brake in known)])
            if wait <= 0:
                self._of_all.fail(now)
                for key in keys:
                    self._brake(key).fail(now)
            return wait

    def was_right(self, *keys: str) -> None:
        """Take the try back that was begun last."""
        with self._lock:
            self._of_all.failures = max(0, self._of_all.failures - 1)
            for key in keys:
                self._of_each.pop(key, None)

    def _brake(self, key: str) -> Brake:
        if key not in self._of_each and len(self._of_each) >= MOST_KEYS:
            self._of_each.pop(min(self._of_each, key=lambda each: self._of_each[each].last_s))
        return self._of_each.setdefault(key, Brake(FREE_FAILURES, LONGEST_PAUSE_S))
