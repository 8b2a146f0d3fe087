"""Contrast and sizes, by the formulas of WCAG 2.2 (relative luminance and contrast ratio, section 1.4.6)."""

from __future__ import annotations

import re

import pytest

from server.figures.theme import DARK, FONT_SIZE, LIGHT, OKABE_ITO
from server.locations import web_folder

STYLES = web_folder() / "styles"
TOKENS = (STYLES / "tokens.css").read_text()
TEXT_AND_MARKS = ("--ink", "--ink-soft", "--rule", "--focus")


def luminance(colour: str) -> float:
    """Relative luminance of #rrggbb (WCAG 2.2, definition)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def theme(selector: str) -> dict[str, str]:
    block = TOKENS[TOKENS.index(selector) :]
    return dict(re.findall(r"(--[\w-]+):\s*(#[0-9a-fA-F]{6})", block[: block.index("}")]))


def test_contrast_is_measured_rightly() -> None:
    """Black on white is 21:1 and #777777 on white 4.48:1 (WCAG 2.2, common worked values)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("selector", [":root {", ':root[data-theme="dark"]', ':root[data-theme="auto"]'])
def test_text_and_marks_reach_seven_to_one(selector: str) -> None:
    colours = theme(selector)
    for name in TEXT_AND_MARKS:
        for paper in ("--paper", "--paper-raised"):
            assert contrast(colours[name], colours[paper]) >= 7.0, (name, paper)
    assert contrast(colours["--filled-ink"], colours["--filled-paper"]) >= 7.0


def test_both_ways_to_dark_are_the_same() -> None:
    assert theme(':root[data-theme="dark"]') == theme(':root[data-theme="auto"]')


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_figures_have_the_same_contrast(palette: dict[str, str]) -> None:
    assert contrast(palette["ink"], palette["paper"]) >= 7.0
    assert contrast(palette["ink"], palette["shade"]) >= 7.0


def test_figures_and_pages_share_their_colours() -> None:
    light, dark = theme(":root {"), theme(':root[data-theme="dark"]')
    assert (light["--ink"], light["--paper"]) == (LIGHT["ink"], LIGHT["paper"])
    assert (dark["--ink"], dark["--paper"]) == (DARK["ink"], DARK["paper"])
    assert re.findall(r"\.hue-\d \{ --hue: (#\w+)", TOKENS) == list(OKABE_ITO)


def test_hues_are_the_published_ones() -> None:
    """Okabe & Ito, Color Universal Design (2008): its seven hues beside black."""
    assert OKABE_ITO[:7] == ("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7")


def test_sizes_for_gloves_and_sun() -> None:
    assert float(re.search(r"html \{ font-size: (\d+)px", (STYLES / "page.css").read_text())[1]) >= 17  # type: ignore[index]
    assert float(re.search(r"--touch: ([\d.]+)rem", TOKENS)[1]) * 17 >= 48  # type: ignore[index]
    assert FONT_SIZE >= 17


def test_no_colour_stands_outside_the_tokens() -> None:
    for file in STYLES.glob("*.css"):
        if file.name not in {"tokens.css", "paper.css"}:
            assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", file.read_text()) == [], file.name
