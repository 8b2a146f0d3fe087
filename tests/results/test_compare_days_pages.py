"""The page that compares setups over days: in words, as a forest, as tables; its choices by address; its refusals."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import httpx
import numpy as np
import pytest

from server.analysis.result import BudgetLine, DayResult, Joint
from server.app import create_app
from server.settings import Settings
from tests.results.test_compare_pages import DAY
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up

DAYS = ((1.40, 1.52, 1.41), (1.42, 1.55, 1.43), (1.39, 1.50))


def made(values: tuple[float, ...]) -> DayResult:
    """A day whose areas share an error of 1 % and have 8 mm² hundredths of their own."""
    names, areas = tuple("ABC"[: len(values)]), np.array(values)
    loads = 0.01 * areas
    joint = Joint(names, "m²", areas, np.outer(loads, loads) + 0.008**2 * np.eye(len(areas)))
    bare = made_up_day_result("".join(names))
    about = ("SCx", "speed scale", 1.0, 0.01, "1")
    lines = [BudgetLine(*about, load / 0.01, load, "B", "typed") for load in loads.tolist()]
    split = tuple(replace(one, budget=(line,)) for one, line in zip(bare.setups, lines, strict=True))
    return replace(bare, setups=split, joint={"SCx": joint})


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    folder = tmp_path_factory.mktemp("over-days")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        for number, values in enumerate(DAYS, 1):
            keep_made_up(app.state.archive, made(values), folder / str(number), f"Day {number}", DAY)
        keep_made_up(app.state.archive, made_up_day_result("AB"), folder / "old", "Old day", DAY)
        yield client


def text_of(answer: httpx.Response) -> str:
    assert answer.status_code == 200, answer.text
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def test_the_answer_stands_first_and_says_whether_days_agree(client: httpx.Client) -> None:
    text = text_of(client.get("/season/compare"))
    assert re.search(r"SCx against A over 3 days: B \+0\.1\d\d ± 0\.02\d m² \(more than A\)\. Of C these 3 days", text)
    assert "The days agree within their own errors" in text
    assert "2 ran both, 1 one of the two" in text
    assert "Old day: its result was kept before setups were told together: fit it again." in text


def test_setups_baseline_days_and_quantity_are_chosen_by_address(client: httpx.Client) -> None:
    text = text_of(client.get("/season/compare?baseline=B&setup=A&setup=B&day=1&day=2"))
    assert re.search(r"SCx against B over 2 days: A −0\.12\d ± 0\.0\d+ m² \(less than B\)\.", text)
    page = client.get("/season/compare?baseline=B&setup=A&setup=B&day=1&day=2").text
    assert re.findall(r'name="day" value="(\d)" checked', page) == ["2", "1"]
    assert re.findall(r'name="setup" value="(\w)" checked', page) == ["A", "B"]
    assert "No chosen day measured LD of A" in text_of(client.get("/season/compare?quantity=LD"))
    assert "against A over 3 days" in text_of(client.get("/season/compare?baseline=nobody&setup=x&day=y"))


def test_the_forest_and_its_numbers_come(client: httpx.Client) -> None:
    drawn = client.get("/season/compare/differences.json")
    assert drawn.status_code == 200
    labels = drawn.json()["figure"]["layout"]["yaxis"]["ticktext"]
    assert sum("Day" in one for one in labels) == 6
    rows = client.get("/season/compare/differences.csv").text.splitlines()
    assert sum(",all days," in row for row in rows) == 2
    assert sum("ran only A" in row for row in rows) == 1
    assert "left out" in rows[-1]
    assert "<table" in client.get("/season/compare/differences/table").text
    part = client.get("/season/compare/differences/table", headers={"HX-Request": "true"}).text
    assert "<html" not in part
    assert client.get("/season/compare/nothing.json").status_code == 404
    assert client.get("/season/compare/differences.json?quantity=LD").status_code == 404


def test_season_and_the_day_lead_here(client: httpx.Client) -> None:
    for place in ("/", "/days/1/compare"):
        assert 'href="/season/compare"' in client.get(place).text


def test_an_empty_archive_teaches(tmp_path: Path) -> None:
    with client_of(create_app(Settings(data_folder=tmp_path / "data"), KINDS)) as client:
        assert "add a day and fit it, then compare" in text_of(client.get("/season/compare"))
