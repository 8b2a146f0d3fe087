"""Packed seasons that somebody rewrote, seals and all: refused in a sentence, and nothing is kept or written."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from server.archive.archive import Archive
from server.errors import StillairError, UploadError
from server.packing.bring_job import queue_unpacking
from server.packing.season_zip import MANIFEST, ROWS
from tests.packing.zips import (
    TOML,
    Alter,
    altered_event,
    altered_row,
    nothing_kept,
    rewritten,
    unpacked_into,
    with_event,
    with_file,
    with_path,
    with_row,
    without,
)

REFUSED = [
    (with_file(TOML, b"format = 1\n"), False, "testday.toml' in season.zip is not the file that was packed"),
    (without(TOML), False, "season.zip lacks 'days/2026-05-09 Long apron/testday.toml', which its manifest lists"),
    (with_file("days/more.txt", b"x"), False, "holds 'days/more.txt', which its manifest does not list"),
    (with_file("../outside.txt", b"x"), True, "holds the path '../outside.txt', which leaves its folder"),
    (with_file("kept/bomb.bin", bytes(60_000_000)), True, "unpacks to more than 200 times its size"),
    (altered_row, True, "its event tells of something else"),
    (altered_event, True, "in the packed history was altered after it was sealed"),
    (without(MANIFEST), False, "is no packed season"),
    (with_file(MANIFEST, b"{"), False, "cannot be read, so nothing in it can be checked"),
]


@pytest.mark.parametrize(("change", "seal", "sentence"), REFUSED, ids=[one[2][:40] for one in REFUSED])
def test_what_is_not_as_it_was_packed_is_refused_and_nothing_is_kept(
    season: Path, empty: Archive, tmp_path: Path, *, change: Alter, seal: bool, sentence: str
) -> None:
    file = rewritten(season, tmp_path / "season.zip", change, seal=seal)
    with pytest.raises(StillairError) as refused:
        unpacked_into(empty, file, tmp_path)
    assert sentence in str(refused.value)
    assert str(refused.value).count("\n") == 0
    assert nothing_kept(empty)
    assert not (tmp_path / "outside.txt").exists()


def test_a_zip_that_breaks_off(season: Path, empty: Archive, tmp_path: Path) -> None:
    (tmp_path / "season.zip").write_bytes(season.read_bytes()[:-5000])
    with pytest.raises(StillairError, match=r"season.zip is no zip that can be read"):
        unpacked_into(empty, tmp_path / "season.zip", tmp_path)
    with pytest.raises(StillairError, match="no zip"):
        queue_unpacking(empty, "a.txt", io.BytesIO(b"hello"), "Cleo")


@pytest.mark.parametrize("way", ["absolute", "upwards"])
def test_a_path_that_leaves_its_folder_writes_nothing_there(
    season: Path, empty: Archive, tmp_path: Path, way: str
) -> None:
    """All hashes and seals are right: only the path itself tells."""
    there = tmp_path / "precious.txt"
    there.write_text("not to be touched")
    path = str(there) if way == "absolute" else f"logs/../../../../../{there.name}"
    file = rewritten(season, tmp_path / "season.zip", with_path(path), seal=True)
    with pytest.raises(StillairError, match="leaves its folder"):
        unpacked_into(empty, file, tmp_path)
    assert there.read_text() == "not to be touched"
    assert nothing_kept(empty)


UNKNOWN = "holds rows or events that this Stillair does not know"
NO_SEASON_EVENT = "which belongs to no season"
MISSHAPEN = [
    (with_row("days", id=[1]), UNKNOWN),
    (with_row("days", name=None), UNKNOWN),
    (with_row("results", summary=7, day_id=99), UNKNOWN),
    (with_row("results", sha256=["a"]), UNKNOWN),
    (with_row("revision_files", path=5), UNKNOWN),
    (with_row("prediction_matches", table="accounts"), UNKNOWN),
    (with_row("days", date="yesterday"), UNKNOWN),
    (with_file(ROWS, b"5\n"), UNKNOWN),
    (with_file(ROWS, b"{\n"), UNKNOWN),
    (with_event(after='{"row":[]}', kind="predictions-added", day_id=None), UNKNOWN),
    (with_event(after="{", kind="predictions-added", day_id=None), UNKNOWN),
    (with_event(day_id=None, kind="account-password", after='{"account":1}'), NO_SEASON_EVENT),
    (with_event(kind="file-received", after="{}"), NO_SEASON_EVENT),
    (with_event(day_id=None, kind="day-signed"), NO_SEASON_EVENT),
]


@pytest.mark.parametrize(("change", "sentence"), MISSHAPEN)
def test_rows_and_events_that_no_archive_wrote_are_refused_in_a_sentence(
    season: Path, empty: Archive, tmp_path: Path, change: Alter, sentence: str
) -> None:
    file = rewritten(season, tmp_path / "season.zip", change, seal=True)
    with pytest.raises(UploadError, match=sentence):
        unpacked_into(empty, file, tmp_path)
    assert nothing_kept(empty)


@pytest.mark.usefixtures("engine")
def test_rows_that_the_database_refuses(season: Path, empty: Archive, tmp_path: Path) -> None:
    """Each database has words of its own for it."""
    file = rewritten(season, tmp_path / "season.zip", with_row("days", id="one"), seal=True)
    with pytest.raises(UploadError, match=UNKNOWN):
        unpacked_into(empty, file, tmp_path)
    assert nothing_kept(empty)
