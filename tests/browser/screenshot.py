"""The README's picture: `python -m tests.browser.screenshot` fits a sample day and writes web/help."""

from __future__ import annotations

import base64
import tempfile
from pathlib import Path

import httpx

from server.app import create_app
from server.locations import sample_day_folders, web_folder
from server.settings import Settings
from tests.browser.chromium import Browser, start_chrome
from tests.web.serving import served, wait_for

DAY = "calm morning"
FIT_S = 300
WIDTH_PX, HEIGHT_PX = 1180, 1160


def main() -> None:
    """Fit, open, take the picture."""
    folder = next(day for day in sample_day_folders() if DAY in day.name)
    with tempfile.TemporaryDirectory() as scratch:
        app = create_app(Settings(data_folder=Path(scratch) / "data", day_folder=folder))
        chrome = start_chrome(Path(scratch) / "profile")
        try:
            with served(app) as address:
                wait_for(lambda: httpx.get(f"{address}/days/1/result").status_code == 200, FIT_S)
                browser = Browser(chrome, address)
                metrics = {"width": WIDTH_PX, "height": HEIGHT_PX, "deviceScaleFactor": 1, "mobile": False}
                chrome.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
                browser.device_theme("light")
                browser.open("/days/1/result")
                browser.until(lambda: browser.all("[data-drawn] .main-svg"), "the figure")
                picture = chrome.execute_cdp_cmd("Page.captureScreenshot", {})["data"]
        finally:
            chrome.quit()
    (web_folder() / "help" / "screenshot.png").write_bytes(base64.b64decode(picture))


if __name__ == "__main__":
    main()
