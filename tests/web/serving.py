"""The pages on a real port of this computer, in a thread."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import uvicorn
from fastapi import FastAPI
from starlette.types import ASGIApp

from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.days.service import IncomingDay, keep_day, newest_revision
from server.results.service import keep_result, write_result

SMALL_DAY = """format = 1
name = "Long apron"
car.mass_kg = 236.0
weather = [{ pressure_hpa = 1009.0, temperature_c = 17.0 }]
setups = [{ name = "A" }, { name = "B", baseline = "A" }]
runs = [{ number = 1, setup = "A", log = "logs/run01.csv", driver_mass_kg = 72.0 }]
"""


@contextmanager
def served(app: ASGIApp, host: str = "127.0.0.1", port: int = 0) -> Iterator[str]:
    """Serve the application; gives its address on this computer."""
    server = uvicorn.Server(uvicorn.Config(app, host=host, port=port, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 20
    while not server.started:
        assert thread.is_alive(), "the server did not start"
        assert time.monotonic() < deadline, "the server did not start in time"
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(15)


@contextmanager
def client_of(app: FastAPI) -> Iterator[httpx.Client]:
    """A client that sends its own page's Origin, as a browser does."""
    with (
        served(app) as address,
        httpx.Client(base_url=address, headers={"Origin": address}, timeout=30) as client,
    ):
        yield client


def keep_made_up(
    archive: Archive, result: DayResult, scratch: Path, name: str = "Long apron", toml: str = SMALL_DAY
) -> int:
    """Put a result into the archive as if a folder had been fitted; gives the day's number."""
    folder = scratch / f"folder of {name}".replace("/", "_").replace("<", "_")
    folder.mkdir(parents=True)
    (folder / "testday.toml").write_text(f"# {name}\n{toml}")
    write_result(result, scratch / "result.zip")
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay(name, None, folder, "folder.zip"))
        keep_result(archive, session, newest_revision(session, day.id), scratch / "result.zip")
        return day.id


def wait_for(condition, seconds: float = 20.0):  # type: ignore[no-untyped-def]
    """The first true answer of `condition`."""
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        answer = condition()
        if answer:
            return answer
        time.sleep(0.05)
    raise AssertionError("it did not happen in time")
