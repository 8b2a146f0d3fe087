"""A long afternoon on one real server: tablets that read pages in turn, a pause between them, and others that send logs
and wait for their fits, for so many minutes. Nobody meets an error; how slow pages are is told."""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from server.archive.read_only import ReadOnlyArchive
from server.history.verify import faults
from tests.benchmarks.test_load import Site, Walked, bring, ended, pages_of
from tests.studies.kill_actors import zipped_day
from tests.studies.processes import MemoryWatch
from tests.uploads.killed import running

READERS, SENDERS = 8, 3
PAUSE_S = 1.0  # a page is looked at
MOST_P95_S = 0.3


@dataclass
class Afternoon:
    """What was seen. memory: the most of each kind of process."""

    walked: Walked = field(default_factory=Walked)
    brought: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    memory: str = ""

    @property
    def holds(self) -> bool:
        """No error, and pages as quick as they should be."""
        return not self.faults and self.walked.p95() < MOST_P95_S

    def __str__(self) -> str:
        pages = [f"  {page:55s} {1e3 * self.walked.p95(page):6.0f} ms" for page in sorted(self.walked.seconds)]
        number = sum(len(one) for one in self.walked.seconds.values())
        first = (
            f"{number} pages by {READERS} tablets, p95 {1e3 * self.walked.p95():.0f} ms (at most "
            f"{1e3 * MOST_P95_S:.0f}); {len(self.brought)} logs of 4 MB by {SENDERS} others; most memory: {self.memory}"
        )
        return "\n".join([first, *pages, f"{len(self.faults)} faults"])


def afternoon(folder: Path, minutes: float, say: Callable[[str], None]) -> Afternoon:
    """Let them read and send for so many minutes on a new archive in `folder`."""
    seen, stop = Afternoon(), threading.Event()
    with running(folder) as (process, address), Site(address, ()).client() as client:
        added = client.post("/add/folder", files={"day_zip": ("day.zip", zipped_day("Shakedown"))})
        assert ended(client, added.headers["location"]) == "done"
        site, watch = Site(address, pages_of(client)), MemoryWatch(process.pid)
        watch.start()
        with ThreadPoolExecutor(READERS + SENDERS) as people:
            readers = [people.submit(_read, site, seen, stop, place) for place in range(READERS)]
            senders = [people.submit(_send, site, seen, stop, place) for place in range(SENDERS)]
            end = time.monotonic() + 60.0 * minutes
            while time.monotonic() < end:
                time.sleep(min(30.0, max(0.1, end - time.monotonic())))
                said = f"{(end - time.monotonic()) / 60:.1f} minutes to go, {len(seen.brought)} logs"
                say(f"{said}, {len(seen.walked.wrong)} errors; memory now {watch.now}")
            stop.set()
            for one in (*readers, *senders):
                one.result()
        seen.faults += [*watch.stop(), *seen.walked.wrong]
        seen.memory = str(watch)
    seen.faults += [f"a log's job ended as {state}" for state in seen.brought if state != "done"]
    archive = ReadOnlyArchive(folder)
    try:
        seen.faults += faults(archive)
    finally:
        archive.close()
    return seen


def _read(site: Site, seen: Afternoon, stop: threading.Event, place: int) -> None:
    pages = itertools.cycle((*site.pages[place:], *site.pages[:place]))
    with site.client() as client:
        while not stop.wait(PAUSE_S):
            seen.walked.ask(client, next(pages))


def _send(site: Site, seen: Afternoon, stop: threading.Event, place: int) -> None:
    for seed in itertools.count(1000 * (place + 1)):
        if stop.is_set():
            return
        seen.brought.append(bring(site, seed))
