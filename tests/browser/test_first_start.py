"""The main job in a real browser: from the empty page to a result; a bad file; by keyboard alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from server.app import create_app
from server.locations import sample_day_folders
from server.settings import Settings
from tests.browser.chromium import Browser
from tests.web.serving import served
from tests.web.test_adding import LOG, zipped

FIT_S = 120


def file_with(folder: Path, name: str, content: bytes) -> str:
    (folder / name).write_bytes(content)
    return str(folder / name)


def send_zip(browser: Browser, path: str) -> None:
    """Choose it, wait until it is here and nothing on the page moves any more, press the button."""
    browser.one("#folder-form-files").send_keys(path)
    browser.until(lambda: browser.all("#folder-form .upload[data-state=here]"), "the zip")
    browser.one("#folder-form .send").click()


def drawn(browser: Browser, count: int = 1) -> None:
    browser.until(lambda: len(browser.all("[data-drawn] .main-svg")) >= count, "the figure")


def test_from_the_empty_page_to_a_result(browser: Browser, tmp_path: Path) -> None:
    browser.open("/")
    assert "No test day is here yet" in browser.text()
    browser.one("a.filled").click()
    send_zip(browser, file_with(tmp_path, "apron.zip", zipped("Long apron")))
    browser.until(lambda: browser.all("#answer progress"), "progress on the page")
    browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")
    assert "Setup A: SCx 1.520 ± 0.041 m² from 8 coast-downs" in browser.text()
    drawn(browser)
    assert len(browser.all(".js-plotly-plot .scatterlayer .trace path.point")) > 100
    browser.one(".top .name").click()
    browser.until(lambda: "1 test day" in browser.text() and "Long apron" in browser.text(), "the season")
    assert browser.complaints() == []


def test_logs_with_mass_and_air_typed_in(browser: Browser, tmp_path: Path) -> None:
    browser.open("/add")
    for row, (name, setup) in enumerate((("a.csv", "A"), ("b.csv", "B"))):
        browser.one("#logs-files").send_keys(file_with(tmp_path, name, LOG + name.encode()))
        browser.until(lambda row=row: len(browser.all(".upload[data-state=here]")) == row + 1, "the log")
        field = browser.all("input[name=log_setup]")[row]
        field.clear()
        field.send_keys(setup)
    for field, value in (("mass", "236,5"), ("pressure", "1009"), ("temperature", "17")):
        browser.one(f"#f-{field}").send_keys(value)
    browser.one("#f-coasting").send_keys("neutral")
    browser.one("#logs-form .send").click()
    browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")
    assert browser.complaints() == []


def test_a_bad_file_is_one_sentence_on_the_page(browser: Browser, tmp_path: Path) -> None:
    browser.open("/add")
    browser.one("#f-mass").send_keys("236")
    send_zip(browser, file_with(tmp_path, "bad.zip", zipped("unreadable")))
    problem = browser.one("#answer .job-failed")
    assert "logs/run01.csv stops in the middle of line 48,113." in problem.text
    assert "Nothing of bad.zip was kept." in problem.text
    assert browser.driver.current_url.endswith("/add")
    assert browser.one("#f-mass").get_property("value") == "236"
    assert browser.complaints() == []
    send_zip(browser, file_with(tmp_path, "good.zip", zipped("Long apron")))
    browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")


def test_what_is_no_zip_is_refused_on_the_page(browser: Browser, tmp_path: Path) -> None:
    browser.open("/add")
    send_zip(browser, file_with(tmp_path, "<i>notes.zip", b"hello"))
    assert "<i>notes.zip is not a zip" in browser.one("#answer .problem").text


def test_by_keyboard_alone(browser: Browser, tmp_path: Path) -> None:
    """Tab, Enter, Space; the file's path goes to the focused field, as a file dialog would give it."""
    browser.open("/")
    press(browser, Keys.TAB)
    assert focused(browser).text == "To the content"
    press(browser, Keys.ENTER)
    tab_to(browser, lambda: focused(browser).text == "Add a day")
    press(browser, Keys.ENTER)
    browser.until(lambda: browser.driver.current_url.endswith("/add"), "the form")
    tab_to(browser, lambda: focused(browser).get_attribute("id") == "folder-form-files")
    outline = browser.run("return getComputedStyle(document.activeElement).outlineWidth")
    assert float(outline.removesuffix("px")) >= 3
    focused(browser).send_keys(file_with(tmp_path, "apron.zip", zipped("Long apron")))
    tab_to(browser, lambda: focused(browser).text == "Read and fit")
    press(browser, Keys.SPACE)
    browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")
    tab_to(browser, lambda: focused(browser).text == "1.520 ± 0.041 m²")
    assert "u 0.021 m²" in browser.one(".value:focus-within .value-detail").text
    tab_to(browser, lambda: "coast-downs used" in focused(browser).text)
    press(browser, Keys.ENTER)
    browser.until(lambda: browser.one("#passes details").get_property("open"), "the passes")
    assert "turned down" in browser.one("#passes table").text
    assert browser.complaints() == []


def focused(browser: Browser):  # type: ignore[no-untyped-def]
    return browser.driver.switch_to.active_element


def press(browser: Browser, key: str) -> None:
    ActionChains(browser.driver).send_keys(key).perform()


def tab_to(browser: Browser, there) -> None:  # type: ignore[no-untyped-def]
    for _ in range(60):
        if there():
            return
        press(browser, Keys.TAB)
    raise AssertionError("the keyboard does not get there")


def test_dropping_files(browser: Browser) -> None:
    """A dropped log gets a row, a dropped zip is read at once."""
    browser.open("/add")
    drop = """
        const [name, bytes] = arguments, list = new DataTransfer();
        list.items.add(new File([new Uint8Array(bytes)], name));
        const zone = document.querySelector('[data-drop]');
        zone.dispatchEvent(new DragEvent('drop', {bubbles: true, cancelable: true, dataTransfer: list}));
    """
    names = ["one.csv", "two.csv", "three.csv", "four.csv", "five.csv"]
    for name in names:
        browser.run(drop, name, list(LOG))
    browser.until(lambda: len(browser.all("#logs-form .upload[data-state=here]")) == 5, "the logs")
    assert [row.text for row in browser.all("#logs-form .upload strong")] == names
    assert "The same file came in before." in browser.all("#logs-form .upload")[4].text
    browser.run(drop, "apron.zip", list(zipped("Long apron")))
    browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")
    assert browser.complaints() == []


def test_without_javascript(browser: Browser, tmp_path: Path) -> None:
    """Plain forms and a page that loads itself anew; the figure leaves its table."""
    browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.open("/add")
        browser.one("#folder-form-files").send_keys(file_with(tmp_path, "apron.zip", zipped("Long apron")))
        browser.one("#folder-form .send").click()
        browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the day")
        assert "Setup A: SCx 1.520" in browser.text()
        browser.one(".plot-area a").click()
        browser.until(lambda: "measured resistance [N]" in browser.text(), "the table")
    finally:
        browser.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


@pytest.mark.skipif(not sample_day_folders(), reason="the sample days are not there")
def test_a_sample_day_is_really_fitted(chrome, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Nothing stands in here: the logs of a made-up day become areas through the product's own fit."""
    app = create_app(Settings(data_folder=tmp_path / "data", day_folder=sample_day_folders()[-1]))
    with served(app) as address:
        browser = Browser(chrome, address)
        browser.complaints()
        browser.open("/")
        browser.until(lambda: "/days/1/result" in browser.driver.current_url, "the fit", FIT_S)
        browser.until(lambda: "coast-down" in browser.text() and "± " in browser.text(), "the sentence")
        drawn(browser)
        assert browser.complaints() == []
        chrome.get("about:blank")
