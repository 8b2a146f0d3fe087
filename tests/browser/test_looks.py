"""How pages look: nothing sticks out, is too small to touch or too pale to read, or complains."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from server.figures.theme import DARK, LIGHT
from tests.browser.chromium import SIZES, Browser
from tests.web.test_styles import contrast

PAGES = ["/", "/add", "/days/1", "/days/2/changes", "/days/1/passes", "/help", "/help/cautions", "/nope"]
FIGURES = ["each-pass", "changes", "budget", "innovations", "intervals"]

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


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("part", FIGURES)
def test_figures_draw_in_the_theme_without_complaint(shown: Browser, part: str, theme: str) -> None:
    shown.device_theme(theme)
    shown.open(f"/days/2/{part}")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    palette = LIGHT if theme == "light" else DARK
    ink = "return getComputedStyle(document.querySelector('.xtick text')).fill"
    assert as_hex(shown.run(ink)) == palette["ink"]
    outside = """
      const area = document.querySelector('.plot-area').getBoundingClientRect();
      return [...document.querySelectorAll('.plot-area text')].filter((one) => {
        const box = one.getBoundingClientRect();
        return box.width && (box.left < area.left - 1 || box.right > area.right + 1);
      }).map((one) => one.textContent);
    """
    assert shown.run(outside) == []
    assert shown.complaints() == []


def as_hex(colour: str) -> str:
    numbers = [int(part) for part in colour[4:-1].split(",")]
    return "#" + "".join(f"{number:02x}" for number in numbers)


def test_a_pinned_theme_holds_against_the_device(shown: Browser) -> None:
    paper = "return getComputedStyle(document.body).backgroundColor"
    shown.open("/days/1")
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
    shown.open("/days/1")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    shown.one(f"[data-save={kind}]" if kind != "csv" else ".plot-save a").click()
    file = tmp_path / "downloads" / f"day-1-passes.{kind}"
    shown.until(file.exists, "the file")
    time.sleep(0.2)
    assert file.read_bytes().startswith(start)
    assert shown.complaints() == []


def test_a_table_opens_beside_its_figure(shown: Browser) -> None:
    shown.open("/days/1")
    shown.one(".plot-table summary").click()
    shown.until(lambda: "measured resistance [N]" in shown.one(".plot-table-body").text, "the table")
    assert len(shown.all(".plot-table-body tbody tr")) > 100
    assert shown.complaints() == []


def test_hover_and_tap_tell_u_and_source(shown: Browser) -> None:
    shown.open("/days/1")
    assert not shown.one(".value-detail").is_displayed()
    shown.one(".value-text").click()
    assert shown.one(".value-detail").is_displayed()
    assert "95 %: 1.479 to 1.562; measured on this day" in shown.one(".value-detail").text


def test_names_with_markup_are_seen_as_text(shown: Browser) -> None:
    shown.open("/days/1/each-pass")
    shown.until(lambda: shown.all("[data-drawn] .main-svg"), "the figure")
    assert "Long <b>apron</b>" in shown.one("h1").text
    assert "<b>traffic</b>" in shown.run("return document.querySelector('.plot-area').textContent")


def test_paper_is_black_on_white_without_controls(shown: Browser) -> None:
    shown.device_theme("dark")
    shown.open("/days/1")
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
