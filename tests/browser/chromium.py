"""A headless Chromium, and the few moves that tests and the screenshot make in it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars"),
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
        # While a page is replaced by the next, what was found on the first is gone: that is "not yet", no fault.
        wait = WebDriverWait(self.driver, seconds, 0.05, ignored_exceptions=[StaleElementReferenceException])
        return wait.until(lambda _: condition(), what)

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


def start_chrome(profile: Path) -> webdriver.Chrome:
    """A browser with a profile of its own, whose console is kept."""
    options = webdriver.ChromeOptions()
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.binary_location = next(filter(None, map(shutil.which, BROWSERS)))
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options, Service(shutil.which("chromedriver")))
