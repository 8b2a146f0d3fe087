"""What lies about a car and is no tuft: panel lines, bolts, lettering, arms, hoses, tape, cones, hands, scratches."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tests.tufts.picture import F, disc, polygon, stroke

Points = NDArray[np.float64]

# Letters of straight strokes on a grid 2 wide and 4 high.
LETTERS: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "A": (((0, 4), (1, 0), (2, 4)), ((0.5, 2.5), (1.5, 2.5))),
    "E": (((2, 0), (0, 0), (0, 4), (2, 4)), ((0, 2), (1.6, 2))),
    "F": (((2, 0), (0, 0), (0, 4)), ((0, 2), (1.6, 2))),
    "H": (((0, 0), (0, 4)), ((2, 0), (2, 4)), ((0, 2), (2, 2))),
    "I": (((1, 0), (1, 4)),),
    "K": (((0, 0), (0, 4)), ((2, 0), (0, 2), (2, 4))),
    "L": (((0, 0), (0, 4), (2, 4)),),
    "M": (((0, 4), (0, 0), (1, 2), (2, 0), (2, 4)),),
    "N": (((0, 4), (0, 0), (2, 4), (2, 0)),),
    "T": (((0, 0), (2, 0)), ((1, 0), (1, 4))),
    "V": (((0, 0), (1, 4), (2, 0)),),
    "Z": (((0, 0), (2, 0), (0, 4), (2, 4)),),
    "7": (((0, 0), (2, 0), (0.7, 4)),),
    "1": (((0.3, 0.8), (1, 0), (1, 4)),),
    "-": (((0.2, 2), (1.8, 2)),),
    "/": (((2, 0), (0, 4)),),
}


def somewhere(picture: F, rng: np.random.Generator, margin: float = 0.0) -> Points:
    height, width = picture.shape[:2]
    found: Points = rng.uniform([margin * width, margin * height], [(1 - margin) * width, (1 - margin) * height])
    return found


def turned(points: Points, angle: float, scale: float, at: Points) -> Points:
    c, s = np.cos(angle), np.sin(angle)
    found: Points = at + scale * points @ np.array([[c, s], [-s, c]])
    return found


def other_tone(picture: F, at: Points, rng: np.random.Generator) -> Points:
    """A tone well away from what is there."""
    height, width = picture.shape[:2]
    x, y = int(np.clip(at[0], 0, width - 1)), int(np.clip(at[1], 0, height - 1))
    here = float(picture[y, x].mean())
    away = rng.uniform(40, 170)
    tone = here - away if here > 128 or (here > away and rng.random() < 0.3) else here + away
    return np.clip(tone + rng.normal(0, 12, 3), 0, 255)


def lettering(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A sticker with two to nine letters, bold or thin."""
    at, angle, size = somewhere(picture, rng), rng.normal(0, 0.4), rng.uniform(0.15, 1.2) * unit / 4
    shear = np.array([[1.0, 0.0], [rng.normal(0, 0.15), 1.0]])
    tone, half = other_tone(picture, at, rng), size * rng.uniform(0.12, 0.4)
    for place in range(int(rng.integers(2, 10))):
        for line in LETTERS[str(rng.choice(list(LETTERS)))]:
            points = np.array(line, float) @ shear + [3.0 * place, 0.0]
            stroke(picture, turned(points, angle, size, at), half, tone)


def panel_line(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A gap between panels, long, straight or bent."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(5, 30) * unit
    t = np.linspace(-0.5, 0.5, 24)
    points = np.stack([t, rng.normal(0, 0.2) * t**2], axis=1)
    tone = np.clip(other_tone(picture, at, rng) * 0.5, 0, 255)
    stroke(picture, turned(points, angle, length, at), rng.uniform(0.8, 4.0), tone)


def bolt(picture: F, rng: np.random.Generator, unit: float) -> None:
    at, radius = somewhere(picture, rng), rng.uniform(0.05, 0.25) * unit
    for part in (1.0, 0.75, 0.4):
        disc(picture, at, radius * part, other_tone(picture, at, rng))


def arm(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A tube of the suspension: a long thick bar with a bright line along it."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(4, 12) * unit
    half = rng.uniform(0.06, 0.2) * unit
    line = turned(np.array([[-0.5, 0.0], [0.5, 0.0]]), angle, length, at)
    tone = rng.uniform(10, 70)
    stroke(picture, line, half, np.full(3, tone))
    stroke(picture, line + np.array([0, -0.3 * half]), 0.25 * half, np.full(3, tone + rng.uniform(30, 120)))


def hose(picture: F, rng: np.random.Generator, unit: float) -> None:
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(4, 10) * unit
    t = np.linspace(-0.5, 0.5, 60)
    wave = rng.uniform(0.05, 0.2) * np.sin(t * rng.uniform(4, 14) + rng.uniform(0, 6))
    stroke(picture, turned(np.stack([t, wave], axis=1), angle, length, at), rng.uniform(1.5, 7),
           other_tone(picture, at, rng))  # fmt: skip


def tape(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A strip of wide tape over a gap."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(0.5, 5) * unit
    half = length * rng.uniform(0.12, 0.25)
    box = np.array([[-0.5, -half / length], [0.5, -half / length], [0.5, half / length], [-0.5, half / length]])
    polygon(picture, turned(box, angle, length, at), other_tone(picture, at, rng))


def cone(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A traffic cone with its two white rings."""
    at, size = somewhere(picture, rng), rng.uniform(1, 5) * unit
    body = np.array([[-0.06, -1], [0.06, -1], [0.35, 0], [-0.35, 0]])
    polygon(picture, at + size * body, np.array([225.0, 80.0, 30.0]))
    for top in (0.35, 0.62):
        half = [0.06 + 0.29 * top, 0.06 + 0.29 * (top + 0.12)]
        ring = np.array([[-half[0], top - 1], [half[0], top - 1], [half[1], top - 0.88], [-half[1], top - 0.88]])
        polygon(picture, at + size * ring, np.array([235.0, 235.0, 235.0]))


def wing_edge(picture: F, rng: np.random.Generator, unit: float) -> None:
    """An edge of a wing before something else: a long step of tone, sometimes with a bright line along it."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(6, 25) * unit
    deep = rng.uniform(0.05, 0.3)
    corners = turned(np.array([[-0.5, 0], [0.5, 0], [0.5, deep], [-0.5, deep]]), angle, length, at)
    polygon(picture, corners, other_tone(picture, at, rng))
    if rng.random() < 0.5:
        stroke(picture, corners[:2], rng.uniform(0.7, 3), np.full(3, rng.uniform(150, 255)))


def scratch(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A thin faint line."""
    at, angle, length = somewhere(picture, rng), rng.uniform(0, np.pi), rng.uniform(0.3, 3) * unit
    height, width = picture.shape[:2]
    here = picture[min(int(at[1]), height - 1), min(int(at[0]), width - 1)].astype(float)
    t = np.linspace(-0.5, 0.5, 8)
    line = turned(np.stack([t, rng.normal(0, 0.2) * t**2], axis=1), angle, length, at)
    stroke(picture, line, rng.uniform(0.4, 0.9), np.clip(here + rng.choice([-1, 1]) * rng.uniform(8, 25), 0, 255))


def hand(picture: F, rng: np.random.Generator, unit: float) -> None:
    """A hand that points: a palm and fingers, each with an edge of shade."""
    at, angle, size = somewhere(picture, rng), rng.uniform(0, 2 * np.pi), rng.uniform(1.5, 4) * unit
    skin = np.array([rng.uniform(90, 225), 0, 0])
    skin[1:] = skin[0] * np.array([0.76, 0.62])
    for finger in range(4):
        way = np.array([[0.0, 0.16 * finger - 0.24], [rng.uniform(0.6, 1.0), 0.2 * finger - 0.3]])
        line = turned(way, angle, size, at)
        stroke(picture, line, 0.09 * size, skin * 0.6)
        stroke(picture, line, 0.075 * size, skin)
    stroke(picture, turned(np.array([[-0.3, 0.0], [0.1, 0.0]]), angle, size, at), 0.3 * size, skin)


Distractor = Callable[[F, np.random.Generator, float], None]
UNDER: dict[str, tuple[Distractor, int]] = {
    "wing edge": (wing_edge, 4),
    "panel line": (panel_line, 6),
    "lettering": (lettering, 4),
    "bolt": (bolt, 14),
    "arm": (arm, 3),
    "hose": (hose, 3),
    "tape": (tape, 4),
    "cone": (cone, 2),
    "scratch": (scratch, 8),
}
OVER: dict[str, tuple[Distractor, int]] = {"hand": (hand, 2)}
