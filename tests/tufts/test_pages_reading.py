"""A photo read by the program: proposals that nobody stands behind until a person accepts them."""

from __future__ import annotations

import io
import math
from typing import Any

import pytest
from PIL import Image

from server.analysis import sample_tufts as sample
from tests.tufts import made_photos as made
from tests.tufts.tuft_site import add, entry, faults_of, mark, photos, readings
from tests.web.conftest import Site
from tests.web.serving import wait_for


@pytest.fixture(scope="module")
def number(shared: Site) -> int:
    out = io.BytesIO()
    Image.fromarray(sample.photo("A")).save(out, "JPEG", quality=85)
    add(shared, [("wing.jpg", out.getvalue())], part=sample.PART, view=sample.VIEW, run=1)
    return int(photos(shared)[0]["id"])


def read(site: Site, number: int) -> None:
    answer = site.client.post(f"/days/1/tufts/{number}/read", headers={"HX-Request": "true"})
    assert answer.status_code == 200
    there = answer.text.split('hx-get="')[1].split('"')[0]
    wait_for(lambda: site.client.get(there, headers={"HX-Request": "true"}).headers.get("HX-Refresh"), 120)


def near(kept: list[dict[str, Any]], x: float, y: float) -> dict[str, Any]:
    return min(kept, key=lambda one: math.hypot(one["x_px"] - x, one["y_px"] - y))


def test_proposals_lie_on_the_tufts_that_were_drawn(shared: Site, number: int) -> None:
    """The made-up wing, whose tufts are known: nearly all of the straight ones, where they are and point."""
    mark(shared, number, entry(5, 5))
    read(shared, number)
    found = readings(shared, number)["Stillair"]
    straight = [one for one in sample.tufts("A") if one.condition == "attached"]
    hits = 0
    for one in straight:
        x, y = sample.seen(one.station.x_m, one.station.y_m)
        ahead = sample.seen(
            one.station.x_m + 0.01 * math.cos(one.direction_rad), one.station.y_m + 0.01 * math.sin(one.direction_rad)
        )
        way = math.atan2(ahead[1] - y, ahead[0] - x)
        proposal = near(found, x, y)
        turned = abs(math.remainder(proposal["direction_rad"] - way, math.tau))
        hits += math.hypot(proposal["x_px"] - x, proposal["y_px"] - y) < 12 and turned < 0.15
    assert hits >= 0.8 * len(straight)
    assert len(found) <= len(sample.tufts("A"))
    assert {one["by"] for one in found} == {"machine"}
    assert {one["condition"] for one in found} == {""}
    assert len(readings(shared, number)["Ana"]) == 1, "what people marked is not touched"
    page = shared.client.get(f"/days/1/tufts/{number}").text
    assert f"Accept all {len(found)}" in page
    assert "<h3>Stillair</h3>" not in page, "a proposal is nobody's reading"
    assert faults_of(shared) == []


def test_read_again_the_new_proposals_take_the_place_of_the_old(shared: Site, number: int) -> None:
    read(shared, number)
    first = {one["mark"] for one in readings(shared, number)["Stillair"]}
    read(shared, number)
    again = {one["mark"] for one in readings(shared, number)["Stillair"]}
    assert len(again) == len(first)
    assert not again & first
    assert faults_of(shared) == []


def test_a_photo_without_tufts_is_said_to_have_none(shared: Site) -> None:
    add(shared, [("bare.jpg", made.jpeg(made.picture(640, 480), seed=6))], part="nose", run=2)
    bare = next(one["id"] for one in photos(shared) if one["name"] == "bare.jpg")
    read(shared, bare)
    assert readings(shared, bare) == {}
    assert "nothing on this photo that looks like a tuft" in shared.client.get(f"/days/1/tufts/{bare}").text


def test_a_reading_belongs_to_its_photo(shared: Site, number: int) -> None:
    assert shared.client.get(f"/days/1/tufts/{number}/reading/nobody").status_code == 404
    assert shared.client.post("/days/1/tufts/99/read").status_code == 404
