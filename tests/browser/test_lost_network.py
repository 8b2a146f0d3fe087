"""Tablets on a bad network: the server goes away and comes back, nothing typed is lost; two tablets at once."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from fastapi import FastAPI
from selenium import webdriver
from sqlalchemy import func, select

from server.app import create_app
from server.archive.tables import KeptEntry
from server.days.revisions import newest_day
from server.settings import Settings
from server.testday.values import Day
from tests.browser.chromium import Browser, start_chrome
from tests.browser.test_test_day import fresh
from tests.web.day_site import DAY_KINDS, keep, log_text
from tests.web.serving import served

STRIP = "[data-together]"
HOLD_PAGES = """
const real = window.fetch;
window.heldPages = [];
window.fetch = async (asked, options) => {
  const answer = await real(asked, options);
  if (asked !== location.href || !window.heldPages) return answer;
  return new Promise((go) => window.heldPages.push(() => go(answer)));
};
document.dispatchEvent(new CustomEvent("stillair:changed"));
"""
WITH_A_PAGE_THAT_CAME_LATE = """
const area = document.querySelector("#run-notes"), seen = new Set();
new MutationObserver(() => seen.add(area.value)).observe(document, {subtree: true, childList: true, attributes: true});
window.seenNotes = seen;
document.addEventListener("stillair:followed", () => { seen.add(area.value); window.followed = true; });
const late = window.heldPages;
window.heldPages = null;
late.forEach((go) => go());
"""


class Track:
    """A server that can be taken off the network and put back, at one address, over one archive."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder, self.port, self.app = folder, port, FastAPI()
        self._stack = ExitStack()

    def on(self, first: bool = False) -> str:
        self.app = create_app(Settings(data_folder=self.folder / "data"), DAY_KINDS)
        address = self._stack.enter_context(served(self.app, port=self.port))
        if first:
            keep(self.app.state.archive, self.folder / "day")
        return address

    def off(self) -> None:
        self._stack.close()

    def day(self) -> Day:
        with self.app.state.archive.database.reading() as session:
            return newest_day(self.app.state.archive, session, 1)[1]

    def kept(self) -> int:
        with self.app.state.archive.database.reading() as session:
            return session.scalar(select(func.count()).select_from(KeptEntry)) or 0


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@pytest.fixture
def track(tmp_path: Path) -> Iterator[Track]:
    made = Track(tmp_path, free_port())
    yield made
    made.off()


@pytest.fixture
def second(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    driver = start_chrome(tmp_path_factory.mktemp("second"))
    yield driver
    driver.quit()


def strip(browser: Browser) -> str:
    return str(browser.run(f"const s = document.querySelector('{STRIP}'); return s.hidden ? '' : s.innerText"))


def says(browser: Browser, words: str) -> Callable[[], bool]:
    return lambda: words in strip(browser)


def type_notes(browser: Browser, text: str) -> None:
    area = browser.one("#run-notes")
    area.clear()
    area.send_keys(text)
    browser.one("#notes button").click()


def test_entries_made_without_a_network_wait_and_are_sent_once_in_order(chrome, track: Track) -> None:  # type: ignore[no-untyped-def]
    browser = fresh(chrome, track.on(first=True))
    browser.open("/days/1/runs/2")
    browser.one("#run-notes")
    track.off()
    browser.until(says(browser, "Last heard"), "the loss is said")
    type_notes(browser, "gusts from the left")
    browser.until(says(browser, "1 entry waits on this tablet"), "the entry is counted")
    assert "Kept on this tablet" in browser.one("#notes").text
    type_notes(browser, "gusts from the left, then calm")
    browser.until(says(browser, "2 entries wait"), "the second one too")
    browser.one("nav.along a").click()
    browser.until(says(browser, "this page stays"), "a link does not lead to an error")
    assert browser.one("#run-notes").get_attribute("value") == "gusts from the left, then calm"

    track.on()
    browser.until(lambda: track.kept() == 2, "both are sent")
    assert track.day().runs[1].notes == "gusts from the left, then calm"
    browser.until(lambda: "wait" not in strip(browser), "nothing waits any more")
    browser.until(lambda: not browser.run("return 'waits' in document.querySelector('#notes form').dataset"))
    assert browser.one("#run-notes").get_attribute("value") == "gusts from the left, then calm"


def test_a_page_asked_for_before_an_entry_does_not_take_it_back(chrome, track: Track) -> None:  # type: ignore[no-untyped-def]
    browser = fresh(chrome, track.on(first=True))
    browser.open("/days/1/runs/2")
    before = browser.one("#run-notes").get_attribute("value")
    browser.run(HOLD_PAGES)
    browser.until(lambda: browser.run("return window.heldPages.length") > 0, "the page as it stood is on its way")
    type_notes(browser, "dry line, calm")
    browser.until(lambda: track.day().runs[1].notes == "dry line, calm", "kept")
    browser.until(lambda: not browser.run("return 'waits' in document.querySelector('#notes form').dataset"), "told so")
    browser.run(WITH_A_PAGE_THAT_CAME_LATE)
    browser.until(lambda: browser.run("return window.followed"), "the page as it stands now")
    assert before not in browser.run("return [...window.seenNotes]")
    assert browser.one("#run-notes").get_attribute("value") == "dry line, calm"


def test_a_closed_page_keeps_its_entries_and_a_conflict_shows_both(chrome, track: Track) -> None:  # type: ignore[no-untyped-def]
    browser = fresh(chrome, track.on(first=True))
    browser.open("/days/1")
    browser.open("/days/1/runs/1")
    track.off()
    browser.until(says(browser, "Last heard"))
    type_notes(browser, "mine, typed without a network")
    browser.until(says(browser, "1 entry waits"))
    chrome.get("about:blank")
    address = track.on()
    import httpx

    answer = httpx.post(
        f"{address}/days/1/runs/1/notes", data={"revision": 1, "notes": "theirs"}, headers={"Origin": address}
    )
    assert answer.status_code == 303
    browser.open("/help")  # any page of the product sends what waits
    browser.until(says(browser, "as it stands now"), "both stand there")
    assert "mine, typed without a network" in strip(browser)
    assert "theirs" in strip(browser)
    assert track.day().runs[0].notes == "theirs"
    next(one for one in browser.all(f"{STRIP} button") if "Send mine" in one.text).click()
    browser.until(lambda: track.day().runs[0].notes == "mine, typed without a network", "a person decided")
    browser.until(lambda: "needs you" not in strip(browser))
    assert track.kept() == 1


def test_two_tablets_see_each_other_and_nobody_loses_what_is_being_typed(chrome, second, track: Track) -> None:  # type: ignore[no-untyped-def]
    address = track.on(first=True)
    one, other = fresh(chrome, address), fresh(second, address)
    one.open("/days/1")
    other.open("/days/1")
    one.one("#weather [hx-get]").click()
    pressure = one.one("#weather .slot input[name=pressure]")
    pressure.clear()
    pressure.send_keys("1013.2")
    place = one.run("return document.activeElement.getBoundingClientRect().top")
    other.one("#run-1 [hx-get]").click()
    notes = other.one(".slot-row textarea[name=notes]")
    notes.send_keys("first lap was wet")
    other.one(".slot-row button").click()
    one.until(lambda: "first lap was wet" in one.text(), "the other tablet's entry")
    assert one.one("#weather .slot input[name=pressure]").get_attribute("value") == "1013.2"
    assert one.run("return document.activeElement.name") == "pressure"
    assert abs(one.run("return document.activeElement.getBoundingClientRect().top") - place) < 2
    time = one.one("#weather .slot input[name=time]")
    time.clear()
    time.send_keys("10:05")
    one.one("#weather .slot form button").click()
    one.until(lambda: len(track.day().weather) == 2, "the reading is kept though the day went on")
    one.until(lambda: not one.all("#weather .slot form"), "the form is closed")
    other.until(lambda: "10:05" in other.one("#weather").text, "seen on the other tablet")


def test_a_log_chosen_without_a_network_goes_when_its_page_is_open(chrome, track: Track, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    browser = fresh(chrome, track.on(first=True))
    browser.open("/days/1")
    browser.one("#runs-files")
    track.off()
    log = tmp_path / "outing 3.csv"
    log.write_text(log_text(3))
    browser.run("document.querySelector('#runs-files').closest('details')?.setAttribute('open', '')")
    browser.one("#runs-files").send_keys(str(log))
    browser.until(lambda: "cannot be reached" in browser.one("#runs-form .upload").text, "it waits")
    chrome.get("about:blank")
    track.on()
    browser.open("/help")
    browser.until(says(browser, "outing 3.csv waits to be sent"), "another page says where")
    browser.one("[data-files-line] a").click()
    here = "return [...document.querySelectorAll('#runs-form .upload')].map((row) => row.dataset.state)"
    browser.until(lambda: browser.run(here) == ["here"], "all of it")
    browser.one("#runs-form .send").click()
    browser.until(lambda: len(track.day().runs) == 3, "a run of the day", 60)
    browser.open("/help")
    browser.until(lambda: "outing 3.csv" not in strip(browser), "it waits no longer")
