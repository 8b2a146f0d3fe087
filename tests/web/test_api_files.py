"""Files and runs from programs: sent whole, kept under their hash, added to a day."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.web.conftest import Site
from tests.web.day_site import day_site, log_text
from tests.web.serving import wait_for

BYTES = {"Content-Type": "application/octet-stream"}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as made:
        yield made


@pytest.fixture
def program(site: Site) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=site.client.base_url, headers={"X-Stillair-Who": "Ana"}, timeout=60) as client:
        yield client


def test_a_log_is_sent_and_becomes_a_run(program: httpx.Client) -> None:
    content = log_text(0.5).encode()
    sent = program.post("/api/uploads?name=run%2009.csv", content=content, headers=BYTES)
    assert sent.status_code == 201, sent.text
    upload = sent.json()
    assert (upload["name"], upload["state"], upload["size_bytes"]) == ("run 09.csv", "received", len(content))
    assert upload["sha256"] == hashlib.sha256(content).hexdigest()
    before = program.get("/api/days/1").json()["revisions"][0]["number"]
    row = {"upload_id": upload["id"], "setup": "A", "driver": 71.5, "coasting": "neutral", "direction": "back"}
    answer = program.post("/api/days/1/runs", json={"logs": [row], "reason": "evening"})
    assert answer.status_code == 202, answer.text
    job = wait_for(lambda: (j := program.get(f"/api/jobs/{answer.json()['job_id']}").json())["finished_at"] and j)
    assert job["state"] == "done", job
    newest = program.get("/api/days/1/revisions/newest").json()
    assert newest["revision"]["number"] == before + 1
    run = newest["day"]["runs"][-1]
    assert (run["driver_mass_kg"]["value"], run["direction"], run["coasting"]) == (71.5, "back", "neutral")
    assert newest["files"][run["logs"][0]["file"]] == upload["sha256"]
    again = program.post("/api/days/1/runs", json={"logs": [row]})
    assert (again.status_code, "already, the same to the last byte" in again.json()["error"]) == (422, True)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({"setup": "Z"}, "“logs.0”"),
        ({"driver": "72"}, "“logs.0.driver” must be a valid number"),
        ({"driver": 5000.0}, "“logs.0”"),
        ({"direction": "north"}, "“logs.0.direction” must be"),
        ({"start": "noon"}, "“logs.0”"),
        ({"upload_id": "gone"}, "send it again"),
    ],
)
def test_a_run_is_refused_with_its_place(program: httpx.Client, row: dict[str, object], sentence: str) -> None:
    upload = program.post("/api/uploads?name=a.csv", content=log_text(0.7).encode(), headers=BYTES).json()
    before = program.get("/api/events/head").json()
    answer = program.post("/api/days/1/runs", json={"logs": [{"upload_id": upload["id"], "setup": "A", **row}]})
    assert (answer.status_code, sentence in answer.json()["error"]) == (422, True), answer.text
    assert program.get("/api/events/head").json() == before


def test_a_file_without_bytes_is_kept_like_any_other(program: httpx.Client) -> None:
    headers = {"Content-Type": "application/octet-stream"}
    answer = program.post("/api/uploads?name=empty.csv", content=b"", headers=headers)
    assert (answer.status_code, answer.json()["state"], answer.json()["size_bytes"]) == (201, "received", 0)


def test_a_file_needs_its_name_and_may_not_be_too_large(site: Site, program: httpx.Client) -> None:
    assert program.post("/api/uploads", content=b"x", headers=BYTES).status_code == 422
    site.app.state.uploads.limit_bytes = 10
    answer = program.post("/api/uploads?name=a.csv", content=b"x" * 11, headers=BYTES)
    assert (answer.status_code, set(answer.json())) == (422, {"error"})
    plain = {"Content-Type": "text/plain"}
    assert program.post("/api/uploads?name=a.csv", content=b"x", headers=plain).status_code == 403
