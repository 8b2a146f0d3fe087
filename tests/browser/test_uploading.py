"""Files that come in piece by piece, in a real browser: several at once, a server that dies, a page loaded anew."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from selenium.webdriver.common.keys import Keys

from tests.browser.chromium import Browser
from tests.browser.test_first_start import file_with, focused, press, tab_to
from tests.uploads.conftest import sha256
from tests.uploads.killed import running

FILE_BYTES = 9_000_000
SLOW_BYTES_PER_S = 4_000_000


def slow_down(browser: Browser, bytes_per_s: int = SLOW_BYTES_PER_S) -> None:
    """A wireless network of a paddock; -1 for the full speed."""
    limits = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": bytes_per_s}
    browser.driver.execute_cdp_cmd("Network.enable", {})
    browser.driver.execute_cdp_cmd("Network.emulateNetworkConditions", limits)


def states(browser: Browser) -> list[str]:
    return browser.run("return [...document.querySelectorAll('#logs-form .upload')].map((row) => row.dataset.state)")


def gone(browser: Browser) -> float:
    """Bytes that have gone, of all files together."""
    return browser.run(
        "return [...document.querySelectorAll('.upload progress')].reduce((sum, bar) => sum + bar.value, 0)"
    )


def made_files(folder: Path, count: int, size: int = FILE_BYTES) -> dict[str, bytes]:
    files = {}
    for number in range(count):
        files[f"run {number + 1} ä.csv"] = bytes([number]) + (b"0123456789abcde" * (size // 15))
        (folder / f"run {number + 1} ä.csv").write_bytes(files[f"run {number + 1} ä.csv"])
    return files


def choose(browser: Browser, folder: Path, names: list[str]) -> None:
    browser.one("#logs-files").send_keys("\n".join(str(folder / name) for name in names))


@pytest.fixture
def full_speed(browser: Browser):  # type: ignore[no-untyped-def]
    yield
    slow_down(browser, -1)


def test_three_files_arrive_though_the_server_is_killed_in_the_middle(chrome, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    files = made_files(tmp_path, 3)
    data = tmp_path / "data"
    with running(data) as (_, address):
        browser = Browser(chrome, address)
        browser.open("/add")
        slow_down(browser)
        choose(browser, tmp_path, list(files))
        browser.until(lambda: gone(browser) > 4_000_000, "some of it")
        assert "sending" in states(browser)
    browser.until(lambda: "cannot be reached" in browser.one("#logs-form .uploads").text, "word of it")
    with running(data, int(address.rpartition(":")[2])) as (_, again):
        assert again == address
        browser.until(lambda: states(browser) == ["here"] * 3, "all three")
        slow_down(browser, -1)
        for content in files.values():
            assert (data / "raw" / sha256(content)[:2] / sha256(content)).read_bytes() == content
        assert not list((data / "incoming" / "uploads").iterdir())
        chrome.get("about:blank")
    browser.complaints()


@pytest.mark.usefixtures("full_speed")
def test_a_file_chosen_again_after_a_reload_goes_on(browser: Browser, tmp_path: Path) -> None:
    [(name, content)] = made_files(tmp_path, 1).items()
    browser.open("/add")
    slow_down(browser)
    choose(browser, tmp_path, [name])
    browser.until(lambda: gone(browser) > 4_500_000, "some of it")
    browser.open("/add")
    place = json.loads(browser.run("return localStorage.getItem('uploads')"))
    assert len(place) == 1
    choose(browser, tmp_path, [name])
    browser.until(lambda: gone(browser) > 0, "the first word")
    assert gone(browser) >= 4_000_000
    slow_down(browser, -1)
    browser.until(lambda: states(browser) == ["here"], "all of it")
    view = browser.run(
        "return fetch(`/api/uploads/${document.querySelector('[name=log_upload]').value}`).then((a) => a.json())"
    )
    assert (view["sha256"], view["name"]) == (sha256(content), name)
    assert browser.run("return localStorage.getItem('uploads')") == "{}"
    assert browser.complaints() == []


@pytest.mark.usefixtures("full_speed")
def test_a_cancelled_file_is_gone_and_the_others_arrive(browser: Browser, tmp_path: Path) -> None:
    """By keyboard: the button says what it cancels, the news say that it was."""
    files = made_files(tmp_path, 3)
    browser.open("/add")
    slow_down(browser)
    choose(browser, tmp_path, list(files))
    browser.until(lambda: gone(browser) > 1_000_000, "some of it")
    tab_to(browser, lambda: focused(browser).get_attribute("aria-label") == "Cancel run 2 ä.csv")
    press(browser, Keys.ENTER)
    assert browser.one("#logs-form [role=status]").text == "run 2 ä.csv was cancelled."
    assert focused(browser).get_attribute("id") == "logs-files"
    slow_down(browser, -1)
    browser.until(lambda: states(browser) == ["here"] * 2, "the others")
    assert "run 3 ä.csv is here." in browser.one("#logs-form [role=status]").text or states(browser) == ["here"] * 2
    assert not list((tmp_path / "data" / "incoming" / "uploads").iterdir())
    assert browser.complaints() == []


@pytest.mark.usefixtures("full_speed")
def test_a_form_sent_early_waits_for_its_files(browser: Browser, tmp_path: Path) -> None:
    made_files(tmp_path, 1, 3_000_000)
    browser.open("/add")
    for field, value in (("mass", "236,5"), ("pressure", "1009"), ("temperature", "17")):
        browser.one(f"#f-{field}").send_keys(value)
    browser.one("#f-coasting").send_keys("neutral")
    slow_down(browser, 2_000_000)
    choose(browser, tmp_path, ["run 1 ä.csv"])
    browser.one("#logs-form .send").click()
    assert browser.one("#logs-form [role=status]").text == "Sent as soon as every file is here."
    slow_down(browser, -1)
    browser.until(lambda: "/days/1" in browser.driver.current_url, "the day")
    assert browser.complaints() == []


def test_a_form_without_a_file_says_so(browser: Browser) -> None:
    browser.open("/add")
    browser.one("#folder-form .send").click()
    assert browser.one("#folder-form [role=status]").text == "Choose a file first."
    assert focused(browser).get_attribute("id") == "folder-form-files"


def test_a_file_that_is_too_large_is_refused_in_its_row(browser: Browser, tmp_path: Path) -> None:
    browser.open("/add")
    with (tmp_path / "huge.csv").open("wb") as file:
        file.truncate(600_000_000)
    choose(browser, tmp_path, ["huge.csv"])
    browser.until(lambda: states(browser) == ["refused"], "the refusal")
    assert "huge.csv has 600 MB; at most 512 MB can be sent." in browser.one("#logs-form .upload").text
    assert browser.all("#logs-form [name=log_upload]") == browser.all("#logs-form [name=log_setup]") == []
    browser.one("#logs-form .upload button").click()
    assert states(browser) == []


def test_another_device_signs_in_and_sends(chrome, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Reached by the computer's own address, a browser is another device: invited, signed out, in again."""
    from server.accounts.service import invite_first_owner
    from server.app import create_app
    from server.commands.lan_addresses import lan_addresses
    from server.settings import Settings
    from tests.web.fake_fit import KINDS
    from tests.web.serving import served

    addresses = lan_addresses()
    if not addresses:
        pytest.skip("this computer has no address but the loopback's")
    app = create_app(Settings(data_folder=tmp_path / "data", host="0.0.0.0"), KINDS)
    with served(app, "0.0.0.0") as address:
        port = address.rpartition(":")[2]
        browser = Browser(chrome, f"http://{addresses[0]}:{port}")
        browser.complaints()
        browser.open("/add")
        assert "Nobody has an account yet" in browser.one("main").text
        known = ("401", "Cross-Origin-Opener-Policy")  # the second: plain HTTP on a network is no trusted origin
        assert [line for line in browser.complaints() if not any(word in line for word in known)] == []
        with app.state.archive.database.writing() as session:
            code = invite_first_owner(session).code
        browser.open("/invited")
        browser.until(lambda: focused(browser).get_attribute("id") == "code", "the field for the code")
        focused(browser).send_keys("wrong", Keys.ENTER)
        assert "opens nothing" in browser.one(".problem").text
        browser.until(lambda: focused(browser).get_attribute("id") == "code", "the field for the code")
        focused(browser).send_keys(code.replace("-", "").lower(), Keys.ENTER)
        browser.until(lambda: "Its role is owner" in browser.one("main").text, "the invitation")
        browser.until(lambda: focused(browser).get_attribute("id") == "name", "the field for the name")
        keys = ["Ana", Keys.TAB, "nine wet cones", Keys.TAB, "nine wet cones", Keys.ENTER]
        focused(browser).send_keys(keys[0], keys[1])
        for part in keys[2:]:
            focused(browser).send_keys(part)
        browser.until(lambda: "Ana" in browser.one(".who summary").text, "the first page")
        browser.one(".who summary").click()
        browser.one(".who button").click()
        browser.until(lambda: "Sign in with the name" in browser.one("main").text, "being out")
        browser.open("/add")
        browser.until(lambda: focused(browser).get_attribute("id") == "name", "the field for the name")
        focused(browser).send_keys("ana", Keys.TAB)
        focused(browser).send_keys("nine wet cones", Keys.ENTER)
        browser.until(lambda: browser.driver.current_url.endswith("/add"), "the page that was wanted")
        browser.one("#logs-files").send_keys(file_with(tmp_path, "a.csv", b"t,v\n"))
        browser.until(lambda: states(browser) == ["here"], "the file")
        chrome.delete_all_cookies()
        chrome.get("about:blank")
