"""The page that compares setups: in words, as figures, as tables; over a setting; and what it says where it can't."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import numpy as np
import pytest

from server.analysis.result import DayResult, Joint
from server.app import create_app
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up

DAY = """format = 1
name = "Flap day"
car.mass_kg = 236.0
weather = [{ pressure_hpa = 1009.0, temperature_c = 17.0 }]
setups = [
  { name = "A", parts = { flap_deg = 20 } },
  { name = "B", baseline = "A", parts = { flap_deg = 25 } },
  { name = "C", baseline = "A", parts = { flap_deg = 30 } },
]
runs = [{ number = 1, setup = "A", log = "logs/run01.csv", driver_mass_kg = 72.0 }]
"""
TOLD, ONE, OLD, SQUARE = 1, 2, 3, 4
NAMES = "ABCDEFGH"
PLACES = [(flap, height) for flap in (20, 25, 30) for height in (30, 33, 36)][:8]
SQUARE_DAY = f"""format = 1
name = "Flap and height"
car.mass_kg = 236.0
weather = [{{ pressure_hpa = 1009.0, temperature_c = 17.0 }}]
setups = [{", ".join(
    f'{{ name = "{name}", rear_ride_height_mm = {height}, parts = {{ flap_deg = {flap} }} }}'
    for name, (flap, height) in zip(NAMES, PLACES, strict=True)
)}]
runs = [{{ number = 1, setup = "A", log = "logs/run01.csv", driver_mass_kg = 72.0 }}]
"""


def joint(values: tuple[float, ...], shared: float = 3e-4, own: float = 1e-4) -> Joint:
    names = tuple("ABC"[: len(values)])
    return Joint(names, "m²", np.array(values), shared + own * np.eye(len(values)))


def made(values: tuple[float, ...]) -> DayResult:
    bare = made_up_day_result("ABC")
    return replace(bare, joint={"SCx": joint(values), "SCz": joint(tuple(2 * v for v in values))})


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    folder = tmp_path_factory.mktemp("compared")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        for number, result in ((TOLD, made((1.40, 1.52, 1.41))), (ONE, made((1.40,))), (OLD, made_up_day_result("AB"))):
            kept = keep_made_up(app.state.archive, result, folder / str(number), f"Day {number}", DAY)
            assert kept == number
        hill = [1.5 - 0.004 * (flap - 25.5) ** 2 - 0.003 * (height - 32.5) ** 2 for flap, height in PLACES]
        areas = Joint(tuple(NAMES), "m²", np.array(hill), 3e-4 + 4e-6 * np.eye(8))
        square = replace(made_up_day_result(NAMES), joint={"SCx": areas})
        assert keep_made_up(app.state.archive, square, folder / "4", "Square", SQUARE_DAY) == SQUARE
        yield client


def text_of(answer: httpx.Response) -> str:
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def test_the_answer_stands_first_with_its_intervals(client: httpx.Client) -> None:
    text = text_of(client.get(f"/days/{TOLD}/compare"))
    # factor about 2.21, u of a difference √2·0.01: ± 0.031
    assert re.search(r"SCx against A: B \+0\.120 ± 0\.031 m² \(more than A\)\. Of C this day could not tell SCx", text)
    assert "it would have seen 0.040 m²" in text
    assert "flap 20° → 25°" in text


def test_any_setup_can_be_the_baseline_and_any_quantity_looked_at(client: httpx.Client) -> None:
    text = text_of(client.get(f"/days/{TOLD}/compare?baseline=B&quantity=SCz"))
    assert re.search(r"SCz against B: A −0\.240 ± 0\.03\d m² \(less than B\)", text)
    assert text_of(client.get(f"/days/{TOLD}/compare?baseline=nobody&quantity=nothing&over=x")).count("against A") > 0


def test_over_a_setting_the_best_is_told_with_its_interval(client: httpx.Client) -> None:
    text = text_of(client.get(f"/days/{TOLD}/compare"))
    assert re.search(r"SCx is largest at flap 25\.\d+° \(95 %: 2\d\.\d+° to 2\d\.\d+°\), of 20 to 30° tried", text)


@pytest.mark.parametrize("name", ["differences", "over"])
def test_each_figure_and_its_numbers_come(client: httpx.Client, name: str) -> None:
    query = "?quantity=SCx&baseline=A&over=flap_deg"
    drawn = client.get(f"/days/{TOLD}/compare/{name}.json{query}")
    assert drawn.status_code == 200
    assert drawn.json()["figure"]["data"]
    rows = client.get(f"/days/{TOLD}/compare/{name}.csv{query}").text.splitlines()
    assert len(rows) == {"differences": 3, "over": 25}[name]
    assert "<table" in client.get(f"/days/{TOLD}/compare/{name}/table{query}").text
    part = client.get(f"/days/{TOLD}/compare/{name}/table{query}", headers={"HX-Request": "true"}).text
    assert "<html" not in part


def test_what_cannot_be_compared_is_said(client: httpx.Client) -> None:
    assert "Only one setup of this day has a drag area" in text_of(client.get(f"/days/{ONE}/compare"))
    assert "fit the day again" in text_of(client.get(f"/days/{OLD}/compare"))
    for number in (ONE, OLD):
        for name in ("differences", "over", "nothing"):
            assert client.get(f"/days/{number}/compare/{name}.csv").status_code == 404
    assert client.get("/days/99/compare").status_code == 404


def test_names_are_text(tmp_path: Path) -> None:
    name = "<b>B</b>"
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    named = Joint(("A", name), "m²", np.array([1.4, 1.5]), 1e-4 * np.eye(2))
    with client_of(app) as client:
        bare = made_up_day_result("AB")
        setups = (bare.setups[0], replace(bare.setups[1], name=name))
        result = replace(bare, joint={"SCx": named}, setups=setups, comparisons=())
        keep_made_up(app.state.archive, result, tmp_path / "day", "Day", DAY.replace('name = "B"', f'name = "{name}"'))
        page = client.get("/days/1/compare").text
    assert name not in page
    assert "&lt;b&gt;B&lt;/b&gt;" in page


def test_over_two_settings_the_best_is_told_and_drawn(client: httpx.Client) -> None:
    text = text_of(client.get(f"/days/{SQUARE}/compare"))
    assert re.search(r"SCx is largest at flap 25\.\d+° \(95 %: \S+ to \S+\) and rear ride height 32\.\d+ mm", text)
    drawn = client.get(f"/days/{SQUARE}/compare/surface.json").json()["figure"]["data"]
    assert [one["type"] for one in drawn].count("contour") == 2
    assert len(drawn) == 2 + 1 + 8
    rows = client.get(f"/days/{SQUARE}/compare/surface.csv").text.splitlines()
    assert rows[-1].startswith("largest,")
    assert sum(row.startswith("surface,") for row in rows) > 60
    assert client.get(f"/days/{TOLD}/compare/surface.json").status_code == 404
    assert "Over two settings" not in text_of(client.get(f"/days/{TOLD}/compare"))
