"""Monday's corrections in a real browser: by keyboard alone, refused and mended, without scripts, on every screen."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_core_python.selenium import Axe
from fastapi import FastAPI
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.days.revisions import newest_day
from server.days.service import IncomingDay, keep_day, newest_revision
from server.locations import sample_day_folders
from server.results.fit_job import queue_folder
from server.results.service import keep_result, latest_result, write_result
from server.settings import Settings
from server.testday.folder import read_folder
from tests.browser.chromium import SIZES, Browser
from tests.browser.test_first_start import focused, press, tab_to
from tests.browser.test_looks import TARGETS, TEXTS
from tests.web.made_up import made_up_day_result
from tests.web.serving import served, wait_for
from tests.web.test_styles import contrast

FIT_S = 120
FOLDERS = {name: one for one in sample_day_folders() for name in ("shakedown", "calm") if name in one.name}
PAGES = (
    "/cars",
    "/days/2/car",
    "/days/2/car/mass_kg",
    "/days/2/car/setup.1",
    "/days/2/car/weather.1",
    "/days/1/results/1",
)
pytestmark = pytest.mark.skipif(len(FOLDERS) < 2, reason="the sample days are not there")


@pytest.fixture(scope="module")
def monday(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, FastAPI]]:
    """The shakedown, really fitted, and a calm morning of the same car whose result was made up."""
    folder = tmp_path_factory.mktemp("monday")
    app = create_app(Settings(data_folder=folder / "data"))
    with served(app) as address:
        archive = app.state.archive
        queue_folder(archive, FOLDERS["shakedown"])
        app.state.jobs.wake()
        wait_for(lambda: result_of(app, 1), FIT_S)
        write_result(made_up_day_result("ABC"), folder / "result.zip")
        calm = read_folder(FOLDERS["calm"])
        with archive.database.writing() as session:
            day = keep_day(archive, session, IncomingDay(calm.name, calm.date, FOLDERS["calm"], "calm"))
            keep_result(archive, session, newest_revision(session, day.id), folder / "result.zip")
        yield address, app


@pytest.fixture
def browser(chrome, monday: tuple[str, FastAPI]) -> Iterator[Browser]:  # type: ignore[no-untyped-def]
    made = Browser(chrome, monday[0])
    made.complaints()
    chrome.delete_all_cookies()
    made.size("tablet")
    made.device_theme("light")
    yield made
    chrome.get("about:blank")


def result_of(app: FastAPI, day_id: int) -> int | None:
    with app.state.archive.database.reading() as session:
        row = latest_result(session, day_id)
        return row.id if row else None


def mass_of(app: FastAPI, day_id: int) -> float:
    with app.state.archive.database.reading() as session:
        return newest_day(app.state.archive, session, day_id)[1].car.mass_kg.value


def type_over(browser: Browser, text: str) -> None:
    """Mark what stands in the focused field and write over it."""
    ActionChains(browser.driver).key_down(Keys.CONTROL).send_keys("a").key_up(Keys.CONTROL).send_keys(text).perform()


def test_a_mass_corrected_by_keyboard_alone(browser: Browser, monday: tuple[str, FastAPI]) -> None:
    app = monday[1]
    before, mass = result_of(app, 1), mass_of(app, 1)
    browser.open("/days/1/car")
    tab_to_link(browser, "/days/1/car/mass_kg")
    press(browser, Keys.ENTER)
    browser.until(lambda: focused(browser).get_attribute("name") == "value", "the form, its first field focused")
    assert browser.driver.current_url.endswith("/days/1/car")  # in place
    type_over(browser, "heavy")
    press(browser, Keys.ENTER)
    browser.until(lambda: browser.all(".field-problem"), "the refusal")
    assert browser.one(".field-problem").text == "The mass must be a number, not “heavy”."
    browser.until(lambda: focused(browser).get_attribute("aria-invalid") == "true", "the faulty field focused again")
    assert focused(browser).get_property("value") == "heavy"
    assert mass_of(app, 1) == mass
    type_over(browser, f"{mass + 1:g}".replace(".", ","))
    tab_to(browser, lambda: focused(browser).get_attribute("name") == "value_source")
    press(browser, "m")
    tab_to(browser, lambda: focused(browser).get_attribute("name") == "reason")
    ActionChains(browser.driver).send_keys("scales were off").perform()
    tab_to(browser, lambda: focused(browser).text == "Keep")
    press(browser, Keys.SPACE)
    browser.until(lambda: "a new one is on the way" in browser.text(), "the day after the change")
    assert mass_of(app, 1) == mass + 1
    wait_for(lambda: result_of(app, 1) != before, FIT_S)
    browser.open("/days/1/result")
    assert f"mass: {mass:.2f} ± 0.98 kg → {mass + 1:.2f} ± 0.98 kg" in browser.one("#moved").text
    tab_to(browser, lambda: focused(browser).text == "the old result stands as it was")
    press(browser, Keys.ENTER)
    browser.until(lambda: "was superseded and is kept as it was" in browser.text(), "the old result")
    assert [line for line in browser.complaints() if "422" not in line] == []


def tab_to_link(browser: Browser, path: str) -> None:
    for _ in range(80):
        if (focused(browser).get_attribute("href") or "").endswith(path):
            return
        press(browser, Keys.TAB)
    raise AssertionError(f"the keyboard does not get to {path}")


def test_a_mass_corrected_on_two_days_without_scripts(browser: Browser, monday: tuple[str, FastAPI]) -> None:
    app = monday[1]
    browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.open("/days/2/car/wheelbase_m")
        assert browser.all("[name=also]") == []  # the other day has a default there
        browser.open("/days/1/car/anti_squat")
        browser.one("[name=value]").send_keys("20")
        browser.one(".filled").click()
        browser.until(lambda: browser.driver.current_url.endswith("/days/1/car"), "the car")
        browser.open("/days/2/car/anti_squat")
        assert [tick.get_attribute("value") for tick in browser.all("[name=also]")] == ["1"]
        browser.one("[name=also]").click()
        field = browser.one("[name=value]")
        field.clear()
        field.send_keys("25")
        browser.one(".filled").click()
        browser.until(lambda: browser.driver.current_url.endswith("/days/2/car"), "the car")
        assert "25.0 ± 9.8 %" in browser.text()
        browser.open("/days/1/car")
        assert "25.0 ± 9.8 %" in browser.text()
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    with app.state.archive.database.reading() as session:
        assert newest_day(app.state.archive, session, 1)[1].car.anti_squat.value == 0.25


def test_a_setup_that_was_run_is_revised_with_one_of_its_runs(browser: Browser, monday: tuple[str, FastAPI]) -> None:
    browser.open("/days/2/car")
    browser.one("a[href='/days/2/car/setup.1']").click()
    browser.until(lambda: browser.all("[name=runs]"), "the form in place")
    assert browser.one("form.edit [name=name]").get_property("value") == "D"
    height = browser.one("[name=rear_height]")
    height.clear()
    height.send_keys("40,5")
    browser.one("[name=runs][value='5']").click()
    browser.one("form.edit .filled").click()
    browser.until(lambda: "D" in [row.text for row in browser.all("#setups .badge")], "the revised setup")
    with monday[1].state.archive.database.reading() as session:
        day = newest_day(monday[1].state.archive, session, 2)[1]
    assert [(run.number, run.setup) for run in day.runs] == [(1, "A"), (2, "B"), (3, "A"), (4, "C"), (5, "D")]
    assert day.setups[-1].rear_ride_height_m == 0.0405
    assert browser.complaints() == []


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", PAGES)
def test_pages_fit_their_screen_and_can_be_touched(browser: Browser, path: str, size: str) -> None:
    browser.size(size)
    browser.open(path)
    assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in browser.run(TARGETS) if target[2] < 48] == []


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_texts_can_be_read_and_axe_finds_nothing(browser: Browser, path: str, theme: str) -> None:
    browser.device_theme(theme)
    browser.open(path)
    texts = browser.run(TEXTS)
    assert [text for text in texts if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == []
    found = Axe().run(browser.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []
