"""Long work in a real browser: a study and a season started, watched, left, called off; how their pages look."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.history.verify_job import VERIFY_KINDS
from server.settings import Settings
from tests.browser.chromium import SIZES, Browser
from tests.browser.conftest import _fresh
from tests.browser.test_looks import TARGETS, TEXTS
from tests.results.fake_long import LONG_KINDS
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import SMALL_DAY, keep_made_up, served
from tests.web.test_styles import contrast

pytestmark = pytest.mark.browser
PICTURES = os.environ.get("STILLAIR_PICTURES", "")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("long")
    app = create_app(Settings(data_folder=folder / "data"), {**KINDS, **LONG_KINDS, **VERIFY_KINDS})
    with served(app) as at:
        for name in ("Long apron", "unreadable"):
            toml = SMALL_DAY.replace("Long apron", name)
            keep_made_up(app.state.archive, made_up_day_result("AB"), folder / name, name, toml)
        yield at


@pytest.fixture
def browser(chrome: webdriver.Chrome, address: str, tmp_path: Path) -> Iterator[Browser]:
    yield _fresh(chrome, address, tmp_path)
    chrome.get("about:blank")


def looks_right(browser: Browser, name: str) -> None:
    """At every size, in both themes: readable, touchable, nothing sticks out, no complaint."""
    for theme in ("light", "dark"):
        browser.device_theme(theme)
        texts = browser.run(TEXTS)
        assert [text for text in texts if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == [], theme
    for size in SIZES:
        browser.size(size)
        assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0, size
        assert [target for target in browser.run(TARGETS) if target[2] < 48] == [], size
        for theme in ("light", "dark") if PICTURES else ():
            browser.device_theme(theme)
            browser.driver.save_screenshot(f"{PICTURES}/{name}-{size}-{theme}.png")
    browser.size("tablet")
    browser.device_theme("light")
    assert browser.complaints() == []


def test_a_study_from_the_result_to_its_table(browser: Browser) -> None:
    browser.open("/days/1/result/study")
    looks_right(browser, "study-none")
    days = browser.one("#study-days")
    days.clear()
    days.send_keys("60", Keys.ENTER)
    browser.until(lambda: "made-up days like this one" in browser.text() and "RMS(error/u)" in browser.text())
    assert browser.driver.current_url.rpartition("/")[0].endswith("/days/1/studies")
    looks_right(browser, "study")
    browser.open("/days/1/result/study")
    assert "of 60 intervals of SCx of setup A held the truth" in browser.text()
    looks_right(browser, "study-part")


def test_work_that_is_left_can_be_come_back_to_and_called_off(browser: Browser) -> None:
    browser.open("/days/1/result/study")
    days = browser.one("#study-days")
    days.clear()
    days.send_keys("5000", Keys.ENTER)
    browser.until(lambda: "of 5,000 days" in browser.text(), "the work's page")
    looks_right(browser, "job")
    browser.open("/jobs")
    browser.until(lambda: "of 5,000 days" in browser.text(), "the list of work")
    assert browser.all("progress")
    looks_right(browser, "jobs-running")
    button = browser.one("form[action$=cancel] button")
    button.send_keys(Keys.ENTER)
    browser.until(lambda: "called off" in browser.text(), "that it was called off")
    assert not browser.all("progress")


def test_a_season_fitted_again_tells_what_moved_and_what_failed(browser: Browser) -> None:
    browser.open("/jobs")
    browser.driver.find_element(By.XPATH, "//button[.='Fit all days again']").click()
    browser.until(lambda: "2 days fitted again" in browser.text() and "could not be fitted" in browser.text())
    assert "line 48,113" in browser.text()
    assert "What moved" not in browser.text()
    looks_right(browser, "refit")
    browser.open("/jobs")
    browser.driver.find_element(By.LINK_TEXT, "what moved").click()
    browser.until(lambda: "Fitted again" in browser.driver.title)


def test_the_archive_is_checked_without_scripts_too(browser: Browser) -> None:
    browser.open("/jobs")
    browser.driver.find_element(By.XPATH, "//button[.='Check the archive']").click()
    browser.until(lambda: "as it was kept" in browser.text(), "what was found")
    looks_right(browser, "verified")


@pytest.mark.parametrize("page", ["/help/api", "/help/jobs", "/jobs"])
def test_pages_look_right(browser: Browser, page: str) -> None:
    browser.open(page)
    looks_right(browser, page.strip("/").replace("/", "-"))
