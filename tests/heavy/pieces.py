"""Pieces of work for the tests of pools: functions that a worker finds by their name."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from server.errors import StillairError
from server.heavy.pool import Progress, unheard


def halved(number: int, _: Progress) -> tuple[float, int]:
    """A number and the process that made it."""
    return number / 3.0, os.getpid()


def noted(task: tuple[str, int], _: Progress) -> int:
    """Writes down that it has begun, and takes a while."""
    folder, number = task
    (Path(folder) / f"{number} {time.time_ns()}").touch()
    time.sleep(0.3)
    return number


def fatal(task: tuple[str, int], _: Progress) -> int:
    """The first process that takes number 2 is killed by it; every process that takes number 9 is."""
    folder, number = task
    first = Path(folder) / f"killed {number}"
    if number == 9 or (number == 2 and not first.exists()):
        first.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def refused(_: Any, __: Progress) -> None:
    """A sentence for a person."""
    raise StillairError("This day has no log.")


def all_noted(payload: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """The work of a job that hands out pieces."""
    from server.heavy.cluster import Cluster

    tasks = [(payload["folder"], number) for number in range(payload["count"])]
    for place, _ in Cluster(payload["scheduler"]).each(noted, tasks, unheard):
        progress(place / len(tasks), "going on")
    return {}
