"""Setups compared over the days of a season in a real browser: from the season's page, by choice, without a mouse."""

from __future__ import annotations

from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.settings import Settings
from tests.browser.chromium import SIZES, Browser
from tests.results.test_compare_days_pages import DAYS, made
from tests.results.test_compare_pages import DAY
from tests.web.fake_fit import KINDS
from tests.web.serving import keep_made_up, served

pytestmark = pytest.mark.browser


def test_from_the_season_to_a_comparison_of_chosen_days(chrome: webdriver.Chrome, tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with served(app) as address:
        for number, values in enumerate(DAYS, 1):
            keep_made_up(app.state.archive, made(values), tmp_path / str(number), f"Day {number}", DAY)
        browser = Browser(chrome, address)
        browser.size("tablet")
        browser.open("/")
        browser.one('a[href="/season/compare"]').send_keys(Keys.ENTER)
        browser.until(lambda: "SCx against A over 3 days: B +0.1" in browser.text(), "the sentence")
        browser.until(lambda: browser.all(".plot-area .main-svg"), "the forest")
        assert "The days agree" in browser.text()
        browser.one('input[name="day"][value="3"]').send_keys(Keys.SPACE)
        browser.one('input[name="setup"][value="C"]').send_keys(Keys.SPACE)
        browser.one("#choose button").send_keys(Keys.ENTER)
        browser.until(lambda: "over 2 days" in browser.text(), "two days")
        assert not browser.one('input[name="day"][value="3"]').is_selected()
        assert "could not tell" not in browser.text()
        for name in SIZES:
            browser.size(name)
            assert browser.run("return document.documentElement.scrollWidth <= window.innerWidth"), name
        assert browser.complaints() == []
