"""Stores for tests: a folder that computers share, and an S3-compatible server on this computer alone."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from server.archive.shared_store import SharedStore
from server.archive.store_address import StoreAddress, open_raw
from server.archive.worker import Payload, Progress

BUCKET, PREFIX = "raw", "team/one"
SECRET = "made-up-secret-of-the-tests"


@dataclass
class Place:
    """Where a store is. client: of the server, None for a folder."""

    url: str
    endpoint: str
    folder: Path
    client: Any = None

    def store(self, cache: Path, cache_mb: float = 100.0) -> SharedStore:
        """The store, with a folder of this computer."""
        return SharedStore(StoreAddress(self.url, self.endpoint, str(cache), cache_mb))

    def keys(self) -> set[str]:
        """All that lies there, besides the mark."""
        if self.client is None:
            found = {str(file.relative_to(self.folder)) for file in self.folder.rglob("*") if file.is_file()}
        else:
            listed = self.client.list_objects_v2(Bucket=BUCKET, Prefix=f"{self.prefix}/").get("Contents", [])
            found = {one["Key"].removeprefix(f"{self.prefix}/") for one in listed}
        return found - {"stillair.txt"}

    @property
    def prefix(self) -> str:
        """The part of the bucket that is the store."""
        return self.url.removeprefix(f"s3://{BUCKET}/")

    def alter(self, key: str, content: bytes | None) -> None:
        """Put other bytes under a key, or take it away."""
        if self.client is None:
            (self.folder / key).unlink()
            if content is not None:
                (self.folder / key).write_bytes(content)
        elif content is None:
            self.client.delete_object(Bucket=BUCKET, Key=f"{self.prefix}/{key}")
        else:
            self.client.put_object(Bucket=BUCKET, Key=f"{self.prefix}/{key}", Body=content)


class Server:
    """An S3-compatible server that can be silent for a while; what it holds stays."""

    def __init__(self) -> None:
        self.port, self._running = 0, None

    @property
    def endpoint(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        from moto.server import ThreadedMotoServer

        self._running = ThreadedMotoServer("127.0.0.1", self.port, verbose=False)
        self._running.start()
        self.port = self._running.get_host_and_port()[1]

    def stop(self) -> None:
        self._running.stop()

    def client(self) -> Any:
        import boto3

        return boto3.client("s3", endpoint_url=self.endpoint)


@contextmanager
def s3_server() -> Iterator[Server]:
    """A server with one bucket, and its credentials in the environment."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", "made-up-name")
        patch.setenv("AWS_SECRET_ACCESS_KEY", SECRET)
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        logging.getLogger("werkzeug").setLevel(logging.ERROR)
        server = Server()
        server.start()
        try:
            server.client().create_bucket(Bucket=BUCKET)
            yield server
        finally:
            server.stop()


def read_back(payload: Payload, progress: Progress) -> Payload:
    """Work of a job: read a kept file in another process."""
    progress(0.5, "reading")
    file = Path(payload["scratch"]) / "made"
    file.write_bytes(open_raw(payload["raw"]).path(payload["sha256"]).read_bytes() * 2)
    return {"file": str(file)}
