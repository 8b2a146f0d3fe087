"""A real server under the load of a test day: two files coming in and being fitted while eight people look around.

Times are printed; what is asserted is that nobody meets an error, and how much slower a page is than without the load.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import numpy as np
import pytest

from server.archive.archive import Archive
from server.locations import sample_day_folders
from tests.benchmarks.full_archive import fill
from tests.studies.kill_actors import zipped_day
from tests.uploads.killed import Sent, running, send

READERS, SENDERS = 8, 2
LOG_BYTES = 4_000_000
LEAST_ROUNDS, MOST_S = 3, 240.0
MOST_SLOWER = 8.0  # p95 of all pages with the load / with the same readers and no load
MOST_OF_SMALL = 3.0  # p95 of a day's page among a hundred days / among two
ASKED = 40
FORM = {
    "mass": "236",
    "driver_mass": "71.5",
    "pressure": "1007.5",
    "temperature": "11",
    "humidity": "71",
    "reference_speed": "79.2",
    "coasting": "inverter-off",
}


@dataclass
class Walked:
    """Seconds of every answer by page; answers that should not be."""

    seconds: dict[str, list[float]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def ask(self, client: httpx.Client, page: str) -> None:
        """Ask for a page; anything but the page is wrong."""
        begun = time.perf_counter()
        try:
            answer = client.get(page, follow_redirects=True)
        except httpx.TransportError as error:
            self.wrong.append(f"{page}: {error!r} after {time.perf_counter() - begun:.1f} s")
            return
        took = time.perf_counter() - begun
        with self.lock:
            self.seconds.setdefault(page, []).append(took)
        if answer.status_code != 200 or "is locked" in answer.text:
            self.wrong.append(f"{page}: {answer.status_code} {answer.text[-200:]}")

    def p95(self, page: str | None = None) -> float:
        """Of one page, or of all answers."""
        chosen = [self.seconds[page]] if page else self.seconds.values()
        return float(np.percentile([seconds for one in chosen for seconds in one], 95))


@dataclass(frozen=True)
class Site:
    """A server in a process of its own, and the pages of a day that was really fitted."""

    address: str
    pages: tuple[str, ...]

    def client(self) -> httpx.Client:
        """A person's browser."""
        return httpx.Client(base_url=self.address, headers={"Origin": self.address}, timeout=60)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("load") / "data"
    with running(folder) as (_, address), Site(address, ()).client() as client:
        added = client.post("/add/folder", files={"day_zip": ("day.zip", zipped_day("Shakedown"))})
        assert ended(client, added.headers["location"]) == "done"
        yield Site(address, pages_of(client))


def pages_of(client: httpx.Client) -> tuple[str, ...]:
    """The first page, the day with its result, a run, history; every figure that the result's page names; traces."""
    result = client.get("/days/1/result").text
    figures = sorted(set(re.findall(r"/days/1/figures/[\w.-]+?\.json", result)))
    assert len(figures) >= 4
    channels = client.get("/api/days/1/runs/1/channels")
    traces = ["/api/days/1/runs/1/channels"] if channels.status_code == 200 else []
    fixed = ("/", "/days/1", "/days/1/result", "/days/1/runs/1", "/days/1/history", "/history", "/cars", "/jobs")
    return (*fixed, *figures, *traces)


def ended(client: httpx.Client, job_page: str) -> str:
    """How the job of a form ended."""
    job, deadline = job_page.rpartition("/")[2], time.monotonic() + MOST_S
    while (state := client.get(f"/api/jobs/{job}").json()["state"]) in ("queued", "running"):
        assert time.monotonic() < deadline, "a job does not end"
        time.sleep(0.1)
    return str(state)


def walk(site: Site, until: threading.Event) -> Walked:
    """Eight people who each go through all pages again and again, until they are told to stop."""
    walked = Walked()

    def one(first: int) -> None:
        with site.client() as client:
            rounds = 0
            while rounds < LEAST_ROUNDS or not until.is_set():
                for page in (*site.pages[first:], *site.pages[:first]):
                    walked.ask(client, page)
                rounds += 1

    with ThreadPoolExecutor(READERS) as people:
        list(people.map(one, range(READERS)))
    return walked


def wide_log(seed: int) -> bytes:
    """The made-up shakedown's first run with so many more columns that it has 4 MB."""
    [folder] = [one for one in sample_day_folders() if "shakedown" in one.name]
    names, units, *rows = (folder / "logs" / "run01.csv").read_text("utf-8").splitlines()
    columns = LOG_BYTES // len(rows) // 8
    values = np.random.default_rng(seed).normal(2.5, 0.1, (len(rows), columns))
    more = [",".join(f"{value:.5f}" for value in row) for row in values]
    head = [names + "".join(f",Spare {k + 1}" for k in range(columns)), units + ",V" * columns]
    return "\n".join([*head, *(f"{row},{rest}" for row, rest in zip(rows, more, strict=True))]).encode() + b"\n"


def bring(site: Site, seed: int) -> str:
    """Send a log in pieces, make a day of it, wait for its fit; gives how that ended."""
    file = Sent(wide_log(seed))
    send(site.address, file, seed)
    assert file.is_kept
    with site.client() as client:
        row = {"log_upload": file.place.rpartition("/")[2], "log_setup": "A", "name": f"Wide {seed}"}
        answer = client.post("/add/logs", data={**FORM, **row})
        assert answer.status_code == 303, answer.text[-300:]
        return ended(client, answer.headers["location"])


def test_two_bring_files_while_eight_look_around(site: Site) -> None:
    assert len(wide_log(1)) == pytest.approx(LOG_BYTES, rel=0.05)
    stop = threading.Event()
    stop.set()
    alone = walk(site, stop)
    stop.clear()
    with ThreadPoolExecutor(SENDERS + 1) as people:
        readers = people.submit(walk, site, stop)
        brought = [people.submit(bring, site, seed) for seed in range(1, SENDERS + 1)]
        try:
            states = [one.result() for one in brought]
        finally:
            stop.set()
        loaded = readers.result()
    print(f"\n{len(site.pages)} pages, {READERS} readers; p95 [ms] without and with {SENDERS} files of 4 MB coming in:")
    for page in site.pages:
        print(f"  {page:55s} {1e3 * alone.p95(page):8.0f} {1e3 * loaded.p95(page):8.0f}")
    print(f"  {'all':55s} {1e3 * alone.p95():8.0f} {1e3 * loaded.p95():8.0f}")
    print(f"  answers: {number_of(alone)} and {number_of(loaded)}")
    assert states == ["done"] * SENDERS
    assert (alone.wrong, loaded.wrong) == ([], [])
    assert loaded.p95() < MOST_SLOWER * alone.p95()


def number_of(walked: Walked) -> int:
    return sum(len(one) for one in walked.seconds.values())


@pytest.fixture(scope="module")
def archives(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    """Archives with few and with many days of fifty runs."""
    found = {}
    for days in (2, 100):
        folder = tmp_path_factory.mktemp(f"days{days}")
        archive = Archive(folder / "data")
        archive.open()
        fill(archive, folder / "scratch", days)
        archive.close()
        found[days] = folder / "data"
    return found


def test_the_page_of_a_day_among_five_thousand_runs(archives: dict[int, Path]) -> None:
    """The newest day of a hundred with fifty runs each, asked for by one person, against the same of two days."""
    few, many = (asked(archives[days], "/days/{day}", days) for days in (2, 100))
    print(f"\npage of a test day with 50 runs: p95 {1e3 * few:.0f} ms of 2 days, {1e3 * many:.0f} ms of 100 days")
    assert many < MOST_OF_SMALL * few


def asked(folder: Path, page: str, days: int) -> float:
    """p95 of a page of days in turn [s], after each was seen once."""
    walked, pages = Walked(), days_in_turn(page, days)
    with running(folder) as (_, address), Site(address, ()).client() as client:
        for one in dict.fromkeys(pages):
            client.get(one, follow_redirects=True)
        for one in pages:
            walked.ask(client, one)
    assert walked.wrong == []
    return walked.p95()


def days_in_turn(page: str, days: int) -> Sequence[str]:
    """The newest days in turn, as somebody leafs through them."""
    return [page.format(day=days - turn % min(days, 10)) for turn in range(ASKED)]
