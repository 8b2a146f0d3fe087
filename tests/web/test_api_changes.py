"""Changes by programs: what is kept, what is refused, and that a refusal keeps nothing."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from server.archive.read_only import ReadOnlyArchive
from server.days.service import content_sha256
from server.history.verify import faults
from server.readers.zip_folder import unpack_day_zip
from tests.web.conftest import Site
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, keep_made_up, wait_for


@pytest.fixture
def program(site: Site, tmp_path: Path) -> Iterator[httpx.Client]:
    """A program beside an archive with one day of two setups."""
    keep_made_up(site.app.state.archive, made_up_day_result("AB"), tmp_path / "one")
    with httpx.Client(base_url=site.client.base_url, headers={"X-Stillair-Who": "Ana"}, timeout=30) as client:
        yield client


def events(client: httpx.Client) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/api/events?limit=500").json()["events"]
    return found


def archive_faults(folder: Path) -> list[str]:
    archive = ReadOnlyArchive(folder)
    try:
        return list(faults(archive))
    finally:
        archive.close()


def change(client: httpx.Client, slug: str, /, **fields: Any) -> httpx.Response:
    return client.patch(f"/api/days/1/car/{slug}", json={"fields": fields})


def test_everything_of_a_day_is_listed_and_can_be_asked_for(program: httpx.Client) -> None:
    things = program.get("/api/days/1/car").json()
    slugs = {one["slug"] for one in things}
    assert {"mass_kg", "driven", "front.heave_table", "weather.1", "setup.2", "venue"} <= slugs
    for one in things:
        form = program.get(f"/api/days/1/car/{one['slug']}").json()
        assert (form["title"], form["now"], form["revision"]) == (one["title"], one["now"], 1)


def test_a_changed_mass_is_a_revision_with_who_why_and_a_fit(program: httpx.Client) -> None:
    sent = {"fields": {"value": 237.5, "value_u": 0.4, "value_source": "measured"}, "reason": "scales", "expected": 1}
    answer = program.patch("/api/days/1/car/mass_kg", json=sent)
    assert answer.status_code == 200, answer.text
    made = answer.json()
    assert (made["revision"], made["also"], made["refused"]) == (2, [], [])
    assert program.get(f"/api/jobs/{made['job_id']}").json()["day_id"] == 1
    car = program.get("/api/days/1/revisions/2").json()["day"]["car"]
    assert car["mass_kg"] == {"value": 237.5, "u": 0.4, "source": "measured"}
    event = events(program)[-1]
    assert (event["who"], event["kind"], event["reason"]) == ("Ana", "car-changed", "scales")


def test_what_is_not_sent_stays_as_it_stands(program: httpx.Client) -> None:
    before = program.get("/api/days/1/revisions/newest").json()["day"]
    assert change(program, "day", notes="wind from the left").status_code == 200
    after = program.get("/api/days/1/revisions/newest").json()["day"]
    assert after == {**before, "notes": "wind from the left"}


def test_every_form_sent_back_as_it_is_told_changes_nothing(program: httpx.Client) -> None:
    """Numbers come back to the last digit.

    Left out: what adds a thing, a setup that was run, and a driven axle that was taken for granted so far.
    """
    before = program.get("/api/days/1/revisions/newest").json()
    told = {one["slug"] for one in program.get("/api/days/1/car").json()}
    for slug in sorted(told - {"weather", "setup", "calibration", "corners", "setup.1", "driven"}):
        form = program.get(f"/api/days/1/car/{slug}").json()
        fields = {name: value for field in form["fields"] for name, value in field["values"].items()}
        answer = change(program, slug, **fields)
        assert answer.status_code == 422, (slug, answer.text)
    assert program.get("/api/days/1/revisions/newest").json() == before


def test_a_setup_and_a_reading_are_added(program: httpx.Client) -> None:
    assert change(program, "weather.1", time="09:00").status_code == 200
    assert change(program, "weather", time="10:30", pressure=1008.5, temperature=18.0).status_code == 200
    assert change(program, "setup", name="C", baseline="A", front_height=34.0, parts="flap = 30").status_code == 200
    day = program.get("/api/days/1/revisions/newest").json()["day"]
    assert [one["clock_s"] for one in day["weather"]] == [9 * 3600.0, 10.5 * 3600.0]
    assert day["setups"][2]["parts"] == {"flap": 30.0}
    assert day["setups"][2]["front_ride_height_m"] == pytest.approx(0.034, abs=1e-12)


def test_a_run_a_pass_and_columns(program: httpx.Client) -> None:
    at = "/api/days/1/runs/1/passes"
    left_out = {"start_s": 10.0, "end_s": 20.5, "used": False, "reason": "traffic", "expected": 1}
    assert program.post(at, json=left_out).json()["revision"] == 2
    run = program.get("/api/days/1/revisions/2").json()["day"]["runs"][0]
    assert run["passes"] == [{"start_s": 10.0, "end_s": 20.5, "used": False, "reason": "traffic"}]
    assert program.post(f"{at}/clear", json={"start_s": 10.0, "end_s": 20.5}).json()["revision"] == 3
    assert program.get("/api/days/1/revisions/3").json()["day"]["runs"][0]["passes"] == []
    columns = {"channels": {"gps_speed": "V GPS", "throttle": "TPS"}}
    assert program.patch("/api/days/1/channels", json=columns).json()["revision"] == 4
    assert program.patch("/api/days/1/channels", json={"channels": {"throttle": None}}).json()["revision"] == 5
    assert program.get("/api/days/1/revisions/5").json()["day"]["channels"] == {"gps_speed": "V GPS"}


NAN = float("nan")
REFUSED = [
    ("car/mass_kg", {"fields": {"value": "237"}}, "“value” must be a number"),
    ("car/mass_kg", {"fields": {"value": NAN}}, "“value” must be a finite number"),
    ("car/mass_kg", {"fields": {"value": float("inf")}}, "“value” must be a finite number"),
    ("car/mass_kg", {"fields": {"value": True}}, "“value” must be a number"),
    ("car/mass_kg", {"fields": {"value": 10**400}}, "“value” is out of every range"),
    ("car/mass_kg", {"fields": {"value": 3.0}}, "mass must lie between"),
    ("car/mass_kg", {"fields": {"value": None}}, "mass is missing"),
    ("car/mass_kg", {"fields": {"value": 237.0, "value_u": -1.0}}, "uncertainty"),
    ("car/mass_kg", {"fields": {"mass": 237.0}}, "“mass” is not a field"),
    ("car/mass_kg", {"fields": {"value": 237.0, "value_source": "guessed"}}, "“value_source” must be one of"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "why": "x"}, "“why” is not known here"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "expected": "1"}, "“expected” must be a valid integer"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "expected": 7}, "changed this day meanwhile (revision 1)"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "also": ["2"]}, "“also.0” must be a valid integer"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "reason": 5}, "“reason” must be a valid string"),
    ("car/mass_kg", {"fields": {"value": 237.0}, "reason": "x" * 401}, "“reason” cannot be used"),
    ("car/mass_kg", {"fields": []}, "“fields” must be a valid dictionary"),
    ("car/mass_kg", [], "The body must be"),
    ("car/driven", {"fields": {"value": "middle"}}, "“value” must be one of front, rear, all"),
    ("car/day", {"fields": {"date": "yesterday"}}, "year-month-day"),
    ("car/day", {"fields": {"name": "a\ud800b"}}, "“name” holds signs that are no text"),
    ("car/day", {"fields": {"notes": {"a": []}}}, "“notes” must be a text"),
    ("car/setup.1", {"fields": {"baseline": "Z"}}, "“baseline” must be one of"),
    ("channels", {"channels": {"warp_drive": "x"}}, "“channels.warp_drive” is not a role"),
    ("channels", {"channels": {}}, "“channels” cannot be used"),
    ("channels", {"channels": {"gps_speed": "v"}, "run": 9}, "This day has no run 9"),
]


@pytest.mark.parametrize(("at", "body", "sentence"), REFUSED)
def test_a_refusal_is_a_sentence_that_names_the_place(
    program: httpx.Client, at: str, body: Any, sentence: str
) -> None:
    before = events(program)
    answer = program.patch(f"/api/days/1/{at}", content=json.dumps(body), headers={"Content-Type": "application/json"})
    assert answer.status_code == 422, answer.text
    assert set(answer.json()) == {"error"}
    assert sentence in answer.json()["error"]
    assert events(program) == before


PASSES = [
    ({"start_s": 1.0, "end_s": 0.5, "used": True}, "must end after it starts"),
    ({"start_s": 1.0, "end_s": 5.0, "used": False}, "Say why"),
    ({"start_s": "1", "end_s": 5.0, "used": True}, "“start_s” must be a valid number"),
    ({"start_s": NAN, "end_s": 5.0, "used": True}, "“start_s” must be a finite number"),
    ({"start_s": 1e300, "end_s": 5.0, "used": True}, "“start_s” must be less than or equal to"),
    ({"start_s": 1.0, "used": True}, "“end_s” is missing"),
    ({"start_s": 1.0, "end_s": 5.0, "used": 1}, "“used” must be a valid boolean"),
    ({"start_s": 1.0, "end_s": 5.0, "used": True, "was_start_s": 1.0}, "was_end_s"),
]


@pytest.mark.parametrize(("body", "sentence"), PASSES)
def test_a_word_on_a_pass_is_refused(program: httpx.Client, body: Any, sentence: str) -> None:
    headers = {"Content-Type": "application/json"}
    answer = program.post("/api/days/1/runs/1/passes", content=json.dumps(body), headers=headers)
    assert (answer.status_code, sentence in answer.json()["error"]) == (422, True), answer.text
    assert len(events(program)) == 2


@pytest.mark.parametrize("body", ["", "{", "[[" * 50_000, '"\\ud800"', "\x00", '{"fields": NaN}'])
def test_what_is_no_json_is_refused(program: httpx.Client, body: str) -> None:
    answer = program.patch("/api/days/1/car/mass_kg", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422), answer.text
    assert set(answer.json()) == {"error"}


@pytest.mark.parametrize("path", ["/api/days/9/car/mass_kg", "/api/days/1/car/nothing", "/api/days/1/car/run.77"])
def test_what_is_not_there_is_not_there(program: httpx.Client, path: str) -> None:
    assert program.patch(path, json={}).status_code == 404


def zipped(text: str = SMALL_DAY) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        made.writestr("testday.toml", text)
        made.writestr("logs/run01.csv", "time,gps_speed\n0,1\n")
    return out.getvalue()


def test_a_day_is_added_as_a_body(program: httpx.Client) -> None:
    headers = {"Content-Type": "application/zip"}
    answer = program.post("/api/days/zip?name=monday.zip", content=zipped(), headers=headers)
    assert answer.status_code == 202, answer.text
    job = wait_for(lambda: (j := program.get(f"/api/jobs/{answer.json()['job_id']}").json())["finished_at"] and j)
    assert job["state"] == "done", job
    day = program.get("/api/days/2").json()
    assert (day["sent_as"], day["revisions"][0]["who"]) == ("monday.zip", "Ana")
    assert program.post("/api/days/zip", content=b"no zip", headers=headers).status_code == 422


def test_a_day_is_added_from_uploads(program: httpx.Client, site: Site) -> None:
    tus = {"Tus-Resumable": "1.0.0", "Origin": str(site.client.headers["Origin"])}
    content = zipped()
    begun = program.post("/uploads", headers={**tus, "Upload-Length": str(len(content))})
    kind = {"Content-Type": "application/offset+octet-stream", "Upload-Offset": "0"}
    assert program.patch(begun.headers["location"], content=content, headers={**tus, **kind}).status_code == 204
    upload_id = begun.headers["location"].rpartition("/")[2]
    assert program.post("/api/days", json={"upload_id": upload_id}).status_code == 202
    logs = {"logs": [{"upload_id": upload_id, "setup": "A"}], "mass": 236.0, "pressure": 1009.0, "temperature": 17.0}
    assert program.post("/api/days/logs", json={**logs, "coasting": "neutral"}).status_code == 202
    assert "“coasting” is missing" in program.post("/api/days/logs", json=logs).json()["error"]
    wrong = program.post("/api/days/logs", json={**logs, "coasting": "neutral", "mass": "236"})
    assert "“mass” must be a valid number" in wrong.json()["error"]
    assert program.post("/api/days", json={"upload_id": "gone"}).status_code == 422


def test_the_folder_comes_back_with_its_own_bytes(program: httpx.Client, site: Site) -> None:
    change(program, "day", notes="second")
    for path in ("/days/1/folder.zip", "/api/days/1/folder.zip"):
        answer = site.client.get(path)
        assert answer.headers["content-type"] == "application/zip"
        assert 'filename="Long apron revision 2.zip"' in answer.headers["content-disposition"]
        with zipfile.ZipFile(io.BytesIO(answer.content)) as made:
            assert made.testzip() is None
            got = {name: hashlib.sha256(made.read(name)).hexdigest() for name in made.namelist()}
        assert got == program.get("/api/days/1/revisions/2").json()["files"]
    assert site.client.get("/days/1/folder.zip").content == site.client.get("/days/1/folder.zip").content
    first = zipfile.ZipFile(io.BytesIO(site.client.get("/days/1/folder.zip?revision=1").content))
    assert b"second" not in first.read("testday.toml")
    assert site.client.get("/days/1/folder.zip?revision=9").status_code == 404


def test_the_folder_brought_elsewhere_is_the_same_revision(program: httpx.Client, site: Site, tmp_path: Path) -> None:
    """Equal files give an equal day: the hash over paths and bytes is what a result hangs on."""
    change(program, "mass_kg", value=240.0)
    (tmp_path / "day.zip").write_bytes(site.client.get("/days/1/folder.zip").content)
    folder = unpack_day_zip(tmp_path / "day.zip", tmp_path / "unpacked")
    newest = program.get("/api/days/1").json()["revisions"][0]
    assert content_sha256(folder) == newest["content_sha256"]


def test_a_kept_file_is_saved_and_never_shown(program: httpx.Client) -> None:
    sha256 = program.get("/api/days/1/revisions/1").json()["files"]["testday.toml"]
    answer = program.get(f"/api/files/{sha256}")
    assert hashlib.sha256(answer.content).hexdigest() == sha256
    assert answer.headers["content-disposition"] == 'attachment; filename="testday.toml"'
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["content-security-policy"] == "sandbox"
    for wrong in ("0" * 64, "x", "..%2f..%2farchive.sqlite3"):
        assert program.get(f"/api/files/{wrong}").status_code == 404


def test_after_all_of_it_the_archive_holds(program: httpx.Client, site: Site) -> None:
    change(program, "mass_kg", value=240.0)
    change(program, "mass_kg", value="x")
    assert archive_faults(site.folder) == []
