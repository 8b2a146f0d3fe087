"""What a form sent is safe on disk before its job is written down: then its sender is told, and lets go of it."""

from __future__ import annotations

import io
import os
from typing import Any

import pytest

from server.archive.archive import Archive
from server.archive.jobs import add_job
from server.days.incoming import queue_typed_day, queue_zip
from server.days.typed_day import SentLog

TYPED = {
    "mass": "236", "driver_mass": "72", "pressure": "1009", "temperature": "17", "humidity": "70",
    "reference_speed": "79.2", "coasting": "neutral",
}  # fmt: skip


@pytest.fixture
def safe_at_job(monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """The files and folders, by number, that were made safe when a job was written down."""
    safe: set[int] = set()
    at_job: set[int] = set()
    really = os.fsync

    def noted_sync(descriptor: int) -> None:
        really(descriptor)
        safe.add(os.fstat(descriptor).st_ino)

    def noted_job(*words: Any, **more: Any) -> Any:
        at_job.update(safe)
        return add_job(*words, **more)

    monkeypatch.setattr(os, "fsync", noted_sync)
    monkeypatch.setattr("server.days.incoming.add_job", noted_job)
    return at_job


@pytest.mark.skipif(os.name != "posix", reason="folders are made safe on disk by posix systems alone")
def test_a_zip_and_typed_logs_outlive_a_power_cut(archive: Archive, safe_at_job: set[int]) -> None:
    zipped = archive.incoming(queue_zip(archive, "day.zip", io.BytesIO(b"PK" + bytes(3000))))
    log = SentLog("run.csv", io.BytesIO(b"t,v\n0,1\n1,2\n"), "A", "")
    typed = archive.incoming(queue_typed_day(archive, TYPED, [log]))
    files = [*zipped.rglob("*"), *typed.rglob("*")]
    assert {"day.zip", "testday.toml"} <= {file.name for file in files}
    for each in (*files, zipped, typed, zipped.parent):
        assert each.stat().st_ino in safe_at_job, each
