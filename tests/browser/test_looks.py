"""How pages look: nothing sticks out, is too small to touch or too pale to read, or complains."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from selenium.webdriver.common.keys import Keys

from server.figures.theme import DARK, LIGHT
from tests.browser.chromium import SIZES, Browser
from tests.web.test_styles import contrast

PAGES = [
    *("/people", "/days/1/sign-off", "/jobs"),
    *("/", "/add", "/days/1/result", "/days/2/result/changes", "/days/1/result/passes"),
    *("/days/3/result", "/days/3/result/downforce", "/days/3/result/stands"),
    *("/days/3/result/budget?show=budget-of-SCz", "/days/1/result/loads"),
    *("/help", "/help/cautions", "/help/loads", "/help/stands"),
    "/nope",
]
FIGURES = [
    *("2/each-pass", "2/changes", "2/budget", "2/innovations", "2/intervals"),
    *("3/loads", "3/downforce", "3/heights", "3/budget?show=budget-of-balance_front"),
    "3/changes?show=comparisons-of-SCz_front",
]
# Every text of every figure that leaves the figure's own area, or is cut by the picture it stands in.
OUTSIDE = """
  const out = [];
  for (const area of document.querySelectorAll('.plot-area')) {
    const frame = area.getBoundingClientRect();
    for (const one of area.querySelectorAll('text')) {
      const box = one.getBoundingClientRect();
      const sticks = box.left < frame.left - 1 || box.right > frame.right + 1
        || box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
      if (box.width && sticks) out.push(one.textContent);
    }
  }
  return out;
"""

# Every text node that is seen: its colour and size, and the first opaque colour behind it.
TEXTS = """
  const found = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const hex = (colour) => {
    const [r, g, b, a] = colour.match(/[\\d.]+/g).map(Number);
    return a === 0 ? null : '#' + [r, g, b].map((v) => v.toString(16).padStart(2, '0')).join('');
  };
  while (walker.nextNode()) {
    const node = walker.currentNode, parent = node.parentElement;
    if (!node.data.trim() || !parent.checkVisibility({visibilityProperty: true})) continue;
    if (parent.closest('noscript, script, option, svg, .unseen, .skip')) continue;
    const style = getComputedStyle(parent);
    let behind = parent, paper = null;
    while (behind && !paper) {
      paper = hex(getComputedStyle(behind).backgroundColor);
      behind = behind.parentElement;
    }
    const words = node.data.trim().slice(0, 40);
    found.push([words, hex(style.color), paper ?? '#ffffff', parseFloat(style.fontSize)]);
  }
  return found;
"""

# Everything that is touched, with its box; a link inside a running sentence is as high as its line.
TARGETS = """
  const touched = 'button, summary, select, textarea, input:not([type=hidden]), nav a, .button, .roomy';
  return [...document.querySelectorAll(touched)]
    .filter((one) => one.checkVisibility() && !one.closest('.skip'))
    .map((one) => [one, one.getBoundingClientRect()])
    .map(([one, box]) => [one.outerHTML.slice(0, 90), box.width, box.height]);
"""


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_texts_are_dark_enough_and_large_enough(shown: Browser, path: str, theme: str) -> None:
    shown.device_theme(theme)
    shown.open(path)
    texts = shown.run(TEXTS)
    assert len(texts) > 10
    pale = [text for text in texts if contrast(text[1], text[2]) < 7.0]
    small = [text for text in texts if text[3] < 17]
    assert (pale, small) == ([], [])


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", PAGES)
def test_pages_fit_their_screen_and_can_be_touched(shown: Browser, path: str, size: str) -> None:
    shown.size(size)
    shown.open(path)
    assert shown.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    targets = shown.run(TARGETS)
    assert targets
    assert [target for target in targets if target[2] < 48] == []


@pytest.mark.parametrize(("size", "theme"), [("tablet", "light"), ("desk", "dark"), ("phone", "light")])
@pytest.mark.parametrize("part", FIGURES)
def test_figures_draw_in_the_theme_without_complaint(shown: Browser, part: str, size: str, theme: str) -> None:
    shown.size(size)
    shown.device_theme(theme)
    day, name = part.split("/")
    shown.open(f"/days/{day}/result/{name}")
    for area in shown.all("[data-plot]"):
        shown.run("arguments[0].scrollIntoView({block: 'center'})", area)
        shown.until(lambda here=area: here.get_attribute("data-drawn"), "the figure")
    palette = LIGHT if theme == "light" else DARK
    ink = "return getComputedStyle(document.querySelector('.plot-area [class$=tick] text')).fill"
    assert as_hex(shown.run(ink)) == palette["ink"]
    assert shown.run(OUTSIDE) == []
    assert shown.complaints() == []


def as_hex(colour: str) -> str:
    numbers = [int(part) for part in colour[4:-1].split(",")]
    return "#" + "".join(f"{number:02x}" for number in numbers)


def test_a_pinned_theme_holds_against_the_device(shown: Browser) -> None:
    paper = "return getComputedStyle(document.body).backgroundColor"
    shown.open("/days/1/result")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    assert as_hex(shown.run(paper)) == LIGHT["paper"]
    shown.one("button[value=dark]").click()
    assert as_hex(shown.run(paper)) == DARK["paper"]
    tick = "return getComputedStyle(document.querySelector('.xtick text')).fill"
    shown.until(lambda: as_hex(shown.run(tick)) == DARK["ink"], "the figure in the dark")
    shown.open("/add")
    assert as_hex(shown.run(paper)) == DARK["paper"]
    shown.one("button[value=auto]").click()
    assert as_hex(shown.run(paper)) == LIGHT["paper"]
    assert shown.complaints() == []


@pytest.mark.parametrize(("kind", "start"), [("png", b"\x89PNG"), ("svg", b"<svg"), ("csv", b"setup,run")])
def test_a_figure_can_be_saved(shown: Browser, tmp_path: Path, kind: str, start: bytes) -> None:
    shown.open("/days/1/result")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    shown.one(f"[data-save={kind}]" if kind != "csv" else ".plot-save a").click()
    file = tmp_path / "downloads" / f"day-1-passes.{kind}"
    shown.until(file.exists, "the file")
    time.sleep(0.2)
    assert file.read_bytes().startswith(start)
    assert shown.complaints() == []


def test_a_table_opens_beside_its_figure(shown: Browser) -> None:
    shown.open("/days/1/result")
    shown.one(".plot-table summary").click()
    shown.until(lambda: "measured resistance [N]" in shown.one(".plot-table-body").text, "the table")
    assert len(shown.all(".plot-table-body tbody tr")) > 100
    assert shown.complaints() == []


def test_a_budgets_quantity_is_chosen_in_place(shown: Browser) -> None:
    """By keyboard: the figure, its table and its saves become those of the quantity; the page stays where it is."""
    shown.open("/days/3/result/budget")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    link = shown.one("#show-budget-of-LD")
    shown.run("arguments[0].focus()", link)
    link.send_keys(Keys.ENTER)
    shown.until(lambda: shown.all("#plot-budget-of-LD[data-drawn] .main-svg"), "the figure of L/D")
    assert shown.driver.current_url.endswith("/days/3/result/budget")
    assert "contribution to u(L/D)" in shown.one("#of-budget table").text
    assert shown.run("return document.activeElement.id") == "show-budget-of-LD"
    assert shown.all("#plot-budget") == []
    shown.one("button[value=dark]").click()
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure in the dark")
    assert shown.complaints() == []


def test_a_budgets_quantity_is_chosen_without_scripts(shown: Browser) -> None:
    shown.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        shown.open("/days/3/result/budget")
        shown.one("#show-budget-of-balance_front").click()
        shown.until(lambda: "Contributions to u(balance)" in shown.text(), "the balance")
        assert "0.26 points" in shown.text()
        shown.one(".plot-area a").click()
        shown.until(lambda: "balance_front" in shown.text(), "its table")
        shown.open("/days/3/result")
        assert "riding at 26.8 ± 1.0 mm front" in shown.text()
        assert "SCz changes with ride height" in shown.text()
        assert [one.text for one in shown.all("#loads .choice")] == ["damper travel", "ride height"]
    finally:
        shown.driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_kinds_of_passes_have_their_own_shapes(shown: Browser) -> None:
    """A square is drawn with four straight sides, a circle with arcs."""
    shown.open("/days/3/result/loads")
    shown.until(lambda: shown.all("#plot-axle-loads[data-drawn] .main-svg"), "the figure")
    paths = shown.run(
        "return [...document.querySelectorAll('#plot-axle-loads .point')].map((one) => one.getAttribute('d'))"
    )
    round_ones = sum("A" in path for path in paths)
    assert round_ones > 100
    assert len(paths) - round_ones > 10


def test_hover_and_tap_tell_u_and_source(shown: Browser) -> None:
    shown.open("/days/1/result")
    assert not shown.one(".value-detail").is_displayed()
    shown.one(".value-text").click()
    assert shown.one(".value-detail").is_displayed()
    assert "95 %: 1.479 to 1.562; measured on this day" in shown.one(".value-detail").text


def test_names_with_markup_are_seen_as_text(shown: Browser) -> None:
    shown.open("/days/1/result/each-pass")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    assert "Long <b>apron</b>" in shown.one("h1").text
    assert "<b>traffic</b>" in shown.run("return document.querySelector('.plot-area').textContent")


def test_paper_is_black_on_white_without_controls(shown: Browser) -> None:
    shown.device_theme("dark")
    shown.open("/days/1/result")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    shown.driver.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"media": "print", "features": [{"name": "prefers-color-scheme", "value": "dark"}]},
    )
    try:
        assert as_hex(shown.run("return getComputedStyle(document.body).backgroundColor")) == "#ffffff"
        assert as_hex(shown.run("return getComputedStyle(document.querySelector('.sentence')).color")) == "#000000"
        assert [one for one in shown.all("button:not(.value-text), .plot-actions, nav") if one.is_displayed()] == []
        shown.run("dispatchEvent(new Event('beforeprint'))")
        tick = "return getComputedStyle(document.querySelector('.xtick text')).fill"
        shown.until(lambda: as_hex(shown.run(tick)) == LIGHT["ink"], "the figure on paper")
    finally:
        shown.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
