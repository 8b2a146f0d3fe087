"""Joining from another device: a code that the console prints, a mark that the device then keeps, a brake on guessing.

The code is made anew at each start: whoever reads the console stands beside the server, and a code overheard at
the last event opens nothing today. A device that has joined stays joined over restarts, because its mark is signed
with a key that lies in the data folder; taking that file away lets every device join anew.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

LETTERS = "ACDEFGHJKMNPQRTWXY34679"  # none that is taken for another when read aloud or off a screen
CODE_LENGTH = 8
KEY_FILE = "join.key"
KEY_BYTES = 32
LASTS_S = 200 * 24 * 3600  # a season
FREE_FAILURES, FREE_FAILURES_OF_ALL = 3, 20
LONGEST_PAUSE_S, LONGEST_PAUSE_OF_ALL_S = 300.0, 30.0
FORGIVEN_AFTER_S = 900.0
MOST_ADDRESSES = 1000

Clock = Callable[[], float]


def make_code() -> str:
    """A new code, in two groups."""
    letters = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
    return f"{letters[: CODE_LENGTH // 2]}-{letters[CODE_LENGTH // 2 :]}"


def plain(code: str) -> str:
    """A code as it is compared: capitals, without spaces and dashes."""
    return re.sub(r"[\s-]+", "", code).upper()


def read_key(folder: Path) -> bytes:
    """The key that marks are signed with, made when there is none; its file can be read by its owner alone."""
    file = folder / KEY_FILE
    try:
        descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        key = file.read_bytes()
        if len(key) == KEY_BYTES:
            return key
        file.unlink()  # cut off by a crash; nobody has joined with it
        return read_key(folder)
    key = secrets.token_bytes(KEY_BYTES)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(key)
    return key


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
class JoinDesk:
    """Lets devices in. `code`: what must be entered. `fixed`: it was set, so that another one shuts all out."""

    key: bytes
    code: str = field(default_factory=make_code)
    fixed: bool = False
    clock: Clock = time.monotonic
    calendar: Clock = time.time
    _of_all: Brake = field(default_factory=lambda: Brake(FREE_FAILURES_OF_ALL, LONGEST_PAUSE_OF_ALL_S))
    _of_each: dict[str, Brake] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)  # many tries at once are one after the other

    def wait_s(self, address: str) -> float:
        """How long no try from this address is looked at, right or wrong."""
        now = self.clock()
        own = self._of_each.get(address)
        return max(self._of_all.wait_s(now), own.wait_s(now) if own else 0.0)

    def enter(self, address: str, code: str) -> str | None:
        """The device's mark when the code is right; None when it is wrong or it is too early to try."""
        with self._lock:
            if self.wait_s(address) > 0:
                return None
            if hmac.compare_digest(plain(code).encode(), plain(self.code).encode()):
                self._of_each.pop(address, None)
                return self._mark(int(self.calendar()), secrets.token_hex(8))
            self._fail(address)
            return None

    def is_joined(self, mark: str) -> bool:
        """Whether a mark was given out here, with this key, and not too long ago."""
        made, _, rest = mark.partition(".")
        name, _, _ = rest.partition(".")
        if not re.fullmatch(r"[0-9]{1,12}", made) or not re.fullmatch(r"[0-9a-f]{16}", name):
            return False
        right = hmac.compare_digest(mark.encode(), self._mark(int(made), name).encode())
        return right and self.calendar() - int(made) <= LASTS_S

    def _mark(self, made: int, name: str) -> str:
        told = f"{made}.{name}.{plain(self.code) if self.fixed else ''}"
        return f"{made}.{name}.{hmac.new(self.key, told.encode(), hashlib.sha256).hexdigest()}"

    def _fail(self, address: str) -> None:
        now = self.clock()
        self._of_all.fail(now)
        if address not in self._of_each and len(self._of_each) >= MOST_ADDRESSES:
            self._of_each.pop(min(self._of_each, key=lambda each: self._of_each[each].last_s))
        self._of_each.setdefault(address, Brake(FREE_FAILURES, LONGEST_PAUSE_S)).fail(now)


def open_desk(folder: Path, set_code: str) -> JoinDesk:
    """The desk of a data folder. set_code: a code of the settings; empty for one made anew."""
    key = read_key(folder)
    return JoinDesk(key, set_code, fixed=True) if set_code else JoinDesk(key)
