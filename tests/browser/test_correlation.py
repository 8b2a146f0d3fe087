"""A verdict read, doubted and found again in a real browser; every screen, both themes, axe."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium import webdriver

from tests.browser.chromium import SIZES, Browser
from tests.browser.conftest import _fresh
from tests.browser.test_looks import OUTSIDE, TARGETS, TEXTS
from tests.correlation.measured_sites import measured_app
from tests.web.serving import served
from tests.web.test_styles import contrast

VERDICT = "/correlation/verdict?car=Wisp+5&setup=C&quantity=SCx"
WORTH, TAPS = "/correlation/worth?car=Wisp+5", "/correlation/taps?car=Wisp+5"


@pytest.fixture(scope="module")
def correlated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(measured_app(tmp_path_factory.mktemp("correlated"))) as address:
        yield address


@pytest.fixture
def page(chrome: webdriver.Chrome, correlated: str, tmp_path: Path) -> Iterator[Browser]:
    yield _fresh(chrome, correlated, tmp_path)
    chrome.get("about:blank")


def test_from_the_season_a_doubt_is_written_down_and_stays_open(page: Browser) -> None:
    page.open("/correlation")
    for name in ("totals", "changes", "together"):
        page.run("arguments[0].scrollIntoView({block: 'center'})", page.one(f"#plot-{name}"))
        page.until(lambda name=name: page.all(f"#plot-{name}[data-drawn] .main-svg"), f"the figure {name}")
    page.run("arguments[0].click()", page.one(".button.filled"))
    page.until(lambda: "What the doubt is made of" in page.text(), "the verdict")
    page.run("document.querySelector('#stance').value = 'doubted'")
    page.one("#text").send_keys("Was the radiator in the mesh?")
    page.run("arguments[0].click()", page.one("form[action*='verdict'] .filled"))
    page.until(lambda: "doubted" in page.one("#decisions").text, "the decision")
    page.open("/")
    assert "Was the radiator in the mesh?" in page.text()
    page.run("arguments[0].click()", page.one("a[href*='/correlation/verdict']"))
    page.until(lambda: "Was the radiator in the mesh?" in page.text(), "the verdict again")
    assert page.complaints() == []


@pytest.mark.parametrize("size", SIZES)
def test_pages_fit_their_screen_and_can_be_touched(page: Browser, size: str) -> None:
    page.size(size)
    for path in ("/correlation", VERDICT, WORTH, TAPS, "/help/correlation"):
        page.open(path)
        assert page.run("return document.documentElement.scrollWidth - innerWidth") <= 0, path
        assert [target for target in page.run(TARGETS) if target[2] < 48] == [], path
    page.open("/correlation")
    page.run("arguments[0].scrollIntoView({block: 'center'})", page.one("#plot-totals"))
    page.until(lambda: page.all("#plot-totals[data-drawn] .main-svg"), "the figure")
    assert page.run(OUTSIDE) == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_texts_can_be_read_and_axe_finds_nothing(page: Browser, theme: str) -> None:
    page.device_theme(theme)
    for path in ("/correlation", VERDICT, WORTH, TAPS, "/help/correlation"):
        page.open(path)
        assert [text for text in page.run(TEXTS) if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == [], path
        found = Axe().run(page.driver)["violations"]
        assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == [], path
