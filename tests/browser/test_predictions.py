"""Predictions in a real browser: an awkward table brought in by keyboard alone, and every page on every screen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.settings import Settings
from tests.browser.chromium import SIZES, Browser
from tests.browser.conftest import _fresh
from tests.browser.test_looks import TARGETS, TEXTS
from tests.browser.test_planning import press, tab_to
from tests.browser.test_repairs import type_over
from tests.predictions.made_sets import CAR, WITH_BAD, keep_made_day, keep_table_as_set
from tests.web.fake_fit import KINDS
from tests.web.serving import served
from tests.web.test_predictions import AWKWARD
from tests.web.test_styles import contrast

MATCHING = "/predictions/matching?car=Apron+12"
PAGES = ("/predictions", "/predictions/1", "/predictions/add", MATCHING, "/help/predictions")


@pytest.fixture
def page(chrome: webdriver.Chrome, tmp_path: Path) -> Iterator[Browser]:
    """A car with three setups and one set that lacks a bad row; its second name is matched to nothing yet."""
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with served(app) as address:
        keep_made_day(app.state.archive, tmp_path / "day")
        keep_table_as_set(app.state.archive, WITH_BAD, without_bad=True)
        yield _fresh(chrome, address, tmp_path)
        chrome.get("about:blank")


def test_an_awkward_table_by_keyboard_alone(page: Browser) -> None:
    """From the car's sets to a kept one: pasted, its sign and density said, a bad row left out, names matched."""
    page.open("/predictions")
    tab_to(page, "main a[href*='/predictions/add']")
    press(page, Keys.ENTER)
    page.one("#p-pasted")
    tab_to(page, "#p-car")
    type_over(page, CAR)
    tab_to(page, "#p-pasted")
    press(page, AWKWARD)
    tab_to(page, "main form .filled")
    press(page, Keys.ENTER)
    page.until(lambda: "7 of 7 columns were recognised" in page.text(), "the columns")
    tab_to(page, "main form .filled")
    press(page, Keys.ENTER)
    page.until(lambda: "Forces need the air density" in page.text(), "what is missing")
    tab_to(page, "#said-density_kgm3")
    press(page, "1,2", Keys.ENTER)
    page.until(lambda: "3 rows give 2 cases; 1 row cannot be used" in page.text(), "the rows")
    tab_to(page, ".become summary")
    press(page, Keys.ENTER)
    assert "SCx = 195.4 N / (½ × 1.2 kg/m³ × (20 m/s)²) = 0.814167 m²" in page.text()
    tab_to(page, "#means-2")
    press(page, "B")
    tab_to(page, "#s-recipe")
    press(page, "RANS, 14 million cells", Keys.ENTER)
    page.until(lambda: "Nothing was kept" in page.text(), "the refusal")
    assert page.one("#s-recipe").get_property("value") == "RANS, 14 million cells"
    tab_to(page, "[name=without_bad]")
    press(page, Keys.SPACE)
    tab_to(page, "main form .filled")
    press(page, Keys.ENTER)
    page.until(lambda: "2 cases of setups “Setup A” and “B mk2”" in page.text(), "the set")
    assert "Line 5, “Auftrieb hinten”: holds “n/c”, which is no number." in page.text()
    assert "is B" in page.text()
    assert [one for one in page.complaints() if "422" not in one] == []


def test_the_pages_fit_every_screen_and_can_be_read(page: Browser) -> None:
    page.open("/predictions/add")
    page.run("arguments[0].value = arguments[1]", page.one("#p-pasted"), AWKWARD)
    page.one("main form .filled").click()
    page.until(lambda: "recognised" in page.text(), "the columns")
    columns = page.run("return location.pathname")
    page.run("document.querySelector('#said-density_kgm3').value = '1.2'")
    page.one("main form .filled").click()
    page.until(lambda: "cannot be used" in page.text(), "the rows")
    for path in (*PAGES, columns, f"{columns}/rows"):
        page.open(path)
        for size in SIZES:
            page.size(size)
            assert page.run("return document.documentElement.scrollWidth - innerWidth") <= 0, (path, size)
            assert [target for target in page.run(TARGETS) if target[2] < 48] == [], (path, size)
        page.size("tablet")
        for theme in ("light", "dark"):
            page.device_theme(theme)
            pale = [text for text in page.run(TEXTS) if contrast(text[1], text[2]) < 7.0 or text[3] < 17]
            assert pale == [], (path, theme)
        found = Axe().run(page.driver)["violations"]
        assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == [], path
