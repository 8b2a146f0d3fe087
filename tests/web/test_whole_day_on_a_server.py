"""A whole day through the pages, with the archive's database on a PostgreSQL server.

Added, fitted, looked at, corrected, signed off, found again, checked, backed up, altered behind its back, put back.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from server.app import create_app
from server.commands.main import app as command_line
from server.history.backup_job import BACKUP_KINDS
from server.history.verify_job import VERIFY_KINDS
from server.locations import sample_day_folders
from server.runs.recordings import READ_KINDS
from server.settings import Settings
from tests.archive.altering import alter
from tests.web.day_site import DAY_KINDS
from tests.web.serving import client_of, wait_for

KINDS = {**DAY_KINDS, **READ_KINDS, **VERIFY_KINDS, **BACKUP_KINDS}
WAIT_S = 240.0  # a worker starts slowly where much else runs
ANA = {"X-Stillair-Who": "Ana"}
OF_THE_DAY = ("/days/1", "/days/1/result", "/days/1/car", "/days/1/runs/1", "/days/1/history")
PAGES = ("/", "/cars", "/history", "/jobs", "/correlation", *OF_THE_DAY)
WORDS = {
    "shakedown": "/days/1",
    "SHAKEDOWN": "/days/1",
    "testday.toml": "/days/1/revisions/1",
    "Ana scales": "/history/",
    "ana SCALES": "/history/",
    "100%_ sure": None,
}


def zipped(folder: Path) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for file in sorted(one for one in folder.rglob("*") if one.is_file()):
            archive.write(file, f"day/{file.relative_to(folder)}")
    return out.getvalue()


def ended(client: httpx.Client, job_id: str) -> dict[str, Any]:
    job = wait_for(lambda: (one := client.get(f"/api/jobs/{job_id}").json())["finished_at"] and one, WAIT_S)
    assert job["state"] == "done", job
    return dict(job)


def add(client: httpx.Client) -> None:
    sent = client.post("/add/folder", files={"day_zip": ("day.zip", zipped(sample_day_folders()[0]))})
    ended(client, sent.headers["location"].rpartition("/")[2])
    assert client.get("/api/days").json()[0]["id"] == 1


def look(client: httpx.Client) -> dict[str, Any]:
    """The first run's log, read by the worker into the samples; what one of its channels shows."""
    waiting = client.get("/api/days/1/runs/1/channels").json()
    ended(client, waiting["job_id"])
    channel = client.get("/api/days/1/runs/1/channels").json()["channels"][1]
    asked = {"log": channel["log"], "channel": channel["position"], "points": 50, "start_s": 3.0}
    return dict(client.get("/api/days/1/runs/1/trace", params=asked).json())


def correct(client: httpx.Client) -> None:
    change = {"fields": {"value": 241.0}, "reason": "the scales were read wrong"}
    assert client.patch("/api/days/1/car/mass_kg", json=change, headers=ANA).status_code == 200
    wait_for(lambda: len(client.get("/api/days/1/results").json()) == 2, WAIT_S)
    signed = client.post("/days/1/sign-off", data={"statement": "Good enough to choose the flap by."}, headers=ANA)
    assert signed.status_code == 303


def find(client: httpx.Client) -> None:
    for words, address in WORDS.items():
        page = client.get("/search", params={"q": words}).text
        assert (f'href="{address}' in page) if address else "Nothing" in page, words


def command(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(command_line, list(arguments))
    return done.exit_code, done.output


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_a_whole_day(
    engine: str, tmp_path: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    data, disk = tmp_path / "data", tmp_path / "disk"
    server = create_app(Settings(data_folder=data, backup_folder=disk), KINDS)
    with client_of(server) as client:
        add(client)
        shown = look(client)
        assert len(shown["first_s"]) >= 40
        correct(client)
        assert {path: client.get(path).status_code for path in PAGES} == dict.fromkeys(PAGES, 200)
        assert client.get("/live", params={"since": 0}).json()["newest"] > 0
        assert {client.get(f"/api/days/{2**31 + n}").status_code for n in (-1, 0, 1)} <= {404, 422}
        assert {client.get(f"/days/{2**63 + n}").status_code for n in (-1, 0, 1)} <= {404, 422}
        find(client)
        checked = ended(client, client.post("/api/verify", json={}, headers=ANA).json()["job_id"])
        assert client.get(f"/api/verify/{checked['target']}").json()["faults"] == []
        client.post("/backups")
        wait_for(lambda: all(job["finished_at"] for job in client.get("/api/jobs").json()), WAIT_S)
        assert "The newest backup is of" in client.get("/jobs").text
        refused = command("import", str(sample_day_folders()[1]), "--data", str(data))
        assert refused[0] != 0
        assert all("not-to-be-seen" not in client.get(path).text for path in (*PAGES, "/add", "/api/jobs"))
    assert (engine, (data / "archive.sqlite3").exists()) == ("postgresql", False)
    assert command("verify", "--data", str(data))[0] == 0
    alter(data, "UPDATE day_revisions SET who = 'Bob' WHERE number = 2", "DELETE FROM events WHERE id = 2")
    code, told = command("verify", "--data", str(data))
    assert code == 3
    assert "event 2 is missing" in told
    assert "names another person" in told
    monkeypatch.setenv("STILLAIR_DATABASE", request.getfixturevalue("postgres").new_database(empty=True))
    code, told = command("restore", str(disk), "--data", str(tmp_path / "again"))
    assert code == 0, told
    with client_of(create_app(Settings(data_folder=tmp_path / "again"), KINDS)) as client:
        assert look(client) == shown
        assert "Ana signed this day off" in client.get("/days/1/sign-off").text
