"""Backups of an archive that has lost files: made of all that is sound, named, and none that is whole goes for them."""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.archive.backup_files import MANIFEST, BadFile, lacking_in
from server.archive.backups import back_up, copies_in, restore
from server.archive.raw_files import RawStore
from server.errors import DiskFullError, StillairError
from server.history.backup_job import damage_at, keep_backup, newest_backup
from tests.archive.test_backups import files_of, keep, quiet


def flip(file: Path) -> None:
    """One bit is another."""
    content = bytearray(file.read_bytes())
    content[0] ^= 1
    file.chmod(0o644)
    file.write_bytes(content)


def cut(file: Path) -> None:
    """The last byte is gone."""
    file.chmod(0o644)
    file.write_bytes(file.read_bytes()[:-1])


@pytest.mark.parametrize("damage", [flip, cut, Path.unlink])
def test_all_that_is_sound_is_copied_and_put_back(
    archive: Archive, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    sound, bad, disk = keep(archive, "log 1"), keep(archive, "log 2"), tmp_path / "disk"
    damage(archive.raw.path(bad))
    made = back_up(archive.folder, disk, 3, quiet)
    assert (made.files, made.new_files) == (2, 1)
    assert [(one.sha256, one.backup) for one in made.damaged] == [(bad, "")]
    assert json.loads((disk / made.name / MANIFEST).read_text())["damaged"][0]["sha256"] == bad
    assert restore(disk, None, tmp_path / "again", quiet) == made.name
    assert files_of(tmp_path / "again") == {sound: sound}
    assert lacking_in(disk, made.name) == made.damaged


def test_another_fault_than_the_named_ones_is_still_refused(archive: Archive, tmp_path: Path) -> None:
    sound, disk = keep(archive, "log 1"), tmp_path / "disk"
    archive.raw.path(keep(archive, "log 2")).unlink()
    back_up(archive.folder, disk, 3, quiet)
    flip(RawStore(disk / "raw").path(sound))
    with pytest.raises(StillairError, match="is not as it was made"):
        restore(disk, None, tmp_path / "again", quiet)


def test_a_sound_copy_of_an_earlier_backup_is_pointed_to(archive: Archive, tmp_path: Path) -> None:
    digest, disk = keep(archive, "log"), tmp_path / "disk"
    first = back_up(archive.folder, disk, 3, quiet)
    archive.raw.path(digest).unlink()
    second = back_up(archive.folder, disk, 1, quiet)
    [found] = second.damaged
    assert found.told.endswith(f"a sound copy lies in backup {first.name}, under raw/{digest[:2]}/{digest}.")
    assert lacking_in(disk, second.name) == ()
    assert copies_in(disk) == [second.name]  # it is whole: the first may go
    restore(disk, None, tmp_path / "again", quiet)
    assert files_of(tmp_path / "again") == {digest: digest}


def test_a_copy_that_is_damaged_too_is_not_taken_for_the_file(archive: Archive, tmp_path: Path) -> None:
    digest, disk = keep(archive, "log"), tmp_path / "disk"
    back_up(archive.folder, disk, 3, quiet)
    content = archive.raw.path(digest).read_bytes()
    flip(RawStore(disk / "raw").path(digest))
    archive.raw.path(digest).unlink()
    made = back_up(archive.folder, disk, 3, quiet)
    assert [one.backup for one in made.damaged] == [""]
    assert lacking_in(disk, made.name) == made.damaged
    (archive.raw.folder / digest[:2] / digest).write_bytes(content)  # somebody had it elsewhere
    assert back_up(archive.folder, disk, 3, quiet).damaged == ()
    restore(disk, made.name, tmp_path / "again", quiet)  # the older one has it by now, too
    assert files_of(tmp_path / "again") == {digest: digest}


def test_whole_backups_are_not_pushed_out(archive: Archive, tmp_path: Path) -> None:
    keep(archive, "log 0")
    whole = [back_up(archive.folder, tmp_path / "disk", 2, quiet).name for _ in range(3)][1:]
    archive.raw.path(keep(archive, "log 1")).unlink()
    lacking = [back_up(archive.folder, tmp_path / "disk", 2, quiet).name for _ in range(4)][2:]
    assert copies_in(tmp_path / "disk") == sorted([*whole, *lacking], reverse=True)


def test_what_cannot_be_read_is_named_and_a_full_disk_is_not(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bad, at_once = keep(archive, "log"), RawStore.lent
    monkeypatch.setattr(RawStore, "lent", _fails(errno.EIO))
    monkeypatch.setattr(RawStore, "looked_at", _fails(errno.EIO))
    [found] = back_up(archive.folder, tmp_path / "disk", 3, quiet).damaged
    assert (found.sha256, found.why) == (bad, f"it cannot be read ({os.strerror(errno.EIO)})")
    monkeypatch.undo()
    assert RawStore.lent is at_once
    monkeypatch.setattr(RawStore, "copy", _fails(errno.ENOSPC))
    with pytest.raises(DiskFullError):
        back_up(archive.folder, tmp_path / "other", 3, quiet)
    assert copies_in(tmp_path / "other") == []


def _fails(number: int) -> Callable[..., None]:
    def failing(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    return failing


def test_its_event_tells_which_and_where(archive: Archive) -> None:
    bad = [BadFile("a" * 64, 3, "it is not there"), BadFile("b" * 64, 3, "it is not there", "2026-05-09 173000-120")]
    rows = [{"sha256": one.sha256, "size_bytes": 3, "why": one.why, "backup": one.backup} for one in bad]
    outcome = {"name": "x", "event": 1, "files": 2, "damaged": rows}
    with archive.database.writing() as session:
        keep_backup(archive, session, {"folder": "f", "who": "Ana"}, outcome)
        event = newest_backup(session)
        assert event is not None
        assert json.loads(event.after or "")["damaged"] == [one.told for one in bad]
        assert "2 raw files of the archive are damaged or gone, and no backup here has 1 of" in damage_at(event)
