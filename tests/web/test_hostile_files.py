"""Files that are not what they claim, sent to the pages with the product's own reading behind them.

Each ends as one clear sentence on the job's page, with names as text, and nothing of it is kept.
"""

from __future__ import annotations

import io
import re
import stat
import subprocess
import zipfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import func, select

from server.app import create_app
from server.archive.tables import Event, RawFile
from server.days.tables import StoredDay
from server.settings import Settings
from tests.commands.test_archive_refusals import mounted
from tests.web.serving import SMALL_DAY, client_of, wait_for

PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\6\0\0\0" * 20
ELF = b"\x7fELF\2\1\1" + bytes(200)
MDF_AND_GARBAGE = b"MDF     4.10    " + bytes(range(256)) * 20
PARQUET_AND_GARBAGE = b"PAR1" + bytes(range(256)) * 20 + b"PAR1"
BLF_AND_GARBAGE = b"LOGG" + bytes(range(256)) * 20
DAY = SMALL_DAY.encode()
NAME = "logs/run01.csv"


def zipped(*members: tuple[str | zipfile.ZipInfo, bytes], compress: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compress) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return out.getvalue()


def with_log(content: bytes, name: str = NAME) -> bytes:
    return zipped(("testday.toml", DAY.replace(NAME.encode(), name.encode())), (name, content))


def link(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    return info


INNER = zipped(("bomb.csv", bytes(20_000_000)))
HOSTILE: dict[str, tuple[bytes, str]] = {
    "a picture": (with_log(PNG), r"logs/run01\.csv .+"),
    "a program": (with_log(ELF), r"logs/run01\.csv .+"),
    "a recording's head, then garbage": (with_log(MDF_AND_GARBAGE), r"logs/run01\.csv .+"),
    "a table's head, then garbage": (with_log(PARQUET_AND_GARBAGE), r"logs/run01\.csv .+"),
    "a bus log's head, then garbage": (with_log(BLF_AND_GARBAGE), r"logs/run01\.csv .+"),
    "nothing": (with_log(b""), r"logs/run01\.csv .+"),
    "a zip in the place of a log": (with_log(INNER), r"logs/run01\.csv .+"),
    "a picture for the day": (zipped(("testday.toml", PNG), (NAME, b"")), r"testday\.toml: .+"),
    "a zip cut short": (with_log(PNG)[:-30], r"day\.zip is no zip that can be read .+"),
    "a zip cut in half": (with_log(PNG * 10)[:200], r"day\.zip is no zip that can be read .+"),
    "a bomb": (zipped(("testday.toml", DAY), (NAME, bytes(60_000_000))), r"day\.zip unpacks to more than 200 times .+"),
    "many files": (
        zipped(("testday.toml", DAY), *((f"{n}", b"") for n in range(2500))),
        r"day\.zip holds more than 2,000 files\.",
    ),
    "a way up": (zipped(("testday.toml", DAY), ("../evil.csv", b"1")), r"day\.zip holds the path '\.\./evil\.csv', .+"),
    "a way up, backwards": (zipped(("testday.toml", DAY), ("..\\evil.csv", b"1")), r"day\.zip holds the path .+"),
    "a place of its own": (zipped(("testday.toml", DAY), ("/etc/evil", b"1")), r"day\.zip holds the path '/etc/.+"),
    "a drive": (zipped(("testday.toml", DAY), ("C:\\evil.csv", b"1")), r"day\.zip holds the path 'C:/evil\.csv', .+"),
    "a link": (zipped(("testday.toml", DAY), (link(NAME), b"/etc/passwd")), r"day\.zip holds .+, which is a link .+"),
    "a day that names a place outside": (
        zipped(("testday.toml", DAY.replace(NAME.encode(), b"../../archive.sqlite3"))),
        r"testday\.toml.+archive\.sqlite3.+",
    ),
}


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    return create_app(Settings(data_folder=tmp_path_factory.mktemp("hostile") / "data", upload_limit_mb=5.0))


@pytest.fixture(scope="module")
def client(app: FastAPI) -> Iterator[httpx.Client]:
    with client_of(app) as made:
        yield made


def kept(app: FastAPI) -> tuple[int, ...]:
    """Days, raw files and events that there are; what lies in the folders."""
    archive = app.state.archive
    with archive.database.reading() as session:
        rows = [session.scalar(select(func.count()).select_from(table)) for table in (StoredDay, RawFile, Event)]
    places = [archive.folder / name for name in ("raw", "incoming", "scratch")]
    return (*rows, sum(file.is_file() for place in places for file in place.rglob("*")))


def sentence_of(client: httpx.Client, content: bytes, name: str = "day.zip") -> tuple[str, str]:
    """The page that a zip leads to in the end, and the sentence on it."""
    answer = client.post("/add/folder", files={"day_zip": (name, content)})
    if answer.status_code == 303:
        job = answer.headers["location"].split("?")[0].rpartition("/")[2]

        def failed() -> str:
            one = client.get(f"/api/jobs/{job}").json()
            assert one["state"] != "done", "a hostile file became a day"
            return one["error"] if one["state"] == "failed" else ""

        sentence = wait_for(failed, 120)
        page = client.get(answer.headers["location"], follow_redirects=True).text
        return page, sentence
    assert answer.status_code in (413, 422), answer.text
    return answer.text, unescape(re.sub(r"<[^>]+>", " ", answer.text))


@pytest.mark.parametrize("what", HOSTILE)
def test_one_sentence_and_nothing_kept(app: FastAPI, client: httpx.Client, what: str) -> None:
    content, pattern = HOSTILE[what]
    before, outside = kept(app), sorted(app.state.archive.folder.parent.iterdir())
    page, sentence = sentence_of(client, content)
    assert re.search(pattern, sentence), sentence
    assert "\n" not in sentence.strip() or "<" in page
    assert "mistake" not in sentence
    assert "Traceback" not in page
    wait_for(lambda: kept(app) == before, 10)
    assert sorted(app.state.archive.folder.parent.iterdir()) == outside


MARKS = {
    "markup": "<img src=x onerror=alert(1)>.zip",
    "control": "day\x07\x1b[31m.zip",
    "right to left": "day\u202egpj.zip",
    "unseen": "day\u200b\u2066.zip",
}


@pytest.mark.parametrize("what", MARKS)
def test_names_are_text_and_have_no_hidden_signs(client: httpx.Client, what: str) -> None:
    """The name of what was sent stands on the job's page, in the list of work and in sentences."""
    name = MARKS[what]
    page, sentence = sentence_of(client, zipped(("a.txt", b"1")), name)
    for text in (page, client.get("/jobs").text, client.get("/").text, client.get("/history").text, sentence):
        assert "<img src=x" not in text.replace(sentence, "")
        assert not set(text) & set("\x07\x1b\u202e\u200b\u2066")


def test_logs_with_hostile_names_become_plain_files(client: httpx.Client, app: FastAPI) -> None:
    form = {
        **{"mass": "236", "driver_mass": "72", "pressure": "1009", "temperature": "17", "humidity": "55"},
        **{"reference_speed": "79.2", "coasting": "neutral", "log_setup": "A"},
    }
    before = kept(app)
    for name in ("../../evil.csv", "C:\\evil.csv", "\u202evsc.live", "a\nb.csv", "=cmd|x.csv"):
        answer = client.post("/add/logs", data=form, files={"log": (name, PNG)})
        assert answer.status_code in (303, 422)
    wait_for(lambda: all(one["state"] not in ("queued", "running") for one in client.get("/api/jobs").json()), 120)
    assert kept(app) == before
    assert not list(app.state.archive.folder.parent.rglob("*evil*"))


def test_a_full_disk_is_507_and_half_of_nothing(tmp_path: Path) -> None:
    """A file system of 3 MB that is really full."""
    place = tmp_path / "small"
    place.mkdir()
    if not mounted("-t", "tmpfs", "-o", "size=3m", "none", place):
        pytest.skip("no file system may be mounted here")
    try:
        app = create_app(Settings(data_folder=place / "data", upload_limit_mb=50.0))
        with client_of(app) as client:
            before = kept(app)
            answer = client.post("/add/folder", files={"day_zip": ("day.zip", b"PK" + bytes(4_000_000))})
            assert answer.status_code == 507
            assert "The disk of the archive is full; make room there and try again." in answer.text
            assert kept(app) == before
            headers = {"Tus-Resumable": "1.0.0", "Upload-Length": "4000000"}
            begun = client.post("/uploads", headers=headers)
            assert begun.status_code == 507
            assert "make room" in begun.json()["error"]
            assert kept(app) == before
            assert client.get("/").status_code == 200
    finally:
        subprocess.run(["umount", str(place)], check=True)
