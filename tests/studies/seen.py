"""How soon what is typed on one tablet stands on another: a real server, two real browsers on a day's page.

From the click that keeps a note or a reading of the air to its words on the other page, by the clock of this computer.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median

import httpx

from server.locations import sample_day_folders
from server.testday.folder import read_folder
from tests.browser.chromium import Browser, start_chrome
from tests.studies.prompt import zipped
from tests.uploads.killed import running

LONGEST_S = 60.0
CLICK = "const at = Date.now(); arguments[0].click(); return at"
WATCH = """
const words = arguments[0];
window.seenAt = null;
window.watching?.disconnect();
window.watching = new MutationObserver(() => {
  if (!window.seenAt && document.querySelector("main").innerText.includes(words)) window.seenAt = Date.now();
});
window.watching.observe(document.body, { subtree: true, childList: true, characterData: true });
"""


def report(times: int) -> Iterator[str]:
    """What is typed, and how long it took to be seen."""
    [folder] = [one for one in sample_day_folders() if "calm morning" in one.name]
    day = read_folder(folder)
    with tempfile.TemporaryDirectory() as scratch, running(Path(scratch) / "data") as (_, address):
        client = httpx.Client(base_url=address, headers={"Origin": address}, timeout=60)
        client.post("/add/folder", files={"day_zip": ("day.zip", zipped(day, day.runs[:2], folder))})
        while not client.get("/api/days").json():
            time.sleep(0.5)
        one, other = (Browser(start_chrome(Path(scratch) / name), address) for name in ("one", "other"))
        try:
            for browser in (one, other):
                browser.open("/days/1")
            kinds: dict[str, list[float]] = {"a note": [], "a reading of the air": []}
            for number in range(times):
                kinds["a note"].append(_note(one, other, number))
                kinds["a reading of the air"].append(_reading(one, other, number))
        finally:
            one.driver.quit()
            other.driver.quit()
    for kind, took in kinds.items():
        yield f"{kind}, {times} times: seen after {median(took):.2f} s in the median, {max(took):.2f} s at worst"


def _note(one: Browser, other: Browser, number: int) -> float:
    one.run("arguments[0].click()", one.one("#run-1 [hx-get]"))
    area = one.one(".slot-row textarea[name=notes]")
    area.clear()
    area.send_keys(words := f"what was seen, number {number}.")
    took = _seen(one, other, ".slot-row button", words)
    one.until(lambda: not one.all(".slot-row textarea[name=notes]"))
    return took


def _reading(one: Browser, other: Browser, number: int) -> float:
    """Later than all of the day, so that the page tells it."""
    one.run("arguments[0].click()", one.one("#weather [hx-get]"))
    field = one.one("#weather .slot input[name=time]")
    field.clear()
    field.send_keys(words := f"{13 + number // 60}:{number % 60:02d}")
    took = _seen(one, other, "#weather .slot form button", words)
    one.until(lambda: not one.all("#weather .slot form"))
    return took


def _seen(one: Browser, other: Browser, button: str, words: str) -> float:
    other.run(WATCH, words)
    at = one.run(CLICK, one.one(button))
    seen = other.until(lambda: other.run("return window.seenAt"), words, LONGEST_S)
    return float(seen - at) / 1000.0
