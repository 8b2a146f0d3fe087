"""kill -9 of a real server while photos come in and marks are set: what it had acknowledged is there afterwards."""

from __future__ import annotations

import os
import signal
from pathlib import Path
from typing import Any

import httpx
import pytest

from server.archive.archive import Archive
from server.archive.read_only import ReadOnlyArchive
from server.history.verify import faults
from server.tufts.service import layers_of
from tests.tufts import made_photos as made
from tests.tufts.tuft_site import entry
from tests.uploads.killed import running
from tests.web.day_site import keep
from tests.web.serving import wait_for

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="no SIGKILL on this system")
BYTES = {"Content-Type": "application/octet-stream"}


def photo_rows(client: httpx.Client) -> list[dict[str, Any]]:
    return list(client.get("/api/days/1/photos").json())


def asked(address: str) -> httpx.Client:
    return httpx.Client(base_url=address, headers={"Origin": address, "X-Stillair-Who": "Ana"}, timeout=60)


def test_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    archive = Archive(folder)
    archive.open()
    keep(archive, tmp_path / "day")
    archive.close()

    with running(folder) as (process, address), asked(address) as client:  # killed with the photo taken, not decoded
        content = made.saved(made.noise(1500, 1000), "PNG")
        upload = client.post("/api/uploads", params={"name": "big.png"}, content=content, headers=BYTES).json()["id"]
        job = client.post("/api/days/1/photos", json={"uploads": [upload], "part": "floor"})
        assert job.status_code == 202
        os.kill(process.pid, signal.SIGKILL)

    with running(folder) as (process, address), asked(address) as client:  # killed between one mark and the next
        [photo] = wait_for(lambda: photo_rows(client), 60)
        assert (photo["width_px"], photo["part"]) == (1500, "floor")
        sent = [entry(10 * number, 20, direction_rad=0.1 * number) for number in range(12)]
        for one in sent:
            answer = client.post(f"/api/days/1/photos/{photo['id']}/marks", json={"entries": [one]})
            assert answer.json() == {"entries": [one["entry"]], "kept": 1}
        again = client.post(f"/api/days/1/photos/{photo['id']}/marks", json={"entries": sent})
        assert again.json()["kept"] == 0, "a tablet that heard no answer sends them once more"
        os.kill(process.pid, signal.SIGKILL)

    kept = ReadOnlyArchive(folder)
    try:
        with kept.database.reading() as session:
            told = layers_of(session, [photo["id"]])[photo["id"]]["Ana"]
        assert {one.key for one in told} == {one["mark"] for one in sent}
        assert list(faults(kept)) == []
    finally:
        kept.close()
