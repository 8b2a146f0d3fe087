"""Colours, letters and the common layout of every figure.

Hues: Okabe & Ito, "Color Universal Design" (2008), told apart by colour-blind readers. Several are too
light for 7:1 on white, so every mark is outlined in ink and a setup always carries its letter as well.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

OKABE_ITO = ("#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7", "#8C8C8C")

LIGHT = {"ink": "#111111", "paper": "#ffffff", "grid": "#c9c9c9", "shade": "#e4e4e4"}
DARK = {"ink": "#f5f5f5", "paper": "#101418", "grid": "#4d545b", "shade": "#2c333a"}
LIGHT_TO_DARK = {LIGHT[name]: DARK[name] for name in LIGHT}

FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', sans-serif"
FONT_SIZE = 17
NARROW_FONT_SIZE = 14


@dataclass(frozen=True, slots=True)
class SetupMark:
    """How a setup is marked everywhere: one letter and one hue; `index` counts setups of the day from 0."""

    letter: str
    hue: str
    index: int


def setup_marks(names: Sequence[str]) -> dict[str, SetupMark]:
    """Letter and hue of each setup, in the day's order.

    A setup named by one letter keeps it; another takes its first letter while free, then the next free one.
    """
    letters: dict[str, str] = {}
    for name in names:
        if len(name) == 1 and name.isalnum() and name.upper() not in letters.values():
            letters[name] = name.upper()
    marks: dict[str, SetupMark] = {}
    for index, name in enumerate(names):
        letter = letters.get(name) or _free_letter(name, set(letters.values()))
        letters[name] = letter
        marks[name] = SetupMark(letter, OKABE_ITO[index % len(OKABE_ITO)], index)
    return marks


def _free_letter(name: str, taken: set[str]) -> str:
    first = next((sign.upper() for sign in name if sign.isalnum()), "A")
    alphabet = [first, *"ABCDEFGHIJKLMNOPQRSTUVWXYZ", *(str(number) for number in range(1, 1000))]
    return next(letter for letter in alphabet if letter not in taken)


def axis(title: str, **more: Any) -> dict[str, Any]:
    """A cartesian axis with a title that names the quantity and its unit."""
    return {
        "title": {"text": title, "standoff": 8},
        "showline": True,
        "linecolor": LIGHT["ink"],
        "linewidth": 2,
        "gridcolor": LIGHT["grid"],
        "ticks": "outside",
        "tickcolor": LIGHT["ink"],
        "zeroline": False,
        "automargin": True,
        **more,
    }


def layout(height_px: int, **more: Any) -> dict[str, Any]:
    """The layout that every figure starts from."""
    base: dict[str, Any] = {
        "height": height_px,
        "font": {"family": FONT, "size": FONT_SIZE, "color": LIGHT["ink"]},
        "paper_bgcolor": LIGHT["paper"],
        "plot_bgcolor": LIGHT["paper"],
        "margin": {"l": 20, "r": 20, "t": 36, "b": 20},
        "showlegend": False,
        "hoverlabel": {
            "bgcolor": LIGHT["paper"],
            "bordercolor": LIGHT["ink"],
            "font": {"family": FONT, "size": FONT_SIZE, "color": LIGHT["ink"]},
        },
        "dragmode": False,
    }
    return base | more


class Drawn(Protocol):
    """A figure of the plot library."""

    def to_json(self) -> str | None:
        """Its data and layout."""


def drawing(figure: Drawn) -> str:
    """JSON that the page's plot module draws: the figure in light colours and the swaps that make it dark."""
    return f'{{"figure":{figure.to_json()},"dark":{json.dumps(LIGHT_TO_DARK)}}}'
