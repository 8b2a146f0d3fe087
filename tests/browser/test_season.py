"""The season, search and the way to the raw file in a real browser: keyboard alone, every screen, both themes, axe."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.settings import Settings
from tests.benchmarks.full_archive import fill
from tests.browser.chromium import SIZES, Browser
from tests.browser.conftest import _fresh
from tests.browser.test_looks import OUTSIDE, TARGETS, TEXTS
from tests.web.fake_fit import KINDS
from tests.web.serving import served
from tests.web.test_styles import contrast

PAGES = [
    *("/", "/?year=all", "/search?q=gust", "/cars"),
    *("/history", "/history/5", "/days/2/origin", "/days/2/revisions/1"),
]


@pytest.fixture(scope="module")
def season_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("season")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with served(app) as address:
        fill(app.state.archive, folder / "scratch", 34, 3)
        yield address


@pytest.fixture
def season(chrome: webdriver.Chrome, season_address: str, tmp_path: Path) -> Iterator[Browser]:
    yield _fresh(chrome, season_address, tmp_path)
    chrome.get("about:blank")


def press(season: Browser, *keys: str) -> None:
    ActionChains(season.driver).send_keys(*keys).perform()


def tab_to(season: Browser, selector: str, most: int = 60) -> None:
    """Go on with the tab key until the element has the focus."""
    for _ in range(most):
        press(season, Keys.TAB)
        if season.run("return document.activeElement.matches(arguments[0])", selector):
            return
    raise AssertionError(f"the tab key does not reach {selector}")


def drawn(season: Browser) -> None:
    season.until(lambda: season.all("#plot-timeline[data-drawn] .main-svg"), "the timeline")


def test_a_season_is_looked_at_by_keyboard_alone(season: Browser) -> None:
    """On a tablet's width: another year, one car, the figure's table, a finding's day, and back by the search."""
    season.open("/")
    drawn(season)
    assert season.one("h1").text == "Season 2024"
    tab_to(season, "#season-2023")
    press(season, Keys.ENTER)
    season.until(lambda: season.one("h1").text == "Season 2023", "the other season")
    tab_to(season, "#car-1")
    press(season, Keys.ENTER)
    season.until(lambda: "14 test days, 42 runs, 4 setups in 2023 of Wisp 6" in season.text(), "the one car")
    drawn(season)
    tab_to(season, ".plot-table summary")
    press(season, Keys.ENTER)
    season.until(lambda: len(season.all(".plot-table-body tbody tr")) == 14 * 4, "the table")
    tab_to(season, ".value-text")
    assert season.one(".value-detail").is_displayed()
    tab_to(season, ".finding a")
    press(season, Keys.ENTER)
    season.until(lambda: "/help/findings" in season.driver.current_url, "the finding's meaning")
    tab_to(season, "#find")
    press(season, "rear_flap 34", Keys.ENTER)
    season.until(lambda: "Setups and their parts" in season.text(), "what was found")
    tab_to(season, "main .found a")
    press(season, Keys.ENTER)
    season.until(lambda: season.driver.current_url.endswith("/car"), "the setup's day")
    assert season.complaints() == []


def test_the_season_answers_without_scripts(season: Browser) -> None:
    season.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        season.open("/?year=2023")
        assert "SCx stands" in season.text()
        season.one(".plot-area a").click()
        season.until(lambda: "Season: SCx of every setup on every day" in season.text(), "the table")
    finally:
        season.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", PAGES)
def test_pages_fit_their_screen_and_can_be_touched(season: Browser, path: str, size: str) -> None:
    season.size(size)
    season.open(path)
    assert season.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in season.run(TARGETS) if target[2] < 48] == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_texts_can_be_read_and_axe_finds_nothing(season: Browser, path: str, theme: str) -> None:
    season.device_theme(theme)
    season.open(path)
    texts = season.run(TEXTS)
    assert [text for text in texts if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == []
    found = Axe().run(season.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("query", ["", "?year=all", "?year=2023&car=Wisp+5"])
def test_the_timeline_keeps_to_its_frame(season: Browser, query: str, size: str) -> None:
    season.size(size)
    season.open(f"/{query}")
    season.run("arguments[0].scrollIntoView({block: 'center'})", season.one("[data-plot]"))
    drawn(season)
    assert season.run(OUTSIDE) == []
    assert season.complaints() == []


def test_the_timeline_is_saved_as_a_picture(season: Browser, tmp_path: Path) -> None:
    season.open("/")
    drawn(season)
    season.one("[data-save=svg]").click()
    file = tmp_path / "downloads" / "season-timeline.svg"
    season.until(file.exists, "the file")
    assert season.complaints() == []
