"""A real server process that is killed at a chance moment while files come in, and what its archive holds then.

A sender notes every offset that was acknowledged. After the kill: the server starts again on the same folder, no
acknowledged byte is gone, nothing lies there half; the files go on where they stand and arrive bit for bit.
"""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from server.locations import PACKAGE
from tests.uploads.conftest import BODY_TYPE, named, sha256

FILES_AT_ONCE = 2
FILE_BYTES = (200_000, 4_000_000)
PIECE_BYTES = (20_000, 300_000)
MOST_PIECES, MOST_PAUSE_S = 30, 0.02
START_S = 120.0


@dataclass
class Sent:
    """A file on its way: its address, what was acknowledged of it."""

    data: bytes
    place: str = ""
    acknowledged: int = 0
    pieces: int = 0
    is_kept: bool = False


@dataclass
class Count:
    """What was seen over all moments."""

    moments: int = 0
    in_the_middle: int = 0
    faults: list[str] = field(default_factory=list)


@contextmanager
def running(
    folder: Path, port: int = 0, more: Mapping[str, str] | None = None
) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server in a process of its own, with more variables where given; gives it and its address."""
    told = {**os.environ, **(more or {})}
    command = [sys.executable, "-m", "server.commands.main", "serve", "--data", str(folder), "--port", str(port)]
    with subprocess.Popen(command, cwd=PACKAGE.parent, stdout=subprocess.PIPE, text=True, env=told) as process:
        try:
            assert process.stdout
            line = process.stdout.readline()
            found = re.search(r"http://\S+", line)
            assert found, f"the server did not start: {line}"
            wait_until_open(found.group())
            yield process, found.group()
        finally:
            process.kill()


def wait_until_open(address: str) -> None:
    """Wait for the first answer."""
    deadline = time.monotonic() + START_S
    while True:
        with suppress(httpx.TransportError):
            httpx.get(f"{address}/help", timeout=5)
            return
        assert time.monotonic() < deadline, "the server does not answer"
        time.sleep(0.05)


def kill_at_chance_moments(folder: Path, moments: int, seed: int) -> Count:
    """Kill a server `moments` times while files come in, on one archive that lives through all of it."""
    chance, count, files = random.Random(seed), Count(), []
    kept: list[Sent] = []
    for _ in range(moments):
        kept += [file for file in files if file.is_kept]
        files = [file for file in files if not file.is_kept]
        files += [Sent(chance.randbytes(chance.randint(*FILE_BYTES))) for _ in range(FILES_AT_ONCE - len(files))]
        with running(folder) as (process, address):
            check(folder, address, files, count)
            senders = [threading.Thread(target=send, args=(address, file, chance.random())) for file in files]
            for sender in senders:
                sender.start()
            wanted = sum(file.pieces for file in files) + chance.randint(0, MOST_PIECES)
            while sum(file.pieces for file in files) < wanted and any(sender.is_alive() for sender in senders):
                time.sleep(0.0005)
            time.sleep(chance.uniform(0.0, MOST_PAUSE_S))
            os.kill(process.pid, signal.SIGKILL)
            for sender in senders:
                sender.join()
        count.moments += 1
        count.in_the_middle += any(0 < file.acknowledged < len(file.data) for file in files)
    with running(folder) as (_, address):
        check(folder, address, files, count)
        for file in files:
            send(address, file, 0.5)
        check(folder, address, [*kept, *files], count)
    if not all(file.is_kept for file in files):
        count.faults.append("a file did not arrive in the end")
    return count


def send(address: str, file: Sent, pace: float) -> None:
    """Send a file from where it stands until it has arrived or the server is gone."""
    chance = random.Random(pace)
    with suppress(httpx.TransportError), httpx.Client(base_url=address, headers=_headers(address)) as client:
        if not file.place:
            sizes = {"Upload-Length": str(len(file.data)), "Upload-Metadata": named("run.csv")}
            file.place = client.post("/uploads", headers=sizes).headers["location"]
        at = int(client.head(file.place).headers["upload-offset"])
        while at < len(file.data):
            piece = file.data[at : at + chance.randint(*PIECE_BYTES)]
            headers = {"Upload-Offset": str(at), "Content-Type": BODY_TYPE}
            at = int(client.patch(file.place, content=piece, headers=headers).headers["upload-offset"])
            file.acknowledged, file.pieces = at, file.pieces + 1
        file.is_kept = client.get(f"/api{file.place}").json()["state"] == "received"


def check(folder: Path, address: str, files: list[Sent], count: Count) -> None:
    """Hold what the archive says and holds against what was acknowledged."""
    with httpx.Client(base_url=address, headers=_headers(address)) as client:
        for file in files:
            if file.place:
                count.faults += _faults(folder, client, file)
    for raw in (each for each in (folder / "raw").rglob("*") if each.is_file()):
        if sha256(raw.read_bytes()) != raw.name:
            count.faults.append(f"a raw file is not what its name says: {raw.name}")


def _faults(folder: Path, client: httpx.Client, file: Sent) -> list[str]:
    answer = client.head(file.place)
    if answer.status_code != 200:
        return [f"an upload that was acknowledged is gone ({answer.status_code})"]
    at, faults = int(answer.headers["upload-offset"]), []
    if at < file.acknowledged:
        faults.append(f"{file.acknowledged} bytes were acknowledged, {at} are there")
    view = client.get(f"/api{file.place}").json()
    digest = sha256(file.data)
    if view["state"] == "received":
        kept = folder / "raw" / digest[:2] / digest
        if view["sha256"] != digest or kept.read_bytes() != file.data:
            faults.append("a file that arrived is not what was sent")
    else:
        part = folder / "incoming" / "uploads" / f"{view['id']}.part"
        if part.read_bytes()[:at] != file.data[:at]:
            faults.append("a part is not what was sent")
    return faults


def _headers(address: str) -> dict[str, str]:
    return {"Origin": address, "Tus-Resumable": "1.0.0"}
