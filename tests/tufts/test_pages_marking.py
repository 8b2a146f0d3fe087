"""Marks: set, turned, judged, taken back; sent twice kept once; everybody's own; nothing written over."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from tests.tufts import made_photos as made
from tests.tufts.tuft_site import add, entry, faults_of, mark, photo, readings
from tests.web.conftest import Site


@pytest.fixture(scope="module")
def number(shared: Site) -> int:
    return photo(shared)


def events(site: Site, kind: str) -> list[dict[str, Any]]:
    told = site.client.get("/api/events", params={"limit": 500}).json()
    rows = told["events"] if isinstance(told, dict) else told
    return [one for one in rows if one["kind"] == kind]


def test_a_mark_is_kept_as_it_was_set(shared: Site, number: int) -> None:
    sent = entry(40.25, 12.5, direction_rad=7.0 - math.tau, condition="unsteady")
    answer = mark(shared, number, sent)
    assert answer.json() == {"entries": [sent["entry"]], "kept": 1}
    [kept] = [one for one in readings(shared, number)["Ana"] if one["mark"] == sent["mark"]]
    assert (kept["x_px"], kept["y_px"], kept["condition"]) == (40.25, 12.5, "unsteady")
    assert kept["direction_rad"] == pytest.approx(7.0 - math.tau, abs=1e-5)


def test_what_is_sent_twice_is_kept_once(shared: Site, number: int) -> None:
    first, second = entry(1, 2), entry(3, 4)
    mark(shared, number, first)
    before = shared.client.get("/api/events/head").json()
    assert mark(shared, number, first).json() == {"entries": [first["entry"]], "kept": 0}
    assert shared.client.get("/api/events/head").json() == before
    assert mark(shared, number, first, second).json()["kept"] == 1
    keys = [one["mark"] for one in readings(shared, number)["Ana"]]
    assert keys.count(first["mark"]) == keys.count(second["mark"]) == 1


def test_changes_are_appended_and_undone_by_another(shared: Site, number: int) -> None:
    one = entry(5, 6, condition="attached")
    turned = {**one, **entry(5, 6, direction_rad=1.0, condition="attached"), "mark": one["mark"]}
    gone = {**turned, "entry": entry()["entry"], "removed": True}
    back = {**turned, "entry": entry()["entry"]}
    mark(shared, number, one, turned, gone)
    assert one["mark"] not in [each["mark"] for each in readings(shared, number)["Ana"]]
    mark(shared, number, back)
    [kept] = [each for each in readings(shared, number)["Ana"] if each["mark"] == one["mark"]]
    assert (kept["number"], kept["direction_rad"]) == (4, 1.0)
    told = [row for event in events(shared, "tuft-marked") for row in json.loads(event["after"])["rows"]]
    assert sorted(row["number"] for row in told if row["mark"] == one["mark"]) == [1, 2, 3, 4]
    assert {row["who"] for row in told} == {"Ana"}
    assert faults_of(shared) == []


def test_two_readers_do_not_touch_each_others_marks(shared: Site, number: int) -> None:
    one = entry(7, 8, condition="attached")
    mark(shared, number, one)
    mark(shared, number, {**one, "entry": entry()["entry"], "condition": "reversed"}, reader="Ben")
    found = readings(shared, number)
    assert [each["condition"] for each in found["Ana"] if each["mark"] == one["mark"]] == ["attached"]
    assert [each["condition"] for each in found["Ben"]] == ["reversed"]
    page = shared.client.get(f"/days/1/tufts/{number}").text
    assert "<h3>Ana</h3>" in page
    assert "<h3>Ben</h3>" in page
    state = page.split('data-state="')[1].split('"')[0]
    assert "reversed" not in state, "nobody sees the other's marks while marking"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"x_px": 97.0}, "lies outside the picture, which is 96 by 64 pixels."),
        ({"y_px": 1e4}, "lies outside the picture"),
        ({"condition": "turbulent"}, "“entries.0.condition” must be"),
        ({"mark": "x"}, "“entries.0.mark” cannot be used: string should have at least 8"),
        ({"direction_rad": 9.0}, "“entries.0.direction_rad” must be less"),
        ({"more": 1}, "“entries.0.more” is not known here."),
    ],
)
def test_a_mark_that_makes_no_sense_is_refused_with_all_that_came_with_it(
    shared: Site, number: int, change: dict[str, Any], said: str
) -> None:
    before = shared.client.get("/api/events/head").json()
    answer = mark(shared, number, entry(1, 1), {**entry(2, 2), **change})
    place = said.replace("entries.0", "entries.1")
    assert answer.status_code == 422
    assert place in answer.json()["error"]
    assert shared.client.get("/api/events/head").json() == before


def test_the_programs_name_is_no_persons(shared: Site, number: int) -> None:
    answer = mark(shared, number, entry(), reader="Stillair")
    assert answer.status_code == 422
    assert "the program's own name" in answer.json()["error"]


def test_photos_of_other_days_are_not_marked(shared: Site, number: int) -> None:
    assert shared.client.post(f"/api/days/2/photos/{number}/marks", json={"entries": []}).status_code == 404
    assert shared.client.post("/api/days/1/photos/99/marks", json={"entries": []}).status_code == 404


def test_without_scripts_a_tap_sets_a_mark_and_the_table_changes_it(shared: Site) -> None:
    big = made.picture(1800, 1200)
    add(shared, [("big.jpg", made.jpeg(big))], part="floor")
    place = max(one["id"] for one in shared.client.get("/api/days/1/photos").json())
    there = f"/days/1/tufts/{place}/marks"
    tapped = {"at.x": "450", "at.y": "300", "condition": "attached", "direction": "90"}
    assert shared.client.post(there, data=tapped).status_code == 303
    [kept] = readings(shared, place)["Ana"]
    assert (kept["x_px"], kept["y_px"]) == (900.0, 600.0), "the picture was 900 wide"
    assert kept["direction_rad"] == pytest.approx(math.pi / 2, abs=1e-5)
    page = shared.client.get(f"/days/1/tufts/{place}").text
    assert 'name="mark" value="' + kept["mark"] in page
    said = {"mark": kept["mark"], "condition": "separated", "direction": "−45,5", "say": "keep"}
    assert shared.client.post(there, data=said).status_code == 303
    [kept] = readings(shared, place)["Ana"]
    assert (kept["condition"], kept["x_px"]) == ("separated", 900.0)
    assert kept["direction_rad"] == pytest.approx(math.radians(-45.5), abs=1e-5)
    assert shared.client.post(there, data={**said, "say": "remove"}).status_code == 303
    assert "Ana" not in readings(shared, place)
    for wrong in ({"mark": "nobody"}, {"at.x": "1"}, {"at.x": "5", "at.y": "5", "direction": "north"}):
        assert shared.client.post(there, data=wrong).status_code == 422


def test_what_a_photo_shows_is_said_and_kept_beside_what_was_said_before(shared: Site, number: int) -> None:
    there = f"/days/1/tufts/{number}"
    said = {"run": "2", "part": "rear  wing", "view": "right", "notes": "wet tape\r\nin row 3", "flow": "90"}
    assert shared.client.post(there, data=said).status_code == 303
    photo_now = shared.client.get(f"/api/days/1/photos/{number}").json()
    assert (photo_now["run"], photo_now["setup"], photo_now["settled"]) == (2, "B", True)
    assert photo_now["notes"] == "wet tape\nin row 3"
    assert photo_now["flow_rad"] == pytest.approx(math.pi / 2, abs=1e-5)
    again = shared.client.post(there, data=said)
    assert (again.status_code, "Nothing would change by that." in again.text) == (422, True)
    refused = shared.client.post(there, data={**said, "run": "9"})
    assert "This day has no run 9." in refused.text
    assert faults_of(shared) == []


def test_a_program_says_it_too(shared: Site, number: int) -> None:
    answer = shared.client.post(f"/api/days/1/photos/{number}", json={"run": 1, "standing": True})
    assert (answer.json()["run"], answer.json()["setup"], answer.json()["standing"]) == (1, "A", True)


def test_a_photo_taken_out_stays_kept(shared: Site) -> None:
    number = photo(shared, "blurred.jpg", seed=77)
    shared.client.post(f"/api/days/1/photos/{number}", json={"removed": True})
    assert number not in [one["id"] for one in shared.client.get("/api/days/1/photos").json()]
    assert "This photo was taken out" in shared.client.get(f"/days/1/tufts/{number}").text
    assert faults_of(shared) == []
