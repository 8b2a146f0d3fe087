"""Predictions over the pages and the JSON interface, on a real port: an import by forms, by a program, and fuzzed."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from server.app import create_app
from server.settings import Settings
from tests.predictions.made_sets import CAR, GOOD, WITH_BAD, keep_made_day
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of

AWKWARD = (
    "Summary, made up;;;;;;\n"
    "Variante;RH vorn;RH hinten;Drag Force;Auftrieb vorn;Auftrieb hinten;Velocity\n"
    ";mm;mm;N;N;N;km/h\n"
    "Setup A;26;30;195,4;-231,5;-279,0 N;72\n"
    "B mk2;26;30;209,9;-238,0;n/c;72\n"
    "B mk2;22;26;211,0 N;-246,1;-301,3;72\n"
)
SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("predicted")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        keep_made_day(app.state.archive, folder / "day")
        yield Site(app, client, folder / "data")


@pytest.fixture(scope="module")
def program(site: Site) -> Iterator[httpx.Client]:
    with httpx.Client(base_url=site.client.base_url, headers={"X-Stillair-Who": "Ana"}, timeout=60) as client:
        yield client


TYPED = ("unit_", "reference", "density", "speed", "wheelbase", "moment", "setup", "part")


def form_of(page: str) -> dict[str, str]:
    """What the mapping form would send as it stands."""
    form: dict[str, str] = {}
    for name, options in re.findall(r'<select[^>]* name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        form[name] = chosen[1] if chosen else ""
    for tag in re.findall(r"<input [^>]*>", page):
        name, value = re.search(r'name="([^"]+)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and name[1].startswith(TYPED):
            form[name[1]] = value[1] if value else ""
    return form


def brought(client: httpx.Client, text: str, car: str = CAR, name: str = "july.csv") -> httpx.Response:
    return client.post("/predictions/add", data={"car": car}, files={"table": (name, text.encode())})


def test_an_awkward_table_by_forms(site: Site) -> None:
    """German headers, units in a row and in cells, forces, lift up, a name that is no setup, a bad row."""
    client = site.client
    place = brought(client, AWKWARD).headers["location"]
    page = client.get(place).text
    assert "7 of 7 columns were recognised" in page
    form = form_of(page)
    asked = client.post(place, data=form)
    assert asked.status_code == 422
    assert "Forces need the air density" in asked.text
    rows = client.post(place, data={**form, "density_kgm3": "1,2"}).headers["location"]
    page = client.get(rows).text
    assert "3 rows give 2 cases; 1 row cannot be used" in page
    assert "Line 5, “Auftrieb hinten”: holds “n/c”, which is no number." in page
    head = {"name": "July", "recipe": "RANS", "written": ["Setup A", "B mk2"], "means": ["A", "B"]}
    refused = client.post(rows, data=head)
    assert refused.status_code == 422
    assert "Nothing was kept" in refused.text
    assert 'value="RANS"' in refused.text
    kept = client.post(rows, data={**head, "without_bad": "yes"}).headers["location"]
    found = client.get("/search", params={"q": "RANS july"}).text
    assert f'href="{kept}"' in found
    page = client.get(kept).text
    assert "2 cases of setups “Setup A” and “B mk2”: SCx 0.814 to 0.879 m²" in page
    assert "Line 5, “Auftrieb hinten”" in page
    cases = client.get("/api/predictions/cases", params={"car": CAR}).json()
    assert [one["case"]["setup"] for one in cases] == ["A", "B"]
    assert cases[0]["case"]["scz_rear_m2"] == [pytest.approx(279 / 240), 0.0]
    again = brought(client, AWKWARD.replace("195,4", "196")).headers["location"]
    page = client.get(again).text
    assert "A table with these headers was read before" in page
    assert form_of(page)["density_kgm3"] == "1,2"


def test_a_table_is_taken_back_and_a_set_withdrawn(site: Site) -> None:
    client = site.client
    place = brought(client, GOOD, name="gone.csv").headers["location"]
    assert "gone.csv" in client.get("/predictions", params={"car": CAR}).text
    client.post(f"{place}/drop")
    assert "gone.csv" not in client.get("/predictions", params={"car": CAR}).text
    assert client.get(place).status_code == 404


def test_refusals_stand_beside_the_form_and_keep_what_was_typed(site: Site) -> None:
    client = site.client
    nothing = client.post("/predictions/add", data={"car": CAR, "pasted": " "})
    large = client.post("/predictions/add", data={"car": CAR}, files={"pasted": (None, "a;1\n" * 300_000)})
    assert large.status_code == 400
    assert "a field holds more than 1 MB" in large.text
    assert (nothing.status_code, "Bring a table" in nothing.text) == (422, True)
    wrong = client.post("/predictions/add", data={"car": CAR, "pasted": "no table\nat all"})
    assert wrong.status_code == 422
    assert "pasted cells.txt holds no table" in wrong.text
    assert "no table\nat all" in wrong.text


def test_names_of_others_are_text(site: Site) -> None:
    table = GOOD.replace("b mk2", SCRIPT).replace("SCx [m2]", f"SCx {SCRIPT} [m2]")
    place = brought(site.client, table, name=f"{SCRIPT}.csv").headers["location"]
    assert SCRIPT not in site.client.get(place).text
    page = site.client.get(f"{place}/rows")
    assert SCRIPT not in page.text
    assert SCRIPT not in site.client.get("/predictions", params={"car": SCRIPT}).text


def test_by_a_program(program: httpx.Client) -> None:
    sent = {"car": CAR, "name": "By a program", "table": GOOD}
    seen = program.post("/api/predictions/rows", json=sent).json()
    assert [row["case"]["scx_m2"][0] for row in seen["rows"]] == [1.25, 1.26, 1.31]
    assert seen["columns"][3] == {"role": "drag", "unit": "m2"}
    bad = program.post("/api/predictions", json={**sent, "table": WITH_BAD})
    assert (bad.status_code, "“SCx [m2]”" in bad.json()["error"]) == (422, True)
    made = program.post("/api/predictions", json={**sent, "matches": {"b mk2": "B"}, "dated": "2026-07-01"})
    assert made.status_code == 201, made.text
    number = made.json()["id"]
    assert len(program.get(f"/api/predictions/{number}").json()["rows"]) == 3
    assert "b mk2" in program.get("/api/predictions/matching", params={"car": CAR}).json()["matches"]
    gone = program.post(f"/api/predictions/{number}/withdraw", json={"reason": "without the driver"})
    assert gone.json()["ended"] == "withdrawn"
    again = program.post(f"/api/predictions/{number}/withdraw", json={"reason": "twice"})
    assert again.status_code == 422
    assert number not in {one["set_id"] for one in program.get("/api/predictions/cases", params={"car": CAR}).json()}


def test_a_workbook_by_a_program(program: httpx.Client) -> None:
    import io

    import openpyxl  # type: ignore[import-untyped]

    book = openpyxl.Workbook()
    for row in (["Tap", "Config", "Cp"], ["P1", "A", -0.31], ["P2", "A", -0.28]):
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    headers = {"Content-Type": "application/octet-stream"}
    upload = program.post("/api/uploads?name=taps.xlsx", content=stream.getvalue(), headers=headers).json()
    made = program.post("/api/predictions", json={"car": CAR, "name": "Taps", "upload_id": upload["id"]})
    assert made.status_code == 201, made.text
    assert made.json()["kind"] == "taps"
    assert len(program.get("/api/predictions/taps", params={"car": CAR}).json()) == 2


PIECES = [*'A;,|\n\t"%\x00é', "b;", "1,2", "-3", "nan", "1e999", "N", "[m2]", "m²", "Cd"]
SAID = ["", "drag", "lift", "cp", "tap", "condition", "x", "nan", "-1", "1e9", "kg", "mm", "é" * 50]


def test_whatever_comes_by_the_pages_is_a_page_with_a_sentence(site: Site) -> None:
    """Malformed tables and forms through all three steps: never a mistake of the program, nothing kept."""
    client, generator = site.client, random.Random(2_600_301)
    before = client.get("/api/predictions").json()
    for _ in range(60):
        text = "".join(generator.choices(PIECES, k=generator.randrange(60)))
        text = generator.choice([text, f"Config;Cd [m2];x\n{text}", GOOD[: generator.randrange(len(GOOD))] + text])
        answer = brought(client, text)
        assert answer.status_code in (303, 422), text
        if answer.status_code == 422:
            assert 'role="alert"' in answer.text, text
            continue
        place = answer.headers["location"]
        form = form_of(client.get(place).text)
        for name in generator.sample(sorted(form), min(4, len(form))):
            form[name] = generator.choice(SAID)
        said = client.post(place, data=form)
        assert said.status_code in (303, 422), (text, form)
        rows = client.get(f"{place}/rows")
        assert rows.status_code in (200, 303), (text, form)
        kept = client.post(f"{place}/rows", data={"name": "", "dated": "x"})
        assert kept.status_code in (303, 422), (text, form)
        client.post(f"{place}/drop")
    assert client.get("/api/predictions").json() == before


def test_the_empty_page_teaches(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with client_of(app) as client:
        page = client.get("/predictions").text
        assert "bring a table of CFD cases" in page
        assert "Cl front [-]" in page
        assert client.get("/help/predictions").status_code == 200
