"""A tablet that sends entries in order to a server that is killed at chance moments: is each kept, once, in order?

Every entry writes its number into the notes of a run. What was not answered is sent again, under the same id, when the
server is back; the day must then have one revision an entry, in the order in which they were made.
"""

from __future__ import annotations

import os
import random
import signal
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from server.archive.archive import Archive
from server.days.revisions import newest_day
from server.days.service import list_revisions
from tests.uploads.killed import running
from tests.web.day_site import keep

TABLET = "0123456789abcdef"
MOST_PAUSE_S = 0.6
NOTES = "/days/1/runs/1/notes"


@dataclass
class Sent:
    """The tablet's queue: the next entry's number, how often one was sent again, what went wrong."""

    next: int = 1
    again: int = 0
    kills: int = 0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.next - 1} entries, {self.kills} kills, {self.again} sent again after no answer; "
            f"{len(self.faults)} faults"
        )


def lose_answers(folder: Path, moments: int, seed: int) -> Sent:
    """Kill the server `moments` times while a tablet sends; then look at what the day became."""
    archive = Archive(folder / "data")
    archive.open()
    keep(archive, folder / "day")
    archive.close()
    chance, queue, unanswered = random.Random(seed), Sent(), False
    for _ in range(moments):
        with running(folder / "data") as (process, address):
            stop = threading.Event()
            sender = threading.Thread(target=_send, args=(address, queue, stop))
            queue.again += unanswered
            sender.start()
            before = queue.next
            while queue.next < before + 2 and sender.is_alive():
                time.sleep(0.005)
            time.sleep(chance.uniform(0.0, MOST_PAUSE_S))
            os.kill(process.pid, signal.SIGKILL)
            sender.join()
            queue.kills, unanswered = queue.kills + 1, True
    with running(folder / "data") as (_, address):
        _send(address, queue, threading.Event(), last=queue.next)
    _look(folder / "data", queue)
    return queue


def _send(address: str, queue: Sent, stop: threading.Event, last: int | None = None) -> None:
    """Send one entry after the other, each until it is answered, as long as the server is there."""
    with suppress(httpx.TransportError), httpx.Client(base_url=address, headers={"Origin": address}) as client:
        while not stop.is_set() and (last is None or queue.next <= last):
            name = f"{TABLET}-{queue.next:016x}"
            headers = {"X-Stillair-Entry": name, "X-Stillair-Entry-Age": "1"}
            form = {"revision": "1", "notes": f"entry {queue.next}"}
            answer = client.post(NOTES, data=form, headers=headers, timeout=60)
            if not (answer.status_code == 200 and answer.json().get("kept")):
                queue.faults.append(f"entry {queue.next}: {answer.status_code} {answer.text[:200]}")
                return
            queue.next += 1


def _look(folder: Path, queue: Sent) -> None:
    archive = Archive(folder)
    archive.open()
    with archive.database.reading() as session:
        revisions = list_revisions(session, 1)
        day = newest_day(archive, session, 1)[1]
    archive.close()
    count = queue.next - 1
    if len(revisions) != count + 1:
        queue.faults.append(f"{count} entries made {len(revisions) - 1} revisions")
    if day.runs[0].notes != f"entry {count}":
        queue.faults.append(f"the notes say “{day.runs[0].notes}” after entry {count}")
