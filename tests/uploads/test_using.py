"""Forms that name uploads instead of sending files."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import func, select

from server.archive.tables import Event, Job
from server.days.service import newest_revision
from tests.uploads.conftest import Tus
from tests.web.serving import wait_for
from tests.web.test_adding import FORM, LOG, zipped


def number(place: str) -> str:
    return place.removeprefix("/uploads/")


def ended(tus: Tus, path: str, data: dict) -> str:  # type: ignore[type-arg]
    """Where the job of a form leads."""
    answer = tus.client.post(path, data=data)
    assert answer.status_code == 303, answer.text
    job = answer.headers["location"]
    return wait_for(lambda: (shown := tus.client.get(job)).status_code == 303 and shown.headers["location"])


def files_of(tus: Tus) -> dict[str, bytes]:
    archive = tus.app.state.archive
    with archive.database.reading() as session:
        files = newest_revision(session, 1).files
        return {file.path: archive.raw.path(file.sha256).read_bytes() for file in files}


def test_an_uploaded_zip_becomes_a_day_and_the_person_is_noted(tus: Tus) -> None:
    tus.client.cookies.set("who", "Ada%20L")
    content = zipped("Long apron")
    place = tus.send(content, "apron.zip")
    assert ended(tus, "/add/folder", {"upload_id": number(place)}).startswith("/days/1")
    assert files_of(tus)["logs/run01.csv"] == LOG
    assert tus.raw(tus.view(place)["sha256"]) == content
    with tus.app.state.archive.database.reading() as session:
        who = {event.kind: event.who for event in session.scalars(select(Event))}
    assert (who["file-received"], who["day-added"]) == ("Ada L", "Ada L")


def test_uploaded_logs_become_a_day_row_by_row(tus: Tus) -> None:
    """A row whose file never came (number empty) is passed over; the others keep their setup and direction."""
    sent = [number(tus.send(LOG + bytes([n]), f"run {n}.csv")) for n in (1, 2)]
    rows = {
        "log_upload": [sent[0], "", sent[1]],
        "log_setup": ["A", "X", "B"],
        "log_direction": ["out", "", "back"],
    }
    assert ended(tus, "/add/logs", {**FORM, **rows}).startswith("/days/1")
    files = files_of(tus)
    assert files["logs/01_run_1.csv"] == LOG + b"\x01"
    told = re.findall(r'setup = "(\w)"\nlog = "([^"]+)"[^[]*?direction = "(\w+)"', files["testday.toml"].decode())
    assert told == [("A", "logs/01_run_1.csv", "out"), ("B", "logs/02_run_2.csv", "back")]


@pytest.mark.parametrize("path", ["/add/folder", "/add/logs"])
def test_an_upload_that_is_not_whole_or_not_there_is_a_sentence(tus: Tus, path: str) -> None:
    half = tus.begin(100, "half <b>.zip")
    field = "upload_id" if path == "/add/folder" else "log_upload"
    for upload_id, sentence in (
        (number(half), "half &lt;b&gt;.zip is still coming in; wait until all of it is here."),
        ("0" * 32, "One of the files is no longer here; send it again."),
        ("../../archive.sqlite3", "One of the files is no longer here; send it again."),
    ):
        answer = tus.client.post(
            path, data={**FORM, field: upload_id, "log_setup": "A"}, headers={"HX-Request": "true"}
        )
        assert answer.status_code == 422
        assert sentence in answer.text
    with tus.app.state.archive.database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Job)) == 0
    assert [entry.name for entry in (tus.folder / "incoming").iterdir()] == ["uploads"]


def test_an_upload_that_is_no_zip_is_refused_as_a_day(tus: Tus) -> None:
    answer = tus.client.post("/add/folder", data={"upload_id": number(tus.send(b"hello", "notes.txt"))})
    assert answer.status_code == 422
    assert "notes.txt is not a zip" in answer.text


def test_forms_can_be_sent_without_scripts_still(tus: Tus) -> None:
    page = tus.client.get("/add").text
    assert 'name="day_zip"' in page
    assert page.count('type="file" name="log"') == 4
    assert page.index("<noscript>") < page.index('type="file" name="log"') < page.index("</noscript>")
