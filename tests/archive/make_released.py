"""Makes an archive by a released version, for the tests that open it with today's code.

    python -m tests.archive.make_released CHECKOUT tests/archive/released/0002.zip

CHECKOUT holds the version: its own server is started there and taken through its own pages. The numbers of every
result go beside the zip as JSON, read out of the result files without any of the program's code.
"""

from __future__ import annotations

import io
import json
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import httpx

# Its name stands in the rows of jobs, so it must be nobody's own.
DATA = Path("/tmp/stillair")
STABLE_TIME = (2026, 1, 1, 0, 0, 0)
LEFT_OUT = {"cache", "scratch", "in-use.lock"}
WAIT_S = 300.0
CORRECTION = {"revision": "1", "value": "237", "value_source": "measured", "reason": "scales were off by 1 kg"}
PIECE = b"time,speed\n0.0,20.0\n0.1,19.9\n"


def main(checkout: Path, target: Path) -> None:
    """Make the archive, pack it, write its numbers down."""
    shutil.rmtree(DATA, ignore_errors=True)
    with serving(checkout) as client:
        add_day(client, checkout)
        if client.get("/days/1/car").status_code == 200:
            change_day(client)
    numbers = numbers_of(DATA)
    target.write_bytes(packed(DATA))
    target.with_suffix(".json").write_text(json.dumps(numbers, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"{target}: {target.stat().st_size / 1e3:.0f} kB, {len(numbers['results'])} results")


@contextmanager
def serving(checkout: Path) -> Iterator[httpx.Client]:
    """The version's own server, ended as a person ends it."""
    command = [sys.executable, "-m", "server.commands.main", "serve", "--data", str(DATA), "--port", "0"]
    with subprocess.Popen(command, cwd=checkout, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout
        found = re.search(r"http://\S+", process.stdout.readline())
        assert found, "the server did not start"
        try:
            with httpx.Client(base_url=found.group(), headers={"Origin": found.group()}, timeout=60) as client:
                client.cookies.set("who", "Ada")
                until(lambda: answers(client))
                yield client
        finally:
            process.send_signal(signal.SIGINT)


def answers(client: httpx.Client) -> bool:
    """Whether the server is up."""
    try:
        return client.get("/help").status_code == 200
    except httpx.TransportError:
        return False


def until(condition: Any) -> None:
    """Wait until it holds."""
    deadline = time.monotonic() + WAIT_S
    while not condition():
        assert time.monotonic() < deadline, "it did not happen in time"
        time.sleep(0.1)


def add_day(client: httpx.Client, checkout: Path) -> None:
    """The made-up shakedown as a zip, read and fitted."""
    [folder] = (checkout / "sample_data").glob("*shakedown*")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(each for each in folder.rglob("*") if each.is_file()):
            archive.write(file, f"shakedown/{file.relative_to(folder).as_posix()}")
    assert client.post("/add/folder", files={"day_zip": ("shakedown.zip", out.getvalue())}).status_code == 303
    until(lambda: client.get("/days/1").status_code in (200, 307) and "/days/1" in client.get("/").text)


def change_day(client: httpx.Client) -> None:
    """A correction with its own result; then a pass of the first run turned down, without waiting; a file besides."""
    assert client.post("/days/1/car/mass_kg", data=CORRECTION).status_code == 303
    until(lambda: len(client.get("/api/days/1/results").json()) == 2)
    headers = {"Tus-Resumable": "1.0.0", "Upload-Length": str(len(PIECE)), "Upload-Metadata": "filename cnVuLmNzdg=="}
    place = client.post("/uploads", headers=headers).headers["location"]
    body = {"Tus-Resumable": "1.0.0", "Upload-Offset": "0", "Content-Type": "application/offset+octet-stream"}
    assert client.patch(place, content=PIECE, headers=body).status_code == 204
    renamed = {"revision": "2", "value": "Wisp 5, white", "reason": "to tell it from the spare"}
    assert client.post("/days/1/car/name", data=renamed).status_code == 303
    [waiting] = [one for one in client.get("/api/jobs").json() if one["state"] in ("queued", "running")]
    assert client.post(f"/jobs/{waiting['id']}/cancel").status_code == 303


def numbers_of(folder: Path) -> dict[str, Any]:
    """Schema and, for each result, its file and the estimates that stand in it."""
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        [(schema,)] = connection.execute("SELECT version_num FROM alembic_version")
        rows = connection.execute("SELECT id, day_id, sha256 FROM results ORDER BY id").fetchall()
    results = []
    for number, day_id, sha256 in rows:
        with zipfile.ZipFile(folder / "raw" / sha256[:2] / sha256) as file:
            setups = json.loads(file.read("result.json"))["result"]["setups"]
        estimates = {setup["name"]: setup["estimates"] for setup in setups}
        results.append({"id": number, "day_id": day_id, "sha256": sha256, "setups": estimates})
    return {"schema": schema, "results": results}


def packed(folder: Path) -> bytes:
    """The archive's own files as a zip."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(each for each in folder.rglob("*") if each.is_file()):
            inside = file.relative_to(folder)
            if inside.parts[0] not in LEFT_OUT:
                info = zipfile.ZipInfo(inside.as_posix(), STABLE_TIME)
                info.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(info, file.read_bytes(), compresslevel=9)
    return out.getvalue()


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), Path(sys.argv[2]))
