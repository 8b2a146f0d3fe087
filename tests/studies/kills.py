"""kill -9 of a real server at chance moments of everything that it does, on one archive that lives through all of it;
of imports and backups by command; and of starts that bring an archive of an older schema to the newest form.

After every kill the server starts again on the same folder. Then: every acknowledged byte, day, revision, event,
backup and calling-off is there; `verify` finds nothing; nothing half made lies about or is shown; no half backup has a
name; the worker of the killed server has ended. In the end the jobs that were left go on and end, and the newest backup
is put back and verifies. A killed migration leaves the archive as it was or complete.

The same with the archive's database on a PostgreSQL server of the study's own, which lives on: what the killed programs
left open there must not keep the next ones out. Archives of older schemas are files, and not tried there.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import func, select

from server.archive.address import MARK
from server.archive.backups import copies_in
from server.archive.jobs import GAVE_UP
from server.archive.place import database_of
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Job
from server.history.backup_job import BACKED_UP
from server.history.put_back import put_back
from server.history.verify import faults
from server.settings import DATABASE_VARIABLE
from tests.postgres import Cluster
from tests.studies.kill_actors import Crew, Ledger
from tests.studies.kill_moments import half_copies, kill_backup, kill_import, kill_migration
from tests.studies.processes import parent_of, tree_of
from tests.uploads.conftest import sha256
from tests.uploads.killed import Count as FileCount
from tests.uploads.killed import check as check_files
from tests.uploads.killed import running

LONGEST_LIFE_S = 5.0
ENDS_WITHIN_S = 600.0
OPEN = ("queued", "running")
KINDS, SHARES = ("server", "import", "backup", "migration"), (55, 15, 12, 18)


@dataclass
class Count:
    """What was seen over all moments; in_*: what the kills came into."""

    moments: int = 0
    in_request: int = 0
    in_file: int = 0
    in_job: int = 0
    in_import: int = 0
    in_backup: int = 0
    migrations: int = 0
    still_old: int = 0
    imported: int = 0
    copies: int = 0
    days: int = 0
    revisions: int = 0
    called_off: int = 0
    given_up: int = 0
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return (
            f"{self.moments} kills: {self.in_request} with a write on its way, {self.in_file} with a file half sent, "
            f"{self.in_job} with a job running,\n{self.in_import} in an import, {self.in_backup} in a backup command; "
            f"{self.migrations} archives of older schemas, found {self.still_old} times as they were\n"
            f"{self.days} days, {self.revisions} corrections, {self.called_off} jobs called off, "
            f"{self.imported} imports, {self.copies} backups were acknowledged;\n"
            f"{self.given_up} jobs gave up after three kills\n{len(self.faults)} faults"
        )


def kill_at_chance_moments(folder: Path, moments: int, seed: int, cluster: Cluster | None = None) -> Count:
    """Kill a server `moments` times while people work with it, or what works on its archive without one.

    cluster: where the archive's database is made; None is the folder itself.
    """
    with _empty_database(cluster):
        return _kill(folder, moments, random.Random(seed), cluster)


@contextmanager
def _empty_database(cluster: Cluster | None) -> Iterator[None]:
    """Names a new database to this program and all that it starts."""
    if cluster is None:
        yield
        return
    before = os.environ.get(DATABASE_VARIABLE)
    os.environ[DATABASE_VARIABLE] = cluster.new_database(empty=True)
    try:
        yield
    finally:
        os.environ.pop(DATABASE_VARIABLE)
        if before is not None:
            os.environ[DATABASE_VARIABLE] = before


def _kill(folder: Path, moments: int, chance: random.Random, cluster: Cluster | None) -> Count:
    count, ledger = Count(), Ledger()
    ledger.place = folder.with_name(f"{folder.name} backups")
    tried = len(KINDS) if cluster is None else KINDS.index("migration")
    for number in range(moments):
        kind = chance.choices(KINDS[:tried], SHARES[:tried])[0] if number else "server"
        if kind == "server":
            _kill_server(folder, ledger, count, chance)
        elif kind == "import":
            count.in_import += kill_import(folder, ledger, chance)
        elif kind == "backup":
            count.in_backup += kill_backup(folder, ledger.place, ledger, chance)
        else:
            with tempfile.TemporaryDirectory() as old:
                still_old, wrong = kill_migration(Path(old) / "data", chance)
            count.migrations, count.still_old = count.migrations + 1, count.still_old + still_old
            count.faults += wrong
        count.moments += 1
        print(f"{count.moments} of {moments} kills, {len(count.faults) + len(ledger.faults)} faults", file=sys.stderr)
    _check_the_end(folder, ledger, count, cluster)
    if cluster is not None and not (folder / MARK).is_file():
        count.faults.append("the archive was not on the server")
    count.faults += ledger.faults
    return count


def _kill_server(folder: Path, ledger: Ledger, count: Count, chance: random.Random) -> None:
    with running(folder, more={"STILLAIR_BACKUP_FOLDER": str(ledger.place), "STILLAIR_BACKUPS_KEPT": "1000"}) as opened:
        process, address = opened
        check(folder, address, ledger, count)
        ledger.asking = 0
        crew = Crew(address, ledger, chance.getrandbits(32))
        crew.start()
        time.sleep(chance.uniform(0.0, LONGEST_LIFE_S))
        workers = tree_of(process.pid)[1:]
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        crew.wait()
    count.in_request += ledger.asking > 0
    count.in_file += any(0 < file.acknowledged < len(file.data) for file in ledger.files)
    count.in_job += _running_jobs(folder) > 0
    count.faults += _still_there(workers)


def _check_the_end(folder: Path, ledger: Ledger, count: Count, cluster: Cluster | None) -> None:
    with running(folder) as (_, address), httpx.Client(base_url=address, timeout=60) as client:
        deadline = time.monotonic() + ENDS_WITHIN_S
        while any(one["state"] in OPEN for one in client.get("/api/jobs").json()):
            if time.monotonic() > deadline:
                count.faults.append("a job does not end")
                return
            time.sleep(0.5)
        check(folder, address, ledger, count)
        jobs = {job: client.get(f"/api/jobs/{job}").json() for job in ledger.zips}
        for job, one in jobs.items():
            if one["state"] == "failed" and one["error"] != GAVE_UP:
                count.faults.append(f"a job failed: {one['error']}")
            elif one["state"] == "done" and not _raw(folder, ledger.zips[job]).is_file():
                count.faults.append("a zip that became a day is not kept")
        count.given_up = sum(one["state"] == "failed" for one in jobs.values())
        count.days = len(client.get("/api/days").json())
        count.revisions, count.called_off = len(ledger.revisions), len(ledger.called_off)
    count.imported, count.copies = len(ledger.imported), len(copies_in(ledger.place)) if ledger.place.is_dir() else 0
    if count.copies:
        with _empty_database(cluster):
            count.faults += _put_back(ledger.place)


def _put_back(place: Path) -> list[str]:
    """What is wrong with the newest backup when it is restored."""
    with tempfile.TemporaryDirectory() as there:
        put_back(place, None, Path(there) / "data", lambda *_: None)
        archive = ReadOnlyArchive(Path(there) / "data")
        try:
            return list(faults(archive))
        finally:
            archive.close()


def check(folder: Path, address: str, ledger: Ledger, count: Count) -> None:
    """Hold what the archive holds and shows against what was acknowledged."""
    with httpx.Client(base_url=address, headers={"Origin": address}, timeout=60) as client:
        count.faults += _changes_faults(client, ledger)
        count.faults += _jobs_faults(folder, client, ledger)
        count.faults += _shown_faults(client)
        names = {day["name"] for day in client.get("/api/days").json()}
        count.faults += [f"an import was acknowledged, {name} is gone" for name in set(ledger.imported) - names]
        told = {one["subject"] for one in _events(client) if one["kind"] == BACKED_UP}
    count.faults += half_copies(ledger.place, ledger.whole)
    gone = {*ledger.copies, *told} - set(copies_in(ledger.place) if ledger.place.is_dir() else ())
    count.faults += [f"the backup {name} was acknowledged and is gone" for name in gone]
    files = FileCount()
    check_files(folder, address, ledger.files, files)
    archive = ReadOnlyArchive(folder)
    try:
        count.faults += [*files.faults, *faults(archive)]
    finally:
        archive.close()


def _changes_faults(client: httpx.Client, ledger: Ledger) -> list[str]:
    told = {(one["day_id"], one["reason"]) for one in _events(client)}
    there = {
        (one["id"], revision["number"])
        for one in client.get("/api/days").json()
        for revision in client.get(f"/api/days/{one['id']}").json()["revisions"]
    }
    gone = set(ledger.revisions) - there
    silent = [key for key, reason in ledger.revisions.items() if (key[0], reason) not in told]
    return [
        *(f"day {day}, revision {number} was acknowledged and is gone" for day, number in gone),
        *(f"day {day}, revision {number} was acknowledged, its event is gone" for day, number in silent),
    ]


def _jobs_faults(folder: Path, client: httpx.Client, ledger: Ledger) -> list[str]:
    found = []
    for job, digest in ledger.zips.items():
        answer = client.get(f"/api/jobs/{job}")
        if answer.status_code != 200:
            found.append("a zip was acknowledged, its job is gone")
        elif answer.json()["state"] in OPEN and not _holds(folder / "incoming" / job, digest):
            again = client.get(f"/api/jobs/{job}").json()["state"]  # it may just have ended
            found += ["a zip was acknowledged, its bytes are gone"] if again in OPEN else []
    for job in ledger.called_off:
        if client.get(f"/api/jobs/{job}").json()["state"] != "cancelled":
            found.append("a job was called off and is not")
    return found


def _shown_faults(client: httpx.Client) -> list[str]:
    """Every day that the API names has its pages; a page that fails shows something half."""
    found = []
    for day in client.get("/api/days").json():
        for page in (f"/days/{day['id']}", f"/days/{day['id']}/history", f"/days/{day['id']}/car"):
            answer = client.get(page, follow_redirects=True)
            no_result_yet = answer.status_code == 404 and "no result yet" in answer.text
            if answer.status_code != 200 and not no_result_yet:
                found.append(f"{page} is answered with {answer.status_code}")
    return found


def _events(client: httpx.Client) -> list[dict[str, Any]]:
    events, after = [], 0
    while after is not None:
        page = client.get("/api/events", params={"after": after, "limit": 500}).json()
        events += page["events"]
        after = page["next"]
    return events


def _holds(folder: Path, digest: str) -> bool:
    return folder.is_dir() and any(sha256(file.read_bytes()) == digest for file in folder.glob("*.zip"))


def _raw(folder: Path, digest: str) -> Path:
    return folder / "raw" / digest[:2] / digest


def _running_jobs(folder: Path) -> int:
    database = database_of(folder, read_only=True)
    try:
        with database.reading() as session:
            return session.scalar(select(func.count(Job.id)).where(Job.state == "running")) or 0
    finally:
        database.close()


def _still_there(processes: list[int], seconds: float = 30.0) -> list[str]:
    """Workers that outlive their server would go on writing where the next one does."""
    deadline = time.monotonic() + seconds
    while any(parent_of(Path(f"/proc/{each}/stat")) is not None for each in processes):
        if time.monotonic() > deadline:
            return ["a worker goes on although its server was killed"]
        time.sleep(0.05)
    return []
