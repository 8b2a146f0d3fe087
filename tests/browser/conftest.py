"""A real Chromium over the real pages; the fit itself is a stand-in unless a test says otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver

from server.app import create_app
from server.settings import Settings
from tests.browser.chromium import Browser, start_chrome
from tests.results.made_loads import loaded_day
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import keep_made_up, served


@pytest.fixture(scope="module")
def chrome(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    driver = start_chrome(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture
def browser(chrome: webdriver.Chrome, tmp_path: Path) -> Iterator[Browser]:
    """An empty archive in a fresh browser state."""
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with served(app) as address:
        yield _fresh(chrome, address, tmp_path)
        chrome.get("about:blank")


@pytest.fixture(scope="module")
def shown_address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("shown")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with served(app) as address:
        keep_made_up(app.state.archive, made_up_day_result("AB"), folder / "one", "Long <b>apron</b>")
        keep_made_up(app.state.archive, made_up_day_result("ABC", seed=3), folder / "two", "Second day")
        keep_made_up(app.state.archive, loaded_day("ABC"), folder / "three", "Day with dampers")
        yield address


@pytest.fixture
def shown(chrome: webdriver.Chrome, shown_address: str, tmp_path: Path) -> Iterator[Browser]:
    """Three made-up days, the third with axle loads, for tests that only read."""
    yield _fresh(chrome, shown_address, tmp_path)
    chrome.get("about:blank")


def _fresh(chrome: webdriver.Chrome, address: str, downloads: Path) -> Browser:
    browser = Browser(chrome, address)
    browser.complaints()
    chrome.delete_all_cookies()
    browser.size("tablet")
    browser.device_theme("light")
    chrome.execute_cdp_cmd(
        "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(downloads / "downloads")}
    )
    return browser
