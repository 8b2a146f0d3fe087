"""Taking a day in: zip, typed logs, sample; what goes wrong is one sentence and leaves nothing."""

from __future__ import annotations

import hashlib
import io
import re
import tomllib
import zipfile
from pathlib import Path

import httpx
import pytest
from sqlalchemy import func, select

from server.app import create_app
from server.archive.tables import Job, RawFile
from server.days.service import find_day, newest_revision
from server.days.tables import StoredDay
from server.results.fit_job import queue_folder
from server.settings import Settings
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, wait_for

LOG = b"time;speed\r\n0,0;20,1\r\n"
FORM = {
    "mass": "236,5",
    "driver_mass": "72",
    "pressure": "1009",
    "temperature": "17",
    "humidity": "55",
    "reference_speed": "79.2",
    "heading": "",
    "coasting": "neutral",
    "name": 'Long "apron" <b>',
    "date": "2026-05-09",
}


def zipped(name: str, **more: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("day/testday.toml", f'format = 1\nname = "{name}"\n')
        archive.writestr("day/logs/run01.csv", LOG)
        for path, content in more.items():
            archive.writestr(path, content)
    return out.getvalue()


def send_zip(site: Site, content: bytes, name: str = "day.zip", **headers: str) -> httpx.Response:
    return site.client.post("/add/folder", files={"day_zip": (name, content)}, headers=headers)


def ended(site: Site, answer: httpx.Response) -> httpx.Response:
    """The page of the job that a form led to, once the job has ended."""
    assert answer.status_code == 303, answer.text
    address = answer.headers["location"]

    def page() -> httpx.Response | None:
        shown = site.client.get(address)
        return shown if shown.status_code == 303 or "job-failed" in shown.text else None

    return wait_for(page)


def rows(site: Site, table: type) -> int:
    with site.app.state.archive.database.reading() as session:
        return session.scalar(select(func.count()).select_from(table))


def test_a_zip_becomes_a_day(site: Site) -> None:
    content = zipped("Long apron")
    page = ended(site, send_zip(site, content, "apron.zip"))
    assert page.headers["location"] == "/days/1/result"
    assert "SCx" in site.client.get("/days/1/result").text
    archive = site.app.state.archive
    with archive.database.reading() as session:
        day = find_day(session, 1)
        kept = {file.path: archive.raw.path(file.sha256).read_bytes() for file in newest_revision(session, 1).files}
        assert kept["logs/run01.csv"] == LOG
        assert day.upload_sha256 == hashlib.sha256(content).hexdigest()
        assert archive.raw.path(day.upload_sha256).read_bytes() == content
    wait_for(lambda: not list((site.folder / "incoming").iterdir()))


def test_the_same_folder_twice_is_one_day(site: Site) -> None:
    for name in ("first.zip", "second.zip"):
        assert ended(site, send_zip(site, zipped("Long apron"), name)).headers["location"] == "/days/1/result"
    assert rows(site, StoredDay) == 1


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("unreadable", "logs/run01.csv stops in the middle of line 48,113."),
        ("mistake", "The program made a mistake"),
        ("crash", "ended without an answer"),
    ],
)
def test_what_cannot_be_fitted_is_a_sentence_and_leaves_nothing(site: Site, name: str, sentence: str) -> None:
    page = ended(site, send_zip(site, zipped(name)))
    assert sentence in page.text
    assert rows(site, StoredDay) == rows(site, RawFile) == 0
    assert not (site.folder / "raw").exists()
    assert list((site.folder / "incoming").iterdir()) == []
    assert ended(site, send_zip(site, zipped("fine"))).headers["location"] == "/days/1/result"


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("notes.txt", b"hello", "notes.txt is not a zip"),
        ("empty.zip", b"", "No file was sent"),
        ('<img src="x">.zip', b"no", "&lt;img"),
    ],
)
def test_what_is_no_zip_is_refused_at_once(site: Site, name: str, content: bytes, sentence: str) -> None:
    answer = send_zip(site, content, name)
    assert answer.status_code == 422
    assert sentence in answer.text
    assert 'action="/add/folder"' in answer.text
    piece = send_zip(site, content, name, **{"HX-Request": "true"})
    assert sentence in piece.text
    assert "<html" not in piece.text
    assert rows(site, Job) == 0
    assert list((site.folder / "incoming").iterdir()) == []


def test_a_zip_without_a_day_or_with_a_path_outside_is_a_sentence(site: Site) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("readme.txt", "nothing")
    assert "testday.toml" in ended(site, send_zip(site, out.getvalue())).text
    assert "leaves its folder" in ended(site, send_zip(site, zipped("x", **{"../evil": b"x"}))).text


def send_logs(site: Site, form: dict[str, str], logs: list[tuple[str, bytes]], **more: list[str]) -> httpx.Response:
    files = [("log", (name, content)) for name, content in logs]
    return site.client.post("/add/logs", data={**form, **more}, files=files)


def test_logs_with_mass_and_air_become_a_day(site: Site) -> None:
    logs = [("../../run 1.csv", LOG), ("run2.csv", LOG + b"1"), ("run3.csv", LOG + b"2")]
    answer = send_logs(site, FORM, logs, log_setup=["A", "A", "B"], log_direction=["out", "back", ""])
    assert ended(site, answer).headers["location"] == "/days/1/result"
    archive = site.app.state.archive
    with archive.database.reading() as session:
        files = {file.path: archive.raw.path(file.sha256).read_bytes() for file in newest_revision(session, 1).files}
    assert files["logs/01_run_1.csv"] == LOG
    day = tomllib.loads(files["testday.toml"].decode())
    assert day["name"] == 'Long "apron" <b>'
    assert day["car"]["mass_kg"] == 236.5
    assert [(run["setup"], run["log"], run.get("direction")) for run in day["runs"]] == [
        ("A", "logs/01_run_1.csv", "out"),
        ("A", "logs/02_run2.csv", "back"),
        ("B", "logs/03_run3.csv", None),
    ]


def test_a_form_that_is_not_full_keeps_what_was_typed(site: Site) -> None:
    answer = send_logs(site, {**FORM, "pressure": "high"}, [("run1.csv", LOG)], log_setup=["A"], log_direction=[""])
    assert answer.status_code == 422
    assert "Station pressure [hPa] must be a number, not “high”." in answer.text
    assert 'value="236,5"' in answer.text
    assert rows(site, Job) == 0
    assert list((site.folder / "incoming").iterdir()) == []


def test_progress_can_be_left_and_come_back_to(site: Site) -> None:
    answer = send_zip(site, zipped("Long apron"), **{"HX-Request": "true"})
    address = re.search(r'hx-get="([^"]+)"', answer.text)[1]  # type: ignore[index]
    assert 'hx-trigger="every' in answer.text
    seen = set()

    def last() -> httpx.Response | None:
        piece = site.client.get(address, headers={"HX-Request": "true"})
        seen.update(re.findall(r'value="(\d+)"', piece.text))
        return piece if "HX-Redirect" in piece.headers else None

    assert wait_for(last).headers["HX-Redirect"] == "/days/1/result"
    assert {"10", "60"} & seen


def test_waiting_days_stand_on_the_first_page(site: Site) -> None:
    send_zip(site, zipped("endless"), "slow.zip")
    wait_for(lambda: "slow.zip</strong>: fitting" in site.client.get("/").text)


def test_a_failure_stays_on_the_first_page_until_the_next_day(site: Site) -> None:
    """A day folder named at the start fails before anyone looks."""
    ended(site, send_zip(site, zipped("unreadable")))
    assert "stops in the middle of line 48,113" in site.client.get("/").text
    ended(site, send_zip(site, zipped("Long apron")))
    assert "48,113" not in site.client.get("/").text


def test_work_is_taken_up_again_after_a_stop(tmp_path: Path) -> None:
    """A server that is stopped during a fit ends at once; the next one fits the day."""
    settings = Settings(data_folder=tmp_path / "data")
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "testday.toml").write_text('format = 1\nname = "endless"\n')
    app = create_app(settings, KINDS)
    with client_of(app) as client:
        queue_folder(app.state.archive, folder)
        app.state.jobs.wake()
        wait_for(lambda: "fitting" in client.get("/").text)
    (folder / "testday.toml").write_text('format = 1\nname = "Long apron"\n')
    with client_of(create_app(settings, KINDS)) as client:
        wait_for(lambda: client.get("/days/1/result").status_code == 200)


def test_the_day_folder_of_the_settings_is_fitted_once(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "testday.toml").write_text('format = 1\nname = "Long apron"\n')
    settings = Settings(data_folder=tmp_path / "data", day_folder=folder)
    for _ in range(2):
        app = create_app(settings, KINDS)
        with client_of(app) as client:
            wait_for(lambda client=client: client.get("/days/1/result").status_code == 200)
            with app.state.archive.database.reading() as session:
                assert session.scalar(select(func.count()).select_from(Job)) == 1
