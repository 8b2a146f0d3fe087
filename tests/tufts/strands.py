"""One tuft on a picture: a thread that lies, bends, flutters, thins out, throws a shadow, and its tape."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.tufts.picture import F, Lie, blend, box, stroke_cover

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Strand:
    """A tuft as it is on its part, in units of the part's square; widths in pixels.

    bend: sideways swing of the tip over the length; flutter_rad: how far it swings while the shutter is open; fuzz: how
    far fibres of wool stand out beside it, over its width.
    """

    root: Points
    direction_rad: float
    length: float
    width_px: float
    colour: Points
    bend: float = 0.0
    flutter_rad: float = 0.0
    taper: float = 0.7
    tape: Points | None = None
    shadow: float = 0.0
    fuzz: float = 0.0


@dataclass(frozen=True)
class KnownTuft:
    """What is true of a drawn tuft on the picture: root and end [px], direction, and what makes it hard."""

    root: tuple[float, float]
    tip: tuple[float, float]
    width_px: float
    contrast: float
    bend: float
    flutter_rad: float
    taped: bool

    @property
    def length_px(self) -> float:
        return float(np.hypot(self.tip[0] - self.root[0], self.tip[1] - self.root[1]))

    @property
    def direction_rad(self) -> float:
        return float(np.arctan2(self.tip[1] - self.root[1], self.tip[0] - self.root[0]))


def thread(strand: Strand, aspect: float, turn: float = 0.0, count: int = 12) -> Points:
    """Points along a strand in its part's square; aspect: the part's width over its height."""
    t = np.linspace(0.0, 1.0, count)
    side = strand.bend * t**2
    way = strand.direction_rad + turn
    along = np.array([np.cos(way), np.sin(way)])
    across = np.array([-np.sin(way), np.cos(way)])
    off = strand.length * (t[:, None] * along + side[:, None] * across)
    return strand.root + off * np.array([1.0, aspect])


def draw(picture: F, lie: Lie, strand: Strand, aspect: float) -> KnownTuft:
    """Draw it; what is returned is measured on the drawn line."""
    middle = lie.to_picture(thread(strand, aspect))
    turns = np.linspace(-1.0, 1.0, 9 if strand.flutter_rad else 1) * strand.flutter_rad
    lines = [lie.to_picture(thread(strand, aspect, float(turn))) for turn in (turns if strand.flutter_rad else (0.0,))]
    contrast = _contrast(picture, middle, strand.colour)
    half = 0.5 * strand.width_px * np.linspace(1.0, strand.taper, len(middle))
    if strand.shadow:
        _cover(picture, [line + strand.width_px * 0.8 for line in lines], half, np.zeros(3), strand.shadow)
    if strand.fuzz:
        _fibres(picture, middle, strand)
    _cover(picture, lines, half, strand.colour, 1.0)
    if strand.tape is not None:
        way = middle[1] - middle[0]
        way = way / max(float(np.hypot(*way)), 1e-9)
        patch = middle[0] + np.array([-0.9, 0.9])[:, None] * strand.width_px * way
        _cover(picture, [patch], np.full(2, 1.1 * strand.width_px), strand.tape, 1.0)
    root, tip = (tuple(float(c) for c in point) for point in (middle[0], middle[-1]))
    return KnownTuft(root, tip, strand.width_px, contrast, strand.bend, strand.flutter_rad, strand.tape is not None)


def _fibres(picture: F, line: Points, strand: Strand) -> None:
    """Short faint fibres on both sides; the same ones for the same thread."""
    rng = np.random.default_rng(int(abs(line).sum() * 100))
    size = strand.fuzz * strand.width_px
    for _ in range(int(np.hypot(*(line[-1] - line[0])) / max(strand.width_px, 2.0) * 2)):
        start = line[int(rng.integers(len(line)))] + rng.normal(0, 0.3 * strand.width_px, 2)
        way = rng.uniform(0, 2 * np.pi)
        piece = np.stack([start, start + size * np.array([np.cos(way), np.sin(way)])])
        _cover(picture, [piece], np.full(2, 0.3), strand.colour, 0.6)


def _cover(picture: F, lines: list[Points], half: Points, colour: Points, strength: float) -> None:
    found = box(picture, np.concatenate(lines), float(half.max()) + 2)
    if found is None:
        return
    rows, columns, x, y = found
    mean = sum(stroke_cover(x, y, line, half) for line in lines) / len(lines)
    blend(picture, (rows, columns), (strength * mean).astype(np.float32), colour)


def _contrast(picture: F, line: Points, colour: Points) -> float:
    height, width = picture.shape[:2]
    x = np.clip(line[:, 0].astype(int), 0, width - 1)
    y = np.clip(line[:, 1].astype(int), 0, height - 1)
    return float(np.median(np.linalg.norm(picture[y, x] - colour, axis=1)))
