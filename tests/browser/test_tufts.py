"""Tufts in a real browser: sixty marked by touch while the network comes and goes; by keyboard; how it looks."""

from __future__ import annotations

import io
import math
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from axe_core_python.selenium import Axe
from PIL import Image, ImageDraw
from selenium.webdriver.common.keys import Keys

from tests.browser.chromium import SIZES, Browser
from tests.browser.test_first_start import press, tab_to
from tests.browser.test_looks import TARGETS, TEXTS
from tests.browser.test_test_day import fresh
from tests.tufts.tuft_site import faults_of, photos, readings, tuft_site
from tests.web.conftest import Site
from tests.web.test_styles import contrast

ROWS, COLUMNS = 6, 10
HAND_S = 180.0
# Keystroke-level model, Card, Moran & Newell (1980), Communications of the ACM 23, table 1, from memory: to point
# 1.1 s, a button pressed or let go 0.1 s, to get ready 1.35 s, a key 0.28 s. A stroke is two points, pressed and let
# go; a change of the condition is a getting ready and a key.
POINT_S, PRESS_S, READY_S, KEY_S = 1.1, 0.1, 1.35, 0.28
BRUSH = "return document.querySelector('[data-condition][aria-pressed=true]')?.dataset.condition"
KEPT = "return document.querySelector('[data-board-kept]').textContent"


def tufted(path: Path) -> list[tuple[float, float, float]]:
    """A made-up photo of sixty tufts; gives root and direction of each."""
    made = Image.fromarray(np.full((1200, 1600, 3), (58, 62, 70), np.uint8))
    pen, roots = ImageDraw.Draw(made), []
    for row in range(ROWS):
        for column in range(COLUMNS):
            x, y = 120 + 145 * column, 140 + 175 * row
            angle = 0.5 * math.sin(0.6 * column) * row / ROWS
            pen.line([(x, y), (x + 80 * math.cos(angle), y + 80 * math.sin(angle))], fill=(240, 220, 60), width=6)
            roots.append((float(x), float(y), angle))
    out = io.BytesIO()
    made.save(out, "JPEG", quality=85)
    path.write_bytes(out.getvalue())
    return roots


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with tuft_site(tmp_path) as made:
        yield made


@pytest.fixture
def browser(chrome, site: Site) -> Iterator[Browser]:  # type: ignore[no-untyped-def]
    made = fresh(chrome, str(site.client.base_url).rstrip("/"))
    made.open("/help")
    chrome.add_cookie({"name": "who", "value": "Ana"})
    yield made
    online(made, True)
    chrome.get("about:blank")


def online(browser: Browser, there: bool) -> None:
    browser.driver.execute_cdp_cmd("Network.enable", {})
    conditions = {"offline": not there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    browser.driver.execute_cdp_cmd("Network.emulateNetworkConditions", conditions)


def brought(browser: Browser, site: Site, file: Path) -> None:
    """A photo sent through the page, and its own page opened."""
    browser.open("/days/1/tufts")
    browser.one("#photos-files").send_keys(str(file))
    browser.until(lambda: browser.run("return document.querySelector('.upload')?.dataset.state") == "here")
    browser.one("#photos-part").send_keys("rear wing")
    browser.one("#photos-view").send_keys("left rear")
    browser.one("#photos-run").send_keys("2")
    browser.one("#photos-form .send").click()
    browser.until(lambda: photos(site), "the photo")
    browser.until(lambda: browser.all(".tuft-figure"), "the page of photos, come to by itself")
    opened(browser)


def opened(browser: Browser) -> None:
    browser.open("/days/1/tufts/1")
    browser.until(lambda: browser.all("[data-tuft-board][data-ready]"), "the board")
    browser.run("document.querySelector('.board-frame').scrollIntoView({block: 'center', behavior: 'instant'})")


def on_screen(browser: Browser, x: float, y: float) -> tuple[float, float]:
    found = browser.run(
        "const m = document.querySelector('.board-picture').getScreenCTM();"
        "return [arguments[0] * m.a + m.e, arguments[1] * m.d + m.f]", x, y,
    )  # fmt: skip
    return found[0], found[1]


def draw(browser: Browser, x: float, y: float, angle: float, length: float = 80.0) -> None:
    """One finger from the root to the loose end."""
    ends = [on_screen(browser, x, y), on_screen(browser, x + length * math.cos(angle), y + length * math.sin(angle))]
    touch(browser, "touchStart", ends[0])
    for share in (0.5, 1.0):
        touch(browser, "touchMove", tuple(a + share * (b - a) for a, b in zip(*ends, strict=True)))
    touch(browser, "touchEnd")


def touch(browser: Browser, kind: str, *points: tuple[float, ...]) -> None:
    at = [{"x": one[0], "y": one[1], "id": number} for number, one in enumerate(points)]
    browser.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})


def test_sixty_tufts_by_touch_while_the_network_comes_and_goes(browser: Browser, site: Site, tmp_path: Path) -> None:
    roots = tufted(tmp_path / "wing.jpg")
    brought(browser, site, tmp_path / "wing.jpg")
    browser.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    began, keys = time.monotonic(), 0
    for number, (x, y, angle) in enumerate(roots):
        wanted = "separated" if number % 20 == 19 else "unsteady" if number % 10 == 9 else "attached"
        if browser.run(BRUSH) != wanted:
            browser.run("arguments[0].click()", browser.one(f"[data-condition={wanted}]"))
            browser.run("document.querySelector('.board-frame').scrollIntoView({block: 'center', behavior: 'instant'})")
            keys += 1
        if number == 20:
            online(browser, False)
        if number == 40:
            browser.until(lambda: "20 changes on the way" in browser.run(KEPT), "what waits")
            assert "every mark is kept on this device" in browser.run(KEPT)
            online(browser, True)
        draw(browser, x, y, angle)
    page_s = time.monotonic() - began
    browser.until(lambda: browser.run(KEPT) == "60 marks, all kept.", "all of them kept")
    hand_s = len(roots) * (2 * POINT_S + 2 * PRESS_S) + keys * (READY_S + KEY_S)
    print(f"\n60 tufts: {page_s:.0f} s by script, {hand_s:.0f} s by hand after the keystroke-level model")
    assert hand_s < HAND_S
    assert page_s < HAND_S
    kept = readings(site, 1)["Ana"]
    assert len(kept) == len({one["mark"] for one in kept}) == len(roots)
    for x, y, angle in roots:
        near = min(kept, key=lambda one: math.hypot(one["x_px"] - x, one["y_px"] - y))
        assert math.hypot(near["x_px"] - x, near["y_px"] - y) < 2.0
        assert abs(math.remainder(near["direction_rad"] - angle, math.tau)) < 0.03
    told = [one["condition"] for one in kept]
    assert [told.count(name) for name in ("attached", "unsteady", "separated")] == [54, 3, 3]

    # Marked without a network, left, and come back to: what waited on the device is there, and is sent.
    online(browser, False)
    draw(browser, 1550, 60, 0.3)
    browser.until(lambda: "1 change on the way" in browser.run(KEPT), "a mark that waits")
    browser.driver.get("about:blank")
    online(browser, True)
    opened(browser)
    browser.until(lambda: browser.run(KEPT) == "61 marks, all kept.", "the last one")
    assert len(readings(site, 1)["Ana"]) == 61
    assert faults_of(site) == []


def test_keys_then_two_fingers_that_zoom_and_slide_and_set_nothing(
    browser: Browser, site: Site, tmp_path: Path
) -> None:
    """And the pages as they look: large enough to touch, dark enough to read, no complaint, at every width."""
    tufted(tmp_path / "wing.jpg")
    brought(browser, site, tmp_path / "wing.jpg")
    by_keyboard(browser, site)
    width = "return document.querySelector('.board-picture').viewBox.baseVal.width"
    whole = browser.run(width)
    one, two = on_screen(browser, 700, 600), on_screen(browser, 900, 600)
    touch(browser, "touchStart", one)
    touch(browser, "touchStart", one, two)
    touch(browser, "touchMove", (one[0] - 60, one[1]), (two[0] + 60, two[1]))
    touch(browser, "touchEnd")
    assert browser.run(width) < 0.8 * whole
    browser.one("[data-do=whole]").click()
    assert browser.run(width) == pytest.approx(whole)
    assert readings(site, 1) == {}
    draw(browser, 300, 300, 1.0)
    browser.until(lambda: browser.run(KEPT) == "1 mark, all kept.")
    place_part(browser, site)
    for path in ("/days/1/tufts/1", "/days/1/tufts/1/burst", "/days/1/tufts", "/days/1/tufts/stations"):
        looks(browser, path)
    assert browser.complaints() == []


def looks(browser: Browser, path: str) -> None:
    """Sizes do not change with the theme, nor contrasts with the width."""
    for theme, sizes in (("dark", ["tablet"]), ("light", list(SIZES))):
        browser.device_theme(theme)
        for size in sizes:
            browser.size(size)
            browser.open(path)
            small = [text for text in browser.run(TARGETS) if min(text[1:]) < 43.5]
            assert small == [], (path, size)
            wide = browser.run("return document.documentElement.scrollWidth - innerWidth")
            assert wide <= 0, (path, size)
        pale = [each for each in browser.run(TEXTS) if contrast(each[1], each[2]) < 7.0]
        assert pale == [], (path, theme)
    found = Axe().run(browser.driver)["violations"]
    assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []


def place_part(browser: Browser, site: Site) -> None:
    """Four stations tapped on the plan and on the photo; then a station waits on the photo for a stroke and a key."""
    grid = [(f"r{row}c{column}", 145 * column, 175 * row) for row in (0, 5) for column in (0, 9)]
    lines = ["part,station,x_mm,y_mm,direction_deg", *(f"rear wing,{name},{x},{y},10" for name, x, y in grid)]
    lines.append("rear wing,middle,725,350,10")
    assert site.client.post("/days/1/tufts/stations", data={"text": "\n".join(lines)}).status_code == 303
    opened(browser)
    tap = "arguments[0].dispatchEvent(new MouseEvent('click', {bubbles: true}))"
    for name, x, y in grid:
        browser.run(tap, browser.one(f"[data-station={name}]"))
        browser.run("document.querySelector('.board-frame').scrollIntoView({block: 'center', behavior: 'instant'})")
        touch(browser, "touchStart", on_screen(browser, 120 + x, 140 + y))
        touch(browser, "touchEnd")
    filled = "return [...document.querySelectorAll('[data-tuft-points] [name=x_px]')].filter((one) => one.value).length"
    assert browser.run(filled) == len(grid)
    assert len(readings(site, 1)["Ana"]) == 1, "taps for points set no marks"
    browser.run("document.querySelector('[data-tuft-points]').requestSubmit()")
    browser.until(lambda: "The part lies on view left rear by 4 points" in browser.text(), "the part in its place")
    opened(browser)
    draw(browser, 120 + 725 + 4, 140 + 350 - 3, 0.2)
    browser.until(lambda: len(readings(site, 1)["Ana"]) == 2, "the station's mark")
    middle = next(one for one in readings(site, 1)["Ana"] if one["station"])
    assert middle["station"] == "middle"
    assert (middle["x_px"], middle["y_px"]) == pytest.approx((845, 490), abs=3)


def by_keyboard(browser: Browser, site: Site) -> None:
    """A mark set, judged, turned, moved, taken out, undone and done again without a pointer; then taken out."""
    frame = "return document.activeElement.classList.contains('board-frame')"
    tab_to(browser, lambda: browser.run(frame))
    for key in (Keys.ARROW_LEFT, Keys.ARROW_LEFT, Keys.ARROW_UP, ".", ".", ".", "u", Keys.ENTER):
        press(browser, key)
    browser.until(lambda: browser.run(KEPT) == "1 mark, all kept.")
    [mark] = readings(site, 1)["Ana"]
    assert (mark["condition"], round(math.degrees(mark["direction_rad"]))) == ("unsteady", 15)
    assert mark["x_px"] < 800
    assert mark["y_px"] < 600
    for key in ("p", "r", ",", "m", Keys.ARROW_RIGHT, "m"):
        press(browser, key)
    browser.until(lambda: readings(site, 1)["Ana"][0]["number"] == 4, "three changes")
    [moved] = readings(site, 1)["Ana"]
    assert (moved["condition"], round(math.degrees(moved["direction_rad"]))) == ("reversed", 10)
    assert moved["x_px"] > mark["x_px"]
    press(browser, Keys.DELETE)
    browser.until(lambda: "Ana" not in readings(site, 1), "taken out")
    press(browser, "z")
    browser.until(lambda: "Ana" in readings(site, 1), "undone")
    for _ in range(2):
        press(browser, "z")
    browser.until(lambda: readings(site, 1)["Ana"][0]["x_px"] == mark["x_px"], "where it was first")
    for _ in range(2):
        press(browser, "y")
    browser.until(lambda: readings(site, 1)["Ana"][0]["x_px"] == moved["x_px"], "done again")
    assert "Mark 1 of 1: reversed" in browser.one("[data-board-news]").text
    press(browser, Keys.DELETE)
    browser.until(lambda: "Ana" not in readings(site, 1), "taken out for good")
    assert faults_of(site) == []
