"""The page of a day whose coast-downs were typed by hand: six points a pass, and it says that no log exists."""

from __future__ import annotations

import re
from collections.abc import Iterator

import httpx
import pytest

from server.analysis.day_fit import fit_day
from server.app import create_app
from server.figures.catalogue import figure_names
from server.results.pages import SECTIONS
from server.settings import Settings
from tests.analysis.typed_days import exact_sheet, typed_day
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of, keep_made_up

FEWEST, SIX = 1, 2


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    folder = tmp_path_factory.mktemp("shown")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        for number, marks in ((FEWEST, (80, 30)), (SIX, (80, 70, 60, 50, 40, 30))):
            result = fit_day(typed_day(folder / f"typed{number}", exact_sheet(marks, 2)))
            assert keep_made_up(app.state.archive, result, folder / str(number), f"Day {number}") == number
            assert set(figure_names(result)) >= {"passes", "forest", "innovations", "budget", "two-methods"}
        yield client


@pytest.mark.parametrize("day", [FEWEST, SIX])
def test_the_page_renders_and_says_that_no_log_exists(client: httpx.Client, day: int) -> None:
    page = client.get(f"/days/{day}/result")
    assert page.status_code == 200
    assert "No log exists of run 1" in re.sub(r"\s+", " ", page.text)
    for section in SECTIONS:
        assert client.get(f"/days/{day}/result/{section}").status_code == 200, section


@pytest.mark.parametrize("day", [FEWEST, SIX])
@pytest.mark.parametrize("name", ["passes", "forest", "innovations", "budget", "two-methods"])
def test_every_figure_and_its_table_comes(client: httpx.Client, day: int, name: str) -> None:
    for form in (f"{name}.json", f"{name}.csv", f"{name}/table"):
        answer = client.get(f"/days/{day}/figures/{form}")
        assert answer.status_code == 200, form
        assert "NaN" not in answer.text
