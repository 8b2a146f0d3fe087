"""Backup and restore from the command line, and the button of the Work page."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest
from typer.testing import CliRunner

from server.app import create_app
from server.archive.backups import DATABASE, copies_in
from server.archive.raw_files import sha256_of
from server.commands.main import app
from server.history.backup_job import record_backup
from server.locations import sample_day_folders
from server.settings import Settings
from tests.archive.sound_archive import make_sound
from tests.uploads.conftest import BODY_TYPE, named
from tests.uploads.killed import Sent, send
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, served, wait_for


def test_a_backup_beside_a_server_is_put_back_and_checked(tmp_path: Path) -> None:
    data, disk, again = tmp_path / "data", tmp_path / "disk", tmp_path / "again"
    with client_of(create_app(Settings(data_folder=data), KINDS)) as client:
        client.post("/people/invitations", data={"role": "lead"})  # an event
        made = CliRunner().invoke(app, ["backup", str(disk), "--data", str(data)])
        assert made.exit_code == 0, made.output
        assert "Its newest event is number 1" in made.output
        events = client.get("/api/events").json()["events"]
    assert [one["kind"] for one in events] == ["invitation-made", "archive-backed-up"]
    back = CliRunner().invoke(app, ["restore", str(disk), "--data", str(again)])
    assert back.exit_code == 0, back.output
    assert "as it was kept: 0 days" in back.output
    assert (again / DATABASE).is_file()


def test_a_file_that_was_coming_in_is_sent_anew_after_its_backup_is_put_back(tmp_path: Path) -> None:
    data, disk, again = tmp_path / "data", tmp_path / "disk", tmp_path / "again"
    file = Sent(b"time,speed\n0,30\n", acknowledged=5)
    tus = {"Tus-Resumable": "1.0.0"}
    with client_of(create_app(Settings(data_folder=data), KINDS)) as client:
        sizes = {"Upload-Length": str(len(file.data)), "Upload-Metadata": named("run.csv")}
        file.place = client.post("/uploads", headers={**tus, **sizes}).headers["location"]
        begun = {**tus, "Upload-Offset": "0", "Content-Type": BODY_TYPE}
        assert client.patch(file.place, content=file.data[:5], headers=begun).headers["upload-offset"] == "5"
        assert CliRunner().invoke(app, ["backup", str(disk), "--data", str(data)]).exit_code == 0
    back = CliRunner().invoke(app, ["restore", str(disk), "--data", str(again)])
    assert (back.exit_code, "acknowledged" in back.output) == (0, False), back.output
    with served(create_app(Settings(data_folder=again), KINDS)) as address:
        assert httpx.head(address + file.place, headers=tus).headers["upload-offset"] == "0"
        send(address, file, 0.5)
    assert file.is_kept


def test_a_backup_of_a_damaged_archive_brings_back_all_else_and_names_it(tmp_path: Path) -> None:
    data, disk, again = make_sound(tmp_path), tmp_path / "disk", tmp_path / "again"
    bad = sha256_of(sample_day_folders()[0] / "logs" / "run01.csv")
    (data / "raw" / bad[:2] / bad).unlink()
    made = CliRunner().invoke(app, ["backup", str(disk), "--data", str(data)])
    assert made.exit_code == 3
    assert f"Raw file {bad}: it is not there." in made.output
    assert "1 raw file of the archive is damaged or gone, and no backup here has it; all else is" in made.output
    there, back = (
        CliRunner().invoke(app, command)
        for command in (["verify", "--data", str(data)], ["restore", str(disk), "--data", str(again)])
    )
    assert back.exit_code == there.exit_code == 3
    assert f"and not put back: raw file {bad}." in back.stderr
    named = [line.replace(str(data), "") for line in there.stdout.splitlines()]
    assert [line.replace(str(again), "") for line in back.stdout.splitlines()] == named
    assert all(bad[:12] in line for line in named)


def test_where_there_is_nothing(tmp_path: Path) -> None:
    for command in (["backup", str(tmp_path / "disk"), "--data", str(tmp_path / "data")],
                    ["restore", str(tmp_path / "disk"), "--data", str(tmp_path / "data")]):  # fmt: skip
        done = CliRunner().invoke(app, command)
        assert done.exit_code != 0
        assert not (tmp_path / "data" / DATABASE).exists()


@pytest.mark.parametrize("is_set", [False, True])
def test_the_work_page_says_whether_there_is_a_backup(tmp_path: Path, is_set: bool) -> None:
    from server.history.backup_job import BACKUP_KINDS

    disk = tmp_path / "disk"
    settings = Settings(data_folder=tmp_path / "data", backup_folder=disk if is_set else None)
    with client_of(create_app(settings, {**KINDS, **BACKUP_KINDS})) as client:
        assert "There is no backup yet" in client.get("/jobs").text
        answer = client.post("/backups")
        if is_set:
            wait_for(lambda: "The newest backup is of" in client.get("/jobs").text)
            assert len(copies_in(disk)) == 1
        else:
            assert answer.status_code == 422
            assert "STILLAIR_BACKUP_FOLDER" in answer.text


def test_the_work_page_says_what_a_backup_lacks(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with client_of(app) as client:
        bad = {"sha256": "a" * 64, "size_bytes": 3, "why": "it is not there", "backup": ""}
        with app.state.archive.database.writing() as session:
            event = record_backup(session, "Ana", "disk", {"name": "x", "event": 1, "damaged": [bad]})
            number = event.id
        assert "1 raw file of the archive is damaged or gone" in client.get("/jobs").text
        assert f"{'a' * 64}: it is not there" in client.get(f"/history/{number}").text
