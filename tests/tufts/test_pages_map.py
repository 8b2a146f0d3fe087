"""The map of a part, its numbers, stations from an earlier day; and the same as JSON: held against what was made."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import pytest

from tests.tufts import made_photos as made
from tests.tufts.test_pages_agreement import GRID, on_picture, predicted, seen_angle
from tests.tufts.tuft_site import entry, faults_of, mark, photo, photos
from tests.web.conftest import Site
from tests.web.day_site import DAY, keep
from tests.web.serving import wait_for

PART, VIEW = "rear wing", "left rear"
TURNED = {"A": 0.3, "B": -0.2}


@pytest.fixture(scope="module")
def marked(shared: Site) -> Site:
    """A photo of each setup, its part placed, every tuft turned by as much; all of it through JSON."""
    plain = [{"part": PART, "name": f"s{k}", "x_m": x, "y_m": y} for k, (x, y) in enumerate(GRID)]
    stations = [{**one, "direction_rad": way, "condition": condition}
                for one, (way, condition) in zip(plain, map(predicted, range(len(GRID))), strict=True)]  # fmt: skip
    answer = shared.client.post("/api/days/1/tuft-stations", json={"stations": stations, "source": "a drawing"})
    assert answer.status_code == 200, answer.text
    for run, setup in ((1, "A"), (2, "B")):
        number = photo(shared, f"{setup}.jpg", seed=run, part=PART, view=VIEW, run=run)
        for k, (x, y) in enumerate(GRID):
            way = seen_angle(x, y, predicted(k)[0] + TURNED[setup])
            px, py = on_picture(x, y)
            told = {"direction_rad": way, "condition": "attached", "station": f"s{k}"}
            mark(shared, number, entry(px / 20, py / 20, **told), reader="Ana")
    few = {"points": corners()["points"][:3]}
    refused = shared.client.post(f"/api/days/1/photos/{number}/points", json=few)
    assert "at least four" in refused.json()["error"]
    assert shared.client.post(f"/api/days/1/photos/{number}/points", json=corners()).status_code == 200
    return shared


def corners() -> dict[str, list[dict[str, float]]]:
    """Four corners, on a photo of a twentieth of the size."""
    places = [(x, y, *on_picture(x, y)) for x, y in ((0.0, 0.0), (1.0, 0.0), (1.0, 0.5), (0.0, 0.5))]
    return {"points": [{"x_m": x, "y_m": y, "x_px": px / 20, "y_px": py / 20} for x, y, px, py in places]}


def test_points_and_stations_go_in_and_out_as_json(marked: Site) -> None:
    number = photos(marked)[0]["id"]
    placed = marked.client.get(f"/api/days/1/photos/{number}/points").json()
    assert placed["residual_px"] is None, "four points fit exactly"
    for k, one in enumerate(placed["stations"]):
        x, y = on_picture(*GRID[k])
        assert (one["x_px"], one["y_px"]) == pytest.approx((x / 20, y / 20), abs=0.01)
    [told] = marked.client.get("/api/days/1/tuft-stations").json()
    assert (told["part"], told["source"], len(told["stations"])) == (PART, "a drawing", len(GRID))
    assert faults_of(marked) == []


def test_the_map_tells_the_turn_against_the_prediction(marked: Site) -> None:
    of = {"part": PART, "setup": "A"}
    told = marked.client.get("/api/days/1/tuft-agreement", params=of).json()
    turns = [one["turn_rad"] for one in told["stations"] if one["turn_rad"] is not None]
    assert len(turns) >= 20
    assert turns == pytest.approx([TURNED["A"]] * len(turns), abs=0.01)
    rows = list(csv.DictReader(io.StringIO(marked.client.get("/days/1/tufts/map.csv", params=of).text)))
    assert {row["station"] for row in rows} == {f"s{k}" for k in range(len(GRID))}
    assert float(rows[0]["turn [°]"]) == pytest.approx(math.degrees(TURNED["A"]), abs=0.6)
    table = marked.client.get("/days/1/tufts/map/table", params=of).text
    assert "predicted direction" in table
    drawn = marked.client.get("/days/1/tufts/map.json", params=of).json()
    names = [one.get("name") for one in drawn["figure"]["data"]]
    assert {"predicted", "seen", "another condition"} <= set(names)
    assert marked.client.get("/days/1/tufts/map.json", params={"part": "nose", "setup": "A"}).status_code == 404
    assert "tufts/map.json" in marked.client.get("/days/1/tufts").text


def test_what_moved_between_setups_stands_with_its_interval(marked: Site) -> None:
    of = {"part": PART, "setup": "B", "against": "A"}
    told = marked.client.get("/api/days/1/tuft-agreement", params=of).json()
    assert (told["first"], told["against"]) == ("seen", "A")
    one = next(one for one in told["stations"] if one["station"] == "s7")
    assert one["turn_rad"] == pytest.approx(TURNED["B"] - TURNED["A"], abs=0.01)
    assert 0.1 < one["half95_rad"] < 0.5
    rows = list(csv.DictReader(io.StringIO(marked.client.get("/days/1/tufts/map.csv", params=of).text)))
    assert "setup A direction [°]" in rows[0]


def test_a_later_day_is_offered_the_stations(marked: Site, tmp_path: Path) -> None:
    later = keep(marked.app.state.archive, tmp_path / "later", DAY.replace("2026-05-09", "2026-05-30"))
    sent = marked.client.post("/api/uploads", params={"name": "l.jpg"}, content=made.jpeg(seed=8),
                              headers={"Content-Type": "application/octet-stream"}).json()["id"]  # fmt: skip
    said = {"uploads": [sent], "part": PART, "view": VIEW}
    marked.client.post(f"/api/days/{later}/photos", json=said)
    wait_for(lambda: marked.client.get(f"/api/days/{later}/photos").json(), 60)
    page = marked.client.get(f"/days/{later}/tufts/stations").text
    assert f"{len(GRID)} stations stand on" in page
    assert f"with its points on view {VIEW}" in page
    answer = marked.client.post(f"/days/{later}/tufts/stations/earlier", data={"part": PART, "other": 1})
    assert answer.status_code == 303
    [one] = marked.client.get(f"/api/days/{later}/photos").json()
    there = marked.client.get(f"/api/days/{later}/photos/{one['id']}/points").json()
    assert len(there["stations"]) > 15
    assert "stations stand on" not in marked.client.get(f"/days/{later}/tufts/stations").text
    nothing = {"part": "nose", "from_day": 1}
    refused = marked.client.post(f"/api/days/{later}/tuft-stations/earlier", json=nothing)
    assert refused.status_code == 422
    assert "no stations of nose" in refused.json()["error"]
