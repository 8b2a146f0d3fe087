"""A season out and into an empty archive: the same folders and tables, a clean check, and what is refused."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from server.app import create_app
from server.archive.archive import Archive
from server.archive.database import Base
from server.archive.read_only import ReadOnlyArchive
from server.archive.tables import Event, RawFile
from server.days.changes import Change, change_run
from server.days.revisions import revise_day
from server.days.service import newest_revision
from server.errors import StillairError
from server.history.verify import faults
from server.packing import bringing
from server.packing.bring_job import UNPACK_KINDS, queue_unpacking
from server.packing.bringing import JOURNAL, bring, sweep_unpacked
from server.packing.carried import TABLES
from server.packing.season_zip import HISTORY, MANIFEST, ROWS, pack, write_zip
from server.packing.unpacking import unpack
from server.results.service import keep_result, results_of, write_result
from server.settings import Settings
from server.testday.values import Day
from tests.analysis.correlated_days import measured_day
from tests.correlation.measured_sites import AREAS, CAR, keep_measured, usual_cases
from tests.imports import ROOT
from tests.tufts.tuft_site import KINDS, entry, mark, photo
from tests.web.conftest import Site
from tests.web.serving import client_of, wait_for

ANA = {"X-Stillair-Who": "Ana"}
STATEMENT = "Calm morning, four pairs each: good enough to choose the flap by."
TAPS = "setup,tap,cp,u\nA,F2,-0.9,0.02\n"


def silent(_part: float, _text: str) -> None:
    """Nobody listens."""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Two days of a car in two years, with all that a season can hold."""
    folder = tmp_path_factory.mktemp("season")
    app = create_app(Settings(data_folder=folder / "data"), {**KINDS, **UNPACK_KINDS})
    with client_of(app) as client:
        client.cookies.set("who", "Ana")
        made, archive = Site(app, client, folder / "data"), app.state.archive
        result = measured_day(AREAS, rel_u=0.012)[1]
        keep_measured(archive, result, folder / "days", usual_cases())
        again = [dataclasses.replace(one, source="meshed anew") for one in usual_cases() if one.setup in "AB"]
        keep_measured(archive, result, folder / "more", again, name="Second: wet", date="2025-06-20")
        fill(made, folder)
        yield made


def remarked(day: Day) -> Change:
    """A change that no fit sees."""
    return dataclasses.replace(change_run(day, 1, notes="a gust at the end"), kind="run-remarked")


def fill(site: Site, folder: Path) -> None:
    client, archive = site.client, site.app.state.archive
    first, second = photo(site), photo(site, "two.jpg", 5)
    key = entry(30.0, 20.0, direction_rad=0.4, condition="attached")
    mark(site, first, key)
    mark(site, first, {**entry(31.0, 21.0, direction_rad=0.5), "mark": key["mark"]}, reader="Bo")
    assert client.post(f"/api/days/1/photos/{second}", json={"notes": "out of focus"}).status_code == 200
    sent = {"car": CAR, "setup": "C", "quantity": "SCx", "stance": "doubted", "text": "Look again."}
    note = client.post("/api/correlation/decisions", json=sent, headers=ANA).json()
    later = sent | {"stance": "explained", "text": "The mesh.", "supersedes": note["id"]}
    assert client.post("/api/correlation/decisions", json=later, headers=ANA).status_code == 201
    assert client.post("/api/correlation/taps", json={"day_id": 1, "table": TAPS}, headers=ANA).status_code == 201
    client.post("/api/correlation/margins", json={"car": CAR, "total": 0.07, "reason": "a wet year"}, headers=ANA)
    client.put("/api/predictions/matching", json={"car": CAR, "setups": {"B": "C"}}, headers=ANA)
    client.post("/api/predictions/2/withdraw", json={"reason": "meshed too coarsely"}, headers=ANA)
    assert client.post("/days/1/sign-off", data={"statement": STATEMENT}, headers=ANA).status_code == 303
    revise_day(archive, 1, remarked, who="Ana", reason="asked the driver")
    client.post("/days/1/sign-off/amend", data={"reason": "The scales were wrong."}, headers=ANA)
    write_result(dataclasses.replace(measured_day(AREAS, rel_u=0.02)[1], version="0.0.9"), folder / "old.zip")
    with archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, 2), folder / "old.zip", who="Bo")


@pytest.fixture(scope="module")
def season(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The zip of all of it, as the page sends it."""
    answer = site.client.get("/season/packed.zip")
    assert answer.headers["content-type"] == "application/zip", answer.text
    file = tmp_path_factory.mktemp("packed") / "season.zip"
    file.write_bytes(answer.content)
    assert not list((site.folder / "scratch").glob("packing-*"))
    return file


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Archive]:
    archive = Archive(tmp_path / "new")
    archive.open()
    yield archive
    archive.close()


def unpacked_into(archive: Archive, file: Path, scratch: Path) -> int:
    folder = scratch / "apart"
    folder.mkdir()
    return bring(archive, unpack(file, folder, silent), "Cleo")


def contents(file: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(file) as made:
        return {name: made.read(name) for name in made.namelist()}


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


def test_every_table_is_carried_or_said_not_to_be() -> None:
    """A table that is new must be thought of: carried, or told of in what is not."""
    of_this_archive = {"accounts", "invitations", "program_tokens", "sign_ins", "jobs", "kept_entries", "uploads"}
    made_anew = {"raw_files", "events", "revision_facts", "prediction_drafts"}
    carried = {table.__tablename__ for table in TABLES}
    assert set(Base.metadata.tables) == carried | of_this_archive | made_anew


Alter = Callable[[dict[str, bytes]], None]


def rewritten(season: Path, target: Path, change: Alter, *, seal: bool = False) -> Path:
    """The season with something else in it; seal: the manifest tells of it, as somebody who tampers would see to."""
    held = contents(season)
    change(held)
    if seal:
        manifest = json.loads(held[MANIFEST])
        manifest["files"] = {
            path: {"sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data)}
            for path, data in held.items()
            if path != MANIFEST
        }
        held[MANIFEST] = json.dumps(manifest).encode()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as made:
        for name, data in held.items():
            made.writestr(name, data)
    return target


TOML = "days/2026-05-09 Long apron/testday.toml"


def altered_row(held: dict[str, bytes]) -> None:
    held[ROWS] = held[ROWS].replace(b'"The mesh."', b'"The wind."')


def altered_event(held: dict[str, bytes]) -> None:
    held[HISTORY] = held[HISTORY].replace(b"asked the driver", b"told the driver!")


def without(path: str) -> Alter:
    return lambda held: held.pop(path) and None


def with_file(path: str, data: bytes) -> Alter:
    return lambda held: held.update({path: data})


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


def nothing_kept(archive: Archive) -> bool:
    with archive.database.reading() as session:
        rows = session.query(Event).count() + session.query(RawFile).count()
    return rows == 0 and not [one for one in archive.raw.folder.rglob("*") if one.is_file()]


def test_a_zip_that_breaks_off(season: Path, empty: Archive, tmp_path: Path) -> None:
    (tmp_path / "season.zip").write_bytes(season.read_bytes()[:-5000])
    with pytest.raises(StillairError, match=r"season.zip is no zip that can be read"):
        unpacked_into(empty, tmp_path / "season.zip", tmp_path)
    with pytest.raises(StillairError, match="no zip"):
        queue_unpacking(empty, "a.txt", io.BytesIO(b"hello"), "Cleo")


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


@pytest.mark.parametrize("where", ["_check", "sweep_unpacked"])
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
