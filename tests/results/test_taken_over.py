"""Roles said on one day are taken over by the next, and written into its folder, which alone gives the result again."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.archive.events import PROGRAM
from server.archive.jobs import find_job
from server.archive.tables import Event
from server.days.changes import assign_role
from server.days.column_choices import choices, taken_over
from server.days.revisions import newest_day, revise_day
from server.days.service import list_revisions, revision_files, write_files
from server.errors import LogError
from server.locations import sample_day_folders
from server.readers.load_day import load_day
from server.results.fit_job import fit_work, keep_fitted_day, queue_folder
from server.results.service import latest_result
from tests.web.made_up import made_up_day_result

SHAKEDOWN = next(one for one in sample_day_folders() if "shakedown" in one.name)
ODD = "Q17"


@pytest.fixture(autouse=True)
def no_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fit itself is not what is looked at."""
    monkeypatch.setattr("server.analysis.day_fit.fit_day", lambda *_, **__: made_up_day_result("AB"))


def odd_day(folder: Path) -> Path:
    """The shakedown with its satellite speed under a name and in a unit that say nothing."""
    shutil.copytree(SHAKEDOWN, folder)
    for log in (folder / "logs").iterdir():
        text = log.read_text("utf-8")
        assert "GPS speed" in text
        head, units, rest = text.replace("GPS speed", ODD, 1).split("\n", 2)
        place = head.split(",").index(ODD)
        cells = units.split(",")
        cells[place] = "blorp"
        log.write_text("\n".join([head, ",".join(cells), rest]), "utf-8")
    return folder


def add(archive: Archive, folder: Path) -> int:
    """As the server and its worker do it; gives the day."""
    job_id = queue_folder(archive, folder)
    assert job_id
    with archive.database.reading() as session:
        payload = find_job(session, job_id).payload
    outcome = fit_work(payload, lambda *_: None)
    with archive.database.writing() as session:
        return int(keep_fitted_day(archive, session, payload, outcome))


def said(archive: Archive, day_id: int) -> None:
    revise_day(archive, day_id, lambda day: assign_role(day, None, "gps_speed", ODD, "km/h"), who="Ada")


def test_a_role_said_once_is_written_into_the_next_day(archive: Archive, tmp_path: Path) -> None:
    first = add(archive, odd_day(tmp_path / "first"))
    said(archive, first)
    with archive.database.reading() as session:
        assert choices(session) == {"gps_speed": [f"{ODD} [km/h]"]}
    folder = odd_day(tmp_path / "second")
    toml = folder / "testday.toml"
    toml.write_text(toml.read_text("utf-8").replace("Shakedown", "Another day"), "utf-8")
    second = add(archive, folder)
    with archive.database.reading() as session:
        revisions = list_revisions(session, second)
        revision, day = newest_day(archive, session, second)
        result = latest_result(session, second)
        assert [one.number for one in revisions] == [2, 1]
        assert (revision.who, result and result.revision_id) == (PROGRAM, revision.id)
        assert {run.channels["gps_speed"] for run in day.runs} == {f"{ODD} [km/h]"}
        assert taken_over(session, second, 1) == {"gps_speed": f"{ODD} [km/h]"}
        event = session.query(Event).filter_by(kind="roles-remembered").one()
        assert json.loads(event.after or "")["revision"] == 2
        alone = write_files(archive, revision_files(session, revision.id), tmp_path / "alone")
        sent = write_files(archive, revision_files(session, revisions[-1].id), tmp_path / "sent")
    speeds = [run.recordings[0].signals["gps_speed"] for run in load_day(alone).runs]
    fresh = [run.recordings[0].signals["gps_speed"] for run in load_day(folder, {"gps_speed": [f"{ODD} [km/h]"]}).runs]
    assert [list(one.values) for one in speeds] == [list(one.values) for one in fresh]
    assert sent.joinpath("testday.toml").read_bytes() == toml.read_bytes()  # revision 1 is the folder as it came
    assert all("gps_speed" not in run.recordings[0].signals for run in load_day(sent).runs)


def test_the_same_folder_sent_again_stays_one_day(archive: Archive, tmp_path: Path) -> None:
    first = add(archive, odd_day(tmp_path / "first"))
    said(archive, first)
    again = odd_day(tmp_path / "again")
    shutil.copytree(again, tmp_path / "third")
    job = queue_folder(archive, again)
    assert job is None or add(archive, tmp_path / "third") == first


def test_a_word_in_the_folder_comes_before_what_was_remembered(archive: Archive, tmp_path: Path) -> None:
    said(archive, add(archive, odd_day(tmp_path / "first")))
    folder = odd_day(tmp_path / "second")
    toml = folder / "testday.toml"
    text = toml.read_text("utf-8").replace("Shakedown", "Another day")
    toml.write_text(text + '\n[channels]\ngps_speed = "-"\n', "utf-8")
    second = add(archive, folder)
    with archive.database.reading() as session:
        assert [one.number for one in list_revisions(session, second)] == [1]
        assert newest_day(archive, session, second)[1].channels["gps_speed"] == "-"


def test_without_anybodys_word_the_unit_is_asked_or_left(tmp_path: Path) -> None:
    """The odd column is of no use by itself: what the tests above see is the word, not a guess."""
    try:
        day = load_day(odd_day(tmp_path / "odd"))
    except LogError:
        return
    assert all("gps_speed" not in run.recordings[0].signals for run in day.runs)
