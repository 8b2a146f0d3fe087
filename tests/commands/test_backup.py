"""Backup and restore from the command line, and the button of the Work page."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from server.app import create_app
from server.archive.backups import DATABASE, copies_in
from server.commands.main import app
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, wait_for


def test_a_backup_beside_a_server_is_put_back_and_checked(tmp_path: Path) -> None:
    data, disk, again = tmp_path / "data", tmp_path / "disk", tmp_path / "again"
    served = create_app(Settings(data_folder=data), KINDS)
    with client_of(served) as client:
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
