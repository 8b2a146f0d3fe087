from __future__ import annotations

import hashlib
from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from server.app import create_app
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of

BODY_TYPE = "application/offset+octet-stream"
LIMIT_BYTES = 3_000_000


def named(name: str) -> str:
    return f"filename {b64encode(name.encode()).decode()}".strip()


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


@dataclass(frozen=True)
class Tus:
    """A server and the requests of the protocol against it."""

    app: FastAPI
    client: httpx.Client
    folder: Path

    def begin(self, size: int, name: str = "run 1.csv") -> str:
        answer = self.ask("POST", "/uploads", **{"Upload-Length": str(size), "Upload-Metadata": named(name)})
        assert answer.status_code == 201, answer.text
        return answer.headers["location"]

    def patch(self, place: str, offset: int, data: bytes, **headers: str) -> httpx.Response:
        sent = {"Upload-Offset": str(offset), "Content-Type": BODY_TYPE, **headers}
        return self.ask("PATCH", place, data, **sent)

    def head(self, place: str) -> httpx.Response:
        return self.ask("HEAD", place)

    def ask(self, method: str, place: str, data: bytes = b"", **headers: str) -> httpx.Response:
        return self.client.request(method, place, content=data, headers={"Tus-Resumable": "1.0.0", **headers})

    def view(self, place: str) -> dict:  # type: ignore[type-arg]
        answer = self.client.get(f"/api{place}")
        assert answer.status_code == 200, answer.text
        return answer.json()

    def send(self, data: bytes, name: str = "run 1.csv") -> str:
        place = self.begin(len(data), name)
        assert self.patch(place, 0, data).status_code == 204
        return place

    def parts(self) -> list[Path]:
        folder = self.folder / "incoming" / "uploads"
        return sorted(folder.iterdir()) if folder.is_dir() else []

    def raw(self, digest: str) -> bytes:
        return self.app.state.archive.raw.path(digest).read_bytes()


@pytest.fixture
def tus(tmp_path: Path) -> Iterator[Tus]:
    app = create_app(Settings(data_folder=tmp_path / "data", upload_limit_mb=LIMIT_BYTES / 1e6), KINDS)
    with client_of(app) as client:
        yield Tus(app, client, tmp_path / "data")
