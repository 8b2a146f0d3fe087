"""Between two outings, on a tablet: logs in, the estimate narrows by itself; refusals beside the form; no mouse."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_core_python.selenium import Axe
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.locations import sample_day_folders
from server.results.fit_job import queue_folder
from server.settings import Settings
from server.testday.folder import read_folder
from tests.browser.chromium import SIZES, Browser
from tests.browser.test_first_start import focused, press, tab_to
from tests.browser.test_looks import TARGETS, TEXTS
from tests.browser.test_repairs import type_over
from tests.web.conftest import Site
from tests.web.day_site import day_site, log_text, newest
from tests.web.serving import served
from tests.web.test_styles import contrast

SHAKEDOWN = next((one for one in sample_day_folders() if "shakedown" in one.name), None)
FIT_S = 180
PNG = b"\x89PNG\r\n\x1a\n" + bytes(3000)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with day_site(tmp_path) as made:
        yield made


@pytest.fixture
def browser(chrome, site: Site) -> Iterator[Browser]:  # type: ignore[no-untyped-def]
    made = fresh(chrome, str(site.client.base_url).rstrip("/"))
    made.open("/days/1")
    yield made
    chrome.get("about:blank")


def fresh(chrome, address: str) -> Browser:  # type: ignore[no-untyped-def]
    browser = Browser(chrome, address)
    browser.complaints()
    chrome.delete_all_cookies()
    browser.size("tablet")
    browser.device_theme("light")
    return browser


def choose(browser: Browser, *files: Path) -> None:
    browser.one("#runs-files").send_keys("\n".join(map(str, files)))
    states = "return [...document.querySelectorAll('#runs-form .upload')].map((row) => row.dataset.state)"
    browser.until(lambda: browser.run(states) == ["here"] * len(files), "the files")


def written(folder: Path, name: str, content: bytes | str) -> Path:
    file = folder / name
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return file


@pytest.mark.skipif(SHAKEDOWN is None, reason="the sample days are not there")
def test_a_log_brought_in_changes_the_estimate_really_fitted(chrome, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """The shakedown, fitted; then a log of one more outing, which is its last one without the end, comes in."""
    assert SHAKEDOWN is not None
    whole = read_folder(SHAKEDOWN)
    lines = (SHAKEDOWN / whole.runs[-1].logs[0].file).read_text().splitlines()
    log = written(tmp_path, "outing.csv", "\n".join(lines[:-30]) + "\n")
    number = len(whole.runs) + 1
    app = create_app(Settings(data_folder=tmp_path / "data"))
    with served(app) as address:
        queue_folder(app.state.archive, SHAKEDOWN)
        app.state.jobs.wake()
        browser = fresh(chrome, address)
        browser.until(lambda: result_there(browser), "the first result", FIT_S)
        browser.complaints()  # of asking for the day before it was there
        before = browser.one(".standings .value-text").text
        choose(browser, log)
        browser.run("window.stays = true")
        browser.one("#runs-form .send").click()
        browser.until(lambda: f"Run {number}" in browser.text(), "the run", FIT_S)
        browser.until(lambda: browser.all("#moved"), "what moved", FIT_S)
        assert browser.run("return window.stays") is True  # in place, without a new page
        assert browser.one(".standings .value-text").text != before
        assert f"By “run {number} added”" in browser.one("#moved").text
        browser.run("document.querySelector('#course').scrollIntoView()")
        browser.until(lambda: browser.all("#course [data-drawn]"), "the figure drawn anew")
        assert len(browser.run("return document.querySelector('#plot-course').data[1].x")) == 2
        assert "not fitted yet" not in browser.one("#runs").text
        assert browser.complaints() == []
        chrome.get("about:blank")


def result_there(browser: Browser) -> bool:
    browser.open("/days/1")
    return bool(browser.all(".standings .value-text"))


def test_a_form_that_is_open_stays_while_a_result_comes_in(browser: Browser, site: Site) -> None:
    browser.one("#run-1 .button").click()
    browser.until(lambda: browser.all("#runs form.edit"), "the form in place")
    browser.one("#runs form.edit [name=notes]").send_keys("half typed")
    form = {"revision": "1", "setup": "A", "start": "09:45", "driver": "72", "coasting": "neutral"}
    site.client.post("/days/1/change/run.1", data=form)
    browser.until(lambda: "By “run 1: start changed”" in browser.text(), "the result")
    assert browser.one("#runs form.edit [name=notes]").get_property("value") == "half typed"
    browser.one("#runs form.edit [value=keep]").click()
    browser.until(lambda: "changed the same thing meanwhile (revision 2)" in browser.text(), "the conflict")
    assert "half typed" in browser.one("#runs form.edit [name=notes]").get_property("value")


def test_a_bad_file_is_refused_and_what_was_typed_stays(browser: Browser, site: Site, tmp_path: Path) -> None:
    choose(browser, written(tmp_path, "holiday.csv", PNG), written(tmp_path, "good.csv", log_text(3)))
    browser.run("for (const one of document.querySelectorAll('.run-facts details')) one.open = true")
    for row in browser.all("#runs-form [name=log_notes]"):
        row.send_keys("after lunch")
    browser.one("#runs-form .send").click()
    browser.until(lambda: browser.all("#answer .field-problem"), "the refusal", 60)
    assert browser.one("#answer .field-problem").text == (
        "holiday.csv is a picture (PNG); a log must be a table of text."
    )
    assert [row.get_property("value") for row in browser.all("#answer [name=log_notes]")] == ["after lunch"] * 2
    assert newest(site)[0] == 1
    white = "getComputedStyle(one).color === 'rgb(255, 255, 255)'"
    seen = f"return [...document.querySelectorAll('.filled')].filter((one) => {white})"
    assert [button.text for button in browser.run(seen)] == ["Read and add"]
    browser.one("#answer [name=leave_out]").click()
    browser.until(lambda: "Run 3" in browser.text(), "the good one added", 60)
    assert [(run.logs[0].file, run.notes) for run in newest(site)[1].runs[2:]] == [("logs/good.csv", "after lunch")]


def test_a_wrong_start_is_said_and_the_row_stays_and_so_does_a_form_begun_meanwhile(
    browser: Browser, tmp_path: Path
) -> None:
    choose(browser, written(tmp_path, "good.csv", log_text(3)))
    browser.one("#runs-form [name=log_start]").send_keys("noon")
    browser.one("#runs-form .send").click()
    browser.until(lambda: "good.csv: A start is written such as 09:09" in browser.one("#answer").text, "the sentence")
    assert browser.one("#runs-form [name=log_start]").get_property("value") == "noon"
    browser.one("#runs-form [name=log_start]").clear()
    browser.one("#run-1 .button").click()
    browser.until(lambda: browser.all("#runs form.edit"), "the form in place")
    browser.one("#runs-form .send").click()
    browser.one("#runs form.edit [name=notes]").send_keys("half typed")
    browser.until(lambda: "Run 3" in browser.text(), "the run", 60)
    browser.until(lambda: "The logs are added" in browser.one("#answer").text, "the end of adding")
    assert browser.one("#runs form.edit [name=notes]").get_property("value") == "half typed"


def test_the_same_file_is_known_by_its_bytes(browser: Browser, tmp_path: Path) -> None:
    choose(browser, written(tmp_path, "renamed.csv", log_text(1)))
    assert "The same file is in Long apron already, as logs/run01.csv." in browser.one("#runs-form .upload").text
    browser.one("#runs-form .send").click()
    browser.until(lambda: "renamed.csv is the log of run 1 already" in browser.one("#answer").text, "the sentence")


def test_what_is_unclear_is_asked_and_answered(browser: Browser, site: Site, tmp_path: Path) -> None:
    choose(browser, written(tmp_path, "odd.csv", log_text(3, "time [s],GPS Speed [furlong/h]")))
    browser.one("#runs-form .send").click()
    browser.until(lambda: browser.all("#answer fieldset"), "the question", 60)
    assert "“GPS Speed” is taken for the satellite speed" in browser.one("#answer legend").text
    browser.one("#answer select[name^=unit]").send_keys("km/h")
    browser.one("#answer .send").click()
    browser.until(lambda: "Run 3" in browser.text(), "the run", 60)
    assert newest(site)[1].runs[-1].channels == {"gps_speed": "GPS Speed [km/h]"}


def test_times_typed_by_hand(browser: Browser, site: Site) -> None:
    browser.one("details.typed summary").click()
    for name, text in (("from", "80"), ("to", "85"), ("out", "6,1")):
        browser.one(f"#typed-form [name={name}]").send_keys(text)
    browser.run("document.querySelector('#typed-form').requestSubmit()")
    browser.until(lambda: browser.all("#typed-problem"), "the refusal")
    assert "Row 1: speed_to is not below speed_from." in browser.one("#typed-problem").text
    field = browser.one("#typed-form [name=to]")
    assert field.get_property("value") == "85"
    field.clear()
    field.send_keys("70")
    browser.run("document.querySelector('#typed-form').requestSubmit()")
    browser.until(lambda: "Run 3" in browser.text(), "the run")
    assert newest(site)[1].runs[-1].logs[0].file == "logs/typed_times.csv"


def test_a_run_corrected_and_the_air_read_by_keyboard_alone(browser: Browser, site: Site) -> None:
    tab_to(browser, lambda: focused(browser).text == "Every field of a reading")
    press(browser, Keys.ENTER)
    browser.until(lambda: focused(browser).get_attribute("name") == "time", "the form, its first field focused")
    type_over(browser, "09:50")
    press(browser, Keys.ENTER)
    browser.until(lambda: "Air read at 09:50, 9 minutes after the start of" in browser.text(), "the reading")
    assert len(newest(site)[1].weather) == 2
    tab_to(browser, lambda: focused(browser).get_attribute("aria-label") == "Change run 2")
    press(browser, Keys.ENTER)
    browser.until(lambda: focused(browser).get_attribute("name") == "setup", "the run's form")
    press(browser, "A")
    tab_to(browser, lambda: focused(browser).text == "Keep")
    press(browser, Keys.SPACE)
    browser.until(lambda: newest(site)[1].runs[1].setup == "A", "the run in the other setup")


def test_without_scripts(browser: Browser, site: Site, tmp_path: Path) -> None:
    log = written(tmp_path, "plain.csv", log_text(3))
    browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.open("/days/1")
        browser.one("#runs-form [name=log]").send_keys(str(log))
        browser.one("#runs-form > .send").click()
        browser.until(lambda: len(newest(site)[1].runs) == 3, "the run", 60)
        browser.open("/days/1/change/run.3")
        browser.one("[name=notes]").send_keys("no scripts")
        browser.one("[value=keep]").click()
        browser.until(lambda: newest(site)[1].runs[-1].notes == "no scripts", "the note")
        assert "no scripts" in browser.text()
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def everything_open(browser: Browser, tmp_path: Path) -> None:
    choose(browser, written(tmp_path, "a.csv", log_text(3)))
    for button in ("#run-1 .button", "#weather .button"):
        browser.one(button).click()
    browser.until(lambda: len(browser.all("form.edit")) == 2, "the forms")
    browser.run("for (const one of document.querySelectorAll('main details:not(.plot-table)')) one.open = true")


@pytest.mark.parametrize("size", SIZES)
def test_it_fits_the_screen_and_can_be_touched(browser: Browser, size: str, tmp_path: Path) -> None:
    browser.size(size)
    browser.open("/days/1")
    everything_open(browser, tmp_path)
    assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in browser.run(TARGETS) if target[2] < 48] == []


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_texts_can_be_read_and_axe_finds_nothing(browser: Browser, theme: str, tmp_path: Path) -> None:
    browser.device_theme(theme)
    browser.open("/days/1")
    everything_open(browser, tmp_path)
    texts = browser.run(TEXTS)
    assert [text for text in texts if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == []
    found = Axe().run(browser.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []
