"""Panels of one figure: groups side by side, each of rows above each other; on a narrow screen all in one column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from server.figures.theme import LIGHT, SetupMark, axis

TITLE_ROOM_PX = 78  # tick labels and title of an x axis
ROW_GAP_PX = 18


@dataclass(frozen=True, slots=True)
class Grid:
    """Where panels stand. heights_px: the rows of each group; shared_y: only the first group has tick labels."""

    groups: int
    heights_px: tuple[int, ...]
    narrow: bool = False
    shared_y: bool = True

    @property
    def height_px(self) -> int:
        """Height of all panels with the room between them."""
        group = sum(self.heights_px) + ROW_GAP_PX * (len(self.heights_px) - 1)
        stacked = self.groups if self.narrow else 1
        return stacked * group + (stacked - 1) * TITLE_ROOM_PX

    def axes(self, group: int, row: int) -> dict[str, str]:
        """The axes of a panel, for a trace."""
        suffix = self._suffix(group, row)
        return {"xaxis": f"x{suffix}", "yaxis": f"y{suffix}"}

    def layout(self, group: int, row: int, titles: tuple[str, str], **ranges: list[float]) -> dict[str, Any]:
        """The layout of a panel's axes: titles of x and y stand where they are due; ranges: x, y."""
        suffix = self._suffix(group, row)
        lowest, leftmost = row == len(self.heights_px) - 1, group == 0 or self.narrow or not self.shared_y
        x, y = ({"range": ranges[name]} if name in ranges else {} for name in "xy")
        x |= {"anchor": f"y{suffix}", "domain": self._across(group), "showticklabels": lowest}
        y |= {"anchor": f"x{suffix}", "domain": self._up(group, row), "showticklabels": leftmost}
        return {
            f"xaxis{suffix}": axis(titles[0] if lowest else "", **x),
            f"yaxis{suffix}": axis(titles[1] if leftmost else "", **y),
        }

    def title(self, group: int, row: int, text: str, mark: SetupMark | None = None) -> dict[str, Any]:
        """The panel's name in a box in its upper left corner, framed in the setup's hue."""
        suffix = self._suffix(group, row)
        return {
            "text": text,
            "x": 0.02,
            "y": 0.97,
            "showarrow": False,
            "font": {"weight": 700},
            "xref": f"x{suffix} domain",
            "yref": f"y{suffix} domain",
            "xanchor": "left",
            "yanchor": "top",
            "bgcolor": LIGHT["paper"],
            "bordercolor": mark.hue if mark else LIGHT["paper"],
            "borderwidth": 3 if mark else 0,
            "borderpad": 3,
        }

    def _suffix(self, group: int, row: int) -> str:
        number = group * len(self.heights_px) + row + 1
        return "" if number == 1 else str(number)

    def _across(self, group: int) -> list[float]:
        if self.narrow or self.groups == 1:
            return [0.0, 1.0]
        gap = 0.04 if self.shared_y else 0.125
        width = (1.0 - gap * (self.groups - 1)) / self.groups
        left = group * (width + gap)
        return [left, min(1.0, left + width)]

    def _up(self, group: int, row: int) -> list[float]:
        above = (sum(self.heights_px) + ROW_GAP_PX * (len(self.heights_px) - 1) + TITLE_ROOM_PX) * group
        top = (above if self.narrow else 0) + sum(self.heights_px[:row]) + ROW_GAP_PX * row
        bottom = top + self.heights_px[row]
        return [max(0.0, 1.0 - bottom / self.height_px), 1.0 - top / self.height_px]


def spread(values: Sequence[float], least: float) -> list[float]:
    """The values moved apart so that neighbours keep at least `least`, in their order, about the same middle."""
    order = sorted(range(len(values)), key=lambda i: values[i])
    moved: list[float] = []
    for i in order:
        moved.append(max(values[i], moved[-1] + least) if moved else values[i])
    middle = (sum(values) - sum(moved)) / len(values) if values else 0.0
    return [moved[order.index(i)] + middle for i in range(len(values))]


def padded(low: float, high: float, share: float = 0.06) -> list[float]:
    """A range with a little room at both ends."""
    room = share * (high - low or abs(high) or 1.0)
    return [low - room, high + room]
