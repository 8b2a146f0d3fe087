"""Stations over photos, readings against the prediction and against each other: held against what was made."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest

from server.aero.homography import fit_homography
from server.analysis.tuft_agreement import agree, pairs
from server.analysis.tuft_registration import SeenStation
from server.days.revisions import newest_day
from server.testday.tufts import TuftMark, TuftStation
from server.tufts.agreeing import between_readings, in_words, nearest, predicted_on_part, seen_on_part
from server.tufts.beside import told_tufts
from server.tufts.placing import PlacedStation
from tests.tufts import made_photos as made
from tests.tufts.tuft_site import add, entry, faults_of, mark, photos, readings
from tests.web.conftest import Site

# A part of 1 m by 0.5 m seen from aside: a homography with perspective, made up.
LIE = np.array([[900.0, -120.0, 300.0], [80.0, 620.0, 250.0], [0.15, 0.08, 1.0]])
GRID = [(0.1 + 0.2 * column, 0.05 + 0.1 * row) for row in range(5) for column in range(5)]


def on_picture(x: float, y: float) -> tuple[float, float]:
    seen = LIE @ (x, y, 1.0)
    return float(seen[0] / seen[2]), float(seen[1] / seen[2])


def seen_angle(x: float, y: float, angle: float) -> float:
    """By a small step on the part, without the homography's own derivative."""
    (a, b), (c, d) = on_picture(x, y), on_picture(x + 1e-6 * math.cos(angle), y + 1e-6 * math.sin(angle))
    return math.atan2(d - b, c - a)


def predicted(number: int) -> tuple[float, str]:
    return 0.02 * number - 0.2, "separated" if number % 5 == 4 else "attached"


def csv(setup: str = "") -> str:
    lines = ["part,station,x_mm,y_mm,direction_deg,condition,setup"]
    for number, (x, y) in enumerate(GRID):
        angle, condition = predicted(number)
        lines.append(f"rear wing,s{number},{1000 * x:.3f},{1000 * y:.3f},{math.degrees(angle):.8f},{condition},{setup}")
    return "\n".join(lines)


def points(rows: list[tuple[str, float, float]]) -> dict[str, list[str]]:
    """The form: of the corners, the first by the name of its station alone."""
    cells: dict[str, list[str]] = {name: [] for name in ("name", "x_mm", "y_mm", "x_px", "y_px")}
    for name, x, y in rows:
        px, py = on_picture(x, y)
        bare = name.startswith("s")
        told = (name, "" if bare else f"{1000 * x:g}", "" if bare else f"{1000 * y:g}", f"{px:.4f}", f"{py:.4f}")
        for key, value in zip(cells, told, strict=True):
            cells[key].append(value)
    return cells


@pytest.fixture(scope="module")
def number(shared: Site) -> int:
    """A photo of 1600 by 1200 pixels, its part placed on it by five points, stations with a prediction."""
    add(shared, [("wing.jpg", made.jpeg(made.picture(1600, 1200)))], part="rear wing", view="left rear", run=1)
    [one] = photos(shared)
    assert shared.client.post("/days/1/tufts/stations", data={"text": csv()}).status_code == 303
    rows = [("s0", *GRID[0]), ("corner", 1.0, 0.0), ("corner", 1.0, 0.5), ("corner", 0.0, 0.5), ("s12", *GRID[12])]
    answer = shared.client.post(f"/days/1/tufts/{one['id']}/points", data=points(rows))
    assert answer.status_code == 303, answer.text
    return int(one["id"])


def state(site: Site, number: int) -> dict[str, Any]:
    import html
    import json

    page = site.client.get(f"/days/1/tufts/{number}").text
    return dict(json.loads(html.unescape(page.split('data-state="')[1].split('"')[0])))


def test_stations_lie_where_the_part_is_seen(shared: Site, number: int) -> None:
    proposed = {one["station"]: one for one in state(shared, number)["proposals"]}
    assert len(proposed) == len(GRID)
    drawn = {one["station"]: one for one in state(shared, number)["predicted"]}
    for place, (x, y) in enumerate(GRID):
        at = on_picture(x, y)
        assert (proposed[f"s{place}"]["x_px"], proposed[f"s{place}"]["y_px"]) == pytest.approx(at, abs=0.2)
        assert proposed[f"s{place}"]["direction_rad"] is None, "the prediction does not lead the hand"
        wanted = seen_angle(x, y, predicted(place)[0])
        assert math.remainder(drawn[f"s{place}"]["direction_rad"] - wanted, math.tau) == pytest.approx(0, abs=0.002)


def test_they_lie_over_the_next_photo_of_the_view_and_no_other(shared: Site, number: int) -> None:
    half = made.jpeg(made.picture(800, 600), seed=3)
    add(shared, [("half.jpg", half)], part="rear wing", view="left rear", run=2)
    add(shared, [("other.jpg", made.jpeg(made.picture(1600, 1200), seed=4))], part="rear wing", view="right", run=2)
    of = {one["name"]: one["id"] for one in photos(shared)}
    first = {one["station"]: one["x_px"] for one in state(shared, number)["proposals"]}
    again = {one["station"]: one["x_px"] for one in state(shared, of["half.jpg"])["proposals"]}
    assert again["s7"] == pytest.approx(first["s7"] / 2, abs=0.2)
    assert state(shared, of["other.jpg"])["proposals"] == []


def test_a_reading_is_held_against_the_prediction_on_the_part(shared: Site, number: int) -> None:
    """Each tuft turned by 0.1 rad on the part, and every seventh judged otherwise."""
    entries = []
    for place, (x, y) in enumerate(GRID):
        angle, condition = predicted(place)
        px, py = on_picture(x, y)
        said = "unsteady" if place % 7 == 0 else condition
        entries.append(entry(px + 2, py - 2, direction_rad=seen_angle(x, y, angle + 0.1), condition=said))
    mark(shared, number, *entries)
    page = shared.client.get(f"/days/1/tufts/{number}").text
    alike = sum(place % 7 != 0 for place in range(25))
    assert f"{alike} of 25 conditions alike ({100 * alike / 25:.0f} %" in page
    assert "20 directions: turned by +5.7°" in page, "0.1 rad; five are predicted to be separated"
    assert "spread 0.0°" in page
    assert f"{alike} of 25 conditions alike" in shared.client.get("/days/1/tufts").text


def test_two_readers_are_held_against_each_other(shared: Site, number: int) -> None:
    mine = readings(shared, number)["Ana"]
    places = ((one["x_px"] + 3, one["y_px"], one["direction_rad"]) for one in mine)
    same = [entry(x, y, direction_rad=angle, condition="attached") for x, y, angle in places]
    mark(shared, number, *same, reader="Ben")
    page = shared.client.get(f"/days/1/tufts/{number}").text
    count = sum(one["condition"] == "attached" for one in mine)
    assert f"Ana and Ben: {count} of 25 conditions alike" in page
    assert faults_of(shared) == []


@pytest.mark.usefixtures("number")
def test_two_setups_are_held_against_each_other(shared: Site) -> None:
    half = next(one["id"] for one in photos(shared) if one["name"] == "half.jpg")
    entries = []
    for place, (x, y) in enumerate(GRID):
        px, py = (one / 2 for one in on_picture(x, y))
        angle = seen_angle(x, y, predicted(place)[0] + 0.3)
        entries.append(entry(px, py, direction_rad=angle, condition="attached", station=f"s{place}"))
    mark(shared, half, *entries)
    page = shared.client.get("/days/1/tufts").text
    assert "Setup B against setup A, at the same stations:" in page
    assert "turned by +11.5°" in page, "0.3 − 0.1 rad"
    told = re.search(r"; (\d+) of 21 turned by more than their 95 % interval", page)
    assert told, "one photo each: 5° of reading and 5° of wandering in both, so that 11.5° tell little"
    assert int(told.group(1)) < 10


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([("a", 0.0, 0.0), ("b", 1.0, 0.0), ("c", 1.0, 0.5)], "3 points were found on both"),
        ([("a", 0.0, 0.0), ("b", 0.3, 0.0), ("c", 0.6, 0.0), ("d", 1.0, 0.0)], "too nearly in a line"),
    ],
)
def test_points_that_cannot_tell_are_refused(
    shared: Site, number: int, rows: list[tuple[str, float, float]], said: str
) -> None:
    answer = shared.client.post(f"/days/1/tufts/{number}/points", data=points(rows))
    assert answer.status_code == 422
    assert said in answer.text


def test_a_marked_picture_of_the_prediction_gives_stations(shared: Site) -> None:
    picture = made.jpeg(made.picture(400, 200), seed=8)
    add(shared, [("cfd.jpg", picture)], part="nose", kind="prediction")
    cfd = next(one["id"] for one in photos(shared) if one["name"] == "cfd.jpg")
    mark(shared, cfd, entry(100, 50, direction_rad=0.5, condition="reversed"), entry(300, 150))
    form = {"reader": "Ana", "width": "800"}
    there = f"/days/1/tufts/{cfd}/stations"
    assert shared.client.post(there, data={**form, "width": "wide"}).status_code == 422
    assert shared.client.post(there, data={**form, "reader": "Ben"}).status_code == 422
    assert shared.client.post(there, data=form).status_code == 303
    page = shared.client.get("/days/1/tufts/stations").text
    assert "2 stations from cfd.jpg, kept by Ana." in page
    assert '<th scope="row">1</th><td class="number">200.0</td><td class="number">100.0</td>' in page


def test_a_bad_csv_is_named_and_stays_in_the_form(shared: Site) -> None:
    answer = shared.client.post("/days/1/tufts/stations", data={"text": "part,station,x_mm\nfloor,1,5\n"})
    assert answer.status_code == 422
    assert "typed stations: line 2 y_mm is missing" in answer.text
    assert "floor,1,5" in answer.text


def placed(name: str, x: float, y: float, condition: str | None = "attached") -> PlacedStation:
    station = TuftStation("p", name, x / 100, y / 100, 0.0, condition)  # type: ignore[arg-type]
    mark = TuftMark(x, y, 0.0, None, "person", False, station=name)
    return PlacedStation(name, SeenStation(station, x, y, 1.0, 0.0), mark)


def seen(x: float, y: float, angle: float | None = 0.0, condition: str | None = "attached", station: str | None = None):  # type: ignore[no-untyped-def]
    return TuftMark(x, y, angle, condition, "person", True, station=station)  # type: ignore[arg-type]


STRAIGHT = fit_homography([(0, 0), (1, 0), (1, 1), (0, 1)], [(0, 0), (100, 0), (100, 100), (0, 100)])


def test_a_mark_belongs_to_the_station_that_it_names_or_lies_at() -> None:
    stations = [placed("a", 0, 0), placed("b", 100, 0)]
    found = seen_on_part([seen(60, 0, 0.6, station="a"), seen(90, 0, 0.9), seen(50, 0, 0.5)], stations, STRAIGHT)
    assert {name: one.direction_rad for (_, name), one in found.items()} == pytest.approx({"a": 0.6, "b": 0.9})
    assert seen_on_part([seen(50, 0)], stations, STRAIGHT) == {}, "half way belongs to neither"


def test_a_separated_tuft_has_no_direction_to_compare() -> None:
    stations = [placed("a", 0, 0, "separated"), placed("b", 100, 0), placed("c", 200, 0)]
    found = seen_on_part([seen(0, 0, 1.0), seen(100, 0, 0.25, "separated"), seen(200, 0, 0.1)], stations, STRAIGHT)
    told = agree(pairs(predicted_on_part(stations), found))
    assert told.angle is not None
    assert (told.angle.n, told.angle.mean_rad) == (1, pytest.approx(0.1))
    assert in_words(told) == "1 of 3 conditions alike, too few to say more"


def test_readings_without_stations_are_paired_by_place() -> None:
    first, second = [seen(0, 0), seen(100, 0), seen(200, 0)], [seen(4, 0), seen(97, 3, 0.1), seen(400, 0)]
    assert [(one.x_px, two.x_px) for one, two in nearest(first, second)] == [(0, 4), (100, 97)]
    conditions, directions = between_readings(first, second, [], None).split("; ")
    assert conditions == "2 of 2 conditions alike, too few to say more"
    assert directions == "2 directions: turned by +2.9° in the mean, spread 2.9°"


def test_nothing_to_compare_is_said_by_nothing() -> None:
    assert between_readings([seen(0, 0)], [], [], None) == ""
    assert between_readings([], [], [], None) == ""


@pytest.mark.usefixtures("number")
def test_other_pages_are_told_the_same_words(shared: Site) -> None:
    archive = shared.app.state.archive
    with archive.database.reading() as session:
        told = told_tufts(session, [(1, newest_day(archive, session, 1)[1])])
    assert [(one.day_id, one.part, one.setup) for one in told] == [(1, "rear wing", "A"), (1, "rear wing", "B")]
    page = shared.client.get("/days/1/tufts").text
    assert all(f"Against the prediction: {one.words}." in page for one in told)
