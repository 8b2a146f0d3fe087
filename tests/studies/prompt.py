"""How soon after the last byte of a log its estimate stands on another tablet: a real server, a made-up day.

The day is fitted without its last run; then that run's log, widened to 4 MB by columns that nobody reads, is sent piece
by piece. The other tablet follows as its page does: it asks what changed, and for the day's page when something did.
"""

from __future__ import annotations

import io
import re
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import httpx
import numpy as np

from server.locations import sample_day_folders
from server.testday.folder import read_folder, write_folder
from server.testday.values import Day, Run
from tests.uploads.conftest import BODY_TYPE, named
from tests.uploads.killed import running

LOG_BYTES, PIECE_BYTES = 4_000_000, 1_000_000
MOST_S = 900.0
TUS = {"Tus-Resumable": "1.0.0"}


@dataclass(frozen=True)
class Prompt:
    """Seconds after the last byte until the log is a run of the day, its early estimate and its result are seen."""

    day: str
    runs: int
    passes: int
    added_s: float
    early_s: float | None
    result_s: float

    def __str__(self) -> str:
        early = "none came" if self.early_s is None else f"{self.early_s:.1f} s"
        return (
            f"{self.day}, {self.runs} runs, {self.passes} passes used: a run of the day after {self.added_s:.1f} s, "
            f"early estimate on the other tablet after {early}, the fit after {self.result_s:.1f} s"
        )


def report(name: str, runs: int | None, times: int) -> Iterator[str]:
    """Each time that it was measured; then the median and the worst of them."""
    measured = []
    for _ in range(times):
        measured.append(measure(name, runs))
        yield str(measured[-1])
    early = sorted(one.early_s for one in measured if one.early_s is not None)
    if times > 1 and early:
        yield (
            f"early estimate {len(early)} of {times} times, after {median(early):.1f} s in the median, "
            f"{early[-1]:.1f} s at worst; the run after {median(one.added_s for one in measured):.1f} s, the fit "
            f"after {median(one.result_s for one in measured):.1f} s in the median"
        )


def measure(name: str, runs: int | None = None) -> Prompt:
    """The sample day whose name holds `name`, or the first `runs` runs of it; the last of them comes in late."""
    [folder] = [one for one in sample_day_folders() if name in one.name]
    day = read_folder(folder)
    chosen = day.runs[:runs]
    with tempfile.TemporaryDirectory() as scratch, running(Path(scratch) / "data") as (_, address):
        client = httpx.Client(base_url=address, headers={"Origin": address}, timeout=60)
        first = client.post("/add/folder", files={"day_zip": ("day.zip", zipped(day, chosen[:-1], folder))})
        job = first.headers["location"].rpartition("/")[2]
        _until(lambda: client.get(f"/api/jobs/{job}").json()["state"] == "done")
        return _sent(client, day, chosen[-1], widened((folder / chosen[-1].logs[0].file).read_bytes()))


def _sent(client: httpx.Client, day: Day, run: Run, content: bytes) -> Prompt:
    before = _shown(client)
    upload = _all_but_the_answer(client, content)
    begun = time.monotonic()
    facts = {"setup": run.setup, "driver": f"{run.driver_mass_kg.value:g}", "coasting": run.coasting}
    form = {"log_upload": upload, **{f"log_{key}": value for key, value in facts.items()}}
    news = client.get("/live").json()["newest"]
    sent = client.post("/days/1/runs", data=form | {"log_start": "", "log_direction": "", "log_notes": ""})
    job = sent.headers["location"].rpartition("/")[2]
    at: dict[str, float] = {}
    while "result" not in at:
        assert time.monotonic() < begun + MOST_S, "it did not happen in time"
        told = client.get("/live", params={"since": news, "hold": 1}).json()["newest"]
        if told == news:
            state = client.get(f"/api/jobs/{job}").json()["state"]
            assert state != "done" or "added" in at, f"not taken: {client.get(sent.headers['location']).text}"
            continue
        news, shown = told, _shown(client)
        seen = {"added": shown.revision > before.revision, "early": shown.early, "result": shown.result > before.result}
        at |= {what: time.monotonic() - begun for what, is_there in seen.items() if is_there and what not in at}
    passes = client.get("/api/days/1/passes").json()
    used = sum(bool(one["used"]) for one in (passes["passes"] if isinstance(passes, dict) else passes))
    return Prompt(day.name, run.number, used, at["added"], at.get("early"), at["result"])


@dataclass(frozen=True)
class _Shown:
    """What the day's page shows: numbers of its result and its revision, and whether an early estimate stands there."""

    result: int
    revision: int
    early: bool


def _shown(client: httpx.Client) -> _Shown:
    page = client.get("/days/1").raise_for_status().text
    found = re.search(r"/now\?result=(\d+)&(?:amp;)?revision=(\d+)", page)
    assert found, "the page does not say what it shows"
    return _Shown(int(found[1]), int(found[2]), 'class="early"' in page)


def _all_but_the_answer(client: httpx.Client, content: bytes) -> str:
    """Send a log piece by piece; gives its upload when the last byte has gone."""
    sizes = {"Upload-Length": str(len(content)), "Upload-Metadata": named("outing.csv")}
    place = client.post("/uploads", headers=TUS | sizes).headers["location"]
    for at in range(0, len(content), PIECE_BYTES):
        headers = TUS | {"Upload-Offset": str(at), "Content-Type": BODY_TYPE}
        client.patch(place, content=content[at : at + PIECE_BYTES], headers=headers).raise_for_status()
    return str(place).rpartition("/")[2]


def widened(log: bytes) -> bytes:
    """A log with semicolons and decimal commas with so many more columns that it has 4 MB."""
    head, *rows = log.splitlines()
    columns = max(1, (LOG_BYTES - len(log)) // len(rows) // 8)
    values = np.random.default_rng(1).normal(2.5, 0.1, (len(rows), columns))
    more = [";".join(f"{value:.5f}" for value in row).replace(".", ",").encode() for row in values]
    first = head + b"".join(b";spare %d [V]" % (k + 1) for k in range(columns))
    return b"\n".join([first, *(b"%b;%b" % (row, rest) for row, rest in zip(rows, more, strict=True))]) + b"\n"


def zipped(day: Day, runs: tuple[Run, ...], folder: Path) -> bytes:
    """A day folder with some of its runs, zipped."""
    out = io.BytesIO()
    logs = {Path(log.file).name for run in runs for log in run.logs}
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, tempfile.TemporaryDirectory() as scratch:
        write_folder(replace(day, runs=runs), Path(scratch))
        for file in sorted(one for one in Path(scratch).rglob("*") if one.is_file()):
            archive.writestr(f"day/{file.relative_to(scratch).as_posix()}", file.read_bytes())
        for file in sorted((folder / "logs").iterdir()):
            if file.name in logs or not re.match(r"run\d", file.name):
                archive.writestr(f"day/logs/{file.name}", file.read_bytes())
    return out.getvalue()


def _until(condition: Callable[[], bool]) -> None:
    deadline = time.monotonic() + MOST_S
    while not condition():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.2)
