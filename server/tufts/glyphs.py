"""Marks as they are drawn: what a template and a script need to put each at its place, turned and shaped."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from server.testday.tufts import CONDITIONS, TuftMark
from server.tufts.service import NamedMark, Photo

GlyphKind = Literal["person", "machine", "predicted", "station"]
SHOWN_WIDTH = 720.0  # CSS pixels that a drawn photo is about wide: marks are sized for it
UNJUDGED = "unjudged"
CONDITION_WORDS = {
    "attached": "lies along the surface, still",
    "unsteady": "swings or flutters about one direction",
    "separated": "no direction: curls, lifts off, turns about",
    "reversed": "points against the main flow",
    UNJUDGED: "not judged yet",
}


@dataclass(frozen=True, slots=True)
class Glyph:
    """A mark on a picture. angle_deg: clockwise from +x, None where no direction was said."""

    x: float
    y: float
    angle_deg: float | None
    condition: str
    kind: GlyphKind
    words: str


@dataclass(frozen=True, slots=True)
class PhotoFigure:
    """A photo with marks over it. size: which picture is shown; scale: picture pixels a unit of a mark; fans: SVG paths
    of how far tufts swing."""

    photo: Photo
    size: str
    scale: float
    glyphs: tuple[Glyph, ...]
    title: str
    who: str = ""
    fans: tuple[str, ...] = ()


def figure(
    photo: Photo, glyphs: Iterable[Glyph], title: str, who: str = "", size: str = "screen", *,
    fans: tuple[str, ...] = (),
) -> PhotoFigure:  # fmt: skip
    """A photo's figure; predicted marks lie under those that were seen."""
    order = {"predicted": 0, "station": 0, "machine": 1, "person": 2}
    drawn = tuple(sorted(glyphs, key=lambda one: order[one.kind]))
    return PhotoFigure(photo, size, photo.width_px / SHOWN_WIDTH, drawn, title, who, fans)


def glyph_of(mark: TuftMark, kind: GlyphKind = "person") -> Glyph:
    """A mark as drawn."""
    angle = None if mark.direction_rad is None else round(math.degrees(mark.direction_rad), 1)
    condition = mark.condition or UNJUDGED
    words = ", ".join(part for part in (mark.station or "", condition, angle_words(angle)) if part)
    return Glyph(round(mark.x_px, 1), round(mark.y_px, 1), angle, condition, kind, words)


def glyphs_of(marks: Sequence[NamedMark], kind: GlyphKind = "person") -> list[Glyph]:
    """Marks as drawn."""
    return [glyph_of(one.mark, kind) for one in marks]


def angle_words(angle_deg: float | None) -> str:
    """A direction on the picture as it is read."""
    return "no direction" if angle_deg is None else f"{angle_deg:.0f}°"


def counted(marks: Iterable[TuftMark]) -> str:
    """How many marks of which condition, in words."""
    conditions = [mark.condition or UNJUDGED for mark in marks]
    shares = [(name, conditions.count(name)) for name in (*CONDITIONS, UNJUDGED)]
    return ", ".join(f"{count} {'not judged' if name == UNJUDGED else name}" for name, count in shares if count)
