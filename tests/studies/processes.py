"""The memory of a server and of everything that it has started, looked at five times a second."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass, field
from pathlib import Path

LOOK_EVERY_S = 0.2
MOST_MB = {"server": 900.0, "worker": 1500.0, "decoder": 3300.0}  # a decoder bounds itself at 3 GiB
DECODERS = (b"server.tufts.decoding", b"mdf_child")


@dataclass
class MemoryWatch:
    """The most resident memory of each kind of process [MB] from `start` to `stop`; nothing without a /proc."""

    process_id: int
    most: dict[str, float] = field(default_factory=dict)
    now: dict[str, float] = field(default_factory=dict)

    def start(self) -> None:
        """Begin."""
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._loop, daemon=True)
        self._thread.start()

    def stop(self) -> list[str]:
        """End; gives a sentence for each kind that was over its bound."""
        self._done.set()
        self._thread.join()
        return [
            f"a {kind} took {most:.0f} MB, more than {MOST_MB[kind]:.0f} MB"
            for kind, most in self.most.items()
            if most > MOST_MB[kind]
        ]

    def __str__(self) -> str:
        return ", ".join(f"{kind} {mb:.0f} MB" for kind, mb in sorted(self.most.items()))

    def _loop(self) -> None:
        while not self._done.wait(LOOK_EVERY_S):
            self.now = {}
            for number in tree_of(self.process_id):
                kind, mb = "server" if number == self.process_id else _kind(number), _resident_mb(number)
                self.now[kind] = max(mb, self.now.get(kind, 0.0))
                self.most[kind] = max(mb, self.most.get(kind, 0.0))


def tree_of(process_id: int) -> list[int]:
    """A process and all that it and they have started, where the system tells."""
    started: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        parent = parent_of(stat)
        if parent is not None:
            started.setdefault(parent, []).append(int(stat.parent.name))
    found = [process_id]
    for one in found:
        found += started.get(one, [])
    return found


def parent_of(stat: Path) -> int | None:
    """Who started a process, by its /proc/NUMBER/stat; None where it has ended."""
    try:
        words = re.sub(r"\(.*\)", "x", stat.read_text()).split()
    except OSError:
        return None
    return None if words[2] == "Z" else int(words[3])


def _kind(process_id: int) -> str:
    try:
        command = Path(f"/proc/{process_id}/cmdline").read_bytes()
    except OSError:
        return "worker"
    return "decoder" if any(word in command for word in DECODERS) else "worker"


def _resident_mb(process_id: int) -> float:
    try:
        lines = Path(f"/proc/{process_id}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1e3 for line in lines if line.startswith("VmRSS")), 0.0)
