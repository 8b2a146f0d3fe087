"""Photos come into a day: several at once, sorted by the camera's clock, refused one by one; what is served is bare."""

from __future__ import annotations

import hashlib
import io
import os
import re
from typing import Any

import pytest
from PIL import Image

from server.archive.jobs import find_job
from tests.tufts import made_photos as made
from tests.tufts.tuft_site import add, faults_of, photo, photos, send
from tests.web.conftest import Site
from tests.web.serving import wait_for

ANSWER = re.compile(r"/days/1/tufts/adding/(\w+)")


def of(site: Site, **wanted: Any) -> dict[str, Any]:
    return next(one for one in photos(site) if all(one[name] == value for name, value in wanted.items()))


def test_several_at_once_find_their_runs_by_the_cameras_clock(shared: Site) -> None:
    files = [
        ("early.jpg", made.jpeg(taken="2026:05:09 09:25:00", seed=1)),
        ("late.jpg", made.jpeg(taken="2026:05:09 09:50:00", seed=2)),
        ("before.jpg", made.jpeg(taken="2026:05:09 08:00:00", seed=3)),
        ("another day.jpg", made.jpeg(taken="2026:05:10 09:25:00", seed=4)),
        ("no clock.png", made.saved(made.picture(), "PNG")),
        ("phone.heic", made.HEIC),
    ]
    add(shared, files, part="rear wing", view="left rear")
    runs = {one["name"]: one["run"] for one in photos(shared) if one["part"] == "rear wing"}
    assert {name for name, run in runs.items() if run is None} == {"before.jpg", "another day.jpg", "no clock.png"}
    assert (runs["early.jpg"], runs["late.jpg"], runs["phone.heic"]) == (1, 2, 2)
    assert {one["name"]: one["setup"] for one in photos(shared)}["late.jpg"] == "B"
    assert len(runs) == len(files)
    assert faults_of(shared) == []


def test_a_wrong_clock_is_said_once(shared: Site) -> None:
    add(shared, [("a.jpg", made.jpeg(taken="2026:05:09 10:25:00", seed=11))])
    add(shared, [("b.jpg", made.jpeg(taken="2026:05:09 10:50:00", seed=12))], run=1)
    assert (of(shared, name="a.jpg")["run"], of(shared, name="b.jpg")["run"]) == (None, 1)
    said = {"camera": made.CAMERA, "ahead": "60"}
    assert shared.client.post("/days/1/tufts/clock", data=said).status_code == 303
    assert of(shared, name="a.jpg")["run"] == 1
    assert of(shared, name="b.jpg")["run"] == 1, "what a person said stays"
    add(shared, [("c.jpg", made.jpeg(taken="2026:05:09 10:51:00", seed=13))])
    assert of(shared, name="c.jpg")["run"] == 2
    assert shared.client.post("/days/1/tufts/clock", data={"camera": "x", "ahead": "soon"}).status_code == 422
    assert faults_of(shared) == []


def test_what_is_no_picture_is_told_and_the_others_are_kept(shared: Site) -> None:
    files = [("good.jpg", made.jpeg(seed=21)), ("huge.png", made.huge_png()), ("drawn.jpg", made.SVG)]
    uploads = [send(shared.client, name, content) for name, content in files]
    answer = shared.client.post("/days/1/tufts", data={"upload_id": uploads, "part": "floor"})
    assert answer.status_code == 303
    place = answer.headers["location"]
    job = ANSWER.search(place)
    assert job

    def told() -> str:
        page = shared.client.get(place).text
        return page if "could not be taken" in page else ""

    page = wait_for(told, 60)
    assert "2 files could not be taken; 1 photo was added." in page
    assert "huge.png has 500 million pixels; at most 160 million can be shown." in page
    assert "drawn.jpg is a drawing (SVG), not a photo" in page
    assert not {"huge.png", "drawn.jpg"} & {one["name"] for one in photos(shared)}
    assert of(shared, name="good.jpg")["part"] == "floor"
    with shared.app.state.archive.database.reading() as session:
        assert find_job(session, job.group(1)).state == "done"
    assert faults_of(shared) == []


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"run": "7"}, "This day has no run 7."),
        ({"run": "two"}, "“two” is no number of a run."),
        ({"setup": "Z"}, "This day has no setup “Z”."),
        ({"kind": "film"}, "“film” is no kind of picture"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_changes(shared: Site, fields: dict[str, str], said: str) -> None:
    before = shared.client.get("/api/events/head").json()
    upload = send(shared.client, "x.jpg", made.jpeg(seed=9))
    received = shared.client.get("/api/events/head").json()
    answer = shared.client.post("/days/1/tufts", data={"upload_id": upload, "part": "floor", **fields})
    assert answer.status_code == 422
    assert said in answer.text
    assert 'value="floor"' in answer.text, "what was typed is not lost"
    assert shared.client.get("/api/events/head").json() == received != before


def test_without_scripts_the_files_come_with_the_form(shared: Site) -> None:
    files = [("files", ("one.jpg", made.jpeg(seed=31))), ("files", ("two.jpg", made.jpeg(seed=32)))]
    answer = shared.client.post("/days/1/tufts", data={"part": "nose"}, files=files)
    assert answer.status_code == 303
    wait_for(lambda: sum(one["part"] == "nose" for one in photos(shared)) == 2, 60)
    assert shared.client.post("/days/1/tufts", data={"part": "floor"}).status_code == 422


def test_the_same_file_twice_is_one_photo(shared: Site) -> None:
    number = photo(shared, seed=41)
    count = len(photos(shared))
    job = add(shared, [("again.jpg", made.jpeg(seed=41))])
    assert job["state"] == "done"
    assert len(photos(shared)) == count
    with shared.app.state.archive.database.reading() as session:
        answer = find_job(session, job["id"]).payload["answer"]
    assert answer == {"problems": [f"again.jpg is here already as photo {number}, not added again."], "photos": []}


def test_what_is_served_is_made_of_pixels_alone(shared: Site) -> None:
    number = photo(shared, "secret place.jpg", seed=44)
    for size in ("list", "screen", "near", "full"):
        answer = shared.client.get(f"/days/1/tufts/{number}/picture/{size}")
        assert answer.headers["content-type"] == "image/jpeg"
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert "default-src 'self'" in answer.headers["content-security-policy"]
        assert b"Field 3" not in answer.content
        with Image.open(io.BytesIO(answer.content)) as image:
            assert not image.getexif()
    assert shared.client.get(f"/days/1/tufts/{number}/picture/other").status_code == 404
    assert shared.client.get(f"/days/2/tufts/{number}/picture/full").status_code == 404


def test_the_file_as_it_came_is_handed_out_on_purpose(shared: Site) -> None:
    number = photo(shared, "mine.jpg", seed=45)
    page = shared.client.get(f"/days/1/tufts/{number}/original")
    assert "it may hold where it was taken" in page.text
    answer = shared.client.get(f"/days/1/tufts/{number}/original?take=true")
    by_hash = f"/api/files/{hashlib.sha256(answer.content).hexdigest()}"
    refused = shared.client.get(by_hash)
    assert refused.status_code == 422
    assert "it may hold where it was taken" in refused.json()["error"]
    assert shared.client.get(f"{by_hash}?take=true").content == answer.content
    assert answer.content == made.jpeg(seed=45)
    assert answer.headers["content-disposition"].startswith("attachment")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-security-policy"] == "sandbox"


def test_a_photo_waits_for_no_fit(shared: Site) -> None:
    """Where the quick lane is busy the photo goes the other way."""
    from server.archive.jobs import add_job
    from server.tufts.adding_job import free_lane

    archive = shared.app.state.archive
    with archive.database.writing() as session:
        assert free_lane(session) == "quick"
        add_job(session, "fit-day", "a fit", {}, "busy")
        assert free_lane(session) == "long"
        session.rollback()


def test_names_of_files_lead_nowhere(shared: Site) -> None:
    add(shared, [("../../etc/pass\u202ewd.jpg", made.jpeg(seed=51))], part="<script>alert(1)</script>")
    one = of(shared, part="<script>alert(1)</script>")
    assert one["path"].startswith("tufts/")
    assert ".." not in one["path"]
    assert os.path.normpath(one["path"]) == one["path"]
    page = shared.client.get("/days/1/tufts").text + shared.client.get(f"/days/1/tufts/{one['id']}").text
    assert "<script>alert(1)" not in page
