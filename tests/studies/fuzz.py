"""Thousands of malformed files sent to a real server by its own routes, with everything that it starts behind it.

Every request is answered within ANSWER_S and every job within JOB_S, with a refusal or with success: never with a
mistake of the program. Where other writers hold the database for longer than one waits, it is asked again. Memory stays
within bounds, pages that show what came are there, and in the end `verify` finds nothing. A file is its seed:
`fuzz --files 1 --first-seed SEED` sends it again.
"""

from __future__ import annotations

import re
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from server.archive.read_only import ReadOnlyArchive
from server.archive.worker import CRASHED, MISTAKE
from server.days.service import REFIT_JOB
from server.history.verify import faults
from server.locations import PACKAGE
from tests.studies.fuzz_files import Case, case_of, zipped
from tests.studies.fuzz_folders import FILES
from tests.studies.processes import MemoryWatch
from tests.uploads.killed import wait_until_open

ANSWER_S, JOB_S = 30.0, 150.0  # a recording's own process has 60 s, a picture's 90 s, besides their starts
TOGETHER = 8  # files of one form
BUSY, MOST_TRIES = 503, 2  # beside much other work the database may be held longer than a writer waits for it
WAITING = 2  # fits that may wait; more are called off, as a person would
RUNS_A_DAY = 60
OPEN = ("queued", "running")
FACTS = ("setup", "start", "driver", "direction", "coasting", "notes")
BYTES = {"Content-Type": "application/octet-stream"}


@dataclass
class Found:
    """What came of all files. outcomes: kind and answer → number; slowest: the longest answer and job [s]."""

    files: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    slowest: dict[str, tuple[float, str]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    memory: str = ""

    def took(self, what: str, seconds: float, whose: str) -> None:
        """Note how long something took."""
        if seconds > self.slowest.get(what, (0.0, ""))[0]:
            self.slowest[what] = (seconds, whose)

    def __str__(self) -> str:
        lines = [f"{self.files} files, {len(self.faults)} faults; most memory: {self.memory}"]
        lines += [f"  slowest {what}: {s:.1f} s, {whose}" for what, (s, whose) in self.slowest.items()]
        return "\n".join([*lines, *(f"  {what}: {count}" for what, count in sorted(self.outcomes.items()))])


def storm(
    folder: Path, files: int, first_seed: int, *, people: int = 2, patience: float = 1.0,
    say: Callable[[str], None] = lambda _: None,
) -> Found:  # fmt: skip
    """Send the files of `files` seeds to a server on a new archive in `folder`, so many people at once.

    patience: how many times the usual limits of time, where other work has most of the machine.
    """
    found, parts = Found(), _in_parts(range(first_seed, first_seed + files), 10 * TOGETHER)
    lock = threading.Lock()

    def send_all() -> None:
        with httpx.Client(base_url=address, headers={"Origin": address}, timeout=patience * ANSWER_S) as client:
            sender = _Sender(client, found, say, patience)
            while True:
                with lock:
                    seeds = next(parts, None)
                if seeds is None:
                    break
                sender.send([case_of(seed) for seed in seeds])
                say(f"{found.files} of {files} files, {len(found.faults)} faults; memory now {watch.now}")
            sender.wait_for_all()

    with _serving(folder) as (process_id, address, log):
        watch = MemoryWatch(process_id)
        watch.start()
        with ThreadPoolExecutor(people) as senders:
            for done in [senders.submit(send_all) for _ in range(people)]:
                done.result()
        found.faults += watch.stop()
        found.memory = str(watch)
    found.faults += _mistakes(log)
    archive = ReadOnlyArchive(folder)
    try:
        found.faults += faults(archive)
    finally:
        archive.close()
    return found


@contextmanager
def _serving(folder: Path) -> Iterator[tuple[int, str, Path]]:
    """A server whose words on standard error are kept; gives its process, its address and that file."""
    log = folder.with_name(f"{folder.name}.log")
    command = [sys.executable, "-m", "server.commands.main", "serve", "--data", str(folder), "--port", "0"]
    with (
        log.open("w") as words,
        subprocess.Popen(command, cwd=PACKAGE.parent, stdout=subprocess.PIPE, stderr=words, text=True) as process,
    ):
        try:
            assert process.stdout
            address = re.search(r"http://\S+", process.stdout.readline())
            assert address, "the server did not start"
            wait_until_open(address.group())
            yield process.pid, address.group(), log
        finally:
            process.terminate()
            process.wait(30)


def _mistakes(log: Path) -> list[str]:
    text = log.read_text("utf-8", "replace")
    ends = re.findall(r"^(\w[\w.]*(?:Error|Exception|Warning)\b.*)$", text, re.MULTILINE)
    return [f"the log tells of {text.count('Traceback')} mistakes: {set(ends)}"] if "Traceback" in text else []


def _in_parts(seeds: Sequence[int], size: int) -> Iterator[Sequence[int]]:
    for at in range(0, len(seeds), size):
        yield seeds[at : at + size]


class _Sender:
    """Sends cases as the pages do, and waits for the jobs that they begin."""

    def __init__(
        self, client: httpx.Client, found: Found, say: Callable[[str], None], patience: float
    ) -> None:
        self._client, self._found, self._say, self._patience = client, found, say, patience
        self._runs, self._day = 0, 0
        self._new_day()

    def send(self, cases: Sequence[Case]) -> None:
        """Send some cases, logs and pictures some in a form; then wait for the jobs that they began."""
        begun: list[tuple[str, Sequence[Case], str]] = []
        for kind, send in (("log", self._logs), ("picture", self._pictures)):
            mine = [case for case in cases if case.kind == kind]
            begun += [send(mine[at : at + TOGETHER]) for at in range(0, len(mine), TOGETHER)]
        begun += [self._one(case) for case in cases if case.kind not in ("log", "picture")]
        for job, some, look in begun:
            self._end(job, some, look)
        self._found.files += len(cases)
        self._look_around()
        self._call_off_fits()
        if self._runs > RUNS_A_DAY:
            self._new_day()

    def wait_for_all(self) -> None:
        """Wait until nothing waits or runs; fits are called off."""
        self._call_off_fits(0)
        for job in self._jobs():
            self._wait(job["id"], [])

    def _new_day(self) -> None:
        data = zipped((name, text) for name, text in {**FILES, "notes.txt": f"{time.time_ns()}"}.items())
        job = self._job(self._client.post("/add/folder", files={"day_zip": ("day.zip", data)}))
        self._call_off_fits(0)
        ended = self._wait(job, [])
        assert ended["state"] == "done", ended
        self._day, self._runs = int(ended["target"]), 0

    def _logs(self, cases: Sequence[Case]) -> tuple[str, Sequence[Case], str]:
        ids = [self._upload(case) for case in cases]
        typed = {f"log_{name}": [case.fields[name][0] for case in cases] for name in FACTS}
        answer = self._ask("POST", f"/days/{self._day}/runs", cases, data={"log_upload": ids, **typed})
        job = self._job(answer)
        self._runs += len(cases)
        return job, cases, f"/days/{self._day}/adding/{job}"

    def _pictures(self, cases: Sequence[Case]) -> tuple[str, Sequence[Case], str]:
        typed = {name: cases[0].fields[name][0] for name in ("kind", "part", "run")}
        if cases[0].seed % 2:
            files = [("files", (case.name, case.data)) for case in cases]
            answer = self._ask("POST", f"/days/{self._day}/tufts", cases, data=typed, files=files)
        else:
            ids = [self._upload(case) for case in cases]
            answer = self._ask("POST", f"/days/{self._day}/tufts", cases, data={**typed, "upload_id": ids})
        job = self._job(answer)
        return job, cases, f"/days/{self._day}/tufts/adding/{job}"

    def _one(self, case: Case) -> tuple[str, Sequence[Case], str]:
        job = ""
        if case.kind == "folder-form":
            job = self._job(self._ask("POST", "/add/folder", [case], files={"day_zip": (case.name, case.data)}))
        elif case.kind == "folder-body":
            headers = {"Content-Type": "application/zip"}
            job = self._job(self._ask("POST", "/api/days/zip", [case], content=case.data, headers=headers))
        else:
            self._table(case)
        return job, [case], f"/jobs/{job}"

    def _table(self, case: Case) -> None:
        text = case.data.decode("utf-8", "replace")
        if case.kind == "typed":
            self._ask("POST", f"/days/{self._day}/typed", [case], data=case.fields)
        elif case.kind == "stations":
            self._ask("POST", f"/days/{self._day}/tufts/stations", [case], data={"text": text})
        elif case.kind == "taps":
            self._ask("POST", "/correlation/taps", [case], data={"day_id": str(self._day), "pasted": text})
        elif case.kind == "prediction-json":
            sent = {"car": "Wisp 5", "name": "x", "table": text, "said": {"vertical": case.fields["said"][0]}}
            self._ask("POST", "/api/predictions/rows", [case], json=sent)
            self._ask("POST", "/api/predictions", [case], json={**sent, "without_bad": True})
        else:
            self._prediction(case, text)

    def _prediction(self, case: Case, text: str) -> None:
        """By the pages: the table, its columns as proposed, its rows, the set."""
        files = None if case.kind == "prediction-pasted" else {"table": (case.name, case.data)}
        pasted = {"pasted": text} if files is None else {}
        answer = self._ask("POST", "/predictions/add", [case], data={"car": "Wisp 5", **pasted}, files=files)
        if answer.status_code != 303:
            return
        place = answer.headers["location"]
        page = self._ask("GET", place, [case])
        form = form_of(page.text) | {"density_kgm3": "1.2", "reference_area_m2": "1.1", "wheelbase_m": "1.54"}
        answer = self._ask("POST", place, [case], data=form)
        if answer.status_code == 303:
            self._ask("GET", f"{place}/rows", [case])
            self._ask("POST", f"{place}/rows", [case], data={"name": f"set {case.seed}", "without_bad": "yes"})

    def _fault(self, sentence: str) -> None:
        self._found.faults.append(sentence)
        self._say(sentence)

    def _upload(self, case: Case) -> str:
        """A file ahead of its form, in one request of a program."""
        params = {"name": case.name[:200]}
        answer = self._ask("POST", "/api/uploads", [case], params=params, content=case.data, headers=BYTES)
        return str(answer.json().get("id", "")) if answer.status_code == 201 else ""

    def _ask(self, method: str, path: str, cases: Sequence[Case], **sent: Any) -> httpx.Response:
        """One request; an answer that should not be is a fault of these cases."""
        begun, whose = time.monotonic(), ", ".join(map(str, cases))
        try:
            answer = self._client.request(method, path, **sent)
            tries = 0
            while answer.status_code == BUSY and tries < MOST_TRIES:
                self._found.outcomes["busy, asked again"] += 1
                answer, tries = self._client.request(method, path, **sent), tries + 1
        except httpx.HTTPError as error:
            self._fault(f"{method} {path}: {error!r} for {whose}")
            return httpx.Response(599, text="")
        self._found.took("answer", time.monotonic() - begun, f"{method} {path} for {whose[:200]}")
        if answer.status_code >= 500 or "Traceback" in answer.text[:100_000]:
            self._fault(f"{method} {path}: {answer.status_code} for {whose}")
        self._found.outcomes[f"{method} {re.sub('[0-9a-f]{32}|[0-9]+', '…', path)} {answer.status_code}"] += 1
        return answer

    @staticmethod
    def _job(answer: httpx.Response) -> str:
        if answer.status_code == 202:
            return str(answer.json()["job_id"])
        return answer.headers["location"].rpartition("/")[2] if answer.status_code == 303 else ""

    def _end(self, job: str, cases: Sequence[Case], look: str) -> None:
        """Wait for a job of these cases and look at the page that shows its end."""
        if not job:
            return
        begun, ended = time.monotonic(), self._wait(job, cases)
        kind, error = cases[0].kind, ended.get("error") or ""
        self._found.took(f"wait for {kind}", time.monotonic() - begun, ", ".join(map(str, cases))[:300])
        self._found.outcomes[f"{kind} {ended.get('state')}"] += 1
        if error in (MISTAKE, CRASHED):
            self._fault(f"{error} {', '.join(map(str, cases))}")
        self._ask("GET", look, cases)

    def _wait(self, job: str, cases: Sequence[Case]) -> dict[str, Any]:
        deadline = time.monotonic() + self._patience * JOB_S * max(1, len(cases))
        while True:
            answer = self._ask("GET", f"/api/jobs/{job}", cases)
            view: dict[str, Any] = answer.json() if answer.status_code == 200 else {"state": "gone"}
            if view["state"] not in OPEN:
                return view
            if time.monotonic() > deadline:
                self._fault(f"a job does not end: {', '.join(map(str, cases))}")
                return view
            time.sleep(0.2)

    def _jobs(self) -> list[dict[str, Any]]:
        return [one for one in self._client.get("/api/jobs").json() if one["state"] in OPEN]

    def _call_off_fits(self, waiting: int = WAITING) -> None:
        for job in [one for one in self._jobs() if one["kind"] == REFIT_JOB][waiting:]:
            self._ask("POST", f"/jobs/{job['id']}/cancel", [])

    def _look_around(self) -> None:
        """The pages on which all of it may stand."""
        day = f"/days/{self._day}"
        for path in ("/", "/jobs", "/history", "/predictions", "/correlation?car=Wisp+5", day, f"{day}/tufts"):
            self._ask("GET", path, [])
        for path in (f"{day}/runs/{max(1, self._runs // 2)}", f"{day}/tufts/stations", f"{day}/change/day"):
            self._ask("GET", path, [])


def form_of(page: str) -> dict[str, str]:
    """What the form of a table's columns would send as it stands."""
    form: dict[str, str] = {}
    for name, options in re.findall(r'<select[^>]* name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        form[name] = chosen[1] if chosen else ""
    for tag in re.findall(r"<input [^>]*>", page):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name:
            form[name[1]] = value[1] if value else ""
    return form
