"""A small day served with the jobs of tuft photos; pictures are decoded for real, fits are made up."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx

from server.app import create_app
from server.archive.read_only import ReadOnlyArchive
from server.history.verify import faults
from server.settings import Settings
from server.tufts.folder_job import with_folder_photos
from server.tufts.jobs import TUFT_KINDS
from tests.tufts import made_photos
from tests.web.conftest import Site
from tests.web.day_site import DAY_KINDS, keep
from tests.web.serving import client_of, wait_for

KINDS = with_folder_photos({**DAY_KINDS, **TUFT_KINDS})


@contextmanager
def tuft_site(folder: Path) -> Iterator[Site]:
    """The day is number 1: run 1 of setup A started at 9:20, run 2 of setup B at 9:41. Ana is at the screen."""
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        client.cookies.set("who", "Ana")
        keep(app.state.archive, folder / "day")
        yield Site(app, client, folder / "data")


def send(client: httpx.Client, name: str, content: bytes) -> str:
    """A file sent ahead; gives its upload."""
    headers = {"Content-Type": "application/octet-stream"}
    answer = client.post("/api/uploads", params={"name": name}, content=content, headers=headers)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def add(site: Site, files: Sequence[tuple[str, bytes]], **facts: Any) -> dict[str, Any]:
    """Add photos as a program does; gives the job as it ended."""
    uploads = [send(site.client, name, content) for name, content in files]
    answer = site.client.post("/api/days/1/photos", json={"uploads": uploads, **facts})
    assert answer.status_code == 202, answer.text
    job = answer.json()["job_id"]

    def ended() -> dict[str, Any] | None:
        told = site.client.get(f"/api/jobs/{job}").json()
        return told if told["state"] not in ("queued", "running") else None

    return dict(wait_for(ended, 60))


def photos(site: Site) -> list[dict[str, Any]]:
    return list(site.client.get("/api/days/1/photos").json())


def photo(site: Site, name: str = "one.jpg", seed: int = 0, **facts: Any) -> int:
    """One more photo; gives its number."""
    said = {"part": "rear wing", "view": "left rear", **facts}
    assert add(site, [(name, made_photos.jpeg(seed=seed))], **said)["state"] == "done"
    return int(max(one["id"] for one in photos(site)))


def entry(x: float = 10.0, y: float = 20.0, **values: Any) -> dict[str, Any]:
    return {"entry": secrets.token_hex(8), "mark": secrets.token_hex(8), "x_px": x, "y_px": y, **values}


def mark(site: Site, number: int, *entries: dict[str, Any], reader: str = "") -> httpx.Response:
    headers = {"X-Stillair-Who": reader} if reader else {}
    body = {"entries": list(entries)}
    return site.client.post(f"/api/days/1/photos/{number}/marks", json=body, headers=headers)


def readings(site: Site, number: int) -> dict[str, list[dict[str, Any]]]:
    return dict(site.client.get(f"/api/days/1/photos/{number}").json()["readings"])


def faults_of(site: Site) -> list[str]:
    archive = ReadOnlyArchive(site.folder)
    try:
        return list(faults(archive))
    finally:
        archive.close()
