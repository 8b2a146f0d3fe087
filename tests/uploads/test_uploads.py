"""What becomes of uploads: kept whole, recognised, taken up again, swept; a full disk; several at once."""

from __future__ import annotations

import datetime as dt
import errno
import os
import socket
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select, update

from server.app import create_app
from server.archive.database import now_utc
from server.archive.events import chain_faults
from server.archive.tables import Event, RawFile
from server.settings import Settings
from server.uploads import parts as parts_module
from server.uploads.parts import Parts
from server.uploads.service import Uploads
from server.uploads.tables import Upload
from tests.uploads.conftest import BODY_TYPE, LIMIT_BYTES, Tus, named, sha256
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, wait_for
from tests.web.test_adding import zipped

DATA = bytes(range(256)) * 4000


def test_a_whole_file_is_a_raw_file_a_row_and_an_event(tus: Tus) -> None:
    tus.client.cookies.set("who", "Ada")
    place = tus.send(DATA)
    view = tus.view(place)
    assert (view["state"], view["received_bytes"], view["sha256"]) == ("received", len(DATA), sha256(DATA))
    assert view["same_as"] is None
    assert tus.raw(sha256(DATA)) == DATA
    assert tus.parts() == []
    archive = tus.app.state.archive
    with archive.database.reading() as session:
        event = session.scalar(select(Event).where(Event.kind == "file-received"))
        assert (event.who, event.subject) == ("Ada", "run 1.csv")
        assert sha256(DATA) in event.after
        assert list(chain_faults(session)) == []
        assert session.get(RawFile, sha256(DATA)).size_bytes == len(DATA)
    assert archive.raw.path(sha256(DATA)).stat().st_mode & 0o777 == 0o444


def test_the_same_file_twice_is_recognised(tus: Tus) -> None:
    first, second = tus.send(DATA), tus.send(DATA, "renamed.csv")
    assert tus.view(second)["same_as"] == {"upload_id": first.removeprefix("/uploads/"), "days": []}
    assert tus.view(first)["same_as"] is None
    assert len(list((tus.folder / "raw").rglob("*"))) == 2


def test_a_file_of_a_day_is_recognised(tus: Tus) -> None:
    content = zipped("Long apron", **{"day/logs/run02.csv": DATA})
    job = tus.client.post("/add/folder", files={"day_zip": ("apron.zip", content)}).headers["location"]
    wait_for(lambda: tus.client.get(job).status_code == 303)
    days = tus.view(tus.send(DATA))["same_as"]["days"]
    assert days == [{"day_id": 1, "name": "Long apron", "path": "logs/run02.csv"}]
    assert tus.view(tus.send(content))["same_as"]["days"][0]["path"] == "apron.zip"


def test_an_unknown_upload_has_no_view(tus: Tus) -> None:
    answer = tus.client.get("/api/uploads/nope")
    assert (answer.status_code, answer.json()) == (404, {"error": "No upload goes by that address."})


@pytest.fixture
def stopped(tmp_path: Path) -> Path:
    """A data folder whose server took 5000 bytes of an upload and was ended; the upload's id lies beside it."""
    folder = tmp_path / "data"
    app = create_app(Settings(data_folder=folder), KINDS)
    with client_of(app) as client:
        first = Tus(app, client, folder)
        place = first.begin(len(DATA))
        first.patch(place, 0, DATA[:5000])
    (tmp_path / "place").write_text(place)
    return folder


@pytest.mark.parametrize(
    ("on_disk", "goes_on_at"),
    [(5000, 5000), (9000, 5000), (3000, 3000), (0, 0), (None, 0)],
    ids=["as told", "more than told", "less than told", "nothing", "gone"],
)
def test_after_a_restart_the_part_and_its_row_agree(stopped: Path, on_disk: int | None, goes_on_at: int) -> None:
    """More than was told: not acknowledged, perhaps not what was sent, let go. Less: cannot be, and is survived."""
    place = (stopped.parent / "place").read_text()
    part = stopped / "incoming" / "uploads" / f"{place.removeprefix('/uploads/')}.part"
    if on_disk is None:
        part.unlink()
    else:
        part.write_bytes((DATA[:5000] + b"?" * 5000)[:on_disk])
    app = create_app(Settings(data_folder=stopped), KINDS)
    with client_of(app) as client:
        tus = Tus(app, client, stopped)
        assert tus.head(place).headers["upload-offset"] == str(goes_on_at)
        assert tus.patch(place, goes_on_at, DATA[goes_on_at:]).status_code == 204
        assert tus.raw(tus.view(place)["sha256"]) == DATA


def test_a_file_that_was_whole_but_not_yet_kept_is_kept_after_the_restart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "data"
    app = create_app(Settings(data_folder=folder), KINDS)
    with client_of(app) as client, monkeypatch.context() as broken:
        tus = Tus(app, client, folder)
        place = tus.begin(len(DATA))
        broken.setattr(Uploads, "_finish", lambda *_: (_ for _ in ()).throw(OSError(errno.ENOSPC, "full")))
        assert tus.patch(place, 0, DATA).status_code == 507
    app = create_app(Settings(data_folder=folder), KINDS)
    with client_of(app) as client:
        tus = Tus(app, client, folder)
        assert tus.head(place).headers["upload-offset"] == str(len(DATA))
        assert tus.view(place)["state"] == "received"
        assert tus.raw(sha256(DATA)) == DATA
        assert tus.parts() == []


def test_parts_that_nobody_continued_are_swept_at_the_start(stopped: Path) -> None:
    place = (stopped.parent / "place").read_text()
    (stopped / "incoming" / "uploads" / f"{'f' * 32}.part").write_bytes(b"belongs to nothing")
    app = create_app(Settings(data_folder=stopped), KINDS)
    with client_of(app) as client:
        tus = Tus(app, client, stopped)
        assert [part.stem for part in tus.parts()] == [place.removeprefix("/uploads/")]
        with app.state.archive.database.writing() as session:
            session.execute(update(Upload).values(touched_at=now_utc() - dt.timedelta(days=14, hours=1)))
    app = create_app(Settings(data_folder=stopped), KINDS)
    with client_of(app) as client:
        tus = Tus(app, client, stopped)
        assert tus.parts() == []
        assert tus.head(place).status_code == 404


def test_no_room_is_said_before_anything_is_taken(tus: Tus, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts_module, "free_bytes", lambda _: 65_000_000)
    headers = {"Upload-Length": "2000000", "Upload-Metadata": named("run 1.csv")}
    answer = tus.ask("POST", "/uploads", **headers)
    assert answer.status_code == 507
    assert answer.json()["error"] == (
        "The disk of the archive has 65 MB free, too little for the 2 MB of run 1.csv; make room there."
    )
    assert tus.parts() == []
    with tus.app.state.archive.database.reading() as session:
        assert session.scalar(select(Upload)) is None


def test_a_disk_that_fills_up_leaves_the_part_as_it_was_told(tus: Tus, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system takes some of the bytes and refuses the rest; later there is room again."""
    place = tus.begin(len(DATA))
    assert tus.patch(place, 0, DATA[:5000]).status_code == 204

    def some_then_full(self: Parts, upload_id: str, offset: int, data: bytes) -> None:
        with self.path(upload_id).open("r+b") as part:
            part.seek(offset)
            part.write(data[:700])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as full:
        full.setattr(Parts, "_put", some_then_full)
        answer = tus.patch(place, 5000, DATA[5000:])
        assert answer.status_code == 507
        assert answer.json()["error"].startswith("The disk of the archive is full; make room there")
    assert tus.parts()[0].read_bytes() == DATA[:5000]
    assert tus.head(place).headers["upload-offset"] == "5000"
    assert tus.patch(place, 5000, DATA[5000:]).status_code == 204
    assert tus.raw(tus.view(place)["sha256"]) == DATA


def test_where_the_disk_knows_no_second_names_a_copy_is_kept(tus: Tus, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(errno.EPERM, "no links here")))
    tus.send(DATA)
    assert tus.raw(sha256(DATA)) == DATA
    assert tus.parts() == []


def test_a_sender_that_is_lost_in_the_middle_leaves_what_had_come(tus: Tus) -> None:
    """tus 1.0.0, Core protocol, Requests, PATCH: "it SHOULD store as much of the received data as possible"."""
    place = tus.begin(len(DATA))
    host, port = tus.client.base_url.host, tus.client.base_url.port
    head = (
        f"PATCH {place} HTTP/1.1\r\nHost: {host}:{port}\r\nOrigin: http://{host}:{port}\r\nTus-Resumable: 1.0.0\r\n"
        f"Upload-Offset: 0\r\nContent-Type: {BODY_TYPE}\r\nContent-Length: {len(DATA)}\r\n\r\n"
    )
    with socket.create_connection((host, port)) as wire:
        wire.sendall(head.encode() + DATA[:300_000])
    wait_for(lambda: tus.head(place).headers["upload-offset"] == "300000")
    assert tus.patch(place, 300_000, DATA[300_000:]).status_code == 204
    assert tus.raw(tus.view(place)["sha256"]) == DATA


def test_a_connection_that_hangs_does_not_hold_up_the_one_that_follows(tus: Tus) -> None:
    """The network is lost without a word: the old request never ends. The new one goes on from what is safe."""
    place = tus.begin(len(DATA))
    host, port = tus.client.base_url.host, tus.client.base_url.port
    head = (
        f"PATCH {place} HTTP/1.1\r\nHost: {host}:{port}\r\nOrigin: http://{host}:{port}\r\nTus-Resumable: 1.0.0\r\n"
        f"Upload-Offset: 0\r\nContent-Type: {BODY_TYPE}\r\nContent-Length: {len(DATA)}\r\n\r\n"
    )
    with socket.create_connection((host, port)) as wire:
        wire.sendall(head.encode() + DATA[:100_000])
        at = int(tus.head(place).headers["upload-offset"])
        assert tus.patch(place, at, DATA[at:]).status_code == 204
        wire.sendall(DATA[100_000:200_000])
    assert tus.raw(tus.view(place)["sha256"]) == DATA


def test_the_same_bytes_sent_by_two_at_once_are_written_once(tus: Tus) -> None:
    place = tus.begin(len(DATA))
    gate = threading.Barrier(6)

    def send(_: int) -> int:
        gate.wait()
        return tus.patch(place, 0, DATA).status_code

    with ThreadPoolExecutor(6) as pool:
        answers = sorted(pool.map(send, range(6)))
    assert 204 in answers
    assert set(answers) <= {204, 409}
    assert tus.raw(tus.view(place)["sha256"]) == DATA


def test_two_uploads_and_eight_readers_at_once(tus: Tus) -> None:
    """No error and no wait beyond reason, while both come in piece by piece."""
    address, ended, problems = str(tus.client.base_url), threading.Event(), []
    files = [os.urandom(2_000_000), os.urandom(2_000_000)]

    def read(number: int) -> int:
        seen = 0
        with httpx.Client(base_url=address, timeout=30) as client:
            while not ended.is_set():
                answer = client.get(("/", "/add", "/help", "/api/uploads/x")[number % 4])
                if answer.status_code not in (200, 404):
                    problems.append(answer.text)
                seen += 1
        return seen

    def write(data: bytes) -> str:
        place = tus.begin(len(data))
        for at in range(0, len(data), 50_000):
            answer = tus.patch(place, at, data[at : at + 50_000])
            if answer.status_code != 204:
                problems.append(answer.text)
        return tus.view(place)["sha256"]

    with ThreadPoolExecutor(10) as pool:
        readers = [pool.submit(read, number) for number in range(8)]
        kept = [each.result() for each in [pool.submit(write, data) for data in files]]
        ended.set()
        assert min(reader.result() for reader in readers) > 1
    assert problems == []
    assert [tus.raw(digest) for digest in kept] == files


def test_a_part_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    parts = Parts(tmp_path / "uploads")
    (tmp_path / "uploads").mkdir()
    parts.make("a")
    parts.write("a", 0, b"12345")
    parts.cut("a", 3)
    parts.write("a", 3, b"xy")
    assert parts.path("a").read_bytes() == b"123xy"
    assert parts.names() == ["a"]
    parts.remove("a")
    assert (parts.size("a"), parts.names()) == (0, [])


def test_the_limit_stands_in_the_settings(tus: Tus) -> None:
    assert tus.app.state.uploads.limit_bytes == LIMIT_BYTES
