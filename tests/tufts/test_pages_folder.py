"""A day with photos, marks, stations and views as a folder, into another archive, and back: nothing is lost."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any

from server.days.revisions import newest_day
from server.testday.tufts import PointPair, TuftStation
from server.tufts import changing
from server.tufts.folder import day_tufts
from server.tufts.service import find_photo
from tests.tufts import made_photos as made
from tests.tufts.tuft_site import entry, faults_of, mark, photo, photos, send, tuft_site
from tests.web.conftest import Site
from tests.web.serving import wait_for


def filled(site: Site) -> None:
    number = photo(site, "one.jpg", run=2)
    photo(site, "cfd.jpg", seed=9, kind="prediction", view="", setup="B")
    mark(site, number, entry(3.25, 4, direction_rad=0.5, condition="attached", station="r1"), entry(8, 9))
    mark(site, number, entry(3.5, 4, condition="reversed"), reader="Ben")
    archive = site.app.state.archive
    with archive.database.writing() as session:
        _, day = newest_day(archive, session, 1)
        stations = [TuftStation("rear wing", "r1", 0.1, 0.2, 0.3, "attached"), TuftStation("rear wing", "r2", 0.2, 0.2)]
        changing.set_stations(session, day, 1, stations, who="Ana")
        pairs = [PointPair(x, y, 90 * x, 60 * y) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1))]
        changing.set_view(session, find_photo(session, day, 1, number), pairs, who="Ana")


def folder_of(site: Site, day: int, query: str = "") -> dict[str, bytes]:
    content = site.client.get(f"/days/{day}/folder.zip{query}").content
    with zipfile.ZipFile(io.BytesIO(content)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made_zip:
        for name, content in files.items():
            made_zip.writestr(name, content)
    return out.getvalue()


def brought(site: Site, files: dict[str, bytes]) -> int:
    """A zipped folder added as a day; its photos have come, too. Gives the day."""
    upload = send(site.client, "day.zip", zipped(files))
    job = site.client.post("/api/days", json={"upload_id": upload}).json()["job_id"]
    wait_for(lambda: site.client.get(f"/api/jobs/{job}").json()["state"] == "done", 60)
    wait_for(lambda: all(one["state"] == "done" for one in site.client.get("/api/jobs").json()), 60)
    return int(max(one["id"] for one in site.client.get("/api/days").json()))


def tufts_of(site: Site, day: int) -> Any:
    with site.app.state.archive.database.reading() as session:
        return day_tufts(session, day)


def test_a_day_goes_out_and_comes_in_elsewhere_with_all_its_tufts(site: Site, tmp_path: Path) -> None:
    filled(site)
    files = folder_of(site, 1)
    assert files["tufts/one.jpg"] == made.jpeg(seed=0), "the file as it came"
    assert {"tufts.csv", "tufts/marks.csv", "tufts/stations.csv", "tufts/views.csv", "tufts/cfd.jpg"} <= set(files)
    assert not any(name.startswith("tufts") for name in folder_of(site, 1, "?revision=1")), "as it stood before"
    (tmp_path / "other").mkdir()
    with tuft_site(tmp_path / "other") as other:
        day = brought(other, files)
        assert day == 2
        assert tufts_of(other, day) == tufts_of(site, 1)
        assert folder_of(other, day) == files
        assert faults_of(other) == []
        assert len(other.client.get("/api/days/2/photos").json()) == 2
        assert "run 2, left rear: 2 tufts by Ana" in other.client.get("/days/2/tufts").text


def test_photos_that_a_folder_only_holds_are_photos(site: Site) -> None:
    files = folder_of(site, 1)
    more = {
        **files,
        "testday.toml": files["testday.toml"].replace(b"Long apron", b"Short apron"),
        "tufts/x.jpg": made.jpeg(seed=5),
        "tufts/broken.jpg": b"no picture",
        "tufts/marks.csv": b"photo,x_px,y_px\nx.jpg,5,6\nx.jpg,5000,6\n",
    }
    day = brought(site, more)
    told = site.client.get(f"/api/days/{day}/photos").json()
    assert [(one["path"], one["run"]) for one in told] == [("tufts/x.jpg", 2)], "by its clock"
    assert faults_of(site) == []
    assert photos(site) == []
    page = site.client.get(f"/days/{day}/tufts").text
    assert "broken.jpg is no picture" in page
    assert "1 of the marks of “as the folder had them” lie outside x.jpg and were left out." in page
    assert "1 marked, 1 tuft" in page
