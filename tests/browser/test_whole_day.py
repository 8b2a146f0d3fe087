"""A test day on a tablet, by touch and keyboard alone: checks, air, zero, a setup, a log, the driver, the wind."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium.webdriver.common.actions import interaction
from selenium.webdriver.common.actions.action_builder import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

from server.analysis.result import AddedPasses, Comparison, Delta, Outlook
from server.app import create_app
from server.archive.jobs import JobKind
from server.archive.worker import Payload, Progress
from server.days.service import REFIT_JOB
from server.results.fit_job import RESULT_FILE, keep_refitted
from server.results.service import write_result
from server.settings import Settings
from tests.browser.chromium import Browser
from tests.browser.test_first_start import press
from tests.browser.test_looks import TARGETS
from tests.browser.test_repairs import type_over
from tests.browser.test_test_day import choose, fresh, written
from tests.web.conftest import Site
from tests.web.day_site import DAY, DAY_KINDS, keep, log_text, newest
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of

TODAY = (
    DAY.replace("date = 2026-05-09", f"date = {dt.date.today().isoformat()}")
    .replace("time = 09:00:00", "time = 00:00:00")  # all before now, whatever the hour of the test
    .replace("start = 09:20:00", "start = 00:00:01")
    .replace("start = 09:41:00", "start = 00:00:02")
    .replace(
        "car.mass_kg = 236.0", "car.mass_kg = 236.0\ncar.front = { spring_rate_n_per_mm = 39.0, motion_ratio = 0.9 }"
    )
)
NAME = "M. Quill"
FILLED = (
    "return [...document.querySelectorAll('.filled')].filter((one) => getComputedStyle(one).backgroundColor"
    " === getComputedStyle(document.body).color).map((one) => one.textContent.trim())"
)


def told_fit(payload: Payload, progress: Progress) -> Payload:
    """A made-up result that tells of a difference, and of what more passes would bring."""
    progress(0.5, "fitting")
    result = made_up_day_result("AB")
    delta = Delta(-0.14, 0.03, -0.2, -0.08, 0.001, 0.09, "m²")
    ahead = tuple(
        Outlook((AddedPasses("B", n, n),), {"A": 1.0, "B": 0.95**n, "B − A": shrink})
        for n, shrink in ((1, 0.8), (2, 0.6), (4, 0.5))
    )
    told = replace(result, comparisons=(Comparison("B", "A", {"SCx": delta}),), outlook=ahead)
    write_result(told, Path(payload["scratch"]) / RESULT_FILE)
    return {}


KINDS = {**DAY_KINDS, REFIT_JOB: JobKind(told_fit, keep_refitted)}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with client_of(app) as client:
        keep(app.state.archive, tmp_path / "day", TODAY)
        yield Site(app, client, tmp_path / "data")


@pytest.fixture
def browser(chrome, site: Site) -> Iterator[Browser]:  # type: ignore[no-untyped-def]
    made = fresh(chrome, str(site.client.base_url).rstrip("/"))
    chrome.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    made.open("/days/1")
    yield made
    chrome.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    chrome.get("about:blank")


def tap(browser: Browser, element: WebElement) -> None:
    """One finger in the middle of an element."""
    browser.run("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", element)
    builder = ActionBuilder(browser.driver, mouse=PointerInput(interaction.POINTER_TOUCH, "finger"))
    builder.pointer_action.move_to(element).pointer_down().pointer_up()
    builder.perform()


def tap_words(browser: Browser, selector: str, words: str) -> None:
    browser.until(lambda: _worded(browser, selector, words), f"{words} in {selector}")
    tap(browser, _worded(browser, selector, words)[0])


def _worded(browser: Browser, selector: str, words: str) -> list[WebElement]:
    return [one for one in browser.all(selector) if one.text.strip() == words]


def leads_to(browser: Browser, words: str) -> None:
    """The one filled button says what is next."""
    browser.until(lambda: browser.run(FILLED) == [words], f"{words} as the one filled button")


def tick_next(browser: Browser) -> bool:
    """Tap the first check that is not ticked; whether none was left. The zero is asked by itself."""
    ticks = [one for one in browser.all("#checks .tick") if "Sensors zeroed" not in one.text]
    open_ones = [one for one in ticks if not one.find_element(By.TAG_NAME, "input").is_selected()]
    if open_ones:
        tap(browser, open_ones[0])
    return bool(ticks) and not open_ones


def opened(browser: Browser) -> None:
    """The page of the day, with its scripts at work and its figures in their places: a finger hits what it aims at."""
    browser.open("/days/1")
    browser.until(lambda: browser.run("return document.readyState") == "complete", "the page")
    heights = [-1.0]
    while heights[-1] != (now := browser.run("return document.documentElement.scrollHeight")):
        heights.append(now)
        time.sleep(0.5)


def type_into(browser: Browser, selector: str, text: str) -> None:
    tap(browser, browser.one(selector))
    type_over(browser, text)


def test_a_whole_day_by_touch_and_keyboard(browser: Browser, site: Site, tmp_path: Path) -> None:
    tap(browser, browser.one(".who summary"))
    type_into(browser, "#who-name", NAME)
    press(browser, Keys.ENTER)
    browser.until(lambda: NAME in browser.one(".who summary").text, "the name")

    leads_to(browser, "Checks and cautions")
    tap_words(browser, ".along-here .button", "Checks and cautions")
    browser.until(lambda: tick_next(browser), "every check ticked")
    tap_words(browser, "#checks button", "Put my name to these")
    browser.until(lambda: "are acknowledged by name, the last by M. Quill" in browser.text(), "the names")

    leads_to(browser, "Read the air")
    tap_words(browser, "#weather .tap", "SW")
    tap_words(browser, "#weather .tap", "3")
    tap_words(browser, "#weather .quick button", "Send")
    browser.until(lambda: "0 minutes ago" in browser.text(), "the air of now")

    leads_to(browser, "The zero is taken")
    tap_words(browser, ".along-here button", "The zero is taken")
    leads_to(browser, "Bring logs in")

    tap_words(browser, "#runs .button", "A setup, by what was turned")
    type_into(browser, "#turn-part_1", "rear flap")
    type_into(browser, "#turn-to_1", "32")
    type_into(browser, "#turn-ballast", "4")
    tap_words(browser, "#runs form.edit button", "Keep this setup")
    browser.until(lambda: len(newest(site)[1].setups) == 3, "the setup")
    assert newest(site)[1].setups[-1].parts == {"rear flap": 32.0}

    browser.open("/days/1")
    choose(browser, written(tmp_path, "third.csv", log_text(3)))
    tap(browser, browser.one("#runs-form .send"))
    browser.until(lambda: "Run 3" in browser.text(), "the run", 60)
    browser.until(lambda: len(browser.all("#tables table")) == 2, "the result, with its difference", 60)

    opened(browser)  # the sent log leads here by itself; a form that is opened before that is not what is tried
    tap(browser, browser.one('[aria-label="Driver and tyres of run 3"]'))
    type_into(browser, "[id='remarks.3-driver']", "R. Sands")
    type_into(browser, "[id='remarks.3-remarks']", "light at the rear")
    for place, text in enumerate(("0.95", "0.80", "0.90", "0.90")):
        tap(browser, browser.all("#runs .corners input[name=cold]")[place])
        type_over(browser, text)
    tap_words(browser, "#runs form.edit button", "Keep")
    browser.until(lambda: newest(site)[1].runs[2].driver == "R. Sands", "the driver's word")
    opened(browser)
    assert "front left 0.95 bar and front right 0.80 bar differ" in browser.one("#urgent").text

    browser.open("/days/1/change/wanted")
    type_into(browser, "#wanted-difference_2", "0.04")
    tap_words(browser, "form.edit button", "Keep")
    browser.until(lambda: newest(site)[1].wanted, "the wanted width")
    browser.open("/days/1")
    assert "has ± 0.060 m², wants ± 0.04 m²" in browser.one("#tables").text
    assert "bring B − A from ± 0.060 to" in browser.one("#standing").text
    assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in browser.run(TARGETS) if target[2] < 48] == []
    found = Axe().run(browser.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []

    tap_words(browser, "#weather .tap", "8")
    type_into(browser, "#air-time", "23:58")
    tap_words(browser, "#weather .quick button", "Send")
    browser.until(lambda: "Wind of 8.0 m/s was read" in browser.one("#urgent").text, "the wind at the top")
    leads_to(browser, "Checks and cautions")
    assert "Wind over the limit: whether to run was decided" in browser.one("#checks").text
    assert "Next: wait, or pack up" in browser.one("#standing").text

    browser.open("/days/1/history")
    assert "checks acknowledged by M. Quill before the first run" in browser.text()
    assert browser.complaints() == []
