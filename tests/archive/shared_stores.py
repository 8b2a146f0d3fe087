"""Stores for tests: a folder that computers share, and an S3-compatible server on this computer alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

import pytest

from server.archive.shared_store import SharedStore
from server.archive.store_address import StoreAddress

BUCKET = "raw"
SECRET = "made-up-secret-of-the-tests"


@contextmanager
def s3_server(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """An S3-compatible server with one bucket; gives its address."""
    import boto3
    from moto.server import ThreadedMotoServer

    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "made-up-name")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", SECRET)
    monkeypatch.setenv("AWS_DEFAULT_REGION", "us-east-1")
    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    endpoint = f"http://{host}:{port}"
    try:
        boto3.client("s3", endpoint_url=endpoint).create_bucket(Bucket=BUCKET)
        yield endpoint
    finally:
        server.stop()


def store_at(url: str, cache: Path, endpoint: str = "", cache_mb: float = 100.0) -> SharedStore:
    """A store with its folder for what was read."""
    return SharedStore(StoreAddress(url, endpoint, str(cache), cache_mb))


def told(store: SharedStore) -> dict[str, object]:
    """Its address as a job's payload has it."""
    return asdict(StoreAddress(**store.address))
