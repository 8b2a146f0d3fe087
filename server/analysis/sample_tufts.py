"""Made-up tuft photos of the season: a rear wing's underside with forty tufts in two setups, its stations and marks.

Drawn, not photographed: nothing on them was ever seen. Everything follows from the seeds below, so that they are the
same every time; the wool shakes a little, and readers err by a few degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from server.testday.folder_tufts import FolderMark, FolderPhoto, FolderTufts, FolderView
from server.testday.tufts import Condition, PointPair, TuftMark, TuftStation

WIDTH, HEIGHT = 1280, 760
PART, VIEW = "rear wing, underside", "left rear"
LENGTH_M, CHORD_M = 0.9, 0.32
COLUMNS, ROWS = 8, 5
TUFT_M = 0.042
SEED = 4101
# From the part [m] to the picture [px]: the wing from aside and behind.
LIE = np.array([[1090.0, 190.0, 110.0], [-95.0, 1550.0, 190.0], [-0.12, 0.55, 1.0]])
READERS = ("Ada", "Ben")
PHOTOS = ("tufts/wing A.jpg", "tufts/wing B.jpg")
SAID = "Made up: drawn, not taken."
READING_U_RAD, ROOT_U_PX = 0.05, 1.5
Picture = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class SampleTuft:
    """One tuft: its station, what it does and where it points on the part."""

    station: TuftStation
    direction_rad: float
    condition: Condition


def stations() -> tuple[TuftStation, ...]:
    """The stations with the prediction: attached but for the last row of the outer third."""
    found = []
    for number in range(COLUMNS * ROWS):
        row, column = divmod(number, COLUMNS)
        x, y = LENGTH_M * (column + 0.5) / COLUMNS, CHORD_M * (row + 0.5) / ROWS
        outer = abs(2 * x / LENGTH_M - 1)
        condition: Condition = "separated" if row == ROWS - 1 and outer > 0.7 else "attached"
        way = 0.5 * math.pi + 0.25 * (2 * x / LENGTH_M - 1)  # towards the trailing edge, outwards at the tips
        found.append(TuftStation(PART, f"r{row + 1}c{column + 1}", round(x, 4), round(y, 4), round(way, 4), condition))
    return tuple(found)


def tufts(setup: str) -> tuple[SampleTuft, ...]:
    """What they do: in A as predicted but for a turn; in B, its flap up, the last rows let go in the middle, too."""
    rng = np.random.default_rng(SEED + ord(setup))
    found = []
    for station in stations():
        row, column = divmod(stations().index(station), COLUMNS)
        way = (station.direction_rad or 0.0) + 0.08 + float(rng.normal(0.0, 0.05))
        condition: Condition = station.condition or "attached"
        if setup == "B" and row >= ROWS - 2 and 2 <= column <= 5:
            condition = "reversed" if row == ROWS - 1 else "unsteady"
            way = way + (math.pi if condition == "reversed" else 0.3)
        found.append(SampleTuft(station, way, condition))
    return tuple(found)


def seen(x_m: float, y_m: float) -> tuple[float, float]:
    """Where a point of the part lies on the picture [px]."""
    p = LIE @ (x_m, y_m, 1.0)
    return float(p[0] / p[2]), float(p[1] / p[2])


def photo(setup: str) -> NDArray[np.uint8]:
    """The picture of a setup, (rows, columns, 3)."""
    rng = np.random.default_rng(SEED + 7 * ord(setup))
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)
    sky = 150.0 + 40.0 * rows / HEIGHT + 12.0 * np.sin(columns / 170.0)
    picture: Picture = np.stack([0.92 * sky, 0.97 * sky, sky], axis=-1).astype(np.float32)
    back = np.linalg.inv(LIE)
    w = back[2, 0] * columns + back[2, 1] * rows + back[2, 2]
    x = (back[0, 0] * columns + back[0, 1] * rows + back[0, 2]) / w
    y = (back[1, 0] * columns + back[1, 1] * rows + back[1, 2]) / w
    on = (x > 0) & (x < LENGTH_M) & (y > 0) & (y < CHORD_M)
    shade = 42.0 + 26.0 * y / CHORD_M + 10.0 * x / LENGTH_M
    picture[on] = np.stack([shade, 1.02 * shade, 1.1 * shade], axis=-1)[on]
    for one in tufts(setup):
        _draw(picture, one, rng)
    noisy = picture + rng.normal(0.0, 2.0, (HEIGHT, WIDTH, 1))
    return np.clip(noisy, 0, 255).astype(np.uint8)


def _draw(picture: Picture, one: SampleTuft, rng: np.random.Generator) -> None:
    """Tape at the root, wool behind it: straight, fanned out while the shutter is open, or curled."""
    root = (one.station.x_m, one.station.y_m)
    turns = {"attached": (0.0,), "reversed": (0.0,), "unsteady": (-0.22, -0.07, 0.07, 0.22), "separated": (0.0,)}
    curl = 2.2 * float(rng.choice((-1.0, 1.0))) if one.condition == "separated" else float(rng.normal(0.0, 0.08))
    for turn in turns[one.condition]:
        strength = 0.95 if len(turns[one.condition]) == 1 else 0.45
        _stroke(picture, _wool(root, one.direction_rad + turn, curl), 2.6, (238.0, 214.0, 70.0), strength)
    _stroke(picture, np.array([seen(*root)] * 2), 6.0, (226.0, 226.0, 220.0), 1.0)


def _wool(root: tuple[float, float], way: float, curl: float) -> NDArray[np.float64]:
    points, (x, y) = [], root
    for step in range(9):
        points.append(seen(x, y))
        along = way + curl * step / 8
        x, y = x + TUFT_M / 8 * math.cos(along), y + TUFT_M / 8 * math.sin(along)
    return np.array(points)


def _stroke(
    picture: Picture, line: NDArray[np.float64], half: float, colour: tuple[float, float, float], strength: float
) -> None:
    low = np.maximum(np.floor(line.min(axis=0) - half - 2).astype(int), 0)
    high = np.minimum(np.ceil(line.max(axis=0) + half + 3).astype(int), (WIDTH, HEIGHT))
    columns, rows = np.meshgrid(np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    apart = np.full(columns.shape, np.inf)
    for a, b in pairwise(line):
        d = b - a
        t = np.clip(((columns - a[0]) * d[0] + (rows - a[1]) * d[1]) / max(float(d @ d), 1e-9), 0.0, 1.0)
        apart = np.minimum(apart, np.hypot(columns - a[0] - t * d[0], rows - a[1] - t * d[1]))
    cover = (strength * np.clip(half + 0.5 - apart, 0.0, 1.0))[..., None].astype(np.float32)
    under = picture[low[1] : high[1], low[0] : high[0]]
    under += cover * (np.array(colour, np.float32) - under)


def folder_tufts() -> FolderTufts:
    """What the day's folder says of them: run 1 (setup A) read by two people, run 2 (setup B) left to be marked."""
    told = (
        FolderPhoto(PHOTOS[0], "photo", 1, part=PART, view=VIEW, settled=True, notes=SAID),
        FolderPhoto(PHOTOS[1], "photo", 2, part=PART, view=VIEW, settled=True, notes=SAID),
    )
    marks = tuple(mark for number, reader in enumerate(READERS) for mark in _read(reader, number))
    corners = (("front left", 0.0, 0.0), ("front right", LENGTH_M, 0.0), ("back right", LENGTH_M, CHORD_M))
    named = (*corners, ("back left", 0.0, CHORD_M), ("r3c4", stations()[19].x_m, stations()[19].y_m))
    found = ((name, x, y, seen(x, y)) for name, x, y in named)
    pairs = tuple(PointPair(x, y, round(px, 1), round(py, 1), name) for name, x, y, (px, py) in found)
    return FolderTufts(told, marks, stations(), (FolderView(VIEW, PART, PHOTOS[0], pairs),))


def _read(reader: str, number: int) -> list[FolderMark]:
    """A reader's marks of setup A: a few degrees and pixels off; the second calls some of them unsteady."""
    rng = np.random.default_rng(SEED + 100 + number)
    marks = []
    for place, one in enumerate(tufts("A")):
        x, y = seen(one.station.x_m, one.station.y_m)
        dx, dy = 1e-4 * math.cos(one.direction_rad), 1e-4 * math.sin(one.direction_rad)
        ahead = seen(one.station.x_m + dx, one.station.y_m + dy)
        way = math.atan2(ahead[1] - y, ahead[0] - x) + float(rng.normal(0.0, READING_U_RAD))
        condition: Condition = "unsteady" if number and rng.random() < 0.12 else one.condition
        px, py = (round(c + float(rng.normal(0.0, ROOT_U_PX)), 1) for c in (x, y))
        direction = None if condition == "separated" else round(way, 4)
        mark = TuftMark(px, py, direction, condition, "person", True, reader, station=one.station.name)
        marks.append(FolderMark(PHOTOS[0], reader, f"{reader.lower()}-mark-{place + 1:02d}", mark))
    return marks
