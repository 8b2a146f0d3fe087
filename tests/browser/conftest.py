"""A real Chromium over the real pages; the fit itself is a stand-in unless a test says otherwise."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from server.app import create_app
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import keep_made_up, served

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *(
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-dev-shm-usage",
    ),
)
WAIT_S = 30
SIZES = {"tablet": (1180, 820), "desk": (1440, 900), "phone": (390, 844)}


@dataclass
class Browser:
    """A driver with the few moves that the tests make."""

    driver: webdriver.Chrome
    address: str

    def open(self, path: str) -> None:
        self.driver.get(self.address + path)

    def all(self, selector: str) -> list[WebElement]:
        return self.driver.find_elements(By.CSS_SELECTOR, selector)

    def one(self, selector: str) -> WebElement:
        self.until(lambda: self.all(selector), selector)
        return self.all(selector)[0]

    def until(self, condition, what: str = "", seconds: float = WAIT_S):  # type: ignore[no-untyped-def]
        return WebDriverWait(self.driver, seconds, 0.05).until(lambda _: condition(), what)

    def text(self) -> str:
        return self.driver.find_element(By.TAG_NAME, "main").text

    def run(self, script: str, *arguments: object):  # type: ignore[no-untyped-def]
        return self.driver.execute_script(script, *arguments)

    def size(self, name: str) -> None:
        width, height = SIZES[name]
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    def device_theme(self, name: str) -> None:
        features = [{"name": "prefers-color-scheme", "value": name}]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})

    def complaints(self) -> list[str]:
        """What the console holds that is not just information: errors, policy violations, warnings."""
        return [line["message"] for line in self.driver.get_log("browser") if line["level"] != "INFO"]


@pytest.fixture(scope="module")
def chrome(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.binary_location = next(filter(None, map(shutil.which, BROWSERS)))
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, Service(shutil.which("chromedriver")))
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
        yield address


@pytest.fixture
def shown(chrome: webdriver.Chrome, shown_address: str, tmp_path: Path) -> Iterator[Browser]:
    """Two made-up days, for tests that only read."""
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
