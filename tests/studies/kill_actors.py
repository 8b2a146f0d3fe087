"""People at work on a server that will be killed: each notes what the server acknowledged, and what it left open."""

from __future__ import annotations

import io
import random
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from server.locations import sample_day_folders
from tests.uploads.conftest import sha256
from tests.uploads.killed import Sent, send

FILE_BYTES = (200_000, 1_500_000)
SEE_OTHER = 303
MOST_DAYS = 10  # more of them would try nothing new and make every check longer


@dataclass
class Ledger:
    """What was acknowledged. revisions: (day, number) → reason; zips: job → SHA-256 of what was sent; imported: names
    of days; copies: backups in `place` by name; whole: those that were looked at."""

    files: list[Sent] = field(default_factory=list)
    zips: dict[str, str] = field(default_factory=dict)
    revisions: dict[tuple[int, int], str] = field(default_factory=dict)
    called_off: set[str] = field(default_factory=set)
    imported: list[str] = field(default_factory=list)
    copies: list[str] = field(default_factory=list)
    whole: dict[str, str] = field(default_factory=dict)
    place: Path = Path("no backups")
    asking: int = 0
    faults: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    @contextmanager
    def open_request(self) -> Iterator[None]:
        """A write that is on its way: when the server dies in it, nobody knows whether it counts."""
        with self.lock:
            self.asking += 1
        yield
        with self.lock:
            self.asking -= 1


@dataclass
class Crew:
    """The people of one life of the server, a thread each, until it dies."""

    address: str
    ledger: Ledger
    seed: int
    threads: list[threading.Thread] = field(default_factory=list)

    def start(self) -> None:
        """Set everybody to work."""
        chance = random.Random(self.seed)
        for work in (self._send, self._add, self._correct, self._call_off, self._back_up):
            thread = threading.Thread(target=self._until_dead, args=(work, random.Random(chance.random())))
            self.threads.append(thread)
            thread.start()

    def wait(self) -> None:
        """Wait until everybody has noticed that the server is gone."""
        for thread in self.threads:
            thread.join(60.0)
            if thread.is_alive():
                self.ledger.faults.append("a request hangs although the server is gone")

    def _until_dead(self, work: Callable[[httpx.Client, random.Random], None], chance: random.Random) -> None:
        headers = {"Origin": self.address}
        with suppress(httpx.TransportError), httpx.Client(base_url=self.address, headers=headers, timeout=60) as client:
            client.cookies.set("who", work.__name__.strip("_"))
            while True:
                work(client, chance)

    def _send(self, _: httpx.Client, chance: random.Random) -> None:
        file = next((one for one in self.ledger.files if not one.is_kept), None)
        if file is None:
            file = Sent(chance.randbytes(chance.randint(*FILE_BYTES)))
            self.ledger.files.append(file)
        send(self.address, file, chance.random())
        if not file.is_kept:
            raise httpx.ReadError("the server is gone")

    def _add(self, client: httpx.Client, chance: random.Random) -> None:
        time.sleep(chance.uniform(0.0, 1.5))
        if len(client.get("/api/days").json()) >= MOST_DAYS:
            return
        content = zipped_day(f"Day {chance.getrandbits(48)}")
        with self.ledger.open_request():
            answer = client.post("/add/folder", files={"day_zip": ("day.zip", content)})
        self._expect(answer, SEE_OTHER, "a zip")
        self.ledger.zips[answer.headers["location"].rpartition("/")[2]] = sha256(content)

    def _correct(self, client: httpx.Client, chance: random.Random) -> None:
        time.sleep(chance.uniform(0.0, 0.6))
        days = client.get("/api/days").json()
        if not days:
            return
        day_id = chance.choice(days)["id"]
        newest = client.get(f"/api/days/{day_id}").json()["revisions"][0]["number"]
        reason = f"weighed again {chance.getrandbits(48)}"
        form = {"revision": str(newest), "value": f"{chance.uniform(200, 300):.4f}", "value_source": "measured"}
        with self.ledger.open_request():
            answer = client.post(f"/days/{day_id}/car/mass_kg", data={**form, "reason": reason})
        self._expect(answer, SEE_OTHER, "a correction")
        self.ledger.revisions[day_id, newest + 1] = reason

    def _call_off(self, client: httpx.Client, chance: random.Random) -> None:
        time.sleep(chance.uniform(0.5, 3.0))
        going = [one["id"] for one in client.get("/api/jobs").json() if one["state"] in ("queued", "running")]
        if not going:
            return
        job = chance.choice(going)
        with self.ledger.open_request():
            answer = client.post(f"/jobs/{job}/cancel")
        self._expect(answer, SEE_OTHER, "calling a job off")
        if client.get(f"/api/jobs/{job}").json()["state"] == "cancelled":
            self.ledger.called_off.add(job)

    def _back_up(self, client: httpx.Client, chance: random.Random) -> None:
        """Ask for a backup and wait for it: its event must not be there without its copy."""
        time.sleep(chance.uniform(0.0, 4.0))
        with self.ledger.open_request():
            answer = client.post("/backups")
        self._expect(answer, SEE_OTHER, "a backup")
        job = answer.headers["location"].rpartition("/")[2]
        while client.get(f"/api/jobs/{job}").json()["state"] in ("queued", "running"):
            time.sleep(0.1)

    def _expect(self, answer: httpx.Response, status: int, what: str) -> None:
        if answer.status_code != status:
            self.ledger.faults.append(f"{what} was answered with {answer.status_code}: {answer.text[-300:]}")
            raise httpx.ReadError("an answer that should not be")


def zipped_day(name: str) -> bytes:
    """The made-up shakedown under another name, zipped."""
    [folder] = [one for one in sample_day_folders() if "shakedown" in one.name]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(each for each in folder.rglob("*") if each.is_file()):
            content = file.read_bytes()
            if file.name == "testday.toml":
                content = content.replace(b'name = "Shakedown"', f'name = "{name}"'.encode())
            archive.writestr(f"day/{file.relative_to(folder).as_posix()}", content)
    return out.getvalue()
