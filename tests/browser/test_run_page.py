"""The page of a run in a real browser, the day really fitted: edges tried, a pass left out, channels drawn."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from axe_core_python.selenium import Axe
from fastapi import FastAPI
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.days.revisions import newest_day
from server.results.fit_job import queue_folder
from server.results.service import latest_result
from server.settings import Settings
from server.testday.rounding import with_uncertainty
from server.testday.values import Run
from tests.browser.chromium import SIZES, Browser
from tests.browser.test_first_start import focused, press, tab_to
from tests.browser.test_looks import OUTSIDE, TARGETS, TEXTS
from tests.browser.test_repairs import FIT_S, FOLDERS, result_of
from tests.web.serving import served, wait_for
from tests.web.test_styles import contrast

RUN = "/days/1/runs/2"
pytestmark = pytest.mark.skipif("shakedown" not in FOLDERS, reason="the sample days are not there")


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, FastAPI]]:
    app = create_app(Settings(data_folder=tmp_path_factory.mktemp("run") / "data"))
    with served(app) as address:
        queue_folder(app.state.archive, FOLDERS["shakedown"])
        app.state.jobs.wake()
        wait_for(lambda: result_of(app, 1), FIT_S)
        yield address, app


@pytest.fixture
def browser(chrome, fitted: tuple[str, FastAPI]) -> Iterator[Browser]:  # type: ignore[no-untyped-def]
    made = Browser(chrome, fitted[0])
    made.complaints()
    chrome.delete_all_cookies()
    made.size("tablet")
    made.device_theme("light")
    yield made
    chrome.get("about:blank")


def run_of(app: FastAPI, number: int = 2) -> tuple[int, Run]:
    with app.state.archive.database.reading() as session:
        revision, day = newest_day(app.state.archive, session, 1)
        return revision.number, next(run for run in day.runs if run.number == number)


def open_run(browser: Browser, path: str = RUN) -> None:
    """Open the page, and wait until its logs have been read."""
    browser.open(path)
    browser.until(lambda: browser.all("#plot-run-speed, #plot-run-channels"), "the logs read", FIT_S)


def handles(browser: Browser) -> None:
    browser.run("document.getElementById('plot-run-speed').scrollIntoView({block: 'center'})")
    browser.until(lambda: browser.all("#plot-run-speed[data-drawn] .main-svg"), "the speed")
    browser.until(lambda: [one for one in browser.all(".edge") if one.is_displayed()], "the handles")


def settled(app: FastAPI, before: int | None) -> None:
    """Wait for the next result, so that what follows starts from a fitted day."""
    wait_for(lambda: result_of(app, 1) != before, FIT_S)


def preview_told(browser: Browser) -> str:
    browser.until(lambda: browser.all("#preview .filled"), "old against new", FIT_S)
    return browser.one("#preview").text


def test_an_edge_is_dragged_tried_and_kept_and_the_day_fitted_anew(
    browser: Browser, fitted: tuple[str, FastAPI]
) -> None:
    app = fitted[1]
    before, (revision, _) = result_of(app, 1), run_of(app)
    open_run(browser)
    handles(browser)
    edge = next(one for one in browser.all(".edge-end") if one.is_displayed())
    was = float(edge.get_attribute("aria-valuenow"))
    per_s = browser.run(
        "const axis = document.getElementById('plot-run-speed')._fullLayout.xaxis; return axis.d2p(1) - axis.d2p(0)"
    )
    grip = edge.find_element(By.CSS_SELECTOR, ".grip")
    ActionChains(browser.driver).click_and_hold(grip).move_by_offset(-round(3 * per_s), 0).release().perform()
    now = float(edge.get_attribute("aria-valuenow"))
    assert now == pytest.approx(was - 3.0, abs=2.0 / per_s)
    assert edge.get_attribute("aria-valuetext") == f"ends at {now:.2f} seconds"
    told = preview_told(browser)
    assert "SCx as it stands" in told
    assert "SCx with the new edges" in told
    assert " ± " in browser.one("#preview tbody td:nth-child(2)").text
    assert run_of(app)[0] == revision  # a trial changes nothing
    assert result_of(app, 1) == before
    promised = browser.one("#preview tbody td:nth-child(4)").text
    reason = browser.one("#preview [name=reason]")
    reason.clear()
    reason.send_keys("a bump at the end")
    browser.one("#preview .filled").click()
    browser.until(lambda: run_of(app)[0] == revision + 1, "the revision")
    edit = run_of(app)[1].passes[-1]
    assert (edit.used, edit.reason, edit.end_s) == (True, "a bump at the end", pytest.approx(now, abs=0.006))
    settled(app, before)
    browser.until(lambda: "edges set by hand: a bump at the end" in browser.text(), "the fitted page by itself")
    with app.state.archive.database.reading() as session:
        row = latest_result(session, 1)
    assert row is not None
    scx = row.summary["setups"][0]["estimates"]["SCx"]
    assert with_uncertainty(scx["value"], 0.5 * (scx["high95"] - scx["low95"]), "m²") == promised


def test_an_edge_is_nudged_by_keys_and_put_back(browser: Browser, fitted: tuple[str, FastAPI]) -> None:
    app = fitted[1]
    revision = run_of(app)[0]
    open_run(browser)
    handles(browser)
    tab_to(browser, lambda: focused(browser).get_attribute("role") == "slider")
    edge = focused(browser)
    was = float(edge.get_attribute("aria-valuenow"))
    values = []
    for keys in ([Keys.ARROW_RIGHT], [Keys.SHIFT, Keys.ARROW_RIGHT], [Keys.ARROW_LEFT]):
        chain = ActionChains(browser.driver)
        for held in keys[:-1]:
            chain.key_down(held)
        chain.send_keys(keys[-1])
        for held in keys[:-1]:
            chain.key_up(held)
        chain.perform()
        values.append(float(edge.get_attribute("aria-valuenow")) - was)
    assert values == pytest.approx([0.1, 1.1, 1.0], abs=0.006)
    assert f"{was + 1.0:.1f} to " in preview_told(browser)
    press(browser, Keys.END)
    assert edge.get_attribute("aria-valuenow") == edge.get_attribute("aria-valuemax")
    press(browser, Keys.HOME)
    assert edge.get_attribute("aria-valuenow") == edge.get_attribute("aria-valuemin")
    browser.until(lambda: "Trying 0.0 to " in browser.one("#preview").text, "the newer trial in the older one's place")
    tab_to(browser, lambda: focused(browser).text == "Put back")
    press(browser, Keys.SPACE)
    browser.until(lambda: not browser.all("#preview .preview"), "the page as it was")
    assert run_of(app)[0] == revision
    assert browser.complaints() == []


def test_a_pass_is_left_out_with_its_reason_and_taken_back_by_keyboard_alone(
    browser: Browser, fitted: tuple[str, FastAPI]
) -> None:
    app = fitted[1]
    before, (revision, run) = result_of(app, 1), run_of(app, 1)
    open_run(browser, "/days/1/runs/1")
    fold = browser.one("#passes tbody tr:nth-child(2) summary")
    browser.run("arguments[0].focus()", fold)
    press(browser, Keys.ENTER)
    tab_to(browser, lambda: focused(browser).text == "Leave out")
    press(browser, Keys.ENTER)
    browser.until(lambda: browser.all("#passes .field-problem"), "the refusal beside the form")
    assert "Say why the pass is left out" in browser.one("#passes .field-problem").text
    assert run_of(app, 1)[0] == revision
    browser.until(lambda: focused(browser).get_attribute("name") == "reason", "the reason focused")
    ActionChains(browser.driver).send_keys("traffic").perform()
    tab_to(browser, lambda: focused(browser).text == "Leave out")
    press(browser, Keys.ENTER)
    browser.until(lambda: run_of(app, 1)[0] == revision + 1, "the revision")
    assert (run_of(app, 1)[1].passes[-1].used, run_of(app, 1)[1].passes[-1].reason) == (False, "traffic")
    settled(app, before)
    browser.until(lambda: "turned down: traffic" in browser.text(), "the page after its fit")
    before = result_of(app, 1)
    fold = browser.one("#passes tbody tr:nth-child(2) summary")
    browser.run("arguments[0].focus()", fold)
    press(browser, Keys.ENTER)
    tab_to(browser, lambda: focused(browser).text == "Take back")
    press(browser, Keys.ENTER)
    browser.until(lambda: run_of(app, 1)[0] == revision + 2, "taken back")
    assert run_of(app, 1)[1].passes == run.passes
    settled(app, before)
    assert [line for line in browser.complaints() if "422" not in line] == []


def test_a_trial_and_its_keeping_work_without_scripts(browser: Browser, fitted: tuple[str, FastAPI]) -> None:
    app = fitted[1]
    open_run(browser)
    browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.open(RUN)
        browser.one("#passes tbody tr:nth-child(2) summary").click()
        field = browser.one("#passes tbody tr:nth-child(2) [name=start_s]")
        value = float(field.get_attribute("value"))
        field.clear()
        field.send_keys(f"{value + 0.5:.2f}".replace(".", ","))
        browser.one("#passes tbody tr:nth-child(2) button").click()
        browser.until(lambda: "?preview=" in browser.driver.current_url, "the trial")

        def told() -> bool:
            browser.driver.refresh()
            return bool(browser.all("#preview .filled"))

        browser.until(told, "old against new", FIT_S)
        assert "SCx with the new edges" in browser.text()
        browser.one("#preview form:last-of-type button").click()
        browser.until(lambda: "?preview=" not in browser.driver.current_url, "put back")
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert run_of(app)[1].number == 2


def test_a_channel_is_drawn_and_looked_at_closer(browser: Browser) -> None:
    open_run(browser)
    tick = browser.one("#channels input[value='GPS speed']")
    browser.run("arguments[0].scrollIntoView({block: 'center'})", tick)
    tick.click()
    browser.one("#channels form button").click()
    browser.until(lambda: "channels=GPS" in browser.driver.current_url, "the address")
    browser.run("document.getElementById('plot-run-channels').scrollIntoView({block: 'center'})")
    browser.until(lambda: browser.all("#plot-run-channels[data-drawn] .main-svg"), "the channel")
    span = "return document.getElementById('plot-run-channels')._fullLayout.xaxis.range"
    whole = browser.run(span)
    for name, value in (("from", "12"), ("to", "15")):
        browser.one(f"#{name}").send_keys(value)
    browser.one("#speed form.log-row button").click()
    browser.until(lambda: "from=12" in browser.driver.current_url, "the part")
    browser.run("document.getElementById('plot-run-channels').scrollIntoView({block: 'center'})")
    browser.until(lambda: browser.all("#plot-run-channels[data-drawn] .main-svg"), "the channel again")
    closer = browser.run(span)
    assert closer[0] >= 12
    assert closer[1] <= 15 < whole[1]
    assert browser.run(OUTSIDE) == []
    assert browser.complaints() == []


def test_the_passes_are_copied_over_plain_http(browser: Browser) -> None:
    """The clipboard is taken away, as it is for a page over plain HTTP on a network."""
    open_run(browser)
    browser.run("Object.defineProperty(navigator, 'clipboard', {value: undefined})")
    browser.run(
        "window.taken = ''; document.addEventListener('copy', () => { window.taken = document.activeElement.value; })"
    )
    button = browser.one("[data-copy]")
    browser.run("arguments[0].scrollIntoView({block: 'center'})", button)
    button.click()
    browser.until(lambda: "on the clipboard" in browser.one("[data-copy-news]").text, "the news")
    lines = browser.run("return window.taken").rstrip("\n").split("\n")
    assert lines[0].split("\t")[:4] == ["run", "setup", "kind", "direction"]
    assert len(lines) == 1 + len(browser.all("#passes tbody tr"))
    assert {len(line.split("\t")) for line in lines} == {12}


@pytest.mark.parametrize("size", SIZES)
def test_the_page_fits_its_screen_and_can_be_touched(browser: Browser, size: str) -> None:
    browser.size(size)
    open_run(browser, f"{RUN}?column=GPS+speed&channels=GPS+speed")
    handles(browser)
    assert browser.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    assert [target for target in browser.run(TARGETS) if target[2] < 48] == []
    grips = browser.run(
        "return [...document.querySelectorAll('.edge:not([hidden]) .grip')].map((one) => one.getBoundingClientRect())"
        ".map((box) => Math.min(box.width, box.height))"
    )
    assert grips
    assert min(grips) >= 48


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_texts_can_be_read_and_axe_finds_nothing(browser: Browser, theme: str) -> None:
    browser.device_theme(theme)
    open_run(browser, f"{RUN}?column=GPS+speed&channels=GPS+speed")
    handles(browser)
    assert [text for text in browser.run(TEXTS) if contrast(text[1], text[2]) < 7.0 or text[3] < 17] == []
    found = Axe().run(browser.driver)["violations"]
    assert [(one["id"], [node["html"][:200] for node in one["nodes"]]) for one in found] == []
