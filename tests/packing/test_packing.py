"""A season out and into an empty archive: the same folders and tables, a clean check, all of it or nothing."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import select

from server.app import create_app
from server.archive.archive import Archive
from server.archive.database import Base
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event, RawFile
from server.days.service import IncomingDay, keep_day, revision_files
from server.days.tables import StoredDay
from server.errors import StillairError
from server.history.verify import faults
from server.packing import bringing
from server.packing.bring_job import UNPACK_KINDS, queue_unpacking
from server.packing.bringing import JOURNAL, sweep_unpacked
from server.packing.carried import TABLES
from server.packing.season_zip import HISTORY, MANIFEST, pack, write_zip
from server.results.service import results_of
from server.settings import Settings
from tests.imports import ROOT
from tests.packing.zips import STATEMENT, contents, nothing_kept, unpacked_into
from tests.tufts.tuft_site import KINDS
from tests.web.conftest import Site
from tests.web.serving import SMALL_DAY, client_of, wait_for


def packed_again(archive: Archive, folder: Path, year: int | None = None) -> Path:
    folder.mkdir()
    made = pack(archive, folder, year)
    write_zip(made, folder / made.name)
    return folder / made.name


def test_the_zip_holds_folders_tables_and_a_manifest_of_all_of_it(site: Site, season: Path) -> None:
    held = contents(season)
    manifest = json.loads(held[MANIFEST])
    assert set(held) == {MANIFEST, *manifest["files"]}
    for path, one in manifest["files"].items():
        assert one == {"sha256": hashlib.sha256(held[path]).hexdigest(), "bytes": len(held[path])}, path
    assert [day["folder"] for day in manifest["days"]] == ["2025-06-20 Second_ wet", "2026-05-09 Long apron"]
    assert held["days/2026-05-09 Long apron/testday.toml"].startswith(b"format = 1")
    assert sum(path.startswith("days/2026-05-09 Long apron/tufts/") for path in held) >= 2
    newest = site.client.get("/api/events/head").json()
    assert manifest["newest_event"]["sha256"] == newest["sha256"]
    tables = {name.removeprefix("tables/"): text.decode() for name, text in held.items() if name.startswith("tables/")}
    assert "2026-05-09 Long apron,A,SCx,1.4" in tables["results.csv"]
    assert ",no,1,," in tables["results.csv"]
    assert ",yes,1,0.0.9," in tables["results.csv"]
    assert "prediction-low" in tables["correlation.csv"]
    assert "The mesh.,yes,Ana" in tables["decisions.csv"]
    assert STATEMENT in tables["signatures.csv"]
    assert "(asked the driver)" in tables["signatures.csv"]
    assert "withdrawn,meshed too coarsely" in tables["predictions.csv"]
    assert "tuft-marked" in tables["events.csv"]
    assert "account" not in tables["events.csv"]
    assert b"Not carried" in held["README.txt"]


@pytest.mark.usefixtures("engine")
def test_unpacked_it_is_the_same_season_and_packs_to_the_same_bytes(
    season: Path, empty: Archive, tmp_path: Path
) -> None:
    assert unpacked_into(empty, season, tmp_path) == 2
    assert list(faults(empty)) == []  # type: ignore[arg-type]  # an open archive has all that is looked at
    first, second = contents(season), contents(packed_again(empty, tmp_path / "again"))
    assert set(first) == set(second)
    other = {name for name in first if first[name] != second[name]}
    assert other == {MANIFEST, HISTORY}  # its newest event, and events with numbers and seals of their own
    with empty.database.reading() as session:
        newest = session.query(Event).order_by(Event.id.desc()).first()
        assert newest is not None
        told = json.loads(newest.after or "")
        assert (newest.kind, newest.who, told["days"]) == ("season-unpacked", "Cleo", 2)
        assert empty.raw.path(told["manifest"]).read_bytes() == first[MANIFEST]
        assert empty.raw.path(told["history"]).read_bytes() == first[HISTORY]
        at = [json.loads(line)["at"] for line in first[HISTORY].splitlines()]
        assert [one.at for one in session.query(Event).order_by(Event.id)][:-1] == at
    assert not (empty.raw.folder / JOURNAL).exists()
    with empty.database.writing() as session:
        more = StoredDay(name="one more", date=None, content_sha256="0" * 64, sent_as="")
        session.add(more)
        session.flush()
        assert more.id == 3  # numbers go on after those that came


def test_its_pages_work_in_the_new_archive(site: Site, season: Path, tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data"), {**KINDS, **UNPACK_KINDS})
    with client_of(app) as client:
        page = client.get("/season/pack").text
        assert "a packed season can be unpacked into this archive" in page
        broken = ("a.zip", b"PK\x03\x04 no season", "application/zip")
        refused = client.post("/season/unpack", files={"season_zip": broken})
        job = refused.headers["location"].rpartition("/")[2]
        ended = wait_for(lambda: (one := client.get(f"/api/jobs/{job}").json())["finished_at"] and one, 90)
        assert ended["state"] == "failed"
        assert "a.zip is no zip that can be read" in ended["error"]
        sent = client.post("/api/season.zip?name=season.zip", content=season.read_bytes(), headers={
            "Content-Type": "application/zip", "X-Stillair-Who": "Cleo"})  # fmt: skip
        job = sent.json()["job_id"]
        ended = wait_for(lambda: (one := client.get(f"/api/jobs/{job}").json())["finished_at"] and one, 90)
        assert ended["state"] == "done", ended
        assert client.get(f"/jobs/{job}").headers["location"] == "/"
        for address in ("/", "/days/1", "/days/1/result", "/days/1/tufts", "/correlation", "/history"):
            assert client.get(address).status_code == 200, address
        assert STATEMENT in client.get("/days/1/sign-off").text
        assert client.get("/api/days/1/result").json() == site.client.get("/api/days/1/result").json()
        assert client.get("/api/days/1/photos").json() == site.client.get("/api/days/1/photos").json()
        there = client.post("/season/unpack", files={"season_zip": ("b.zip", season.read_bytes(), "application/zip")})
        assert there.status_code == 422
        assert "this one holds 2 test days (“Long apron”, “Second: wet”)" in there.text


def test_one_season_of_several(site: Site, empty: Archive, tmp_path: Path) -> None:
    zip_2026 = packed_again(site.app.state.archive, tmp_path / "one", 2026)
    assert zip_2026.name == "season 2026.zip"
    assert unpacked_into(empty, zip_2026, tmp_path) == 1
    assert list(faults(empty)) == []  # type: ignore[arg-type]  # an open archive has all that is looked at
    first, second = contents(zip_2026), contents(packed_again(empty, tmp_path / "again", 2026))
    same = {name for name in first if first[name] == second.get(name)}
    assert {"tables/correlation.csv", "tables/results.csv", "tables/events.csv"} <= same
    assert [name for name in first if name.startswith("days/") and name not in same] == []
    with pytest.raises(StillairError, match="nothing to pack"):
        pack(site.app.state.archive, tmp_path, 1999)
    slip = site.client.get("/season/packed.zip?year=202O")
    assert (slip.status_code, "calendar year of four digits" in slip.text) == (404, True)


def test_every_table_is_carried_or_said_not_to_be() -> None:
    """A table that is new must be thought of: carried, or told of in what is not."""
    of_this_archive = {"accounts", "invitations", "program_tokens", "sign_ins", "jobs", "kept_entries", "uploads"}
    made_anew = {"raw_files", "events", "revision_facts", "prediction_drafts"}
    carried = {table.__tablename__ for table in TABLES}
    assert set(Base.metadata.tables) == carried | of_this_archive | made_anew


def test_an_archive_that_holds_days_is_left_alone(site: Site, season: Path, tmp_path: Path) -> None:
    before = site.client.get("/api/events/head").json()
    with pytest.raises(StillairError, match="this one holds 2 test days"):
        unpacked_into(site.app.state.archive, season, tmp_path)
    assert site.client.get("/api/events/head").json() == before
    assert list(faults(site.app.state.archive)) == []  # no file of its own was let go of


KILLED = """
import os, sys
from pathlib import Path
from server.archive.archive import Archive
from server.packing import bringing
from server.packing.unpacking import unpack
archive = Archive(Path(sys.argv[1]))
archive.open()
folder = archive.scratch / "apart"
folder.mkdir()
unpacked = unpack(Path(sys.argv[2]), folder, lambda *_: None)
bringing.{where} = lambda *_, **__: os._exit(9)
bringing.bring(archive, unpacked, "Cleo")
"""


@pytest.mark.parametrize("where", ["_check", "strike_out"])
def test_killed_in_the_middle_it_leaves_nothing_or_all(season: Path, tmp_path: Path, where: str) -> None:
    """Before the commit nothing of it is there at the next start; after it all of it is."""
    data = tmp_path / "data"
    code = KILLED.format(where=where)
    done = subprocess.run(
        [sys.executable, "-c", code, str(data), str(season)], cwd=ROOT, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.returncode == 9, done.stderr.decode()
    assert (data / "raw" / JOURNAL).is_file()
    archive = Archive(data)
    archive.open()
    sweep_unpacked(archive)
    if where == "_check":
        assert nothing_kept(archive)
    else:
        with archive.database.reading() as session:
            assert len(results_of(session, 1)) >= 1
        assert list(faults(archive)) == []  # type: ignore[arg-type]  # an open archive has all that is looked at
    archive.close()


def test_what_came_is_safe_on_disk_before_anybody_is_told(
    season: Path, empty: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The zip before its job, a file before the row that names it: by the inodes that were brought to the disk."""
    safe: set[int] = set()
    to_disk = os.fsync

    def noted(descriptor: int) -> None:
        safe.add(os.fstat(descriptor).st_ino)
        to_disk(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    with season.open("rb") as content:
        job = queue_unpacking(empty, season.name, content, "Cleo")
    assert (empty.incoming(job) / season.name).stat().st_ino in safe
    unpacked_into(empty, season, tmp_path)
    with empty.database.reading() as session:
        kept = list(session.scalars(select(RawFile.sha256)))
    assert [sha256 for sha256 in kept if empty.raw.path(sha256).stat().st_ino not in safe] == []


def test_a_failure_in_the_middle_keeps_nothing(
    season: Path, empty: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bringing, "_check", full)
    with pytest.raises((OSError, StillairError)):
        unpacked_into(empty, season, tmp_path)
    assert nothing_kept(empty)


def test_a_kept_file_that_was_altered_is_not_packed(season: Path, empty: Archive, tmp_path: Path) -> None:
    unpacked_into(empty, season, tmp_path)
    with empty.database.reading() as session:
        sha256 = results_of(session, 2)[0].sha256
    file = empty.raw.path(sha256)
    file.chmod(0o644)
    file.write_bytes(file.read_bytes() + b" ")
    with pytest.raises(StillairError, match="are not those that were kept"):
        packed_again(empty, tmp_path / "again")
    assert not list((tmp_path / "again").glob("*.zip"))
    looked_at = ReadOnlyArchive(empty.folder)
    assert any(sha256 in fault for fault in faults(looked_at))
    looked_at.close()


@pytest.mark.skipif(os.name == "nt", reason="Windows stores no such names")
def test_names_that_only_some_systems_store_come_back_where_they_can_be_stored(empty: Archive, tmp_path: Path) -> None:
    """A folder that was imported from this computer may hold them; a zip of a day from anywhere may not."""
    source = Archive(tmp_path / "source")
    source.open()
    (tmp_path / "day").mkdir()
    for name, words in {"testday.toml": SMALL_DAY, "aux.csv": "a", "run 1: out.txt": "b", "notes ": "c"}.items():
        (tmp_path / "day" / name).write_text(words)
    with source.database.writing() as session:
        keep_day(source, session, IncomingDay("Long apron", None, tmp_path / "day", "folder"))
    assert unpacked_into(empty, packed_again(source, tmp_path / "packed"), tmp_path) == 1
    with empty.database.reading() as session:
        assert {"aux.csv", "run 1: out.txt", "notes "} <= set(revision_files(session, 1))
    source.close()
