"""A burst from the camera to a reading: frames known by their times, read together, proposals taken over."""

import io
import re
from collections.abc import Iterator

import numpy as np
import pytest
from PIL import Image

from tests.tufts import made_photos
from tests.tufts.bursts import Burst, burst
from tests.tufts.scene import Scenario
from tests.tufts.tuft_site import add, faults_of, photos, readings, tuft_site
from tests.web.conftest import Site
from tests.web.serving import wait_for

VIEW = {"part": "rear wing", "view": "left rear"}
DRAWN = Scenario(width=640, height=480, parts=1, length_px=48.0, aspect=13.0, noise=2.0, blur_px=0.7)


@pytest.fixture(scope="module")
def drawn() -> Burst:
    return burst(DRAWN, 2_725_901, 4)


def as_file(picture: np.ndarray, seconds: int) -> bytes:
    out = io.BytesIO()
    taken = made_photos.exif(taken=f"2026:05:09 09:25:{seconds:02}")
    Image.fromarray(picture).save(out, "JPEG", quality=93, exif=taken)
    return out.getvalue()


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory, drawn: Burst) -> Iterator[Site]:
    """Four frames within seconds, one photo a minute later, one without flow; the burst is read."""
    with tuft_site(tmp_path_factory.mktemp("burst")) as site:
        files = [(f"f{k}.jpg", as_file(one, 10 + k // 2)) for k, one in enumerate(drawn.frames)]
        assert add(site, [*files, ("later.jpg", as_file(drawn.frames[0][::-1], 59))], **VIEW)["state"] == "done"
        assert add(site, [("still.jpg", as_file(drawn.still, 40))], **VIEW)["state"] == "done"
        still = next(one["id"] for one in photos(site) if one["name"] == "still.jpg")
        assert site.client.post(f"/api/days/1/photos/{still}", json={"standing": True}).status_code == 200
        lead = photos(site)[0]["id"]
        answer = site.client.post(f"/days/1/tufts/{lead}/burst")
        assert answer.status_code == 303
        wait_for(lambda: not {"queued", "running"} & {one["state"] for one in site.client.get("/api/jobs").json()}, 180)
        assert "Take the ticked ones over" in site.client.get(f"/days/1/tufts/{lead}/burst").text
        yield site


def lead_of(site: Site) -> int:
    return int(photos(site)[0]["id"])


def test_frames_of_one_view_taken_within_seconds_are_one_burst(read: Site) -> None:
    bursts = {one["name"]: one["burst"] for one in photos(read)}
    assert len({bursts[f"f{k}.jpg"] for k in range(4)}) == 1
    assert bursts["f0.jpg"] != ""
    assert bursts["later.jpg"] == bursts["still.jpg"] == ""
    day = read.client.get("/days/1/tufts").text
    assert day.count("f0.jpg") + day.count(f"tufts/{lead_of(read)}\"") > 0
    assert f"/days/1/tufts/{lead_of(read) + 1}\"" not in day, "a burst stands as its first frame"


def test_what_swings_and_what_holds_still_is_told(read: Site, drawn: Burst) -> None:
    text = read.client.get(f"/days/1/tufts/{lead_of(read)}/burst").text
    rows = re.findall(r'name="take".*?</tr>', text, re.S)
    assert len(rows) > 0.6 * len(drawn.tufts)
    assert "still.jpg" in text
    assert text.count("tuft-fan") == len(rows)
    spreads = [float(re.search(r'<td class="number">([\d.]+) \(', row)[1]) for row in rows]
    assert spreads == sorted(spreads, reverse=True)
    proposed = re.findall(r' selected>(\w+)</option>', "".join(rows))
    assert {"attached", "unsteady"} <= set(proposed)


def test_what_a_person_takes_over_is_theirs(read: Site) -> None:
    lead = lead_of(read)
    text = read.client.get(f"/days/1/tufts/{lead}/burst").text
    ticked = re.findall(r'name="take" value="(\w+)"[^>]* checked', text)[:3]
    chosen = [f"{ticked[0]} separated", f"{ticked[1]} attached"]
    answer = read.client.post(f"/days/1/tufts/{lead}/burst/accept", data={"take": ticked, "condition": chosen})
    assert answer.status_code == 303
    mine = readings(read, lead)["Ana"]
    assert {(one["mark"], one["condition"]) for one in mine} == {
        (ticked[0], "separated"), (ticked[1], "attached"), (ticked[2], ""),
    }  # fmt: skip
    assert all(one["by"] == "machine" for one in mine)
    none = read.client.post(f"/days/1/tufts/{lead}/burst/accept", data={"condition": chosen})
    assert none.status_code == 422
    assert "Tick the tufts" in none.text
    assert faults_of(read) == []


def test_three_frames_are_the_fewest(read: Site) -> None:
    later = next(one["id"] for one in photos(read) if one["name"] == "later.jpg")
    refused = read.client.post(f"/days/1/tufts/{later}/burst")
    assert refused.status_code == 422
    assert "at least 3 photos" in refused.text


def test_a_person_may_say_what_a_burst_is(read: Site) -> None:
    """Sent together they are one whatever the clock says; on its page a photo leaves it."""
    files = [(f"t{k}.jpg", made_photos.jpeg(seed=60 + k, taken="2026:05:09 09:50:00")) for k in range(3)]
    assert add(read, files, **{**VIEW, "view": "top"}, burst="apart")["state"] == "done"
    assert {one["burst"] for one in photos(read) if one["name"].startswith("t")} == {""}
    files = [(f"u{k}.jpg", made_photos.jpeg(seed=70 + k, taken=f"2026:05:09 09:5{k}:00")) for k in range(3)]
    assert add(read, files, **{**VIEW, "view": "under"}, burst="together")["state"] == "done"
    named = {one["burst"] for one in photos(read) if one["name"].startswith("u")}
    assert len(named) == 1
    assert named != {""}
